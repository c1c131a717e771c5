//! The book's weather sources, ready to be asked.

use super::acis::Acis;
use super::alerts::Alerts;
use super::body::Notes;
use super::files::{self, FileDay, FileFault};
use super::mesonet::Mesonet;
use super::met_norway::MetNorway;
use super::nws::Nws;
use super::open_meteo::OpenMeteo;
use chrono::{Days, NaiveDate, TimeDelta};
use furrowbell_config::farms::{Farm, Field};
use furrowbell_config::service;
use furrowbell_engine::weather::{Day, Kind};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;

/// Every source that the book names.
#[derive(Debug, Default)]
pub struct Sources {
    /// The forecast grid.
    pub nws: Option<Pulled<Nws>>,
    /// The first stand-in for it.
    pub met_norway: Option<Pulled<MetNorway>>,
    /// The second.
    pub open_meteo: Option<Pulled<OpenMeteo>>,
    /// What was asked of all of them and is not in the record yet.
    pub notes: Notes,
    /// Days by radar and reanalysis.
    pub mesonet: Option<Observing<Mesonet, service::Mesonet>>,
    /// Days of stations.
    pub acis: Option<Observing<Acis, service::Acis>>,
    /// Warnings in force.
    pub alerts: Option<Pulled<Alerts>>,
    /// Daily files.
    pub files: Option<Files>,
}

impl Sources {
    /// Whether no forecast is asked for over the network.
    pub const fn is_offline(&self) -> bool {
        self.nws.is_none() && self.met_norway.is_none() && self.open_meteo.is_none()
    }
}

/// A source with the time between two pulls of one cell or place.
#[derive(Debug, Clone)]
pub struct Pulled<S> {
    /// The source.
    pub source: S,
    /// That time.
    pub period: TimeDelta,
}

/// A source of days that are over, with what the book says of it.
#[derive(Debug, Clone)]
pub struct Observing<S, T> {
    /// The source.
    pub source: S,
    /// Its settings.
    pub settings: T,
}

/// Daily files in one folder. A changed file is read again; one that has become unreadable leaves
/// the last good days in force.
#[derive(Debug)]
pub struct Files {
    folder: PathBuf,
    forecast_days: Days,
    read: Mutex<HashMap<PathBuf, Kept>>,
}

#[derive(Debug, Clone, Default)]
struct Kept {
    changed: Option<SystemTime>,
    days: Arc<[FileDay]>,
}

impl Files {
    /// Files in `folder`, whose rows past today count as forecast for so many days.
    pub fn new(folder: PathBuf, forecast_days: u32) -> Self {
        Self { folder, forecast_days: Days::new(forecast_days.into()), read: Mutex::default() }
    }

    /// The file of a field: its own, else its farm's, else none.
    pub fn path(&self, farm: &Farm, field: &Field) -> Option<PathBuf> {
        let own = field.id.replace('/', "-");
        let candidates = [own.as_str(), farm.id.as_str()];
        let paths = candidates.map(|name| self.folder.join(format!("{name}.csv")));
        paths.into_iter().find(|path| path.is_file())
    }

    /// The days of a field. Rows before today were measured at a station; today's and later ones
    /// are forecast.
    pub fn days(&self, farm: &Farm, field: &Field, today: NaiveDate) -> Vec<Day> {
        let Some(path) = self.path(farm, field) else { return Vec::new() };
        let horizon = today + self.forecast_days;
        let kept = self.kept(&path);
        let kind = |date| if date < today { Kind::Station } else { Kind::Forecast };
        kept.iter().filter(|day| day.date < horizon).map(|day| day.day(kind(day.date))).collect()
    }

    fn kept(&self, path: &Path) -> Arc<[FileDay]> {
        let changed = path.metadata().and_then(|found| found.modified()).ok();
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        let kept = read.entry(path.to_owned()).or_default();
        if changed.is_none() || kept.changed != changed {
            kept.changed = changed;
            match files::read(path) {
                Ok(days) => kept.days = days.into(),
                Err(error) => {
                    tracing::error!(%error, "a weather file has a fault; its last good days stay in force");
                }
            }
        }
        Arc::clone(&kept.days)
    }

    /// Reads every file of the folder once, to find faults before the service runs.
    pub fn faults(&self) -> Vec<FileFault> {
        self.paths().iter().filter_map(|path| files::read(path).err()).collect()
    }

    /// First and last day on record in any file.
    pub fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        let days = self.paths().into_iter().filter_map(|path| files::read(&path).ok());
        days.filter_map(|days| Some((days.first()?.date, days.last()?.date)))
            .reduce(|(first, last), (from, to)| (first.min(from), last.max(to)))
    }

    fn paths(&self) -> Vec<PathBuf> {
        let Ok(entries) = std::fs::read_dir(&self.folder) else { return Vec::new() };
        let mut paths: Vec<_> = entries.flatten().map(|entry| entry.path()).collect();
        paths.retain(|path| path.extension().is_some_and(|ending| ending == "csv"));
        paths.sort();
        paths
    }
}
