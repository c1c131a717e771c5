//! What the soil's organic matter gives, beside what it gives in a usual year.

use crate::findings::LagCause;
use crate::reference::{Figure, Source};
use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};
use std::f64::consts::LN_10;

/// Rate of mineralisation by temperature: `log10 k = intercept - slope / T`, k a week, T in kelvin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateLine {
    /// Intercept of the line.
    pub intercept: f64,
    /// Slope of the line, K.
    pub slope: f64,
    /// Where it comes from.
    pub source: Source,
}

/// The line in force, from five Queensland soils.
pub const CAMPBELL_1981: RateLine = RateLine {
    intercept: 6.14,
    slope: 2285.0,
    source: Source::published(
        "Campbell, Myers & Weier, Potentially mineralizable nitrogen, decomposition rates and \
         their relationship to temperature for five Queensland soils, Aust. J. Soil Res. 19, 1981, \
         abstract",
    ),
};

/// Its rival, from soils of the United States.
pub const STANFORD_1973: RateLine = RateLine {
    intercept: 6.16,
    slope: 2299.0,
    source: Source::from_memory("Stanford, Frere & Schwaninger, Soil Sci. 115:321, 1973"),
};

impl RateLine {
    /// Rate constant, a week, at a soil temperature in C. Frozen soil gives nothing.
    pub fn weekly(&self, celsius: f64) -> f64 {
        if celsius <= 0.0 {
            return 0.0;
        }
        (LN_10 * (self.intercept - self.slope / (celsius + 273.15))).exp()
    }
}

/// N that soil gives in a usual year for each percent of organic matter, lb/acre: 20,000 lb of
/// organic matter an acre furrow slice, a twentieth of it N, 2 % a year.
pub const POUNDS_PER_PERCENT_A_YEAR: Figure = Figure::new(
    20.0,
    Source::published("Textbook arithmetic of the acre furrow slice: 2,000,000 lb, 5 % N, 2 %/yr"),
);
/// Share of available water in a usual spring, where the field's own past is not known.
pub const NORMAL_WATER_SHARE: Figure =
    Figure::new(0.8, Source::common_practice("spring soils stand a little under field capacity"));
/// Past years from which a field's own normal is taken.
pub const LEAST_YEARS: Figure =
    Figure::new(5.0, Source::common_practice("fewer years let one odd spring set the mean"));
/// Depth whose temperature drives mineralisation, cm.
pub const DEPTH_CM: f64 = 10.0;

/// Speed of mineralisation: rate constant times the share of available water, which describes
/// the effect of moisture best (Qiu et al., Soil Res. SR22013, 2022), in a straight line from the
/// wilting point to field capacity (Stanford & Epstein 1974, from memory). A speed has meaning only
/// beside another one.
pub fn speed(weekly: f64, water_share: f64) -> f64 {
    weekly * water_share.clamp(0.0, 1.0)
}

/// One day of the field's past.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PastDay {
    /// The day.
    pub date: NaiveDate,
    /// Mean soil temperature at [`DEPTH_CM`], C.
    pub soil_c: Option<f64>,
    /// Share of available water in the plough layer.
    pub water_share: Option<f64>,
}

/// What a normal rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// A stated year: usual air for the latitude and one share of water.
    Stated,
    /// So many past years of the field.
    OwnYears(usize),
}

/// A usual day.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Usual {
    soil_c: f64,
    weekly: f64,
    water_share: f64,
    speed: f64,
}

/// The year against which a field's supply is measured, day by day of the year.
#[derive(Debug, Clone, PartialEq)]
pub struct Normal {
    line: RateLine,
    days: Vec<Usual>,
    year_sum: f64,
    basis: Basis,
}

impl Normal {
    /// A stated normal year from its 366 daily soil temperatures (day 1 first), C, by the line in
    /// force.
    pub fn new(soil_c: Vec<f64>, water_share: f64) -> Self {
        Self::by(CAMPBELL_1981, soil_c, water_share)
    }

    /// The same by another line.
    pub fn by(line: RateLine, soil_c: impl IntoIterator<Item = f64>, water_share: f64) -> Self {
        let usual = |soil_c: f64| {
            let weekly = line.weekly(soil_c);
            Usual { soil_c, weekly, water_share, speed: speed(weekly, water_share) }
        };
        Self::of_days(line, soil_c.into_iter().map(usual).collect(), Basis::Stated)
    }

