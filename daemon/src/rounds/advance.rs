//! Runs every field's season over its journal and weather.

use super::Desk;
use super::timing::local_day;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use furrowbell_config::farms::{Farm, Field};
use furrowbell_engine::journal::Entry;
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::weather::Weather;
use std::collections::HashMap;

/// One field as of now.
#[derive(Debug)]
pub struct FieldNow<'a> {
    /// Its farm.
    pub farm: &'a Farm,
    /// The field.
    pub field: &'a Field,
    /// The local day.
    pub today: NaiveDate,
    /// Its season so far, with what it shows today.
    pub season: Season,
    /// When the forecast it rests on was issued.
    pub forecast_issued: Option<DateTime<Utc>>,
}

/// How far back weather is read: longer than any season's first pass lies behind its last clock.
const SEASON_DAYS: i64 = 200;

impl Desk {
    /// Every field that has a plan, advanced to now.
    pub async fn advance(&self, now: DateTime<Utc>) -> anyhow::Result<Vec<FieldNow<'_>>> {
        let mut journal: HashMap<String, Vec<Entry>> = HashMap::new();
        for record in self.store.journal().await? {
            journal.entry(record.field).or_default().push(record.entry);
        }
        let mut fields = Vec::new();
        for farm in &self.book.farms {
            for field in self.book.fields_of(&farm.id) {
                let Some(plan) = &field.plan else { continue };
                let today = local_day(now, farm.zone);
                let mut entries = field.entries();
                entries.extend(journal.remove(&field.id).unwrap_or_default());
                let (weather, forecast_issued) = self.weather_of(farm, field, now).await?;
                let season = season::run(&Input {
                    site: &field.site,
                    plan,
                    journal: &entries,
                    weather: &weather,
                    thresholds: &field.thresholds,
                    today,
                });
                fields.push(FieldNow { farm, field, today, season, forecast_issued });
            }
        }
        Ok(fields)
    }

    /// What is known and expected for a field: files first, the forecast grid for the rest.
    async fn weather_of(
        &self,
        farm: &Farm,
        field: &Field,
        now: DateTime<Utc>,
    ) -> anyhow::Result<(Weather, Option<DateTime<Utc>>)> {
        let today = local_day(now, farm.zone);
        let (mut days, mut issued) = (Vec::new(), None);
        if self.weather.nws.is_some() {
            let from = now - TimeDelta::days(SEASON_DAYS);
            let hours = self.store.hours_of_field(&field.id, from).await?;
            issued = hours.iter().map(|hour| hour.issued_at).max();
            days = crate::weather::days::assemble(&hours, farm.zone);
        }
        if let Some(files) = &self.weather.files {
            days = crate::weather::days::overlay(days, files.days(farm, field, today));
        }
        Ok((Weather::new(days), issued))
    }
}
