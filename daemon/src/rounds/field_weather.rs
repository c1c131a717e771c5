//! All that is said of the weather of the book's fields: forecasts, observed days, daily files.

use super::Desk;
use super::forecasts::{Chosen, choose};
use crate::store::{Record, WeatherHour};
use crate::weather::observed_day::ObservedDay;
use crate::weather::pedigree::{Candidate, Element, Origin, Pedigree, Stand};
use crate::weather::source::{SourceName, Spot};
use crate::weather::stations::{self, Station};
use crate::weather::{days, grid};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::farms::{Farm, Field};
use furrowbell_config::local::local_day;
use furrowbell_engine::journal::Event;
use furrowbell_engine::site::Site;
use furrowbell_engine::units::{Celsius, MetresPerSecond, Millimetres, Percent};
use furrowbell_engine::weather::{Day, Hour, Kind};
use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::PathBuf;
use std::sync::Arc;

/// How far back weather is read: longer than a season's first pass lies behind its last clock.
const SEASON: TimeDelta = TimeDelta::days(200);
/// How far ahead.
const AHEAD: TimeDelta = TimeDelta::days(20);
/// Stations that are heard for one field of its rain, and of its temperatures: the nearest, and some
/// that may say otherwise.
const NEAREST: usize = 4;

/// What is said of one field's weather.
#[derive(Debug)]
pub struct Said {
    /// The best value of every element of its days.
    pub days: Vec<Day>,
    /// The hours ahead.
    pub hours: Vec<Hour>,
    /// When the forecast was issued.
    pub issued: Option<DateTime<Utc>>,
    /// Whose it is; none while every forecast is too old.
    pub source: Option<SourceName>,
}

/// The weather of all fields as of one moment. What fields share is read once.
pub struct FieldWeather<'a> {
    desk: &'a Desk,
    now: DateTime<Utc>,
    forecasts: Forecasts<'a>,
    observed: Observed<'a>,
    said: HashMap<Sources, Arc<Said>>,
}

/// What a field's weather is put together from; fields that share all of it share their weather.
#[derive(PartialEq, Eq, Hash)]
struct Sources {
    cells: Vec<(SourceName, String)>,
    zone: Tz,
    /// Where somebody observes.
    spot: Option<String>,
    file: Option<PathBuf>,
    history: Option<String>,
}

impl Desk {
    /// All that is said of a field's days, its own gauge's readings with it.
    pub async fn pedigree(
        &self,
        farm: &Farm,
        field: &Field,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Pedigree> {
        let (mut all, _) = FieldWeather::of(self, now).await?.heard(farm, field).await?;
        let journal = self.store.journal().await?;
        for record in journal.iter().filter(|record| record.field == field.id) {
            if let Some(told) = gauge(record) {
                all.add(record.happened_on, Element::Rain, told);
            }
        }
        Ok(all)
    }
}

impl<'a> FieldWeather<'a> {
    /// Reads what all fields share.
    pub async fn of(desk: &'a Desk, now: DateTime<Utc>) -> anyhow::Result<Self> {
        let forecasts = Forecasts::of(desk).await?;
        let observed = Observed::of(desk, now).await?;
        Ok(Self { desk, now, forecasts, observed, said: HashMap::new() })
    }

    /// What is said of one field. Its own gauge is left out: the clocks read it from the journal.
    pub async fn said(&mut self, farm: &Farm, field: &Field) -> anyhow::Result<Arc<Said>> {
        let sources = self.sources(farm, field);
        if let Some(said) = self.said.get(&sources) {
            return Ok(Arc::clone(said));
        }
        let (pedigree, forecast) = self.heard(farm, field).await?;
        let Forecast { hours, issued, source, .. } = forecast;
        let said = Arc::new(Said { days: pedigree.best_days(), hours, issued, source });
        self.said.insert(sources, Arc::clone(&said));
        Ok(said)
    }

    fn sources(&self, farm: &Farm, field: &Field) -> Sources {
        let spot = || Spot::of(field.site.latitude, field.site.longitude).id();
        Sources {
            cells: self.forecasts.cells(field),
            zone: farm.zone,
            spot: self.is_observed().then(spot),
            file: self.desk.weather.files.as_ref().and_then(|files| files.path(farm, field)),
            history: self.desk.past.lately(farm, field).map(|lately| lately.name),
        }
    }

    /// Whether the book names anybody who observes; what was kept of others is not heard.
    fn is_observed(&self) -> bool {
        let weather = &self.desk.book.service.weather;
        weather.mesonet.is_some() || weather.acis.is_some()
    }

