//! Days at stations from the Applied Climate Information System (`/MultiStnData`).
//!
//! Source of the rules kept here: NOAA Regional Climate Centers, "ACIS Web Services"; `DeGaetano`,
//! Noon & Eggleston, Bulletin of the American Meteorological Society 96(2), 2015. An element asked
//! for with `add` of `t` comes as a pair of value and time of observation; a row is a day, without
//! its date; `T` is a trace, `M` missing, `S` part of a later total, `A` after a number that total;
//! 24 is midnight and -1 unknown; ids end in the code of their network, 10 for `CoCoRaHS`; inches
//! and F; errors come with status 200. That the time is the local hour at which the day ends is from
//! memory.

use super::body::{Read, Reader, Request, Unreadable};
use super::fault::{Fault, printable};
use super::observed_day::ObservedDay;
use super::source::{
    Answer, Area, Known, LandBox, Payload, Pulling, Source, SourceName, Validators,
};
use super::stations::{self, Station};
use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;
use furrowbell_config::local::instant;
use furrowbell_engine::units::{Celsius, Millimetres};
use furrowbell_engine::weather::Kind;
use serde::Deserialize;
use serde_json::{Value, json};
use std::ops::RangeInclusive;

const PATH: &str = "/MultiStnData";
/// Code of a network whose members read a rain gauge by hand every morning.
const HAND_READ: &str = " 10";
/// Rows and columns of one box of fields, degrees: a box holds some hundred stations.
const BOX_DEGREES: f64 = 1.0;

/// The service.
#[derive(Debug, Clone)]
pub struct Acis {
    reader: Reader,
    /// Where its observers' hours are told.
    zone: Tz,
}

/// What one answer holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Stations {
    /// The stations, whether or not they say anything.
    pub stations: Vec<Station>,
    /// What they measured.
    pub days: Vec<ObservedDay>,
}

#[derive(Deserialize)]
struct Found {
    error: Option<String>,
    #[serde(default)]
    data: Vec<Rows>,
}

#[derive(Deserialize)]
struct Rows {
    meta: Meta,
    data: Vec<Vec<Value>>,
}

#[derive(Deserialize)]
struct Meta {
    uid: u64,
    name: String,
    #[serde(default)]
    sids: Vec<String>,
    /// Longitude, then latitude; absent for the odd station that nobody has placed.
    ll: Option<[f64; 2]>,
}

/// One element of one day: what it says and the local hour at which its day ends.
struct Reading<'a> {
    text: &'a str,
    hour: Option<u32>,
}

/// What a rain gauge says of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Rain {
    Missing,
    Measured { mm: f64, trace: bool },
    PartOfLater,
    TotalOfSeveral { mm: f64 },
}

impl Acis {
    /// The service behind a reader; observers' hours are those of `zone`.
    pub const fn new(reader: Reader, zone: Tz) -> Self {
        Self { reader, zone }
    }

    /// The reader of its host.
    pub const fn reader(&self) -> &Reader {
        &self.reader
    }

    async fn stations(
        &self,
        land: LandBox,
        days: &RangeInclusive<NaiveDate>,
    ) -> Result<Answer, Fault> {
        let (first, last) = (*days.start(), *days.end());
        let (post, unconditional) = (request(land, first, last), Validators::default());
        let request = Request { post: Some(&post), ..Request::get(PATH, &unconditional) };
        let now = self.reader.clock().now();
        let read = |body: &[u8]| {
            let stations = parse(body, first, self.zone, now)?;
            Ok(Read { payload: Payload::Stations(stations), issued_at: None })
        };
        self.reader.ask(request, read).await
    }
}

impl Source for Acis {
    fn name(&self) -> SourceName {
        SourceName::Acis
    }

    fn pull<'a>(&'a self, area: &'a Area, _known: &'a Known) -> Pulling<'a> {
        Box::pin(async move {
            match area {
                Area::Stations(land, days) => self.stations(*land, days).await,
                _ => Err(Fault::wrong_area(area)),
            }
        })
    }
}

