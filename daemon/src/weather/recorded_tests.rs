//! Every parser over recorded answers, against totals worked out by `tests/weather/totals.py`.
//!
//! Answers made by hand in the published forms stand beside the code; the recorded ones are outside
//! the repository.

use super::grid::Hour;
use super::layers::Layer;
use super::source::{Forecast, Payload, Spot};
use super::{met_norway, nws, open_meteo};
use crate::weather::body::{Read, Unreadable};
use crate::weather::cells::Cell;
use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const FORMS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/src/weather/testdata/forms");
const RECORDED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/data");
const TOTALS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/weather/totals.py");

type Answer = Result<Read<Payload>, Unreadable>;
type Valued = fn(&Hour) -> Option<f64>;

/// What must be found in a file.
#[derive(Debug, Default, Deserialize, PartialEq)]
#[serde(default, deny_unknown_fields)]
struct Expected {
    place: Option<(String, Option<String>)>,
    issued: Option<String>,
    forecasts: Option<Vec<Totals>>,
}

#[derive(Debug, Deserialize, PartialEq)]
struct Totals {
    hours: usize,
    ends: (String, String),
    layers: BTreeMap<String, LayerTotals>,
    refused: Vec<String>,
}

/// Hours of a layer, and for each day of UTC its rain, or its low and its high.
#[derive(Debug, Deserialize, PartialEq)]
struct LayerTotals {
    hours: usize,
    days: BTreeMap<String, Vec<f64>>,
}

const LAYERS: [(Layer, &str, Valued); 8] = [
    (Layer::Temperature, "temperature", |hour| hour.temp_c),
    (Layer::Dewpoint, "dewpoint", |hour| hour.dewpoint_c),
    (Layer::Humidity, "humidity", |hour| hour.humidity_pct),
    (Layer::Sky, "sky", |hour| hour.sky_pct),
    (Layer::Wind, "wind", |hour| hour.wind_mps),
    (Layer::Gust, "gust", |hour| hour.gust_mps),
    (Layer::Rain, "rain", |hour| hour.rain_mm),
    (Layer::Snow, "snow", |hour| hour.snow_mm),
];

fn name(layer: Layer) -> String {
    let (_, name, _) = LAYERS.into_iter().find(|(known, ..)| *known == layer).unwrap();
    name.to_owned()
}

/// The same totals from what a parser found.
fn totals(forecast: &Forecast) -> Totals {
    let hours = &forecast.hours;
    assert!(hours.windows(2).all(|pair| pair[0].start < pair[1].start), "hours out of order");
    let layers = LAYERS.into_iter().filter_map(|(layer, name, value)| {
        let known: Vec<_> = hours.iter().filter_map(|hour| Some((hour, value(hour)?))).collect();
        let mut days = BTreeMap::<String, Vec<f64>>::new();
        for (hour, value) in &known {
            let day = days.entry(hour.start.date_naive().to_string()).or_default();
            match (layer, day.as_mut_slice()) {
                (Layer::Rain | Layer::Snow, [sum]) => *sum += value,
                (_, [low, high]) => (*low, *high) = (low.min(*value), high.max(*value)),
                (Layer::Rain | Layer::Snow, _) => day.push(*value),
                _ => day.extend([*value; 2]),
            }
        }
        (!known.is_empty()).then(|| (name.to_owned(), LayerTotals { hours: known.len(), days }))
    });
    let end = |hour: Option<&Hour>| hour.unwrap().start.to_rfc3339();
    Totals {
        hours: hours.len(),
        ends: (end(hours.first()), end(hours.last())),
        layers: layers.collect(),
        refused: forecast.refused.iter().map(|refused| name(refused.layer)).collect(),
    }
}

/// Equal but for the rounding of sums.
#[track_caller]
fn assert_same(file: &Path, mut found: Totals, expected: &Totals) {
    for (name, layer) in &mut found.layers {
        let days = expected.layers.get(name).map(|layer| &layer.days);
        for (day, values) in &mut layer.days {
            let other = days.and_then(|days| days.get(day)).into_iter().flatten();
            for (value, other) in values.iter_mut().zip(other) {
                if (*value - other).abs() < 1e-9 {
                    *value = *other;
                }
            }
        }
    }
    assert_eq!(found, *expected, "{}", file.display());
}

