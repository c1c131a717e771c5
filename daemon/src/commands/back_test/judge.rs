//! Runs fields through years of recorded weather.

use super::{FieldYear, Skipped, Years};
use crate::commands::Failure;
use crate::rounds::past;
use crate::weather::files::{self, FileDay};
use crate::weather::history::{self, History};
use crate::weather::sources::Files;
use chrono::{Datelike, Days, NaiveDate};
use furrowbell_config::Book;
use furrowbell_config::farms::Field;
use furrowbell_engine::cell::Cell;
use furrowbell_engine::clocks::nitrogen::Normal;
use furrowbell_engine::findings::{Topic, Urgency};
use furrowbell_engine::journal::{self, Event};
use furrowbell_engine::plan::Plan;
use furrowbell_engine::season::{self, Input};
use furrowbell_engine::weather::{Kind, Weather};
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, HashMap};
use std::path::PathBuf;

/// First and last morning of a back-tested season.
const SEASON: ((u32, u32), (u32, u32)) = ((3, 1), (8, 31));
/// A year is judged when its weather is known from the first pass, or this day, ...
const NEEDED_FROM: (u32, u32) = (4, 1);
/// ... to this one, ...
const NEEDED_TO: (u32, u32) = (6, 30);
/// ... but for so many days in a hundred (common practice, no source).
const MISSING_PERCENT: usize = 5;
/// Days of weather before the first morning that a season may look back on.
const BEFORE: Days = Days::new(150);

/// The files that serve a field.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Served {
    history: Option<PathBuf>,
    own: Option<PathBuf>,
}

/// Fields that share their weather.
struct Group<'a> {
    days: Vec<FileDay>,
    fields: Vec<(&'a Field, &'a Plan, Vec<journal::Entry>)>,
}

/// Every field with a plan in every year.
pub(super) fn judge<'a>(
    book: &'a Book,
    journal: &HashMap<String, Vec<journal::Entry>>,
    years: Years,
    ahead: u32,
) -> Result<(Vec<FieldYear<'a>>, Vec<Skipped<'a>>), Failure> {
    let (mut judged, mut skipped) = (Vec::new(), Vec::new());
    for group in groups(book, journal)? {
        for year in years.iter() {
            judge_year(book, &group, year, ahead, &mut judged, &mut skipped);
        }
    }
    Ok((judged, skipped))
}

fn groups<'a>(
    book: &'a Book,
    journal: &HashMap<String, Vec<journal::Entry>>,
) -> Result<Vec<Group<'a>>, Failure> {
    let history = History::of(book);
    let files = book.service.weather.files.as_ref();
    let files = files.map(|files| Files::new(book.folder.join(&files.folder), 0));
    let mut groups: BTreeMap<Served, Group<'a>> = BTreeMap::new();
    for farm in &book.farms {
        for field in book.fields_of(farm) {
            let Some(plan) = &field.plan else { continue };
            let own = files.as_ref().and_then(|files| files.path(farm, field));
            let served = Served { history: history.serving(farm, field), own };
            let mut entries = field.entries();
            entries.extend(journal.get(&field.id).into_iter().flatten().cloned());
            let group = match groups.entry(served) {
                Entry::Occupied(group) => group.into_mut(),
                Entry::Vacant(place) => {
                    let days = place.key().recorded()?;
                    place.insert(Group { days, fields: Vec::new() })
                }
            };
            group.fields.push((field, plan, passes(entries)));
        }
    }
    Ok(groups.into_values().collect())
}

impl Served {
    /// The history with the book's own file laid over it.
    fn recorded(&self) -> Result<Vec<FileDay>, Failure> {
        let read = |path: &Option<PathBuf>| match path {
            Some(path) => files::read(path).map_err(|error| Failure::Fault(error.to_string())),
            None => Ok(Vec::new()),
        };
        Ok(history::merge(&read(&self.history)?, &read(&self.own)?).0)
    }
}

