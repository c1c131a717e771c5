//! Days at a spot from the Iowa Environmental Mesonet's reanalysis (`/iemre/multiday.py`).
//!
//! Source of the rules kept here: Iowa State University, Iowa Environmental Mesonet, API
//! documentation, "IEMRE Multi-Day Data" (change log to 26 September 2025): inches and F; unknown is
//! null; radar rain is all null when a range crosses the new year; answers are kept for an hour.

use super::body::{Read, Reader, Request, Unreadable};
use super::fault::Fault;
use super::observed_day::{ObservedDay, local_period};
use super::source::{Answer, Area, Known, Payload, Pulling, Source, SourceName, Spot, Validators};
use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};
use chrono_tz::America::Chicago;
use furrowbell_engine::sky::vapour::{mean_saturation, saturation};
use furrowbell_engine::units::{Celsius, MegajoulesPerSquareMetre, Millimetres, Percent};
use furrowbell_engine::weather::Kind;
use serde::Deserialize;
use std::ops::RangeInclusive;

/// Days that are asked for again: radar rain is revised as gauges report.
const REVISED_DAYS: u64 = 5;
/// Longest range of one request.
const LONGEST: i64 = 100;

/// The service.
#[derive(Debug, Clone)]
pub struct Mesonet {
    reader: Reader,
}

#[derive(Deserialize)]
struct Found {
    generated_at: Option<DateTime<Utc>>,
    data: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    date: NaiveDate,
    /// Radar, corrected by gauges (MRMS).
    mrms_precip_in: Option<f64>,
    /// Airport stations around the spot, interpolated.
    daily_high_f: Option<f64>,
    daily_low_f: Option<f64>,
    avg_dewpoint_f: Option<f64>,
    /// The reanalysis' own hourly rain, summed.
    daily_precip_in: Option<f64>,
    soil4t_high_f: Option<f64>,
    soil4t_low_f: Option<f64>,
    solar_mj: Option<f64>,
}

impl Mesonet {
    /// The service behind a reader.
    pub const fn new(reader: Reader) -> Self {
        Self { reader }
    }

    /// The reader of its host.
    pub const fn reader(&self) -> &Reader {
        &self.reader
    }

    async fn days(&self, spot: Spot, days: &RangeInclusive<NaiveDate>) -> Result<Answer, Fault> {
        let (path, unconditional) = (path(spot, days), Validators::default());
        let now = self.reader.clock().now();
        let read = |body: &[u8]| {
            let Read { mut payload, issued_at } = parse(body, &spot.id(), now)?;
            payload.retain(|day| days.contains(&day.date));
            Ok(Read { payload: Payload::Days(payload), issued_at })
        };
        self.reader.ask(Request::get(&path, &unconditional), read).await
    }
}

impl Source for Mesonet {
    fn name(&self) -> SourceName {
        SourceName::Mesonet
    }

    fn pull<'a>(&'a self, area: &'a Area, _known: &'a Known) -> Pulling<'a> {
        Box::pin(async move {
            match area {
                Area::Days(spot, days) => self.days(*spot, days).await,
                _ => Err(Fault::wrong_area(area)),
            }
        })
    }
}

/// The ranges of days to ask for as of `today`: the last five anew and every missing day since
/// `first`, each within one calendar year, the newest first.
pub fn ranges(
    first: NaiveDate,
    today: NaiveDate,
    known: impl Fn(NaiveDate) -> bool,
) -> Vec<RangeInclusive<NaiveDate>> {
    let Some(yesterday) = today.pred_opt() else { return Vec::new() };
    let revised = today - Days::new(REVISED_DAYS);
    let oldest_gap = first.iter_days().take_while(|day| *day < revised).find(|day| !known(*day));
    let mut from = oldest_gap.unwrap_or(revised);
    let mut ranges = Vec::new();
    while from <= yesterday {
        let new_years_eve = NaiveDate::from_ymd_opt(from.year(), 12, 31).unwrap_or(yesterday);
        let until = yesterday.min(new_years_eve).min(from + TimeDelta::days(LONGEST - 1));
        ranges.push(from..=until);
        from = until + Days::new(1);
    }
    ranges.reverse();
    ranges
}

fn path(spot: Spot, days: &RangeInclusive<NaiveDate>) -> String {
    let Spot { latitude, longitude } = spot;
    let (from, until) = (days.start(), days.end());
    format!("/iemre/multiday.py?sdate={from}&edate={until}&lat={latitude:.2}&lon={longitude:.2}")
}

