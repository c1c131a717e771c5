//! Pulls the forecast grid: each cell once, however many fields lie in it.

use super::Desk;
use crate::store::{Cell as StoredCell, Fetch, FieldCell, WeatherHour};
use crate::weather::cells::{self, Cell, Polygon};
use crate::weather::fault::{Fault, Verdict};
use crate::weather::grid::Grid;
use crate::weather::nws::{Client, Pull, Validators};
use anyhow::Context;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::farms::Field;
use furrowbell_engine::weather::Kind;
use std::collections::{BTreeSet, HashMap};

/// How long a field keeps its cell before it is asked for anew.
const CELL_KEEPS: TimeDelta = TimeDelta::days(7);
/// The same for a field that lies outside its cell's outline, or that the service does not cover.
const ODD_CELL_KEEPS: TimeDelta = TimeDelta::days(1);
/// First wait after a failed pull; it doubles up to the pull's own period.
const FIRST_WAIT: TimeDelta = TimeDelta::seconds(30);
/// So many failures in a row, and the host has a trouble of its own: the rest can wait.
const TROUBLE: u32 = 3;
/// Hours older than this serve no clock any more.
const HOURS_KEEP: TimeDelta = TimeDelta::days(210);

impl Desk {
    /// Pulls every cell that is due and says when the next one is; `None` without a grid source.
    pub async fn pull(&self) -> anyhow::Result<Option<DateTime<Utc>>> {
        let Some((client, period)) = &self.weather.nws else { return Ok(None) };
        let mut round = PullRound::new(self, client, *period);
        round.pull().await?;
        if round.moved {
            // What lay in a cell that is gone would be without a forecast until the next pull.
            round = PullRound::new(self, client, *period);
            round.pull().await?;
        }
        if let Some(oldest) = round.oldest {
            self.figures.weather_as_of(oldest);
        }
        self.store.prune_hours(self.clock.now() - HOURS_KEEP).await?;
        Ok(Some(round.next.max(self.clock.now() + TimeDelta::seconds(1))))
    }
}

/// One pass over all fields and cells.
struct PullRound<'a> {
    desk: &'a Desk,
    client: &'a Client,
    period: TimeDelta,
    /// When something is due again.
    next: DateTime<Utc>,
    /// When the cell that is furthest behind last answered.
    oldest: Option<DateTime<Utc>>,
    /// Failures in a row.
    failures: u32,
    /// Whether a cell was gone.
    moved: bool,
}

impl<'a> PullRound<'a> {
    fn new(desk: &'a Desk, client: &'a Client, period: TimeDelta) -> Self {
        let next = desk.clock.now() + period;
        Self { desk, client, period, next, oldest: None, failures: 0, moved: false }
    }

    async fn pull(&mut self) -> anyhow::Result<()> {
        for cell in self.cells().await? {
            let fetch = self.pull_cell(&cell).await?;
            self.next = self.next.min(fetch.next_due_at);
            self.oldest = self.oldest.into_iter().chain([fetch.fetched_at]).min();
        }
        Ok(())
    }

    /// Makes sure that every field knows its cell; gives the distinct cells.
    async fn cells(&mut self) -> anyhow::Result<BTreeSet<Cell>> {
        let known = self.desk.store.field_cells().await?;
        let known: HashMap<_, _> = known.iter().map(|row| (row.field.as_str(), row)).collect();
        let mut outlines = self.outlines().await?;
        let mut cells = BTreeSet::new();
        for field in self.desk.book.fields.iter().filter(|field| field.plan.is_some()) {
            let row = known.get(field.id.as_str());
            let stored = row.and_then(|row| row.cell.parse().ok());
            let fresh = row.is_some_and(|row| self.still_true(field, row, &outlines));
            let asked = if fresh && stored.is_some() {
                None
            } else {
                self.resolve(field, &mut outlines).await?
            };
            cells.extend(asked.or(stored));
        }
        Ok(cells)
    }

    /// Every stored cell, with its outline where that is known.
    async fn outlines(&self) -> anyhow::Result<HashMap<String, Option<Polygon>>> {
        let cells = self.desk.store.cells().await?;
        let outline = |text: String| serde_json::from_str(&text).ok();
        Ok(cells.into_iter().map(|cell| (cell.id, cell.polygon.and_then(outline))).collect())
    }