impl LandBox {
    /// The fewest boxes on a fixed net that hold every place, each widened by `reach_km`.
    pub fn around(places: impl IntoIterator<Item = (f64, f64)>, reach_km: f64) -> Vec<Self> {
        let mut boxes: Vec<((f64, f64), Self)> = Vec::new();
        for (latitude, longitude) in places {
            let key = ((latitude / BOX_DEGREES).floor(), (longitude / BOX_DEGREES).floor());
            let own = Self { west: longitude, south: latitude, east: longitude, north: latitude };
            match boxes.iter_mut().find(|(at, _)| *at == key) {
                Some((_, all)) => *all = all.with(own),
                None => boxes.push((key, own)),
            }
        }
        boxes.into_iter().map(|(_, one)| one.widened(reach_km)).collect()
    }

    const fn with(self, other: Self) -> Self {
        Self {
            west: self.west.min(other.west),
            south: self.south.min(other.south),
            east: self.east.max(other.east),
            north: self.north.max(other.north),
        }
    }

    fn widened(self, reach_km: f64) -> Self {
        let north = reach_km / stations::KM_A_DEGREE;
        let shrink = self.north.abs().max(self.south.abs()).to_radians().cos().max(0.1);
        let east = north / shrink;
        Self {
            west: self.west - east,
            south: self.south - north,
            east: self.east + east,
            north: self.north + north,
        }
    }
}

/// The request for all stations of a box and the days from `first` to `last`.
fn request(land: LandBox, first: NaiveDate, last: NaiveDate) -> Value {
    let LandBox { west, south, east, north } = land;
    let element = |name: &str| json!({ "name": name, "add": "t" });
    json!({
        "bbox": format!("{west:.2},{south:.2},{east:.2},{north:.2}"),
        "sdate": first.to_string(),
        "edate": last.to_string(),
        "elems": [element("pcpn"), element("maxt"), element("mint")],
        "meta": ["uid", "name", "ll", "sids"],
    })
}

/// Reads the answer to a request whose days begin at `first`; hours of observation are those of
/// `zone`.
fn parse(
    body: &[u8],
    first: NaiveDate,
    zone: Tz,
    fetched_at: DateTime<Utc>,
) -> Result<Stations, Unreadable> {
    let found: Found = serde_json::from_slice(body)?;
    if let Some(error) = found.error {
        let what = format!("is an error: {}", printable(&error));
        return Err(Unreadable { what, cut_short: false });
    }
    let mut all = Stations::default();
    for rows in found.data {
        let Some([longitude, latitude]) = rows.meta.ll else { continue };
        let id = format!("acis:{}", rows.meta.uid);
        all.days.extend(days(&id, &rows.data, first, zone, fetched_at));
        let Meta { name, sids, .. } = rows.meta;
        let hand_read = sids.iter().any(|sid| sid.ends_with(HAND_READ));
        let listed_at = fetched_at;
        all.stations.push(Station { id, name, latitude, longitude, hand_read, listed_at });
    }
    Ok(all)
}

fn days(
    id: &str,
    rows: &[Vec<Value>],
    first: NaiveDate,
    zone: Tz,
    fetched_at: DateTime<Utc>,
) -> Vec<ObservedDay> {
    let mut days = Vec::new();
    let mut unreported = 0;
    for (date, row) in first.iter_days().zip(rows) {
        let [rain, high, low] = [0, 1, 2].map(|at| row.get(at).and_then(Reading::of));
        // One row has one period: the rain's, and temperatures read at another hour are left out.
        let hour = rain.as_ref().or(high.as_ref()).or(low.as_ref()).and_then(|one| one.hour);
        let told = rain.as_ref().map_or(Rain::Missing, Reading::rain);
        let before = if told == Rain::PartOfLater { unreported + 1 } else { 0 };
        let covered = std::mem::replace(&mut unreported, before);
        let Some(hour) = hour else { continue };
        let ends_at = end_of(date, hour, zone);
        // A total covers the days before it that are part of it; one whose days lie before the
        // first that was asked for covers at least two.
        let days_in_all =
            if matches!(told, Rain::TotalOfSeveral { .. }) { 1 + covered.max(1) } else { 1 };
        let starts_at = end_of(date - Days::new(days_in_all), hour, zone);
        if starts_at >= ends_at || ends_at > fetched_at {
            continue;
        }
        let celsius = |reading: Option<&Reading<'_>>| {
            reading.filter(|one| one.hour == Some(hour) && days_in_all == 1)?.celsius()
        };
        let (rain_mm, trace) = match told {
            Rain::Measured { mm, trace } => (Some(mm), trace),
            Rain::TotalOfSeveral { mm } => (Some(mm), false),
            Rain::Missing | Rain::PartOfLater => (None, false),
        };
        let period = (starts_at, ends_at);
        days.push(ObservedDay {
            rain_mm,
            trace,
            high_c: celsius(high.as_ref()),
            low_c: celsius(low.as_ref()),
            ..ObservedDay::unknown(
                id.to_owned(),
                SourceName::Acis,
                Kind::Station,
                date,
                period,
                fetched_at,
            )
        });
    }
    days.retain(ObservedDay::says_something);
    days
}

