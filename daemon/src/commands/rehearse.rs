//! `furrowbell rehearse`: a season, fast.
//!
//! The rounds are those of `run`; only the clock is pretended, the routes take every text and send
//! none, and the record is a temporary file. Rows past the pretended day stand in for the forecast.
//! `--years` is a back-test instead: see [`super::back_test`].

use super::back_test::{self, Years};
use super::{Failure, zoned};
use crate::clock::Clock;
use crate::rounds::Desk;
use crate::store::{Digest, Inbound, Queued, Store, TextFilter, TextKind, TextState};
use crate::wire::{self, Outside};
use crate::wording::gsm7;
use anyhow::Context;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use clap::Args;
use furrowbell_config::local::{instant, start_of_day};
use furrowbell_config::people::RouteName;
use furrowbell_config::{Book, Reply};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Instant;
use tokio_util::sync::CancellationToken;

/// Arguments of `rehearse`.
#[derive(Debug, Args)]
pub struct RehearseArgs {
    /// Folder of the book.
    #[arg(env = "FURROWBELL_BOOK")]
    pub(super) book: PathBuf,
    /// First day; without it the first day of weather.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    from: Option<NaiveDate>,
    /// Last day; without it the last day of weather.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    to: Option<NaiveDate>,
    /// Days of recorded weather past the pretended one that stand in for a forecast; without it as
    /// the book says, with --years none.
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(0..=16))]
    pub(super) forecast_days: Option<u32>,
    /// Back-test: the book's plans and passes over the weather of each of these years, for example
    /// 2012..2023 (both included) or 2012.
    #[arg(long, value_name = "YEARS", conflicts_with_all = ["from", "to", "daily", "digests"])]
    pub(super) years: Option<Years>,
    /// Draw the back-test into this file.
    #[arg(long, value_name = "FILE", requires = "years")]
    pub(super) svg: Option<PathBuf>,
    /// One JSON object a line: texts and digests as they go, last a summary. With --years one
    /// object.
    #[arg(long)]
    pub(super) json: bool,
    /// With --json also one line a field and day, as the clocks stand at the end.
    #[arg(long, requires = "json")]
    daily: bool,
    /// Print every digest whole.
    #[arg(long, conflicts_with = "json")]
    digests: bool,
}

/// What has come out so far.
#[derive(Debug, Default)]
struct Tally {
    texts: BTreeMap<&'static str, usize>,
    topics: BTreeMap<String, usize>,
    segments: usize,
    two_segments: usize,
    digests: usize,
    fullest: Option<(usize, Digest)>,
}

/// Rehearses the book's season.
pub async fn run(args: RehearseArgs) -> Result<(), Failure> {
    let began = Instant::now();
    let mut book = super::load(&args.book)?;
    if let Some(years) = args.years {
        return back_test::run(&book, &args, years).await;
    }
    if let (Some(days), Some(files)) = (args.forecast_days, &mut book.service.weather.files) {
        files.forecast_days = days;
    }
    let (from, to) = span(&book, &args)?;
    agreed_by(&mut book, from);
    let zone = book.service.zone;
    let folder = tempfile::Builder::new().prefix("furrowbell-rehearsal-").tempdir()?;
    let url = format!("sqlite:{}", folder.path().join("rehearsal.db").display());
    let store = Store::open(&url).await?;
    store.migrate().await?;
    let replies = book.replies.clone();
    let clock = Clock::pretended(start_of_day(from, zone) + TimeDelta::hours(5));
    let desk = wire::desk(book, store, clock, Outside::Pretended)?;
    if !args.json {
        say!("{}\n", opening(&desk, from, to));
    }
    let end = start_of_day(to + Days::new(1), zone);
    let mut stage =
        Stage { desk: &desk, args: &args, tally: Tally::default(), told: BTreeSet::new() };
    stage.play(replies, end).await?;
    stage.close(began).await?;
    desk.store.close().await;
    Ok(())
}

/// First and last day: as asked, else those of the weather.
fn span(book: &Book, args: &RehearseArgs) -> Result<(NaiveDate, NaiveDate), Failure> {
    let weather = book.service.weather.files.as_ref().ok_or_else(|| {
        Failure::Fault(
            "a rehearsal needs recorded weather; service.toml has no [weather.files]".into(),
        )
    })?;
    let files = crate::weather::sources::Files::new(book.folder.join(&weather.folder), 0);
    let span = files.span().ok_or_else(|| {
        let folder = book.folder.join(&weather.folder);
        Failure::Fault(format!("no day of weather was found in {}", folder.display()))
    })?;
    let (from, to) = (args.from.unwrap_or(span.0), args.to.unwrap_or(span.1));
    if from > to {
        return Err(Failure::Fault(format!("--from {from} lies after --to {to}")));
    }
    Ok((from, to))
}

