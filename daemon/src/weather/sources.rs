//! The book's weather sources, ready to be asked.

use super::files::{self, FileDay, FileFault};
use super::nws;
use chrono::{Days, NaiveDate, TimeDelta};
use furrowbell_config::farms::{Farm, Field};
use furrowbell_engine::weather::{Day, Kind, Sourced};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;

/// Every source that the book names.
#[derive(Debug)]
pub struct Sources {
    /// The forecast grid, with the time between two pulls of one cell.
    pub nws: Option<(nws::Client, TimeDelta)>,
    /// Daily files.
    pub files: Option<Files>,
    /// Sources of observed days and of warnings.
    pub observers: crate::rounds::observe::Observers,
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

    /// The days of a field: a file of its own, else its farm's, else none. Rows before today were
    /// measured at a station; today's and later ones are forecast.
    pub fn days(&self, farm: &Farm, field: &Field, today: NaiveDate) -> Vec<Day> {
        let own = field.id.replace('/', "-");
        let candidates = [own.as_str(), farm.id.as_str()];
        let paths = candidates.map(|name| self.folder.join(format!("{name}.csv")));
        let Some(path) = paths.into_iter().find(|path| path.is_file()) else { return Vec::new() };
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

/// Two sources' days as one: of each value the one that is better known, of two equals the nearer
/// source's.
pub fn merge(far: Vec<Day>, near: Vec<Day>) -> Vec<Day> {
    let mut days: BTreeMap<NaiveDate, Day> = far.into_iter().map(|day| (day.date, day)).collect();
    for near in near {
        let day = days.entry(near.date).or_insert(Day::unknown(near.date));
        day.high = better(day.high, near.high);
        day.low = better(day.low, near.low);
        day.rain = better(day.rain, near.rain);
        day.humidity = better(day.humidity, near.humidity);
        day.wind = better(day.wind, near.wind);
        day.solar = better(day.solar, near.solar);
    }
    days.into_values().collect()
}

fn better<T>(far: Option<Sourced<T>>, near: Option<Sourced<T>>) -> Option<Sourced<T>> {
    match (far, near) {
        (Some(far), Some(near)) => Some(if far.kind < near.kind { far } else { near }),
        (far, near) => near.or(far),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use furrowbell_engine::units::Millimetres;

    fn day(rain: Option<(f64, Kind)>) -> Day {
        let date = NaiveDate::from_ymd_opt(2026, 5, 1).unwrap();
        let rain = rain.map(|(mm, kind)| Sourced { value: Millimetres::new(mm).unwrap(), kind });
        Day { rain, ..Day::unknown(date) }
    }

    #[test]
    fn a_measured_value_beats_a_forecast_and_a_gap_never_wins() {
        let forecast = day(Some((9.0, Kind::Forecast)));
        let measured = day(Some((2.0, Kind::Station)));
        assert_eq!(merge(vec![forecast], vec![measured]), [measured]);
        assert_eq!(merge(vec![measured], vec![forecast]), [measured]);
        assert_eq!(merge(vec![forecast], vec![day(None)]), [forecast]);
        let nearer = day(Some((3.0, Kind::Station)));
        assert_eq!(merge(vec![measured], vec![nearer]), [nearer]);
    }
}