/// The moment at which a station's day ends.
fn end_of(date: NaiveDate, hour: u32, zone: Tz) -> DateTime<Utc> {
    match NaiveTime::from_hms_opt(hour, 0, 0) {
        Some(time) => instant(date, time, zone),
        None => instant(date + Days::new(1), NaiveTime::MIN, zone),
    }
}

impl<'a> Reading<'a> {
    /// A pair of value and hour. A value that comes alone says nothing of its period, which makes
    /// it useless here.
    fn of(cell: &'a Value) -> Option<Self> {
        let text = cell.get(0)?.as_str()?.trim();
        let hour = cell.get(1)?;
        let hour = hour.as_u64().or_else(|| hour.as_str()?.trim().parse().ok());
        let hour = hour.and_then(|hour| u32::try_from(hour).ok()).filter(|hour| *hour <= 24);
        Some(Self { text, hour })
    }

    fn rain(&self) -> Rain {
        let millimetres = |text: &str| {
            let inches: f64 = text.trim().parse().ok()?;
            Millimetres::new(inches * 25.4).ok().map(Millimetres::get)
        };
        match self.text {
            "T" => Rain::Measured { mm: 0.0, trace: true },
            "S" => Rain::PartOfLater,
            text => match text.strip_suffix('A') {
                Some(total) => {
                    millimetres(total).map_or(Rain::Missing, |mm| Rain::TotalOfSeveral { mm })
                }
                None => millimetres(text)
                    .map_or(Rain::Missing, |mm| Rain::Measured { mm, trace: false }),
            },
        }
    }

