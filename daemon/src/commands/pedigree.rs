//! Where the rain of a field's last days comes from, in lines for people.

use crate::weather::pedigree::{Candidate, Element, Pedigree};
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_engine::units::Millimetres;
use furrowbell_engine::weather::Kind;

/// A heading and a line a day after `from` up to `today`; nothing where nobody has said anything of
/// those days.
pub fn lines(
    pedigree: &Pedigree,
    from: NaiveDate,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Vec<String> {
    let days = from.iter_days().skip(1).take_while(|date| *date <= today);
    let told: Vec<_> = days.filter_map(|date| day(pedigree, date, now)).collect();
    if told.is_empty() {
        return Vec::new();
    }
    let mut lines = vec!["Where the rain comes from:".to_owned()];
    lines.extend(told);
    lines.push(String::new());
    lines
}

fn day(pedigree: &Pedigree, date: NaiveDate, now: DateTime<Utc>) -> Option<String> {
    let best = pedigree.said(date, Element::Rain).first()?;
    let mut line = format!("  {date}  {}{}", said(best), age(best, now));
    for other in pedigree.disagreeing(date, Element::Rain) {
        line = format!("{line}; but {}", said(other));
    }
    Some(line)
}

fn said(one: &Candidate) -> String {
    let amount = match Millimetres::new(one.value) {
        Ok(_) if one.trace => "a trace".to_owned(),
        Ok(depth) => format!("{:.2} in", depth.inches()),
        Err(_) => "?".to_owned(),
    };
    let far = one.distance_km.filter(|far| *far > 0.0);
    let far = far.map_or(String::new(), |far| format!(", {far:.0} km off"));
    let morning = if one.whole_day { "" } else { ", read in the morning" };
    format!("{amount} by {} ({}, {}{far}{morning})", kind(one.kind), one.source, one.place)
}

fn age(one: &Candidate, now: DateTime<Utc>) -> String {
    let Some(since) = one.issued_at.or(one.fetched_at) else { return String::new() };
    match (now - since).num_hours() {
        ..=0 => ", less than an hour old".to_owned(),
        1 => ", 1 hour old".to_owned(),
        hours @ 2..48 => format!(", {hours} hours old"),
        hours => format!(", {} days old", hours / 24),
    }
}

const fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Gauge => "gauge",
        Kind::Radar => "radar",
        Kind::Station => "station",
        Kind::Model => "model, not measured",
        Kind::Forecast => "forecast, not measured",
    }
}
