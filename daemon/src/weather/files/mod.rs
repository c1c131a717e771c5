//! Daily weather from files, in four forms told apart by their first line:
//!
//! - own daily rows, with the unit in each column name;
//! - GHCN-Daily, one row an element and day, as published by station;
//! - GHCN-Daily, one row a day with attribute columns, as published for access;
//! - GHCN-Daily, one fixed-width line an element and month (`.dly`).
//!
//! A fault names file, line and column. [`read`] takes a file whole or not at all; [`sift`] takes
//! what is sound and says what it refused.

mod dly;
mod ghcn;
mod plain;
mod rows;

use chrono::NaiveDate;
use furrowbell_engine::units::{
    Celsius, MegajoulesPerSquareMetre, MetresPerSecond, Millimetres, Percent,
};
use furrowbell_engine::weather::{Day, Kind, Sourced};
pub use rows::CellFault;
use rows::{Placed, Rows};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// One day of a file. Each value stands or is missing on its own; how it came to be known is the
/// caller's to say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FileDay {
    /// The calendar day as the file names it. At stations read in the morning most of the rain
    /// fell the day before.
    pub date: NaiveDate,
    /// Highest air temperature.
    pub high: Option<Celsius>,
    /// Lowest air temperature.
    pub low: Option<Celsius>,
    /// Rain over the day; a trace is known and zero.
    pub rain: Option<Millimetres>,
    /// Mean relative humidity.
    pub humidity: Option<Percent>,
    /// Mean wind.
    pub wind: Option<MetresPerSecond>,
    /// Solar radiation sum.
    pub solar: Option<MegajoulesPerSquareMetre>,
}

/// The form a file is in, told by its first line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Own daily rows.
    Plain,
    /// GHCN-Daily, a row an element and day.
    Long,
    /// GHCN-Daily, a row a day.
    Wide,
    /// GHCN-Daily, a line an element and month.
    Dly,
}

impl Form {
    /// The form and its units, for people to read.
    pub const fn described(self) -> &'static str {
        match self {
            Self::Plain => "daily rows, units as the column names say",
            Self::Long => "GHCN-Daily by station, tenths of C, mm and m/s",
            Self::Wide => "GHCN-Daily for access, tenths of C, mm and m/s",
            Self::Dly => "GHCN-Daily .dly, tenths of C, mm and m/s",
        }
    }
}

/// What a file holds, sound or not.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The form it is in.
    pub form: Form,
    /// The sound days in order, each date once.
    pub days: Vec<FileDay>,
    /// Rows under the header; in the `.dly` form, values.
    pub rows: usize,
    /// What was refused: line, column and why.
    pub refused: Vec<(u64, usize, CellFault)>,
    /// Values that failed the source's own checks, by its quality flag. They are not used.
    pub flagged: BTreeMap<String, usize>,
    /// Rain readings whose hour the file gives.
    pub timed: usize,
    /// Those of them that were read before noon: they are mostly the rain of the day before.
    pub morning: usize,
}

impl Reading {
    const fn of(form: Form) -> Self {
        Self {
            form,
            days: Vec::new(),
            rows: 0,
            refused: Vec::new(),
            flagged: BTreeMap::new(),
            timed: 0,
            morning: 0,
        }
    }

    /// Notes the hour (HHMM) at which a rain was read, where the file gives one.
    fn note_hour(&mut self, hour: &str) {
        if let Ok(hour) = hour.parse::<u16>() {
            self.timed += 1;
            self.morning += usize::from((1..1200).contains(&hour));
        }
    }
}

/// A file that was not read.
#[derive(Debug, thiserror::Error)]
pub enum FileFault {
    /// The file is absent, closed to us, or not UTF-8 text.
    #[error("{}: cannot be read", path.display())]
    Closed {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Something in it is not as it must be.
    #[error("{}:{line}:{column}: {fault}", path.display())]
    Cell {
        /// The file.
        path: PathBuf,
        /// Line, from 1.
        line: u64,
        /// Character of the line, from 1.
        column: usize,
        /// What is wrong and what is allowed.
        fault: CellFault,
    },
}

impl FileDay {
    /// A day of which nothing is known.
    pub const fn unknown(date: NaiveDate) -> Self {
        Self { date, high: None, low: None, rain: None, humidity: None, wind: None, solar: None }
    }

    /// Whether its high, its low and its rain are all known.
    pub const fn is_whole(&self) -> bool {
        self.high.is_some() && self.low.is_some() && self.rain.is_some()
    }

    /// Whether anything is known.
    pub const fn says_something(&self) -> bool {
        let air = self.high.is_some() || self.low.is_some() || self.humidity.is_some();
        air || self.rain.is_some() || self.wind.is_some() || self.solar.is_some()
    }

    /// The fault of a high below its low.
    pub(super) fn crossed(&self) -> Result<(), CellFault> {
        match (self.high, self.low) {
            (Some(high), Some(low)) if high < low => {
                Err(CellFault::Crossed { high: high.get(), low: low.get() })
            }
            _ => Ok(()),
        }
    }

    /// The day as the clocks take it, every value of one kind.
    pub fn day(self, kind: Kind) -> Day {
        const fn sourced<T: Copy>(value: Option<T>, kind: Kind) -> Option<Sourced<T>> {
            match value {
                Some(value) => Some(Sourced { value, kind }),
                None => None,
            }
        }
        Day {
            date: self.date,
            high: sourced(self.high, kind),
            low: sourced(self.low, kind),
            rain: sourced(self.rain, kind),
            humidity: sourced(self.humidity, kind),
            wind: sourced(self.wind, kind),
            solar: sourced(self.solar, kind),
        }
    }
}

/// Reads a file of daily weather; the days come in order, each date once. The first fault refuses
/// the whole file.
pub fn read(path: &Path) -> Result<Vec<FileDay>, FileFault> {
    parse(&text_of(path)?).map_err(|placed| at(path, placed))
}

/// Reads what is sound of a file of daily weather, and says what is not. A file whose first line
/// makes no sense is refused whole.
pub fn sift(path: &Path) -> Result<Reading, FileFault> {
    sift_text(&text_of(path)?).map_err(|placed| at(path, placed))
}

fn text_of(path: &Path) -> Result<String, FileFault> {
    std::fs::read_to_string(path)
        .map_err(|source| FileFault::Closed { path: path.to_owned(), source })
}

fn at(path: &Path, (line, column, fault): Placed) -> FileFault {
    FileFault::Cell { path: path.to_owned(), line, column, fault }
}

fn parse(text: &str) -> Result<Vec<FileDay>, Placed> {
    let reading = sift_text(text)?;
    match reading.refused.into_iter().next() {
        Some(first) => Err(first),
        None => Ok(reading.days),
    }
}

pub(super) fn sift_text(text: &str) -> Result<Reading, Placed> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if dly::is_dly(text) {
        return Ok(dly::read(text));
    }
    let rows = Rows::new(text)?;
    if ghcn::is_long(&rows) {
        Ok(ghcn::long(&rows))
    } else if ghcn::is_wide(&rows) {
        ghcn::wide(&rows)
    } else {
        plain::read(&rows)
    }
}

#[cfg(test)]
mod tests;
