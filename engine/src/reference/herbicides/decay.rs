//! First-order decay in soil, as the FOCUS groundwater work group normalises it to 20 C and pF 2.

use super::sources::read;
use crate::reference::Source;
use crate::site::Texture;

/// Rise of the decay rate for 10 C more.
pub const Q10: f64 = 2.58;

/// Temperature at which half-lives are stated, C.
pub const REFERENCE_C: f64 = 20.0;

/// Exponent of the relative moisture (Walker's B).
pub const MOISTURE_EXPONENT: f64 = 0.7;

/// Where the two factors come from. Measured values scatter round them: a Q10 of 1.5 for
/// S-metolachlor (Long et al. 2014), an exponent of 1.2 to 1.8 for chloridazon and metamitron
/// (Capri et al. 1995).
pub const SOURCE: Source = read(
    "FOCUS, Guidance Document on Estimating Persistence and Degradation Kinetics, 2006/2014, \
     App. 8 p. 369; EFSA Journal 622, 2007 for 2.58",
);

/// Default water contents of one texture class, percent by weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moistures {
    /// At pF 1.
    pub pf1: f64,
    /// At pF 2, the reference.
    pub pf2: f64,
}

/// Where [`moistures`] comes from.
pub const MOISTURES_SOURCE: Source =
    read("FOCUS, Generic Guidance for Tier 1 FOCUS Ground Water Assessments v2.2, 2014, p. 36");

/// Default water contents of a texture class.
pub const fn moistures(texture: Texture) -> Moistures {
    let (pf1, pf2) = match texture {
        Texture::Sand => (24.0, 12.0),
        Texture::LoamySand => (24.0, 14.0),
        Texture::SandyLoam => (27.0, 19.0),
        Texture::SandyClayLoam => (28.0, 22.0),
        Texture::ClayLoam => (32.0, 28.0),
        Texture::Loam => (31.0, 25.0),
        Texture::SiltLoam => (32.0, 26.0),
        Texture::SiltyClayLoam => (34.0, 30.0),
        Texture::Silt => (31.0, 27.0),
        Texture::SandyClay => (41.0, 35.0),
        Texture::SiltyClay => (44.0, 40.0),
        Texture::Clay => (53.0, 48.0),
    };
    Moistures { pf1, pf2 }
}

/// Decay rate at a temperature over the rate at 20 C: Q10^((T - 20) / 10), and none at or below
/// 0 C. `celsius` in C.
pub fn temperature_factor(celsius: f64, q10: f64) -> f64 {
    Warmth::new(q10).factor(celsius)
}

/// The temperature factor of one Q10, its logarithm taken once for many days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warmth {
    per_degree: f64,
}

impl Warmth {
    /// Of a Q10 above zero.
    pub fn new(q10: f64) -> Self {
        Self { per_degree: q10.ln() / 10.0 }
    }

    /// Decay rate at a temperature in C over the rate at 20 C.
    pub fn factor(self, celsius: f64) -> f64 {
        if celsius <= 0.0 { 0.0 } else { (self.per_degree * (celsius - REFERENCE_C)).exp() }
    }
}

/// Decay rate at a water content over the rate at pF 2: (content / reference)^B, at most 1.
///
/// `relative` is content over reference, in the same unit.
pub fn moisture_factor(relative: f64, exponent: f64) -> f64 {
    if relative >= 1.0 { 1.0 } else { relative.max(0.0).powf(exponent) }
}

/// Share of a dose left after so many normalised days: 0.5^(days / half-life).
pub fn share_left(normalised_days: f64, half_life_days: f64) -> f64 {
    0.5_f64.powf(normalised_days / half_life_days)
}
