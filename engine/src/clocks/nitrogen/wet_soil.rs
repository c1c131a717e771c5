//! What wet soil costs: nitrate lost to the air while it is saturated, nitrate washed down.

use crate::reference::soils::Soil;
use crate::reference::{Band, Figure, Source};
use crate::site::TextureGroup;
use crate::units::fahrenheit;
use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

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
pub fn daily_loss(celsius: f64) -> Band {
    const BY_WARMTH: Source = Source::published(
        "How to estimate N loss resulting from saturated soils, Mississippi State; Sawyer 2010",
    );
    let fahrenheit = fahrenheit(celsius);
    if fahrenheit > 65.0 {
        Band::new(4.0, 5.0, BY_WARMTH)
    } else if fahrenheit >= 55.0 {
        Band::new(2.0, 3.0, BY_WARMTH)
    } else {
        Band::new(0.0, 0.0, BY_WARMTH)
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
    /// Nitrate at the start of that spell: with low, likely and high losses before it, lb/acre.
    spell_nitrate: [f64; 3],
    /// Lost in earlier spells: low, likely, high, lb/acre.
    before: [f64; 3],
    /// Lost in the spell that runs, percent of its nitrate: low, likely, high.
    spell_percent: [f64; 3],
    /// Saturated days counted so far.
    pub wet_days: u32,
    /// Days of which it is not known whether they were saturated, or, when they were, how warm.
    pub unknown_days: u32,
}

impl WetLoss {
    /// Takes in a day: whether the soil was saturated and how warm it was, where known.
    /// `nitrate_lb` is the fertiliser nitrate there would be had none been lost. An unknown day
    /// neither counts nor ends a spell.
    pub fn advance(&mut self, saturated: Option<bool>, nitrate_lb: f64, soil_c: Option<f64>) {
        match saturated {
            None => self.unknown_days += 1,
            Some(false) => self.end_spell(),
            Some(true) => self.wet_day(nitrate_lb, soil_c),
        }
    }

    fn wet_day(&mut self, nitrate_lb: f64, soil_c: Option<f64>) {
        if self.spell_days == 0 {
            self.spell_nitrate = self.before.map(|lost| (nitrate_lb - lost).max(0.0));
        }
        self.spell_days += 1;
        self.wet_days += 1;
        if f64::from(self.spell_days) <= FREE_WET_DAYS.value {
            return;
        }
        let Some(rate) = soil_c.map(daily_loss) else {
            self.unknown_days += 1;
            return;
        };
        let rates = [rate.low, rate.middle(), rate.high];
        for (percent, rate) in self.spell_percent.iter_mut().zip(rates) {
            *percent += rate;
        }
    }

    fn end_spell(&mut self) {
        self.before = self.lost();
        self.spell_percent = [0.0; 3];
        self.spell_days = 0;
    }

    fn lost(&self) -> [f64; 3] {
        let of_spell = |at: usize| wet_loss(self.spell_nitrate[at], self.spell_percent[at], 1.0);
        [0, 1, 2].map(|at| self.before[at] + of_spell(at))
    }

    /// Lost so far, lb/acre, by the middle of the published bands.
    pub fn pounds(&self) -> f64 {
        self.lost()[1]
    }

    /// Lost so far, lb/acre, by the low and the high end of the bands; on the days that are known.
    pub fn range(&self) -> (f64, f64) {
        let [low, _, high] = self.lost();
        (low, high)
    }
}

/// Depth to which nitrate moves for each inch of water that drains, in: usual soil, coarse soil.
pub const INCHES_PER_INCH_DRAINED: Band =
    Band::new(6.0, 12.0, Source::published("Carlson, Univ. of Minnesota Extension"));

/// Where the nitrate peak stands, as a share of the depth that the water reached.
pub const NITRATE_PEAK: Band = Band::new(
    0.5,
    2.0 / 3.0,
    Source::published("UNL CropWatch, Heavy rains: how likely is N leaching, 31 May 2013"),
);

/// Depth to which infiltrated water carries nitrate in soil at field capacity, ft: the water over
/// what a foot holds, both in. `None` for a soil that holds none.
///
/// # References
///
/// UNL `CropWatch`, Heavy rains: how likely is N leaching, 31 May 2013.
pub fn nitrate_front_ft(infiltrated_in: f64, available_in_per_ft: f64) -> Option<f64> {
    (available_in_per_ft > 0.0).then(|| infiltrated_in.max(0.0) / available_in_per_ft)
}

/// How far down drained water has carried nitrate, from the surface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Washed {
    /// Water that went down out of the plough layer, in; a lower bound where rain is missing.
    pub drained_in: f64,
    /// Depth that the water reached, by the rule that gives less and by the one that gives more, in.
    pub front_in: (f64, f64),
    /// Depth at which most of the nitrate lies, least and most, in.
    pub peak_in: (f64, f64),
}

