//! The forecast grid of one cell, read from its `GeoJSON` and laid out by the hour.

use super::cells::Polygon;
use super::layers::{HourValue, Hourly, Layer, LayerFault};
use chrono::{DateTime, Utc};
use serde::Deserialize;
use std::collections::BTreeMap;

/// What the grid says of one hour. Each value stands or is missing on its own.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Hour {
    /// First moment of the hour.
    pub start: DateTime<Utc>,
    /// Air temperature, C.
    pub temp_c: Option<f64>,
    /// Dew point, C.
    pub dewpoint_c: Option<f64>,
    /// Relative humidity, percent.
    pub humidity_pct: Option<f64>,
    /// Cloud cover, percent.
    pub sky_pct: Option<f64>,
    /// Wind at 10 m, m/s.
    pub wind_mps: Option<f64>,
    /// Gusts at 10 m, m/s.
    pub gust_mps: Option<f64>,
    /// Rain and melted snow within the hour, mm.
    pub rain_mm: Option<f64>,
    /// New snow within the hour, mm of depth.
    pub snow_mm: Option<f64>,
    /// Whether rain or snow is an even share of a longer total: right over the period, an estimate
    /// for the hour.
    pub spread: bool,
}

/// A layer that was not used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("layer {} {reason}", layer.key())]
pub struct Refused {
    /// Which.
    pub layer: Layer,
    /// Why.
    pub reason: LayerFault,
}

/// The forecast of one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// When the forecasters last changed it.
    pub update_time: DateTime<Utc>,
    /// Outline of the cell, when sent.
    pub polygon: Option<Polygon>,
    /// Hours of which something is known, in order; an absent hour is unknown.
    pub hours: Vec<Hour>,
    /// Where each layer ends; a layer without values is absent.
    pub horizons: BTreeMap<Layer, DateTime<Utc>>,
    /// Layers that were not used, with the reason.
    pub refused: Vec<Refused>,
}

/// An answer that is no forecast grid.
#[derive(Debug, thiserror::Error)]
pub enum GridFault {
    /// Not JSON, or not the shape of a grid.
    #[error("is not a forecast grid: {0}")]
    Json(serde_json::Error),
    /// A grid in which no layer could be used.
    #[error("has no usable value in any layer{}", first(.0))]
    Nothing(Vec<Refused>),
}

impl GridFault {
    /// Whether the answer stopped in the middle.
    pub fn is_cut_short(&self) -> bool {
        matches!(self, Self::Json(error) if error.is_eof())
    }
}

fn first(refused: &[Refused]) -> String {
    refused.first().map(|refused| format!(", first: {refused}")).unwrap_or_default()
}

#[derive(Deserialize)]
struct Feature {
    #[serde(default)]
    geometry: serde_json::Value,
    properties: Properties,
}

#[derive(Deserialize)]
struct Properties {
    #[serde(rename = "updateTime")]
    update_time: DateTime<Utc>,
    #[serde(flatten)]
    rest: serde_json::Map<String, serde_json::Value>,
}

impl Grid {
    /// Reads a grid. A layer with a fault is left out and named; the others stand.
    pub fn parse(json: &[u8]) -> Result<Self, GridFault> {
        let feature: Feature = serde_json::from_slice(json).map_err(GridFault::Json)?;
        let layers = Layer::ALL.into_iter().filter_map(|layer| {
            let json = feature.properties.rest.get(layer.key())?;
            Some((layer, layer.read(json)))
        });
        let Laid { hours, horizons, refused } = Laid::out(layers);
        if hours.is_empty() {
            return Err(GridFault::Nothing(refused));
        }
        let polygon = Polygon::from_geojson(&feature.geometry);
        let update_time = feature.properties.update_time;
        Ok(Self { update_time, polygon, hours, horizons, refused })
    }
}

/// Layers put together hour by hour.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Laid {
    /// Hours of which something is known, in order.
    pub hours: Vec<Hour>,
    /// Where each layer ends; a layer without values is absent.
    pub horizons: BTreeMap<Layer, DateTime<Utc>>,
    /// Layers that were not used, with the reason.
    pub refused: Vec<Refused>,
}

