//! Rain on the local day it falls on, through every parser: days of 23 and 25 hours, a leap day, the
//! end of a year, and services that write times with a local offset.
//!
//! Clocks in the US go forward on the second Sunday of March and back on the first of November
//! (Energy Policy Act of 2005, section 110).

use super::cells::Cell;
use super::days::assemble;
use super::files;
use super::grid::Hour;
use super::source::{Payload, Spot};
use super::{met_norway, nws, open_meteo};
use crate::weather::body::{Read, Unreadable};
use chrono::{DateTime, FixedOffset, TimeDelta};
use chrono_tz::America::Chicago;
use furrowbell_engine::weather::Kind;
use serde_json::{Value, json};

/// Rain of three days in a row, mm.
const RAIN: [f64; 3] = [2.4, 5.75, 3.6];
const SPOT: Spot = Spot { latitude: 41.21, longitude: -96.62 };

/// Local midnights in Iowa around days that are not like others, and the hours between them.
const CASES: [([&str; 4], [u32; 3]); 4] = [
    (
        [
            "2026-03-07T00:00:00-06:00",
            "2026-03-08T00:00:00-06:00",
            "2026-03-09T00:00:00-05:00",
            "2026-03-10T00:00:00-05:00",
        ],
        [24, 23, 24],
    ),
    (
        [
            "2026-10-31T00:00:00-05:00",
            "2026-11-01T00:00:00-05:00",
            "2026-11-02T00:00:00-06:00",
            "2026-11-03T00:00:00-06:00",
        ],
        [24, 25, 24],
    ),
    (
        [
            "2028-02-28T00:00:00-06:00",
            "2028-02-29T00:00:00-06:00",
            "2028-03-01T00:00:00-06:00",
            "2028-03-02T00:00:00-06:00",
        ],
        [24, 24, 24],
    ),
    (
        [
            "2026-12-30T00:00:00-06:00",
            "2026-12-31T00:00:00-06:00",
            "2027-01-01T00:00:00-06:00",
            "2027-01-02T00:00:00-06:00",
        ],
        [24, 24, 24],
    ),
];

/// Start of every hour, as its day's midnight writes it, with its share of the day's rain.
fn hours(midnights: [&str; 4], lengths: [u32; 3]) -> Vec<(DateTime<FixedOffset>, f64)> {
    let mut all = Vec::new();
    for ((midnight, length), rain) in midnights.into_iter().zip(lengths).zip(RAIN) {
        let midnight: DateTime<FixedOffset> = midnight.parse().unwrap();
        let hour = |at: u32| (midnight + TimeDelta::hours(at.into()), rain / f64::from(length));
        all.extend((0..length).map(hour));
    }
    all
}

fn body_hours(read: Result<Read<Payload>, Unreadable>) -> Vec<Hour> {
    let Payload::Hours(mut forecasts) = read.unwrap().payload else { panic!("days") };
    assert_eq!(forecasts[0].refused, []);
    forecasts.remove(0).hours
}

#[track_caller]
fn assert_days(midnights: [&str; 4], hours: &[Hour]) {
    let days = assemble(hours, Chicago, Kind::Forecast);
    let dates: Vec<_> = days.iter().map(|day| day.date.to_string()).collect();
    assert_eq!(dates, midnights[..3].iter().map(|text| &text[..10]).collect::<Vec<_>>());
    for (day, rain) in days.iter().zip(RAIN) {
        let found = day.rain.unwrap_or_else(|| panic!("{} has no rain", day.date));
        assert!((found.value.get() - rain).abs() < 1e-9, "{}: {found:?}", day.date);
    }
}

fn grid(periods: &[Value]) -> Vec<Hour> {
    let body = json!({"properties": {"updateTime": "2026-03-06T18:00:00-06:00",
        "quantitativePrecipitation": {"uom": "wmoUnit:mm", "values": periods}}});
    let cell = Cell::new("OAX", 59, 58).unwrap();
    body_hours(nws::read_grid(body.to_string().as_bytes(), &cell))
}

#[test]
fn a_total_from_one_local_midnight_to_the_next_is_that_days_rain() {
    for (midnights, _) in CASES {
        let total = |at: usize| {
            let period = format!("{}/{}", midnights[at], midnights[at + 1]);
            json!({"validTime": period, "value": RAIN[at]})
        };
        assert_days(midnights, &grid(&(0..3).map(total).collect::<Vec<_>>()));
    }
}

#[test]
fn hours_of_the_weather_service_may_be_written_with_a_local_offset_or_in_utc() {
    for (midnights, lengths) in CASES {
        let hours = hours(midnights, lengths);
        let value =
            |start: String, rain: f64| json!({"validTime": format!("{start}/PT1H"), "value": rain});
        let local =
            grid(&hours.iter().map(|(at, mm)| value(at.to_rfc3339(), *mm)).collect::<Vec<_>>());
        let utc = grid(
            &hours.iter().map(|(at, mm)| value(at.to_utc().to_rfc3339(), *mm)).collect::<Vec<_>>(),
        );
        assert_eq!(local, utc);
        assert_days(midnights, &local);
    }
}

#[test]
fn steps_of_met_norway_fall_on_local_days() {
    for (midnights, lengths) in CASES {
        let steps = hours(midnights, lengths).into_iter().map(|(at, mm)| {
            json!({"time": at.to_rfc3339(), "data": {"instant": {"details": {}},
                "next_1_hours": {"details": {"precipitation_amount": mm}}}})
        });
        let body = json!({"properties": {"meta": {"updated_at": "2026-03-06T18:00:00-06:00",
            "units": {"precipitation_amount": "mm"}}, "timeseries": steps.collect::<Vec<_>>()}});
        let hours = body_hours(met_norway::read(body.to_string().as_bytes(), SPOT));
        assert_days(midnights, &hours);
    }
}

/// A sum stands at the end of its hour. One offset serves a whole answer, so that its wall clock is
/// right on one side of a change only; its instants are right on both.
#[test]
fn sums_of_open_meteo_belong_to_the_hour_before_whatever_the_offset() {
    for (midnights, lengths) in CASES {
        let hours = hours(midnights, lengths);
        let rain: Vec<_> = hours.iter().map(|(_, mm)| mm).collect();
        for offset in [0, -21_600, -18_000] {
            let zone = FixedOffset::east_opt(offset).unwrap();
            let ends = hours.iter().map(|(at, _)| *at + TimeDelta::hours(1));
            let wall =
                ends.map(|end| end.with_timezone(&zone).format("%Y-%m-%dT%H:%M").to_string());
            let body = json!({"utc_offset_seconds": offset,
                "hourly_units": {"precipitation": "mm"},
                "hourly": {"time": wall.collect::<Vec<_>>(), "precipitation": rain}});
            let hours = body_hours(open_meteo::read(body.to_string().as_bytes(), &[SPOT]));
            assert_days(midnights, &hours);
        }
    }
}

#[test]
fn daily_rows_know_which_years_have_a_leap_day() {
    let rows = |date: &str| format!("date,high_f,low_f,rain_in\n{date},50,30,0.1\n");
    let read = files::sift_text(&rows("2028-02-29")).unwrap();
    assert_eq!((read.days.len(), read.refused.len()), (1, 0));
    for date in ["2026-02-29", "2100-02-29", "2028-02-30"] {
        let read = files::sift_text(&rows(date)).unwrap();
        assert_eq!((read.days.len(), read.refused.len()), (0, 1), "{date}");
    }
}
