//! Rules of nitrogen: when to sidedress, what wet soil has cost.

use super::{days_after, first, stage_is_provisional};
use crate::clocks::nitrogen::UreaLoss;
use crate::clocks::{Stage, nitrogen};
use crate::findings::{Evidence, Finding, LossRule, PoundsRange, RainAhead, Urgency};
use crate::season::{
    Course, LAST_STAGE_FOR_YIELD, LEAST_PASS, NitrogenRow, Sidedress, USUAL_STAGE,
};
use chrono::{Days, NaiveDate};

/// Days over which news of a loss is still news.
const NEWS_DAYS: u64 = 7;

/// Sidedress may start, and need not be done yet. A nitrate test is news of its own: the window is
/// told again with what the test leaves of the plan, or that it leaves nothing.
pub(super) fn sidedress_open(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let window = course.sidedress()?;
    let Sidedress { latest, pounds, tested, .. } = window;
    let ends =
        if pounds < LEAST_PASS.value { latest.earliest } else { closing_from(course, &window) };
    if today < window.opens.likely || today >= ends {
        return None;
    }
    let stage = course.crop.as_ref()?.today().stage()?;
    let early = window.early.filter(|_| stage < USUAL_STAGE);
    let evidence = Evidence::SidedressOpen { stage, early, pounds, tested, latest };
    let planted = course.record.planted?;
    let mut finding = first(planted, Urgency::Routine, latest.earliest.succ_opt()?, evidence);
    finding.version = telling(&window);
    finding.act_by = Some(latest.earliest);
    finding.provisional = stage_is_provisional(course);
    Some(finding)
}

/// Sidedress must be done within the days set for it; not where a nitrate test leaves nothing to do.
pub(super) fn sidedress_closing(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let window = course.sidedress().filter(|window| window.pounds >= LEAST_PASS.value)?;
    let Sidedress { latest, pounds, tested, .. } = window;
    if today < closing_from(course, &window) || today > latest.latest {
        return None;
    }
    let stage = course.crop.as_ref()?.today().stage()?;
    let evidence = Evidence::SidedressClosing { stage, pounds, tested, latest };
    let expires = latest.latest.succ_opt()?;
    let mut finding = first(course.record.planted?, Urgency::Urgent, expires, evidence);
    finding.version = telling(&window);
    finding.act_by = Some(latest.earliest.max(today));
    finding.provisional = stage_is_provisional(course);
    Some(finding)
}

/// Urea lies on the surface, and by the forecast no rain takes it in before it loses N. Worth a text
/// where a week without rain could cost as much as a loss in wet soil that is; else for the digest.
pub(super) fn surface_urea(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let feed = course.feed.as_ref()?;
    let surface = feed.surface?;
    let now = surface.loss();
    let in_a_week = pounds_lost(&surface.in_a_week());
    let (spread_on, _) = course.record.sidedressed.filter(|_| !now.ended)?;
    let days = &course.crop.as_ref()?.days;
    let lying = || {
        let rows = days.iter().zip(&feed.rows).filter(|(day, _)| day.date >= spread_on);
        rows.filter_map(|(day, row)| Some((day.date, row.surface_urea?)))
    };
    let ends_on = lying().find(|(_, urea)| urea.ended).map(|(on, _)| on);
    let last_free = match lying().find(|(_, urea)| urea.grace_days <= 0.0) {
        Some((on, _)) => on,
        None if ends_on.is_some() => return None,
        // Past the weather every day is taken to be warm and dry, so that the risk is told early.
        None => lying().next_back().map(|(on, urea)| days_after(on, urea.grace_days))?,
    };
    let urgency = if in_a_week.high >= course.input.thresholds.nitrogen_loss_lb_per_acre {
        Urgency::Urgent
    } else {
        Urgency::Digest
    };
    let evidence = Evidence::SurfaceUrea {
        spread_on,
        source: course.input.plan.nitrogen?.source,
        grace_days: now.grace_days,
        losing_from: last_free.succ_opt()?,
        need_in: nitrogen::ENDING_RAIN_IN.value,
        ahead: ends_on.and_then(|date| Some(RainAhead { date, inches: rain_on(course, date)? })),
        lost: pounds_lost(&now),
        in_a_week,
        standing: nitrogen::ENDING_RAIN_IN.source.standing,
    };
    let mut finding = first(spread_on, urgency, last_free + Days::new(NEWS_DAYS + 1), evidence);
    finding.act_by = Some(last_free.max(today));
    finding.provisional = true;
    Some(finding)
}

const fn pounds_lost(urea: &UreaLoss) -> PoundsRange {
    PoundsRange { low: urea.low_lb, likely: urea.likely_lb, high: urea.high_lb }
}

fn rain_on(course: &Course<'_>, date: NaiveDate) -> Option<f64> {
    let at = course.timeline.at(date)?;
    Some(course.timeline.days[at].rain?.value.inches())
}

/// Wet soil has cost nitrate: told when the loss passes the threshold, and again at each further
/// multiple of it. So much rain that corn is widely short of N is one more telling.
pub(super) fn loss(course: &Course<'_>) -> Option<Finding> {
    let crop = course.crop.as_ref()?;
    let rows = &course.feed.as_ref()?.rows;
    let today = usize::try_from((course.input.today - crop.planted).num_days()).ok()?;
    let row = rows.get(today)?;
    let tellings = |row: &NitrogenRow| {
        multiples(course, row.lost_lb) + u32::from(row.rain.tells_of_shortage() == Some(true))
    };
    let version = tellings(row);
    if version == 0 {
        return None;
    }
    let passed = |version: u32| -> Option<NaiveDate> {
        let at = rows.iter().position(|row| tellings(row) >= version)?;
        Some(crop.days[at].date)
    };
    let (low, high) = row.lost_range_lb;
    let evidence = Evidence::NitrogenLoss {
        rule: if multiples(course, row.lost_lb) > 0 {
            LossRule::SaturatedDays
        } else {
            LossRule::SpringRain
        },
        pounds: PoundsRange { low, likely: row.lost_lb, high },
        standing: nitrogen::FREE_WET_DAYS.source.standing,
        wet_days: row.wet_days,
        washed: row.washed,
        rain: row.rain,
    };
    let expires = passed(version)? + Days::new(NEWS_DAYS + 1);
    let mut finding = first(passed(1)?, Urgency::Routine, expires, evidence);
    finding.version = version;
    finding.act_by = last_day_for_more(course).filter(|last| *last >= course.input.today);
    finding.provisional = rain_is_unmeasured(course);
    Some(finding)
}

/// Which telling of the window this is: the second once a nitrate test has changed what it says.
fn telling(window: &Sidedress) -> u32 {
    1 + u32::from(window.tested.is_some())
}

/// Last day on which more N makes good what was lost: while the rig gets through, where the sidedress
/// is still to come, and before corn passes the stage up to which a delay costs nothing.
fn last_day_for_more(course: &Course<'_>) -> Option<NaiveDate> {
    let reached = |stage: Stage, _| stage >= LAST_STAGE_FOR_YIELD;
    let of_crop = course.crop.as_ref()?.when(reached)?.day_before();
    let of_rig = course.sidedress().map_or(of_crop, |window| window.latest);
    Some(of_crop.earlier(of_rig).earliest)
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