/// A past spring is played with the people of today: who has agreed since counts as agreed then.
fn agreed_by(book: &mut Book, first: NaiveDate) {
    for consent in book.people.iter_mut().filter_map(|person| person.consent.as_mut()) {
        consent.date = consent.date.min(first);
    }
}

fn opening(desk: &Desk, from: NaiveDate, to: NaiveDate) -> String {
    let book = &desk.book;
    let ahead = book.service.weather.files.as_ref().map_or(0, |files| files.forecast_days);
    format!(
        "{}: {} fields on {} farms, {from} to {to}. A rehearsal: nothing is sent. {}",
        book.service.name,
        book.fields.len(),
        book.farms.len(),
        foreknowledge(ahead)
    )
}

/// What a rehearsal knows of the days ahead.
pub(super) fn foreknowledge(days: u32) -> String {
    match days {
        0 => "There is no forecast: each day knows the weather up to the day before.".to_owned(),
        1 => "The recorded weather of the day itself stands in for the forecast, which is then \
              perfect."
            .to_owned(),
        days => format!(
            "The recorded weather of {days} days from the day itself stands in for the forecast, \
             which is then perfect."
        ),
    }
}

struct Stage<'a> {
    desk: &'a Desk,
    args: &'a RehearseArgs,
    tally: Tally,
    told: BTreeSet<String>,
}