    fn still_true(
        &self,
        field: &Field,
        row: &FieldCell,
        outlines: &HashMap<String, Option<Polygon>>,
    ) -> bool {
        let site = &field.site;
        let moved = (row.latitude - site.latitude.get()).abs() > 1e-6
            || (row.longitude - site.longitude.get()).abs() > 1e-6;
        let outline = outlines.get(&row.cell).and_then(Option::as_ref);
        let outside =
            outline.is_some_and(|outline| !outline.contains(site.latitude, site.longitude));
        let keeps = if outside { ODD_CELL_KEEPS } else { CELL_KEEPS };
        !moved && self.desk.clock.now() - row.resolved_at < keeps
    }

    /// Asks for a field's cell, unless the last failure is too near; `None` when none was named.
    async fn resolve(
        &mut self,
        field: &Field,
        outlines: &mut HashMap<String, Option<Polygon>>,
    ) -> anyhow::Result<Option<Cell>> {
        let site = &field.site;
        let url = format!("/points/{:.4},{:.4}", site.latitude.get(), site.longitude.get());
        let mut fetch = self.fetch(url).await?;
        let now = self.desk.clock.now();
        if self.must_wait(&fetch, now) {
            return Ok(None);
        }
        let resolved = match self.client.resolve(site.latitude, site.longitude).await {
            Ok(resolved) => resolved,
            Err(fault) => {
                let uncovered = fault.verdict == Verdict::NotCovered;
                let regular = now + if uncovered { ODD_CELL_KEEPS } else { self.period };
                self.note_fault(&mut fetch, &fault, Some(&field.id), regular).await?;
                return Ok(None);
            }
        };
        let id = resolved.cell.to_string();
        if !outlines.contains_key(&id) {
            let url = format!("/gridpoints/{id}");
            let cell = StoredCell { id: id.clone(), url, polygon: None, resolved_at: now };
            self.desk.store.keep_cell(&cell).await?;
            outlines.insert(id.clone(), None);
        }
        let row = FieldCell {
            field: field.id.clone(),
            cell: id,
            latitude: site.latitude.get(),
            longitude: site.longitude.get(),
            resolved_at: now,
        };
        self.desk.store.keep_field_cell(&row).await?;
        self.note_answer(&mut fetch, now, now).await?;
        Ok(Some(resolved.cell))
    }

    /// Pulls one cell if it is due; gives how that stands.
    async fn pull_cell(&mut self, cell: &Cell) -> anyhow::Result<Fetch> {
        let mut fetch = self.fetch(format!("/gridpoints/{cell}")).await?;
        let now = self.desk.clock.now();
        if self.must_wait(&fetch, now) {
            return Ok(fetch);
        }
        let validators =
            Validators { etag: fetch.etag.clone(), last_modified: fetch.last_modified.clone() };
        let regular = cells::next_due(cell, self.period, now);
        match self.client.grid(cell, &validators).await {
            Ok(pull) => {
                fetch.status = Some(if pull == Pull::NotModified { 304 } else { 200 });
                if let Pull::Fresh(fresh) = pull
                    && self.keep_grid(cell, &fresh.grid, fetch.update_time, now).await?
                {
                    fetch.update_time = Some(fresh.grid.update_time);
                    fetch.etag = fresh.validators.etag;
                    fetch.last_modified = fresh.validators.last_modified;
                }
                self.note_answer(&mut fetch, now, regular).await?;
            }
            Err(fault) => {
                if fault.verdict == Verdict::ReResolve {
                    self.doubt(cell).await?;
                }
                self.note_fault(&mut fetch, &fault, None, regular).await?;
            }
        }
        Ok(fetch)
    }

