//! The crop of one field, corn or soybean, and how it goes on from here.

use crate::clocks::corn::{self, Corn, Seedbed};
use crate::clocks::heat::{DayHeat, Warmth};
use crate::clocks::soybean::Soybean;
use crate::clocks::{DateRange, Stage};
use crate::plan::Crop;
use crate::reference::{Figure, Source};
use crate::units::Latitude;
use chrono::{Datelike, Days, NaiveDate};

/// Which end of what is published a crop is run by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pace {
    /// Every number at the end that brings the crop on soonest.
    Fast,
    /// The likeliest numbers.
    Likely,
    /// Every number at the end that holds it back longest.
    Slow,
}

impl Pace {
    /// All paces, the fastest first.
    pub const ALL: [Self; 3] = [Self::Fast, Self::Likely, Self::Slow];

    /// The number for this pace.
    pub const fn of(self, fast: f64, likely: f64, slow: f64) -> f64 {
        match self {
            Self::Fast => fast,
            Self::Likely => likely,
            Self::Slow => slow,
        }
    }
}

/// A crop put into the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Planting {
    /// Crop and maturity.
    pub crop: Crop,
    /// Day of planting. Its own heat does not count: the first day is the one after.
    pub on: NaiveDate,
    /// Where; it sets the length of the days for soybean.
    pub latitude: Latitude,
    /// What the seed lies in.
    pub seedbed: Seedbed,
}

/// A growing crop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Growth {
    /// Corn.
    Corn(Corn),
    /// Soybean.
    Soybean(Soybean),
}

impl Growth {
    /// A crop just planted.
    pub fn planted(planting: &Planting, pace: Pace) -> Self {
        let Planting { crop, on, latitude, seedbed } = planting;
        match *crop {
            Crop::Corn { relative_maturity_days } => {
                let emergence = corn::emergence(seedbed, *on).at(pace);
                Self::Corn(Corn::planted(emergence, relative_maturity_days, *on).paced(pace))
            }
            Crop::Soybean { maturity_group } => {
                Self::Soybean(Soybean::planted(maturity_group, *latitude, *on, pace))
            }
        }
    }

    /// Takes in one day; heat of `None` is unknown. The day of planting and those before it change
    /// nothing.
    pub fn advance(&mut self, date: NaiveDate, heat: impl Into<Warmth>) {
        match self {
            Self::Corn(corn) if date > corn.planted_on() => corn.advance(heat),
            Self::Soybean(soybean) if date > soybean.planted_on() => soybean.advance(date, heat),
            Self::Corn(_) | Self::Soybean(_) => {}
        }
    }

    /// Moves the clock so that it agrees with a stage seen today.
    pub fn see(&mut self, stage: Stage) {
        match self {
            Self::Corn(corn) => corn.see(stage),
            Self::Soybean(soybean) => soybean.see(stage),
        }
    }

    /// How far the stages seen so far have moved the clock ahead (below zero: back), in GDD for
    /// corn and in days for soybean.
    pub const fn shift(&self) -> f64 {
        match self {
            Self::Corn(corn) => corn.shift(),
            Self::Soybean(soybean) => soybean.shift(),
        }
    }

    /// Whether a day without heat leaves the clock behind.
    pub const fn runs_on_heat(&self) -> bool {
        match self {
            Self::Corn(_) => true,
            Self::Soybean(soybean) => soybean.runs_on_heat(),
        }
    }

    /// The stage.
    pub fn stage(&self) -> Stage {
        match self {
            Self::Corn(corn) => corn.stage(),
            Self::Soybean(soybean) => soybean.stage(),
        }
    }

    /// Height at the crop's own pace, inches: tallest when fast, shortest when slow; `None` where
    /// no table gives it.
    pub fn paced_height_in(&self) -> Option<f64> {
        match self {
            Self::Corn(corn) => Some(corn.height_in()),
            Self::Soybean(_) => None,
        }
    }
}

/// How much faster or slower than usual the coming weeks may be, as a share of usual heat.
///
/// Arlington, Wisconsin, 3 May to 18 June 1963-2003: 591 GDD, standard deviation 80, extremes 431
/// and 772; a fifth holds nearly nine of ten years.
pub const HEAT_SPREAD: Figure = Figure::new(
    0.2,
    Source::published("Lauer, Corn GDD accumulation, Wisconsin Crop Manager W132, 2003"),
);
/// Days that are looked ahead at most.
const HORIZON_DAYS: usize = 150;

/// The crop over the coming days at three paces, laid once and then asked as often as need be.
///
/// The clocks only move forward, so whatever the crop has reached stays reached and a question is
/// answered by halving. Nothing is foreseen past the end of the year.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    today: NaiveDate,
    /// Today first, then a day at a time.
    fast: Vec<Growth>,
    likely: Vec<Growth>,
    slow: Vec<Growth>,
}