impl Washed {
    /// The depth by both rules: so many inches for each inch drained ([`INCHES_PER_INCH_DRAINED`]),
    /// and by what a foot of the soil holds ([`nitrate_front_ft`]). `None` where nothing drained.
    pub fn by(drained_in: f64, soil: &Soil, texture: TextureGroup) -> Option<Self> {
        let per_inch = match texture {
            TextureGroup::Coarse => INCHES_PER_INCH_DRAINED.high,
            TextureGroup::Medium | TextureGroup::Fine => INCHES_PER_INCH_DRAINED.low,
        };
        let by_drainage = per_inch * drained_in;
        let a_foot_holds_in = 12.0 * (soil.capacity - soil.wilting);
        let by_water = 12.0 * nitrate_front_ft(drained_in, a_foot_holds_in)?;
        let front_in = (by_drainage.min(by_water), by_drainage.max(by_water));
        let peak_in = (NITRATE_PEAK.low * front_in.0, NITRATE_PEAK.high * front_in.1);
        (drained_in > 0.0).then_some(Self { drained_in, front_in, peak_in })
    }
}

/// Rain of spring, summed up to today, in. A lower bound where `whole` is false.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct RainSum {
    /// From 1 April.
    pub april_june_in: f64,
    /// From 1 May.
    pub may_june_in: f64,
    /// Whether the rain of every day since 1 April is known.
    pub whole: bool,
}

impl RainSum {
    /// Nothing yet of a spring whose days are known from 1 April on, or not.
    pub const fn starting(whole: bool) -> Self {
        Self { april_june_in: 0.0, may_june_in: 0.0, whole }
    }

    /// Takes in a day of rain, in, where known; days outside April to June change nothing.
    pub fn advance(&mut self, date: NaiveDate, rain_in: Option<f64>) {
        if !(4..=6).contains(&date.month()) {
            return;
        }
        self.whole &= rain_in.is_some();
        let rain_in = rain_in.unwrap_or_default();
        self.april_june_in += rain_in;
        if date.month() > 4 {
            self.may_june_in += rain_in;
        }
    }

    /// Whether it tells of a shortage of N; see [`rain_tells_of_shortage`]. A sum that is past its
    /// limit without the days that are missing is past it with them.
    pub fn tells_of_shortage(&self) -> Option<bool> {
        let known = |sum: f64, limit: f64| (self.whole || sum > limit).then_some(sum);
        rain_tells_of_shortage(
            known(self.april_june_in, SHORTAGE_RAIN_APRIL_JUNE_IN.value),
            known(self.may_june_in, SHORTAGE_RAIN_MAY_JUNE_IN.value),
        )
    }
}

const SHORTAGE: Source =
    Source::published("Scharf, Univ. of Missouri: rain that went with widespread N shortage");
/// Rain from April to June above which corn is widely short of N, in.
pub const SHORTAGE_RAIN_APRIL_JUNE_IN: Figure = Figure::new(16.0, SHORTAGE);
/// Rain in May and June above which corn is widely short of N, in.
pub const SHORTAGE_RAIN_MAY_JUNE_IN: Figure = Figure::new(12.0, SHORTAGE);

