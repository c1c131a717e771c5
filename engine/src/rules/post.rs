//! Rules of the post window: open, about to close, closed.

use super::{days_after, first, stage_is_provisional};
use crate::findings::{Evidence, Finding, PostReason, Urgency};
use crate::season::{Course, PostWindow};
use chrono::{Days, NaiveDate};

/// Days over which an opening is told as such even when the window closes soon.
const NEWS_DAYS: u64 = 3;
/// Days over which a closed window is still told.
const OVERDUE_DAYS: u64 = 7;

/// The window is open: told until it closes soon, and for its first days even then.
pub(super) fn open(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let window = course.post?;
    let opening = window.opening.filter(|opening| opening.on <= today)?;
    let soon = today >= closing_from(course, &window);
    if soon && !is_news(course, &window) {
        return None;
    }
    let PostWindow { closes, limit, no_label, .. } = window;
    let evidence = Evidence::PostOpen { reason: opening.reason, closes, limit, no_label };
    let urgency = if soon { Urgency::Urgent } else { Urgency::Routine };
    let mut finding = first(occasion(course)?, urgency, closes.likely.succ_opt()?, evidence);
    finding.act_by = Some(closes.earliest.max(today));
    finding.provisional =
        stage_is_provisional(course) || rests_on_unmeasured(course, opening.reason);
    Some(finding)
}

/// The window closes within the days set for it.
pub(super) fn closing(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let window = wanted(course)?;
    let soon = today >= closing_from(course, &window) && today <= window.closes.likely;
    if !soon || is_news(course, &window) {
        return None;
    }
    let PostWindow { closes, limit, no_label, .. } = window;
    let again = course.record.post.is_some();
    let evidence = Evidence::PostClosing { closes, limit, again, no_label };
    let mut finding =
        first(occasion(course)?, Urgency::Urgent, closes.likely.succ_opt()?, evidence);
    finding.act_by = Some(closes.earliest.max(today));
    finding.provisional = stage_is_provisional(course);
    Some(finding)
}

/// The window has closed and no pass is on record.
pub(super) fn overdue(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let window = wanted(course)?;
    let closed_on = window.closes;
    if today <= closed_on.likely {
        return None;
    }
    let again = course.record.post.is_some();
    let evidence = Evidence::PostOverdue { closed_on, limit: window.limit, again };
    let expires = closed_on.likely + Days::new(OVERDUE_DAYS + 1);
    let mut finding = first(occasion(course)?, Urgency::Routine, expires, evidence);
    finding.provisional = stage_is_provisional(course);
    Some(finding)
}

/// A window that somebody waits to use: a post pass is planned and not on record, or something has
/// opened it.
fn wanted(course: &Course<'_>) -> Option<PostWindow> {
    let today = course.input.today;
    course.post.filter(|window| {
        (course.input.plan.post.is_some() && course.record.post.is_none())
            || window.opening.is_some_and(|opening| opening.on <= today)
    })
}

/// Whether the window has opened within the last days and is not closed.
fn is_news(course: &Course<'_>, window: &PostWindow) -> bool {
    let today = course.input.today;
    today <= window.closes.likely
        && window
            .opening
            .is_some_and(|opening| opening.on <= today && today < opening.on + Days::new(NEWS_DAYS))
}

/// First day on which the window closes soon.
pub(super) fn closing_from(course: &Course<'_>, window: &PostWindow) -> NaiveDate {
    days_after(window.closes.earliest, -course.input.thresholds.post_closing_days)
}

/// The window hangs on the planting, or on the last post pass when weeds came back after it.
pub(super) fn occasion(course: &Course<'_>) -> Option<NaiveDate> {
    course.record.sprayed_over_on().or(course.record.planted)
}

fn rests_on_unmeasured(course: &Course<'_>, reason: PostReason) -> bool {
    match reason {
        PostReason::WeedsSeen | PostReason::NoPre => false,
        PostReason::ResidualFading | PostReason::PreMissedRain | PostReason::RenewedFading => {
            course.holding().last_set().is_some_and(|pass| !pass.is_firm())
        }
    }
}
