//! Sources of weather: their names, the places they are asked for, and what they answer.
//!
//! A source asks once for one area. When to ask, and what to do about a fault, is the caller's to
//! decide; how fast the host may be asked is the [`Reader`](super::body::Reader)'s.

use super::acis::Stations;
use super::alerts::Active;
use super::cells::{Cell, Polygon};
use super::fault::Fault;
use super::grid::{Hour, Refused};
use super::observed_day::ObservedDay;
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_engine::units::{Latitude, Longitude};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::RangeInclusive;
use std::pin::Pin;

/// A source of weather.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceName {
    /// The US National Weather Service.
    Nws,
    /// The Norwegian Meteorological Institute.
    MetNorway,
    /// An Open-Meteo server.
    OpenMeteo,
    /// The Iowa Environmental Mesonet's reanalysis.
    Mesonet,
    /// The Applied Climate Information System's stations.
    Acis,
    /// The book's years of daily weather, as imported.
    History,
    /// Daily files of one's own.
    Files,
    /// A gauge at the field.
    Gauge,
}

impl SourceName {
    /// Those that are asked over the network.
    pub const ASKED: [Self; 5] =
        [Self::Nws, Self::MetNorway, Self::OpenMeteo, Self::Mesonet, Self::Acis];

    /// The name in the book, in the database and in machine-readable answers.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Nws => "nws",
            Self::MetNorway => "met-norway",
            Self::OpenMeteo => "open-meteo",
            Self::Mesonet => "mesonet",
            Self::Acis => "acis",
            Self::History => "history",
            Self::Files => "files",
            Self::Gauge => "gauge",
        }
    }

    /// The source of a cell, by the cell's name: a spot's after its source's, else the grid's.
    pub fn of_cell(cell: &str) -> Self {
        let is_of = |source: &Self| cell.split('/').next() == Some(source.key());
        [Self::MetNorway, Self::OpenMeteo].into_iter().find(is_of).unwrap_or(Self::Nws)
    }

    /// The credit that the licence of the data asks for wherever they are shown.
    pub const fn credit(self) -> Option<&'static str> {
        match self {
            Self::MetNorway => Some("Weather data from MET Norway, CC BY 4.0"),
            Self::OpenMeteo => Some("Weather data by Open-Meteo.com, CC BY 4.0"),
            _ => None,
        }
    }
}

/// The name as people know it.
impl fmt::Display for SourceName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Nws => "National Weather Service",
            Self::MetNorway => "MET Norway",
            Self::OpenMeteo => "Open-Meteo",
            Self::Mesonet => "Iowa Environmental Mesonet",
            Self::Acis => "ACIS stations",
            Self::History => "years on file",
            Self::Files => "daily files",
            Self::Gauge => "gauge at the field",
        })
    }
}

/// A place as sources without named cells are asked for it: about a kilometre across.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Degrees north, two decimals.
    pub latitude: f64,
    /// Degrees east, two decimals.
    pub longitude: f64,
}

impl Spot {
    /// The spot that a place lies in.
    pub fn of(latitude: Latitude, longitude: Longitude) -> Self {
        // Adding zero makes a negative zero positive, so that one place has one name.
        let round = |degrees: f64| (degrees * 100.0).round() / 100.0 + 0.0;
        Self { latitude: round(latitude.get()), longitude: round(longitude.get()) }
    }

    /// Its name, as in `41.21,-96.49`.
    pub fn id(self) -> String {
        self.to_string()
    }

    /// The name of its cell at a source, as in `met-norway/41.21,-96.49`.
    pub fn cell(self, source: SourceName) -> String {
        format!("{}/{self}", source.key())
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2},{:.2}", self.latitude, self.longitude)
    }
}

/// What one request asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum Area {
    /// One cell of the forecast grid.
    Cell(Cell),
    /// Some places, in one request where the source can.
    Spots(Vec<Spot>),
    /// One place on some days.
    Days(Spot, RangeInclusive<NaiveDate>),
    /// All stations in a box, on some days.
    Stations(LandBox, RangeInclusive<NaiveDate>),
    /// Everywhere.
    Country,
}

