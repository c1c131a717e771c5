//! The days of one season with everything that does not depend on herbicides: weather with the
//! gauge laid over it, heat, soil.

use crate::clocks::heat::{self, DayHeat};
use crate::clocks::nitrogen::{self, Normal};
use crate::clocks::soil_temperature::SoilTemperature;
use crate::clocks::soil_water::{Bucket, Reading, WaterDay};
use crate::plan::Crop;
use crate::reference::{crops, soils};
use crate::season::Input;
use crate::season::record::Record;
use crate::site::Site;
use crate::sky;
use crate::sky::demand::{self, USUAL_ELEVATION_M};
use crate::units::{Latitude, Metres};
use crate::weather::{Day, Kind, Sourced, Weather};
use chrono::{Datelike, NaiveDate, TimeDelta};
use serde::Serialize;

/// Days of weather before the first pass that the soil is run in on.
const RUN_IN_DAYS: i64 = 45;
/// Days of forecast that are looked at.
const FORECAST_DAYS: i64 = 21;

/// The soil on one day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SoilRow {
    /// Mean temperature at 4 in, C.
    pub temperature_c: Option<f64>,
    /// Water at the end of the day.
    #[serde(flatten)]
    pub water: Reading,
}

/// Days without a gap from the run-in to the last day of weather, or today.
pub(crate) struct Timeline {
    first: NaiveDate,
    pub days: Vec<Day>,
    pub heat: Vec<DayHeat>,
    pub soil: Vec<SoilRow>,
    pub normal: Normal,
}

impl Timeline {
    /// Lays out the season that starts on `start`.
    pub fn lay(input: &Input<'_>, record: &Record, start: NaiveDate) -> Self {
        let last_row = input.weather.days().last().map_or(input.today, |day| day.date);
        let last = last_row.clamp(input.today, input.today + TimeDelta::days(FORECAST_DAYS));
        let first_row = input.weather.days().first().map_or(start, |day| day.date);
        let first = first_row.clamp(start - TimeDelta::days(RUN_IN_DAYS), start);
        let days: Vec<Day> = first
            .iter_days()
            .take_while(|date| *date <= last)
            .map(|date| day(input, record, date))
            .collect();
        let weather = Weather::new(days.clone());
        let heat = heat::series(&weather, first, last, gap_days(input));
        let normal = normal_year(input.site.latitude);
        let soil = soil(input, record, &days, &normal);
        Self { first, days, heat, soil, normal }
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

/// One day's weather: a gauge reading stands before any other rain, and nothing that lies ahead
/// of today is more than a forecast.
fn day(input: &Input<'_>, record: &Record, date: NaiveDate) -> Day {
    let mut day = input.weather.get(date).copied().unwrap_or(Day::unknown(date));
    if let Some(amount) = record.gauge.get(&date) {
        day.rain = Some(Sourced { value: *amount, kind: Kind::Gauge });
    }
    if date > input.today {
        day.high = day.high.map(forecast);
        day.low = day.low.map(forecast);
        day.rain = day.rain.map(forecast);
    }
    day
}

const fn forecast<T: Copy>(value: Sourced<T>) -> Sourced<T> {
    Sourced { value: value.value, kind: Kind::Forecast }
}

/// Soil temperature over a usual year: the same model as for the field, over usual air.
fn normal_year(latitude: Latitude) -> Normal {
    const RUN_IN: i32 = 60;
    const ANY_LEAP_YEAR: i32 = 2024;
    let Some(new_year) = NaiveDate::from_ymd_opt(ANY_LEAP_YEAR, 1, 1) else {
        return Normal::new(Vec::new(), nitrogen::NORMAL_WATER_SHARE.value);
    };
    let start = new_year - TimeDelta::days(RUN_IN.into());
    let mean = |date| {
        let (high, low) = sky::normal_temperatures(latitude, date);
        f64::midpoint(high, low)
    };
    let mut soil = SoilTemperature::starting(nitrogen::DEPTH_CM, mean(start));
    let year = start
        .iter_days()
        .take_while(|date| date.year() <= ANY_LEAP_YEAR)
        .map(|date| (date, soil.advance(mean(date), 0.0)))
        .filter_map(|(date, celsius)| (date >= new_year).then_some(celsius))
        .collect();
    Normal::new(year, nitrogen::NORMAL_WATER_SHARE.value)
}

fn soil(input: &Input<'_>, record: &Record, days: &[Day], normal: &Normal) -> Vec<SoilRow> {
    let crop = match input.plan.crop {
        Crop::Corn { .. } => crops::CORN_WATER,
        Crop::Soybean { .. } => crops::SOYBEAN_WATER,
    };
    let residue = input.plan.residue_cover.get() / 100.0;
    let mut bucket = Bucket::at_capacity(soils::under(input.site), crop).under_residue(residue);
    let mut warmth = Warmth { soil: None, missing: 0, bridge: gap_days(input) };
    days.iter()
        .map(|day| SoilRow {
            temperature_c: warmth.advance(day, normal),
            water: bucket.advance(&WaterDay {
                rain_mm: day.rain.map(|rain| rain.value.get()),
                demand_mm: demand(input.site, day),
                crop_days: crop_days(record.planted, day.date),
            }),
        })
        .collect()
}

/// Bare-soil temperature; a short gap is held over, after a long one it starts anew from the
/// normal of the day.
struct Warmth {
    soil: Option<SoilTemperature>,
    missing: usize,
    bridge: usize,
}

impl Warmth {
    fn advance(&mut self, day: &Day, normal: &Normal) -> Option<f64> {
        let Some((high, low)) = day.high.zip(day.low) else {
            self.missing += 1;
            if self.missing > self.bridge {
                self.soil = None;
            }
            return self.soil.map(|soil| soil.celsius());
        };
        self.missing = 0;
        let usual = normal.soil_c(day.date.ordinal());
        let soil = self.soil.get_or_insert(SoilTemperature::starting(nitrogen::DEPTH_CM, usual));
        Some(soil.advance(f64::midpoint(high.value.get(), low.value.get()), 0.0))
    }
}

fn demand(site: &Site, day: &Day) -> f64 {
    let elevation = site.elevation.map_or(USUAL_ELEVATION_M.value, Metres::get);
    demand::of_day(site.latitude, elevation, day).mm
}

fn crop_days(planted: Option<NaiveDate>, date: NaiveDate) -> Option<f64> {
    let days = u32::try_from((date - planted?).num_days()).ok()?;
    Some(f64::from(days))
}
