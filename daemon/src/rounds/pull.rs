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
/// First wait after a failed pull; it doubles up to the pull's own period.
const FIRST_WAIT: TimeDelta = TimeDelta::seconds(30);
/// Hours older than this serve no clock any more.
const HOURS_KEEP: TimeDelta = TimeDelta::days(210);

impl Desk {
    /// Pulls every cell that is due and says when the next one is; `None` without a grid source.
    pub async fn pull(&self) -> anyhow::Result<Option<DateTime<Utc>>> {
        let Some((client, period)) = &self.weather.nws else { return Ok(None) };
        let cells = self.resolve_fields(client).await?;
        let mut next = self.clock.now() + *period;
        let mut oldest = self.clock.now();
        for cell in &cells {
            let fetch = self.pull_cell(client, cell, *period).await?;
            next = next.min(fetch.next_due_at);
            oldest = oldest.min(fetch.fetched_at);
        }
        self.figures.weather_as_of(oldest);
        self.store.prune_hours(self.clock.now() - HOURS_KEEP).await?;
        Ok(Some(next))
    }

    /// Makes sure that every field knows its cell; gives the distinct cells.
    async fn resolve_fields(&self, client: &Client) -> anyhow::Result<BTreeSet<Cell>> {
        let known = self.store.field_cells().await?;
        let known: HashMap<_, _> = known.into_iter().map(|row| (row.field.clone(), row)).collect();
        let outlines = self.outlines().await?;
        let mut cells = BTreeSet::new();
        for field in self.book.fields.iter().filter(|field| field.plan.is_some()) {
            let row = known.get(&field.id);
            let fresh = row.is_some_and(|row| self.still_true(field, row, &outlines));
            let stored = row.and_then(|row| row.cell.parse().ok());
            let cell = match stored {
                Some(cell) if fresh => Some(cell),
                stored => match self.resolve_field(client, field).await? {
                    Some(cell) => Some(cell),
                    None => stored,
                },
            };
            cells.extend(cell);
        }
        Ok(cells)
    }

    async fn outlines(&self) -> anyhow::Result<HashMap<String, Polygon>> {
        let cells = self.store.cells().await?;
        let outlines = cells.into_iter().filter_map(|cell| {
            let polygon = serde_json::from_str(&cell.polygon?).ok()?;
            Some((cell.id, polygon))
        });
        Ok(outlines.collect())
    }

    fn still_true(
        &self,
        field: &Field,
        row: &FieldCell,
        outlines: &HashMap<String, Polygon>,
    ) -> bool {
        let site = &field.site;
        let moved = (row.latitude - site.latitude.get()).abs() > 1e-6
            || (row.longitude - site.longitude.get()).abs() > 1e-6;
        let outside = outlines
            .get(&row.cell)
            .is_some_and(|outline| !outline.contains(site.latitude, site.longitude));
        // A field that the service itself places outside its cell is asked for once a day, not at
        // every pull.
        let keeps = if outside { TimeDelta::days(1) } else { CELL_KEEPS };
        !moved && self.clock.now() - row.resolved_at < keeps
    }

    async fn resolve_field(&self, client: &Client, field: &Field) -> anyhow::Result<Option<Cell>> {
        let site = &field.site;
        let resolved = match client.resolve(site.latitude, site.longitude).await {
            Ok(resolved) => resolved,
            Err(fault) => {
                self.say(&fault, Some(&field.id));
                return Ok(None);
            }
        };
        let now = self.clock.now();
        let id = resolved.cell.to_string();
        let known = self.store.cells().await?.into_iter().find(|cell| cell.id == id);
        if known.is_none() {
            let url = format!("/gridpoints/{id}");
            let cell = StoredCell { id: id.clone(), url, polygon: None, resolved_at: now };
            self.store.keep_cell(&cell).await?;
        }
        let row = FieldCell {
            field: field.id.clone(),
            cell: id,
            latitude: site.latitude.get(),
            longitude: site.longitude.get(),
            resolved_at: now,
        };
        self.store.keep_field_cell(&row).await?;
        Ok(Some(resolved.cell))
    }

    /// Pulls one cell if it is due; gives how that stands.
    async fn pull_cell(
        &self,
        client: &Client,
        cell: &Cell,
        period: TimeDelta,
    ) -> anyhow::Result<Fetch> {
        let url = format!("/gridpoints/{cell}");
        let last = self.store.fetch(&url).await?;
        let now = self.clock.now();
        let mut fetch = last.unwrap_or_else(|| Fetch {
            url,
            etag: None,
            last_modified: None,
            update_time: None,
            fetched_at: now,
            status: None,
            failures: 0,
            last_error: None,
            next_due_at: now,
        });
        if fetch.next_due_at > now {
            return Ok(fetch);
        }
        let validators =
            Validators { etag: fetch.etag.clone(), last_modified: fetch.last_modified.clone() };
        let regular = cells::next_due(cell, period, now);
        match client.grid(cell, &validators).await {
            Ok(pull) => {
                fetch.failures = 0;
                fetch.last_error = None;
                fetch.fetched_at = now;
                fetch.next_due_at = regular;
                if let Pull::Fresh(fresh) = pull {
                    self.keep_grid(cell, &fresh.grid, fetch.update_time, now).await?;
                    fetch.update_time = Some(fresh.grid.update_time);
                    fetch.etag = fresh.validators.etag;
                    fetch.last_modified = fresh.validators.last_modified;
                }
            }
            Err(fault) => {
                self.say(&fault, None);
                if fault.verdict == Verdict::ReResolve {
                    self.store.forget_places_in(&cell.to_string()).await?;
                }
                fetch.failures += 1;
                fetch.last_error = Some(fault.to_string());
                fetch.next_due_at = after_fault(&fault, fetch.failures, now, regular);
            }
        }
        self.store.keep_fetch(&fetch).await?;
        Ok(fetch)
    }

    /// Keeps a grid unless it is older than the one on record: caches have been seen to step back.
    async fn keep_grid(
        &self,
        cell: &Cell,
        grid: &Grid,
        newest: Option<DateTime<Utc>>,
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        let id = cell.to_string();
        if newest.is_some_and(|newest| grid.update_time < newest) {
            tracing::warn!(cell = id, issued = %grid.update_time, "an older grid came; the newer one stays");
            return Ok(());
        }
        for refused in &grid.refused {
            tracing::warn!(cell = id, layer = ?refused.layer, reason = %refused.reason, "layer refused");
        }
        let polygon = grid.polygon.as_ref().map(serde_json::to_string).transpose();
        let polygon = polygon.context("an outline cannot be written as JSON")?;
        let url = format!("/gridpoints/{id}");
        let stored = StoredCell { id: id.clone(), url, polygon, resolved_at: now };
        self.store.keep_cell(&stored).await?;
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
        let kept = self.store.keep_hours(&hours.collect::<Vec<_>>()).await?;
        tracing::info!(cell = id, hours = kept, issued = %grid.update_time, "forecast kept");
        Ok(())
    }

    fn say(&self, fault: &Fault, field: Option<&str>) {
        tracing::warn!(
            field,
            correlation_id = fault.correlation_id,
            "{fault}; the last good forecast stays in force"
        );
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
        Verdict::NextPull
        | Verdict::ReResolve
        | Verdict::NotCovered
        | Verdict::Blocked
        | Verdict::Broken => regular,
    }
}
