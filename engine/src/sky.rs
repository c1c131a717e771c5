//! What the sky gives at a latitude on a day: sunshine above the air, normal temperature,
//! evaporative demand.

pub mod demand;
pub mod radiation;
pub mod sun;
pub mod vapour;

pub use radiation::extraterrestrial_radiation;

use crate::reference::{Figure, Source};
use crate::units::Latitude;
use chrono::{Datelike, NaiveDate};
use std::f64::consts::PI;

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
}
