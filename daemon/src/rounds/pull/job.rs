//! Does one job: asks, keeps what came, and notes when to ask again.

use super::due::{Job, grid_url};
use crate::rounds::Desk;
use crate::store::{Cell as StoredCell, Fetch, FieldCell, FieldZones, WeatherHour};
use crate::weather::cells::{self, Cell};
use crate::weather::fault::{Fault, Verdict, What};
use crate::weather::source::{Answer, Area, Forecast, Known, Payload, Source, Spot, Validators};
use anyhow::Context;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_engine::units::{Latitude, Longitude};
use furrowbell_engine::weather::Kind;

/// Waits between the tries of one regular pull, give or take a third; then the next regular pull.
const WAITS: [TimeDelta; 3] =
    [TimeDelta::seconds(3), TimeDelta::seconds(10), TimeDelta::seconds(60)];
/// How long a place that the service does not cover is left alone.
const UNCOVERED: TimeDelta = TimeDelta::days(1);
/// Longest freshness that is believed of an answer.
const LONGEST_FRESH: TimeDelta = TimeDelta::hours(6);
/// Spread of requests over the time after an answer's end.
const AFTER_END: TimeDelta = TimeDelta::minutes(5);
/// A forecast from further ahead than clocks may differ is none: it would bar all later ones.
const AHEAD: TimeDelta = TimeDelta::hours(1);

/// What came of a job.
#[derive(Debug, Clone, Copy, Default)]
pub struct Done {
    /// Whether a new forecast was kept.
    pub fresh: bool,
    /// Whether fields were given other cells.
    pub moved: bool,
}

impl Done {
    pub(super) const fn and(self, other: Self) -> Self {
        Self { fresh: self.fresh || other.fresh, moved: self.moved || other.moved }
    }
}

impl Desk {
    /// Does a job and says what came of it. A fault of a service is no error.
    pub(super) async fn done(&self, job: Job) -> anyhow::Result<Done> {
        match job {
            Job::Place { url, latitude, longitude, fields } => {
                self.resolve(url, (latitude, longitude), &fields).await?;
                Ok(Done { moved: true, fresh: false })
            }
            Job::Grid(cell) => self.pull_grid(cell).await,
            Job::MetNorway(spot) => {
                let Some(met) = &self.weather.met_norway else { return Ok(Done::default()) };
                self.pull_spots(&met.source, met.period, vec![spot]).await
            }
            Job::OpenMeteo(spots) => {
                let Some(open) = &self.weather.open_meteo else { return Ok(Done::default()) };
                self.pull_spots(&open.source, open.period, spots).await
            }
        }
    }

    async fn resolve(
        &self,
        url: String,
        (latitude, longitude): (Latitude, Longitude),
        fields: &[String],
    ) -> anyhow::Result<()> {
        let Some(nws) = &self.weather.nws else { return Ok(()) };
        let mut fetch = self.fetch(url).await?;
        let answer = nws.source.resolve(latitude, longitude).await;
        let now = self.clock.now();
        let resolved = match answer.map(|answer| answer.payload) {
            Ok(Some(resolved)) => resolved,
            Ok(None) => return Ok(()),
            Err(fault) => {
                let uncovered = fault.verdict == Verdict::NotCovered;
                let wait = if uncovered { UNCOVERED } else { nws.period };
                return self.note_fault(&mut fetch, &fault, now + wait).await;
            }
        };
        let id = resolved.cell.to_string();
        if self.store.cell(&id).await?.is_none() {
            let url = grid_url(&resolved.cell);
            let cell = StoredCell { id: id.clone(), url, polygon: None, resolved_at: now };
            self.store.keep_cell(&cell).await?;
        }
        for field in fields {
            let row = FieldCell {
                field: field.clone(),
                cell: id.clone(),
                latitude: latitude.get(),
                longitude: longitude.get(),
                resolved_at: now,
            };
            self.store.keep_field_cell(&row).await?;
            let zones = resolved.warned_by.clone();
            self.store.keep_field_zones(&FieldZones { field: field.clone(), zones }).await?;
        }
        self.note_answer(&mut fetch, 200, now, now).await
    }

