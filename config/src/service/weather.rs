//! Settings of the weather sources: `[weather.*]` of `service.toml`.

use super::{HTTP, SecretSource};
use schemars::JsonSchema;
use serde::Deserialize;
use std::path::PathBuf;

/// Where weather comes from; at least one source.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherSources {
    /// The US National Weather Service's forecast grid.
    pub nws: Option<Nws>,
    /// MET Norway's forecast, for fields whose grid is late.
    pub met_norway: Option<MetNorway>,
    /// A forecast server in the form of Open-Meteo, for fields whose other forecasts are late.
    pub open_meteo: Option<OpenMeteo>,
    /// Daily files.
    pub files: Option<WeatherFiles>,
    /// The Iowa Environmental Mesonet's days: radar rain, temperatures, soil.
    pub mesonet: Option<Mesonet>,
    /// Weather stations, through the Applied Climate Information System.
    pub acis: Option<Acis>,
    /// Warnings of the US National Weather Service, told in the digest.
    pub alerts: Option<Alerts>,
}

/// The Iowa Environmental Mesonet's days, asked for once a day and spot.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Mesonet {
    /// Base address, with http or https.
    #[serde(default = "mesonet_base_url")]
    #[schemars(regex(pattern = HTTP))]
    pub base_url: String,
    /// Hour, UTC, from which yesterday is asked for.
    #[serde(default = "observed_from_hour")]
    #[schemars(range(min = 0, max = 22))]
    pub from_hour_utc: u32,
    /// Days that are filled in when they are missing.
    #[serde(default = "backfill_days")]
    #[schemars(range(min = 5, max = 200))]
    pub backfill_days: u32,
}

/// Weather stations, through the Applied Climate Information System, asked for once a day.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Acis {
    /// Base address, with http or https.
    #[serde(default = "acis_base_url")]
    #[schemars(regex(pattern = HTTP))]
    pub base_url: String,
    /// Hour, UTC, from which yesterday is asked for.
    #[serde(default = "observed_from_hour")]
    #[schemars(range(min = 0, max = 22))]
    pub from_hour_utc: u32,
    /// How far a station may stand from a field, km.
    #[serde(default = "reach_km")]
    #[schemars(range(min = 1.0, max = 80.0))]
    pub reach_km: f64,
}

/// Warnings of the US National Weather Service.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Alerts {
    /// Base address, with http or https.
    #[serde(default = "nws_base_url")]
    #[schemars(regex(pattern = HTTP))]
    pub base_url: String,
    /// Minutes between two polls.
    #[serde(default = "alerts_every_minutes")]
    #[schemars(range(min = 1, max = 60))]
    pub every_minutes: u32,
}

/// The US National Weather Service's forecast grid.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Nws {
    /// Base address, with http or https.
    #[serde(default = "nws_base_url")]
    #[schemars(regex(pattern = HTTP))]
    pub base_url: String,
    /// Minutes between two pulls of one cell.
    #[serde(default = "nws_every_minutes")]
    #[schemars(range(min = 30, max = 720))]
    pub every_minutes: u32,
    /// Most requests a second.
    #[serde(default = "nws_requests_per_s")]
    #[schemars(range(min = 0.1, max = 20.0))]
    pub requests_per_s: f64,
}

/// MET Norway's Locationforecast (CC BY 4.0).
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MetNorway {
    /// Base address up to the version, with http or https.
    #[serde(default = "met_norway_base_url")]
    #[schemars(regex(pattern = HTTP))]
    pub base_url: String,
    /// Minutes between two pulls of one place, unless the service says that it has nothing newer.
    #[serde(default = "met_norway_every_minutes")]
    #[schemars(range(min = 30, max = 720))]
    pub every_minutes: u32,
    /// Most requests a second.
    #[serde(default = "fallback_requests_per_s")]
    #[schemars(range(min = 0.1, max = 20.0))]
    pub requests_per_s: f64,
}

/// A forecast server in the form of Open-Meteo: one's own, or the service with a key. The free
/// host is for non-commercial use only.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenMeteo {
    /// Base address, with http or https.
    #[schemars(regex(pattern = HTTP))]
    pub base_url: String,
    /// Where the key is, when the server wants one.
    pub key: Option<SecretSource>,
    /// Minutes between two pulls of one place.
    #[serde(default = "open_meteo_every_minutes")]
    #[schemars(range(min = 60, max = 1440))]
    pub every_minutes: u32,
    /// Most requests a second.
    #[serde(default = "fallback_requests_per_s")]
    #[schemars(range(min = 0.1, max = 20.0))]
    pub requests_per_s: f64,
    /// Most places asked for a minute.
    #[serde(default = "open_meteo_places_per_minute")]
    #[schemars(range(min = 1, max = 1_000_000))]
    pub places_per_minute: u32,
    /// Most places asked for an hour.
    #[serde(default = "open_meteo_places_per_hour")]
    #[schemars(range(min = 1, max = 1_000_000))]
    pub places_per_hour: u32,
    /// Most places asked for a day.
    #[serde(default = "open_meteo_places_per_day")]
    #[schemars(range(min = 1, max = 1_000_000))]
    pub places_per_day: u32,
}

/// Daily files in one folder: `FARM.csv` (or `FARM-FIELD.csv`) with units in the column names, or
/// NOAA GHCN-Daily CSV as published.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherFiles {
    /// Folder; relative paths start at the book.
    pub folder: PathBuf,
    /// How many days past today the file may stand in for a forecast (used by rehearsals).
    #[serde(default = "files_forecast_days")]
    #[schemars(range(min = 0, max = 16))]
    pub forecast_days: u32,
}

fn nws_base_url() -> String {
    "https://api.weather.gov".to_owned()
}
const fn nws_every_minutes() -> u32 {
    90
}
const fn nws_requests_per_s() -> f64 {
    2.0
}
fn met_norway_base_url() -> String {
    "https://api.met.no/weatherapi/locationforecast/2.0".to_owned()
}
const fn met_norway_every_minutes() -> u32 {
    120
}
const fn fallback_requests_per_s() -> f64 {
    1.0
}
const fn open_meteo_every_minutes() -> u32 {
    360
}
const fn open_meteo_places_per_minute() -> u32 {
    600
}
const fn open_meteo_places_per_hour() -> u32 {
    5000
}
const fn open_meteo_places_per_day() -> u32 {
    10_000
}
fn mesonet_base_url() -> String {
    "https://mesonet.agron.iastate.edu".to_owned()
}
const fn observed_from_hour() -> u32 {
    14
}
const fn backfill_days() -> u32 {
    60
}
fn acis_base_url() -> String {
    "https://data.rcc-acis.org".to_owned()
}
const fn reach_km() -> f64 {
    25.0
}
const fn alerts_every_minutes() -> u32 {
    5
}
const fn files_forecast_days() -> u32 {
    7
}
