//! Whether what was told still holds, by what is known now.
//!
//! Only a claim that rested on forecast or model weather can turn out wrong this way. That time
//! passes, that a window goes on to its next topic or that somebody acts does not make it wrong.

use crate::clocks::spray_hours::SprayRun;
use crate::findings::{Evidence, Finding, LossRule, SeedbedVerdict, Topic};
use crate::season::{DayRow, Now, Season};
use chrono::{Days, NaiveDate};

/// Days by which a date must move before the advice is another: a pass is planned to the day, and
/// the clocks of a field seldom know theirs closer than this (common practice, no source).
pub const MATERIAL_DAYS: i64 = 2;
/// Degrees F by which soil must be colder than it was when it was called ready.
pub const MATERIAL_SOIL_F: f64 = 3.0;
/// Days over which the new date of something that was news once is news again.
const NEWS_DAYS: Days = Days::new(3);

/// How a claim stands.
#[derive(Debug, Clone, PartialEq)]
pub enum Stand {
    /// As it was told, or as near as makes no difference; also when too little is known.
    Holds,
    /// Its date or its side is another: this is what is to be said now.
    Moved(Finding),
    /// It is not so, or not yet.
    Gone,
}

/// Judges what was told on the local day `told_on` by the season as of `today`.
pub fn stand(told: &Finding, told_on: NaiveDate, season: &Season, today: NaiveDate) -> Stand {
    if season.findings.iter().any(|finding| finding.topic() == Topic::WeatherGap) {
        return Stand::Holds;
    }
    let same = |finding: &&Finding| {
        finding.topic() == told.topic()
            && finding.occasion == told.occasion
            && finding.version <= told.version
    };
    if let Some(now) = season.findings.iter().find(same) {
        return if differs(told, now, today) { Stand::Moved(now.clone()) } else { Stand::Holds };
    }
    match (&told.evidence, &season.now) {
        (Evidence::Seedbed { verdict: SeedbedVerdict::Ready, soil_f, .. }, _) => {
            gone_if(turned_cold(season, *soil_f))
        }
        (_, Some(now)) => told_of_a_pass(told, told_on, season, now),
        (_, None) => Stand::Holds,
    }
}

/// Whether two tellings of one occasion advise something different.
fn differs(told: &Finding, now: &Finding, today: NaiveDate) -> bool {
    match (&told.evidence, &now.evidence) {
        (Evidence::Seedbed { verdict: was, .. }, Evidence::Seedbed { verdict: is, .. }) => {
            was != is && *is == SeedbedVerdict::Ready
        }
        (Evidence::SprayHours { runs: was, .. }, Evidence::SprayHours { runs: is, .. }) => {
            let mut left = was.iter().filter(|run| run.date() >= today).peekable();
            let meets =
                |told: &SprayRun| is.iter().any(|run| run.from < told.to && told.from < run.to);
            left.peek().is_some() && !left.any(meets)
        }
        _ => {
            let likely = likely_day(&told.evidence).zip(likely_day(&now.evidence));
            let act_by = told.act_by.zip(now.act_by);
            match (likely, act_by) {
                (Some(likely), Some((was, is))) => {
                    moved(likely) && moved((was.max(today), is.max(today)))
                }
                (Some(likely), None) => moved(likely),
                (None, _) => false,
            }
        }
    }
}

fn moved((was, is): (NaiveDate, NaiveDate)) -> bool {
    (is - was).num_days().abs() >= MATERIAL_DAYS
}

/// The day on which the advice turns. The likeliest one where there is a range: its ends draw
/// together by themselves as the day comes nearer.
const fn likely_day(evidence: &Evidence) -> Option<NaiveDate> {
    match evidence {
        Evidence::Emergence { on, .. } => Some(on.likely),
        Evidence::RainLate { on, .. } | Evidence::ColdAfterPlanting { on, .. } => Some(*on),
        Evidence::RainSet { residual_ends, .. } => Some(residual_ends.likely),
        Evidence::ResidualEnding { ends, .. } => Some(ends.likely),
        Evidence::PostOpen { closes, .. } | Evidence::PostClosing { closes, .. } => {
            Some(closes.likely)
        }
        Evidence::SidedressOpen { latest, .. } | Evidence::SidedressClosing { latest, .. } => {
            Some(latest.likely)
        }
        Evidence::Seedbed { .. }
        | Evidence::RainNeeded { .. }
        | Evidence::PostOverdue { .. }
        | Evidence::SprayHours { .. }
        | Evidence::SurfaceUrea { .. }
        | Evidence::NitrogenLoss { .. }
        | Evidence::FewGroups { .. }
        | Evidence::WeatherGap { .. } => None,
    }
}