/// What Python finds in every file of a service's folder; `None` where either is absent.
fn expected(folder: &Path) -> Option<BTreeMap<PathBuf, Expected>> {
    if !folder.is_dir() {
        println!("SKIP no recorded answers in {}", folder.display());
        return None;
    }
    let Ok(ran) = Command::new("python3").arg(TOTALS).arg(folder).output() else {
        println!("SKIP no python3 to work out the totals of recorded answers");
        return None;
    };
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let files: BTreeMap<String, Expected> = serde_json::from_slice(&ran.stdout).unwrap();
    Some(files.into_iter().map(|(file, expected)| (folder.join(file), expected)).collect())
}

/// Compares a parser with Python over both folders of a service. Returns how many files held a
/// forecast and how many did not.
fn compared(service: &str, read: impl Fn(&Path, &Expected) -> Answer) -> [(usize, usize); 2] {
    [FORMS, RECORDED].map(|root| {
        let (mut held, mut refused) = (0, 0);
        let files = expected(&Path::new(root).join(service)).unwrap_or_default();
        for (file, expected) in &files {
            let read = read(file, expected);
            let Some(forecasts) = &expected.forecasts else {
                assert!(read.is_err(), "{} was taken for a forecast", file.display());
                refused += 1;
                continue;
            };
            let Ok(Read { payload: Payload::Hours(found), issued_at }) = &read else {
                panic!("{}: {read:?}", file.display());
            };
            assert_eq!(found.len(), forecasts.len());
            for (found, expected) in found.iter().zip(forecasts) {
                assert_same(file, totals(found), expected);
            }
            assert_eq!(issued_at.map(|time| time.to_rfc3339()), expected.issued);
            held += 1;
        }
        if !files.is_empty() {
            println!(
                "{service}: {held} forecasts with equal totals, {refused} other files refused"
            );
        }
        (held, refused)
    })
}

fn bytes(file: &Path) -> Vec<u8> {
    std::fs::read(file).unwrap()
}

fn spots(number: usize) -> Vec<Spot> {
    let latitudes = (0..50).map(f64::from).take(number);
    latitudes.map(|latitude| Spot { latitude, longitude: -96.0 }).collect()
}

/// As many as there are, or none where a folder or Python is absent.
fn assert_counted(counted: [(usize, usize); 2], forms: (usize, usize), whole: (usize, usize)) {
    for (counted, there) in counted.into_iter().zip([forms, whole]) {
        assert!(counted == there || counted == (0, 0), "{counted:?} of {there:?}");
    }
}

#[test]
fn national_weather_service_grids_keep_their_totals_and_nothing_else_is_one() {
    let cell = Cell::new("OAX", 59, 58).unwrap();
    let counted = compared("nws", |file, _| nws::read_grid(&bytes(file), &cell));
    assert_counted(counted, (1, 1), (10, 61));
}

#[test]
fn national_weather_service_places_are_read_as_python_reads_them() {
    for root in [FORMS, RECORDED] {
        for (file, expected) in expected(&Path::new(root).join("nws")).unwrap_or_default() {
            let found = nws::read_point(&bytes(&file)).ok().map(|read| read.payload);
            let found = found.map(|at| (at.cell.to_string(), at.zone.map(|z| z.name().to_owned())));
            assert_eq!(found, expected.place, "{}", file.display());
        }
    }
}

/// The recorder wrapped each answer together with its headers.
#[test]
fn met_norway_forecasts_keep_their_totals_and_their_wrapper_is_refused() {
    let spot = spots(1)[0];
    let counted = compared("met-norway", |file, _| {
        let wrapper = bytes(file);
        assert!(met_norway::read(&wrapper, spot).unwrap_err().what.contains("`properties`"));
        let wrapper: Value = serde_json::from_slice(&wrapper).unwrap();
        met_norway::read(wrapper["data"].to_string().as_bytes(), spot)
    });
    assert_counted(counted, (1, 0), (3, 0));
}

