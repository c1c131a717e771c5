//! Rules of the pre pass: rain it still waits for, rain that set it, the end of its residual.

use super::{days_after, first};
use crate::clocks::activation;
use crate::findings::{Caught, Evidence, Finding, RainAhead, ReachBack, Urgency};
use crate::season::{Course, PreCourse};
use crate::units::Inches;
use chrono::{Days, NaiveDate};

/// Days over which news of the rain is still news.
const NEWS_DAYS: u64 = 5;
/// Days of forecast that count as rain ahead.
const AHEAD_DAYS: u64 = 2;
/// Days after weeds are taken to be up past which the pre is no longer spoken of.
const GIVE_UP_DAYS: f64 = 14.0;

/// How long a pre has waited, in the steps that are worth telling.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Wait {
    FirstCall = 1,
    Alert = 2,
    Escalate = 3,
    WeedsUp = 4,
}

impl Wait {
    /// The step that holds today, and the day on which the next one comes.
    fn of(course: &Course<'_>, pre: &PreCourse) -> Option<(Self, NaiveDate)> {
        let thresholds = course.input.thresholds;
        let steps = [
            (Self::FirstCall, thresholds.activation_first_call_days),
            (Self::Alert, thresholds.activation_alert_days),
            (Self::Escalate, thresholds.activation_escalate_days),
            (Self::WeedsUp, thresholds.activation_weeds_up_days),
        ];
        let today = course.input.today;
        let step = steps.iter().rposition(|(_, days)| pre.after(*days) <= today)?;
        let next = steps[step + 1..].iter().map(|(_, days)| pre.after(*days)).min();
        let give_up = pre.after(thresholds.activation_weeds_up_days + GIVE_UP_DAYS);
        Some((steps[step].0, next.unwrap_or(give_up)))
    }
}

/// The pre still waits for rain.
pub(super) fn rain_needed(course: &Course<'_>) -> Option<Finding> {
    let pre = open_pre(course)?;
    let now = pre.now()?;
    if pre.set_on().is_some() {
        return None;
    }
    let (wait, next) = Wait::of(course, pre)?;
    let today = course.input.today;
    if wait >= Wait::Escalate && hoed_since_alert(course, pre) {
        return None;
    }
    if wait == Wait::WeedsUp && course.post.is_some_and(|window| window.opening.is_some()) {
        return None;
    }
    let ahead = pre
        .ahead()
        .filter(|(date, _)| *date <= today + Days::new(AHEAD_DAYS))
        .map(|(date, inches)| RainAhead { date, inches });
    let reach_back = (wait >= Wait::Escalate).then(|| {
        let rain_on = ahead.map_or(today, |ahead| ahead.date);
        reach(course, pre, rain_on).0
    });
    let evidence = Evidence::RainNeeded {
        applied_on: pre.applied_on,
        days: now.waited_days,
        rain_in: pre.fallen_in(),
        need_in: now.expected.need_in,
        ingredient: now.expected.neediest,
        ahead,
        reach_back,
    };
    let urgency = match (wait, ahead) {
        (Wait::Escalate | Wait::WeedsUp, None) => Urgency::Urgent,
        _ => Urgency::Routine,
    };
    let thresholds = course.input.thresholds;
    let act_by = match wait {
        Wait::FirstCall | Wait::Alert => pre.after(thresholds.activation_escalate_days),
        Wait::Escalate | Wait::WeedsUp => pre.weeds_up_on(course.input),
    };
    let mut finding = first(pre.applied_on, urgency, next, evidence);
    finding.version = wait as u32;
    finding.act_by = Some(act_by.max(today));
    finding.provisional = !pre.is_firm();
    Some(finding)
}

/// Rain set the pre in time.
pub(super) fn rain_set(course: &Course<'_>) -> Option<Finding> {
    let pre = open_pre(course)?;
    let now = pre.now()?;
    let on = pre.set_on().filter(|on| !is_late(course, pre, *on))?;
    let evidence = Evidence::RainSet {
        applied_on: pre.applied_on,
        on,
        rain_in: rain_by(pre, on)?,
        residual_ends: pre.ends(course.input)?,
        washed: pre.is_washed(course.input),
    };
    let expires = on + Days::new(NEWS_DAYS);
    let mut finding = first(pre.applied_on, Urgency::Routine, expires, evidence);
    finding.provisional = now.firm.set_on != Some(on);
    Some(finding)
}

