//! Asks for what was observed, once a day and place, and for the warnings in force, all through the
//! year of a field with a plan.

use super::Desk;
use super::pull::{Pulled, known, resting};
use crate::store::Fetch;
use crate::weather::body::{HOST, Reader};
use crate::weather::cells;
use crate::weather::mesonet;
use crate::weather::observed_day::ObservedDay;
use crate::weather::source::{Answer, Area, Known, LandBox, Payload, Source, SourceName, Spot};
use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc};
use furrowbell_engine::weather::Kind;
use std::collections::{BTreeMap, HashMap, HashSet};

/// Key of what is known of the warnings.
pub const WARNINGS: &str = "/alerts/active";

/// Days of a station that are asked for anew.
const STATION_DAYS: u64 = 10;
/// Wait after a fault that is not retried soon.
const AFTER_FAULT: TimeDelta = TimeDelta::hours(1);
/// Longest time by which one place's daily request is put off, so that not all come at once.
const SPREAD: TimeDelta = TimeDelta::minutes(90);
/// Observed days older than this serve no clock any more.
const KEEP_DAYS: u64 = 210;
/// Most requests of one pass, so that the warnings are heard in between.
const BATCH: usize = 20;
/// How long nothing need be due.
const IDLE: TimeDelta = TimeDelta::hours(1);
/// Shortest time between two passes.
const PAUSE: TimeDelta = TimeDelta::seconds(5);
/// What is dated further ahead than clocks may differ would bar all that comes later.
const AHEAD: TimeDelta = TimeDelta::hours(1);

/// Something to ask.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Look {
    Warnings,
    Stations(LandBox),
    Spot(Spot),
}

impl Look {
    /// Under which what is known of it is kept.
    fn key(&self) -> String {
        match self {
            Self::Warnings => WARNINGS.to_owned(),
            Self::Stations(land) => format!("acis/{:.2},{:.2}", land.south, land.west),
            Self::Spot(spot) => spot.cell(SourceName::Mesonet),
        }
    }
}

impl Desk {
    /// Asks for what is due; `None` where the book names nobody to ask. It may be dropped anywhere:
    /// each answer is kept whole or not at all.
    pub async fn observe(&self) -> anyhow::Result<Option<Pulled>> {
        if self.looks().is_empty() {
            return Ok(None);
        }
        let mut fresh = false;
        let (due, _) = self.due_looks().await?;
        for look in due.into_iter().take(BATCH) {
            let fetch = self.fetch(look.key()).await?;
            fresh |= match look {
                Look::Warnings => self.hear_warnings(fetch).await?,
                Look::Stations(land) => self.read_stations(fetch, land).await?,
                Look::Spot(spot) => self.read_spot(fetch, spot).await?,
            };
        }
        self.keep_notes().await?;
        let (left, next) = self.due_looks().await?;
        let now = self.clock.now();
        self.store.prune_observed(now.date_naive() - Days::new(KEEP_DAYS)).await?;
        let next = if left.is_empty() { next } else { now };
        Ok(Some(Pulled { next: next.max(now + PAUSE), fresh }))
    }

    /// All that the book has asked, the warnings first.
    fn looks(&self) -> Vec<(Look, &Reader)> {
        let weather = &self.weather;
        let mut looks = Vec::new();
        if let Some(alerts) = &weather.alerts {
            looks.push((Look::Warnings, alerts.source.reader()));
        }
        let sites =
            || self.book.fields.iter().filter(|one| one.plan.is_some()).map(|one| &one.site);
        if let Some(acis) = &weather.acis {
            let places = sites().map(|site| (site.latitude.get(), site.longitude.get()));
            let lands = LandBox::around(places, acis.settings.reach_km).into_iter();
            looks.extend(lands.map(|land| (Look::Stations(land), acis.source.reader())));
        }
        if let Some(mesonet) = &weather.mesonet {
            let spots = sites().map(|site| Spot::of(site.latitude, site.longitude));
            let spots: BTreeMap<_, _> = spots.map(|spot| (spot.id(), spot)).collect();
            let reader = mesonet.source.reader();
            looks.extend(spots.into_values().map(|spot| (Look::Spot(spot), reader)));
        }
        looks
    }

    /// What is due now, and when something else will be.
    async fn due_looks(&self) -> anyhow::Result<(Vec<Look>, DateTime<Utc>)> {
        let now = self.clock.now();
        let fetches = self.store.fetches().await?.into_iter();
        let due_at: HashMap<_, _> = fetches.map(|fetch| (fetch.url, fetch.next_due_at)).collect();
        let mut due = Vec::new();
        let mut next = now + IDLE;
        for (look, reader) in self.looks() {
            let at = due_at.get(&look.key()).copied().max(resting(reader, HOST, now));
            match at.filter(|at| *at > now) {
                Some(at) => next = next.min(at),
                None => due.push(look),
            }
        }
        Ok((due, next))
    }

