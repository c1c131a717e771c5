//! Asks once a day for what was observed, and every few minutes for the warnings in force.

use super::Desk;
use crate::store::Fetch;
use crate::weather::body::{Read, Reader, Request, Unreadable};
use crate::weather::source::{LandBox, Spot, Validators};
use crate::weather::{acis, alerts, mesonet};
use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc};
use furrowbell_engine::weather::Kind;
use std::collections::{BTreeSet, HashSet};

/// Days of a station that are asked for anew.
const STATION_DAYS: u64 = 10;
/// Wait after an answer that did not come.
const AFTER_FAULT: TimeDelta = TimeDelta::hours(1);
/// Longest time by which one place's daily request is put off, so that not all come at once.
const SPREAD_S: u32 = 5_400;
/// Observed days older than this serve no clock any more.
const KEEP_DAYS: u64 = 210;

/// The sources of observed days and of warnings that the book names.
#[derive(Debug, Default)]
pub struct Observers {
    /// The mesonet.
    pub mesonet: Option<Reader>,
    /// The stations.
    pub acis: Option<Reader>,
    /// The warnings.
    pub alerts: Option<Reader>,
}

impl Desk {
    /// Asks for what is due and says when the next is; `None` where the book names no observer.
    pub async fn observe(&self) -> anyhow::Result<Option<DateTime<Utc>>> {
        let observers = &self.weather.observers;
        let mut next = Vec::new();
        if let Some(reader) = &observers.mesonet {
            for spot in self.spots() {
                next.push(self.observe_spot(reader, &spot).await?);
            }
        }
        if let Some(reader) = &observers.acis {
            let places = self.planned_places();
            let reach_km =
                self.book.service.weather.acis.as_ref().map_or(0.0, |acis| acis.reach_km);
            for land in LandBox::around(places, reach_km) {
                next.push(self.observe_stations(reader, land).await?);
            }
        }
        if let Some(reader) = &observers.alerts {
            next.push(self.poll_alerts(reader).await?);
        }
        if !next.is_empty() {
            let today = self.clock.now().date_naive();
            self.store.prune_observed(today - Days::new(KEEP_DAYS)).await?;
        }
        Ok(next.into_iter().min())
    }

    fn planned_places(&self) -> Vec<(f64, f64)> {
        let planned = self.book.fields.iter().filter(|field| field.plan.is_some());
        planned.map(|field| (field.site.latitude.get(), field.site.longitude.get())).collect()
    }

    fn spots(&self) -> Vec<String> {
        let planned = self.book.fields.iter().filter(|field| field.plan.is_some());
        let spots = planned.map(|field| Spot::of(field.site.latitude, field.site.longitude).id());
        spots.collect::<BTreeSet<_>>().into_iter().collect()
    }

    /// Asks for the last days of a spot and for those that are missing.
    async fn observe_spot(&self, reader: &Reader, spot: &str) -> anyhow::Result<DateTime<Utc>> {
        let settings = self.book.service.weather.mesonet.as_ref();
        let (from_hour, backfill) = settings
            .map_or((mesonet::READY_HOUR, 60), |one| (one.from_hour_utc, one.backfill_days));
        let now = self.clock.now();
        let mut fetch = self.standing(format!("mesonet {spot}")).await?;
        if fetch.next_due_at > now {
            return Ok(fetch.next_due_at);
        }
        let today = now.date_naive();
        let first = today - Days::new(backfill.into());
        let known = self.store.observed(spot, first).await?;
        let known: HashSet<_> =
            known.iter().filter(|day| day.kind == Kind::Radar).map(|day| day.date).collect();
        for days in mesonet::ranges(first, today, |date| known.contains(&date)) {
            let path = mesonet::path(spot, &days);
            let none = Validators::default();
            let answer = reader
                .ask(Request::get(&path, &none), |body| {
                    let payload = mesonet::parse(body, spot, now).map_err(unreadable)?;
                    Ok(Read { payload, issued_at: None })
                })
                .await;
            match answer {
                Ok(answer) => {
                    self.store.keep_observed(&answer.payload.unwrap_or_default()).await?;
                }
                Err(fault) => return self.put_off(fetch, &fault.to_string()).await,
            }
        }
        fetch.next_due_at = tomorrow_at(now, from_hour, spot);
        self.settled(fetch).await
    }

