//! What the sky gives at a latitude on a day: sunshine above the air, normal temperature,
//! evaporative demand.

pub mod sun;

use crate::reference::{Figure, Source};
use crate::units::{Celsius, Latitude};
use chrono::{Datelike, NaiveDate};
use std::f64::consts::PI;

/// Sunshine above the air, MJ m-2 d-1, on a day of the year.
///
/// # References
///
/// Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, Eqs. 21 to 25.
pub fn extraterrestrial_radiation(latitude: Latitude, day_of_year: u32) -> f64 {
    const SOLAR_CONSTANT: f64 = 0.0820;
    let phi = latitude.get().to_radians();
    let angle = 2.0 * PI * f64::from(day_of_year) / 365.0;
    let distance = 1.0 + 0.033 * angle.cos();
    let declination = 0.409 * (angle - 1.39).sin();
    let sunset = (-phi.tan() * declination.tan()).clamp(-1.0, 1.0).acos();
    24.0 * 60.0 / PI
        * SOLAR_CONSTANT
        * distance
        * (sunset * phi.sin() * declination.sin() + phi.cos() * declination.cos() * sunset.sin())
}

/// Evaporative demand of short grass, mm/day, from the day's temperatures alone.
///
/// `radiation` is [`extraterrestrial_radiation`] of the day. Runs about a tenth above the full
/// Penman-Monteith equation in humid places.
///
/// # References
///
/// FAO Irrigation and Drainage Paper 56, Eq. 52 (Hargreaves); 0.408 turns MJ m-2 into mm, Eq. 20.
pub fn hargreaves(high: Celsius, low: Celsius, radiation: f64) -> f64 {
    let mean = f64::midpoint(high.get(), low.get());
    let span = (high.get() - low.get()).max(0.0);
    (0.0023 * (mean + 17.8) * span.sqrt() * 0.408 * radiation).max(0.0)
}

/// Mean of the year at 42 N, C; what a degree of latitude takes off it; half the swing from
/// winter to summer at 42 N, C; what a degree of latitude adds to it; day of the year of its top;
/// usual span from low to high, C.
const NORMALS: [Figure; 6] = {
    const CORN_BELT: Source = Source::from_memory(
        "rounded from monthly normals of Corn Belt stations between 40 and 45 N below 500 m",
    );
    [
        Figure::new(9.7, CORN_BELT),
        Figure::new(0.75, CORN_BELT),
        Figure::new(15.0, CORN_BELT),
        Figure::new(0.35, CORN_BELT),
        Figure::new(198.0, CORN_BELT),
        Figure::new(12.0, CORN_BELT),
    ]
};

/// The high and low of a usual day in the Corn Belt: one curve over the year for each latitude.
///
/// It stands in for a field's own past years where those are not at hand: good to about 2 C a
/// month near 42 N and low ground, worse elsewhere.
pub fn normal_temperatures(latitude: Latitude, date: NaiveDate) -> (f64, f64) {
    let [mean, mean_slope, swing, swing_slope, top, span] = NORMALS.map(|figure| figure.value);
    let north = latitude.get() - 42.0;
    let turn = 2.0 * PI * (f64::from(date.ordinal()) - top) / 365.0;
    let middle = mean - mean_slope * north + (swing + swing_slope * north) * turn.cos();
    (middle + span / 2.0, middle - span / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn summer_is_warmest_in_july_and_cooler_to_the_north() {
        let at = |latitude: f64, month: u32| {
            let date = NaiveDate::from_ymd_opt(2026, month, 15).unwrap();
            normal_temperatures(Latitude::new(latitude).unwrap(), date)
        };
        let july = at(42.0, 7);
        assert!((1..=12).all(|month| at(42.0, month).0 <= july.0));
        assert!(at(45.0, 5).0 < at(41.0, 5).0);
    }

    #[test]
    fn the_pole_in_winter_is_dark() {
        assert!(extraterrestrial_radiation(Latitude::new(90.0).unwrap(), 355).abs() < 1e-9);
    }
}