impl Stage<'_> {
    /// Turns rounds until the end, moving the clock to whatever is due next.
    async fn play(&mut self, replies: Vec<Reply>, end: DateTime<Utc>) -> Result<(), Failure> {
        let desk = self.desk;
        let start = desk.clock.now();
        let mut replies: Vec<_> =
            replies.into_iter().filter(|reply| reply.at.to_utc() >= start).rev().collect();
        loop {
            let now = desk.clock.now();
            while let Some(reply) = replies.pop_if(|reply| reply.at.to_utc() <= now) {
                self.come_in(&reply, now).await?;
            }
            desk.turn().await?;
            self.show_digests(now).await?;
            for queued in desk.send_due(&CancellationToken::new()).await? {
                self.show_text(&queued).await?;
            }
            let mut next = desk.next_turn(now);
            if let Some(due) = desk.store.next_due(None, now).await? {
                next = next.min(due.max(now + TimeDelta::seconds(1)));
            }
            if let Some(reply) = replies.last() {
                next = next.min(reply.at.to_utc());
            }
            if next >= end {
                return Ok(());
            }
            desk.clock.advance_to(next);
        }
    }

    /// A scripted reply, stored as a gateway would bring it.
    async fn come_in(&mut self, reply: &Reply, now: DateTime<Utc>) -> Result<(), Failure> {
        let desk = self.desk;
        let person = desk.book.person(&reply.from).context("replies.toml names nobody")?;
        let id = desk.ids.make();
        desk.store
            .receive(&Inbound {
                provider_id: Some(id.clone()),
                id,
                route: RouteName::Sms,
                sender: person.phone.clone().unwrap_or_default(),
                body: reply.text.clone(),
                received_at: now,
                handled_at: None,
                outcome: None,
            })
            .await?;
        if self.args.json {
            say!("{}", json!({"kind": "reply", "at": now, "from": person.id, "body": reply.text}));
        } else {
            say!("{}  {} replies", zoned(now, desk.book.service.zone), person.name);
            say!("    < {}\n", reply.text);
        }
        Ok(())
    }

    async fn show_text(&mut self, queued: &Queued) -> Result<(), Failure> {
        let text = &queued.text;
        if text.kind == TextKind::Digest {
            return Ok(());
        }
        let notices = self.desk.store.notices_of_text(&text.id).await?;
        let segments = gsm7::segments(&text.body);
        *self.tally.texts.entry(text.route.name()).or_default() += 1;
        self.tally.segments += segments;
        self.tally.two_segments += usize::from(segments > 1);
        let topics: BTreeSet<_> =
            notices.iter().map(|notice| notice.identity.topic.name()).collect();
        for topic in &topics {
            *self.tally.topics.entry((*topic).to_owned()).or_default() += 1;
        }
        let at = self.desk.clock.now();
        if self.args.json {
            let fields: Vec<_> = notices.iter().map(|notice| &notice.identity.field).collect();
            let ids: Vec<_> = notices.iter().map(|notice| &notice.id).collect();
            let line = json!({
                "kind": "text", "at": at, "to": text.person, "route": text.route.name(),
                "language": text.language.code(), "topics": topics, "fields": fields,
                "act_by": text.act_by, "body": text.body, "segments": segments, "notices": ids,
            });
            say!("{line}");
        } else {
            let book = &self.desk.book;
            let name = book
                .person(&text.person)
                .map_or(text.person.as_str(), |person| person.name.as_str());
            say!(
                "{}  to {name} ({})",
                zoned(at, book.service.zone),
                topics.into_iter().collect::<Vec<_>>().join(", ")
            );
            say!("    > {}\n", text.body.replace('\n', "\n      "));
        }
        Ok(())
    }

    async fn show_digests(&mut self, now: DateTime<Utc>) -> Result<(), Failure> {
        let zone = self.desk.book.service.zone;
        let since = now.with_timezone(&zone).date_naive() - Days::new(1);
        for digest in self.desk.store.digests(since).await? {
            if !self.told.insert(format!("{}/{}", digest.advisor, digest.local_date)) {
                continue;
            }
            self.tally.digests += 1;
            let lines = digest.body.lines().count();
            if self.args.json {
                let line = json!({
                    "kind": "digest", "at": now, "to": digest.advisor,
                    "date": digest.local_date, "body": digest.body,
                });
                say!("{line}");
            } else if self.args.digests {
                say!("{}\n", digest.body);
            }
            if self.tally.fullest.as_ref().is_none_or(|(most, _)| lines > *most) {
                self.tally.fullest = Some((lines, digest));
            }
        }
        Ok(())
    }

    /// The days if asked for, and the summary.
    async fn close(mut self, began: Instant) -> Result<(), Failure> {
        if self.args.daily {
            self.show_days().await?;
        }
        let filter = TextFilter { states: vec![TextState::Expired], ..TextFilter::default() };
        let expired = self.desk.store.texts(&filter).await?.len();
        let seconds = began.elapsed().as_secs_f64();
        let tally = &mut self.tally;
        if self.args.json {
            let line = json!({
                "kind": "summary", "fields": self.desk.book.fields.len(), "texts": tally.texts,
                "topics": tally.topics, "segments": tally.segments, "digests": tally.digests,
                "expired": expired,
            });
            say!("{line}");
            return Ok(());
        }
        if let Some((_, digest)) = tally.fullest.take().filter(|_| !self.args.digests) {
            say!("The fullest digest of the season, as {} got it:\n", digest.advisor);
            say!("{}\n", digest.body);
        }
        let texts: usize = tally.texts.values().sum();
        say!(
            "{texts} texts ({} of two segments), {} digests, {expired} texts expired unsent, in {seconds:.1} s.",
            tally.two_segments,
            tally.digests
        );
        for (topic, count) in &tally.topics {
            say!("  {count:>4}  {topic}");
        }
        say!(
            "The label, local rules and licensed applicators decide. The weather and the people are the book's."
        );
        Ok(())
    }

    /// Every field's days, as the clocks stand at the end.
    async fn show_days(&self) -> Result<(), Failure> {
        for at in self.desk.advance(self.desk.clock.now()).await? {
            let corn = at.field.plan.as_ref().is_some_and(|plan| plan.crop.is_corn());
            for row in &at.season.days {
                let mut line = json!({
                    "kind": "day", "field": at.field.id, "crop": if corn { "corn" } else { "soybean" },
                });
                let row = serde_json::to_value(row)?;
                if let (Value::Object(line), Value::Object(row)) = (&mut line, row) {
                    line.extend(row);
                }
                say!("{line}");
            }
        }
        Ok(())
    }
}

/// Noon of a local day: the moment as of which a day is shown.
pub(super) fn noon(date: NaiveDate, zone: chrono_tz::Tz) -> DateTime<Utc> {
    instant(date, NaiveTime::from_hms_opt(12, 0, 0).unwrap_or(NaiveTime::MIN), zone)
}
