//! Recorded measurements that lie outside the repository, and the sums that compare with them.
//!
//! NOAA US Climate Reference Network, daily data 2020, ten Corn Belt stations with soil temperature
//! and moisture under grass; NOAA cooperative station Ames 8 WSW, Iowa; a whole year of central Illinois,
//! 2015 (pyfao56 repository, USDA-ARS). Where a record is absent its checks say so and are skipped.

pub mod illinois;

use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// One line of a record by column name.
pub type Row = BTreeMap<String, String>;

/// Ames 8 WSW, April to August of five years, F and inches.
pub const AMES: &str = "daily/ames_8wsw_ia_apr-aug_2012_2013_2021_2022_2023.csv";
/// Ten stations, the year 2020, metric.
pub const STATIONS: &str = "daily/uscrn_daily_2020_cornbelt_10_stations.csv";

/// Where a record lies, or `None` with a line that says it is skipped.
pub fn find(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data").join(name);
    if path.exists() {
        return Some(path);
    }
    println!("SKIP {name}: the record is not beside this repository");
    None
}

/// All lines of a record.
///
/// # Panics
///
/// When the record is there and cannot be read.
pub fn rows(name: &str) -> Option<Vec<Row>> {
    let mut table = csv::Reader::from_path(find(name)?).expect("the record opens");
    Some(table.deserialize::<Row>().map(|row| row.expect("the record reads")).collect())
}

/// A number of a line; blanks and the marks for missing are `None`.
pub fn number(row: &Row, key: &str) -> Option<f64> {
    row[key].parse().ok().filter(|value| *value > -99.0)
}

/// The reference network's lines from January to June, by station, in order of date.
///
/// # Panics
///
/// When a line has no date.
pub fn stations() -> Option<BTreeMap<String, Vec<(NaiveDate, Row)>>> {
    let mut stations: BTreeMap<String, Vec<(NaiveDate, Row)>> = BTreeMap::new();
    for row in rows(STATIONS)? {
        let date: NaiveDate = row["lst_date"].parse().expect("a date");
        if date.month() <= 6 {
            stations.entry(row["wban"].clone()).or_default().push((date, row));
        }
    }
    Some(stations)
}

/// Holds a number to what was published, within a tolerance.
///
/// # Panics
///
/// When it is further off.
#[track_caller]
pub fn close(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} is not {expected} +- {within}");
}

/// The mean.
#[expect(clippy::cast_precision_loss, reason = "some hundred days")]
pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Root of the mean square.
pub fn root_mean_square(errors: &[f64]) -> f64 {
    mean(&errors.iter().map(|error| error * error).collect::<Vec<_>>()).sqrt()
}

/// The value in the middle; of an even number of values the upper of the two.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Pearson's correlation.
pub fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let (xs, ys): (Vec<f64>, Vec<f64>) = pairs.iter().copied().unzip();
    let (x, y) = (mean(&xs), mean(&ys));
    let sum = |of: fn(f64, f64) -> f64| -> f64 {
        pairs.iter().map(|pair| of(pair.0 - x, pair.1 - y)).sum()
    };
    sum(|x, y| x * y) / (sum(|x, _| x * x) * sum(|_, y| y * y)).sqrt()
}
