//! The warnings in force at an advisor's fields, for the digest alone: nobody is texted about them.

use super::Desk;
use super::advance::FieldNow;
use super::observe::WARNINGS;
use crate::weather::alerts::Alert;
use crate::wording::digest::WarningLine;
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use std::collections::HashMap;

/// A list of warnings that is older is said to be.
const LATE: TimeDelta = TimeDelta::hours(1);

impl Desk {
    /// What is warned of at some fields, that which keeps people off them first; the same warning
    /// of several counties is told once.
    pub(super) async fn warnings(
        &self,
        own: &[&FieldNow<'_>],
        zone: Tz,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Vec<WarningLine>> {
        if self.book.service.weather.alerts.is_none() {
            return Ok(Vec::new());
        }
        let rows = self.store.field_zones().await?.into_iter();
        let zones: HashMap<_, _> = rows.map(|row| (row.field, row.zones)).collect();
        let mut alerts = self.store.alerts().await?;
        alerts.retain(|alert| alert.is_ahead(now) && alert.is_for_the_digest());
        alerts.sort_by_key(|alert| (!alert.keeps_out_of_the_field(), alert.starts_at));
        let mut lines: Vec<WarningLine> = Vec::new();
        for alert in &alerts {
            let covered = own.iter().filter(|at| {
                let zones = zones.get(&at.field.id).map(Vec::as_slice).unwrap_or_default();
                alert.covers(zones, at.field.site.latitude, at.field.site.longitude)
            });
            for at in covered {
                add(&mut lines, line(alert, zone, now), at);
            }
        }
        Ok(lines)
    }

    /// Whole hours since the warnings were heard, where that is long ago.
    pub(super) async fn warnings_late(&self, now: DateTime<Utc>) -> anyhow::Result<Option<u32>> {
        if self.book.service.weather.alerts.is_none() {
            return Ok(None);
        }
        let heard = self.store.fetch(WARNINGS).await?;
        let age = heard.map(|fetch| now - fetch.fetched_at).filter(|age| *age >= LATE);
        Ok(age.and_then(|age| u32::try_from(age.num_hours()).ok()))
    }
}

fn line(alert: &Alert, zone: Tz, now: DateTime<Utc>) -> WarningLine {
    let local = |at: DateTime<Utc>| at.with_timezone(&zone).naive_local();
    WarningLine {
        event: alert.event.clone(),
        from: (alert.starts_at > now).then(|| local(alert.starts_at)),
        until: alert.ends_at.map(local),
        fields: Vec::new(),
    }
}

fn add(lines: &mut Vec<WarningLine>, mut line: WarningLine, at: &FieldNow<'_>) {
    let field = (at.farm.name.clone(), at.field.name.clone());
    let same = lines.iter_mut().find(|known| {
        (&known.event, known.from, known.until) == (&line.event, line.from, line.until)
    });
    match same {
        Some(known) if known.fields.contains(&field) => {}
        Some(known) => known.fields.push(field),
        None => {
            line.fields.push(field);
            lines.push(line);
        }
    }
}