#[test]
fn open_meteo_forecasts_keep_their_totals_and_refusals_are_refused() {
    let counted = compared("open-meteo", |file, expected| {
        let places = expected.forecasts.as_ref().map_or(1, Vec::len);
        assert!(open_meteo::read(&bytes(file), &spots(places + 1)).is_err());
        open_meteo::read(&bytes(file), &spots(places))
    });
    assert_counted(counted, (2, 1), (8, 5));
}

#[test]
fn a_refusal_of_open_meteo_is_named_in_its_own_words() {
    let file = Path::new(FORMS).join("open-meteo/error_400.json");
    let fault = open_meteo::read(&bytes(&file), &spots(1)).unwrap_err();
    let said = "is a refusal: Latitude must be in range of -90 to 90°. Given: 999.0.";
    assert_eq!((fault.what.as_str(), fault.cut_short), (said, false));
}

fn hours(file: &str) -> Vec<Hour> {
    let body = bytes(&Path::new(FORMS).join(file));
    let read = match file.split_once('/').unwrap().0 {
        "met-norway" => {
            let wrapper: Value = serde_json::from_slice(&body).unwrap();
            met_norway::read(wrapper["data"].to_string().as_bytes(), spots(1)[0])
        }
        "open-meteo" => open_meteo::read(&body, &spots(1)),
        _ => nws::read_grid(&body, &Cell::new("OAX", 59, 58).unwrap()),
    };
    let Payload::Hours(mut forecasts) = read.unwrap().payload else { panic!("{file}") };
    forecasts.remove(0).hours
}

fn at<'a>(hours: &'a [Hour], start: &str) -> &'a Hour {
    let start: chrono::DateTime<chrono::Utc> = start.parse().unwrap();
    hours.iter().find(|hour| hour.start == start).unwrap()
}

fn near(found: Option<f64>, expected: f64) -> bool {
    found.is_some_and(|found| (found - expected).abs() < 1e-9)
}

/// Read off the files by eye, for machines without Python.
#[test]
fn hours_made_by_hand_are_what_their_text_says() {
    // 2.829 mm over six hours, a held gust of 35.077 km/h.
    let grid = hours("nws/gridpoint.json");
    assert!(near(at(&grid, "2027-02-28T20:00:00Z").rain_mm, 2.829 / 6.0));
    assert!(near(at(&grid, "2027-02-28T03:00:00Z").gust_mps, 35.077 / 3.6));
    // 3.4 mm from midnight to six; the moment's values are those of its first hour alone.
    let met = hours("met-norway/compact.json");
    let midnight = at(&met, "2027-07-23T00:00:00Z");
    assert_eq!(
        (midnight.temp_c, midnight.rain_mm, midnight.spread),
        (Some(22.4), Some(3.4 / 6.0), true)
    );
    let one = at(&met, "2027-07-23T01:00:00Z");
    assert_eq!((one.temp_c, one.rain_mm), (None, Some(3.4 / 6.0)));
    assert_eq!(at(&met, "2027-07-29T06:00:00Z").rain_mm, None);
    // 0.806 inch in the hour before one o'clock, by a clock five hours behind.
    let open = hours("open-meteo/forecast_clock_change.json");
    assert!(near(at(&open, "2026-03-07T05:00:00Z").rain_mm, 0.806 * 25.4));
}

#[test]
fn a_value_of_another_type_is_missing_and_takes_nothing_with_it() {
    let file = Path::new(FORMS).join("met-norway/compact.json");
    let mut answer = serde_json::from_slice::<Value>(&bytes(&file)).unwrap()["data"].take();
    let first = &mut answer["properties"]["timeseries"][0]["data"]["instant"]["details"];
    first["wind_speed"] = "3.3".into();
    first["wind_from_direction"] = Value::Null;
    let read = met_norway::read(answer.to_string().as_bytes(), spots(1)[0]).unwrap();
    let Payload::Hours(forecasts) = read.payload else { panic!("days") };
    let hour = forecasts[0].hours[0];
    assert_eq!((hour.wind_mps, hour.temp_c), (None, Some(23.1)));
}
