//! The rule of the spray hours: which of today and the day after suit the post pass.

use super::{first, post};
use crate::clocks::spray_hours::{self, HourFit, Job, SprayRun};
use crate::findings::{Evidence, Finding, Urgency};
use crate::reference::{Figure, Source};
use crate::season::Course;
use chrono::Days;

/// Days back over which rain tells whether the ground is dry, and the rain below which it is, inches.
const DRY_DAYS: u64 = 14;
const DRY_RAIN_IN: Figure = Figure::new(0.5, Source::common_practice("half an inch in two weeks"));
/// Days before the earliest close at which it is told again.
const LAST_DAYS: Days = Days::new(2);

/// Told while the post window is open and a pass is planned: in the digest, and by text once the
/// window closes soon.
pub(super) fn hours(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    let window = course.post?;
    window.opening.filter(|opening| opening.on <= today && today <= window.closes.likely)?;
    let near = judged(course)?;
    let runs = best(&spray_hours::runs(&near));
    let refused = if runs.is_empty() { Some(spray_hours::commonest(&near)?) } else { None };
    let soon = today >= post::closing_from(course, &window);
    let urgency = if soon { Urgency::Routine } else { Urgency::Digest };
    let last = runs.last().map(SprayRun::date);
    let expires = last.unwrap_or(today).succ_opt()?;
    let evidence = Evidence::SprayHours { runs, refused };
    let mut finding = first(post::occasion(course)?, urgency, expires, evidence);
    if today + LAST_DAYS >= window.closes.earliest {
        finding.version = 2;
    }
    finding.act_by = Some(last.unwrap_or_else(|| window.closes.earliest.max(today)));
    finding.provisional = true;
    Some(finding)
}

/// The hours of today and the day after.
fn judged(course: &Course<'_>) -> Option<Vec<HourFit>> {
    let input = course.input;
    let job = Job {
        site: input.site,
        crop: &input.plan.crop,
        mix: &input.plan.post.as_ref()?.ingredients,
        dry: may_be_dry(course),
        cell: input.cell,
        thresholds: input.thresholds,
    };
    let days = input.today..=input.today + Days::new(1);
    let mut hours = spray_hours::judge(&job, input.hours);
    hours.retain(|hour| days.contains(&hour.start.date_naive()));
    Some(hours)
}

/// Whether little rain is known to have fallen; rain that is missing may not have fallen either.
fn may_be_dry(course: &Course<'_>) -> bool {
    let input = course.input;
    let rain: f64 = (1..=DRY_DAYS)
        .filter_map(|ago| input.cell.day(input.today - Days::new(ago))?.rain)
        .map(|rain| rain.value.inches())
        .sum();
    rain < DRY_RAIN_IN.value
}

/// The longest run of each day, the earlier of two.
fn best(runs: &[SprayRun]) -> Vec<SprayRun> {
    let mut best: Vec<SprayRun> = Vec::new();
    for run in runs {
        match best.last_mut().filter(|known| known.date() == run.date()) {
            Some(known) if run.to - run.from > known.to - known.from => *known = *run,
            Some(_) => {}
            None => best.push(*run),
        }
    }
    best
}
