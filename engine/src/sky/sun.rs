//! Where the sun stands, and when it rises and sets.
//!
//! # References
//!
//! Meeus, Astronomical Algorithms, 2nd ed., 1998, chapters 22, 25 and 28 (the sun at low accuracy,
//! 0.01 degree), as the solar calculator of NOAA's Global Monitoring Laboratory uses them.

use crate::units::{Latitude, Longitude};
use chrono::{DateTime, FixedOffset, NaiveDate, NaiveTime, TimeDelta, Utc};

/// Height of the sun's middle when its upper rim touches a level horizon, degrees: refraction of 34
/// minutes of arc and a radius of 16.
pub const HORIZON: f64 = -50.0 / 60.0;

/// 2000 January 1, 12:00 UTC, in seconds since 1970; time is counted from there.
const J2000: i64 = 946_728_000;
const SECONDS_PER_CENTURY: f64 = 36_525.0 * 86_400.0;
const MINUTES_PER_DEGREE: f64 = 4.0;
/// Each pass takes the sun's place at the moment that the last one found; the third moves it by
/// less than a second.
const PASSES: usize = 3;

/// The sun as seen from the middle of the earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// Angle north of the equator, degrees.
    pub declination: f64,
    /// Sun dial less clock, minutes.
    pub equation_of_time: f64,
}

impl Sun {
    /// Where it stands at a moment; good to 0.01 degree from 1900 to 2100.
    pub fn at(moment: DateTime<Utc>) -> Self {
        #[expect(clippy::cast_precision_loss, reason = "seconds of a few centuries")]
        let t = (moment.timestamp() - J2000) as f64 / SECONDS_PER_CENTURY;
        let mean_longitude = 280.466_46 + t * (36_000.769_83 + t * 0.000_303_2);
        let anomaly = (357.529_11 + t * (35_999.050_29 - t * 0.000_153_7)).to_radians();
        let eccentricity = 0.016_708_634 - t * (0.000_042_037 + t * 0.000_000_126_7);
        let centre = (1.914_602 - t * (0.004_817 + t * 0.000_014)) * anomaly.sin()
            + (0.019_993 - t * 0.000_101) * (2.0 * anomaly).sin()
            + 0.000_289 * (3.0 * anomaly).sin();
        let node = (125.04 - 1934.136 * t).to_radians();
        let longitude = (mean_longitude + centre - 0.005_69 - 0.004_78 * node.sin()).to_radians();
        let tilt = 23.439_291_1 - t * (0.013_004_2 + t * (0.000_000_16 - t * 0.000_000_504));
        let tilt = (tilt + 0.002_56 * node.cos()).to_radians();
        let declination = (tilt.sin() * longitude.sin()).asin().to_degrees();
        let y = (tilt / 2.0).tan().powi(2);
        let twice = 2.0 * mean_longitude.to_radians();
        let equation = y * twice.sin() - 2.0 * eccentricity * anomaly.sin()
            + 4.0 * eccentricity * y * anomaly.sin() * twice.cos()
            - 0.5 * y * y * (2.0 * twice).sin()
            - 1.25 * eccentricity * eccentricity * (2.0 * anomaly).sin();
        Self { declination, equation_of_time: equation.to_degrees() * MINUTES_PER_DEGREE }
    }
}

/// Height of the sun's middle above a level horizon, degrees, without refraction.
pub fn elevation(latitude: Latitude, longitude: Longitude, moment: DateTime<Utc>) -> f64 {
    let sun = Sun::at(moment);
    #[expect(clippy::cast_precision_loss, reason = "seconds of one day")]
    let clock = moment.timestamp().rem_euclid(86_400) as f64 / 60.0;
    let dial = clock + sun.equation_of_time + MINUTES_PER_DEGREE * longitude.get();
    let hour_angle = (dial / MINUTES_PER_DEGREE - 180.0).to_radians();
    let (phi, delta) = (latitude.get().to_radians(), sun.declination.to_radians());
    let sine = phi.sin() * delta.sin() + phi.cos() * delta.cos() * hour_angle.cos();
    sine.clamp(-1.0, 1.0).asin().to_degrees()
}

/// When the sun passes a height on its way up and on its way down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Daylight {
    /// On its way up.
    pub rise: DateTime<Utc>,
    /// On its way down.
    pub set: DateTime<Utc>,
}

impl Daylight {
    /// Sunrise and sunset of a local day over a level horizon; `None` where the sun stays up or
    /// down all day.
    pub fn of(latitude: Latitude, longitude: Longitude, date: NaiveDate) -> Option<Self> {
        Self::above(latitude, longitude, date, HORIZON)
    }

    /// The same for any height of the sun's middle, degrees.
    pub fn above(
        latitude: Latitude,
        longitude: Longitude,
        date: NaiveDate,
        height: f64,
    ) -> Option<Self> {
        let noon = date.and_time(NaiveTime::MIN).and_utc()
            + minutes(720.0 - MINUTES_PER_DEGREE * longitude.get());
        let find = |side: f64| {
            (0..PASSES).try_fold(noon, |moment, _| {
                let sun = Sun::at(moment);
                let (phi, delta) = (latitude.get().to_radians(), sun.declination.to_radians());
                let cosine = (height.to_radians().sin() - phi.sin() * delta.sin())
                    / (phi.cos() * delta.cos());
                let angle = (-1.0..=1.0).contains(&cosine).then(|| cosine.acos().to_degrees())?;
                Some(noon + minutes(side * MINUTES_PER_DEGREE * angle - sun.equation_of_time))
            })
        };
        Some(Self { rise: find(-1.0)?, set: find(1.0)? })
    }

    /// From rise to set, hours.
    pub fn hours(&self) -> f64 {
        hours(self.set - self.rise)
    }

    /// Hours from the rise to a moment; negative before it.
    pub fn since_rise(&self, moment: DateTime<FixedOffset>) -> f64 {
        hours(moment.to_utc() - self.rise)
    }

    /// Hours from a moment to the set; negative after it.
    pub fn until_set(&self, moment: DateTime<FixedOffset>) -> f64 {
        hours(self.set - moment.to_utc())
    }
}

fn minutes(count: f64) -> TimeDelta {
    #[expect(clippy::cast_possible_truncation, reason = "minutes of a day or two")]
    let seconds = (count * 60.0).round() as i64;
    TimeDelta::seconds(seconds)
}

#[expect(clippy::cast_precision_loss, reason = "seconds of a day or two")]
fn hours(span: TimeDelta) -> f64 {
    span.num_seconds() as f64 / 3600.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_sun_stays_up_at_the_pole_in_june_and_down_in_december() {
        let at = |month| {
            let date = NaiveDate::from_ymd_opt(2026, month, 21).unwrap();
            Daylight::of(Latitude::new(89.0).unwrap(), Longitude::new(0.0).unwrap(), date)
        };
        assert_eq!((at(6), at(12)), (None, None));
    }

    proptest! {
        #[test]
        fn the_sun_stands_on_the_horizon_when_it_rises_and_sets(
            latitude in -60.0..60.0_f64, longitude in -179.0..179.0_f64, day in 0..3000u64,
        ) {
            let (latitude, longitude) =
                (Latitude::new(latitude).unwrap(), Longitude::new(longitude).unwrap());
            let date = NaiveDate::from_ymd_opt(2024, 1, 1).unwrap() + chrono::Days::new(day);
            let day = Daylight::of(latitude, longitude, date).unwrap();
            for moment in [day.rise, day.set] {
                prop_assert!((elevation(latitude, longitude, moment) - HORIZON).abs() < 0.01);
            }
            prop_assert!(day.rise < day.set);
        }
    }
}