/// Reads an answer. Each day gives up to three rows, by how its values are known; a day that is
/// not over yet gives none. An answer without days is in order.
fn parse(
    body: &[u8],
    spot: &str,
    fetched_at: DateTime<Utc>,
) -> Result<Read<Vec<ObservedDay>>, Unreadable> {
    let found: Found = serde_json::from_slice(body)?;
    let mut days = Vec::new();
    for row in found.data {
        // The radar's day runs from midnight to midnight in Iowa, as do the airports'.
        let local = local_period(row.date, Chicago);
        let blank = |kind, period| {
            let source = SourceName::Mesonet;
            let day =
                ObservedDay::unknown(spot.to_owned(), source, kind, row.date, period, fetched_at);
            ObservedDay { issued_at: found.generated_at, ..day }
        };
        let (high_c, low_c) = (celsius(row.daily_high_f), celsius(row.daily_low_f));
        days.extend([
            ObservedDay { rain_mm: millimetres(row.mrms_precip_in), ..blank(Kind::Radar, local) },
            ObservedDay {
                high_c,
                low_c,
                humidity_pct: humidity(celsius(row.avg_dewpoint_f), high_c, low_c),
                ..blank(Kind::Station, local)
            },
            ObservedDay {
                rain_mm: millimetres(row.daily_precip_in),
                solar_mj: known(row.solar_mj, MegajoulesPerSquareMetre::new),
                soil_high_c: celsius(row.soil4t_high_f),
                soil_low_c: celsius(row.soil4t_low_f),
                ..blank(Kind::Model, reanalysis_period(row.date))
            },
        ]);
    }
    days.retain(|day| day.says_something() && day.ends_at <= fetched_at);
    Ok(Read { payload: days, issued_at: found.generated_at })
}

/// The reanalysis sums its hours from 6 to 6 UTC.
fn reanalysis_period(date: NaiveDate) -> (DateTime<Utc>, DateTime<Utc>) {
    let start = date.and_time(chrono::NaiveTime::MIN).and_utc() + TimeDelta::hours(6);
    (start, start + TimeDelta::days(1))
}

/// Mean humidity from the mean dewpoint: vapour over the day's saturated vapour (Allen, Pereira,
/// Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, Eq. 12, 14 and 19).
fn humidity(dewpoint: Option<f64>, high: Option<f64>, low: Option<f64>) -> Option<f64> {
    let share = 100.0 * saturation(dewpoint?) / mean_saturation(high?, low?);
    known(Some(share.min(100.0)), Percent::new)
}

fn celsius(fahrenheit: Option<f64>) -> Option<f64> {
    known(fahrenheit.map(|f| (f - 32.0) / 1.8), Celsius::new)
}

fn millimetres(inches: Option<f64>) -> Option<f64> {
    known(inches.map(|inches| inches * 25.4), Millimetres::new)
}

