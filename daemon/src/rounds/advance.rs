//! Runs every field's season over its journal and weather.

use super::Desk;
use super::field_weather::FieldWeather;
use crate::weather::source::SourceName;
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_config::farms::{Farm, Field};
use furrowbell_config::local::local_day;
use furrowbell_engine::cell::Cell;
use furrowbell_engine::journal::Entry;
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::site::Site;
use furrowbell_engine::units::{Latitude, Metres};
use furrowbell_engine::weather::{Day, Weather};
use std::collections::HashMap;
use std::sync::Arc;

/// One field as of now.
#[derive(Debug)]
pub struct FieldNow<'a> {
    /// Its farm.
    pub farm: &'a Farm,
    /// The field.
    pub field: &'a Field,
    /// The local day.
    pub today: NaiveDate,
    /// What happened to it, as the book and the journal say.
    pub entries: Vec<Entry>,
    /// Its season so far, with what it shows today.
    pub season: Season,
    /// When the forecast it rests on was issued.
    pub forecast_issued: Option<DateTime<Utc>>,
    /// Whose it is; none while every forecast is too old.
    pub forecast_from: Option<SourceName>,
}

impl Desk {
    /// Every field that has a plan, advanced to now.
    pub async fn advance(&self, now: DateTime<Utc>) -> anyhow::Result<Vec<FieldNow<'_>>> {
        let mut journal: HashMap<String, Vec<Entry>> = HashMap::new();
        for record in self.store.journal().await? {
            let entry = Entry { date: record.happened_on, event: record.event };
            journal.entry(record.field).or_default().push(entry);
        }
        let mut weather = FieldWeather::of(self, now).await?;
        let mut last = None;
        let mut fields = Vec::new();
        for farm in &self.book.farms {
            for field in self.book.fields_of(farm) {
                let Some(plan) = &field.plan else { continue };
                let today = local_day(now, farm.zone);
                let mut entries = field.entries();
                entries.extend(journal.remove(&field.id).unwrap_or_default());
                let said = weather.said(farm, field).await?;
                let years = self.past.years(farm, field);
                let own = years.as_deref().and_then(|past| self.past.normal(field, plan, past));
                let place = Place::reached(&mut last, &field.site, said.days.clone(), years);
                let season = season::run(&Input {
                    site: &field.site,
                    plan,
                    journal: &entries,
                    cell: &place.cell,
                    normal: own.as_deref(),
                    hours: &said.hours,
                    labels: &self.book.labels,
                    thresholds: &field.thresholds,
                    today,
                });
                fields.push(FieldNow {
                    farm,
                    field,
                    today,
                    entries,
                    season,
                    forecast_issued: said.issued,
                    forecast_from: said.source,
                });
            }
        }
        Ok(fields)
    }
}

/// The weather of the fields last looked at, prepared: fields side by side in the book mostly share
/// it.
struct Place {
    latitude: Latitude,
    elevation: Option<Metres>,
    days: Vec<Day>,
    years: Option<Arc<Cell>>,
    cell: Cell,
}

impl Place {
    /// The place kept, unless this field has other weather or lies in another tenth of a degree.
    fn reached<'a>(
        kept: &'a mut Option<Self>,
        site: &Site,
        days: Vec<Day>,
        years: Option<Arc<Cell>>,
    ) -> &'a Self {
        let tenth = (site.latitude.get() * 10.0).round() / 10.0;
        let latitude = Latitude::new(tenth).unwrap_or(site.latitude);
        let elevation = site.elevation;
        let same = kept.take().filter(|place| {
            let past = (place.years.as_ref().map(Arc::as_ptr), years.as_ref().map(Arc::as_ptr));
            place.latitude == latitude
                && place.elevation == elevation
                && past.0 == past.1
                && place.days == days
        });
        kept.insert(same.unwrap_or_else(|| {
            let cell = Cell::new(latitude, elevation, &Weather::new(days.clone()));
            let cell = match &years {
                Some(years) => cell.with_past(years),
                None => cell,
            };
            Self { latitude, elevation, days, years, cell }
        }))
    }
}
