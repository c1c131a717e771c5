//! Water held by the twelve texture classes.

use super::Source;
use crate::site::Texture;

/// Water contents of one texture, as shares of the soil's volume.
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
}

/// Source of the three water contents.
pub const WATER_CONTENTS: Source = Source::published(
    "Saxton & Rawls, Soil water characteristic estimates, SSSAJ 70:1569, 2006, organic matter 2.5 %",
);
/// Source of the easily evaporated water.
pub const EASY_EVAPORATION: Source = Source::published(
    "Default soils of AquaCrop (Raes, Steduto, Hsiao & Fereres, FAO); sandy clay loam and sandy clay by neighbour",
);

/// The water a texture holds.
pub const fn of(texture: Texture) -> Soil {
    const fn row(wilting: f64, capacity: f64, saturation: f64, easy_evaporation_mm: f64) -> Soil {
        Soil { wilting, capacity, saturation, easy_evaporation_mm }
    }
    match texture {
        Texture::Sand => row(0.050, 0.103, 0.462, 4.0),
        Texture::LoamySand => row(0.051, 0.120, 0.460, 5.0),
        Texture::SandyLoam => row(0.081, 0.179, 0.450, 7.0),
        Texture::Loam => row(0.137, 0.280, 0.459, 9.0),
        Texture::SiltLoam => row(0.110, 0.305, 0.479, 11.0),
        Texture::Silt => row(0.057, 0.305, 0.479, 11.0),
        Texture::SandyClayLoam => row(0.166, 0.267, 0.434, 9.0),
        Texture::ClayLoam => row(0.218, 0.358, 0.477, 11.0),
        Texture::SiltyClayLoam => row(0.215, 0.382, 0.511, 13.0),
        Texture::SandyClay => row(0.249, 0.361, 0.444, 11.0),
        Texture::SiltyClay => row(0.268, 0.409, 0.523, 14.0),
        Texture::Clay => row(0.298, 0.421, 0.498, 14.0),
    }
}

impl Soil {
    /// Slope of the water retention curve: Saxton & Rawls 2006, Eq. 15.
    fn retention_slope(&self) -> f64 {
        (1500.0_f64.ln() - 33.0_f64.ln()) / (self.capacity.ln() - self.wilting.ln())
    }

    /// Saturated conductivity, mm/day: Saxton & Rawls 2006, Eqs. 16 and 18.
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contents_rise_from_wilting_to_saturation_and_fine_soil_drains_slowly() {
        for texture in Texture::ALL {
            let soil = of(texture);
            assert!(0.0 < soil.wilting && soil.wilting < soil.capacity, "{texture:?}");
            assert!(soil.capacity < soil.saturation && soil.saturation < 0.6, "{texture:?}");
            assert!((0.1..=1.0).contains(&soil.daily_drainage()), "{texture:?}");
        }
        assert!(of(Texture::Clay).daily_drainage() < of(Texture::SiltLoam).daily_drainage());
    }
}