/// A value outside its range is not believed: it stays unknown.
fn known<T, E>(value: Option<f64>, make: fn(f64) -> Result<T, E>) -> Option<f64> {
    value.filter(|value| make(*value).is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn texts(ranges: &[RangeInclusive<NaiveDate>]) -> Vec<String> {
        ranges.iter().map(|range| format!("{} {}", range.start(), range.end())).collect()
    }

    /// Shape after the service's documented fields; the figures are made up.
    const ANSWER: &str = r#"{"generated_at": "2026-06-11T14:20:00Z", "iemre_domain": "",
        "iemre_i": 236, "iemre_j": 146, "data": [
        {"date": "2026-06-09", "mrms_precip_in": 0.62, "prism_precip_in": null,
         "daily_high_f": 86.0, "12z_high_f": 84.1, "climate_daily_high_f": 80.2,
         "daily_low_f": 68.0, "12z_low_f": 66.0, "avg_dewpoint_f": 68.0, "soil4t_high_f": 77.0,
         "soil4t_low_f": 68.0, "climate_daily_low_f": 59.1, "daily_precip_in": 0.5,
         "12z_precip_in": 0.1, "climate_daily_precip_in": 0.16, "solar_mj": 18.25},
        {"date": "2026-06-10", "mrms_precip_in": null, "prism_precip_in": null,
         "daily_high_f": null, "12z_high_f": null, "climate_daily_high_f": 80.4,
         "daily_low_f": 1200.0, "12z_low_f": null, "avg_dewpoint_f": null, "soil4t_high_f": null,
         "soil4t_low_f": null, "climate_daily_low_f": 59.3, "daily_precip_in": 0.0,
         "12z_precip_in": null, "climate_daily_precip_in": 0.16, "solar_mj": null},
        {"date": "2026-06-11", "mrms_precip_in": 0.04, "prism_precip_in": null,
         "daily_high_f": null, "12z_high_f": null, "climate_daily_high_f": 80.6,
         "daily_low_f": null, "12z_low_f": null, "avg_dewpoint_f": null, "soil4t_high_f": null,
         "soil4t_low_f": null, "climate_daily_low_f": 59.5, "daily_precip_in": null,
         "12z_precip_in": null, "climate_daily_precip_in": 0.16, "solar_mj": null}],
        "timing_seconds": 0.21}"#;

    #[test]
    fn a_day_gives_a_row_for_each_way_of_knowing() {
        let fetched = at("2026-06-11T14:30:00Z");
        let days = parse(ANSWER.as_bytes(), "41.21,-96.49", fetched).unwrap().payload;
        let [radar, station, model, dry] = days.as_slice() else { panic!("{days:?}") };
        assert_eq!((radar.kind, radar.date), (Kind::Radar, date("2026-06-09")));
        assert!((radar.rain_mm.unwrap() - 15.748).abs() < 1e-9);
        assert_eq!(radar.starts_at, at("2026-06-09T05:00:00Z"));
        assert_eq!(radar.issued_at, Some(at("2026-06-11T14:20:00Z")));
        assert_eq!((radar.fetched_at, radar.high_c), (fetched, None));
        let temperatures = (station.high_c.unwrap(), station.low_c.unwrap());
        assert!((temperatures.0 - 30.0).abs() < 1e-9 && (temperatures.1 - 20.0).abs() < 1e-9);
        // FAO 56, Annex 2, Table 2.3: 2.338 kPa at 20 C, 4.243 kPa at 30 C.
        let share = 100.0 * 2.338 / f64::midpoint(2.338, 4.243);
        assert!((station.humidity_pct.unwrap() - share).abs() < 0.05);
        assert_eq!((model.kind, model.solar_mj), (Kind::Model, Some(18.25)));
        assert!((model.soil_high_c.unwrap() - 25.0).abs() < 1e-9);
        assert_eq!(model.starts_at, at("2026-06-09T06:00:00Z"));
        // Unknown radar rain is not the reanalysis' dry day, an absurd low is none, and the day
        // that is not over says nothing.
        assert_eq!((dry.kind, dry.rain_mm), (Kind::Model, Some(0.0)));
    }

    #[test]
    fn an_answer_without_days_is_in_order_and_a_page_is_not() {
        let fetched = at("2026-06-11T14:30:00Z");
        let empty = r#"{"generated_at": "2026-06-11T14:20:00Z", "data": []}"#;
        assert_eq!(parse(empty.as_bytes(), "41.21,-96.49", fetched).unwrap().payload, []);
        assert!(parse(b"<html>", "41.21,-96.49", fetched).is_err());
        assert!(parse(b"{}", "41.21,-96.49", fetched).is_err());
    }

    #[test]
    fn the_last_five_days_are_asked_for_anew_and_older_gaps_filled() {
        let today = date("2026-06-11");
        let first = date("2026-05-20");
        let ask = |known: fn(NaiveDate) -> bool| texts(&ranges(first, today, known));
        assert_eq!(ask(|_| true), ["2026-06-06 2026-06-10"]);
        assert_eq!(ask(|day| day != date("2026-06-02")), ["2026-06-02 2026-06-10"]);
        assert_eq!(ask(|_| false), ["2026-05-20 2026-06-10"]);
        assert_eq!(texts(&ranges(today, today, |_| false)), ["2026-06-06 2026-06-10"]);
    }

    #[test]
    fn no_range_crosses_the_new_year_and_leap_day_is_a_day() {
        let turn = ranges(date("2026-12-20"), date("2027-01-03"), |_| true);
        assert_eq!(texts(&turn), ["2027-01-01 2027-01-02", "2026-12-29 2026-12-31"]);
        let leap = ranges(date("2028-01-01"), date("2028-03-02"), |_| true);
        assert_eq!(texts(&leap), ["2028-02-26 2028-03-01"]);
        let eve = ranges(date("2026-12-20"), date("2027-01-01"), |_| true);
        assert_eq!(texts(&eve), ["2026-12-27 2026-12-31"]);
        let season = ranges(date("2026-03-01"), date("2026-09-17"), |_| false);
        let days: i64 = season.iter().map(|one| (*one.end() - *one.start()).num_days() + 1).sum();
        assert_eq!((season.len(), days), (2, 200));
    }

    #[test]
    fn a_request_names_a_spot_and_days_and_nothing_else() {
        let days = date("2026-06-06")..=date("2026-06-10");
        assert_eq!(
            path(Spot { latitude: 41.2, longitude: -96.49 }, &days),
            "/iemre/multiday.py?sdate=2026-06-06&edate=2026-06-10&lat=41.20&lon=-96.49"
        );
    }

    /// Clocks changed on 2026-03-08 and 2026-11-01 in the US (Energy Policy Act of 2005, sec. 110).
    #[test]
    fn the_radars_day_is_as_long_as_the_local_one() {
        let fetched = at("2026-12-01T15:00:00Z");
        for (day, hours) in [("2026-03-08", 23), ("2026-11-01", 25)] {
            let body = ANSWER.replace("2026-06-09", day);
            let days = parse(body.as_bytes(), "41.21,-96.49", fetched).unwrap().payload;
            assert_eq!((days[0].ends_at - days[0].starts_at).num_hours(), hours);
            assert_eq!(days[0].local_day(Chicago), Some(date(day)));
            assert_eq!(days[2].local_day(Chicago), Some(date(day)));
        }
    }
}