    /// Asks for the last days of all stations in a box.
    async fn observe_stations(
        &self,
        reader: &Reader,
        land: LandBox,
    ) -> anyhow::Result<DateTime<Utc>> {
        let from_hour = self.book.service.weather.acis.as_ref().map_or(14, |one| one.from_hour_utc);
        let now = self.clock.now();
        let name = format!("acis {:.2},{:.2}", land.south, land.west);
        let mut fetch = self.standing(name.clone()).await?;
        if fetch.next_due_at > now {
            return Ok(fetch.next_due_at);
        }
        let (first, last) = (now.date_naive() - Days::new(STATION_DAYS), now.date_naive());
        let (body, none) = (acis::request(land, first, last), Validators::default());
        let request = Request { post: Some(&body), ..Request::get(acis::PATH, &none) };
        let zone = self.book.service.zone;
        let answer = reader
            .ask(request, |body| {
                let payload = acis::parse(body, first, zone, now).map_err(unreadable)?;
                Ok(Read { payload, issued_at: None })
            })
            .await;
        match answer {
            Ok(answer) => {
                let found = answer.payload.unwrap_or_default();
                self.store.keep_stations(&found.stations).await?;
                self.store.keep_observed(&found.days).await?;
                fetch.next_due_at = tomorrow_at(now, from_hour, &name);
                self.settled(fetch).await
            }
            Err(fault) => self.put_off(fetch, &fault.to_string()).await,
        }
    }

    /// Asks for all warnings at once; the last set stays in force when no answer comes.
    async fn poll_alerts(&self, reader: &Reader) -> anyhow::Result<DateTime<Utc>> {
        let every = self.book.service.weather.alerts.as_ref().map_or(5, |one| one.every_minutes);
        let now = self.clock.now();
        let mut fetch = self.standing("alerts".to_owned()).await?;
        if fetch.next_due_at > now {
            return Ok(fetch.next_due_at);
        }
        fetch.next_due_at = now + TimeDelta::minutes(every.into());
        let none = Validators::default();
        let request =
            Request { accept: "application/geo+json", ..Request::get(alerts::PATH, &none) };
        let answer = reader
            .ask(request, |body| {
                let payload = alerts::Active::parse(body).map_err(unreadable)?;
                Ok(Read { payload, issued_at: None })
            })
            .await;
        match answer {
            Ok(answer) => {
                let active = answer.payload.unwrap_or_default();
                self.store.replace_alerts(&active.alerts, now).await?;
            }
            Err(fault) => tracing::warn!("{fault}; the last warnings stay in force"),
        }
        self.settled(fetch).await
    }

    async fn standing(&self, url: String) -> anyhow::Result<Fetch> {
        let now = self.clock.now();
        Ok(self.store.fetch(&url).await?.unwrap_or(Fetch {
            url,
            etag: None,
            last_modified: None,
            update_time: None,
            fetched_at: now,
            status: None,
            failures: 0,
            last_error: None,
            next_due_at: now,
        }))
    }

    async fn settled(&self, fetch: Fetch) -> anyhow::Result<DateTime<Utc>> {
        let next = fetch.next_due_at;
        let fetched_at = self.clock.now();
        self.store
            .keep_fetch(&Fetch { failures: 0, last_error: None, fetched_at, ..fetch })
            .await?;
        Ok(next)
    }

    async fn put_off(&self, fetch: Fetch, fault: &str) -> anyhow::Result<DateTime<Utc>> {
        tracing::warn!("{fault}; what was observed before stays in force");
        let next_due_at = self.clock.now() + AFTER_FAULT;
        let failures = fetch.failures.saturating_add(1);
        let last_error = Some(fault.to_owned());
        self.store.keep_fetch(&Fetch { failures, last_error, next_due_at, ..fetch }).await?;
        Ok(next_due_at)
    }
}

fn unreadable(fault: impl std::fmt::Display) -> Unreadable {
    Unreadable { what: fault.to_string(), cut_short: false }
}

/// The next moment after `now` at an hour of the day, put off by a part of [`SPREAD_S`] that the
/// place's name gives.
fn tomorrow_at(now: DateTime<Utc>, hour: u32, name: &str) -> DateTime<Utc> {
    let time = NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
    let number =
        name.bytes().fold(0_u32, |sum, byte| sum.wrapping_mul(31).wrapping_add(byte.into()));
    let later = TimeDelta::seconds((number % SPREAD_S).into());
    let today = now.date_naive().and_time(time).and_utc() + later;
    if today > now { today } else { today + TimeDelta::days(1) }
}
