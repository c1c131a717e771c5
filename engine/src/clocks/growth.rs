//! The crop of one field, corn or soybean, and how it goes on from here.

use crate::clocks::corn::{self, Corn};
use crate::clocks::heat::DayHeat;
use crate::clocks::soybean::Soybean;
use crate::clocks::{DateRange, Stage};
use crate::reference::{Figure, Source};
use chrono::{Datelike, Days, NaiveDate};

/// A growing crop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Growth {
    /// Corn.
    Corn(Corn),
    /// Soybean.
    Soybean(Soybean),
}

impl Growth {
    /// Takes in one day; `None` when its heat is unknown.
    pub fn advance(&mut self, date: NaiveDate, gdd: Option<f64>) {
        match self {
            Self::Corn(corn) => corn.advance(gdd.unwrap_or_default()),
            Self::Soybean(soybean) => soybean.advance(date, gdd),
        }
    }

    /// Moves the clock so that it agrees with a stage seen today.
    pub fn see(&mut self, stage: Stage) {
        match self {
            Self::Corn(corn) => corn.see(stage),
            Self::Soybean(soybean) => soybean.see(stage),
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

    /// Shortest and tallest believable crop, inches; `None` where no table gives it.
    pub fn height_in(&self) -> Option<(f64, f64)> {
        match self {
            Self::Corn(corn) => Some(corn::height_in(corn.collars())),
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
    /// The earliest day takes a warm spell and the tallest plants, the latest a cool one and the
    /// shortest.
    pub fn reaching(&self, reached: impl Fn(Stage, Option<f64>) -> bool) -> Option<DateRange> {
        let first = |days: &[Growth], tall: fn((f64, f64)) -> f64| {
            let yet_to_come =
                |growth: &Growth| !reached(growth.stage(), growth.height_in().map(tall));
            let at = days.partition_point(yet_to_come);
            (at < days.len()).then(|| self.today + Days::new(at as u64))
        };
        Some(DateRange {
            earliest: first(&self.fast, |(_, tall)| tall)?,
            likely: first(&self.likely, |(short, tall)| f64::midpoint(short, tall))?,
            latest: first(&self.slow, |(short, _)| short)?,
        })
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