impl Outlook {
    /// Lays the days after `today` from the crop as of today at its fast, likely and slow pace.
    ///
    /// `forecast` is the heat of the next days, as far as it goes and is known; beyond it `usual`
    /// gives the usual heat of a day, of which a warm spell brings more and a cool one less.
    pub fn lay(
        today: NaiveDate,
        [fast, likely, slow]: [Growth; 3],
        forecast: &[DayHeat],
        usual: impl Fn(NaiveDate) -> f64,
    ) -> Self {
        let spread = HEAT_SPREAD.value;
        let mut outlook =
            Self { today, fast: started(fast), likely: started(likely), slow: started(slow) };
        let days = today.iter_days().skip(1).take(HORIZON_DAYS);
        for (at, date) in days.take_while(|date| date.year() == today.year()).enumerate() {
            let foretold = forecast.get(at).and_then(|heat| heat.gdd());
            let usual = usual(date);
            let at_pace = |factor: f64| foretold.unwrap_or_else(|| (factor * usual).max(0.0));
            go_on(&mut outlook.fast, date, at_pace(1.0 + spread));
            go_on(&mut outlook.likely, date, at_pace(1.0));
            go_on(&mut outlook.slow, date, at_pace(1.0 - spread));
        }
        outlook
    }

    /// When the crop will first be where `reached` says, today at the soonest. `reached` is given
    /// its stage and a believable height. `None` when it will not be within five months.
    ///
    /// The earliest day takes the fast pace in a warm spell, the latest the slow one in a cool spell.
    pub fn reaching(&self, reached: impl Fn(Stage, Option<f64>) -> bool) -> Option<DateRange> {
        let holds = |growth: &Growth| reached(growth.stage(), growth.paced_height_in());
        let first = |pace| self.first(pace, holds);
        Some(DateRange::about(first(Pace::Fast)?, first(Pace::Likely)?, first(Pace::Slow)?))
    }

    /// First day, today at the soonest, on which something holds of the crop at one pace that goes
    /// on holding once it does.
    pub fn first(&self, pace: Pace, holds: impl Fn(&Growth) -> bool) -> Option<NaiveDate> {
        let days = match pace {
            Pace::Fast => &self.fast,
            Pace::Likely => &self.likely,
            Pace::Slow => &self.slow,
        };
        let at = days.partition_point(|growth| !holds(growth));
        (at < days.len()).then(|| self.today + Days::new(at as u64))
    }
}

fn started(growth: Growth) -> Vec<Growth> {
    let mut days = Vec::with_capacity(HORIZON_DAYS + 1);
    days.push(growth);
    days
}

