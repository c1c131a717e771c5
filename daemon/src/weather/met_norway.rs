//! MET Norway's Locationforecast 2.0 (api.met.no), the compact form.
//!
//! Source of the rules kept here: MET Norway, "Locationforecast How to" and "Terms of Service": few
//! decimals in a place, a User-Agent with a contact, `Expires` obeyed, `Last-Modified` echoed
//! exactly; hourly steps first, then six-hourly ones, whose rain is a total; the last step has none.

use super::body::{Read, Reader, Request, Unreadable};
use super::fault::Fault;
use super::grid::Laid;
use super::interval::Interval;
use super::layers::Layer;
use super::source::{Answer, Area, Forecast, Known, Payload, Pulling, Source, SourceName, Spot};
use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;

/// What each layer is called among the values that hold at a step's moment.
const INSTANT: [(Layer, &str); 6] = [
    (Layer::Temperature, "air_temperature"),
    (Layer::Dewpoint, "dew_point_temperature"),
    (Layer::Humidity, "relative_humidity"),
    (Layer::Sky, "cloud_area_fraction"),
    (Layer::Wind, "wind_speed"),
    (Layer::Gust, "wind_speed_of_gust"),
];
const RAIN: &str = "precipitation_amount";

/// The service.
#[derive(Debug, Clone)]
pub struct MetNorway {
    reader: Reader,
}

#[derive(Deserialize)]
struct Feature {
    properties: Properties,
}

#[derive(Deserialize)]
struct Properties {
    meta: Meta,
    timeseries: Vec<Step>,
}

#[derive(Deserialize)]
struct Meta {
    updated_at: DateTime<Utc>,
    units: BTreeMap<String, Value>,
}

#[derive(Deserialize)]
struct Step {
    time: DateTime<Utc>,
    data: StepData,
}

#[derive(Deserialize)]
struct StepData {
    instant: Details,
    next_1_hours: Option<Details>,
    next_6_hours: Option<Details>,
}

#[derive(Deserialize)]
struct Details {
    #[serde(default)]
    details: BTreeMap<String, Value>,
}

impl MetNorway {
    /// The service behind a reader.
    pub const fn new(reader: Reader) -> Self {
        Self { reader }
    }

    /// The reader of its host.
    pub const fn reader(&self) -> &Reader {
        &self.reader
    }

    async fn forecast(&self, spot: Spot, known: &Known) -> Result<Answer, Fault> {
        let Spot { latitude, longitude } = spot;
        let path = format!("/compact?lat={latitude:.2}&lon={longitude:.2}");
        let request = Request::get(&path, &known.validators);
        self.reader.ask(request, |body| read(body, spot)).await
    }
}

impl Source for MetNorway {
    fn name(&self) -> SourceName {
        SourceName::MetNorway
    }

    fn pull<'a>(&'a self, area: &'a Area, known: &'a Known) -> Pulling<'a> {
        Box::pin(async move {
            match area {
                Area::Spots(spots) if spots.len() == 1 => self.forecast(spots[0], known).await,
                _ => Err(Fault::wrong_area(area)),
            }
        })
    }
}

pub(super) fn read(body: &[u8], spot: Spot) -> Result<Read<Payload>, Unreadable> {
    let Feature { properties: Properties { meta, timeseries } } = serde_json::from_slice(body)?;
    let unit = |name: &str| meta.units.get(name).and_then(Value::as_str).unwrap_or_default();
    let held = INSTANT.map(|(layer, name)| (layer, name, instants(&timeseries, name)));
    let layers = held.into_iter().chain([(Layer::Rain, RAIN, rain(&timeseries))]);
    let laid = Laid::out(
        layers
            .filter(|(_, _, periods)| !periods.is_empty())
            .map(|(layer, name, periods)| (layer, layer.lay_out(unit(name), periods))),
    );
    if laid.hours.is_empty() {
        let what = "has no usable value".to_owned();
        return Err(Unreadable { what, cut_short: false });
    }
    let forecast = Forecast {
        cell: spot.cell(SourceName::MetNorway),
        outline: None,
        hours: laid.hours,
        refused: laid.refused,
    };
    Ok(Read { payload: Payload::Hours(vec![forecast]), issued_at: Some(meta.updated_at) })
}

/// The values of one name, each good for the hour that begins at its step.
fn instants(steps: &[Step], name: &str) -> Vec<(Interval, Option<f64>)> {
    let value = |step: &Step| step.data.instant.details.get(name).and_then(Value::as_f64);
    let hour = |step: &Step| Some((after(step.time, 1)?, Some(value(step)?)));
    steps.iter().filter_map(hour).collect()
}

/// The rain of each hour while there is one, then that of six hours; no moment counts twice.
fn rain(steps: &[Step]) -> Vec<(Interval, Option<f64>)> {
    let mut periods: Vec<(Interval, Option<f64>)> = Vec::new();
    let amount =
        |ahead: &Option<Details>| ahead.as_ref()?.details.get(RAIN).and_then(Value::as_f64);
    for step in steps {
        if periods.last().is_some_and(|(last, _)| step.time < last.end()) {
            continue;
        }
        let hour = amount(&step.data.next_1_hours).map(|mm| (1, mm));
        let Some((hours, mm)) = hour.or(amount(&step.data.next_6_hours).map(|mm| (6, mm))) else {
            continue;
        };
        periods.extend(after(step.time, hours).map(|period| (period, Some(mm))));
    }
    periods
}

fn after(start: DateTime<Utc>, hours: i64) -> Option<Interval> {
    Interval::new(start, start.checked_add_signed(TimeDelta::hours(hours))?)
}
