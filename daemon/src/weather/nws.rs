//! The forecast grid of the US National Weather Service (api.weather.gov).
//!
//! Source of the rules kept here: National Weather Service, API documentation, "General FAQs" and
//! "Gridpoints": at most four decimals in a place, a User-Agent with a contact, conditional
//! requests, no unknown query parameters.

use super::alerts;
use super::body::{Read, Reader, Request, Unreadable};
use super::cells::Cell;
use super::fault::Fault;
use super::grid::{Grid, GridFault};
use super::source::{
    Answer, Area, Forecast, Known, Payload, Pulling, Source, SourceName, Validators,
};
use chrono_tz::Tz;
use furrowbell_engine::units::{Latitude, Longitude};
use serde::Deserialize;

/// The one representation asked for; answers are cached by it, so it never varies.
const GEO_JSON: &str = "application/geo+json";

/// Where a place lies in the grid. May change without notice; to be asked anew each week, when the
/// cell is gone, and when the cell's outline does not hold the place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resolved {
    /// The cell.
    pub cell: Cell,
    /// Time zone of the place, when named and known.
    pub zone: Option<Tz>,
    /// Zones by which it is warned, as in `county/NEC155`.
    pub warned_by: Vec<String>,
}

/// The service. Clones share the limits of one host.
#[derive(Debug, Clone)]
pub struct Nws {
    reader: Reader,
}

#[derive(Deserialize)]
struct Point {
    properties: PointProperties,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct PointProperties {
    grid_id: String,
    grid_x: Index,
    grid_y: Index,
    #[serde(default)]
    time_zone: Option<String>,
    #[serde(default)]
    forecast_zone: Option<String>,
    #[serde(default)]
    county: Option<String>,
    #[serde(default)]
    fire_weather_zone: Option<String>,
}

/// The service has sent grid indices both as numbers and as texts.
#[derive(Deserialize)]
#[serde(untagged)]
enum Index {
    Number(u32),
    Text(String),
}

impl Index {
    fn read(&self) -> Option<u32> {
        match self {
            Self::Number(number) => Some(*number),
            Self::Text(text) => text.parse().ok(),
        }
    }
}

impl Nws {
    /// The service behind a reader.
    pub const fn new(reader: Reader) -> Self {
        Self { reader }
    }

    /// The reader of its host.
    pub const fn reader(&self) -> &Reader {
        &self.reader
    }

    /// Asks which cell a place lies in.
    pub async fn resolve(
        &self,
        latitude: Latitude,
        longitude: Longitude,
    ) -> Result<Answer<Resolved>, Fault> {
        let path = format!("/points/{},{}", degrees(latitude.get()), degrees(longitude.get()));
        let unconditional = Validators::default();
        let request = Request { accept: GEO_JSON, ..Request::get(&path, &unconditional) };
        self.reader.ask(request, read_point).await.map_err(Fault::of_place)
    }

    async fn grid(&self, cell: &Cell, known: &Known) -> Result<Answer, Fault> {
        let path = format!("/gridpoints/{cell}");
        let request = Request {
            accept: GEO_JSON,
            office: Some(&cell.office),
            ..Request::get(&path, &known.validators)
        };
        self.reader.ask(request, |body| read_grid(body, cell)).await
    }
}

impl Source for Nws {
    fn name(&self) -> SourceName {
        SourceName::Nws
    }

    fn pull<'a>(&'a self, area: &'a Area, known: &'a Known) -> Pulling<'a> {
        Box::pin(async move {
            match area {
                Area::Cell(cell) => self.grid(cell, known).await,
                _ => Err(Fault::wrong_area(area)),
            }
        })
    }
}

pub(super) fn read_point(body: &[u8]) -> Result<Read<Resolved>, Unreadable> {
    let point: Point = serde_json::from_slice(body)?;
    let properties = point.properties;
    let place = properties.grid_x.read().zip(properties.grid_y.read());
    let cell = place.and_then(|(x, y)| Cell::new(&properties.grid_id, x, y).ok());
    let nowhere = || Unreadable { what: "names no grid cell".to_owned(), cut_short: false };
    let zone = properties.time_zone.and_then(|name| name.parse().ok());
    let zones = [properties.forecast_zone, properties.county, properties.fire_weather_zone];
    let warned_by = zones.iter().flatten().filter_map(|address| alerts::zone(address)).collect();
    let payload = Resolved { cell: cell.ok_or_else(nowhere)?, zone, warned_by };
    Ok(Read { payload, issued_at: None })
}

pub(super) fn read_grid(body: &[u8], cell: &Cell) -> Result<Read<Payload>, Unreadable> {
    let grid = Grid::parse(body)?;
    let forecast = Forecast {
        cell: cell.to_string(),
        outline: grid.polygon,
        hours: grid.hours,
        refused: grid.refused,
    };
    Ok(Read { payload: Payload::Hours(vec![forecast]), issued_at: Some(grid.update_time) })
}

impl From<GridFault> for Unreadable {
    fn from(fault: GridFault) -> Self {
        Self { cut_short: fault.is_cut_short(), what: fault.to_string() }
    }
}

/// A coordinate as the service wants it: four decimals at most, no trailing zeros.
fn degrees(value: f64) -> String {
    let text = format!("{value:.4}");
    match text.trim_end_matches('0').trim_end_matches('.') {
        "-0" => "0".to_owned(),
        short => short.to_owned(),
    }
}

#[cfg(test)]
#[path = "nws_tests.rs"]
mod tests;