    /// This normal with the field's own past laid over it: each day of the year that is known in
    /// at least [`LEAST_YEARS`] years takes their mean, every other day stays as stated. With no
    /// such day the stated normal stands whole. Days of the year are counted from new year, and the
    /// 366th, which three years in four do not have, follows the one before it.
    #[must_use]
    pub fn with_past(self, past: impl IntoIterator<Item = PastDay>) -> Self {
        let mut sums = vec![Sum::default(); self.days.len()];
        for day in past {
            let sum = sums.get_mut(day.date.ordinal0() as usize);
            if let (Some(sum), Some(soil_c), Some(water)) = (sum, day.soil_c, day.water_share) {
                sum.take(soil_c, self.line.weekly(soil_c), water);
            }
        }
        let years = sums.iter().map(|sum| sum.years).max().unwrap_or_default();
        let own = sums.iter().zip(&self.days).map(|(sum, stated)| sum.mean().unwrap_or(*stated));
        let mut own: Vec<Usual> = own.collect();
        if own == self.days {
            return self;
        }
        if let [.., before, last] = &mut own[..] {
            *last = *before;
        }
        Self::of_days(self.line, own, Basis::OwnYears(years))
    }

    fn of_days(line: RateLine, days: Vec<Usual>, basis: Basis) -> Self {
        let year_sum = days.iter().map(|day| day.speed).sum();
        Self { line, days, year_sum, basis }
    }

    /// What it rests on.
    pub const fn basis(&self) -> Basis {
        self.basis
    }

    /// Soil temperature of a day of the year, C.
    pub fn soil_c(&self, day_of_year: u32) -> f64 {
        self.usual(day_of_year).map_or(0.0, |usual| usual.soil_c)
    }

    fn usual(&self, day_of_year: u32) -> Option<&Usual> {
        self.days.get((day_of_year as usize).saturating_sub(1)).or(self.days.last())
    }
}

/// Sums over the past years of one day of the year.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    years: usize,
    soil_c: f64,
    weekly: f64,
    water_share: f64,
    speed: f64,
}

impl Sum {
    fn take(&mut self, soil_c: f64, weekly: f64, water_share: f64) {
        self.years += 1;
        self.soil_c += soil_c;
        self.weekly += weekly;
        self.water_share += water_share.clamp(0.0, 1.0);
        self.speed += speed(weekly, water_share);
    }

    #[expect(clippy::cast_precision_loss, reason = "a count of years is exact")]
    fn mean(&self) -> Option<Usual> {
        let years = self.years as f64;
        (years >= LEAST_YEARS.value).then(|| Usual {
            soil_c: self.soil_c / years,
            weekly: self.weekly / years,
            water_share: self.water_share / years,
            speed: self.speed / years,
        })
    }
}

/// What the soil has given since planting, beside what it gives in a normal year over the same
/// days. A day whose soil is unknown is left out of both and counted.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Supply {
    real: f64,
    usual: f64,
    usual_water: f64,
    usual_warmth: f64,
    unknown_days: u32,
    days: u32,
}

impl Supply {
    /// Takes in a day: soil temperature (C) and share of available water, where known.
    pub fn advance(
        &mut self,
        normal: &Normal,
        day_of_year: u32,
        soil_c: Option<f64>,
        water_share: Option<f64>,
    ) {
        self.days += 1;
        let (Some(soil_c), Some(water), Some(usual)) =
            (soil_c, water_share, normal.usual(day_of_year))
        else {
            self.unknown_days += 1;
            return;
        };
        let weekly = normal.line.weekly(soil_c);
        self.real += speed(weekly, water);
        self.usual += usual.speed;
        self.usual_water += speed(weekly, usual.water_share);
        self.usual_warmth += speed(usual.weekly, water);
    }

    /// N given over the days that are known, lb/acre, for so much organic matter (percent): a lower
    /// bound when [`Self::unknown_days`] is not 0.
    pub fn pounds(&self, normal: &Normal, organic_matter_percent: f64) -> f64 {
        let year = POUNDS_PER_PERCENT_A_YEAR.value * organic_matter_percent;
        if normal.year_sum > 0.0 { year * self.real / normal.year_sum } else { 0.0 }
    }

    /// Days that were left out.
    pub const fn unknown_days(&self) -> u32 {
        self.unknown_days
    }

