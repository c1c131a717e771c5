//! GHCN-Daily as archived by station (`.dly`): fixed columns, an element and month a line.
//!
//! Source: Menne, M. J., et al., "Global Historical Climatology Network - Daily (GHCN-Daily),
//! Version 3", NOAA National Centers for Environmental Information, readme.txt section III: station
//! in columns 1-11, year 12-15, month 16-17, element 18-21, then for each day of the month a value
//! of five characters and its measurement, quality and source flags.

use super::ghcn::{ELEMENTS, Element, MISSING};
use super::rows::{CellFault, Placed};
use super::{FileDay, Form, Reading};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// Characters before the first day.
const HEAD: usize = 21;
/// Characters of one day.
const DAY: usize = 8;
const MONTH: &str = "YYYYMM of a real month";
const REAL_DAY: &str = "-9999 on a day that the month does not have";

/// Whether the first line has the fixed columns.
pub(super) fn is_dly(text: &str) -> bool {
    let line = text.lines().next().unwrap_or_default();
    let digits = |range| {
        let part: Option<&str> = line.get(range);
        part.is_some_and(|part| part.bytes().all(|byte| byte.is_ascii_digit()))
    };
    line.is_ascii() && line.len() >= HEAD + DAY && digits(11..17) && !line.contains(',')
}

/// Reads every line. A value that makes no sense is refused alone, a line with no month or of
/// another station whole.
pub(super) fn read(text: &str) -> Reading {
    let mut reading = Reading::of(Form::Dly);
    let mut days = BTreeMap::<NaiveDate, FileDay>::new();
    let mut seen = BTreeSet::new();
    let mut station = None;
    for (line, number) in text.lines().zip(1..).filter(|(line, _)| !line.trim().is_empty()) {
        match Month::of(line, station) {
            Err((column, fault)) => reading.refused.push((number, column, fault)),
            Ok(month) => {
                station = station.or(Some(month.station));
                if ELEMENTS.contains(&month.element) {
                    month.put(number, &mut days, &mut seen, &mut reading);
                }
            }
        }
    }
    reading.days = days.into_values().collect();
    reading
}

/// One line.
struct Month<'a> {
    line: &'a str,
    station: &'a str,
    first: NaiveDate,
    element: &'a str,
}

impl<'a> Month<'a> {
    fn of(line: &'a str, expected: Option<&str>) -> Result<Self, (usize, CellFault)> {
        let part = |from: usize, to: usize| line.get(from..to).unwrap_or_default();
        let (station, month, element) = (part(0, 11), part(11, 17), part(17, HEAD));
        if let Some(first) = expected.filter(|first| *first != station) {
            let (found, first) = (station.to_owned(), first.to_owned());
            return Err((1, CellFault::Station { found, first }));
        }
        let first = NaiveDate::parse_from_str(&format!("{month}01"), "%Y%m%d");
        let first =
            first.map_err(|_| (12, CellFault::Date { found: month.to_owned(), allowed: MONTH }))?;
        Ok(Self { line, station, first, element })
    }

    fn put(
        &self,
        number: u64,
        days: &mut BTreeMap<NaiveDate, FileDay>,
        seen: &mut BTreeSet<(NaiveDate, String)>,
        reading: &mut Reading,
    ) {
        for (of_month, start) in (0..31).zip((HEAD..).step_by(DAY)) {
            let Some(text) = self.line.get(start..start + 5).map(str::trim) else { break };
            if text.parse() == Ok(MISSING) {
                continue;
            }
            reading.rows += 1;
            let flag = |at| self.line.get(at..at + 1).unwrap_or_default().trim();
            let element = Element {
                name: self.element,
                text,
                measurement_flag: flag(start + 5),
                quality_flag: flag(start + 6),
            };
            let put = self.day(of_month).and_then(|date| {
                if !seen.insert((date, self.element.to_owned())) {
                    return Err(CellFault::Again { element: self.element.to_owned(), date });
                }
                let mut day = days.get(&date).copied().unwrap_or(FileDay::unknown(date));
                element.put(&mut day, &mut reading.flagged)?;
                days.insert(date, day);
                Ok(())
            });
            let placed: Result<(), Placed> = put.map_err(|fault| (number, start + 1, fault));
            reading.refused.extend(placed.err());
        }
    }

    /// A day of the month, from 0.
    fn day(&self, of_month: u32) -> Result<NaiveDate, CellFault> {
        use chrono::Datelike;
        self.first.with_day(of_month + 1).ok_or_else(|| {
            let found = format!("{}-{:02}", self.first.format("%Y-%m"), of_month + 1);
            CellFault::Date { found, allowed: REAL_DAY }
        })
    }
}