/// The passes of the last season on record. What was seen or read off a gauge belongs to its own
/// year and goes nowhere else.
fn passes(entries: Vec<journal::Entry>) -> Vec<journal::Entry> {
    let is_pass = |event: &Event| {
        matches!(
            event,
            Event::Planted
                | Event::PreApplied { .. }
                | Event::PostApplied { .. }
                | Event::Sidedressed { .. }
                | Event::Hoed
        )
    };
    let mut passes: Vec<_> = entries.into_iter().filter(|entry| is_pass(&entry.event)).collect();
    let last = season_of(&passes);
    passes.retain(|entry| Some(season_year(entry.date)) == last);
    passes
}

/// The season of the last planting, or of the last pass where nothing was planted.
fn season_of(passes: &[journal::Entry]) -> Option<i32> {
    let plantings = passes.iter().filter(|entry| entry.event == Event::Planted);
    let last = plantings.map(|entry| entry.date).max();
    last.or(passes.iter().map(|entry| entry.date).max()).map(season_year)
}

/// The year whose season a day belongs to: that of the next spring from September on.
fn season_year(date: NaiveDate) -> i32 {
    if date.month() >= 9 { date.year() + 1 } else { date.year() }
}

/// The passes on the same days of another season; 29 February becomes the 28th where there is none.
fn shifted(passes: &[journal::Entry], to: i32) -> Vec<journal::Entry> {
    let shift = |date: NaiveDate| {
        let year = date.year() + to - season_year(date);
        date.with_year(year).or_else(|| date.pred_opt()?.with_year(year)).unwrap_or(date)
    };
    passes
        .iter()
        .map(|entry| journal::Entry { date: shift(entry.date), event: entry.event.clone() })
        .collect()
}

fn day_of(year: i32, (month, day): (u32, u32)) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap_or_default()
}

/// Whether the record of a field-year stops before its season does.
pub(super) fn ends_early(one: &FieldYear<'_>) -> bool {
    one.until < day_of(one.year, SEASON.1)
}

/// Why a field's year cannot be judged, if it cannot.
fn unfit(days: &[FileDay], journal: &[journal::Entry], year: i32) -> Option<String> {
    let first_pass = journal.iter().map(|entry| entry.date).min();
    let start = day_of(year, NEEDED_FROM);
    let from = first_pass.map_or(start, |pass| pass.max(start));
    let to = day_of(year, NEEDED_TO);
    let wanted = usize::try_from((to - from).num_days() + 1).unwrap_or(0);
    let whole = days.iter().filter(|day| (from..=to).contains(&day.date) && day.is_whole()).count();
    let missing = wanted.saturating_sub(whole);
    (missing * 100 > wanted * MISSING_PERCENT).then(|| {
        if whole == 0 {
            return "no weather on file".to_owned();
        }
        format!("high, low or rain missing on {missing} of {wanted} days from {from} to {to}")
    })
}

fn judge_year<'a>(
    book: &Book,
    group: &Group<'a>,
    year: i32,
    ahead: u32,
    judged: &mut Vec<FieldYear<'a>>,
    skipped: &mut Vec<Skipped<'a>>,
) {
    let mut runs: Vec<Run<'a>> = Vec::new();
    for (field, plan, passes) in &group.fields {
        let journal = shifted(passes, year);
        match unfit(&group.days, &journal, year) {
            Some(why) => skipped.push(Skipped { field, year, why }),
            None => runs.push(Run { field, plan, journal, normal: None, alerts: BTreeMap::new() }),
        }
    }
    let Some(place) = runs.first().map(|run| run.field.site) else { return };
    let usual = past::usual(&place, &group.days, |other| other != year);
    for run in &mut runs {
        let own = |usual: &Cell| season::own_normal(&run.field.site, run.plan, usual);
        run.normal = usual.as_ref().and_then(own);
    }
    let (first, last) = (day_of(year, SEASON.0), day_of(year, SEASON.1));
    let span = (first - BEFORE)..=last + Days::new(ahead.into());
    let days: Vec<_> = group.days.iter().filter(|day| span.contains(&day.date)).collect();
    let known = days.last().map_or(first, |day| day.date);
    let until = last.min(known + Days::new(1));
    for today in first.iter_days().take_while(|today| *today <= until) {
        let horizon = today + Days::new(ahead.into());
        let kind = |date| if date < today { Kind::Station } else { Kind::Forecast };
        let seen = days.iter().take_while(|day| day.date < horizon);
        let weather = Weather::new(seen.map(|day| day.day(kind(day.date))).collect());
        let mut cell = Cell::new(place.latitude, place.elevation, &weather);
        if let Some(usual) = &usual {
            cell = cell.with_past(usual);
        }
        for run in &mut runs {
            run.look(book, &cell, today);
        }
    }
    judged.extend(runs.into_iter().map(|run| FieldYear {
        field: run.field,
        year,
        until,
        alerts: run.alerts,
    }));
}

