//! Years of daily weather of the book's places: its folder `history`, one file a place.
//!
//! A file is plain daily rows in metric units, so it can be read, compared and kept with the book.
//! It is named after a field (`FARM-FIELD.csv`), a farm (`FARM.csv`) or a spot (`LAT,LON.csv`).
//! Nothing here was measured at a field unless the file says so; it is the past of a place, for
//! what is usual there and for back-tests. Days of this season that were imported count as those
//! of a station where it stands.

use super::files::{self, FileDay, FileFault, Reading};
use super::stations::distance_km;
use chrono::{Datelike, Days, NaiveDate};
use furrowbell_config::Book;
use furrowbell_config::farms::{Farm, Field};
use furrowbell_engine::units::{
    Celsius, Latitude, Longitude, MegajoulesPerSquareMetre, MetresPerSecond, Millimetres, Percent,
};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// Farthest that a spot's weather is taken for that of a field, km (common practice, no source).
const NEAR_KM: f64 = 40.0;

/// The folder of a book's history.
#[derive(Debug, Clone)]
pub struct History {
    folder: PathBuf,
}

/// Whose past a file holds.
#[derive(Debug, Clone, Copy)]
pub enum Place<'a> {
    /// One field.
    Field(&'a Field),
    /// Every field of a farm that has none of its own.
    Farm(&'a Farm),
    /// Every field near by that has neither.
    Spot(Latitude, Longitude),
}

impl Place<'_> {
    fn file_name(&self) -> String {
        match self {
            Self::Field(field) => format!("{}.csv", field.id.replace('/', "-")),
            Self::Farm(farm) => format!("{}.csv", farm.id),
            Self::Spot(latitude, longitude) => {
                format!("{:.2},{:.2}.csv", latitude.get(), longitude.get())
            }
        }
    }
}

/// What an import changed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Change {
    /// Days that were not there before.
    pub new_days: usize,
    /// Values of known days that were not there before.
    pub new_values: usize,
    /// Values that were there and are others now.
    pub changed: usize,
}

impl Change {
    /// Both changes as one.
    #[must_use]
    pub const fn and(&self, later: &Self) -> Self {
        Self {
            new_days: self.new_days + later.new_days,
            new_values: self.new_values + later.new_values,
            changed: self.changed + later.changed,
        }
    }
}

impl History {
    /// The history of a book.
    pub fn of(book: &Book) -> Self {
        Self { folder: book.folder.join("history") }
    }

    /// The file of a place, whether it is there or not.
    pub fn path(&self, place: Place<'_>) -> PathBuf {
        self.folder.join(place.file_name())
    }

    /// The days on file of a place; none where there is no file yet.
    pub fn days(&self, place: Place<'_>) -> Result<Vec<FileDay>, FileFault> {
        let path = self.path(place);
        if path.exists() { files::read(&path) } else { Ok(Vec::new()) }
    }

    /// The file that serves a field: its own, else its farm's, else that of the nearest spot.
    pub fn serving(&self, farm: &Farm, field: &Field) -> Option<PathBuf> {
        self.serving_from(farm, field).map(|(_, path)| path)
    }

    /// The same with how far off its station stands, km; a file of the field or the farm stands
    /// there.
    pub fn serving_from(&self, farm: &Farm, field: &Field) -> Option<(f64, PathBuf)> {
        let named = [Place::Field(field), Place::Farm(farm)].map(|place| self.path(place));
        let named = named.into_iter().find(|path| path.is_file());
        named.map(|path| (0.0, path)).or_else(|| self.nearest_spot(field))
    }

    fn nearest_spot(&self, field: &Field) -> Option<(f64, PathBuf)> {
        let site = &field.site;
        let here = (site.latitude.get(), site.longitude.get());
        let mut spots: Vec<(f64, PathBuf)> = std::fs::read_dir(&self.folder)
            .ok()?
            .flatten()
            .filter_map(|entry| Some((distance_km(here, spot(&entry.path())?), entry.path())))
            .filter(|(distance, _)| *distance <= NEAR_KM)
            .collect();
        spots.sort_by(|one, other| one.0.total_cmp(&other.0).then_with(|| one.1.cmp(&other.1)));
        spots.into_iter().next()
    }

    /// Replaces a place's file. A reader sees the old file or the new one, never a part of it.
    pub fn write(&self, place: Place<'_>, days: &[FileDay]) -> std::io::Result<()> {
        std::fs::create_dir_all(&self.folder)?;
        let mut file = tempfile::NamedTempFile::new_in(&self.folder)?;
        file.write_all(rows(days).as_bytes())?;
        file.as_file().sync_all()?;
        file.persist(self.path(place))?;
        Ok(())
    }
}

/// The coordinates in a spot's file name.
fn spot(path: &Path) -> Option<(f64, f64)> {
    let name = path.file_name()?.to_str()?.strip_suffix(".csv")?;
    let (latitude, longitude) = name.split_once(',')?;
    Some((latitude.parse().ok()?, longitude.parse().ok()?))
}

