//! Fields from a CSV or `GeoJSON` file.
//!
//! CSV has the columns `name,latitude,longitude,acres,texture,organic_matter_percent` in any order.
//! `GeoJSON` (RFC 7946) is a `FeatureCollection` of `Polygon` or `MultiPolygon` with the properties
//! `name`, `texture` and `organic_matter_percent`; acres and the middle are computed.

use crate::document::{fault_at, number};
use crate::farm_file::FieldEntry;
use crate::faults::{Fault, Notes};
use crate::geometry::{Polygon, measure};
use crate::structure::Shape;
use serde::Deserialize;
use serde_json::value::RawValue;
use serde_json::{Map, Value};
use std::path::Path;

/// Columns of the CSV form; the first is text, `texture` is a word, the others are numbers.
const COLUMNS: [&str; 6] =
    ["name", "latitude", "longitude", "acres", "texture", "organic_matter_percent"];
/// Properties of the `GeoJSON` form.
const PROPERTIES: [&str; 3] = ["name", "texture", "organic_matter_percent"];

/// One field of the file, with the place it stands at.
#[derive(Debug)]
pub(crate) struct Imported {
    pub(crate) field: FieldEntry,
    /// A fault without words; its place is the field's.
    pub(crate) place: Fault,
}

/// Reads a file of fields; what is wrong goes to the notes.
pub(crate) fn read(file: &Path, shape: &Shape, notes: &mut Notes) -> Vec<Imported> {
    let fields = match file.extension().and_then(|end| end.to_str()) {
        Some("csv") => Source::csv,
        Some("geojson" | "json") => Source::geojson,
        _ => {
            let message = "a file of fields must end in .csv or .geojson".to_owned();
            notes.faults.push(Fault::whole_file(file, message));
            return Vec::new();
        }
    };
    match std::fs::read_to_string(file) {
        Ok(text) => without_repeats(fields(&Source { file, text: &text, shape }, notes), notes),
        Err(error) => {
            notes.faults.push(Fault::whole_file(file, format!("cannot be read: {error}")));
            Vec::new()
        }
    }
}

/// Keeps the first field of each name.
fn without_repeats(fields: Vec<Imported>, notes: &mut Notes) -> Vec<Imported> {
    let mut kept: Vec<Imported> = Vec::new();
    for Imported { field, place } in fields {
        if kept.iter().any(|earlier| earlier.field.name == field.name) {
            let message = format!("name: \"{}\" stands above already", field.name);
            notes.faults.push(Fault { message, ..place });
        } else {
            kept.push(Imported { field, place });
        }
    }
    kept
}

struct Source<'a> {
    file: &'a Path,
    text: &'a str,
    shape: &'a Shape,
}

