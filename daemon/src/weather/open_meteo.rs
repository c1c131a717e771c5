//! A forecast server in the form of Open-Meteo: one's own, or the service with a key.
//!
//! Source of the rules kept here: Open-Meteo, API documentation and pricing pages: comma lists ask
//! for several places and are answered by a list; a refusal is `{"error": true, "reason": ..}`;
//! rain and gusts are those of the hour before; calls are counted by the clock's minute, hour and
//! UTC day. Times are asked for in GMT, since one offset serves a whole answer.

use super::body::{Read, Reader, Request, Unreadable};
use super::fault::{Fault, Verdict, What};
use super::grid::Laid;
use super::interval::Interval;
use super::layers::Layer;
use super::source::{
    Answer, Area, Forecast, Known, Payload, Pulling, Source, SourceName, Spot, Validators,
};
use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use secrecy::SecretString;
use serde::Deserialize;
use serde_json::{Map, Value};
use std::sync::{Arc, Mutex, PoisonError};

/// Most places in one request, so that its address stays short.
pub const BATCH: usize = 50;

/// Each layer with its name and whether a value is that of the hour before its time.
const LAYERS: [(Layer, &str, bool); 7] = [
    (Layer::Temperature, "temperature_2m", false),
    (Layer::Dewpoint, "dew_point_2m", false),
    (Layer::Humidity, "relative_humidity_2m", false),
    (Layer::Sky, "cloud_cover", false),
    (Layer::Wind, "wind_speed_10m", false),
    (Layer::Gust, "wind_gusts_10m", true),
    (Layer::Rain, "precipitation", true),
];

/// The service.
#[derive(Debug, Clone)]
pub struct OpenMeteo {
    reader: Reader,
    key: Option<SecretString>,
    quota: Quota,
}

/// Most places asked for within one minute, hour and UTC day of the clock.
#[derive(Debug, Clone)]
pub struct Quota(Arc<[Mutex<Window>; 3]>);

#[derive(Debug)]
struct Window {
    seconds: i64,
    most: u32,
    number: i64,
    used: u32,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Places {
    Several(Vec<Place>),
    One(Box<Place>),
}

#[derive(Deserialize)]
struct Place {
    #[serde(default)]
    error: bool,
    reason: Option<String>,
    #[serde(default)]
    utc_offset_seconds: i64,
    #[serde(default)]
    hourly_units: Map<String, Value>,
    #[serde(default)]
    hourly: Map<String, Value>,
}

impl Quota {
    /// So many places a minute, an hour and a day.
    pub fn new(minute: u32, hour: u32, day: u32) -> Self {
        let window = |seconds, most| Mutex::new(Window { seconds, most, number: 0, used: 0 });
        Self(Arc::new([window(60, minute), window(3600, hour), window(86_400, day)]))
    }

    /// Takes so many, or says when there will be some again.
    fn take(&self, places: u32, now: DateTime<Utc>) -> Result<(), DateTime<Utc>> {
        let mut windows =
            self.0.each_ref().map(|window| window.lock().unwrap_or_else(PoisonError::into_inner));
        for window in &mut windows {
            let number = now.timestamp().div_euclid(window.seconds);
            if window.number != number {
                (window.number, window.used) = (number, 0);
            }
        }
        // One request that is larger than a whole window may still go when nothing else has.
        let full = |window: &Window| window.used > 0 && window.used + places > window.most;
        if let Some(window) = windows.iter().rev().find(|window| full(window)) {
            return Err(end_of(window.seconds, now));
        }
        for window in &mut windows {
            window.used += places;
        }
        Ok(())
    }
}

/// End of the clock's minute, hour or day.
fn end_of(seconds: i64, now: DateTime<Utc>) -> DateTime<Utc> {
    let end = (now.timestamp().div_euclid(seconds) + 1) * seconds;
    DateTime::from_timestamp(end, 0).unwrap_or(now)
}

impl OpenMeteo {
    /// The service behind a reader; its key goes with every request.
    pub const fn new(reader: Reader, key: Option<SecretString>, quota: Quota) -> Self {
        Self { reader, key, quota }
    }

    /// The reader of its host.
    pub const fn reader(&self) -> &Reader {
        &self.reader
    }

    async fn forecast(&self, spots: &[Spot]) -> Result<Answer, Fault> {
        let path = path(spots);
        let places = u32::try_from(spots.len()).unwrap_or(u32::MAX);
        self.quota
            .take(places, self.reader.clock().now())
            .map_err(|until| Fault::new(&path, What::Quota, Verdict::Rest { until }, None))?;
        let unconditional = Validators::default();
        let secret = self.key.as_ref().map(|key| ("apikey", key));
        let request = Request { secret, ..Request::get(&path, &unconditional) };
        let answer = self.reader.ask(request, |body| read(body, spots)).await;
        answer.map_err(|fault| over_the_limit(fault, self.reader.clock().now()))
    }
}

impl Source for OpenMeteo {
    fn name(&self) -> SourceName {
        SourceName::OpenMeteo
    }

