//! Runs every field's season over its journal and weather.

use super::Desk;
use super::forecasts::{Chosen, choose};
use crate::store::WeatherHour;
use crate::weather::source::{SourceName, Spot};
use crate::weather::{days, grid, sources};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::farms::{Farm, Field};
use furrowbell_config::local::local_day;
use furrowbell_engine::cell::Cell;
use furrowbell_engine::journal::Entry;
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::site::Site;
use furrowbell_engine::units::{Celsius, Latitude, Metres, MetresPerSecond, Millimetres, Percent};
use furrowbell_engine::weather::{Day, Hour, Kind, Weather};
use std::collections::{HashMap, HashSet};
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

/// How far back weather is read: longer than a season's first pass lies behind its last clock.
const SEASON: TimeDelta = TimeDelta::days(200);
/// How far ahead.
const AHEAD: TimeDelta = TimeDelta::days(20);

/// The forecast of one cell in one zone.
#[derive(Debug, Clone, Default)]
struct Forecast {
    days: Vec<Day>,
    /// Those that have not begun yet.
    hours: Vec<Hour>,
    issued: Option<DateTime<Utc>>,
    source: Option<SourceName>,
}

impl Desk {
    /// Every field that has a plan, advanced to now.
    pub async fn advance(&self, now: DateTime<Utc>) -> anyhow::Result<Vec<FieldNow<'_>>> {
        let mut journal: HashMap<String, Vec<Entry>> = HashMap::new();
        for record in self.store.journal().await? {
            let entry = Entry { date: record.happened_on, event: record.event };
            journal.entry(record.field).or_default().push(entry);
        }
        let mut forecasts = Forecasts::of(self).await?;
        let mut last = None;
        let mut fields = Vec::new();
        for farm in &self.book.farms {
            for field in self.book.fields_of(farm) {
                let Some(plan) = &field.plan else { continue };
                let today = local_day(now, farm.zone);
                let mut entries = field.entries();
                entries.extend(journal.remove(&field.id).unwrap_or_default());
                let forecast = forecasts.get(field, farm.zone, now).await?;
                let mut days = forecast.days;
                if let Some(files) = &self.weather.files {
                    days = sources::merge(days, files.days(farm, field, today));
                }
                let years = self.past.years(farm, field);
                let own = years.as_deref().and_then(|past| self.past.normal(field, plan, past));
                let place = Place::reached(&mut last, &field.site, days, years);
                let season = season::run(&Input {
                    site: &field.site,
                    plan,
                    journal: &entries,
                    cell: &place.cell,
                    normal: own.as_deref(),
                    hours: &forecast.hours,
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
                    forecast_issued: forecast.issued,
                    forecast_from: forecast.source,
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

/// The cells' forecasts, each read and put into days once a round.
struct Forecasts<'a> {
    desk: &'a Desk,
    cell_of: HashMap<String, String>,
    stored: HashSet<String>,
    read: HashMap<(Vec<(SourceName, String)>, Tz), Forecast>,
}

impl<'a> Forecasts<'a> {
    async fn of(desk: &'a Desk) -> anyhow::Result<Self> {
        let places = desk.store.field_cells().await?;
        let cell_of = places.into_iter().map(|place| (place.field, place.cell)).collect();
        let stored = desk.store.cells().await?.into_iter().map(|cell| cell.id).collect();
        Ok(Self { desk, cell_of, stored, read: HashMap::new() })
    }

    /// The field's cells that hold a forecast, the better source first.
    fn cells(&self, field: &Field) -> Vec<(SourceName, String)> {
        let spot = Spot::of(field.site.latitude, field.site.longitude);
        let stand_ins = [SourceName::MetNorway, SourceName::OpenMeteo];
        let grid = self.cell_of.get(&field.id).map(|cell| (SourceName::Nws, cell.clone()));
        let stand_ins = stand_ins.map(|source| (source, spot.cell(source)));
        let all = grid.into_iter().chain(stand_ins);
        all.filter(|(_, cell)| self.stored.contains(cell)).collect()
    }

    async fn get(
        &mut self,
        field: &Field,
        zone: Tz,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Forecast> {
        let key = (self.cells(field), zone);
        if let Some(forecast) = self.read.get(&key) {
            return Ok(forecast.clone());
        }
        let mut sources = Vec::new();
        for (source, cell) in &key.0 {
            let rows = self.desk.store.hours(cell, now - SEASON, now + AHEAD).await?;
            sources.push((*source, rows));
        }
        let Chosen { hours: rows, source, issued } = choose(sources, now);
        let hours: Vec<_> = rows.iter().map(hour).collect();
        let ahead = rows.iter().filter(|row| row.hour >= now);
        let forecast = Forecast {
            days: days::assemble(&hours, zone, Kind::Forecast),
            hours: ahead.map(|row| local_hour(row, zone)).collect(),
            issued,
            source,
        };
        self.read.insert(key, forecast.clone());
        Ok(forecast)
    }
}

fn hour(row: &WeatherHour) -> grid::Hour {
    grid::Hour {
        temp_c: row.temp_c,
        rain_mm: row.rain_mm,
        humidity_pct: row.humidity_pct,
        wind_mps: row.wind_mps,
        gust_mps: row.gust_mps,
        sky_pct: row.sky_pct,
        start: row.hour,
        ..grid::Hour::default()
    }
}

/// The hour on the farm's own clock. A value outside its range is not believed: it stays unknown.
fn local_hour(row: &WeatherHour, zone: Tz) -> Hour {
    let wind = |speed: Option<f64>| speed.and_then(|speed| MetresPerSecond::new(speed).ok());
    let share = |share: Option<f64>| share.and_then(|share| Percent::new(share).ok());
    Hour {
        start: row.hour.with_timezone(&zone).fixed_offset(),
        temperature: row.temp_c.and_then(|degrees| Celsius::new(degrees).ok()),
        humidity: share(row.humidity_pct),
        wind: wind(row.wind_mps),
        gust: wind(row.gust_mps),
        cloud: share(row.sky_pct),
        rain: row.rain_mm.and_then(|depth| Millimetres::new(depth).ok()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_hour_is_put_on_the_farms_own_clock_and_what_cannot_be_stays_unknown() {
        let moment: DateTime<Utc> = "2026-06-10T17:00:00Z".parse().unwrap();
        let row = WeatherHour {
            cell: "cell".to_owned(),
            hour: moment,
            kind: Kind::Forecast,
            temp_c: Some(20.0),
            rain_mm: None,
            humidity_pct: Some(101.0),
            wind_mps: Some(4.4704),
            gust_mps: Some(-1.0),
            sky_pct: Some(20.0),
            issued_at: moment,
            fetched_at: moment,
        };
        let hour = local_hour(&row, chrono_tz::America::Chicago);
        assert_eq!(hour.start.to_rfc3339(), "2026-06-10T12:00:00-05:00");
        assert!((hour.wind.unwrap().mph() - 10.0).abs() < 1e-9);
        assert_eq!((hour.gust, hour.humidity, hour.rain), (None, None, None));
    }
}
