//! Daily weather from CSV files, in three forms told apart by their first line:
//!
//! - own daily rows, with the unit in each column name;
//! - GHCN-Daily, one row an element and day, as published by station;
//! - GHCN-Daily, one row a day with attribute columns, as published for access.
//!
//! A fault names file, line and column. No form is guessed at: a file is read whole or not at all.

mod ghcn;
mod plain;
mod rows;

use chrono::NaiveDate;
use furrowbell_engine::units::{
    Celsius, MegajoulesPerSquareMetre, MetresPerSecond, Millimetres, Percent,
};
use furrowbell_engine::weather::{Day, Kind, Sourced};
pub use rows::CellFault;
use rows::Rows;
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
    const fn unknown(date: NaiveDate) -> Self {
        Self { date, high: None, low: None, rain: None, humidity: None, wind: None, solar: None }
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

/// Reads a file of daily weather; the days come in order, each date once.
pub fn read(path: &Path) -> Result<Vec<FileDay>, FileFault> {
    let text = std::fs::read_to_string(path)
        .map_err(|source| FileFault::Closed { path: path.to_owned(), source })?;
    parse(&text).map_err(|(line, column, fault)| FileFault::Cell {
        path: path.to_owned(),
        line,
        column,
        fault,
    })
}

fn parse(text: &str) -> Result<Vec<FileDay>, (u64, usize, CellFault)> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let rows = Rows::new(text)?;
    if ghcn::is_long(&rows) {
        ghcn::long(&rows)
    } else if ghcn::is_wide(&rows) {
        ghcn::wide(&rows)
    } else {
        plain::read(&rows)
    }
}

#[cfg(test)]
mod tests;