fn go_on(days: &mut Vec<Growth>, date: NaiveDate, gdd: f64) {
    if let Some(mut growth) = days.last().copied() {
        growth.advance(date, Some(gdd));
        days.push(growth);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::TextureGroup;
    use proptest::prelude::*;

    const CROPS: [Crop; 2] =
        [Crop::Corn { relative_maturity_days: 104.0 }, Crop::Soybean { maturity_group: 2.2 }];

    fn planting(crop: Crop) -> Planting {
        Planting {
            crop,
            on: NaiveDate::from_ymd_opt(2026, 5, 4).unwrap(),
            latitude: Latitude::new(42.0).unwrap(),
            seedbed: Seedbed {
                depth_in: 2.0,
                texture: TextureGroup::Medium,
                residue_percent: 30.0,
                dry: None,
            },
        }
    }

    /// The crop on each day after planting, `warmer` GDD a day over `heat`.
    fn days(crop: Crop, pace: Pace, heat: &[f64], warmer: f64) -> Vec<Growth> {
        let planting = planting(crop);
        let mut growth = Growth::planted(&planting, pace);
        let dates = planting.on.iter_days().skip(1);
        dates
            .zip(heat)
            .map(|(date, gdd)| {
                growth.advance(date, gdd + warmer);
                growth
            })
            .collect()
    }

    #[test]
    fn the_day_of_planting_gives_no_heat() {
        for crop in CROPS {
            let planting = planting(crop);
            let mut growth = Growth::planted(&planting, Pace::Likely);
            growth.advance(planting.on, 500.0);
            assert_eq!(growth, Growth::planted(&planting, Pace::Likely));
            growth.advance(planting.on + chrono::Days::new(1), 500.0);
            assert!(growth.stage() >= Stage::Emerged);
        }
    }

    proptest! {
        #[test]
        fn no_day_takes_a_stage_back_and_no_warmth_slows_one(
            heat in proptest::collection::vec(0.0..36.0_f64, 1..150), warmer in 0.0..8.0_f64,
        ) {
            for (crop, pace) in CROPS.iter().flat_map(|crop| Pace::ALL.map(|pace| (*crop, pace))) {
                let cool = days(crop, pace, &heat, 0.0);
                let warm = days(crop, pace, &heat, warmer);
                prop_assert!(cool.windows(2).all(|pair| pair[0].stage() <= pair[1].stage()));
                for (cool, warm) in cool.iter().zip(&warm) {
                    prop_assert!(cool.stage() <= warm.stage());
                    prop_assert!(cool.paced_height_in() <= warm.paced_height_in());
                }
            }
        }

        #[test]
        fn the_slow_pace_never_leads_and_the_fast_never_lags(
            heat in proptest::collection::vec(0.0..36.0_f64, 1..150),
        ) {
            for crop in CROPS {
                let [fast, likely, slow] = Pace::ALL.map(|pace| days(crop, pace, &heat, 0.0));
                for at in 0..heat.len() {
                    prop_assert!(slow[at].stage() <= likely[at].stage());
                    prop_assert!(likely[at].stage() <= fast[at].stage());
                    prop_assert!(slow[at].paced_height_in() <= likely[at].paced_height_in());
                    prop_assert!(likely[at].paced_height_in() <= fast[at].paced_height_in());
                }
            }
        }

        // A leaf seen moves the clock and not the flowers, so that past leaf a slow crop drawn on may
        // lead; `DateRange::about` keeps the order of its dates.
        #[test]
        fn the_paces_keep_their_order_in_leaf_after_any_stages_seen(
            heat in proptest::collection::vec(0.0..36.0_f64, 60..150),
            seen in proptest::collection::vec((10_usize..60, 0_u8..=12), 1..4),
        ) {
            for crop in CROPS {
                let planting = planting(crop);
                let mut paces = Pace::ALL.map(|pace| Growth::planted(&planting, pace));
                for (at, date) in planting.on.iter_days().skip(1).take(heat.len()).enumerate() {
                    for growth in &mut paces {
                        growth.advance(date, heat[at]);
                        for (_, nodes) in seen.iter().filter(|(day, _)| *day == at) {
                            growth.see(match nodes {
                                0 => Stage::Emerged,
                                nodes => Stage::Vegetative(*nodes),
                            });
                        }
                    }
                    if paces.iter().any(|growth| growth.stage() >= Stage::Tassel) {
                        break;
                    }
                    let [fast, likely, slow] = paces;
                    prop_assert!(slow.stage() <= likely.stage(), "{slow:?} {likely:?}");
                    prop_assert!(likely.stage() <= fast.stage(), "{likely:?} {fast:?}");
                    prop_assert!(slow.paced_height_in() <= likely.paced_height_in());
                    prop_assert!(likely.paced_height_in() <= fast.paced_height_in());
                }
            }
        }

        #[test]
        fn every_pace_shows_the_stage_seen_and_tells_the_shift(
            heat in proptest::collection::vec(0.0..36.0_f64, 1..150), nodes in 1_u8..=12,
        ) {
            for (crop, pace) in CROPS.iter().flat_map(|crop| Pace::ALL.map(|pace| (*crop, pace))) {
                let Some(mut growth) = days(crop, pace, &heat, 0.0).pop() else { continue };
                let before = growth.stage();
                growth.see(Stage::Vegetative(nodes));
                prop_assert_eq!(growth.stage(), Stage::Vegetative(nodes));
                let moved = growth.shift();
                // Leaves seen on a crop taken to flower put the flowers off and may move the leaves
                // either way.
                if before > Stage::Vegetative(u8::MAX) {
                    continue;
                }
                match before.cmp(&Stage::Vegetative(nodes)) {
                    std::cmp::Ordering::Less => prop_assert!(moved > 0.0),
                    std::cmp::Ordering::Equal => prop_assert!(moved == 0.0),
                    std::cmp::Ordering::Greater => prop_assert!(moved < 0.0),
                }
            }
        }
    }

    #[test]
    fn the_range_is_in_order_and_the_forecast_moves_it() {
        let today = NaiveDate::from_ymd_opt(2026, 5, 20).unwrap();
        let growth = Growth::Corn(Corn::planted(115.0, 104.0, today));
        let at_v5 = |forecast: &[DayHeat]| {
            let outlook = Outlook::lay(today, [growth; 3], forecast, |_| 18.0);
            outlook.reaching(|stage, _| stage >= Stage::Vegetative(5)).unwrap()
        };
        let plain = at_v5(&[]);
        assert!(plain.earliest < plain.likely && plain.likely < plain.latest);
        let later = at_v5(&[DayHeat::Bridged { gdd: 0.0 }; 7]);
        assert!(later.likely > plain.likely);
    }
}
