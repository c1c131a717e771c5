//! The layers of a forecast grid: their names, units, legal ranges, and how they spread over
//! hours.
//!
//! Source: National Weather Service, API documentation, "Gridpoints" page, and the recorded
//! grids; liquid, snow and ice layers are totals over their period, all others hold for each hour.

use super::interval::{Interval, IntervalFault};
use chrono::{DateTime, Utc};
use furrowbell_engine::units::{Celsius, MetresPerSecond, Millimetres, OutOfRange, Percent};
use serde::Deserialize;
use std::collections::BTreeMap;

const HOUR_S: i64 = 3600;
/// Most hours one layer may cover; real grids stay under nine days.
const MAX_HOURS: i64 = 31 * 24;

/// A layer of the grid that the clocks use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Layer {
    /// Air temperature, C.
    Temperature,
    /// Dew point, C.
    Dewpoint,
    /// Relative humidity, percent.
    Humidity,
    /// Share of the sky under cloud, percent.
    Sky,
    /// Wind at 10 m, m/s.
    Wind,
    /// Gusts at 10 m, m/s.
    Gust,
    /// Rain and melted snow, mm over the period.
    Rain,
    /// Depth of new snow, mm over the period.
    Snow,
}

/// Why a layer was not used. The other layers stand.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LayerFault {
    /// Not an object with `uom` and `values`.
    #[error("has another shape than expected: {0}")]
    Shape(String),
    /// A unit that is not known for this layer, or none.
    #[error("has unit `{found}`; known are {known}")]
    Unit {
        /// The unit as sent; empty when absent.
        found: String,
        /// The units that are read.
        known: &'static str,
    },
    /// A period that cannot be read.
    #[error(transparent)]
    Period(#[from] IntervalFault),
    /// A value no instrument could have shown.
    #[error(transparent)]
    Value(#[from] OutOfRange),
    /// Two periods claim one moment.
    #[error("gives two values for {0}")]
    Overlap(DateTime<Utc>),
    /// Periods that go on far beyond any forecast.
    #[error("covers more than {MAX_HOURS} hours")]
    TooLong,
}

/// One value of a layer at one hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HourValue {
    /// In the layer's unit.
    pub value: f64,
    /// Whether it is an even share of a total over more than this hour.
    pub spread: bool,
}

/// A layer hour by hour.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Hourly {
    /// Known hours, keyed by whole hours since 1970.
    pub hours: BTreeMap<i64, HourValue>,
    /// End of the last period with a value; beyond it the layer says nothing.
    pub horizon: Option<DateTime<Utc>>,
}

#[derive(Deserialize)]
struct RawLayer {
    uom: Option<String>,
    #[serde(default)]
    values: Vec<RawValue>,
}

#[derive(Deserialize)]
struct RawValue {
    #[serde(rename = "validTime")]
    valid_time: String,
    value: Option<f64>,
}

type Converter = fn(f64) -> f64;

impl Layer {
    /// Every layer, in the order of reports.
    pub const ALL: [Self; 8] = [
        Self::Temperature,
        Self::Dewpoint,
        Self::Humidity,
        Self::Sky,
        Self::Wind,
        Self::Gust,
        Self::Rain,
        Self::Snow,
    ];

