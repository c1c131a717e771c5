//! Daily rows with the unit in each column name.

use super::rows::{CellFault, Placed, Row, Rows};
use super::{FileDay, Form, Reading};
use furrowbell_engine::units::{
    Celsius, MegajoulesPerSquareMetre, MetresPerSecond, Millimetres, OutOfRange, Percent,
};

const ISO_DATE: &str = "YYYY-MM-DD";
const NUMBERS: &str = "a number, or nothing, M, NA or -9999 for missing";
const RAIN_NUMBERS: &str = "a number, T for a trace, or nothing, M, NA or -9999 for missing";

/// What a column holds; two columns of one name may not stand in one file.
#[derive(Clone, Copy, PartialEq)]
enum Quantity {
    High,
    Low,
    Rain,
    Humidity,
    Wind,
    Solar,
}

type Put = fn(&mut FileDay, f64) -> Result<(), OutOfRange>;

/// Every column that is read beside `date`.
const COLUMNS: [(&str, Quantity, Put); 15] = [
    ("high_f", Quantity::High, |day, v| put(&mut day.high, Celsius::from_fahrenheit(v))),
    ("high_c", Quantity::High, |day, v| put(&mut day.high, Celsius::new(v))),
    ("tmax_f", Quantity::High, |day, v| put(&mut day.high, Celsius::from_fahrenheit(v))),
    ("tmax_c", Quantity::High, |day, v| put(&mut day.high, Celsius::new(v))),
    ("low_f", Quantity::Low, |day, v| put(&mut day.low, Celsius::from_fahrenheit(v))),
    ("low_c", Quantity::Low, |day, v| put(&mut day.low, Celsius::new(v))),
    ("tmin_f", Quantity::Low, |day, v| put(&mut day.low, Celsius::from_fahrenheit(v))),
    ("tmin_c", Quantity::Low, |day, v| put(&mut day.low, Celsius::new(v))),
    ("rain_in", Quantity::Rain, |day, v| put(&mut day.rain, Millimetres::from_inches(v))),
    ("rain_mm", Quantity::Rain, |day, v| put(&mut day.rain, Millimetres::new(v))),
    ("precip_in", Quantity::Rain, |day, v| put(&mut day.rain, Millimetres::from_inches(v))),
    ("precip_mm", Quantity::Rain, |day, v| put(&mut day.rain, Millimetres::new(v))),
    ("rh_mean_pct", Quantity::Humidity, |day, v| put(&mut day.humidity, Percent::new(v))),
    ("wind_mps", Quantity::Wind, |day, v| put(&mut day.wind, MetresPerSecond::new(v))),
    ("solar_mj_m2", Quantity::Solar, |day, v| {
        put(&mut day.solar, MegajoulesPerSquareMetre::new(v))
    }),
];

fn put<T>(place: &mut Option<T>, value: Result<T, OutOfRange>) -> Result<(), OutOfRange> {
    *place = Some(value?);
    Ok(())
}

/// Reads all rows under the header.
pub(super) fn read(rows: &Rows<'_>) -> Result<Reading, Placed> {
    let (date_at, columns) = header(rows.head())?;
    let mut days: Vec<FileDay> = Vec::new();
    let refused = rows.refused_by(1, |row| {
        let mut day = FileDay::unknown(row.date(date_at, "%Y-%m-%d", ISO_DATE)?);
        for (at, quantity, put) in &columns {
            if let Some(value) = number(row, *at, *quantity)? {
                put(&mut day, value).map_err(|fault| row.fault(*at, fault))?;
            }
        }
        row.check(date_at, &day, days.last())?;
        days.push(day);
        Ok(())
    });
    Ok(Reading { days, refused, rows: rows.count(1), ..Reading::of(Form::Plain) })
}

type Header = (usize, Vec<(usize, Quantity, Put)>);

fn header(head: Row<'_>) -> Result<Header, Placed> {
    let mut date_at = None;
    let mut columns: Vec<(usize, Quantity, Put)> = Vec::new();
    for (at, name) in head.cells().enumerate() {
        let name = name.to_ascii_lowercase();
        if name == "date" && date_at.is_none() {
            date_at = Some(at);
            continue;
        }
        let Some((_, quantity, put)) = COLUMNS.iter().find(|(known, ..)| *known == name) else {
            return Err(head.fault(at, CellFault::Column { found: name, allowed: allowed() }));
        };
        if columns.iter().any(|(_, taken, _)| taken == quantity) {
            return Err(head.fault(at, CellFault::Twice(quantity.name())));
        }
        columns.push((at, *quantity, *put));
    }
    let date_at = date_at.ok_or_else(|| head.fault(0, CellFault::Absent("date")))?;
    if columns.is_empty() {
        return Err(head.fault(0, CellFault::Nothing(allowed())));
    }
    Ok((date_at, columns))
}

fn allowed() -> String {
    COLUMNS.iter().fold("date".to_owned(), |names, (name, ..)| format!("{names}, {name}"))
}

fn number(row: Row<'_>, at: usize, quantity: Quantity) -> Result<Option<f64>, Placed> {
    let rain = quantity == Quantity::Rain;
    match row.cell(at) {
        "" | "M" | "NA" => Ok(None),
        "T" if rain => Ok(Some(0.0)),
        text => match text.parse::<f64>() {
            Ok(-9999.0) => Ok(None),
            Ok(value) if value.is_finite() => Ok(Some(value)),
            _ => {
                let allowed = if rain { RAIN_NUMBERS } else { NUMBERS };
                Err(row.fault(at, CellFault::Value { found: text.to_owned(), allowed }))
            }
        },
    }
}

impl Quantity {
    const fn name(self) -> &'static str {
        match self {
            Self::High => "the high",
            Self::Low => "the low",
            Self::Rain => "rain",
            Self::Humidity => "humidity",
            Self::Wind => "wind",
            Self::Solar => "solar radiation",
        }
    }
}