    async fn pull_grid(&self, cell: Cell) -> anyhow::Result<Done> {
        let Some(nws) = &self.weather.nws else { return Ok(Done::default()) };
        let mut fetch = self.fetch(grid_url(&cell)).await?;
        if fetch.next_due_at > self.clock.now() {
            // Another instance has asked meanwhile.
            return Ok(Done::default());
        }
        let area = Area::Cell(cell.clone());
        let answer = nws.source.pull(&area, &known(&fetch)).await;
        let now = self.clock.now();
        let regular = cells::next_due(&cell.to_string(), nws.period, now);
        match answer {
            Ok(answer) => self.keep_answer(vec![fetch], answer, regular).await,
            Err(fault) => {
                let moved = fault.verdict == Verdict::ReResolve;
                if moved {
                    self.doubt(&cell).await?;
                }
                self.note_fault(&mut fetch, &fault, regular).await?;
                Ok(Done { moved, fresh: false })
            }
        }
    }

    async fn pull_spots(
        &self,
        source: &dyn Source,
        period: TimeDelta,
        spots: Vec<Spot>,
    ) -> anyhow::Result<Done> {
        let mut fetches = Vec::with_capacity(spots.len());
        for spot in &spots {
            fetches.push(self.fetch(spot.cell(source.name())).await?);
        }
        let known = fetches.first().map(known).unwrap_or_default();
        let answer = source.pull(&Area::Spots(spots), &known).await;
        let name = fetches.first().map(|fetch| fetch.url.clone()).unwrap_or_default();
        let regular = cells::next_due(&name, period, self.clock.now());
        match answer {
            Ok(answer) => self.keep_answer(fetches, answer, regular).await,
            Err(fault) => {
                for fetch in &mut fetches {
                    self.note_fault(fetch, &fault, regular).await?;
                }
                Ok(Done::default())
            }
        }
    }

    /// Keeps an answer about some addresses: a forecast for each, or the news that there is none.
    async fn keep_answer(
        &self,
        fetches: Vec<Fetch>,
        answer: Answer,
        regular: DateTime<Utc>,
    ) -> anyhow::Result<Done> {
        let now = self.clock.now();
        let Answer { status, validators, expires_at, issued_at, payload, .. } = answer;
        let mut forecasts = match payload {
            Some(Payload::Hours(forecasts)) => forecasts.into_iter().map(Some).collect(),
            _ => Vec::new(),
        };
        forecasts.resize(fetches.len(), None);
        let mut fresh = false;
        for (mut fetch, forecast) in fetches.into_iter().zip(forecasts) {
            let issued = issued_at.unwrap_or(now);
            if let Some(forecast) = forecast
                && self.keep_forecast(&fetch, forecast, issued, now).await?
            {
                fetch.update_time = Some(issued);
                fetch.etag.clone_from(&validators.etag);
                fetch.last_modified.clone_from(&validators.last_modified);
                fresh = true;
            }
            let next = not_before(regular, expires_at, &fetch.url, now);
            self.note_answer(&mut fetch, status, now, next).await?;
        }
        Ok(Done { fresh, moved: false })
    }