    /// How far behind the normal, percent (below zero when ahead), and the cause that weighs more.
    /// `None` within the first fortnight and when more than `most_unknown` days are unknown.
    pub fn lag(&self, most_unknown: u32) -> Option<(f64, LagCause)> {
        const LEAST_DAYS: u32 = 14;
        let enough = self.days >= LEAST_DAYS && self.unknown_days <= most_unknown;
        if !enough || self.usual <= 0.0 {
            return None;
        }
        let percent = 100.0 * (1.0 - self.real / self.usual);
        let cause =
            if self.usual_water < self.usual_warmth { LagCause::Cool } else { LagCause::Dry };
        Some((percent, cause))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn normal() -> Normal {
        Normal::new(vec![15.0; 366], 0.8)
    }

    fn run(normal: &Normal, soil_c: f64, water: f64) -> Supply {
        let mut supply = Supply::default();
        for day in 120..150 {
            supply.advance(normal, day, Some(soil_c), Some(water));
        }
        supply
    }

    #[test]
    fn a_normal_spring_has_no_lag_and_the_weightier_cause_is_named() {
        let normal = normal();
        let lag = |soil_c, water| run(&normal, soil_c, water).lag(2).unwrap();
        assert!(lag(15.0, 0.8).0.abs() < 1e-9);
        let (cool, cause) = lag(10.0, 0.8);
        assert!(cool > 20.0 && cause == LagCause::Cool);
        let (dry, cause) = lag(15.0, 0.4);
        assert!((dry - 50.0).abs() < 1e-9 && cause == LagCause::Dry);
    }

    #[test]
    fn a_normal_year_gives_the_published_sum() {
        let normal = normal();
        let mut supply = Supply::default();
        for day in 1..=366 {
            supply.advance(&normal, day, Some(15.0), Some(0.8));
        }
        assert!((supply.pounds(&normal, 3.0) - 60.0).abs() < 1e-9);
    }

    #[test]
    fn unknown_days_count_on_neither_side() {
        let normal = normal();
        let mut supply = Supply::default();
        for day in 120..140 {
            supply.advance(&normal, day, (day % 2 == 0).then_some(15.0), Some(0.8));
        }
        assert_eq!(supply.unknown_days(), 10);
        assert_eq!(supply.lag(9), None);
        assert!(supply.lag(10).unwrap().0.abs() < 1e-9);
    }

    fn past(years: i32, warmth: impl Fn(i32) -> f64) -> Vec<PastDay> {
        let first = |year| NaiveDate::from_yo_opt(year, 100).unwrap();
        (0..years)
            .flat_map(|at| {
                let soil_c = Some(warmth(at));
                first(2015 + at).iter_days().take(90).map(move |date| PastDay {
                    date,
                    soil_c,
                    water_share: Some(0.6),
                })
            })
            .collect()
    }

    #[test]
    fn four_years_of_the_field_are_not_its_normal_and_five_are() {
        let four = normal().with_past(past(4, |_| 12.0));
        assert_eq!(four, normal());
        let five = normal().with_past(past(5, |_| 12.0));
        assert_eq!(five.basis(), Basis::OwnYears(5));
        assert!((five.soil_c(130) - 12.0).abs() < 1e-9);
        assert!((five.soil_c(30) - 15.0).abs() < 1e-9);
        assert!(run(&five, 12.0, 0.6).lag(0).unwrap().0.abs() < 1e-9);
    }

    #[test]
    fn the_years_of_a_normal_lie_about_it_and_not_to_one_side() {
        let warmth = |year: i32| 10.0 + 2.5 * f64::from(year);
        let normal = normal().with_past(past(5, warmth));
        let given: f64 = (0..5).map(|year| run(&normal, warmth(year), 0.6).real).sum();
        let usual = 5.0 * run(&normal, 15.0, 0.6).usual;
        assert!((given / usual - 1.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn warmer_or_wetter_soil_never_gives_less(
            soil_c in -5.0..40.0_f64,
            more_c in 0.0..10.0_f64,
            water in 0.0..1.0_f64,
            more_water in 0.0..1.0_f64,
        ) {
            for line in [CAMPBELL_1981, STANFORD_1973] {
                let normal = Normal::by(line, [15.0; 366], 0.8);
                let pounds = |soil_c, water| run(&normal, soil_c, water).pounds(&normal, 3.0);
                let here = pounds(soil_c, water);
                prop_assert!(pounds(soil_c + more_c, water) >= here);
                prop_assert!(pounds(soil_c, (water + more_water).min(1.0)) >= here);
            }
        }
    }
}
