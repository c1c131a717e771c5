//! One field, one season: all clocks run together over the field's weather and journal.

use crate::findings::Finding;
use crate::journal::Entry;
use crate::plan::Plan;
use crate::site::Site;
use crate::thresholds::Thresholds;
use crate::weather::Weather;
use chrono::NaiveDate;
use serde::Serialize;

/// Everything a season is computed from.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// Place and soil.
    pub site: &'a Site,
    /// What is meant for the field.
    pub plan: &'a Plan,
    /// What happened, in any order; entries dated after `today` are ignored.
    pub journal: &'a [Entry],
    /// Weather, observed and forecast.
    pub weather: &'a Weather,
    /// The numbers in force for the field.
    pub thresholds: &'a Thresholds,
    /// The local day as of which findings are wanted.
    pub today: NaiveDate,
}

/// The season as of its `today`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Season {
    /// One row a day from planting (or the first pass) to the last day of weather.
    pub days: Vec<DayRow>,
    /// What it shows today.
    pub findings: Vec<Finding>,
}

/// One day of a season.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DayRow {
    /// The local day.
    pub date: NaiveDate,
}

/// Runs one season.
pub fn run(input: &Input<'_>) -> Season {
    let _ = input;
    Season { days: Vec::new(), findings: Vec::new() }
}