/// One field on its way through one year.
struct Run<'a> {
    field: &'a Field,
    plan: &'a Plan,
    journal: Vec<journal::Entry>,
    normal: Option<Normal>,
    alerts: BTreeMap<Topic, NaiveDate>,
}

impl Run<'_> {
    /// Notes what is worth a text on a morning and was not before.
    fn look(&mut self, book: &Book, cell: &Cell, today: NaiveDate) {
        let found = season::find(&Input {
            site: &self.field.site,
            plan: self.plan,
            journal: &self.journal,
            cell,
            normal: self.normal.as_ref(),
            hours: &[],
            labels: &book.labels,
            thresholds: &self.field.thresholds,
            today,
        });
        for finding in found.findings.iter().filter(|found| found.urgency > Urgency::Digest) {
            self.alerts.entry(finding.topic()).or_insert(today);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(text: &str, event: Event) -> journal::Entry {
        journal::Entry { date: text.parse().unwrap(), event }
    }

    #[test]
    fn passes_of_the_last_season_move_with_their_days_and_sightings_stay() {
        let entries = vec![
            on("2024-04-20", Event::Planted),
            on("2025-11-10", Event::PreApplied { ingredients: Vec::new() }),
            on("2026-05-02", Event::Planted),
            on("2026-05-20", Event::StageSeen { stage: "V4".parse().unwrap() }),
            on("2026-06-01", Event::Hoed),
        ];
        let moved = shifted(&passes(entries), 2012);
        let dates: Vec<_> = moved.iter().map(|entry| entry.date.to_string()).collect();
        assert_eq!(dates, ["2011-11-10", "2012-05-02", "2012-06-01"]);
    }

    #[test]
    fn a_leap_day_moves_to_a_day_that_is_there() {
        let leap = [on("2024-02-29", Event::Planted)];
        assert_eq!(shifted(&leap, 2023)[0].date.to_string(), "2023-02-28");
        assert_eq!(shifted(&leap, 2020)[0].date.to_string(), "2020-02-29");
    }

    #[test]
    fn a_year_without_enough_weather_says_what_is_missing() {
        let whole = files::FileDay {
            high: furrowbell_engine::units::Celsius::new(20.0).ok(),
            low: furrowbell_engine::units::Celsius::new(10.0).ok(),
            rain: furrowbell_engine::units::Millimetres::new(0.0).ok(),
            ..FileDay::unknown(day_of(2020, (4, 1)))
        };
        let mut days: Vec<_> = day_of(2020, (4, 1))
            .iter_days()
            .take(91)
            .map(|date| FileDay { date, ..whole })
            .collect();
        assert_eq!(unfit(&days, &[], 2020), None);
        days[40..45].iter_mut().for_each(|day| day.rain = None);
        let planted = [on("2020-05-01", Event::Planted)];
        let why = unfit(&days, &planted, 2020).unwrap();
        assert_eq!(why, "high, low or rain missing on 5 of 61 days from 2020-05-01 to 2020-06-30");
        assert_eq!(unfit(&days, &planted, 2021).unwrap(), "no weather on file");
    }
}