/// Whether the rain so far tells of a shortage. The sums are in inches and may run to any day of
/// June; `None` in place of a sum that is not known whole, and `None` when no known sum is past
/// its limit and one is not known.
pub fn rain_tells_of_shortage(april_june: Option<f64>, may_june: Option<f64>) -> Option<bool> {
    let april_june = april_june.map(|rain| rain > SHORTAGE_RAIN_APRIL_JUNE_IN.value);
    let may_june = may_june.map(|rain| rain > SHORTAGE_RAIN_MAY_JUNE_IN.value);
    match (april_june, may_june) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (Some(false), Some(false)) => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_first_two_wet_days_cost_nothing_and_the_rest_add_up() {
        let mut loss = WetLoss::default();
        for _ in 0..5 {
            loss.advance(Some(true), 100.0, Some(20.0));
        }
        assert!((loss.pounds() - 13.5).abs() < 1e-9);
        assert!((loss.range().0 - 12.0).abs() < 1e-9);
        assert!((loss.range().1 - 15.0).abs() < 1e-9);
        loss.advance(Some(false), 100.0, Some(20.0));
        loss.advance(Some(true), 100.0, Some(20.0));
        assert!((loss.pounds() - 13.5).abs() < 1e-9);
        assert_eq!(loss.wet_days, 6);
    }

    #[test]
    fn an_unknown_day_neither_counts_nor_ends_a_spell() {
        let mut loss = WetLoss::default();
        for saturated in [Some(true), Some(true), None, Some(true)] {
            loss.advance(saturated, 100.0, Some(20.0));
        }
        assert!((loss.pounds() - 4.5).abs() < 1e-9);
        loss.advance(Some(true), 100.0, None);
        assert!((loss.pounds() - 4.5).abs() < 1e-9);
        assert_eq!(loss.unknown_days, 2);
    }

    /// UNL `CropWatch`, 31 May 2013: in silt loam that holds 2 in a foot, 3 in of water wet the top
    /// 18 in and leave most of the nitrate about 12 in down.
    #[test]
    fn three_inches_in_silt_loam_reach_eighteen() {
        use crate::site::{Particles, Texture};
        let texture = Texture::SiltLoam;
        let soil = Soil::new(texture, Particles::middle_of(texture), 2.5);
        let soil = Soil { wilting: soil.capacity - 2.0 / 12.0, ..soil };
        let washed = Washed::by(3.0, &soil, texture.group()).unwrap();
        assert!((washed.front_in.0 - 18.0).abs() < 1e-9 && (washed.front_in.1 - 18.0).abs() < 1e-9);
        assert!(washed.peak_in.0 <= 12.0 && washed.peak_in.1 >= 12.0 - 1e-9);
        assert_eq!(Washed::by(0.0, &soil, texture.group()), None);
    }

    #[test]
    fn rain_past_the_limit_tells_even_with_days_missing() {
        let sum = |april_june_in, may_june_in, whole| RainSum { april_june_in, may_june_in, whole };
        assert_eq!(sum(16.1, 8.0, false).tells_of_shortage(), Some(true));
        assert_eq!(sum(12.5, 12.1, false).tells_of_shortage(), Some(true));
        assert_eq!(sum(10.0, 6.0, true).tells_of_shortage(), Some(false));
        assert_eq!(sum(10.0, 6.0, false).tells_of_shortage(), None);
    }

    #[test]
    fn spring_is_summed_from_april_and_from_may_and_a_day_unknown_leaves_it_a_lower_bound() {
        let mut sum = RainSum::starting(true);
        let date = |text: &str| text.parse().unwrap();
        for day in ["2026-03-31", "2026-04-01", "2026-05-01", "2026-06-30", "2026-07-01"] {
            sum.advance(date(day), Some(1.0));
        }
        let whole = RainSum { april_june_in: 3.0, may_june_in: 2.0, whole: true };
        assert_eq!(sum, whole);
        sum.advance(date("2026-06-01"), None);
        assert_eq!(sum, RainSum { whole: false, ..whole });
    }

    proptest! {
        #[test]
        fn a_loss_is_never_more_than_the_nitrate(
            days in prop::collection::vec(
                (prop::option::of(any::<bool>()), prop::option::of(-5.0..35.0_f64)),
                0..120,
            ),
            nitrate in 0.0..300.0_f64,
        ) {
            let mut loss = WetLoss::default();
            let mut before = 0.0;
            for (saturated, soil_c) in days {
                loss.advance(saturated, nitrate, soil_c);
                let (low, high) = loss.range();
                let likely = loss.pounds();
                prop_assert!(before <= likely && likely <= nitrate + 1e-9);
                prop_assert!(low <= likely && likely <= high && high <= nitrate + 1e-9);
                before = likely;
            }
        }
    }
}
