//! The crop of one field, corn or soybean, and how it goes on from here.

use crate::clocks::corn::{self, Corn};
use crate::clocks::soybean::Soybean;
use crate::clocks::{DateRange, Stage, heat};
use crate::reference::{Figure, Source};
use crate::units::Latitude;
use chrono::NaiveDate;

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

/// The coming heat: what the forecast says, then the usual heat of the place.
#[derive(Debug, Clone, Copy)]
pub struct Outlook<'a> {
    /// The day after which it begins.
    pub today: NaiveDate,
    /// Heat of the next days by forecast, `None` where it says nothing.
    pub forecast: &'a [Option<f64>],
    /// Where.
    pub latitude: Latitude,
}

impl Outlook<'_> {
    /// When the crop will first be where `reached` says, counted from the clock as of today.
    /// `reached` is given the crop and its shortest and tallest believable height. `None` when
    /// it will not be within five months.
    ///
    /// The earliest day takes a warm spell and the tallest plants, the latest a cool one and the
    /// shortest.
    pub fn reaching(
        &self,
        growth: Growth,
        reached: impl Fn(&Growth, Option<f64>) -> bool,
    ) -> Option<DateRange> {
        let spread = HEAT_SPREAD.value;
        let first = |factor: f64, tall: fn((f64, f64)) -> f64| {
            self.run(growth, factor, |growth| reached(growth, growth.height_in().map(tall)))
        };
        Some(DateRange {
            earliest: first(1.0 + spread, |(_, tall)| tall)?,
            likely: first(1.0, |(short, tall)| f64::midpoint(short, tall))?,
            latest: first(1.0 - spread, |(short, _)| short)?,
        })
    }

    fn run(
        &self,
        mut growth: Growth,
        factor: f64,
        reached: impl Fn(&Growth) -> bool,
    ) -> Option<NaiveDate> {
        if reached(&growth) {
            return Some(self.today);
        }
        let days = self.today.iter_days().skip(1).take(HORIZON_DAYS);
        for (at, date) in days.enumerate() {
            let forecast = self.forecast.get(at).copied().flatten();
            let gdd = forecast
                .unwrap_or_else(|| (factor * heat::normal_gdd(self.latitude, date)).max(0.0));
            growth.advance(date, Some(gdd));
            if reached(&growth) {
                return Some(date);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_range_is_in_order_and_the_forecast_moves_it() {
        let today = NaiveDate::from_ymd_opt(2026, 5, 20).unwrap();
        let growth = Growth::Corn(Corn::planted(115.0, 104.0, today));
        let latitude = Latitude::new(42.0).unwrap();
        let at_v5 = |growth: &Growth, _: Option<f64>| growth.stage() >= Stage::Vegetative(5);
        let plain = Outlook { today, forecast: &[], latitude }.reaching(growth, at_v5).unwrap();
        assert!(plain.earliest < plain.likely && plain.likely < plain.latest);
        let cold = [Some(0.0); 7];
        let later = Outlook { today, forecast: &cold, latitude }.reaching(growth, at_v5).unwrap();
        assert!(later.likely > plain.likely);
    }
}
