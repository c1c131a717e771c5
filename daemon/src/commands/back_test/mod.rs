//! `furrowbell rehearse --years`: which alerts a book's plans would have had in other years.
//!
//! Every field runs through each year by itself, one season a morning by the engine's own
//! [`furrowbell_engine::season::find`]: no texts, routes, replies or budgets, which is what makes it
//! fast. An alert's day is the first morning on which the season shows something worth a text.

mod judge;
mod svg;

use super::Failure;
use super::rehearse::{RehearseArgs, foreknowledge};
use crate::wire;
use chrono::{Datelike, NaiveDate};
use furrowbell_config::Book;
use furrowbell_config::farms::Field;
use furrowbell_engine::findings::Topic;
use furrowbell_engine::journal::Entry;
use secrecy::ExposeSecret;
use serde_json::json;
use std::collections::{BTreeMap, HashMap};
use std::path::Path;
use std::str::FromStr;

/// Fields of a skipped year that are named; the others are counted.
const NAMED_FIELDS: usize = 4;

/// A run of years, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Years {
    first: i32,
    last: i32,
}

impl FromStr for Years {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let year = |text: &str| {
            let year = text.parse().ok().filter(|year| (1850..3000).contains(year));
            year.ok_or_else(|| "write years as 2012..2023 or 2012".to_owned())
        };
        let (first, last) = text.split_once("..").unwrap_or((text, text));
        let (first, last) = (year(first)?, year(last)?);
        if first > last {
            return Err(format!("{first} lies after {last}"));
        }
        Ok(Self { first, last })
    }
}

impl Years {
    fn iter(self) -> impl Iterator<Item = i32> {
        self.first..=self.last
    }
}

/// One field in one year.
#[derive(Debug)]
struct FieldYear<'a> {
    field: &'a Field,
    year: i32,
    /// Last morning that was judged: alerts after it are not seen.
    until: NaiveDate,
    alerts: BTreeMap<Topic, NaiveDate>,
}

/// A field's year that cannot be judged.
#[derive(Debug)]
struct Skipped<'a> {
    field: &'a Field,
    year: i32,
    why: String,
}

/// When the alerts of one topic came, over all field-years.
#[derive(Debug)]
struct TopicTimes {
    topic: Topic,
    /// By day of the year: month and day, and the year it was in.
    dates: Vec<NaiveDate>,
    field_years: usize,
}

impl TopicTimes {
    fn share_percent(&self) -> usize {
        (100 * self.dates.len() + self.field_years / 2) / self.field_years.max(1)
    }

    /// Earliest, median (the earlier of two) and latest.
    fn quantiles(&self) -> Option<[NaiveDate; 3]> {
        let middle = self.dates.len().checked_sub(1)? / 2;
        Some([*self.dates.first()?, *self.dates.get(middle)?, *self.dates.last()?])
    }
}

/// Topics that a back-test judges: the others need a forecast, by the hour or at all, are told in
/// the digest alone, or speak of the weather record itself.
fn judged(ahead: u32) -> impl Iterator<Item = Topic> {
    let without = [Topic::SprayHours, Topic::FewGroups, Topic::WeatherGap];
    Topic::ALL
        .into_iter()
        .filter(move |topic| !without.contains(topic) && (ahead > 0 || *topic != Topic::Seedbed))
}

/// Runs the back-test and prints it.
pub(super) async fn run(book: &Book, args: &RehearseArgs, years: Years) -> Result<(), Failure> {
    let journal = journal(book).await?;
    let ahead = args.forecast_days.unwrap_or(0);
    let (judged, skipped) = judge::judge(book, &journal, years, ahead)?;
    let times = times(&judged, ahead);
    if args.json {
        say!("{}", as_json(years, ahead, &judged, &skipped, &times));
    } else {
        let heading = heading(book, years, judged.len());
        say!("{heading}\n{}\n", foreknowledge(ahead));
        if judged.is_empty() {
            say!(
                "No field has enough weather on file for any of these years. `furrowbell weather \
                 import` takes years of daily rows."
            );
        } else {
            tell(&times);
            tell_limits(&judged, ahead);
        }
        tell_skipped(&skipped);
    }
    if let Some(path) = &args.svg {
        let heading = heading(book, years, judged.len());
        std::fs::write(path, svg::draw(&heading, &foreknowledge(ahead), &times))?;
    }
    Ok(())
}

/// What the database knows of the fields. One that is not there yet is not made.
async fn journal(book: &Book) -> Result<HashMap<String, Vec<Entry>>, Failure> {
    let url = book.service.database.url(&book.folder).map_err(anyhow::Error::from)?;
    let file = url.expose_secret().strip_prefix("sqlite:").map(Path::new);
    let mut journal: HashMap<String, Vec<Entry>> = HashMap::new();
    if file.is_some_and(|file| !file.exists()) {
        return Ok(journal);
    }
    for record in wire::store(book).await?.journal().await? {
        let entry = Entry { date: record.happened_on, event: record.event };
        journal.entry(record.field).or_default().push(entry);
    }
    Ok(journal)
}

