//! Rules of the crop and the weather: cold after planting, emergence, missing weather.

use super::{days_after, days_between, first};
use crate::clocks::Stage;
use crate::findings::{Evidence, Finding, Urgency};
use crate::season::{Course, gap_days};
use chrono::{Days, NaiveDate};

/// Days after planting over which cold water in the seed does harm: 48 h for corn, 24 h for
/// soybean (Univ. of Nebraska Extension, 2020); both are told over two days.
const COLD_DAYS: u64 = 2;
/// Days over which news of emergence is still news.
const NEWS_DAYS: f64 = 3.0;
/// Days after planting past which a gap in the weather changes nothing that could be done.
const SEASON_DAYS: u32 = 110;

/// A cold night within two days after planting, past or forecast.
pub(super) fn cold_after_planting(course: &Course<'_>) -> Option<Finding> {
    let planted = course.record.planted?;
    let threshold = course.input.thresholds.cold_after_planting_f;
    let (on, low) = planted
        .iter_days()
        .skip(1)
        .take(usize::try_from(COLD_DAYS).ok()?)
        .filter_map(|date| {
            let at = course.timeline.at(date)?;
            Some((date, course.timeline.days[at].low?))
        })
        .min_by(|a, b| a.1.value.get().total_cmp(&b.1.value.get()))?;
    let low_f = low.value.fahrenheit();
    if low_f > threshold {
        return None;
    }
    let expires = planted + Days::new(COLD_DAYS + 2);
    let evidence = Evidence::ColdAfterPlanting { planted_on: planted, on, low_f };
    let mut finding = first(planted, Urgency::Routine, expires, evidence);
    finding.provisional = !low.kind.is_observed();
    Some(finding)
}

/// The crop is up by the clock, and nobody has said so.
pub(super) fn emergence(course: &Course<'_>) -> Option<Finding> {
    let crop = course.crop.as_ref()?;
    let (on, heat_gdd) = crop.emerged()?;
    if course.record.stages.values().any(|stage| *stage >= Stage::Emerged) {
        return None;
    }
    let evidence = Evidence::Emergence { on, heat_gdd };
    let mut finding =
        first(crop.planted, Urgency::Routine, days_after(on.likely, NEWS_DAYS), evidence);
    finding.provisional = super::stage_is_provisional(course);
    Some(finding)
}

/// The field's weather is missing up to today, or was missing for so long that the stage is lost.
pub(super) fn weather_gap(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let planted = begun(course)?;
    if days_between(planted, today) > SEASON_DAYS {
        return None;
    }
    let (since, days) = trailing_gap(course, planted).or_else(|| {
        let since = course.crop.as_ref()?.lost_since?;
        let known = |date: &NaiveDate| {
            course.timeline.at(*date).is_some_and(|at| course.timeline.heat[at].gdd().is_some())
        };
        let end = since.iter_days().take_while(|date| *date <= today).find(known)?;
        Some((since, days_between(since, end)))
    })?;
    let evidence = Evidence::WeatherGap { since, days };
    let mut finding = first(since, Urgency::Digest, today + Days::new(1), evidence);
    finding.act_by = Some(today);
    Some(finding)
}

/// Whether the weather since the first pass is missing up to today for longer than is bridged.
pub(super) fn is_guessed(course: &Course<'_>) -> bool {
    begun(course).is_some_and(|begun| trailing_gap(course, begun).is_some())
}

/// Day of planting, or of the pre while nothing is planted.
fn begun(course: &Course<'_>) -> Option<NaiveDate> {
    course.record.planted.or(course.record.pre.as_ref().map(|pre| pre.date))
}

/// The run of days up to today, after planting, on which temperatures or rain are missing, when it
/// is longer than a bridge.
fn trailing_gap(course: &Course<'_>, planted: NaiveDate) -> Option<(NaiveDate, u32)> {
    let last = course.timeline.at(course.input.today)?;
    let run = course.timeline.days[..=last]
        .iter()
        .rev()
        .take_while(|day| {
            let whole = day.high.is_some() && day.low.is_some() && day.rain.is_some();
            day.date > planted && !whole
        })
        .count();
    let since = course.timeline.days[(last + 1).checked_sub(run)?..].first()?.date;
    (run > gap_days(course.input)).then_some((since, u32::try_from(run).ok()?))
}
