//! Canopy closure: when the leaves of neighbouring rows meet and shade the ground.

use crate::clocks::{DateRange, Stage};
use crate::reference::crops::{self as facts, ClosureAt};
use crate::units::Inches;
use chrono::{Datelike, NaiveDate, TimeDelta};

/// Row widths this close are the same rows, inches.
const SAME_ROWS_IN: f64 = 2.0;

/// When soybean closes its rows, by row width and planting date.
///
/// Between the tabled widths and planting dates the days lie on a line; outside them the nearest
/// counts, but wider rows than the widest go on at the slope of the last two.
///
/// # References
///
/// Casteel, Purdue Univ.: 15 in rows close 50 days after planting by 5 May, 40 after 25 May. Iowa
/// State Univ.: 15 in rows close 15 days before 30 in rows.
pub fn soybean_closes(planted: NaiveDate, row: Inches) -> DateRange {
    let days = soybean_days(planted, row.get());
    let spread = facts::SOYBEAN_CLOSURE_SPREAD_DAYS.value;
    let after = |days: f64| planted + whole_days(days);
    DateRange { earliest: after(days - spread), likely: after(days), latest: after(days + spread) }
}

/// When corn closes its rows, given when it reaches a stage; `None` for rows of which no figure is
/// known, or when a stage is not foreseen.
pub fn corn_closes(
    reaching: impl Fn(Stage) -> Option<DateRange>,
    row: Inches,
) -> Option<DateRange> {
    if (row.get() - facts::CORN_CLOSURE_ROW_IN.value).abs() > SAME_ROWS_IN {
        return None;
    }
    let (first, last) = facts::CORN_CLOSURE_COLLARS;
    let reaching = |collars: u8| reaching(Stage::Vegetative(collars));
    Some(DateRange {
        earliest: reaching(first)?.earliest,
        likely: reaching(u8::midpoint(first, last))?.likely,
        latest: reaching(last)?.latest,
    })
}

fn soybean_days(planted: NaiveDate, row_in: f64) -> f64 {
    let rows = &facts::SOYBEAN_CLOSURE;
    let at = rows.iter().skip(1).position(|row| row_in <= row.row_in).unwrap_or(rows.len() - 2);
    let (narrow, wide) = (&rows[at], &rows[at + 1]);
    let share = (row_in - narrow.row_in).max(0.0) / (wide.row_in - narrow.row_in);
    let late = lateness(planted);
    let days = |row: &ClosureAt| row.early_days + (row.late_days - row.early_days) * late;
    days(narrow) + (days(wide) - days(narrow)) * share
}

/// 0 for a planting by the early date of the table, 1 from its late one on.
fn lateness(planted: NaiveDate) -> f64 {
    let [early, late] =
        facts::SOYBEAN_CLOSURE_PLANTED.map(|(month, day)| day_of_year(planted.year(), month, day));
    ((f64::from(planted.ordinal()) - early) / (late - early)).clamp(0.0, 1.0)
}

fn day_of_year(year: i32, month: u32, day: u32) -> f64 {
    NaiveDate::from_ymd_opt(year, month, day).map_or(0.0, |date| f64::from(date.ordinal()))
}

#[expect(clippy::cast_possible_truncation, reason = "some weeks")]
const fn whole_days(days: f64) -> TimeDelta {
    TimeDelta::days(days.round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, month, day).unwrap()
    }

    proptest! {
        #[test]
        fn narrow_rows_close_first_and_late_beans_close_later(
            after in 0_u64..60, row in 7.0..38.0_f64, wider in 0.0..4.0_f64,
        ) {
            let planted = day(4, 15) + chrono::Days::new(after);
            let at = |planted, row| soybean_closes(planted, Inches::new(row).unwrap());
            let here = at(planted, row);
            prop_assert!(here.earliest < here.likely && here.likely < here.latest);
            prop_assert!(at(planted, row + wider).likely >= here.likely);
            prop_assert!(at(planted + chrono::Days::new(7), row).likely > here.likely);
        }
    }
}
