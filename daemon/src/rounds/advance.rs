//! Runs every field's season over its journal and weather.

use super::Desk;
use super::timing::local_day;
use crate::store::{Record, WeatherHour};
use crate::weather::observed_day::ObservedDay;
use crate::weather::pedigree::{Candidate, Element, Pedigree};
use crate::weather::source::{SourceName, Spot};
use crate::weather::stations::{self, Station};
use crate::weather::{days, grid};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::farms::{Farm, Field};
use furrowbell_engine::cell::Cell;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::site::Site;
use furrowbell_engine::units::{Celsius, Latitude, Metres, MetresPerSecond, Millimetres, Percent};
use furrowbell_engine::weather::{Day, Hour, Kind, Weather};
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
    /// What happened to it, as the book and the journal say.
    pub entries: Vec<Entry>,
    /// Its season so far, with what it shows today.
    pub season: Season,
    /// When the forecast it rests on was issued.
    pub forecast_issued: Option<DateTime<Utc>>,
    /// Where the weather of its days comes from.
    pub pedigree: Pedigree,
}

/// How far back weather is read: longer than a season's first pass lies behind its last clock.
const SEASON: TimeDelta = TimeDelta::days(200);
/// How far ahead.
const AHEAD: TimeDelta = TimeDelta::days(20);

/// Stations that are heard for one field: the nearest, and some that may say otherwise.
const NEAREST: usize = 4;

/// The forecast of one cell in one zone.
#[derive(Debug, Clone, Default)]
struct Forecast {
    days: Vec<Day>,
    /// Those that have not begun yet.
    hours: Vec<Hour>,
    issued: Option<DateTime<Utc>>,
    cell: String,
}

impl Desk {
    /// Every field that has a plan, advanced to now.
    pub async fn advance(&self, now: DateTime<Utc>) -> anyhow::Result<Vec<FieldNow<'_>>> {
        let mut journal: HashMap<String, Vec<Entry>> = HashMap::new();
        let mut gauges: HashMap<String, Vec<(NaiveDate, Candidate)>> = HashMap::new();
        for record in self.store.journal().await? {
            if let Some(told) = gauge(&record) {
                gauges.entry(record.field.clone()).or_default().push((record.happened_on, told));
            }
            let entry = Entry { date: record.happened_on, event: record.event };
            journal.entry(record.field).or_default().push(entry);
        }
        let mut forecasts = Forecasts::of(self).await?;
        let mut observed = Observed::of(self, now).await?;
        let mut last = None;
        let mut fields = Vec::new();
        for farm in &self.book.farms {
            for field in self.book.fields_of(farm) {
                let Some(plan) = &field.plan else { continue };
                let today = local_day(now, farm.zone);
                let mut entries = field.entries();
                entries.extend(journal.remove(&field.id).unwrap_or_default());
                let forecast = forecasts.get(&field.id, farm.zone, now).await?;
                let mut pedigree = Pedigree::default();
                for day in &forecast.days {
                    pedigree.add_day(day, SourceName::Nws, &forecast.cell, forecast.issued);
                }
                observed.tell(&mut pedigree, &field.site, farm.zone).await?;
                if let Some(files) = &self.weather.files {
                    for day in files.days(farm, field, today) {
                        pedigree.add_day(&day, SourceName::Files, &farm.id, None);
                    }
                }
                for (date, told) in gauges.remove(&field.id).unwrap_or_default() {
                    pedigree.add(date, Element::Rain, told);
                }
                let place = Place::reached(&mut last, &field.site, pedigree.best_days());
                let season = season::run(&Input {
                    site: &field.site,
                    plan,
                    journal: &entries,
                    cell: &place.cell,
                    hours: &forecast.hours,
                    labels: &self.book.labels,
                    thresholds: &field.thresholds,
                    today,
                });
                let forecast_issued = forecast.issued;
                fields.push(FieldNow {
                    farm,
                    field,
                    today,
                    entries,
                    season,
                    forecast_issued,
                    pedigree,
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
    cell: Cell,
}

impl Place {
    /// The place kept, unless this field has other weather or lies in another tenth of a degree.
    fn reached<'a>(kept: &'a mut Option<Self>, site: &Site, days: Vec<Day>) -> &'a Self {
        let tenth = (site.latitude.get() * 10.0).round() / 10.0;
        let latitude = Latitude::new(tenth).unwrap_or(site.latitude);
        let elevation = site.elevation;
        let same = kept.take().filter(|place| {
            place.latitude == latitude && place.elevation == elevation && place.days == days
        });
        kept.insert(same.unwrap_or_else(|| {
            let cell = Cell::new(latitude, elevation, &Weather::new(days.clone()));
            Self { latitude, elevation, days, cell }
        }))
    }
}

/// The cells' forecasts, each read and put into days once a round.
struct Forecasts<'a> {
    desk: &'a Desk,
    cell_of: HashMap<String, String>,
    read: HashMap<(String, Tz), Forecast>,
}

impl<'a> Forecasts<'a> {
    async fn of(desk: &'a Desk) -> anyhow::Result<Self> {
        let places = desk.store.field_cells().await?;
        let cell_of = places.into_iter().map(|place| (place.field, place.cell)).collect();
        Ok(Self { desk, cell_of, read: HashMap::new() })
    }

