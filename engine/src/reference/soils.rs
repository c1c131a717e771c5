//! Water held and led by a topsoil, from its sand, clay and organic matter.
//!
//! # References
//!
//! Saxton & Rawls, Soil water characteristic estimates by texture and organic matter for hydrologic
//! solutions, Soil Sci. Soc. Am. J. 70:1569-1578, 2006, Table 1. Fitted to soils with at most 60 %
//! clay and 8 % organic matter.

use super::{Figure, Source};
use crate::site::{Particles, Site, Texture};

/// Source of the water contents.
pub const WATER_CONTENTS: Source = Source::published(
    "Saxton & Rawls, Soil water characteristic estimates, SSSAJ 70:1569, 2006, Table 1",
);
/// Source of the easily evaporated water.
pub const EASY_EVAPORATION: Source = Source::published(
    "Default soils of AquaCrop (Raes, Steduto, Hsiao & Fereres, FAO); sandy clay loam and sandy clay by neighbour",
);
/// Source of the hydrologic groups and of the curve numbers (row crops, straight rows, crop
/// residue, good condition).
pub const CURVE_NUMBERS: Source = Source::from_memory(
    "USDA Soil Conservation Service, Urban Hydrology for Small Watersheds, TR-55, 1986, Table 2-2b, Appendix A",
);
/// Most water that the ground below a field of medium or fine soil takes away in a day, mm: half an
/// inch, the usual capacity of tile under field crops.
pub const DRAIN_CAPACITY: Figure = Figure::new(
    12.7,
    Source::from_memory("drainage coefficient of 3/8 to 1/2 in a day, USDA drainage guides"),
);

/// Most clay and organic matter, % by weight, that the equations were fitted to.
const FITTED_CLAY: f64 = 60.0;
const FITTED_ORGANIC_MATTER: f64 = 8.0;

/// How readily wet ground takes in rain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum HydrologicGroup {
    /// Sand, loamy sand, sandy loam.
    A,
    /// Loam, silt loam, silt.
    B,
    /// Sandy clay loam.
    C,
    /// Clay loam, silty clay loam and the clays.
    D,
}

impl HydrologicGroup {
    /// The group of a texture.
    pub const fn of(texture: Texture) -> Self {
        match texture {
            Texture::Sand | Texture::LoamySand | Texture::SandyLoam => Self::A,
            Texture::Loam | Texture::SiltLoam | Texture::Silt => Self::B,
            Texture::SandyClayLoam => Self::C,
            Texture::ClayLoam
            | Texture::SiltyClayLoam
            | Texture::SandyClay
            | Texture::SiltyClay
            | Texture::Clay => Self::D,
        }
    }

    /// Curve number of row crops at middling wetness.
    pub const fn curve_number(self) -> f64 {
        match self {
            Self::A => 64.0,
            Self::B => 75.0,
            Self::C => 82.0,
            Self::D => 85.0,
        }
    }
}

/// One topsoil. Water contents are shares of the soil's volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Soil {
    /// At the wilting point (15 bar).
    pub wilting: f64,
    /// At field capacity (1/3 bar).
    pub capacity: f64,
    /// Saturated.
    pub saturation: f64,
    /// Water that leaves a bare surface before evaporation slows, mm.
    pub easy_evaporation_mm: f64,
    /// Curve number of row crops at middling wetness.
    pub curve_number: f64,
    /// Most water that leaves the ground below in a day, mm.
    pub drain_capacity_mm: f64,
}

/// The soil of a field: by its measured sand and clay, else by the middle of its texture class, and
/// by its own organic matter.
pub fn under(site: &Site) -> Soil {
    let particles = site.particles.unwrap_or(Particles::middle_of(site.texture));
    Soil::new(site.texture, particles, site.organic_matter.get())
}

impl Soil {
    /// The soil of a texture with these particles and organic matter, %. Clay and organic matter
    /// beyond what the equations were fitted to count as the most that they were.
    pub fn new(texture: Texture, particles: Particles, organic_matter: f64) -> Self {
        let sand = particles.sand() / 100.0;
        let clay = particles.clay().min(FITTED_CLAY) / 100.0;
        let organic = organic_matter.clamp(0.0, FITTED_ORGANIC_MATTER);
        let wilting = wilting(sand, clay, organic);
        let capacity = capacity(sand, clay, organic);
        let group = HydrologicGroup::of(texture);
        Self {
            wilting,
            capacity,
            saturation: capacity + large_pores(sand, clay, organic) - 0.097 * sand + 0.043,
            easy_evaporation_mm: easy_evaporation_mm(texture),
            curve_number: group.curve_number(),
            drain_capacity_mm: match group {
                HydrologicGroup::A => f64::INFINITY,
                _ => DRAIN_CAPACITY.value,
            },
        }
    }