    /// The layer's name in the grid.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Dewpoint => "dewpoint",
            Self::Humidity => "relativeHumidity",
            Self::Sky => "skyCover",
            Self::Wind => "windSpeed",
            Self::Gust => "windGust",
            Self::Rain => "quantitativePrecipitation",
            Self::Snow => "snowfallAmount",
        }
    }

    /// Reads the layer's JSON and lays it out by the hour. A layer without values is unknown
    /// throughout, which is no fault.
    pub fn read(self, json: &serde_json::Value) -> Result<Hourly, LayerFault> {
        let raw = RawLayer::deserialize(json).map_err(|e| LayerFault::Shape(e.to_string()))?;
        if raw.values.is_empty() {
            return Ok(Hourly::default());
        }
        let mut periods = Vec::with_capacity(raw.values.len());
        for entry in raw.values {
            periods.push((entry.valid_time.parse()?, entry.value));
        }
        self.lay_out(raw.uom.as_deref().unwrap_or_default(), periods)
    }

    /// Lays values of any source out by the hour, in the layer's unit; null stays unknown.
    pub fn lay_out(
        self,
        unit: &str,
        mut periods: Vec<(Interval, Option<f64>)>,
    ) -> Result<Hourly, LayerFault> {
        let convert = self.converter(unit)?;
        for (_, value) in &mut periods {
            *value = value.map(|value| self.checked(convert(value))).transpose()?;
        }
        periods.sort_by_key(|(interval, _)| interval.start());
        if let Some(pair) = periods.windows(2).find(|pair| pair[1].0.start() < pair[0].0.end()) {
            return Err(LayerFault::Overlap(pair[1].0.start()));
        }
        let seconds = periods.iter().try_fold(0_i64, |sum, (i, _)| sum.checked_add(i.seconds()));
        if seconds.is_none_or(|seconds| seconds > MAX_HOURS * HOUR_S) {
            return Err(LayerFault::TooLong);
        }
        Ok(if self.is_total() { shared_out(&periods) } else { held(&periods) })
    }

    const fn is_total(self) -> bool {
        matches!(self, Self::Rain | Self::Snow)
    }

    fn converter(self, uom: &str) -> Result<Converter, LayerFault> {
        let prefixed = uom.strip_prefix("wmoUnit:").or_else(|| uom.strip_prefix("unit:"));
        let name = prefixed.unwrap_or(uom);
        let (known, found): (_, Option<Converter>) = match self {
            Self::Temperature | Self::Dewpoint => (
                "degC, degF",
                match name {
                    "degC" | "celsius" | "°C" => Some(|c| c),
                    "degF" | "°F" => Some(|f| (f - 32.0) / 1.8),
                    _ => None,
                },
            ),
            Self::Humidity | Self::Sky => {
                ("percent", ["percent", "%"].contains(&name).then_some((|p| p) as Converter))
            }
            Self::Wind | Self::Gust => (
                "km_h-1, m_s-1, mp/h",
                match name {
                    "km_h-1" | "km/h" => Some(|kmh| kmh / 3.6),
                    "m_s-1" | "m/s" => Some(|mps| mps),
                    "mp/h" => Some(|mph| mph * 0.447_04),
                    _ => None,
                },
            ),
            Self::Rain | Self::Snow => (
                "mm, m, inch",
                match name {
                    "mm" => Some(|mm| mm),
                    "m" => Some(|m| m * 1000.0),
                    "inch" => Some(|inches| inches * 25.4),
                    _ => None,
                },
            ),
        };
        let printable = || uom.chars().take(40).collect();
        found.ok_or_else(|| LayerFault::Unit { found: printable(), known })
    }

    fn checked(self, value: f64) -> Result<f64, OutOfRange> {
        match self {
            Self::Temperature | Self::Dewpoint => Celsius::new(value).map(f64::from),
            Self::Humidity | Self::Sky => Percent::new(value).map(f64::from),
            Self::Wind | Self::Gust => MetresPerSecond::new(value).map(f64::from),
            Self::Rain | Self::Snow => Millimetres::new(value).map(f64::from),
        }
    }
}

/// A held value is the hour's when it holds at the hour's first moment.
fn held(periods: &[(Interval, Option<f64>)]) -> Hourly {
    let mut hourly = Hourly::default();
    for (interval, value) in known(periods) {
        let last = (interval.end().timestamp() - 1).div_euclid(HOUR_S);
        let first = (interval.start().timestamp() - 1).div_euclid(HOUR_S) + 1;
        for hour in first..=last {
            hourly.hours.insert(hour, HourValue { value, spread: false });
        }
        hourly.horizon = Some(interval.end());
    }
    hourly
}

/// A total is shared out evenly over its period; an hour is known only when all of it is covered.
fn shared_out(periods: &[(Interval, Option<f64>)]) -> Hourly {
    let mut hourly = Hourly::default();
    let mut covered = BTreeMap::<i64, i64>::new();
    for (interval, total) in known(periods) {
        let (start, end) = (interval.start().timestamp(), interval.end().timestamp());
        for hour in start.div_euclid(HOUR_S)..=(end - 1).div_euclid(HOUR_S) {
            let seconds = end.min((hour + 1) * HOUR_S) - start.max(hour * HOUR_S);
            let share = hourly.hours.entry(hour).or_insert(HourValue { value: 0.0, spread: false });
            share.value += total * as_f64(seconds) / as_f64(end - start);
            share.spread |= end - start > HOUR_S;
            *covered.entry(hour).or_default() += seconds;
        }
        hourly.horizon = Some(interval.end());
    }
    hourly.hours.retain(|hour, _| covered.get(hour) == Some(&HOUR_S));
    hourly
}

fn known(periods: &[(Interval, Option<f64>)]) -> impl Iterator<Item = (Interval, f64)> {
    periods.iter().filter_map(|(interval, value)| value.map(|value| (*interval, value)))
}