    /// Asks for the last days of a spot and for those that are missing.
    async fn read_spot(&self, mut fetch: Fetch, spot: Spot) -> anyhow::Result<bool> {
        let Some(mesonet) = &self.weather.mesonet else { return Ok(false) };
        let now = self.clock.now();
        let today = now.date_naive();
        let first = today - Days::new(mesonet.settings.backfill_days.into());
        let radar = self.store.observed(&spot.id(), first).await?.into_iter();
        let radar: HashSet<_> =
            radar.filter(|day| day.kind == Kind::Radar).map(|day| day.date).collect();
        let (mut fresh, mut status) = (false, 200);
        for days in mesonet::ranges(first, today, |date| radar.contains(&date)) {
            match mesonet.source.pull(&Area::Days(spot, days), &Known::default()).await {
                Ok(answer) => {
                    status = answer.status;
                    fresh |= self.keep_days(answer).await?;
                }
                Err(fault) => {
                    self.note_fault(&mut fetch, &fault, now + AFTER_FAULT).await?;
                    return Ok(fresh);
                }
            }
        }
        let next = tomorrow_at(mesonet.settings.from_hour_utc, &fetch.url, now);
        self.note_answer(&mut fetch, status, now, next).await?;
        Ok(fresh)
    }

    /// Asks for the last days of all stations in a box.
    async fn read_stations(&self, mut fetch: Fetch, land: LandBox) -> anyhow::Result<bool> {
        let Some(acis) = &self.weather.acis else { return Ok(false) };
        let now = self.clock.now();
        let today = now.date_naive();
        let area = Area::Stations(land, today - Days::new(STATION_DAYS)..=today);
        match acis.source.pull(&area, &Known::default()).await {
            Ok(answer) => {
                let status = answer.status;
                let fresh = self.keep_days(answer).await?;
                let next = tomorrow_at(acis.settings.from_hour_utc, &fetch.url, now);
                self.note_answer(&mut fetch, status, now, next).await?;
                Ok(fresh)
            }
            Err(fault) => {
                self.note_fault(&mut fetch, &fault, now + AFTER_FAULT).await?;
                Ok(false)
            }
        }
    }

    /// Keeps the days of an answer; says whether there were any. What is on record and not spoken
    /// of stays.
    async fn keep_days(&self, answer: Answer) -> anyhow::Result<bool> {
        let days: Vec<ObservedDay> = match answer.payload {
            Some(Payload::Days(days)) => days,
            Some(Payload::Stations(found)) => {
                self.store.keep_stations(&found.stations).await?;
                found.days
            }
            _ => Vec::new(),
        };
        if let Some(issued) = answer.issued_at.filter(|issued| *issued > self.clock.now() + AHEAD) {
            tracing::warn!(%issued, "observed days dated ahead of their time were refused");
            return Ok(false);
        }
        Ok(self.store.keep_observed(&days).await? > 0)
    }

    /// Asks for all warnings at once. The last set stays in force until another whole one comes.
    async fn hear_warnings(&self, mut fetch: Fetch) -> anyhow::Result<bool> {
        let Some(alerts) = &self.weather.alerts else { return Ok(false) };
        let answer = alerts.source.pull(&Area::Country, &known(&fetch)).await;
        let now = self.clock.now();
        let next = now + alerts.period;
        let answer = match answer {
            Ok(answer) => answer,
            Err(fault) => {
                self.note_fault(&mut fetch, &fault, next).await?;
                return Ok(false);
            }
        };
        let stale = fetch.update_time.zip(answer.issued_at).is_some_and(|(last, came)| came < last);
        if stale {
            tracing::warn!("an older list of warnings came; the newer one stays");
        } else if let Some(Payload::Warnings(active)) = answer.payload {
            if active.unreadable > 0 || active.cut_off {
                let unreadable = active.unreadable;
                tracing::warn!(unreadable, more = active.cut_off, "the list of warnings has gaps");
            }
            self.store.replace_alerts(&active.alerts, now).await?;
            fetch.update_time = answer.issued_at.filter(|issued| *issued <= now + AHEAD);
            fetch.etag = answer.validators.etag;
            fetch.last_modified = answer.validators.last_modified;
        }
        self.note_answer(&mut fetch, answer.status, now, next).await?;
        Ok(false)
    }
}

/// The next moment after `now` at an hour of the UTC day, put off by a part of [`SPREAD`] that a
/// name always gets.
fn tomorrow_at(hour: u32, name: &str, now: DateTime<Utc>) -> DateTime<Utc> {
    let time = NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
    let today = now.date_naive().and_time(time).and_utc() + cells::jitter(name, 0, SPREAD);
    if today > now { today } else { today + TimeDelta::days(1) }
}