    async fn get(&mut self, field: &str, zone: Tz, now: DateTime<Utc>) -> anyhow::Result<Forecast> {
        let Some(cell) = self.cell_of.get(field) else { return Ok(Forecast::default()) };
        let key = (cell.clone(), zone);
        if let Some(forecast) = self.read.get(&key) {
            return Ok(forecast.clone());
        }
        let rows = self.desk.store.hours(cell, now - SEASON, now + AHEAD).await?;
        let issued = rows.iter().map(|row| row.issued_at).max();
        let hours: Vec<_> = rows.iter().map(hour).collect();
        let ahead = rows.iter().filter(|row| row.hour >= now);
        let forecast = Forecast {
            days: days::assemble(&hours, zone, Kind::Forecast),
            hours: ahead.map(|row| local_hour(row, zone)).collect(),
            issued,
            cell: cell.clone(),
        };
        self.read.insert(key, forecast.clone());
        Ok(forecast)
    }
}

/// The days observed at each place, read once a round.
struct Observed<'a> {
    desk: &'a Desk,
    from: NaiveDate,
    reach_km: f64,
    stations: Vec<Station>,
    read: HashMap<String, Vec<ObservedDay>>,
}

impl<'a> Observed<'a> {
    async fn of(desk: &'a Desk, now: DateTime<Utc>) -> anyhow::Result<Self> {
        let reach_km = desk.book.service.weather.acis.as_ref().map_or(0.0, |acis| acis.reach_km);
        Ok(Self {
            desk,
            from: (now - SEASON).date_naive(),
            reach_km,
            stations: desk.store.stations().await?,
            read: HashMap::new(),
        })
    }

    /// Adds what was observed at the field's spot and at the stations nearest to it.
    async fn tell(&mut self, all: &mut Pedigree, site: &Site, zone: Tz) -> anyhow::Result<()> {
        let spot = Spot::of(site.latitude, site.longitude).id();
        let place = (site.latitude.get(), site.longitude.get());
        let near = stations::within(&self.stations, place, self.reach_km);
        let near = near.into_iter().take(NEAREST);
        let mut places: Vec<_> =
            near.map(|(far, station)| (station.id.clone(), Some(far))).collect();
        places.push((spot, None));
        for (place, distance_km) in places {
            if !self.read.contains_key(&place) {
                let days = self.desk.store.observed(&place, self.from).await?;
                self.read.insert(place.clone(), days);
            }
            for day in self.read.get(&place).into_iter().flatten() {
                all.add_observed(day, distance_km, zone);
            }
        }
        Ok(())
    }
}

/// Rain that somebody read off a gauge.
fn gauge(record: &Record) -> Option<Candidate> {
    let Event::Rain { amount } = &record.event else { return None };
    Some(Candidate {
        value: amount.get(),
        kind: Kind::Gauge,
        source: SourceName::Gauge,
        place: record.by.clone(),
        distance_km: Some(0.0),
        starts_at: None,
        ends_at: None,
        whole_day: true,
        trace: false,
        issued_at: None,
        fetched_at: Some(record.created_at),
    })
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
