//! `furrowbell weather status`: how each weather source stands.

use super::{BookArg, Failure, zoned};
use crate::clock::Clock;
use crate::rounds::sources_now::{LastFault, Served, SourceNow, State, sources_now};
use crate::weather::breaker::LONGEST_REST;
use crate::weather::source::SourceName;
use crate::weather::sources::Files;
use crate::wire;
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use clap::Args;
use furrowbell_config::Book;

/// Arguments of `weather status`.
#[derive(Debug, Args)]
pub struct StatusArgs {
    #[command(flatten)]
    book: BookArg,
    /// One JSON object.
    #[arg(long)]
    json: bool,
    /// An instant in place of now, for tests of the command.
    #[arg(long, hide = true)]
    test_now: Option<DateTime<Utc>>,
}

/// Prints how the sources stand. Nothing is asked of them.
pub async fn run(args: StatusArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let store = wire::store(&book).await?;
    let now = args.test_now.unwrap_or_else(|| Clock::System.now());
    let sources = sources_now(&book, &store, now).await?;
    let files = files(&book).map(|files| files.span());
    let zone = book.service.zone;
    if args.json {
        let files = files.map(|span| {
            let (first, last) = span.unzip();
            serde_json::json!({ "first_day": first, "last_day": last })
        });
        let told = serde_json::json!({
            "now": now, "zone": zone.name(), "sources": sources, "files": files,
        });
        say!("{told}");
        return Ok(());
    }
    say!("Weather sources on {} (times of {zone}).", zoned(now, zone));
    if sources.is_empty() {
        say!("The book names no source that is asked over the network; see [weather.nws].");
    } else {
        table(&sources, now);
    }
    for source in &sources {
        let notes = notes(source, now, zone);
        if !notes.is_empty() {
            say!("\n{}", source.source);
            for note in notes {
                say!("  {note}");
            }
        }
    }
    match files {
        None => {}
        Some(None) => say!("\nDaily files: none that can be read yet."),
        Some(Some((first, last))) => say!("\nDaily files: days from {first} to {last}."),
    }
    Ok(())
}

/// The book's daily files, where it names any.
fn files(book: &Book) -> Option<Files> {
    let files = book.service.weather.files.as_ref()?;
    Some(Files::new(book.folder.join(&files.folder), files.forecast_days))
}

const HEADINGS: [&str; 10] = [
    "source",
    "state",
    "last good answer",
    "asked 24 h",
    "failed",
    "MB",
    "median",
    "newest forecast",
    "cells",
    "late",
];
/// Columns that hold words; the others hold numbers and stand to the right.
const OF_WORDS: [usize; 4] = [0, 1, 2, 7];

fn table(sources: &[SourceNow], now: DateTime<Utc>) {
    let mut rows = vec![HEADINGS.map(str::to_owned)];
    rows.extend(sources.iter().map(|source| row(source, now)));
    let width = |column: usize| {
        rows.iter().map(|row| row[column].chars().count()).max().unwrap_or_default()
    };
    let widths: Vec<_> = (0..HEADINGS.len()).map(width).collect();
    say!("");
    for row in &rows {
        let cells = row.iter().zip(&widths).enumerate().map(|(column, (cell, width))| {
            if OF_WORDS.contains(&column) {
                format!("{cell:<width$}")
            } else {
                format!("{cell:>width$}")
            }
        });
        say!("{}", cells.collect::<Vec<_>>().join("  ").trim_end());
    }
}

fn row(source: &SourceNow, now: DateTime<Utc>) -> [String; 10] {
    let ago = |at: Option<DateTime<Utc>>, none: &str| {
        at.map_or_else(|| none.to_owned(), |at| ago(now - at))
    };
    let served = &source.served;
    [
        source.source.to_string(),
        word(source.state).to_owned(),
        ago(source.last_good_at, "never"),
        source.requests_24h.to_string(),
        source.failures_24h.to_string(),
        // Tenths of a megabyte, without passing through a float.
        format!("{}.{}", source.bytes_24h / 1_000_000, source.bytes_24h / 100_000 % 10),
        source.median_ms.map_or_else(|| "-".to_owned(), |ms| format!("{ms} ms")),
        ago(served.newest_issue, "-"),
        served.cells.to_string(),
        served.late.to_string(),
    ]
}