fn times(judged: &[FieldYear<'_>], ahead: u32) -> Vec<TopicTimes> {
    let of = |topic| {
        let dates = judged.iter().filter_map(|one| one.alerts.get(&topic).copied());
        let mut dates: Vec<_> = dates.collect();
        dates.sort_by_key(|date| (date.month(), date.day(), date.year()));
        TopicTimes { topic, dates, field_years: judged.len() }
    };
    self::judged(ahead).map(of).collect()
}

fn heading(book: &Book, years: Years, field_years: usize) -> String {
    let Years { first, last } = years;
    let span = if first == last { first.to_string() } else { format!("{first} to {last}") };
    format!("{}: {field_years} field-years, {span}", book.service.name)
}

fn month_day(date: NaiveDate) -> String {
    date.format("%b %-d").to_string()
}

fn tell(times: &[TopicTimes]) {
    say!(
        "{:<20} {:>5} {:>6}   {:<8} {:<8} {:<8}",
        "first text about",
        "of",
        "share",
        "earliest",
        "median",
        "latest"
    );
    for one in times {
        let [earliest, median, latest] = one
            .quantiles()
            .map_or(["-".to_owned(), "-".to_owned(), "-".to_owned()], |dates| dates.map(month_day));
        say!(
            "{:<20} {:>5} {:>4} %   {earliest:<8} {median:<8} {latest:<8}",
            one.topic.name(),
            one.dates.len(),
            one.share_percent()
        );
    }
    say!("");
}

fn tell_limits(judged: &[FieldYear<'_>], ahead: u32) {
    let seedbed = if ahead == 0 { ", and so is the seedbed: try --forecast-days 3" } else { "" };
    say!(
        "Planting and passes are the book's, on the same days of each year, and so answer the \
         alerts that come after them. Normals are those of the other years on file. Hours to spray \
         need a forecast by the hour and are left out{seedbed}."
    );
    let mut short: BTreeMap<NaiveDate, usize> = BTreeMap::new();
    for one in judged.iter().filter(|one| judge::ends_early(one)) {
        *short.entry(one.until).or_default() += 1;
    }
    for (until, fields) in short {
        say!(
            "Weather ends on {until} for {fields} fields: what would have come later is not seen."
        );
    }
}

fn tell_skipped(skipped: &[Skipped<'_>]) {
    let mut reasons: BTreeMap<(i32, &str), Vec<&str>> = BTreeMap::new();
    for one in skipped {
        reasons.entry((one.year, &one.why)).or_default().push(&one.field.name);
    }
    for ((year, why), fields) in reasons {
        let (named, others) = fields.split_at(fields.len().min(NAMED_FIELDS));
        let named = named.join(", ");
        match others.len() {
            0 => say!("Skipped {year}: {why} ({named})."),
            others => say!("Skipped {year}: {why} ({named} and {others} more)."),
        }
    }
}

fn as_json(
    years: Years,
    ahead: u32,
    judged: &[FieldYear<'_>],
    skipped: &[Skipped<'_>],
    times: &[TopicTimes],
) -> serde_json::Value {
    let topics: Vec<_> = times
        .iter()
        .map(|one| {
            let [earliest, median, latest] = one.quantiles().map_or([None, None, None], |dates| {
                dates.map(|date| Some(date.format("%m-%d").to_string()))
            });
            json!({
                "topic": one.topic.name(), "alerts": one.dates.len(),
                "field_years": one.field_years, "share_percent": one.share_percent(),
                "earliest": earliest, "median": median, "latest": latest,
            })
        })
        .collect();
    let field_years: Vec<_> = judged
        .iter()
        .map(|one| {
            let alerts: BTreeMap<_, _> =
                one.alerts.iter().map(|(topic, date)| (topic.name(), date)).collect();
            json!({
                "field": one.field.id, "year": one.year, "until": one.until, "alerts": alerts,
            })
        })
        .collect();
    let skipped: Vec<_> = skipped
        .iter()
        .map(|one| json!({"field": one.field.id, "year": one.year, "why": one.why}))
        .collect();
    json!({
        "kind": "back-test", "from": years.first, "to": years.last, "forecast_days": ahead,
        "topics": topics, "field_years": field_years, "skipped": skipped,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn years_are_a_run_or_one() {
        assert_eq!("2012..2023".parse(), Ok(Years { first: 2012, last: 2023 }));
        assert_eq!("2012".parse(), Ok(Years { first: 2012, last: 2012 }));
        for text in ["2023..2012", "", "..", "12..13", "2012..", "2012...2014", "2012-2014"] {
            assert!(text.parse::<Years>().is_err(), "{text}");
        }
    }

    #[test]
    fn quantiles_go_by_the_day_of_the_year() {
        let dates = |texts: &[&str]| {
            let mut dates: Vec<NaiveDate> =
                texts.iter().map(|text| text.parse().unwrap()).collect();
            dates.sort_by_key(|date| (date.month(), date.day(), date.year()));
            TopicTimes { topic: Topic::RainSet, dates, field_years: 8 }
        };
        let four = dates(&["2012-06-01", "2020-05-03", "2013-05-20", "2021-05-04"]);
        let shown = four.quantiles().unwrap().map(month_day);
        assert_eq!(shown, ["May 3", "May 4", "Jun 1"]);
        assert_eq!(four.share_percent(), 50);
        assert_eq!(dates(&[]).quantiles(), None);
    }
}