    /// Slope of the water retention curve (Eq. 15).
    fn retention_slope(&self) -> f64 {
        (1500.0_f64.ln() - 33.0_f64.ln()) / (self.capacity.ln() - self.wilting.ln())
    }

    /// Saturated conductivity, mm/day (Eqs. 16 and 18).
    pub fn saturated_conductivity(&self) -> f64 {
        24.0 * 1930.0 * (self.saturation - self.capacity).powf(3.0 - 1.0 / self.retention_slope())
    }

    /// Water content at pF 2 (10 kPa), by the retention curve, at most saturation.
    pub fn content_at_pf_2(&self) -> f64 {
        (self.capacity * 3.3_f64.powf(1.0 / self.retention_slope())).min(self.saturation)
    }

    /// Share of the water above field capacity that drains in the first day from saturation:
    /// 0.0866 Ks^0.35, at most 1 (drainage function of FAO's daily crop model, from memory).
    pub fn daily_drainage(&self) -> f64 {
        (0.0866 * self.saturated_conductivity().powf(0.35)).min(1.0)
    }
}

/// Content at 1500 kPa (Eq. 1); shares, organic matter in %.
fn wilting(sand: f64, clay: f64, organic: f64) -> f64 {
    let first = -0.024 * sand + 0.487 * clay + 0.006 * organic + 0.005 * sand * organic
        - 0.013 * clay * organic
        + 0.068 * sand * clay
        + 0.031;
    first + 0.14 * first - 0.02
}

/// Content at 33 kPa (Eq. 2).
fn capacity(sand: f64, clay: f64, organic: f64) -> f64 {
    let first = -0.251 * sand + 0.195 * clay + 0.011 * organic + 0.006 * sand * organic
        - 0.027 * clay * organic
        + 0.452 * sand * clay
        + 0.299;
    first + 1.283 * first * first - 0.374 * first - 0.015
}

/// Content between saturation and 33 kPa (Eq. 3).
fn large_pores(sand: f64, clay: f64, organic: f64) -> f64 {
    let first = 0.278 * sand + 0.034 * clay + 0.022 * organic
        - 0.018 * sand * organic
        - 0.027 * clay * organic
        - 0.584 * sand * clay
        + 0.078;
    first + 0.636 * first - 0.107
}

const fn easy_evaporation_mm(texture: Texture) -> f64 {
    match texture {
        Texture::Sand => 4.0,
        Texture::LoamySand => 5.0,
        Texture::SandyLoam => 7.0,
        Texture::Loam | Texture::SandyClayLoam => 9.0,
        Texture::SiltLoam | Texture::Silt | Texture::ClayLoam | Texture::SandyClay => 11.0,
        Texture::SiltyClayLoam => 13.0,
        Texture::SiltyClay | Texture::Clay => 14.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn middle(texture: Texture) -> Soil {
        Soil::new(texture, Particles::middle_of(texture), 2.5)
    }

    #[test]
    fn fine_soil_drains_slowly() {
        for texture in Texture::ALL {
            assert!((0.1..=1.0).contains(&middle(texture).daily_drainage()), "{texture:?}");
        }
        assert!(
            middle(Texture::Clay).daily_drainage() < middle(Texture::SiltLoam).daily_drainage()
        );
    }

    #[test]
    fn muck_counts_as_the_richest_soil_that_was_fitted() {
        let loam = |organic| Soil::new(Texture::Loam, Particles::middle_of(Texture::Loam), organic);
        assert_eq!(loam(8.0), loam(20.0));
        assert!(loam(8.0).capacity > loam(2.0).capacity);
    }

    proptest! {
        #[test]
        fn contents_rise_from_wilting_to_saturation(
            texture in prop::sample::select(Texture::ALL.to_vec()), organic in 0.1..20.0_f64,
        ) {
            let soil = Soil::new(texture, Particles::middle_of(texture), organic);
            prop_assert!(0.0 < soil.wilting && soil.wilting < soil.capacity);
            prop_assert!(soil.capacity < soil.saturation && soil.saturation < 0.75);
        }
    }
}