    fn celsius(&self) -> Option<f64> {
        let fahrenheit: f64 = self.text.parse().ok()?;
        Celsius::new((fahrenheit - 32.0) / 1.8).ok().map(Celsius::get)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;
    use chrono_tz::America::Chicago;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn read(rows: &Value, first: &str) -> Vec<ObservedDay> {
        let body = json!({ "data": [{
            "meta": { "uid": 4211, "name": "MILL CREEK 3 NE", "ll": [-96.52, 41.23],
                      "sids": ["US1NESA0004 6", "NE-SA-4 10"] },
            "data": rows,
        }]});
        let fetched = "2027-01-10T15:00:00Z".parse().unwrap();
        let read = parse(body.to_string().as_bytes(), date(first), Chicago, fetched).unwrap();
        assert_eq!(read.stations[0].id, "acis:4211");
        assert!(read.stations[0].hand_read);
        assert_eq!((read.stations[0].latitude, read.stations[0].longitude), (41.23, -96.52));
        read.days
    }

    /// Shape after the service's documented fields; the figures are made up.
    #[test]
    fn a_morning_observers_days_end_at_seven_and_letters_are_understood() {
        let days = read(
            &json!([
                [["0.50", 7], ["86", 7], ["59", 7]],
                [["T", 7], ["M", 7], ["M", 7]],
                [["M", 7], ["77", 7], ["M", 7]],
                [["0.00", 7], ["77", 17], ["50", 7]],
                [["M", 7], ["M", 7], ["M", 7]],
            ]),
            "2026-06-09",
        );
        let [rain, trace, warm, dry] = days.as_slice() else { panic!("{days:?}") };
        assert!((rain.rain_mm.unwrap() - 12.7).abs() < 1e-9 && !rain.trace);
        assert_eq!(rain.ends_at.to_rfc3339(), "2026-06-09T12:00:00+00:00");
        assert_eq!(rain.ends_at - rain.starts_at, TimeDelta::days(1));
        assert_eq!(rain.local_day(Chicago), Some(date("2026-06-08")));
        assert_eq!((trace.rain_mm, trace.trace, trace.high_c), (Some(0.0), true, None));
        assert_eq!((warm.rain_mm, warm.high_c), (None, Some(25.0)));
        // A high that was read in the evening has another period than the rain.
        assert_eq!((dry.rain_mm, dry.trace, dry.high_c), (Some(0.0), false, None));
        assert_eq!(dry.low_c, Some(10.0));
    }

    #[test]
    fn a_total_of_several_days_keeps_its_whole_period_and_serves_none() {
        let days = read(
            &json!([
                [["0.10", 7], ["M", 7], ["M", 7]],
                [["S", 7], ["M", 7], ["M", 7]],
                [["S", 7], ["M", 7], ["M", 7]],
                [["1.20A", 7], ["80", 7], ["60", 7]],
                [["0.00", 7], ["M", 7], ["M", 7]],
            ]),
            "2026-06-05",
        );
        let [_, total, _] = days.as_slice() else { panic!("{days:?}") };
        assert_eq!((total.ends_at - total.starts_at).num_days(), 3);
        assert!((total.rain_mm.unwrap() - 30.48).abs() < 1e-9);
        assert_eq!((total.local_day(Chicago), total.high_c), (None, None));
        // The days it covers lie before the first that was asked for.
        let first = read(&json!([[["0.80A", 7], ["M", 7], ["M", 7]]]), "2026-06-05");
        assert_eq!(first[0].local_day(Chicago), None);
    }

    #[test]
    fn a_value_without_its_hour_is_no_use() {
        let unknown = json!([[["0.50", -1], ["86", -1], ["59", -1]], ["0.50", "86", "59"], []]);
        assert_eq!(read(&unknown, "2026-06-09"), []);
    }

    /// Clocks changed on 2026-03-08 and 2026-11-01 in the US (Energy Policy Act of 2005, sec. 110).
    #[test]
    fn midnight_days_follow_the_clocks_the_leap_day_and_the_years_end() {
        for (first, hours) in [("2026-03-08", 23), ("2026-11-01", 25), ("2026-12-31", 24)] {
            let days = read(&json!([[["0.20", 24], ["50", 24], ["32", 24]]]), first);
            assert_eq!((days[0].ends_at - days[0].starts_at).num_hours(), hours);
            assert_eq!(days[0].local_day(Chicago), Some(date(first)));
            assert_eq!(days[0].low_c, Some(0.0));
        }
        let row = json!([["0.20", "7"], ["M", "7"], ["M", "7"]]);
        let fetched = "2028-03-10T15:00:00Z".parse().unwrap();
        let rows: Vec<Vec<Value>> = serde_json::from_value(json!([row, row, row])).unwrap();
        let days = days("acis:1", &rows, date("2028-02-28"), Chicago, fetched);
        let served: Vec<_> = days.iter().map(|day| day.local_day(Chicago).unwrap()).collect();
        assert_eq!(served, [date("2028-02-27"), date("2028-02-28"), date("2028-02-29")]);
    }

    #[test]
    fn an_error_under_status_200_is_an_error() {
        let fetched = "2026-06-11T14:30:00Z".parse().unwrap();
        let read = |body: &str| parse(body.as_bytes(), date("2026-06-09"), Chicago, fetched);
        let refused = read(r#"{"error": "bad elems\u0007"}"#).unwrap_err();
        assert!(refused.what.starts_with("is an error: bad elems"), "{refused:?}");
        assert!(!read("<html>").unwrap_err().cut_short);
        assert!(read(r#"{"data": [{"meta""#).unwrap_err().cut_short);
        assert_eq!(read(r#"{"data": []}"#).unwrap(), Stations::default());
    }

    #[test]
    fn fields_side_by_side_share_a_box_and_no_request_tells_more_than_a_kilometre() {
        let boxes = LandBox::around([(41.2104, -96.4921), (41.6, -96.1), (42.3, -96.2)], 30.0);
        assert_eq!(boxes.len(), 2);
        assert!(boxes[0].south < 40.95 && boxes[0].north > 41.86);
        let asked = request(boxes[1], date("2026-06-05"), date("2026-06-10"));
        assert_eq!(asked["bbox"], "-96.56,42.03,-95.84,42.57");
        assert_eq!(
            (&asked["sdate"], &asked["edate"]),
            (&json!("2026-06-05"), &json!("2026-06-10"))
        );
        assert_eq!(asked["elems"][0], json!({ "name": "pcpn", "add": "t" }));
    }
}