    async fn heard(&mut self, farm: &Farm, field: &Field) -> anyhow::Result<(Pedigree, Forecast)> {
        let forecast = self.forecasts.get(field, farm.zone, self.now).await?;
        let mut pedigree = Pedigree::default();
        for one in &forecast.days {
            let (source, place, issued_at) = (one.source, one.cell.as_str(), Some(one.issued_at));
            let from = Origin { source, place, distance_km: None, issued_at };
            pedigree.add_day(&one.day, &from);
        }
        if self.is_observed() {
            self.observed.tell(&mut pedigree, &field.site, farm.zone).await?;
        }
        self.tell_files(&mut pedigree, farm, field);
        Ok((pedigree, forecast))
    }

    /// Adds what the book's own files say: those of the season, then the years on file.
    fn tell_files(&self, all: &mut Pedigree, farm: &Farm, field: &Field) {
        let today = local_day(self.now, farm.zone);
        let from = |source, place, distance_km| Origin {
            source,
            place,
            distance_km: Some(distance_km),
            issued_at: None,
        };
        if let Some(files) = &self.desk.weather.files {
            // A file that is named after a farm or a field is the station of that farm.
            for day in files.days(farm, field, today) {
                all.add_day(&day, &from(SourceName::Files, &farm.id, 0.0));
            }
        }
        if let Some(lately) = self.desk.past.lately(farm, field) {
            let days = lately.days.iter().filter(|day| day.date < today);
            for day in days.filter(|day| day.date >= self.observed.from) {
                let from = from(SourceName::History, &lately.name, lately.distance_km);
                all.add_day(&day.day(Kind::Station), &from);
            }
        }
    }
}

/// The forecast of one cell in one zone.
#[derive(Debug, Clone, Default)]
struct Forecast {
    days: Vec<ForecastDay>,
    /// Those that have not begun yet.
    hours: Vec<Hour>,
    issued: Option<DateTime<Utc>>,
    source: Option<SourceName>,
}

/// A day put together from forecast hours, with where most of them come from.
#[derive(Debug, Clone)]
struct ForecastDay {
    day: Day,
    source: SourceName,
    cell: String,
    issued_at: DateTime<Utc>,
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
            days: forecast_days(&rows, days::assemble(&hours, zone, Kind::Forecast), zone),
            hours: ahead.map(|row| local_hour(row, zone)).collect(),
            issued,
            source,
        };
        self.read.insert(key, forecast.clone());
        Ok(forecast)
    }
}

/// Gives each day the cell that most of its hours come from; of two the better source's.
fn forecast_days(rows: &[WeatherHour], days: Vec<Day>, zone: Tz) -> Vec<ForecastDay> {
    let mut cells = HashMap::<NaiveDate, BTreeMap<_, (usize, DateTime<Utc>)>>::new();
    for row in rows {
        let of_day = cells.entry(row.hour.with_timezone(&zone).date_naive()).or_default();
        let key = (SourceName::of_cell(&row.cell), row.cell.as_str());
        let (hours, issued) = of_day.entry(key).or_insert((0, row.issued_at));
        *hours += 1;
        *issued = row.issued_at.max(*issued);
    }
    let told = |day: Day| {
        let of_day = cells.get(&day.date)?.iter().rev();
        let ((source, cell), (_, issued)) = of_day.max_by_key(|(_, (hours, _))| *hours)?;
        Some(ForecastDay { day, source: *source, cell: (*cell).to_owned(), issued_at: *issued })
    };
    days.into_iter().filter_map(told).collect()
}

/// The days observed at each station, read once a round.
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
        let spot = Spot::of(site.latitude, site.longitude);
        let place = (spot.latitude, spot.longitude);
        // Many stations have nothing but a rain gauge, and some fell silent long ago.
        let (mut rains, mut highs) = (0, 0);
        for (distance_km, station) in stations::within(&self.stations, place, self.reach_km) {
            if rains >= NEAREST && highs >= NEAREST {
                break;
            }
            if !self.read.contains_key(&station.id) {
                let days = self.desk.store.observed(&station.id, self.from).await?;
                self.read.insert(station.id.clone(), days);
            }
            let days = self.read.get(&station.id).map(Vec::as_slice).unwrap_or_default();
            let hand_read = station.hand_read;
            for day in days {
                all.add_observed(day, Some(Stand { distance_km, hand_read }), zone);
            }
            rains += usize::from(days.iter().any(|day| day.rain_mm.is_some()));
            highs += usize::from(days.iter().any(|day| day.high_c.is_some()));
        }
        for day in self.desk.store.observed(&spot.id(), self.from).await? {
            all.add_observed(&day, None, zone);
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
        hand_read: true,
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
