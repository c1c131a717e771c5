//! The rules that turn a season into findings.
//!
//! A finding hangs on an occasion and carries one version, the worst that holds today; what the
//! journal has answered, what is held, and what would come too late to be of use is not raised.
//! While the field's weather is missing, nothing is raised that would rest on a guess at it.

mod field;
mod groups;
mod nitrogen;
mod post;
mod pre;
mod seedbed;
mod spray;

use crate::clocks::growth::Growth;
use crate::findings::{Evidence, Finding, PostLimit, PostReason, Urgency};
use crate::season::Course;
use chrono::{NaiveDate, TimeDelta};

/// Everything that the season shows today, in the order of [`crate::findings::Topic::ALL`].
pub(crate) fn find(course: &Course<'_>) -> Vec<Finding> {
    let today = course.input.today;
    let guessed = field::is_guessed(course);
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
        nitrogen::surface_urea(course),
        nitrogen::loss(course),
        field::weather_gap(course),
    ]
    .into_iter()
    .flatten()
    .filter(|finding| finding.expires > today)
    .filter(|finding| !guessed || stands_without_weather(finding))
    .filter(|finding| !course.record.holds(finding.topic(), today))
    .collect()
}

/// Whether a finding stands while the field's weather is missing up to today: what was measured
/// before, what somebody saw, and limits that are dates.
fn stands_without_weather(finding: &Finding) -> bool {
    match finding.evidence {
        Evidence::RainSet { .. }
        | Evidence::RainLate { .. }
        | Evidence::ColdAfterPlanting { .. } => !finding.provisional,
        Evidence::PostOpen { reason, limit, .. } => {
            reason == PostReason::WeedsSeen && is_a_date(limit)
        }
        Evidence::PostClosing { limit, .. } | Evidence::PostOverdue { limit, .. } => {
            is_a_date(limit)
        }
        Evidence::FewGroups { .. } | Evidence::WeatherGap { .. } => true,
        Evidence::Seedbed { .. }
        | Evidence::Emergence { .. }
        | Evidence::RainNeeded { .. }
        | Evidence::ResidualEnding { .. }
        | Evidence::SprayHours { .. }
        | Evidence::SidedressOpen { .. }
        | Evidence::SidedressClosing { .. }
        | Evidence::SurfaceUrea { .. }
        | Evidence::NitrogenLoss { .. } => false,
    }
}

const fn is_a_date(limit: PostLimit) -> bool {
    matches!(limit, PostLimit::LastDay { .. })
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
