//! Names of the sources of weather, and the places they are asked for.

use serde::{Deserialize, Serialize};
use std::fmt;

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
    /// GHCN-Daily station files.
    Ghcn,
    /// Daily files of one's own.
    Files,
    /// A gauge at the field.
    Gauge,
}

/// A place as sources without named cells are asked for it: about a kilometre across.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Degrees north, two decimals.
    pub latitude: f64,
    /// Degrees east, two decimals.
    pub longitude: f64,
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2},{:.2}", self.latitude, self.longitude)
    }
}
