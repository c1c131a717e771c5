//! The rules that turn a season into findings.
//!
//! A finding hangs on an occasion and carries one version, the worst that holds today; what the
//! journal has answered, what is held, and what would come too late to be of use is not raised.

mod field;
mod groups;
mod nitrogen;
mod post;
mod pre;
mod seedbed;
mod spray;

use crate::clocks::growth::Growth;
use crate::findings::{Evidence, Finding, Urgency};
use crate::season::Course;
use chrono::{NaiveDate, TimeDelta};

/// Everything that the season shows today, in the order of [`crate::findings::Topic::ALL`].
pub(crate) fn find(course: &Course<'_>) -> Vec<Finding> {
    let today = course.input.today;
    [
        seedbed::planting(course),
        field::cold_after_planting(course),
        field::emergence(course),
        pre::rain_needed(course),
        pre::rain_set(course),
        pre::rain_late(course),
        pre::residual_ending(course),
        post::open(course),
        post::closing(course),
        post::overdue(course),
        spray::hours(course),
        groups::few(course),
        nitrogen::sidedress_open(course),
        nitrogen::sidedress_closing(course),
        nitrogen::loss(course),
        field::weather_gap(course),
    ]
    .into_iter()
    .flatten()
    .filter(|finding| finding.expires > today)
    .filter(|finding| !course.record.holds(finding.topic(), today))
    .collect()
}

/// A finding of version 1 to which the rule adds what differs.
fn first(occasion: NaiveDate, urgency: Urgency, expires: NaiveDate, evidence: Evidence) -> Finding {
    Finding { occasion, version: 1, urgency, act_by: None, expires, provisional: false, evidence }
}

/// So many days later; thresholds are whole days, a part of one counts as one.
fn days_after(date: NaiveDate, days: f64) -> NaiveDate {
    #[expect(clippy::cast_possible_truncation, reason = "thresholds of at most 60 days")]
    let days = days.ceil() as i64;
    date + TimeDelta::days(days)
}

/// Whole days from one date to a later one, 0 when it is not later.
fn days_between(from: NaiveDate, to: NaiveDate) -> u32 {
    u32::try_from((to - from).num_days()).unwrap_or(0)
}

/// Whether the stage rests on heat that nobody measured since it was last seen.
fn stage_is_provisional(course: &Course<'_>) -> bool {
    course.crop.as_ref().is_some_and(|crop| {
        let today = crop.today();
        today.unmeasured && !matches!(today.growth, Growth::Soybean(beans) if !beans.runs_on_heat())
    })
}