/// Whether ground that was called ready at `soil_f` has turned cold, and not only by a hair. Ground
/// that turns dry asks for another depth or a shower and harms no seed: that is for the digest.
fn turned_cold(season: &Season, soil_f: f64) -> bool {
    season.findings.iter().any(|finding| match &finding.evidence {
        Evidence::Seedbed { verdict: SeedbedVerdict::Cold, soil_f: now_f, .. } => {
            *now_f <= soil_f - MATERIAL_SOIL_F
        }
        _ => false,
    })
}

/// A claim whose finding the season does not show any more.
fn told_of_a_pass(told: &Finding, told_on: NaiveDate, season: &Season, now: &Now) -> Stand {
    match &told.evidence {
        Evidence::ColdAfterPlanting { planted_on, on, .. } => {
            let same = now.planted_on == Some(*planted_on);
            gone_if(same && *on < now.date && is_known_warmth(season, *on))
        }
        Evidence::Emergence { .. } => {
            let same = now.planted_on == Some(told.occasion) && now.stage.is_some();
            gone_if(same && now.emerged_on.is_none_or(|on| on.likely > now.date))
        }
        Evidence::RainNeeded { applied_on, .. } => {
            let set_on = waiting_pre(now, *applied_on).and_then(|()| set_on(now));
            gone_if(set_on.is_some_and(|on| on < told_on))
        }
        Evidence::RainSet { applied_on, .. } | Evidence::RainLate { applied_on, .. } => {
            told_of_rain(told, *applied_on, season, now)
        }
        Evidence::ResidualEnding { set_on: told_set, .. } => told_of_residual(told, *told_set, now),
        Evidence::PostOpen { .. } => {
            let shut = |on: NaiveDate| moved((now.date, on)) && on > now.date;
            let waits = now.post_applied_on.is_none() && now.stage.is_some();
            gone_if(
                waits
                    && now
                        .post_window
                        .is_none_or(|window| window.opening.is_none_or(|opening| shut(opening.on))),
            )
        }
        Evidence::PostClosing { closes, limit, .. } => {
            let window = now.post_window.filter(|_| now.post_applied_on.is_none());
            window.filter(|window| later(closes.likely, window.closes.likely)).map_or(
                Stand::Holds,
                |window| {
                    let mut evidence = told.evidence.clone();
                    if let Evidence::PostClosing { closes, .. } = &mut evidence {
                        *closes = window.closes;
                    }
                    if window.limit == *limit {
                        again(told, evidence, window.closes.earliest, window.closes.likely)
                    } else {
                        Stand::Gone
                    }
                },
            )
        }
        Evidence::PostOverdue { closed_on, .. } => {
            let open = |closes: NaiveDate| later(closed_on.likely, closes) && closes >= now.date;
            let waits = now.post_applied_on.is_none();
            gone_if(waits && now.post_window.is_some_and(|window| open(window.closes.likely)))
        }
        Evidence::SidedressOpen { .. } => {
            let opens = now.sidedress.filter(|_| now.sidedressed_on.is_none());
            gone_if(opens.is_some_and(|window| later(now.date, window.opens.likely)))
        }
        Evidence::SidedressClosing { latest, .. } => {
            let window = now.sidedress.filter(|_| now.sidedressed_on.is_none());
            window.filter(|window| later(latest.likely, window.latest.likely)).map_or(
                Stand::Holds,
                |window| {
                    let mut evidence = told.evidence.clone();
                    if let Evidence::SidedressClosing { latest, .. } = &mut evidence {
                        *latest = window.latest;
                    }
                    again(told, evidence, window.latest.earliest, window.latest.latest)
                },
            )
        }
        Evidence::SurfaceUrea { spread_on, need_in, .. } => {
            let in_time = told.act_by.is_some_and(|by| by >= now.date);
            let enough = |row: &DayRow| row.rain_in.is_some_and(|rain| rain >= *need_in);
            let since = |row: &&DayRow| row.date > *spread_on && row.date < now.date;
            let same = now.sidedressed_on == Some(*spread_on);
            gone_if(same && in_time && season.days.iter().filter(since).any(enough))
        }
        Evidence::NitrogenLoss { rule, pounds, .. } => {
            let row = season.today().and_then(|row| row.nitrogen);
            gone_if(row.is_some_and(|row| match rule {
                LossRule::SaturatedDays => row.lost_lb < pounds.likely / 2.0,
                LossRule::SpringRain => row.rain.tells_of_shortage() == Some(false),
            }))
        }
        Evidence::Seedbed { .. }
        | Evidence::SprayHours { .. }
        | Evidence::FewGroups { .. }
        | Evidence::WeatherGap { .. } => Stand::Holds,
    }
}

