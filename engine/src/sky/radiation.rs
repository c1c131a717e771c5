//! Sunshine above the air, at the ground, and what a grass sward keeps of it. MJ m-2 d-1.
//!
//! # References
//!
//! Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, chapter 3.

use crate::reference::{Figure, Source};
use crate::units::Latitude;
use std::f64::consts::PI;

/// Turns MJ m-2 into mm of water (Eq. 20).
pub const MM_PER_MEGAJOULE: f64 = 0.408;
/// Share of the sunshine that green grass throws back (Eq. 38).
const ALBEDO: f64 = 0.23;
/// Stefan-Boltzmann, MJ K-4 m-2 d-1 (Eq. 39).
const STEFAN_BOLTZMANN: f64 = 4.903e-9;

/// Sunshine at the ground from the span of the day's temperatures, inland (Eq. 50).
pub const SPAN_INLAND: Figure = Figure::new(
    0.16,
    Source::published("FAO Irrigation and Drainage Paper 56, 1998, Eq. 50, interior locations"),
);

/// Where the sun stands over a latitude on a day of the year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    phi: f64,
    /// Inverse relative distance from the earth (Eq. 23).
    pub distance: f64,
    /// Declination, radians (Eq. 24).
    pub declination: f64,
    /// Hour angle of sunset, radians (Eq. 25).
    pub sunset: f64,
}

impl Sun {
    /// The sun over a latitude on a day of the year, 1 to 366.
    pub fn over(latitude: Latitude, day_of_year: u32) -> Self {
        let phi = latitude.get().to_radians();
        let angle = 2.0 * PI * f64::from(day_of_year) / 365.0;
        let declination = 0.409 * (angle - 1.39).sin();
        Self {
            phi,
            distance: 1.0 + 0.033 * angle.cos(),
            declination,
            sunset: (-phi.tan() * declination.tan()).clamp(-1.0, 1.0).acos(),
        }
    }

    /// Sunshine above the air (Eq. 21).
    pub fn above_the_air(&self) -> f64 {
        const SOLAR_CONSTANT: f64 = 0.0820;
        let (phi, declination) = (self.phi, self.declination);
        24.0 * 60.0 / PI
            * SOLAR_CONSTANT
            * self.distance
            * (self.sunset * phi.sin() * declination.sin()
                + phi.cos() * declination.cos() * self.sunset.sin())
    }

    /// Hours of daylight (Eq. 34).
    pub fn daylight_hours(&self) -> f64 {
        24.0 / PI * self.sunset
    }
}

/// Sunshine above the air on a day of the year (Eqs. 21 to 25).
pub fn extraterrestrial_radiation(latitude: Latitude, day_of_year: u32) -> f64 {
    Sun::over(latitude, day_of_year).above_the_air()
}

/// Sunshine at the ground from the share of the daylight with bright sun (Eq. 35).
pub fn from_sunshine(above: f64, bright_hours: f64, daylight_hours: f64) -> f64 {
    (0.25 + 0.50 * bright_hours / daylight_hours) * above
}

/// Sunshine at the ground from the span between high and low, C (Eq. 50), at most that of a clear
/// sky.
pub fn from_span(above: f64, span_c: f64, elevation_m: f64) -> f64 {
    (SPAN_INLAND.value * span_c.max(0.0).sqrt() * above).min(clear_sky(above, elevation_m))
}

/// Sunshine at the ground under a clear sky (Eq. 37).
pub fn clear_sky(above: f64, elevation_m: f64) -> f64 {
    (0.75 + 2e-5 * elevation_m) * above
}

/// Sunshine that grass keeps (Eq. 38).
pub fn net_shortwave(solar: f64) -> f64 {
    (1.0 - ALBEDO) * solar
}

/// Heat that the ground sends back to the sky (Eq. 39); `vapour_kpa` is the air's actual vapour
/// pressure. The share of a clear sky's sunshine is held within 0.3 to 1, as FAO-56 bounds it.
pub fn net_longwave(high_c: f64, low_c: f64, vapour_kpa: f64, solar: f64, clear: f64) -> f64 {
    let fourth = |celsius: f64| (celsius + 273.16).powi(4);
    let share = if clear > 0.0 { (solar / clear).clamp(0.3, 1.0) } else { 1.0 };
    STEFAN_BOLTZMANN
        * f64::midpoint(fourth(high_c), fourth(low_c))
        * (0.34 - 0.14 * vapour_kpa.sqrt())
        * (1.35 * share - 0.35)
}

/// Heat that goes into the soil over a month, from the mean temperatures of the months before and
/// after, C (Eq. 43). Over a single day it is taken as nothing (Eq. 42).
pub fn monthly_soil_heat(before_c: f64, after_c: f64) -> f64 {
    0.07 * (after_c - before_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pole_in_winter_is_dark() {
        assert!(extraterrestrial_radiation(Latitude::new(90.0).unwrap(), 355).abs() < 1e-9);
    }

    #[test]
    fn a_wide_span_gives_no_more_than_a_clear_sky() {
        assert!((from_span(40.0, 36.0, 200.0) - clear_sky(40.0, 200.0)).abs() < 1e-12);
    }
}
