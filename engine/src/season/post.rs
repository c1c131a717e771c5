//! The post window: why it is open and when it closes.

use crate::clocks::post_window::{self, CropNow};
use crate::clocks::weeds::{self, HeatDay};
use crate::clocks::{DateRange, Stage};
use crate::findings::{PostLimit, PostReason};
use crate::reference::herbicides::Ingredient;
use crate::reference::weeds::Weed;
use crate::season::Input;
use crate::season::crop::CropCourse;
use crate::season::pre::PreCourse;
use crate::season::record::Record;
use crate::season::timeline::Timeline;
use crate::units::Inches;
use chrono::{NaiveDate, TimeDelta};
use serde::Serialize;

/// Base of weed growth, C.
const WEED_BASE_C: f64 = 10.0;
/// Days past the forecast over which weeds are grown on with usual heat.
const AHEAD_DAYS: i64 = 45;
/// The weed that stands in where the field names none: the commonest of the Corn Belt that outgrows
/// a pass (common practice, no source).
const UNNAMED: [Weed; 1] = [Weed::Waterhemp];

/// What opens the post window, and when.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Opening {
    /// Why.
    pub reason: PostReason,
    /// Day on which it opened, or is expected to open if nothing happens before.
    pub on: NaiveDate,
}

/// The post window of one field as of today.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PostWindow {
    /// What opens it; `None` where a pre is on record of which too little is known.
    pub opening: Option<Opening>,
    /// When it closes.
    pub closes: DateRange,
    /// What closes it.
    pub limit: PostLimit,
}

/// Works out the window; `None` when a post pass has gone on and no weeds were seen since, before
/// the crop is up, and when nothing is known that would close it.
pub(crate) fn window(
    input: &Input<'_>,
    record: &Record,
    timeline: &Timeline,
    crop: &CropCourse,
    pre: Option<&PreCourse>,
) -> Option<PostWindow> {
    let stage = crop.today().stage()?;
    let answered = record.post.is_some() && record.weeds.is_none();
    if answered || stage < Stage::Emerged {
        return None;
    }
    let opening = opening(input, record, crop, pre);
    let mix: &[Ingredient] = input.plan.post.as_ref().map_or(&[], |post| &post.ingredients);
    let limits = post_window::limits(&input.plan.crop, mix, input.labels);
    let target = post_window::weed_height_in(mix, input.thresholds);
    let tall = weeds_outgrow(input, record, timeline, pre, crop, target);
    let (closes, limit) =
        post_window::closes(&limits, tall.map(|range| (range, target)), |bound| {
            crop.when(|stage, height_in| {
                let now = CropNow { stage: Some(stage), height_in, ..CropNow::default() };
                bound.is_past(&now) == Some(true)
            })
        })?;
    Some(PostWindow { opening, closes, limit })
}

fn opening(
    input: &Input<'_>,
    record: &Record,
    crop: &CropCourse,
    pre: Option<&PreCourse>,
) -> Option<Opening> {
    let at = |reason, on| Some(Opening { reason, on });
    if let Some((on, _)) = record.weeds {
        return at(PostReason::WeedsSeen, on);
    }
    let Some(pre) = pre else {
        let v1 = crop.when(|stage, _| stage >= Stage::Vegetative(1))?;
        return at(PostReason::NoPre, v1.likely);
    };
    if let Some(ends) = pre.ends(input) {
        return at(PostReason::ResidualFading, ends.earliest);
    }
    let up = pre.weeds_up_on(input);
    pre.now().and_then(|_| at(PostReason::PreNeverSet, record.hoed.map_or(up, |hoed| up.max(hoed))))
}

/// When weeds outgrow the pass: from the height and day on which they were seen, or else from the
/// day on which they may be taken to come up.
fn weeds_outgrow(
    input: &Input<'_>,
    record: &Record,
    timeline: &Timeline,
    pre: Option<&PreCourse>,
    crop: &CropCourse,
    target: f64,
) -> Option<DateRange> {
    let (from, height) = record.weeds.or_else(|| {
        let up = weeds_up(input, pre, crop)?;
        Some((record.hoed.map_or(up, |hoed| up.max(hoed)), Inches::new(0.0).ok()?))
    })?;
    let target = Inches::new(target).ok()?;
    let heat = weed_heat(input, timeline, from);
    let named = if input.plan.weeds.is_empty() { &UNNAMED[..] } else { &input.plan.weeds };
    named
        .iter()
        .filter_map(|weed| weeds::reaches(*weed, from, height, target, &heat).ok().flatten())
        .reduce(DateRange::earlier)
}

/// The day on which weeds nobody has seen may be taken to come up: when the residual ends, or a
/// fortnight after a pre that never set, or with the crop where there was no pre.
fn weeds_up(input: &Input<'_>, pre: Option<&PreCourse>, crop: &CropCourse) -> Option<NaiveDate> {
    let Some(pre) = pre else { return Some(crop.emerged()?.0) };
    if let Some(ends) = pre.ends(input) {
        return Some(ends.likely);
    }
    pre.never_set(input).then(|| pre.weeds_up_on(input))
}

/// Heat for weeds from a day to well past the weather: that of the field as far as it is laid out,
/// then the usual heat.
fn weed_heat(input: &Input<'_>, timeline: &Timeline, from: NaiveDate) -> Vec<HeatDay> {
    let last = timeline.last() + TimeDelta::days(AHEAD_DAYS);
    let length = usize::try_from((last - from).num_days() + 1).unwrap_or(0);
    let begins = (from - timeline.first).num_days();
    let mut heat = Vec::with_capacity(length);
    heat.extend(from.iter_days().take(length).zip(begins..).map(|(date, at)| {
        let day = usize::try_from(at).ok().and_then(|at| timeline.days.get(at));
        let ends = if let Some(day) = day {
            day.high.zip(day.low).map(|(high, low)| (high.value.get(), low.value.get()))
        } else {
            let usual = input.cell.usual(date);
            Some((usual.high_c, usual.low_c))
        };
        let gdd_c10 = ends.map(|(high, low)| (f64::midpoint(high, low) - WEED_BASE_C).max(0.0));
        HeatDay { date, gdd_c10 }
    }));
    heat
}
