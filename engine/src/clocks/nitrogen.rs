//! Corn nitrogen: what the soil gives, what the crop takes, what wet soil costs.

use crate::clocks::Stage;
use crate::findings::LagCause;
use crate::reference::{Figure, Source};
use serde::Serialize;

/// Rate constant of mineralisation, a week, at a soil temperature in C: `log10 k = 6.14 - 2285/T`.
///
/// # References
///
/// Campbell, Myers & Weier, Potentially mineralizable nitrogen, decomposition rates and their
/// relationship to temperature for five Queensland soils, Aust. J. Soil Res. 19, 1981, abstract.
pub fn campbell_rate(celsius: f64) -> f64 {
    10.0_f64.powf(6.14 - 2285.0 / (celsius + 273.15))
}

/// N that soil gives in a usual year for each percent of organic matter, lb/acre: 20,000 lb of
/// organic matter an acre furrow slice, a twentieth of it N, 2 % a year.
pub const POUNDS_PER_PERCENT_A_YEAR: Figure = Figure::new(
    20.0,
    Source::published("Textbook arithmetic of the acre furrow slice: 2,000,000 lb, 5 % N, 2 %/yr"),
);
/// Share of available water in a usual spring.
pub const NORMAL_WATER_SHARE: Figure =
    Figure::new(0.8, Source::common_practice("spring soils stand a little under field capacity"));
/// Depth whose temperature drives mineralisation, cm.
pub const DEPTH_CM: f64 = 10.0;

/// Speed of mineralisation on a day: rate constant times the share of available water. Frozen soil
/// gives nothing. A speed has meaning only beside another one.
pub fn speed(celsius: f64, water_share: f64) -> f64 {
    if celsius <= 0.0 { 0.0 } else { campbell_rate(celsius) * water_share.clamp(0.0, 1.0) }
}

/// The year against which a field's supply is measured: soil temperature day by day and the share
/// of available water.
#[derive(Debug, Clone, PartialEq)]
pub struct Normal {
    soil_c: Vec<f64>,
    water_share: f64,
    year_sum: f64,
}

impl Normal {
    /// A normal year from its 366 daily soil temperatures (day 1 first), C.
    pub fn new(soil_c: Vec<f64>, water_share: f64) -> Self {
        let year_sum = soil_c.iter().map(|celsius| speed(*celsius, water_share)).sum();
        Self { soil_c, water_share, year_sum }
    }

    /// Soil temperature of a day of the year, C.
    pub fn soil_c(&self, day_of_year: u32) -> f64 {
        let last = self.soil_c.len().saturating_sub(1);
        self.soil_c.get((day_of_year as usize).saturating_sub(1).min(last)).copied().unwrap_or(0.0)
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
        let (Some(soil_c), Some(water)) = (soil_c, water_share) else {
            self.unknown_days += 1;
            return;
        };
        let usual_c = normal.soil_c(day_of_year);
        self.real += speed(soil_c, water);
        self.usual += speed(usual_c, normal.water_share);
        self.usual_water += speed(soil_c, normal.water_share);
        self.usual_warmth += speed(usual_c, water);
    }

