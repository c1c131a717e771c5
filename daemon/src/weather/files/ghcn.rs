//! GHCN-Daily CSV in its two published forms, and what all forms of it share. Temperatures are in tenths of C, rain in tenths of
//! mm, wind in tenths of m/s.
//!
//! Source: Menne, M. J., et al., "Global Historical Climatology Network - Daily (GHCN-Daily),
//! Version 3", NOAA National Centers for Environmental Information, readme.txt section III and
//! readme-by_station.txt. A value with any quality flag has failed a check and is not used;
//! measurement flag P marks "missing presumed zero" and is missing here; T is a trace.

use super::rows::{CellFault, Placed, Row, Rows};
use super::{FileDay, Form, Reading};
use chrono::NaiveDate;
use furrowbell_engine::units::{Celsius, MetresPerSecond, Millimetres, OutOfRange};
use std::collections::{BTreeMap, BTreeSet};

/// The elements that are read.
pub(super) const ELEMENTS: [&str; 4] = ["TMAX", "TMIN", "PRCP", "AWND"];
const TENTHS: &str = "whole tenths as published, or nothing or -9999 for missing; files in other \
                      units need units in their column names";
/// What stands for a missing value.
pub(super) const MISSING: i32 = -9999;

/// One measured element of one day, as published.
pub(super) struct Element<'a> {
    pub name: &'a str,
    pub text: &'a str,
    pub measurement_flag: &'a str,
    pub quality_flag: &'a str,
}

impl Element<'_> {
    /// Lays the value over the day; one that failed a check is counted in `flagged` and not used.
    pub(super) fn put(
        &self,
        day: &mut FileDay,
        flagged: &mut BTreeMap<String, usize>,
    ) -> Result<(), CellFault> {
        if self.text.is_empty() || self.measurement_flag == "P" {
            return Ok(());
        }
        if !self.quality_flag.is_empty() {
            *flagged.entry(self.quality_flag.to_owned()).or_default() += 1;
            return Ok(());
        }
        let tenths: i32 = self.text.parse().map_err(|_| {
            let found = self.text.to_owned();
            CellFault::Value { found, allowed: TENTHS }
        })?;
        if tenths == MISSING {
            return Ok(());
        }
        let value = f64::from(tenths) / 10.0;
        let stored: Result<(), OutOfRange> = match self.name {
            "TMAX" => Celsius::new(value).map(|high| day.high = Some(high)),
            "TMIN" => Celsius::new(value).map(|low| day.low = Some(low)),
            "PRCP" => Millimetres::new(value).map(|rain| day.rain = Some(rain)),
            _ => MetresPerSecond::new(value).map(|wind| day.wind = Some(wind)),
        };
        stored?;
        day.crossed()
    }
}

/// Whether rows are `ID,DATE,ELEMENT,VALUE,...`, with or without that header.
pub(super) fn is_long(rows: &Rows<'_>) -> bool {
    let head = rows.head();
    has_long_header(head) || (head.cell(0).len() == 11 && compact_date(head).is_ok())
}

/// Whether rows are `STATION,DATE,...` with a column an element.
pub(super) fn is_wide(rows: &Rows<'_>) -> bool {
    let named = |wanted| rows.head().cells().any(|name| name.eq_ignore_ascii_case(wanted));
    named("STATION") && named("DATE")
}

fn has_long_header(head: Row<'_>) -> bool {
    ["ID", "DATE", "ELEMENT"].into_iter().eq(head.cells().take(3))
}

fn compact_date(row: Row<'_>) -> Result<NaiveDate, Placed> {
    const ALLOWED: &str = "YYYYMMDD";
    if row.cell(1).len() != ALLOWED.len() {
        return Err(
            row.fault(1, CellFault::Date { found: row.cell(1).to_owned(), allowed: ALLOWED })
        );
    }
    row.date(1, "%Y%m%d", ALLOWED)
}