impl Source<'_> {
    fn fault(&self, offset: usize, message: impl Into<String>) -> Fault {
        fault_at(self.file, self.text, offset, message.into())
    }

    /// Checks one field by the schema of a `[[field]]`.
    fn field(
        &self,
        json: Value,
        offset: usize,
        place: impl Fn(&str) -> usize,
    ) -> Result<Imported, Vec<Fault>> {
        let complaints = self.shape.complaints(&json);
        if !complaints.is_empty() {
            let fault = |complaint: crate::structure::Complaint| {
                self.fault(place(complaint.key()), complaint.message)
            };
            return Err(complaints.into_iter().map(fault).collect());
        }
        serde_json::from_value(json)
            .map(|field| Imported { field, place: self.fault(offset, "") })
            .map_err(|error| vec![self.fault(offset, error.to_string())])
    }

    fn csv(&self, notes: &mut Notes) -> Vec<Imported> {
        let mut reader =
            csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(self.text.as_bytes());
        let header = match reader.headers() {
            Ok(header) => header.clone(),
            Err(error) => {
                notes.faults.push(self.fault(0, csv_error(&error)));
                return Vec::new();
            }
        };
        let missing: Vec<_> = COLUMNS
            .into_iter()
            .filter(|column| !header.iter().any(|name| name == *column))
            .collect();
        let unknown = header.iter().find(|name| !COLUMNS.contains(name));
        if let Some(name) = unknown {
            let message = format!("{name}: unknown column; known are {}", COLUMNS.join(", "));
            notes.faults.push(self.fault(0, message));
        }
        if !missing.is_empty() {
            notes.faults.push(self.fault(0, format!("columns missing: {}", missing.join(", "))));
        }
        if unknown.is_some() || !missing.is_empty() {
            return Vec::new();
        }
        let mut fields = Vec::new();
        for record in reader.records() {
            let row = record.map_err(|error| {
                let offset = error.position().map_or(0, |at| byte(at.byte()));
                vec![self.fault(offset, csv_error(&error))]
            });
            match row.and_then(|row| self.row(&header, &row)) {
                Ok(field) => fields.push(field),
                Err(faults) => notes.faults.extend(faults),
            }
        }
        fields
    }

    fn row(
        &self,
        header: &csv::StringRecord,
        row: &csv::StringRecord,
    ) -> Result<Imported, Vec<Fault>> {
        let start = row.position().map_or(0, |at| byte(at.byte()));
        // The reader counts a record from the end of the one before it.
        let rest = self.text.get(start..).unwrap_or_default();
        let start = start + (rest.len() - rest.trim_start_matches(['\r', '\n']).len());
        let cells = header.iter().zip(row);
        let json: Map<_, _> = cells
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(column, cell)| (column.to_owned(), cell_value(column, cell)))
            .collect();
        let place = |key: &str| {
            let at = header.iter().position(|column| column == key).unwrap_or(0);
            start + cell_offset(self.text.get(start..).unwrap_or_default(), at)
        };
        self.field(Value::Object(json), start, place)
    }

    fn geojson(&self, notes: &mut Notes) -> Vec<Imported> {
        let collection: Collection<'_> = match serde_json::from_str(self.text) {
            Ok(collection) => collection,
            Err(error) => {
                let message = format!("no GeoJSON FeatureCollection: {error}");
                let (line, column) = (error.line().max(1), error.column().max(1));
                notes.faults.push(Fault { file: self.file.to_owned(), line, column, message });
                return Vec::new();
            }
        };
        let mut fields = Vec::new();
        for feature in collection.features {
            // A raw value is a slice of the text it was read from.
            let offset = feature.get().as_ptr().addr() - self.text.as_ptr().addr();
            match self.feature(feature, offset) {
                Ok(field) => fields.push(field),
                Err(faults) => notes.faults.extend(faults),
            }
        }
        fields
    }

    fn feature(&self, raw: &RawValue, offset: usize) -> Result<Imported, Vec<Fault>> {
        let refuse = |message: String| vec![self.fault(offset, message)];
        let feature: Feature = serde_json::from_str(raw.get())
            .map_err(|error| refuse(format!("no GeoJSON Feature with a Polygon: {error}")))?;
        let polygons = match feature.geometry {
            Geometry::Polygon { coordinates } => vec![coordinates],
            Geometry::MultiPolygon { coordinates } => coordinates,
        };
        let polygons: Vec<Polygon> =
            polygons.into_iter().map(|rings| rings.into_iter().map(corners).collect()).collect();
        if !polygons
            .iter()
            .flatten()
            .flatten()
            .all(|[east, north]| (-180.0..=180.0).contains(east) && (-90.0..=90.0).contains(north))
        {
            return Err(refuse(
                "a corner lies off the globe; want longitude, latitude in degrees".to_owned(),
            ));
        }
        let extent =
            measure(&polygons).ok_or_else(|| refuse("the shape encloses nothing".to_owned()))?;
        let mut json: Map<_, _> = feature
            .properties
            .into_iter()
            .filter(|(key, value)| PROPERTIES.contains(&key.as_str()) && !value.is_null())
            .collect();
        json.insert("acres".to_owned(), round(extent.acres, 100.0).into());
        json.insert("latitude".to_owned(), round(extent.latitude, 1e6).into());
        json.insert("longitude".to_owned(), round(extent.longitude, 1e6).into());
        self.field(Value::Object(json), offset, |_| offset)
    }
}

#[derive(Deserialize)]
struct Collection<'a> {
    #[serde(rename = "type")]
    _kind: CollectionKind,
    #[serde(borrow)]
    features: Vec<&'a RawValue>,
}

#[derive(Deserialize)]
enum CollectionKind {
    FeatureCollection,
}

#[derive(Deserialize)]
struct Feature {
    #[serde(rename = "type")]
    _kind: FeatureKind,
    geometry: Geometry,
    #[serde(default)]
    properties: Map<String, Value>,
}

#[derive(Deserialize)]
enum FeatureKind {
    Feature,
}

#[derive(Deserialize)]
#[serde(tag = "type")]
enum Geometry {
    Polygon { coordinates: Vec<Vec<Position>> },
    MultiPolygon { coordinates: Vec<Vec<Vec<Position>>> },
}

/// Longitude, latitude and perhaps a height.
#[derive(Deserialize)]
#[serde(untagged)]
enum Position {
    Flat([f64; 2]),
    High([f64; 3]),
}

fn corners(ring: Vec<Position>) -> Vec<[f64; 2]> {
    let corner = |position| match position {
        Position::Flat(corner) => corner,
        Position::High([east, north, _]) => [east, north],
    };
    ring.into_iter().map(corner).collect()
}

fn round(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}

fn byte(at: u64) -> usize {
    usize::try_from(at).unwrap_or(usize::MAX)
}

fn csv_error(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("{len} cells in this row, want {expected_len} as in the header")
        }
        _ => "no CSV".to_owned(),
    }
}

/// A cell as JSON; a number that cannot be read stays text, for the schema to refuse.
fn cell_value(column: &str, cell: &str) -> Value {
    let is_text = matches!(column, "name" | "texture");
    let number = cell.parse().ok().and_then(number);
    match number {
        Some(number) if !is_text => Value::Number(number),
        _ => Value::from(cell),
    }
}

/// Byte at which the cell of that number starts in a row.
fn cell_offset(row: &str, number: usize) -> usize {
    let mut quoted = false;
    let mut commas = row.bytes().enumerate().filter(|(_, byte)| {
        quoted ^= *byte == b'"';
        *byte == b',' && !quoted
    });
    match number {
        0 => 0,
        _ => commas.nth(number - 1).map_or(0, |(at, _)| at + 1),
    }
}
