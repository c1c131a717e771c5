//! The rule of the seedbed: whether to plant yet, told until planting is on record.

use super::first;
use crate::clocks::seedbed::{self, Advice, Ahead, Ground, Reason, Verdict};
use crate::clocks::soil_temperature::SoilTemperature;
use crate::findings::{Evidence, Finding, SeedbedVerdict, Urgency};
use crate::reference::seedbeds::{self, Bed};
use crate::season::Course;
use crate::told::MATERIAL_SOIL_F;
use crate::units::fahrenheit;
use chrono::{Datelike, Days, NaiveDate};

/// Days over which the state of the ground is still news.
const NEWS_DAYS: Days = Days::new(3);
/// Days back over which ground called ready may have sent a planter out.
const PROMISED_DAYS: usize = 2;
/// Degrees F under the temperature to plant at down to which a cold day does not end a spell of fit
/// ground: it hovers.
const HOVER_F: f64 = MATERIAL_SOIL_F;
const CM_PER_IN: f64 = 2.54;

/// Told once for each spell of ground fit to plant, and again when cold is forecast soon after it
/// was called ready; every other reason to wait is for the digest.
pub(super) fn planting(course: &Course<'_>) -> Option<Finding> {
    let today = course.input.today;
    if course.record.planted.is_some() {
        return None;
    }
    let bed = seedbeds::of(course.input.plan.crop.kind());
    let days = advised(course, bed, bed.season.opened(today)?)?;
    let (now, before) = days.split_last()?;
    let soil_f = fahrenheit(now.advice.soil_c?);
    let verdict = now.advice.verdict?;
    let promised = before.iter().rev().take(PROMISED_DAYS).any(AdvisedDay::is_ready);
    let (occasion, urgency, version) = match verdict {
        Verdict::Ready => (fit_since(bed, &days)?, Urgency::Routine, 1),
        Verdict::Wait(Reason::ColdAhead) if promised => {
            (fit_since(bed, &days)?, Urgency::Routine, 2)
        }
        Verdict::Wait(Reason::ColdAhead) => (fit_since(bed, &days)?, Urgency::Digest, 2),
        Verdict::Wait(Reason::Cold | Reason::Dry | Reason::Wet) => {
            (same_since(&days, verdict)?, Urgency::Digest, 1)
        }
    };
    let evidence = Evidence::Seedbed {
        low_in: now.advice.low_in,
        high_in: now.advice.high_in,
        moist_from_in: now.advice.moist_from_in,
        soil_f,
        verdict: told(verdict),
        cold_on: now.advice.cold_on,
    };
    let mut finding = first(occasion, urgency, today + NEWS_DAYS, evidence);
    finding.version = version;
    // Nobody measures the soil of the field, and the next days are forecast.
    finding.provisional = true;
    Some(finding)
}

const fn told(verdict: Verdict) -> SeedbedVerdict {
    match verdict {
        Verdict::Ready => SeedbedVerdict::Ready,
        Verdict::Wait(Reason::Wet) => SeedbedVerdict::Wet,
        Verdict::Wait(Reason::Cold) => SeedbedVerdict::Cold,
        Verdict::Wait(Reason::ColdAhead) => SeedbedVerdict::ColdAhead,
        Verdict::Wait(Reason::Dry) => SeedbedVerdict::Dry,
    }
}

/// What the ground said on one day, by what is known today.
struct AdvisedDay {
    date: NaiveDate,
    advice: Advice,
}

impl AdvisedDay {
    fn is_ready(&self) -> bool {
        self.advice.verdict == Some(Verdict::Ready)
    }

    /// Whether it ends a spell of fit ground. Rain that keeps the planter off for some days does
    /// not, nor does a forecast, nor ground a hair too cold, nor a day of which too little is known.
    fn is_unfit(&self, bed: &Bed) -> bool {
        match self.advice.verdict {
            Some(Verdict::Wait(Reason::Cold)) => {
                let hovers_from = bed.soil_f.value - HOVER_F;
                self.advice.soil_c.is_none_or(|soil_c| fahrenheit(soil_c) < hovers_from)
            }
            Some(Verdict::Wait(Reason::Dry)) => true,
            _ => false,
        }
    }
}

/// First day of the spell of fit ground that today belongs to; days on which it was still a hair too
/// cold come before it.
fn fit_since(bed: &Bed, days: &[AdvisedDay]) -> Option<NaiveDate> {
    let cold = |day: &&AdvisedDay| day.advice.verdict == Some(Verdict::Wait(Reason::Cold));
    let spell = days.iter().rev().take_while(|day| !day.is_unfit(bed));
    spell.filter(|day| !cold(day)).last().map(|day| day.date)
}

/// First day of the run up to today on which the ground said the same.
fn same_since(days: &[AdvisedDay], verdict: Verdict) -> Option<NaiveDate> {
    let same = |day: &&AdvisedDay| day.advice.verdict == Some(verdict);
    days.iter().rev().take_while(same).last().map(|day| day.date)
}

/// Every day from the opening of the planting season to today.
fn advised(course: &Course<'_>, bed: &Bed, opened: NaiveDate) -> Option<Vec<AdvisedDay>> {
    let timeline = &course.timeline;
    let weather = soil_days(course);
    let means: Vec<Option<f64>> = weather.iter().map(|day| Some(day.soil?.mean)).collect();
    let days = timeline.at(opened)?..=timeline.at(course.input.today)?;
    Some(
        days.map(|at| {
            let date = timeline.days[at].date;
            let ground = Ground {
                water: &timeline.seed_zone[at].layers,
                past_c: &means[..=at],
                ahead: &weather[at + 1..],
            };
            AdvisedDay { date, advice: seedbed::advise(bed, date, &ground) }
        })
        .collect(),
    )
}

/// Soil at the depth of the seed, air and rain on each day of the timeline. The soil runs through a
/// missing day on usual air, but nobody knows what it was.
fn soil_days(course: &Course<'_>) -> Vec<Ahead> {
    let input = course.input;
    let days = &course.timeline.days;
    let depth_cm = CM_PER_IN * input.plan.depth.get();
    let usual_c = days.first().map_or(0.0, |day| input.cell.normal().soil_c(day.date.ordinal()));
    let mut soil = SoilTemperature::starting(depth_cm, usual_c);
    days.iter()
        .map(|day| {
            let known =
                day.low.zip(day.high).map(|(low, high)| (low.value.get(), high.value.get()));
            let usual = input.cell.usual(day.date);
            let run = soil.advance_day(known.or(Some((usual.low_c, usual.high_c))), 0.0);
            Ahead {
                soil: known.and(run),
                air_c: known.map(|(low, high)| f64::midpoint(low, high)),
                rain_mm: day.rain.map(|rain| rain.value.get()),
            }
        })
        .collect()
}