/// Reads the long form, whose rows come in any order.
pub(super) fn long(rows: &Rows<'_>) -> Reading {
    let header = usize::from(has_long_header(rows.head()));
    let mut reading = Reading { rows: rows.count(header), ..Reading::of(Form::Long) };
    let mut days = BTreeMap::<NaiveDate, FileDay>::new();
    let mut seen = BTreeSet::new();
    let mut station = None;
    let refused = rows.refused_by(header, |row| {
        one_station(row, 0, &mut station)?;
        let date = compact_date(row)?;
        let name = row.cell(2);
        if !ELEMENTS.contains(&name) {
            return Ok(());
        }
        if !seen.insert((date, name.to_owned())) {
            return Err(row.fault(2, CellFault::Again { element: name.to_owned(), date }));
        }
        let text = row.cell(3);
        let (measurement_flag, quality_flag) = (row.cell(4), row.cell(5));
        let element = Element { name, text, measurement_flag, quality_flag };
        let mut day = days.get(&date).copied().unwrap_or(FileDay::unknown(date));
        element.put(&mut day, &mut reading.flagged).map_err(|fault| row.fault(3, fault))?;
        days.insert(date, day);
        if name == "PRCP" {
            reading.note_hour(row.cell(7));
        }
        Ok(())
    });
    Reading { days: days.into_values().collect(), refused, ..reading }
}

/// Reads the form with a row a day.
pub(super) fn wide(rows: &Rows<'_>) -> Result<Reading, Placed> {
    let head = rows.head();
    let find = |name: &str| head.cells().position(|cell| cell.eq_ignore_ascii_case(name));
    let must = |name| find(name).ok_or_else(|| head.fault(0, CellFault::Absent(name)));
    let (station_at, date_at) = (must("STATION")?, must("DATE")?);
    let columns = value_columns(head)?;
    let mut reading = Reading { rows: rows.count(1), ..Reading::of(Form::Wide) };
    let mut days: Vec<FileDay> = Vec::new();
    let mut station = None;
    let refused = rows.refused_by(1, |row| {
        one_station(row, station_at, &mut station)?;
        let mut day = FileDay::unknown(row.date(date_at, "%Y-%m-%d", "YYYY-MM-DD")?);
        for (name, value_at, flags_at) in &columns {
            let mut flags = row.cell(*flags_at).split(',').map(str::trim);
            let mut flag = || flags.next().unwrap_or_default();
            let (measurement_flag, quality_flag, _, hour) = (flag(), flag(), flag(), flag());
            let text = row.cell(*value_at);
            let element = Element { name, text, measurement_flag, quality_flag };
            let put = element.put(&mut day, &mut reading.flagged);
            put.map_err(|fault| row.fault(*value_at, fault))?;
            if *name == "PRCP" {
                reading.note_hour(hour);
            }
        }
        row.check(date_at, &day, days.last())?;
        days.push(day);
        Ok(())
    });
    Ok(Reading { days, refused, ..reading })
}

/// Name of each element that the header has, with the columns of its value and its flags.
fn value_columns(head: Row<'_>) -> Result<Vec<(&'static str, usize, usize)>, Placed> {
    let find = |name: &str| head.cells().position(|cell| cell.eq_ignore_ascii_case(name));
    let mut columns = Vec::new();
    for name in ELEMENTS {
        let Some(value_at) = find(name) else { continue };
        let attributes = format!("{name}_ATTRIBUTES");
        let flags_at = find(&attributes).ok_or_else(|| {
            head.fault(value_at, CellFault::Flagless { element: name, attributes })
        })?;
        columns.push((name, value_at, flags_at));
    }
    if columns.is_empty() {
        return Err(head.fault(0, CellFault::Nothing(ELEMENTS.join(", "))));
    }
    Ok(columns)
}

fn one_station(row: Row<'_>, at: usize, first: &mut Option<String>) -> Result<(), Placed> {
    let found = row.cell(at);
    let first = first.get_or_insert_with(|| found.to_owned());
    if first == found {
        return Ok(());
    }
    let fault = CellFault::Station { found: found.to_owned(), first: first.clone() };
    Err(row.fault(at, fault))
}
