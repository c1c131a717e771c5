//! The days of one season with everything that does not depend on herbicides: weather with the
//! gauge laid over it, heat, soil.

use crate::cell::{Air, CellDay};
use crate::clocks::heat::{self, DayHeat};
use crate::clocks::nitrogen::{self, Normal};
use crate::clocks::seed_zone;
use crate::clocks::soil_temperature::SoilTemperature;
use crate::clocks::soil_water::{Bucket, Reading, WaterDay};
use crate::plan::{Crop, Plan};
use crate::reference::{crops, soils};
use crate::season::Input;
use crate::season::record::Record;
use crate::site::Site;
use crate::weather::{Kind, Sourced};
use chrono::{Datelike, NaiveDate, TimeDelta};
use serde::Serialize;

/// Days of weather before the first pass that the soil is run in on.
pub(super) const RUN_IN_DAYS: i64 = 45;
/// Days of forecast that are looked at.
const FORECAST_DAYS: i64 = 21;

/// The soil on one day.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct SoilRow {
    /// Mean temperature at 4 in, C.
    pub temperature_c: Option<f64>,
    /// Water at the end of the day.
    #[serde(flatten)]
    pub water: Reading,
}

/// Days without a gap from the run-in to the last day of weather, or today.
pub(crate) struct Timeline {
    pub first: NaiveDate,
    pub days: Vec<Air>,
    pub heat: Vec<DayHeat>,
    pub soil: Vec<SoilRow>,
    /// The seed zone, up to the day of planting: nobody asks for it after that.
    pub seed_zone: Vec<seed_zone::Reading>,
}

impl Timeline {
    /// Lays out the season that starts on `start`.
    pub fn lay(input: &Input<'_>, record: &Record, start: NaiveDate) -> Self {
        let (first_row, last_row) = input.cell.span().unwrap_or((start, input.today));
        let last = last_row.clamp(input.today, input.today + TimeDelta::days(FORECAST_DAYS));
        let first = first_row.clamp(start - TimeDelta::days(RUN_IN_DAYS), start);
        let length = usize::try_from((last - first).num_days() + 1).unwrap_or(0);
        let mut timeline = Self {
            first,
            days: Vec::with_capacity(length),
            heat: Vec::with_capacity(length),
            soil: Vec::with_capacity(length),
            seed_zone: Vec::new(),
        };
        let mut soil = Soil::at_start(input.site, input.plan, input.usual_soil(), gap_days(input));
        record.planted.into_iter().for_each(|planted| soil.plant(planted));
        input.cell.days(first, last).for_each(|mut at| {
            lay_over(&mut at, input, record);
            timeline.days.push(at.day);
            timeline.heat.push(at.heat);
            timeline.soil.push(soil.advance(&at));
            if record.planted.is_none_or(|planted| at.day.date <= planted) {
                timeline.seed_zone.push(soil.bucket.seed_zone().reading());
            }
        });
        heat::bridge(&mut timeline.heat, gap_days(input));
        timeline
    }

    /// Place of a date in the rows, if it is within them.
    pub fn at(&self, date: NaiveDate) -> Option<usize> {
        let at = usize::try_from((date - self.first).num_days()).ok()?;
        (at < self.days.len()).then_some(at)
    }

    /// The last date.
    pub fn last(&self) -> NaiveDate {
        self.days.last().map_or(self.first, |day| day.date)
    }
}

/// Days without weather that are bridged.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 14 days")]
pub(crate) fn gap_days(input: &Input<'_>) -> usize {
    input.thresholds.weather_gap_days as usize
}

/// What one field knows better than its cell: a gauge reading stands before any other rain, and
/// nothing that lies ahead of today is more than a forecast.
fn lay_over(at: &mut CellDay, input: &Input<'_>, record: &Record) {
    let day = &mut at.day;
    if let Some(amount) = record.gauge.get(&day.date) {
        day.rain = Some(Sourced { value: *amount, kind: Kind::Gauge });
    }
    if day.date > input.today {
        day.high = day.high.map(forecast);
        day.low = day.low.map(forecast);
        day.rain = day.rain.map(forecast);
        if let DayHeat::Known { kind, .. } = &mut at.heat {
            *kind = Kind::Forecast;
        }
    }
}

const fn forecast<T: Copy>(value: Sourced<T>) -> Sourced<T> {
    Sourced { value: value.value, kind: Kind::Forecast }
}

/// The soil of one field.
pub(super) struct Soil<'a> {
    bucket: Bucket,
    warmth: Warmth,
    normal: &'a Normal,
    planted: Option<NaiveDate>,
    crop_days: f64,
}

impl<'a> Soil<'a> {
    /// Bare, at field capacity and as warm as the day's normal; `bridge` days without temperatures
    /// are held over.
    pub fn at_start(site: &Site, plan: &Plan, normal: &'a Normal, bridge: usize) -> Self {
        let crop = match plan.crop {
            Crop::Corn { .. } => crops::CORN_WATER,
            Crop::Soybean { .. } => crops::SOYBEAN_WATER,
        };
        let residue = plan.residue_cover.get() / 100.0;
        Self {
            bucket: Bucket::at_capacity(soils::under(site), crop).under_residue(residue),
            warmth: Warmth { soil: None, missing: 0, bridge },
            normal,
            planted: None,
            crop_days: 0.0,
        }
    }

    /// From that day on a crop stands on it.
    pub fn plant(&mut self, on: NaiveDate) {
        self.planted = Some(on);
        self.crop_days = 0.0;
    }

    /// Takes in a day.
    pub fn advance(&mut self, at: &CellDay) -> SoilRow {
        let crop_days = self.planted.filter(|planted| *planted <= at.day.date).map(|planted| {
            if planted < at.day.date {
                self.crop_days += 1.0;
            }
            self.crop_days
        });
        SoilRow {
            temperature_c: self.warmth.advance(&at.day, self.normal),
            water: self.bucket.advance(&WaterDay {
                rain_mm: at.day.rain.map(|rain| rain.value.get()),
                demand_mm: at.demand_mm,
                crop_days,
            }),
        }
    }
}

/// Bare-soil temperature; a short gap is held over, after a long one it starts anew from the
/// normal of the day.
struct Warmth {
    soil: Option<SoilTemperature>,
    missing: usize,
    bridge: usize,
}

impl Warmth {
    fn advance(&mut self, day: &Air, normal: &Normal) -> Option<f64> {
        let Some(air) = day.mean_c() else {
            self.missing += 1;
            if self.missing > self.bridge {
                self.soil = None;
            }
            return self.soil.map(|soil| soil.celsius());
        };
        self.missing = 0;
        let soil = self.soil.get_or_insert_with(|| {
            let usual = normal.soil_c(day.date.ordinal());
            SoilTemperature::starting(nitrogen::DEPTH_CM, usual)
        });
        Some(soil.advance(air, 0.0))
    }
}
