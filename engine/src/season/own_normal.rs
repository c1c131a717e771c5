//! A field's own normal: its soil run over past years of its weather.

use crate::cell::Cell;
use crate::clocks::nitrogen::{Basis, Normal, PastDay};
use crate::plan::Plan;
use crate::season::timeline::{RUN_IN_DAYS, Soil};
use crate::site::Site;
use chrono::{Datelike, NaiveDate, TimeDelta};

/// Month and day on which the crop of a past year is taken to have been planted: common practice,
/// about the middle of corn planting in the central Corn Belt.
const USUAL_PLANTING: (u32, u32) = (5, 5);
/// Days without temperatures that are held over in a past year, as in a season by default.
const BRIDGE_DAYS: usize = 3;

/// The normal of a field from past years of the weather of its place; `None` where no day of the
/// year is known in [`crate::clocks::nitrogen::LEAST_YEARS`] of them.
///
/// The soil of each past year starts, and is run in, as that of a season does, under the residue and
/// the crop of the plan, planted on a usual day: what sets a season apart from this normal is its
/// weather and its own day of planting. `years` may start and end on any day and have gaps; a day
/// whose soil is not known counts in no mean, and a day of the year that too few years know stays
/// as the cell of the years states it.
///
/// Work once per field and set of years (about 11,000 days of soil for 30 years), then lend it to
/// every season of the field by [`crate::season::Input::normal`].
pub fn own_normal(site: &Site, plan: &Plan, years: &Cell) -> Option<Normal> {
    let (first, last) = years.span()?;
    let start = || Soil::at_start(site, plan, years.normal(), BRIDGE_DAYS);
    let mut soil = start();
    let past = years.days(first, last).map(|at| {
        let date = at.day.date;
        if let Some(planted) = planted_after_run_in_from(date) {
            soil = start();
            soil.plant(planted);
        }
        let row = soil.advance(&at);
        PastDay { date, soil_c: row.temperature_c, water_share: row.water.plough_share }
    });
    let normal = years.normal().clone().with_past(past);
    matches!(normal.basis(), Basis::OwnYears(_)).then_some(normal)
}

/// The usual day of planting of a year whose soil starts on `date`.
fn planted_after_run_in_from(date: NaiveDate) -> Option<NaiveDate> {
    let (month, day) = USUAL_PLANTING;
    let planted = NaiveDate::from_ymd_opt(date.year(), month, day)?;
    (planted - date == TimeDelta::days(RUN_IN_DAYS)).then_some(planted)
}
