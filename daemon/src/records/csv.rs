//! Records as comma-separated values: RFC 4180, a header, a row for each product.

use super::row::Row;
use serde_json::Value;

/// First letters that make a spreadsheet take a cell for a formula (OWASP, "CSV Injection").
const FORMULA: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// The columns, in order. Each is a key of [`Row`].
const COLUMNS: [&str; 24] = [
    "record",
    "farm",
    "field",
    "date",
    "start",
    "stop",
    "pass",
    "crop",
    "location",
    "acres",
    "spot",
    "product",
    "epa_reg",
    "ingredients",
    "restricted",
    "amount",
    "planned_rate_per_acre",
    "applicator",
    "certification",
    "missing",
    "not_said",
    "due",
    "withdrawn",
    "reported_by",
];

/// The rows with their header, lines ended as RFC 4180 has them.
pub fn write(rows: &[Row]) -> anyhow::Result<String> {
    let mut writer =
        csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for row in rows {
        let row = serde_json::to_value(row)?;
        writer.write_record(COLUMNS.map(|column| cell(&row[column])))?;
    }
    Ok(String::from_utf8(writer.into_inner()?)?)
}

/// A cell that no spreadsheet takes for a formula: an apostrophe marks it as text.
fn cell(value: &Value) -> String {
    let text = match value {
        Value::Null => String::new(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    if text.starts_with(FORMULA) { format!("'{text}") } else { text }
}

#[cfg(test)]
mod tests;