    /// N given over the days that are known, lb/acre, for so much organic matter (percent).
    pub fn pounds(&self, normal: &Normal, organic_matter_percent: f64) -> f64 {
        let year = POUNDS_PER_PERCENT_A_YEAR.value * organic_matter_percent;
        if normal.year_sum > 0.0 { year * self.real / normal.year_sum } else { 0.0 }
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

/// Share of the season's N in the crop at a stage, percent.
///
/// # References
///
/// Nitrogen accumulation by corn, Michigan State Univ. Extension, after Ritchie, Hanway & Benson,
/// How a corn plant develops, Iowa State Univ. Special Report 48.
pub fn uptake_percent(stage: Stage) -> f64 {
    const ROWS: [(f64, f64); 8] = [
        (6.0, 5.0),
        (8.0, 10.0),
        (12.0, 30.0),
        (18.0, 60.0),
        (21.0, 67.0),
        (22.0, 77.0),
        (24.0, 90.0),
        (25.0, 97.0),
    ];
    // Stages on one line: collars up to 20, then 20 + n for Rn; tassel stands just before R1.
    let place = match stage {
        Stage::Planted | Stage::Emerged | Stage::Cotyledon => return 0.0,
        Stage::Vegetative(collars) => f64::from(collars),
        Stage::Tassel => 20.5,
        Stage::Reproductive(count) => 20.0 + f64::from(count),
    };
    let mut before = (0.0, 0.0);
    for row in ROWS {
        if place <= row.0 {
            return before.1 + (row.1 - before.1) * (place - before.0) / (row.0 - before.0);
        }
        before = row;
    }
    if place >= 26.0 { 100.0 } else { before.1 }
}

/// Saturated days that cost nothing yet.
pub const FREE_WET_DAYS: Figure = Figure::new(
    2.0,
    Source::published("How to estimate N loss resulting from saturated soils, Mississippi State"),
);

/// Nitrate lost per saturated day, percent, at a soil temperature in C: 4 to 5 above 65 F, 2 to 3
/// from 55 to 65 F. Below 55 F nothing is published and nothing is counted.
///
/// # References
///
/// How to estimate N loss resulting from saturated soils, Mississippi State Univ. Extension;
/// Sawyer, Iowa State Univ., ICM News 15 June 2010 (4 to 5 %, warm soil).
pub fn daily_loss_percent(celsius: f64) -> f64 {
    let fahrenheit = celsius * 1.8 + 32.0;
    if fahrenheit > 65.0 {
        4.5
    } else if fahrenheit >= 55.0 {
        2.5
    } else {
        0.0
    }
}

/// Nitrate lost in a wet spell, lb/acre: so many percent of what was there at its start for each
/// day, added up, never compounded, never more than there was.
///
/// # References
///
/// Sawyer, Iowa State Univ., ICM News 15 June 2010, worked the same way in every extension example.
pub fn wet_loss(nitrate_lb: f64, percent_a_day: f64, days: f64) -> f64 {
    (nitrate_lb * percent_a_day / 100.0 * days).min(nitrate_lb)
}

/// Nitrate that wet soil has cost since the first fertiliser went on.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct WetLoss {
    /// Saturated days in the spell that runs, 0 when none does.
    spell_days: u32,
    /// Nitrate at the start of that spell, lb/acre.
    spell_nitrate: f64,
    /// Lost in that spell so far, lb/acre.
    spell_lost: f64,
    /// Lost so far, lb/acre.
    pub pounds: f64,
    /// Saturated days counted so far.
    pub wet_days: u32,
}

impl WetLoss {
    /// Takes in a day. `nitrate_lb` is the fertiliser nitrate there would be had none been lost.
    /// With the soil temperature unknown the day is counted as wet but costs nothing that could be
    /// named.
    pub fn advance(&mut self, saturated: bool, nitrate_lb: f64, soil_c: Option<f64>) {
        if !saturated {
            self.spell_days = 0;
            return;
        }
        if self.spell_days == 0 {
            self.spell_nitrate = (nitrate_lb - self.pounds).max(0.0);
            self.spell_lost = 0.0;
        }
        self.spell_days += 1;
        self.wet_days += 1;
        if f64::from(self.spell_days) > FREE_WET_DAYS.value {
            let rate = soil_c.map_or(0.0, daily_loss_percent);
            let lost =
                wet_loss(self.spell_nitrate, rate, 1.0).min(self.spell_nitrate - self.spell_lost);
            self.spell_lost += lost;
            self.pounds += lost;
        }
    }
}

/// Nitrate in the top foot, ppm, at which more N pays nothing.
pub const CRITICAL_NITRATE_PPM: Figure = Figure::new(
    25.0,
    Source::published("Blackmer et al., Nitrogen fertilizer recommendations, Iowa State CROP 3140"),
);

/// N to put on by the late-spring nitrate test, lb/acre: eight for each ppm short.
///
/// # References
///
/// Lang, Iowa State Univ., 2004, after CROP 3140.
pub fn nitrate_test_rate(critical_ppm: f64, test_ppm: f64) -> f64 {
    (critical_ppm - test_ppm).max(0.0) * 8.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal() -> Normal {
        Normal::new(vec![15.0; 366], 0.8)
    }

    #[test]
    fn a_normal_spring_has_no_lag_and_the_weightier_cause_is_named() {
        let normal = normal();
        let run = |soil_c: f64, water: f64| {
            let mut supply = Supply::default();
            for day in 120..150 {
                supply.advance(&normal, day, Some(soil_c), Some(water));
            }
            supply.lag(2).unwrap()
        };
        assert!(run(15.0, 0.8).0.abs() < 1e-9);
        let (cool, cause) = run(10.0, 0.8);
        assert!(cool > 20.0 && cause == LagCause::Cool);
        let (dry, cause) = run(15.0, 0.4);
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
        assert_eq!(supply.lag(9), None);
        assert!(supply.lag(10).unwrap().0.abs() < 1e-9);
    }

    #[test]
    fn the_first_two_wet_days_cost_nothing_and_the_rest_add_up() {
        let mut loss = WetLoss::default();
        for _ in 0..5 {
            loss.advance(true, 100.0, Some(20.0));
        }
        assert!((loss.pounds - 13.5).abs() < 1e-9);
        loss.advance(false, 100.0, Some(20.0));
        loss.advance(true, 100.0, Some(20.0));
        assert!((loss.pounds - 13.5).abs() < 1e-9);
        assert_eq!(loss.wet_days, 6);
    }
}