    fn pull<'a>(&'a self, area: &'a Area, _known: &'a Known) -> Pulling<'a> {
        Box::pin(async move {
            match area {
                Area::Spots(spots) if !spots.is_empty() => self.forecast(spots).await,
                _ => Err(Fault::wrong_area(area)),
            }
        })
    }
}

fn path(spots: &[Spot]) -> String {
    let list = |of: fn(&Spot) -> f64| {
        let texts: Vec<_> = spots.iter().map(|spot| format!("{:.2}", of(spot))).collect();
        texts.join(",")
    };
    let names = LAYERS.map(|(_, name, _)| name).join(",");
    format!(
        "/v1/forecast?latitude={}&longitude={}&hourly={names}&wind_speed_unit=ms&timezone=GMT\
         &forecast_days=10",
        list(|spot| spot.latitude),
        list(|spot| spot.longitude)
    )
}

/// A refusal for the rate names the limit; it ends with the clock's minute, hour or day.
fn over_the_limit(fault: Fault, now: DateTime<Utc>) -> Fault {
    let What::Status { status: 429, problem } = &fault.what else { return fault };
    let reason = problem.detail.as_deref().unwrap_or_default();
    let limits = [("Daily", 86_400), ("Hourly", 3600), ("Minutely", 60)];
    let named = limits.into_iter().find(|(name, _)| reason.starts_with(name));
    let until = named.map(|(_, seconds)| end_of(seconds, now));
    let verdict = until.map_or(fault.verdict, |until| Verdict::Rest { until });
    Fault { verdict, ..fault }
}

pub(super) fn read(body: &[u8], spots: &[Spot]) -> Result<Read<Payload>, Unreadable> {
    let unreadable = |what: String| Unreadable { what, cut_short: false };
    let value: Value = serde_json::from_slice(body)?;
    let places = match serde_json::from_value(value)? {
        Places::Several(places) => places,
        Places::One(place) => vec![*place],
    };
    if let Some(refusal) = places.iter().find(|place| place.error) {
        let reason = refusal.reason.as_deref().unwrap_or("without a reason");
        return Err(unreadable(format!("is a refusal: {reason}")));
    }
    if places.len() != spots.len() {
        let (found, asked) = (places.len(), spots.len());
        return Err(unreadable(format!("has {found} places where {asked} were asked for")));
    }
    let forecasts: Vec<_> =
        places.iter().zip(spots).map(|(place, spot)| place.read(*spot)).collect();
    if forecasts.iter().all(|forecast| forecast.hours.is_empty()) {
        return Err(unreadable("has no usable value".to_owned()));
    }
    Ok(Read { payload: Payload::Hours(forecasts), issued_at: None })
}

impl Place {
    fn read(&self, spot: Spot) -> Forecast {
        let times: Vec<_> = match self.hourly.get("time") {
            Some(Value::Array(times)) => times.iter().map(|time| self.instant(time)).collect(),
            _ => Vec::new(),
        };
        let layers = LAYERS.into_iter().filter_map(|(layer, name, before)| {
            let values = self.hourly.get(name)?.as_array()?;
            let unit = self.hourly_units.get(name).and_then(Value::as_str).unwrap_or_default();
            let shift = TimeDelta::hours(if before { -1 } else { 0 });
            let period = |time: &Option<DateTime<Utc>>| {
                let start = (*time)?.checked_add_signed(shift)?;
                Interval::new(start, start + TimeDelta::hours(1))
            };
            let periods = times.iter().zip(values);
            let periods = periods.filter_map(|(time, value)| Some((period(time)?, value.as_f64())));
            Some((layer, layer.lay_out(unit, periods.collect())))
        });
        let Laid { hours, refused, .. } = Laid::out(layers);
        Forecast { cell: spot.cell(SourceName::OpenMeteo), outline: None, hours, refused }
    }

    /// Seconds since 1970, or a wall clock's time under the answer's one offset.
    fn instant(&self, time: &Value) -> Option<DateTime<Utc>> {
        if let Some(seconds) = time.as_i64() {
            return DateTime::from_timestamp(seconds, 0);
        }
        let wall = NaiveDateTime::parse_from_str(time.as_str()?, "%Y-%m-%dT%H:%M").ok()?;
        wall.and_utc().checked_sub_signed(TimeDelta::try_seconds(self.utc_offset_seconds)?)
    }
}