impl Laid {
    /// Puts the layers together; one with a fault is left out and named.
    pub fn out(layers: impl IntoIterator<Item = (Layer, Result<Hourly, LayerFault>)>) -> Self {
        let mut hours = BTreeMap::<i64, Hour>::new();
        let mut laid = Self::default();
        for (layer, read) in layers {
            match read {
                Ok(hourly) => {
                    for (at, value) in hourly.hours {
                        hours.entry(at).or_default().set(layer, value);
                    }
                    laid.horizons.extend(hourly.horizon.map(|end| (layer, end)));
                }
                Err(reason) => laid.refused.push(Refused { layer, reason }),
            }
        }
        laid.hours = hours.into_iter().filter_map(|(at, hour)| hour.starting(at)).collect();
        laid
    }
}

impl Hour {
    fn set(&mut self, layer: Layer, HourValue { value, spread }: HourValue) {
        let place = match layer {
            Layer::Temperature => &mut self.temp_c,
            Layer::Dewpoint => &mut self.dewpoint_c,
            Layer::Humidity => &mut self.humidity_pct,
            Layer::Sky => &mut self.sky_pct,
            Layer::Wind => &mut self.wind_mps,
            Layer::Gust => &mut self.gust_mps,
            Layer::Rain => &mut self.rain_mm,
            Layer::Snow => &mut self.snow_mm,
        };
        *place = Some(value);
        self.spread |= spread;
    }

