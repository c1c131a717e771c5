//! The rule of the mixes: fewer than two sites of action that work on a weed of the field. A fact
//! for the advisor, never for a text.

use super::first;
use crate::clocks::effective::{self, Groups, Outlook};
use crate::findings::{Control, Evidence, Finding, SprayPass, Urgency};
use crate::reference::herbicides::Ingredient;
use crate::reference::herbicides::spectrum::Way;
use crate::reference::weeds::Weed;
use crate::season::Course;
use chrono::{Days, NaiveDate};

/// Sites of action that a mix should have against a weed: a second one is clearly better, a third
/// adds little (Silva et al., Weed Technol. 37, 2023).
const ENOUGH: u32 = 2;
/// Days after a pass over which what went on is still news.
const NEWS_DAYS: Days = Days::new(5);
/// Days before the post window opens in which the planned mix is still easily changed.
const AHEAD_DAYS: Days = Days::new(14);

/// A mix with the day it hangs on and the days over which it is told.
struct Told<'a> {
    pass: SprayPass,
    applied: bool,
    mix: &'a [Ingredient],
    occasion: NaiveDate,
    act_by: NaiveDate,
    expires: NaiveDate,
}

/// Told of the last pass for some days after it, and of the planned post pass from two weeks before
/// its window opens.
pub(super) fn few(course: &Course<'_>) -> Option<Finding> {
    [went_on(course), planned(course)].into_iter().flatten().find_map(|told| finding(course, &told))
}

fn went_on<'a>(course: &'a Course<'_>) -> Option<Told<'a>> {
    let record = &course.record;
    let post = record.post.as_ref().map(|post| (SprayPass::Post, post));
    let pre = record.pre.as_ref().map(|pre| (SprayPass::Pre, pre));
    let (pass, sprayed) = post.into_iter().chain(pre).max_by_key(|(_, sprayed)| sprayed.date)?;
    let expires = sprayed.date + NEWS_DAYS;
    let mix = &sprayed.ingredients;
    let (occasion, act_by) = (sprayed.date, expires.pred_opt()?);
    Some(Told { pass, applied: true, mix, occasion, act_by, expires })
}

fn planned<'a>(course: &'a Course<'_>) -> Option<Told<'a>> {
    let today = course.input.today;
    let mix = &course.input.plan.post.as_ref()?.ingredients;
    let window = course.post.filter(|_| course.record.post.is_none())?;
    let opening = window.opening.filter(|opening| opening.on <= today + AHEAD_DAYS)?;
    let act_by = if opening.on >= today { opening.on } else { window.closes.earliest.max(today) };
    Some(Told {
        pass: SprayPass::Post,
        applied: false,
        mix,
        occasion: course.record.planted?,
        act_by,
        expires: window.closes.likely.succ_opt()?,
    })
}

fn finding(course: &Course<'_>, told: &Told<'_>) -> Option<Finding> {
    let plan = course.input.plan;
    let working = |weed, resistant| match told.pass {
        SprayPass::Pre => effective::groups(told.mix, weed, Way::Soil, resistant),
        SprayPass::Post => effective::groups(told.mix, weed, Way::Leaf, resistant),
    };
    let count = |weed: Weed| working(weed, &plan.resistant).count();
    let weed = plan.weeds.iter().copied().min_by_key(|weed| count(*weed))?;
    if told.mix.is_empty() || count(weed) >= ENOUGH || told.expires <= course.input.today {
        return None;
    }
    let left = working(weed, &plan.resistant);
    let lost: Groups = working(weed, &[]).iter().filter(|group| !left.has(*group)).collect();
    let outlook = Outlook::of(told.mix, weed, &plan.resistant);
    let expected = outlook.expected.filter(|_| told.pass == SprayPass::Pre);
    let evidence = Evidence::FewGroups {
        pass: told.pass,
        applied: told.applied,
        weed,
        groups: left.iter().collect(),
        lost: lost.iter().collect(),
        expected: expected.map(|seen| Control {
            low: seen.low,
            likely: seen.likely,
            high: seen.high,
            standing: seen.source.standing,
            ends_standing: seen.ends_source.standing,
        }),
    };
    let mut finding = first(told.occasion, Urgency::Digest, told.expires, evidence);
    finding.act_by = Some(told.act_by);
    Some(finding)
}