/// As logged; no more is said of a place than a request says.
impl fmt::Display for Area {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cell(cell) => cell.fmt(f),
            Self::Spots(spots) => write!(f, "{} places", spots.len()),
            Self::Days(spot, days) => write!(f, "{spot} from {} to {}", days.start(), days.end()),
            Self::Stations(_, days) => write!(f, "stations {} to {}", days.start(), days.end()),
            Self::Country => f.write_str("the country"),
        }
    }
}

/// A piece of land, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LandBox {
    /// Western edge.
    pub west: f64,
    /// Southern edge.
    pub south: f64,
    /// Eastern edge.
    pub east: f64,
    /// Northern edge.
    pub north: f64,
}

/// What an answer said of its own age, echoed as it came. Services have been seen to date answers
/// into the future, so these are never read as times.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Validators {
    /// `ETag`.
    pub etag: Option<String>,
    /// `Last-Modified`.
    pub last_modified: Option<String>,
}

/// What is already known of an area.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Known {
    /// Those of the last answer.
    pub validators: Validators,
    /// When the newest answer was issued.
    pub issued_at: Option<DateTime<Utc>>,
}

/// An answer that was read to its end.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer<T = Payload> {
    /// HTTP status.
    pub status: u16,
    /// Size, unpacked.
    pub bytes: usize,
    /// When the source made it, where it says so.
    pub issued_at: Option<DateTime<Utc>>,
    /// To be sent with the next request for the same.
    pub validators: Validators,
    /// Not to be asked for before.
    pub expires_at: Option<DateTime<Utc>>,
    /// The service's name for the request.
    pub correlation_id: Option<String>,
    /// What it holds; `None` when nothing has changed.
    pub payload: Option<T>,
}

impl<T> Answer<T> {
    /// The same answer with its contents put another way.
    pub fn map<U>(self, put: impl FnOnce(T) -> U) -> Answer<U> {
        Answer {
            status: self.status,
            bytes: self.bytes,
            issued_at: self.issued_at,
            validators: self.validators,
            expires_at: self.expires_at,
            correlation_id: self.correlation_id,
            payload: self.payload.map(put),
        }
    }
}

/// What an answer holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Payload {
    /// Forecasts hour by hour.
    Hours(Vec<Forecast>),
    /// Days that are over.
    Days(Vec<ObservedDay>),
    /// Stations, with their days that are over.
    Stations(Stations),
    /// Warnings in force.
    Warnings(Active),
}

/// The forecast of one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The cell: `OAX/59,58`, or a spot's name after its source's.
    pub cell: String,
    /// Outline of the cell, when sent.
    pub outline: Option<Polygon>,
    /// Hours of which something is known, in order; an absent hour is unknown.
    pub hours: Vec<Hour>,
    /// Layers that were not used, with the reason.
    pub refused: Vec<Refused>,
}

/// An answer on its way.
pub type Pulling<'a> = Pin<Box<dyn Future<Output = Result<Answer, Fault>> + Send + 'a>>;

/// A source that is asked over the network.
pub trait Source: fmt::Debug + Send + Sync {
    /// Which.
    fn name(&self) -> SourceName;

    /// Asks once for what has changed in an area. An area of another source's kind is refused.
    fn pull<'a>(&'a self, area: &'a Area, known: &'a Known) -> Pulling<'a>;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(latitude: f64, longitude: f64) -> Spot {
        Spot::of(Latitude::new(latitude).unwrap(), Longitude::new(longitude).unwrap())
    }

    #[test]
    fn places_a_few_hundred_metres_apart_share_a_spot() {
        let id = spot(41.2120, -96.4932).cell(SourceName::MetNorway);
        assert_eq!(id, "met-norway/41.21,-96.49");
        assert_eq!(SourceName::of_cell(&id), SourceName::MetNorway);
        assert_eq!(SourceName::of_cell("OAX/59,58"), SourceName::Nws);
        assert_eq!(spot(41.2149, -96.4851), spot(41.2120, -96.4932));
        assert_eq!(spot(0.001, -0.001).id(), "0.00,0.00");
    }

    #[test]
    fn a_source_is_stored_under_its_key() {
        for name in [SourceName::Nws, SourceName::MetNorway, SourceName::OpenMeteo] {
            assert_eq!(serde_json::to_value(name).unwrap(), name.key());
        }
    }
}