/// Rain was said to have set the pre.
fn told_of_rain(told: &Finding, applied_on: NaiveDate, season: &Season, now: &Now) -> Stand {
    if waiting_pre(now, applied_on).is_none() {
        return Stand::Holds;
    }
    let Some(set_on) = set_on(now) else {
        let since = |row: &&DayRow| row.date > applied_on && row.date < now.date;
        return gone_if(season.days.iter().filter(since).all(|row| row.rain_in.is_some()));
    };
    let other = |finding: &Finding| {
        finding.occasion == applied_on
            && finding.topic() != told.topic()
            && matches!(finding.topic(), Topic::RainSet | Topic::RainLate)
    };
    if season.findings.iter().any(other) {
        return Stand::Gone;
    }
    let ends = now.pre.as_ref().and_then(|pre| pre.ends);
    match (&told.evidence, ends) {
        (Evidence::RainSet { residual_ends, .. }, Some(ends))
            if moved((residual_ends.likely, ends.likely)) =>
        {
            let mut evidence = told.evidence.clone();
            if let Evidence::RainSet { on, residual_ends, .. } = &mut evidence {
                (*on, *residual_ends) = (set_on, ends);
            }
            let mut finding = Finding { evidence, ..told.clone() };
            finding.expires = now.date + NEWS_DAYS;
            Stand::Moved(finding)
        }
        _ => Stand::Holds,
    }
}

/// The residual was said to end soon.
fn told_of_residual(told: &Finding, told_set: NaiveDate, now: &Now) -> Stand {
    let Some(pre) = now.pre.as_ref().filter(|pre| pre.applied_on == told.occasion) else {
        return Stand::Holds;
    };
    if now.post_applied_on.is_some_and(|post| post >= told_set) {
        return Stand::Holds;
    }
    let Some(ends) = pre.ends else { return Stand::Gone };
    let was = likely_day(&told.evidence);
    if !was.is_some_and(|was| later(was, ends.likely)) {
        return Stand::Holds;
    }
    let mut evidence = told.evidence.clone();
    if let Evidence::ResidualEnding { ends: range, .. } = &mut evidence {
        *range = ends;
    }
    again(told, evidence, ends.earliest, ends.likely)
}

/// The claim with a later date, told until that date has passed.
fn again(told: &Finding, evidence: Evidence, act_by: NaiveDate, last: NaiveDate) -> Stand {
    let expires = last + Days::new(1);
    Stand::Moved(Finding { evidence, act_by: Some(act_by), expires, ..told.clone() })
}

fn later(was: NaiveDate, is: NaiveDate) -> bool {
    is > was && moved((was, is))
}

/// The pre of that day, if no post pass has gone on after it.
fn waiting_pre(now: &Now, applied_on: NaiveDate) -> Option<()> {
    let stands = now.pre.as_ref()?.applied_on == applied_on;
    let answered = now.post_applied_on.is_some_and(|post| post >= applied_on);
    (stands && !answered).then_some(())
}

/// Day on which rain had set the pre, as the rules count it: rain only expected today has not.
fn set_on(now: &Now) -> Option<NaiveDate> {
    let rain = now.pre.as_ref()?.rain.as_ref()?;
    rain.firm.set_on.or(rain.expected.set_on.filter(|on| *on < now.date))
}

fn is_known_warmth(season: &Season, date: NaiveDate) -> bool {
    let row = season.days.iter().find(|row| row.date == date);
    row.is_some_and(|row| row.gdd_f.is_some() && !row.gdd_estimated)
}

const fn gone_if(gone: bool) -> Stand {
    if gone { Stand::Gone } else { Stand::Holds }
}