/// Seconds within [`MAX_HOURS`], which `f64` holds exactly.
fn as_f64(seconds: i64) -> f64 {
    i32::try_from(seconds).map_or(f64::INFINITY, f64::from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::json;

    fn layer(uom: &str, values: &[(&str, Option<f64>)]) -> serde_json::Value {
        let values: Vec<_> = values
            .iter()
            .map(|(time, value)| json!({"validTime": format!("2026-05-01T{time}"), "value": value}))
            .collect();
        json!({ "uom": uom, "values": values })
    }

    fn values(hourly: &Hourly) -> Vec<f64> {
        hourly.hours.values().map(|hour| hour.value).collect()
    }

    #[test]
    fn a_held_value_holds_for_each_hour_and_null_and_gaps_stay_unknown() {
        let json = layer(
            "wmoUnit:degC",
            &[
                ("06:00:00Z/PT2H", Some(10.0)),
                ("08:00:00Z/PT1H", None),
                ("10:00:00Z/PT1H", Some(12.0)),
            ],
        );
        let hourly = Layer::Temperature.read(&json).unwrap();
        assert_eq!(values(&hourly), [10.0, 10.0, 12.0]);
        let first = *hourly.hours.keys().next().unwrap();
        assert_eq!(hourly.hours.keys().map(|h| h - first).collect::<Vec<_>>(), [0, 1, 4]);
        assert_eq!(hourly.horizon.unwrap().to_rfc3339(), "2026-05-01T11:00:00+00:00");
    }

    #[test]
    fn a_total_is_shared_out_and_marked() {
        let json =
            layer("wmoUnit:mm", &[("06:00:00Z/PT6H", Some(12.0)), ("12:00:00Z/PT1H", Some(3.0))]);
        let hourly = Layer::Rain.read(&json).unwrap();
        assert_eq!(values(&hourly), [2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 3.0]);
        assert_eq!(hourly.hours.values().filter(|hour| hour.spread).count(), 6);
    }

    #[test]
    fn an_hour_that_is_covered_in_part_has_an_unknown_total() {
        let json = layer("wmoUnit:mm", &[("06:30:00Z/PT1H30M", Some(9.0))]);
        assert_eq!(values(&Layer::Rain.read(&json).unwrap()), [6.0]);
    }

    #[test]
    fn reads_the_unit_of_each_layer() {
        let one = |layer_of: Layer, uom, value| {
            let json = layer(uom, &[("06:00:00Z/PT1H", Some(value))]);
            layer_of.read(&json).map(|hourly| values(&hourly)[0])
        };
        assert_eq!(one(Layer::Wind, "wmoUnit:km_h-1", 36.0), Ok(10.0));
        assert_eq!(one(Layer::Wind, "unit:m_s-1", 10.0), Ok(10.0));
        assert_eq!(one(Layer::Rain, "unit:m", 0.004), Ok(4.0));
        assert_eq!(one(Layer::Dewpoint, "wmoUnit:degF", 50.0), Ok(10.0));
        assert_eq!(one(Layer::Sky, "wmoUnit:percent", 40.0), Ok(40.0));
        assert_eq!(
            one(Layer::Temperature, "wmooUnit:degF", 50.0).unwrap_err().to_string(),
            "has unit `wmooUnit:degF`; known are degC, degF"
        );
        assert!(one(Layer::Humidity, "wmoUnit:degC", 50.0).is_err());
    }

    #[test]
    fn one_impossible_value_refuses_the_layer() {
        let json = layer("wmoUnit:degC", &[("06:00:00Z/PT1H", Some(180.0))]);
        assert!(matches!(Layer::Temperature.read(&json), Err(LayerFault::Value(_))));
        let json = layer("wmoUnit:mm", &[("06:00:00Z/PT1H", Some(-1.0))]);
        assert!(matches!(Layer::Rain.read(&json), Err(LayerFault::Value(_))));
    }

    #[test]
    fn overlap_endless_periods_and_wrong_shapes_refuse_the_layer() {
        let twice =
            layer("wmoUnit:mm", &[("07:00:00Z/PT2H", Some(1.0)), ("06:00:00Z/PT2H", Some(1.0))]);
        assert!(matches!(Layer::Rain.read(&twice), Err(LayerFault::Overlap(_))));
        let endless = layer("wmoUnit:percent", &[("06:00:00Z/P9999D", Some(1.0))]);
        assert_eq!(Layer::Sky.read(&endless), Err(LayerFault::TooLong));
        for json in [json!(3), json!({"values": 3}), json!({"values": [{"value": "3"}]})] {
            assert!(matches!(Layer::Sky.read(&json), Err(LayerFault::Shape(_))));
        }
        assert_eq!(Layer::Sky.read(&json!({"values": []})), Ok(Hourly::default()));
    }

    proptest! {
        #[test]
        fn sharing_out_keeps_the_total(totals in prop::collection::vec((1..48_i64, 0.0..50.0_f64), 1..12)) {
            let mut start = DateTime::from_timestamp(1_780_000_000 / HOUR_S * HOUR_S, 0).unwrap();
            let mut entries = Vec::new();
            for (hours, total) in &totals {
                entries.push(json!({"validTime": format!("{}/PT{hours}H", start.to_rfc3339()), "value": total}));
                start += chrono::TimeDelta::hours(*hours);
            }
            let hourly = Layer::Rain.read(&json!({"uom": "wmoUnit:mm", "values": entries})).unwrap();
            let given: f64 = totals.iter().map(|(_, total)| total).sum();
            let shared: f64 = values(&hourly).iter().sum();
            prop_assert!((given - shared).abs() < 1e-9);
        }
    }
}
