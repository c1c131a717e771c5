//! The post window: why it is open and when it closes.

use crate::clocks::post_window::{self, CropNow};
use crate::clocks::{DateRange, Stage};
use crate::findings::{PostLimit, PostReason};
use crate::reference::herbicides::Ingredient;
use crate::season::Input;
use crate::season::crop::CropCourse;
use crate::season::pre::Holding;
use crate::season::record::Record;
use crate::season::timeline::Timeline;
use crate::season::weeds::{self, Unheld, WeedUp};
use crate::units::Inches;
use chrono::{Datelike, Days, NaiveDate};
use serde::Serialize;

/// What opens the post window, and when.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Opening {
    /// Why.
    pub reason: PostReason,
    /// Day on which it opened, or is expected to open if nothing happens before: not before the
    /// crop has the size that the mix wants.
    pub on: NaiveDate,
}

/// The post window of one field as of today.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PostWindow {
    /// What opens it; `None` where a pre is on record of which too little is known, where the crop
    /// is not foreseen to reach the size that the mix wants, and where the rows close before.
    pub opening: Option<Opening>,
    /// When it closes.
    pub closes: DateRange,
    /// What closes it.
    pub limit: PostLimit,
    /// The partner of the planned mix that has no label on record for this use this year.
    pub no_label: Option<Ingredient>,
}

/// What the window hangs on, beside the input.
pub(crate) struct Around<'a> {
    pub record: &'a Record,
    pub timeline: &'a Timeline,
    pub crop: &'a CropCourse,
    pub holding: Holding<'a>,
    pub ups: &'a [WeedUp],
    pub canopy: Option<DateRange>,
}

impl Around<'_> {
    /// Works out the window; `None` before the crop is up, when nothing is known that would close
    /// it, and after a post pass until weeds are seen or what it left in the soil fades in time.
    pub fn window(&self, input: &Input<'_>) -> Option<PostWindow> {
        let stage = self.crop.today().stage()?;
        if stage < Stage::Emerged {
            return None;
        }
        let mix: &[Ingredient] = input.plan.post.as_ref().map_or(&[], |post| &post.ingredients);
        let opening = self.opening(input, mix);
        let limits = post_window::limits(&input.plan.crop, mix, input.labels);
        let target = post_window::weed_height_in(mix, input.thresholds);
        let tall = self.weeds_outgrow(input, target);
        let (closes, limit) =
            post_window::closes(&limits, tall.map(|range| (range, target)), |bound| {
                self.crop.when(|stage, height_in| {
                    let now = CropNow { stage: Some(stage), height_in, ..CropNow::default() };
                    bound.is_past(&now) == Some(true)
                })
            })?;
        let in_time = opening.is_some_and(|opening| opening.on <= closes.likely);
        if self.is_answered() && !in_time {
            return None;
        }
        let no_label =
            post_window::no_label(&input.plan.crop, mix, input.labels, input.today.year());
        Some(PostWindow { opening, closes, limit, no_label })
    }

    /// Whether a post pass has gone on and nobody has seen weeds since.
    fn is_answered(&self) -> bool {
        self.record.post.is_some() && self.record.weeds.is_none()
    }

    fn opening(&self, input: &Input<'_>, mix: &[Ingredient]) -> Option<Opening> {
        let opening = self.wanted(input)?;
        let crop = &input.plan.crop;
        let big_enough = self.crop.when(|stage, height_in| {
            let now = CropNow { stage: Some(stage), height_in, ..CropNow::default() };
            post_window::too_small(crop, mix, &now).next().is_none()
        })?;
        Some(Opening { on: opening.on.max(big_enough.likely), ..opening })
    }

    /// Why and from when a pass is wanted. Weeds that nobody has seen and that would come up under
    /// a closed canopy call for none.
    fn wanted(&self, input: &Input<'_>) -> Option<Opening> {
        if let Some((on, _)) = self.record.weeds {
            return Some(Opening { reason: PostReason::WeedsSeen, on });
        }
        let (reason, on) = self.unseen(input)?;
        let light = self.canopy.is_none_or(|closes| on <= closes.latest);
        light.then_some(Opening { reason, on })
    }

    fn unseen(&self, input: &Input<'_>) -> Option<(PostReason, NaiveDate)> {
        if let Some(post) = &self.record.post {
            let ends = self.holding.renewed(input)?;
            let apart = post_window::spacing(&post.ingredients).map_or(0.0, |days| days.value);
            let apart = post.date + whole_days(apart);
            return Some((PostReason::RenewedFading, ends.earliest.max(apart)));
        }
        let Some(pre) = self.holding.pre else {
            let v1 = self.crop.when(|stage, _| stage >= Stage::Vegetative(1))?;
            return Some((PostReason::NoPre, self.record.escaped_from(v1.likely)));
        };
        let escaped = self.record.escaped_from(pre.weeds_up_on(input));
        match pre.ends(input).filter(|_| !pre.was_set_after(escaped)) {
            Some(ends) => Some((PostReason::ResidualFading, ends.earliest)),
            None => pre.now().map(|_| (PostReason::PreMissedRain, escaped)),
        }
    }

    /// When weeds outgrow the pass: from the height and day on which they were seen, or else from
    /// the day on which they may be taken to come up.
    fn weeds_outgrow(&self, input: &Input<'_>, target: f64) -> Option<DateRange> {
        let target = Inches::new(target).ok()?;
        if let Some(seen) = self.record.weeds {
            return weeds::seen_outgrow(input, self.timeline, seen, target);
        }
        let closed_from = self.canopy.map(|closes| closes.latest);
        weeds::outgrow(input, self.timeline, self.ups, closed_from, target)
    }
}

/// From when nothing holds back weeds that nobody has seen: when the residual ends, or a fortnight
/// after a pre that rain had not set by then, or with the crop where there was no pre; after a post
/// pass when what it left in the soil ends. A hoe takes what is up before it.
pub(crate) fn unheld(
    input: &Input<'_>,
    record: &Record,
    holding: &Holding<'_>,
    crop: &CropCourse,
) -> Option<Unheld> {
    let after_look = |date: NaiveDate| record.escaped_from(date);
    if record.post.is_some() {
        return Some(Unheld::from(after_look(holding.renewed(input)?.likely)));
    }
    let Some(pre) = holding.pre else {
        return Some(Unheld::from(after_look(crop.emerged()?.0.likely)));
    };
    let escaped = after_look(pre.weeds_up_on(input));
    match pre.ends(input) {
        Some(ends) if pre.was_set_after(escaped) => {
            let again = pre.set_on().map(|set_on| (set_on, after_look(ends.likely)));
            Some(Unheld { from: escaped, again })
        }
        Some(ends) => Some(Unheld::from(after_look(ends.likely))),
        None => pre.never_set(input).then(|| Unheld::from(escaped)),
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few weeks")]
const fn whole_days(days: f64) -> Days {
    Days::new(days.ceil() as u64)
}
