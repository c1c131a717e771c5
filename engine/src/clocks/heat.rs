//! Heat: growing degree days of the 86/50 F rule.

use crate::sky;
use crate::units::{Celsius, Latitude, fahrenheit};
use crate::weather::{Kind, Weather};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// Temperature above which more warmth adds nothing, F.
pub const CEILING_F: f64 = 86.0;
/// Temperature below which nothing grows, F.
pub const BASE_F: f64 = 50.0;

/// Heat of one day, GDD in F: both temperatures are held within 50 to 86 F *before* they are
/// averaged.
///
/// # References
///
/// Barger 1969, the modified rule of the US weather service, after Gilmore & Rogers, Heat units as
/// a method of measuring maturity in corn, 1958; told by Nielsen, Purdue Univ.
pub fn gdd(high: Celsius, low: Celsius) -> f64 {
    gdd_f(high.fahrenheit(), low.fahrenheit())
}

/// The same from temperatures in F.
pub fn gdd_f(high: f64, low: f64) -> f64 {
    f64::midpoint(high.clamp(BASE_F, CEILING_F), low.clamp(BASE_F, CEILING_F)) - BASE_F
}

/// Heat by the soil's high and low at seed depth, GDD of the same rule.
///
/// It has a type of its own because its sums are not those of the air: soybean comes up after
/// about 145 GDD of air and 165 of soil. Only a clock that knows both turns one into the other.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct SoilGdd(pub f64);

impl SoilGdd {
    /// Heat of a day from the soil's high and low, C.
    pub fn of_day(high_c: f64, low_c: f64) -> Self {
        Self(gdd_f(fahrenheit(high_c), fahrenheit(low_c)))
    }

    /// What the day is worth in air heat, where a crop needs `air_gdd` of air or `soil_gdd` of
    /// soil for the same step.
    pub fn in_air(self, air_gdd: f64, soil_gdd: f64) -> f64 {
        self.0 * air_gdd / soil_gdd
    }
}

/// One day's heat for a crop: by the air, and by the soil where somebody knows it.
///
/// A plain number is heat by the air.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Warmth {
    /// By air temperature, GDD.
    pub air: Option<f64>,
    /// By soil temperature at seed depth.
    pub soil: Option<SoilGdd>,
}

impl From<Option<f64>> for Warmth {
    fn from(air: Option<f64>) -> Self {
        Self { air, soil: None }
    }
}

impl From<f64> for Warmth {
    fn from(air: f64) -> Self {
        Some(air).into()
    }
}

/// Heat of a usual day at a place.
pub fn normal_gdd(latitude: Latitude, date: NaiveDate) -> f64 {
    let (high, low) = sky::normal_temperatures(latitude, date);
    gdd_f(fahrenheit(high), fahrenheit(low))
}

/// What is known of one day's heat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "heat", rename_all = "kebab-case")]
pub enum DayHeat {
    /// From the day's own high and low.
    Known {
        /// GDD of the day.
        gdd: f64,
        /// The weaker of the two temperatures' kinds.
        kind: Kind,
    },
    /// Missing, and bridged with the mean of the known days on either side.
    Bridged {
        /// GDD of the day, estimated.
        gdd: f64,
    },
    /// Missing.
    Unknown,
}

impl DayHeat {
    /// GDD of the day, if known or bridged.
    pub const fn gdd(self) -> Option<f64> {
        match self {
            Self::Known { gdd, .. } | Self::Bridged { gdd } => Some(gdd),
            Self::Unknown => None,
        }
    }

    /// Whether it was measured.
    pub const fn is_observed(self) -> bool {
        matches!(self, Self::Known { kind, .. } if kind.is_observed())
    }
}

/// Heat day by day from `from` to `to`, both included. A run of at most `bridge_days` missing days
/// between two known ones is bridged.
pub fn series(
    weather: &Weather,
    from: NaiveDate,
    to: NaiveDate,
    bridge_days: usize,
) -> Vec<DayHeat> {
    let mut days: Vec<DayHeat> =
        from.iter_days().take_while(|date| *date <= to).map(|date| known(weather, date)).collect();
    bridge(&mut days, bridge_days);
    days
}

fn known(weather: &Weather, date: NaiveDate) -> DayHeat {
    weather.get(date).and_then(|day| Some((day.high?, day.low?))).map_or(
        DayHeat::Unknown,
        |(high, low)| DayHeat::Known {
            gdd: gdd(high.value, low.value),
            kind: high.kind.max(low.kind),
        },
    )
}

/// Bridges every run of at most `longest` missing days between two known ones with the mean of the
/// days on either side.
pub fn bridge(days: &mut [DayHeat], longest: usize) {
    let mut last: Option<(usize, f64)> = None;
    for at in 0..days.len() {
        let Some(here) = days[at].gdd() else { continue };
        if let Some((before, there)) = last
            && at - before - 1 <= longest
        {
            let gdd = f64::midpoint(there, here);
            days[before + 1..at].fill(DayHeat::Bridged { gdd });
        }
        last = Some((at, here));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const OBSERVED: fn(f64) -> DayHeat = |gdd| DayHeat::Known { gdd, kind: Kind::Station };

    #[test]
    fn short_gaps_are_bridged_and_long_or_open_ones_are_not() {
        let mut days =
            [OBSERVED(10.0), DayHeat::Unknown, OBSERVED(20.0), DayHeat::Unknown, DayHeat::Unknown];
        bridge(&mut days, 1);
        assert_eq!(days[1], DayHeat::Bridged { gdd: 15.0 });
        assert_eq!(days[3..], [DayHeat::Unknown; 2]);

        let mut days = [OBSERVED(10.0), DayHeat::Unknown, DayHeat::Unknown, OBSERVED(20.0)];
        bridge(&mut days, 1);
        assert_eq!(days[1..3], [DayHeat::Unknown; 2]);
    }

    proptest! {
        #[test]
        fn a_day_gives_0_to_36_and_never_less_for_more_warmth(
            low in -40.0..40.0_f64, span in 0.0..25.0_f64, more in 0.0..10.0_f64,
        ) {
            let at = |high: f64, low: f64| gdd_f(high * 1.8 + 32.0, low * 1.8 + 32.0);
            let base = at(low + span, low);
            prop_assert!((0.0..=36.0).contains(&base));
            prop_assert!(at(low + span + more, low) >= base);
        }
    }
}