const fn word(state: State) -> &'static str {
    match state {
        State::Off => "off",
        State::NotAsked => "not asked",
        State::Ok => "ok",
        State::Late => "late",
        State::Failing => "failing",
        State::Resting => "resting",
    }
}

fn notes(source: &SourceNow, now: DateTime<Utc>, zone: Tz) -> Vec<String> {
    let mut notes = Vec::new();
    match source.state {
        State::Off => return vec!["not in the book any more".to_owned()],
        State::NotAsked => notes.push(match source.source {
            SourceName::MetNorway | SourceName::OpenMeteo => {
                "no request yet: the running service asks it while the forecast grid is late".into()
            }
            _ => "no request yet: start the service with `furrowbell run BOOK`".into(),
        }),
        State::Resting => {
            let by = source.last_fault.as_ref().map(|fault| zoned(fault.at + LONGEST_REST, zone));
            let row = source.failures_in_a_row;
            let by = by.unwrap_or_default();
            notes.push(format!("left alone after {row} failures in a row; next try by {by}"));
        }
        State::Failing => {
            let row = source.failures_in_a_row;
            notes.push(format!("{row} failures in a row; the last good forecast stays in force"));
        }
        State::Ok | State::Late => {}
    }
    notes.extend(late(source, now));
    notes.extend(source.last_fault.as_ref().map(|fault| last_fault(fault, now, zone)));
    let silent = source.requests_24h == 0 && source.last_good_at.is_some();
    if silent && source.served.cells > 0 {
        notes.push("nothing asked for a day: is the service running?".to_owned());
    }
    notes
}

/// Where cells are late, the worst office first.
fn late(source: &SourceNow, now: DateTime<Utc>) -> Vec<String> {
    let hours = source.late_after_h;
    let mut offices: Vec<_> = source.offices.iter().filter(|(_, served)| served.late > 0).collect();
    offices.sort_by_key(|(_, served)| std::cmp::Reverse(served.late));
    if offices.is_empty() && source.served.late > 0 {
        let served = &source.served;
        return vec![format!(
            "{} of {} places have none younger than {hours} h",
            served.late, served.cells
        )];
    }
    let line = |(office, served): (&String, &Served)| {
        let newest = served
            .newest_issue
            .map_or_else(|| "none yet".to_owned(), |at| format!("newest {}", ago(now - at)));
        format!(
            "office {office}: {} of {} cells have no forecast younger than {hours} h, {newest}",
            served.late, served.cells
        )
    };
    offices.into_iter().map(line).collect()
}

fn last_fault(fault: &LastFault, now: DateTime<Utc>, zone: Tz) -> String {
    let id = fault.correlation_id.as_ref();
    let id = id.map_or(String::new(), |id| format!(" (correlation id {id})"));
    format!("last fault {}, {}: {}{id}", ago(now - fault.at), zoned(fault.at, zone), fault.what)
}

/// An age in plain words.
fn ago(age: TimeDelta) -> String {
    let (days, hours, minutes) = (age.num_days(), age.num_hours(), age.num_minutes());
    match (days, hours, minutes) {
        (.., ..1) => "just now".to_owned(),
        (_, ..1, _) => format!("{minutes} min ago"),
        (_, ..10, _) => format!("{hours} h {} min ago", minutes % 60),
        (..3, ..) => format!("{hours} h ago"),
        _ => format!("{days} days ago"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages_are_said_as_finely_as_they_matter() {
        let cases = [
            (-5, "just now"),
            (0, "just now"),
            (1, "1 min ago"),
            (59, "59 min ago"),
            (60, "1 h 0 min ago"),
            (125, "2 h 5 min ago"),
            (600, "10 h ago"),
            (71 * 60 + 59, "71 h ago"),
            (72 * 60, "3 days ago"),
        ];
        for (minutes, words) in cases {
            assert_eq!(ago(TimeDelta::minutes(minutes)), words);
        }
    }
}