/// Gives what a morning observer read to the days it belongs to: 24 hours that end about 7 a.m. lie
/// mostly in the day before, so rain, high, humidity, wind and sun go there; the low is that of the
/// morning itself.
pub fn of_a_morning_observer(read: &[FileDay]) -> Vec<FileDay> {
    let mut days = BTreeMap::new();
    for day in read {
        let before = day.date - Days::new(1);
        let low = FileDay { low: day.low, ..FileDay::unknown(day.date) };
        lay_over(&mut days, &low, &mut Change::default());
        let rest = FileDay { date: before, low: None, ..*day };
        lay_over(&mut days, &rest, &mut Change::default());
    }
    // Days whose high of the evening lies below the low of the next morning's reading have one too
    // many.
    days.into_values()
        .map(|day| if day.crossed().is_err() { FileDay { low: None, ..day } } else { day })
        .collect()
}

/// Lays imported days over those on file. What an import does not know stays as it was; what it
/// knows otherwise stands.
pub fn merge(on_file: &[FileDay], imported: &[FileDay]) -> (Vec<FileDay>, Change) {
    let mut days: BTreeMap<NaiveDate, FileDay> =
        on_file.iter().map(|day| (day.date, *day)).collect();
    let mut change = Change::default();
    for day in imported {
        lay_over(&mut days, &rounded(day), &mut change);
    }
    (days.into_values().collect(), change)
}

fn lay_over(days: &mut BTreeMap<NaiveDate, FileDay>, day: &FileDay, change: &mut Change) {
    if !day.says_something() {
        return;
    }
    let Some(known) = days.get_mut(&day.date) else {
        change.new_days += 1;
        days.insert(day.date, *day);
        return;
    };
    let mut one = |added: bool, changed: bool| {
        change.new_values += usize::from(added);
        change.changed += usize::from(changed);
    };
    macro_rules! lay {
        ($($value:ident),+) => {$(
            one(
                known.$value.is_none() && day.$value.is_some(),
                known.$value.is_some() && day.$value.is_some() && known.$value != day.$value,
            );
            known.$value = day.$value.or(known.$value);
        )+};
    }
    lay!(high, low, rain, humidity, wind, solar);
}

/// To thousandths of its unit, which is what the file keeps: finer than any instrument.
fn rounded(day: &FileDay) -> FileDay {
    fn to<T>(value: Option<f64>, make: impl Fn(f64) -> Option<T>) -> Option<T> {
        value.and_then(|value| make((value * 1000.0).round() / 1000.0))
    }
    FileDay {
        date: day.date,
        high: to(day.high.map(Celsius::get), |value| Celsius::new(value).ok()),
        low: to(day.low.map(Celsius::get), |value| Celsius::new(value).ok()),
        rain: to(day.rain.map(Millimetres::get), |value| Millimetres::new(value).ok()),
        humidity: to(day.humidity.map(Percent::get), |value| Percent::new(value).ok()),
        wind: to(day.wind.map(MetresPerSecond::get), |value| MetresPerSecond::new(value).ok()),
        solar: to(day.solar.map(MegajoulesPerSquareMetre::get), |value| {
            MegajoulesPerSquareMetre::new(value).ok()
        }),
    }
}

fn rows(days: &[FileDay]) -> String {
    let mut text = "date,high_c,low_c,rain_mm,rh_mean_pct,wind_mps,solar_mj_m2\n".to_owned();
    for day in days {
        let values = [
            day.high.map(Celsius::get),
            day.low.map(Celsius::get),
            day.rain.map(Millimetres::get),
            day.humidity.map(Percent::get),
            day.wind.map(MetresPerSecond::get),
            day.solar.map(MegajoulesPerSquareMetre::get),
        ];
        let cells = values.map(|value| value.map_or(",".to_owned(), |value| format!(",{value}")));
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{}{}", day.date, cells.concat());
    }
    text
}

/// How well one year is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coverage {
    /// The year.
    pub year: i32,
    /// Days with a high and a low.
    pub temperatures: usize,
    /// Days with rain known, dry days among them.
    pub rains: usize,
}

/// Each year that has a day.
pub fn coverage(days: &[FileDay]) -> Vec<Coverage> {
    let mut years: BTreeMap<i32, Coverage> = BTreeMap::new();
    for day in days {
        let year = day.date.year();
        let one = years.entry(year).or_insert(Coverage { year, temperatures: 0, rains: 0 });
        one.temperatures += usize::from(day.high.is_some() && day.low.is_some());
        one.rains += usize::from(day.rain.is_some());
    }
    years.into_values().collect()
}

/// Runs of dates between the first day and the last of which a high, a low or rain is missing.
pub fn gaps(days: &[FileDay]) -> Vec<(NaiveDate, NaiveDate)> {
    let mut gaps = Vec::new();
    let mut last_whole: Option<NaiveDate> = None;
    for day in days.iter().filter(|day| day.is_whole()) {
        let expected =
            last_whole.map_or(days.first().map(|first| first.date), |last| last.succ_opt());
        if let Some((from, to)) = expected.zip(day.date.pred_opt()).filter(|(from, to)| from <= to)
        {
            gaps.push((from, to));
        }
        last_whole = Some(day.date);
    }
    let end = last_whole.and_then(|last| last.succ_opt()).zip(days.last().map(|last| last.date));
    gaps.extend(end.filter(|(from, to)| from <= to));
    gaps
}

/// The days of a reading, each on the day it belongs to.
pub fn placed(reading: &Reading, morning: bool) -> Vec<FileDay> {
    if morning { of_a_morning_observer(&reading.days) } else { reading.days.clone() }
}

#[cfg(test)]
mod tests;
