//! GHCN-Daily CSV in its two published forms. Temperatures are in tenths of C, rain in tenths of
//! mm, wind in tenths of m/s.
//!
//! Source: Menne, M. J., et al., "Global Historical Climatology Network - Daily (GHCN-Daily),
//! Version 3", NOAA National Centers for Environmental Information, readme.txt section III and
//! readme-by_station.txt. A value with any quality flag has failed a check and is not used;
//! measurement flag P marks "missing presumed zero" and is missing here; T is a trace.

use super::FileDay;
use super::rows::{CellFault, Placed, Row, Rows};
use chrono::NaiveDate;
use furrowbell_engine::units::{Celsius, MetresPerSecond, Millimetres, OutOfRange};
use std::collections::{BTreeMap, BTreeSet};

const ELEMENTS: [&str; 4] = ["TMAX", "TMIN", "PRCP", "AWND"];
const TENTHS: &str = "whole tenths as published, or nothing or -9999 for missing; files in other \
                      units need units in their column names";

/// One measured element of one day.
struct Element<'a> {
    name: &'a str,
    value_at: usize,
    measurement_flag: &'a str,
    quality_flag: &'a str,
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
pub(super) fn long(rows: &Rows<'_>) -> Result<Vec<FileDay>, Placed> {
    let header = usize::from(has_long_header(rows.head()));
    let mut days = BTreeMap::<NaiveDate, FileDay>::new();
    let mut seen = BTreeSet::new();
    let mut station = None;
    for row in rows.all().skip(header) {
        one_station(row, 0, &mut station)?;
        let date = compact_date(row)?;
        let name = row.cell(2);
        if !ELEMENTS.contains(&name) {
            continue;
        }
        if !seen.insert((date, name)) {
            return Err(row.fault(2, CellFault::Again { element: name.to_owned(), date }));
        }
        let day = days.entry(date).or_insert(FileDay::unknown(date));
        let (measurement_flag, quality_flag) = (row.cell(4), row.cell(5));
        put(row, day, &Element { name, value_at: 3, measurement_flag, quality_flag })?;
        row.check_high_and_low(3, day)?;
    }
    Ok(days.into_values().collect())
}

/// Reads the form with a row a day.
pub(super) fn wide(rows: &Rows<'_>) -> Result<Vec<FileDay>, Placed> {
    let head = rows.head();
    let find = |name: &str| head.cells().position(|cell| cell.eq_ignore_ascii_case(name));
    let must = |name| find(name).ok_or_else(|| head.fault(0, CellFault::Absent(name)));
    let (station_at, date_at) = (must("STATION")?, must("DATE")?);
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
    let mut days: Vec<FileDay> = Vec::new();
    let mut station = None;
    for row in rows.all().skip(1) {
        one_station(row, station_at, &mut station)?;
        let mut day = FileDay::unknown(row.date(date_at, "%Y-%m-%d", "YYYY-MM-DD")?);
        for (name, value_at, flags_at) in &columns {
            let mut flags = row.cell(*flags_at).split(',').map(str::trim);
            let measurement_flag = flags.next().unwrap_or_default();
            let quality_flag = flags.next().unwrap_or_default();
            put(
                row,
                &mut day,
                &Element { name, value_at: *value_at, measurement_flag, quality_flag },
            )?;
        }
        row.check(date_at, &day, days.last())?;
        days.push(day);
    }
    Ok(days)
}

fn one_station<'a>(row: Row<'a>, at: usize, first: &mut Option<&'a str>) -> Result<(), Placed> {
    let found = row.cell(at);
    match *first.get_or_insert(found) {
        first if first == found => Ok(()),
        first => {
            let (found, first) = (found.to_owned(), first.to_owned());
            Err(row.fault(at, CellFault::Station { found, first }))
        }
    }
}

fn put(row: Row<'_>, day: &mut FileDay, element: &Element<'_>) -> Result<(), Placed> {
    let text = row.cell(element.value_at);
    if text.is_empty() || !element.quality_flag.is_empty() || element.measurement_flag == "P" {
        return Ok(());
    }
    let tenths: i32 = text.parse().map_err(|_| {
        row.fault(element.value_at, CellFault::Value { found: text.to_owned(), allowed: TENTHS })
    })?;
    if tenths == -9999 {
        return Ok(());
    }
    let value = f64::from(tenths) / 10.0;
    let stored: Result<(), OutOfRange> = match element.name {
        "TMAX" => Celsius::new(value).map(|high| day.high = Some(high)),
        "TMIN" => Celsius::new(value).map(|low| day.low = Some(low)),
        "PRCP" => Millimetres::new(value).map(|rain| day.rain = Some(rain)),
        _ => MetresPerSecond::new(value).map(|wind| day.wind = Some(wind)),
    };
    stored.map_err(|fault| row.fault(element.value_at, fault))
}
