//! Rules of nitrogen: when to sidedress, what wet soil has cost.

use super::{days_after, first, stage_is_provisional};
use crate::findings::{Evidence, Finding, Urgency};
use crate::season::{Course, Sidedress, USUAL_STAGE};
use chrono::{Days, NaiveDate};

/// Days over which news of a loss is still news.
const NEWS_DAYS: u64 = 7;

/// Sidedress may start, and need not be done yet.
pub(super) fn sidedress_open(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let (window, pounds) = sidedress(course)?;
    if today < window.opens.likely || today >= closing_from(course, &window) {
        return None;
    }
    let latest = window.latest;
    let stage = course.crop.as_ref()?.today().stage()?;
    let early = window.early.filter(|_| stage < USUAL_STAGE);
    let evidence = Evidence::SidedressOpen { stage, early, pounds, latest };
    let planted = course.record.planted?;
    let mut finding = first(planted, Urgency::Routine, latest.earliest.succ_opt()?, evidence);
    finding.act_by = Some(latest.earliest);
    finding.provisional = stage_is_provisional(course);
    Some(finding)
}

/// Sidedress must be done within the days set for it.
pub(super) fn sidedress_closing(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let (window, pounds) = sidedress(course)?;
    let latest = window.latest;
    if today < closing_from(course, &window) || today > latest.latest {
        return None;
    }
    let stage = course.crop.as_ref()?.today().stage()?;
    let evidence = Evidence::SidedressClosing { stage, pounds, latest };
    let expires = latest.latest.succ_opt()?;
    let mut finding = first(course.record.planted?, Urgency::Urgent, expires, evidence);
    finding.act_by = Some(latest.earliest.max(today));
    finding.provisional = stage_is_provisional(course);
    Some(finding)
}

/// Wet soil has cost nitrate: told when the loss passes the threshold, and again at each further
/// multiple of it.
pub(super) fn loss(course: &Course<'_>) -> Option<Finding> {
    let crop = course.crop.as_ref()?;
    let rows = &course.feed.as_ref()?.rows;
    let today = usize::try_from((course.input.today - crop.planted).num_days()).ok()?;
    let row = rows.get(today)?;
    let version = multiples(course, row.lost_lb);
    if version == 0 {
        return None;
    }
    let passed = |version: u32| -> Option<NaiveDate> {
        let at = rows.iter().position(|row| multiples(course, row.lost_lb) >= version)?;
        Some(crop.days[at].date)
    };
    let evidence = Evidence::NitrogenLoss { pounds: row.lost_lb, wet_days: row.wet_days };
    let expires = passed(version)? + Days::new(NEWS_DAYS + 1);
    let mut finding = first(passed(1)?, Urgency::Routine, expires, evidence);
    finding.version = version;
    finding.provisional = rain_is_unmeasured(course);
    Some(finding)
}

/// The window with the N meant for the pass.
fn sidedress(course: &Course<'_>) -> Option<(Sidedress, f64)> {
    Some((course.sidedress()?, course.input.plan.nitrogen?.sidedress.get()))
}

fn closing_from(course: &Course<'_>, window: &Sidedress) -> NaiveDate {
    days_after(window.latest.earliest, -course.input.thresholds.sidedress_closing_days)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a loss of at most 1000 lb over a threshold of at least 1 lb"
)]
fn multiples(course: &Course<'_>, lost_lb: f64) -> u32 {
    (lost_lb / course.input.thresholds.nitrogen_loss_lb_per_acre) as u32
}

/// Whether any rain since planting, on days that are over, was not measured.
fn rain_is_unmeasured(course: &Course<'_>) -> bool {
    let planted = course.record.planted;
    course
        .timeline
        .days
        .iter()
        .filter(|day| planted.is_some_and(|planted| day.date > planted))
        .filter(|day| day.date < course.input.today)
        .any(|day| day.rain.is_none_or(|rain| !rain.kind.is_observed()))
}