    fn starting(self, unix_hour: i64) -> Option<Self> {
        let start = DateTime::from_timestamp(unix_hour * 3600, 0)?;
        Some(Self { start, ..self })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::{Value, json};
    use std::path::{Path, PathBuf};

    const SMALL: &[u8] = include_bytes!("testdata/small_grid.json");

    /// Recorded answers of api.weather.gov (US government work), kept outside the repository.
    const RECORDED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/data/nws");

    fn recorded() -> Vec<PathBuf> {
        let Ok(folders) = std::fs::read_dir(RECORDED) else {
            println!("SKIP no recorded grids in ../shared/data/nws");
            return Vec::new();
        };
        let files: Vec<_> = folders
            .flat_map(|folder| {
                let folder = folder.unwrap().path();
                ["gridpoint.json", "detailed_forecast.json"].map(|name| folder.join(name))
            })
            .filter(|file| file.exists())
            .collect();
        assert!(files.len() >= 9, "recorded grids found: {}", files.len());
        files
    }

    fn raw(file: &Path) -> Value {
        serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap()
    }

    fn plain_sum(json: &Value, key: &str) -> f64 {
        let values = json["properties"][key]["values"].as_array();
        values.into_iter().flatten().filter_map(|entry| entry["value"].as_f64()).sum()
    }

    #[test]
    fn every_recorded_grid_keeps_its_totals_and_refuses_no_layer() {
        for file in recorded() {
            let json = raw(&file);
            let grid = Grid::parse(json.to_string().as_bytes()).unwrap();
            assert_eq!(grid.refused, [], "{}", file.display());
            for (key, of) in [
                ("quantitativePrecipitation", (|h| h.rain_mm) as fn(&Hour) -> Option<f64>),
                ("snowfallAmount", |h| h.snow_mm),
            ] {
                let hourly: f64 = grid.hours.iter().filter_map(of).sum();
                let plain = plain_sum(&json, key);
                assert!((hourly - plain).abs() < 1e-6, "{} {key}", file.display());
            }
            assert!(grid.hours.windows(2).all(|pair| pair[0].start < pair[1].start));
        }
    }

    #[test]
    fn recorded_rain_that_ends_early_leaves_later_hours_unknown() {
        let Some(file) =
            recorded().into_iter().find(|f| f.to_string_lossy().contains("tuscaloosa"))
        else {
            return;
        };
        let grid = Grid::parse(&std::fs::read(file).unwrap()).unwrap();
        let rain_ends = grid.horizons[&Layer::Rain];
        assert_eq!(rain_ends.to_rfc3339(), "2024-03-02T00:00:00+00:00");
        assert_eq!(grid.horizons[&Layer::Temperature].to_rfc3339(), "2024-03-02T13:00:00+00:00");
        let later: Vec<_> = grid.hours.iter().filter(|hour| hour.start >= rain_ends).collect();
        assert_eq!(later.len(), 13);
        assert!(later.iter().all(|hour| hour.rain_mm.is_none() && hour.temp_c.is_some()));
    }

    #[test]
    fn the_hand_broken_grid_keeps_its_sound_layers() {
        let file =
            Path::new(RECORDED).join("edge_hand_edited/billings-mt_BYZ-103-92/gridpoint.json");
        if !file.exists() {
            println!("SKIP no hand-broken grid in ../shared/data/nws");
            return;
        }
        let json = raw(&file);
        let grid = Grid::parse(json.to_string().as_bytes()).unwrap();
        let refused: Vec<_> = grid.refused.iter().map(|refused| refused.layer).collect();
        assert_eq!(refused, [Layer::Temperature, Layer::Wind]);
        let rain: f64 = grid.hours.iter().filter_map(|hour| hour.rain_mm).sum();
        assert!((rain - plain_sum(&json, "quantitativePrecipitation")).abs() < 1e-9);
    }

    #[test]
    fn no_other_recorded_file_is_mistaken_for_a_grid_or_panics() {
        if recorded().is_empty() {
            return;
        }
        let mut folders = vec![PathBuf::from(RECORDED)];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).into_iter().flatten() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                    continue;
                }
                let name = path.file_name().unwrap().to_string_lossy().into_owned();
                let is_grid = ["gridpoint.json", "detailed_forecast.json"].contains(&&*name);
                let grid = Grid::parse(&std::fs::read(&path).unwrap());
                assert_eq!(grid.is_ok(), is_grid, "{}", path.display());
            }
        }
    }

    #[test]
    fn a_small_grid_reads_as_written() {
        let grid = Grid::parse(SMALL).unwrap();
        assert_eq!(grid.update_time.to_rfc3339(), "2026-05-01T12:10:00+00:00");
        assert_eq!(grid.hours.len(), 12);
        let first = grid.hours[0];
        assert_eq!((first.temp_c, first.rain_mm, first.spread), (Some(10.0), Some(0.5), true));
        assert_eq!(first.gust_mps, None);
        assert_eq!(grid.hours[11].rain_mm, None);
        assert!(grid.polygon.is_some());
    }

    #[test]
    fn a_grid_without_one_usable_value_is_a_fault_that_names_the_first_reason() {
        let json = json!({"properties": {"updateTime": "2026-05-01T12:10:00Z", "temperature": 3}});
        let fault = Grid::parse(json.to_string().as_bytes()).unwrap_err();
        assert!(fault.to_string().contains("layer temperature has another shape"), "{fault}");
        assert!(matches!(Grid::parse(b"{}"), Err(GridFault::Json(_))));
    }

    proptest! {
        #[test]
        fn never_panics_on_a_mutated_grid(edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12), cut in any::<prop::sample::Index>()) {
            let mut bytes = SMALL.to_vec();
            for (at, byte) in edits {
                let at = at.index(bytes.len());
                bytes[at] = byte;
            }
            let _ = Grid::parse(&bytes);
            let _ = Grid::parse(&bytes[..cut.index(bytes.len())]);
        }

        #[test]
        fn never_panics_on_any_period_and_value(time in "[0-9]{4}-0[1-9]-0[1-9]T[0-2][0-9]:[0-5]0:00Z/P[0-9]{1,6}D(T[0-9]{1,6}H)?", value in any::<f64>()) {
            let json = json!({"properties": {"updateTime": "2026-05-01T12:10:00Z",
                "quantitativePrecipitation": {"uom": "wmoUnit:mm", "values": [{"validTime": time, "value": value}]}}});
            if let Ok(grid) = Grid::parse(json.to_string().as_bytes()) {
                prop_assert!(grid.hours.len() <= 31 * 24 + 1);
            }
        }
    }
}