    /// What is known of an address; one that is new is due at once.
    pub(in crate::rounds) async fn fetch(&self, url: String) -> anyhow::Result<Fetch> {
        let known = self.store.fetch(&url).await?;
        let now = self.clock.now();
        Ok(known.unwrap_or(Fetch {
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

    /// Notes an answer, and when to ask again.
    pub(in crate::rounds) async fn note_answer(
        &self,
        fetch: &mut Fetch,
        status: u16,
        now: DateTime<Utc>,
        next_due_at: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        fetch.status = Some(status);
        fetch.failures = 0;
        fetch.last_error = None;
        fetch.fetched_at = now;
        fetch.next_due_at = next_due_at;
        Ok(self.store.keep_fetch(fetch).await?)
    }

    /// A host at rest was not asked, so nothing is noted: the job stays due until it wakes.
    pub(in crate::rounds) async fn note_fault(
        &self,
        fetch: &mut Fetch,
        fault: &Fault,
        regular: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        if matches!(fault.what, What::Resting { .. }) {
            return Ok(());
        }
        tracing::warn!(
            address = fetch.url,
            correlation_id = fault.correlation_id,
            "{fault}; what came before stays in force"
        );
        fetch.status = fault.what.status();
        fetch.failures = fetch.failures.saturating_add(1);
        fetch.last_error = Some(fault.to_string());
        fetch.next_due_at = after_fault(fault, fetch, self.clock.now(), regular);
        Ok(self.store.keep_fetch(fetch).await?)
    }

    /// Has every field of a cell that is gone asked for anew. What the cell last said stays in
    /// force until another one is named.
    async fn doubt(&self, cell: &Cell) -> anyhow::Result<()> {
        let id = cell.to_string();
        for row in self.store.field_cells().await? {
            if row.cell == id {
                let doubted = FieldCell { resolved_at: DateTime::UNIX_EPOCH, ..row };
                self.store.keep_field_cell(&doubted).await?;
            }
        }
        Ok(())
    }

    /// Keeps a forecast unless it is older than the one on record: caches have been seen to step
    /// back.
    async fn keep_forecast(
        &self,
        fetch: &Fetch,
        forecast: Forecast,
        issued_at: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> anyhow::Result<bool> {
        let cell = forecast.cell;
        if fetch.update_time.is_some_and(|newest| issued_at < newest) {
            tracing::warn!(cell, issued = %issued_at, "an older forecast came; the newer one stays");
            return Ok(false);
        }
        if issued_at > now + AHEAD {
            tracing::warn!(cell, issued = %issued_at, "a forecast dated ahead of its time was refused");
            return Ok(false);
        }
        for refused in &forecast.refused {
            tracing::warn!(cell, layer = ?refused.layer, reason = %refused.reason, "layer refused");
        }
        let polygon = forecast.outline.as_ref().map(serde_json::to_string).transpose();
        let polygon = polygon.context("an outline cannot be written as JSON")?;
        let stored =
            StoredCell { id: cell.clone(), url: fetch.url.clone(), polygon, resolved_at: now };
        self.store.keep_cell(&stored).await?;
        let hours = forecast.hours.iter().map(|hour| WeatherHour {
            cell: cell.clone(),
            hour: hour.start,
            kind: Kind::Forecast,
            temp_c: hour.temp_c,
            rain_mm: hour.rain_mm,
            humidity_pct: hour.humidity_pct,
            wind_mps: hour.wind_mps,
            gust_mps: hour.gust_mps,
            sky_pct: hour.sky_pct,
            issued_at,
            fetched_at: now,
        });
        let kept = self.store.keep_hours(&hours.collect::<Vec<_>>()).await?;
        tracing::info!(cell, hours = kept, issued = %issued_at, "forecast kept");
        Ok(true)
    }
}

/// What an address was last known by.
pub fn known(fetch: &Fetch) -> Known {
    let validators =
        Validators { etag: fetch.etag.clone(), last_modified: fetch.last_modified.clone() };
    Known { validators, issued_at: fetch.update_time }
}

/// The regular time, or a little after the answer's own end where that is later.
fn not_before(
    regular: DateTime<Utc>,
    expires_at: Option<DateTime<Utc>>,
    url: &str,
    now: DateTime<Utc>,
) -> DateTime<Utc> {
    let Some(end) = expires_at else { return regular };
    let end = end.min(now + LONGEST_FRESH);
    let number = u32::try_from(end.timestamp().rem_euclid(1 << 31)).unwrap_or_default();
    regular.max(end + cells::jitter(url, number, AFTER_END))
}

fn after_fault(
    fault: &Fault,
    fetch: &Fetch,
    now: DateTime<Utc>,
    regular: DateTime<Utc>,
) -> DateTime<Utc> {
    match fault.verdict {
        Verdict::RetrySoon { after } => {
            let asked = after.and_then(|after| TimeDelta::from_std(after).ok()).unwrap_or_default();
            // Each regular pull has its own tries: an outage that lasted must not cost the first
            // error after it a whole period.
            let tried = usize::try_from(fetch.failures.saturating_sub(1)).unwrap_or_default();
            let Some(wait) = WAITS.get(tried % (WAITS.len() + 1)) else {
                return regular.max(now + asked);
            };
            let third = *wait / 3;
            let wait = *wait - third + cells::jitter(&fetch.url, fetch.failures, third * 2);
            now + wait.max(asked)
        }
        Verdict::Rest { until } => until + cells::jitter(&fetch.url, fetch.failures, AFTER_END),
        Verdict::NextPull
        | Verdict::ReResolve
        | Verdict::NotCovered
        | Verdict::Blocked
        | Verdict::Broken => regular,
    }
}