    /// What is known of an address; one that is new is due at once.
    async fn fetch(&self, url: String) -> anyhow::Result<Fetch> {
        let known = self.desk.store.fetch(&url).await?;
        let now = self.desk.clock.now();
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

    /// Whether an address is not due, or the host is better left alone for now.
    fn must_wait(&mut self, fetch: &Fetch, now: DateTime<Utc>) -> bool {
        if fetch.next_due_at > now {
            self.next = self.next.min(fetch.next_due_at);
            return true;
        }
        let trouble = self.failures >= TROUBLE;
        if trouble {
            self.next = self.next.min(now + FIRST_WAIT);
        }
        trouble
    }

    async fn note_answer(
        &mut self,
        fetch: &mut Fetch,
        now: DateTime<Utc>,
        next_due_at: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        self.failures = 0;
        fetch.failures = 0;
        fetch.last_error = None;
        fetch.fetched_at = now;
        fetch.next_due_at = next_due_at;
        Ok(self.desk.store.keep_fetch(fetch).await?)
    }

    async fn note_fault(
        &mut self,
        fetch: &mut Fetch,
        fault: &Fault,
        field: Option<&str>,
        regular: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        tracing::warn!(
            field,
            correlation_id = fault.correlation_id,
            "{fault}; the last good forecast stays in force"
        );
        let of_the_host = matches!(fault.verdict, Verdict::RetrySoon { .. } | Verdict::Blocked);
        self.failures = if of_the_host { self.failures + 1 } else { 0 };
        let now = self.desk.clock.now();
        fetch.status = fault.what.status();
        fetch.failures = fetch.failures.saturating_add(1);
        fetch.last_error = Some(fault.to_string());
        fetch.next_due_at = after_fault(fault, fetch.failures, now, regular);
        self.next = self.next.min(fetch.next_due_at);
        Ok(self.desk.store.keep_fetch(fetch).await?)
    }

    /// Has every field of a cell that is gone asked for anew. What the cell last said stays in
    /// force until another one is named.
    async fn doubt(&mut self, cell: &Cell) -> anyhow::Result<()> {
        let id = cell.to_string();
        for row in self.desk.store.field_cells().await? {
            if row.cell == id {
                let doubted = FieldCell { resolved_at: DateTime::UNIX_EPOCH, ..row };
                self.desk.store.keep_field_cell(&doubted).await?;
            }
        }
        self.moved = true;
        Ok(())
    }

    /// Keeps a grid unless it is older than the one on record: caches have been seen to step back.
    async fn keep_grid(
        &self,
        cell: &Cell,
        grid: &Grid,
        newest: Option<DateTime<Utc>>,
        now: DateTime<Utc>,
    ) -> anyhow::Result<bool> {
        let id = cell.to_string();
        if newest.is_some_and(|newest| grid.update_time < newest) {
            tracing::warn!(cell = id, issued = %grid.update_time, "an older grid came; the newer one stays");
            return Ok(false);
        }
        for refused in &grid.refused {
            tracing::warn!(cell = id, layer = ?refused.layer, reason = %refused.reason, "layer refused");
        }
        let polygon = grid.polygon.as_ref().map(serde_json::to_string).transpose();
        let polygon = polygon.context("an outline cannot be written as JSON")?;
        let url = format!("/gridpoints/{id}");
        let stored = StoredCell { id: id.clone(), url, polygon, resolved_at: now };
        self.desk.store.keep_cell(&stored).await?;
        let hours = grid.hours.iter().map(|hour| WeatherHour {
            cell: id.clone(),
            hour: hour.start,
            kind: Kind::Forecast,
            temp_c: hour.temp_c,
            rain_mm: hour.rain_mm,
            humidity_pct: hour.humidity_pct,
            wind_mps: hour.wind_mps,
            gust_mps: hour.gust_mps,
            sky_pct: hour.sky_pct,
            issued_at: grid.update_time,
            fetched_at: now,
        });
        let kept = self.desk.store.keep_hours(&hours.collect::<Vec<_>>()).await?;
        tracing::info!(cell = id, hours = kept, issued = %grid.update_time, "forecast kept");
        Ok(true)
    }
}

fn after_fault(
    fault: &Fault,
    failures: u32,
    now: DateTime<Utc>,
    regular: DateTime<Utc>,
) -> DateTime<Utc> {
    match fault.verdict {
        Verdict::RetrySoon { after } => {
            let doubled = FIRST_WAIT * (1 << failures.clamp(1, 10).saturating_sub(1));
            let asked = after.and_then(|after| TimeDelta::from_std(after).ok()).unwrap_or_default();
            (now + doubled).min(regular).max(now + asked)
        }
        Verdict::Rest { until } => until,
        Verdict::NextPull
        | Verdict::ReResolve
        | Verdict::NotCovered
        | Verdict::Blocked
        | Verdict::Broken => regular,
    }
}