/// Rain set the pre late.
pub(super) fn rain_late(course: &Course<'_>) -> Option<Finding> {
    let pre = open_pre(course)?;
    let now = pre.now()?;
    let on = pre.set_on().filter(|on| is_late(course, pre, *on))?;
    let waited_days = super::days_between(pre.applied_on, on);
    let (reach_back, caught) = reach(course, pre, on);
    let evidence = Evidence::RainLate {
        applied_on: pre.applied_on,
        on,
        rain_in: rain_by(pre, on)?,
        waited_days,
        reach_back,
        caught,
    };
    // What may be caught shows some days after the rain.
    let shown = caught.and_then(|caught| caught.look_to.succ_opt());
    let expires = shown.unwrap_or(on).max(on + Days::new(NEWS_DAYS));
    let mut finding = first(pre.applied_on, Urgency::Routine, expires, evidence);
    finding.act_by = Some(expires.pred_opt()?);
    finding.provisional = now.firm.set_on != Some(on);
    Some(finding)
}

/// The residual is nearly used up: told until the post window opens, which then says the rest.
pub(super) fn residual_ending(course: &Course<'_>) -> Option<Finding> {
    let holding = course.holding();
    let renewed = course.record.post.is_some() && open_pre(course).is_none();
    let (pass, ends) = if renewed {
        (holding.post?, holding.renewed(course.input)?)
    } else {
        let pre = holding.pre?;
        (pre, pre.ends(course.input)?)
    };
    let set_on = pass.set_on()?;
    let today = course.input.today;
    let told_from = days_after(ends.earliest, -course.input.thresholds.residual_warning_days);
    let window_is_open =
        course.post.and_then(|window| window.opening).is_some_and(|opening| opening.on <= today);
    let shaded = course.canopy.is_some_and(|closes| ends.earliest > closes.latest);
    if today < told_from || today > ends.likely || window_is_open || shaded {
        return None;
    }
    let dry = pass.residual.as_ref()?.dry;
    let washed = pass.is_washed(course.input);
    let evidence = Evidence::ResidualEnding { set_on, ends, dry, washed, renewed };
    let expires = ends.likely.succ_opt()?;
    let mut finding = first(pass.applied_on, Urgency::Routine, expires, evidence);
    finding.act_by = Some(ends.earliest.max(today));
    finding.provisional = !pass.is_firm();
    Some(finding)
}

/// The pre pass, unless a post pass has gone on after it.
fn open_pre<'a>(course: &'a Course<'_>) -> Option<&'a PreCourse> {
    let pre = course.pre.as_ref()?;
    course.record.sprayed_over_on().is_none_or(|post| post < pre.applied_on).then_some(pre)
}

/// What rain on a day may still do to weeds that are up, and the named weed that it may catch.
/// Where nobody has told their height they may be as small as seedlings.
fn reach(course: &Course<'_>, pre: &PreCourse, rain_on: NaiveDate) -> (ReachBack, Option<Caught>) {
    let waited_days = super::days_between(pre.applied_on, rain_on);
    let seen = course.record.weeds.map(|(_, height)| height);
    let plan = course.input.plan;
    if plan.weeds.is_empty() {
        return (activation::reach_back(&pre.ingredients, waited_days, seen), None);
    }
    let tallest = seen.or(Inches::new(0.0).ok());
    let caught = tallest.and_then(|tallest| {
        plan.weeds.iter().find_map(|&weed| {
            let mix = &pre.ingredients;
            let rescue = activation::rescue(mix, waited_days, weed, tallest, &plan.resistant)?;
            let (from, to) = rescue.look_after_days;
            Some(Caught {
                weed,
                ingredient: rescue.ingredient,
                whitens: rescue.whitens,
                look_from: rain_on + Days::new(from.into()),
                look_to: rain_on + Days::new(to.into()),
            })
        })
    });
    let reach = if caught.is_some() { ReachBack::SmallBroadleaves } else { ReachBack::None };
    (reach, caught)
}

/// A hoe since the wait became a problem is the answer to it.
fn hoed_since_alert(course: &Course<'_>, pre: &PreCourse) -> bool {
    let alert = pre.after(course.input.thresholds.activation_alert_days);
    course.record.hoed.is_some_and(|hoed| hoed >= alert)
}

fn is_late(course: &Course<'_>, pre: &PreCourse, on: NaiveDate) -> bool {
    on > pre.after(course.input.thresholds.activation_alert_days)
}

fn rain_by(pre: &PreCourse, on: NaiveDate) -> Option<f64> {
    Some(pre.activation.on(on)?.expected.rain_in)
}
