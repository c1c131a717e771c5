//! Observed days and warnings from loopback services in the forms of the mesonet, of ACIS and of
//! api.weather.gov.

use super::stage::{FIELDS, FILES, Stage, utc};
use crate::rounds::observe::WARNINGS;
use crate::rounds::pull::Pulled;
use crate::store::{Fetch, Record, Via};
use crate::weather::pedigree::Element;
use crate::weather::source::SourceName;
use crate::wire::Outside;
use chrono::{NaiveDate, TimeDelta};
use furrowbell_engine::journal::Event;
use furrowbell_engine::units::Millimetres;
use furrowbell_engine::weather::Kind;
use serde_json::{Value, json};
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockGuard, MockServer, ResponseTemplate};

const START: &str = "2026-05-11T16:00:00Z";
const SPOT: &str = "41.21,-96.62";
const DAYS: &str = "/iemre/multiday.py";
const STATIONS: &str = "/MultiStnData";

fn day(number: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, number).unwrap()
}

fn mesonet(server: &MockServer) -> String {
    format!("[weather.mesonet]\nbase_url = \"{}\"\nbackfill_days = 5\n", server.uri())
}

fn acis(server: &MockServer) -> String {
    format!("[weather.acis]\nbase_url = \"{}\"\n", server.uri())
}

fn alerts(server: &MockServer) -> String {
    format!("[weather.alerts]\nbase_url = \"{}\"\nevery_minutes = 10\n", server.uri())
}

async fn stage(service: &str) -> Stage {
    Stage::with(START, &format!("{FILES}{service}"), "", Outside::Real).await
}

async fn answers(server: &MockServer, verb: &str, at: &str, with: ResponseTemplate) -> MockGuard {
    Mock::given(method(verb)).and(path(at)).respond_with(with).mount_as_scoped(server).await
}

/// The radar's rain of 10 May, made at `made`.
fn radar(inches: Option<f64>, made: &str) -> ResponseTemplate {
    let row = json!({"date": "2026-05-10", "mrms_precip_in": inches, "daily_high_f": 77.0,
        "daily_low_f": 59.0, "avg_dewpoint_f": 59.0, "daily_precip_in": 0.1, "solar_mj": 20.0,
        "soil4t_high_f": null, "soil4t_low_f": null});
    ResponseTemplate::new(200).set_body_json(json!({"generated_at": made, "data": [row]}))
}

/// A station three kilometres from the first field that was read at 7 a.m. on the 11th.
fn station(rain: &str, network: &str) -> ResponseTemplate {
    let none = json!([["M", -1], ["M", -1], ["M", -1]]);
    let mut rows = vec![none; 10];
    rows.push(json!([[rain, 7], ["80", 7], ["55", 7]]));
    ResponseTemplate::new(200).set_body_json(json!({"data": [{
        "meta": {"uid": 4211, "name": "MILL CREEK 3 NE", "ll": [-96.62, 41.237],
                 "sids": [format!("X {network}")]},
        "data": rows}]}))
}

/// Passes until nothing is due.
async fn observe(stage: &Stage) -> Pulled {
    let mut fresh = false;
    loop {
        let pulled = stage.desk.observe().await.unwrap().unwrap();
        fresh |= pulled.fresh;
        if pulled.next - stage.desk.clock.now() > TimeDelta::seconds(30) {
            return Pulled { fresh, ..pulled };
        }
        stage.desk.clock.advance_to(pulled.next);
    }
}

/// The best rain of a day for the first field, with how it is known.
async fn rain(stage: &Stage, on: NaiveDate) -> Option<(f64, Kind, SourceName)> {
    let desk = &stage.desk;
    let (farm, field) = (&desk.book.farms[0], &desk.book.fields[0]);
    let all = desk.pedigree(farm, field, desk.clock.now()).await.unwrap();
    let best = all.said(on, Element::Rain).first()?;
    Some(((best.value * 100.0).round() / 100.0, best.kind, best.source))
}

async fn fetch(stage: &Stage, url: &str) -> Fetch {
    stage.desk.store.fetch(url).await.unwrap().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_is_pulled_stored_and_serves_the_season_as_observed() {
    let server = MockServer::start().await;
    let _days = answers(&server, "GET", DAYS, radar(Some(0.5), "2026-05-11T14:20:00Z")).await;
    let stage = stage(&mesonet(&server)).await;
    let pulled = observe(&stage).await;
    assert!(pulled.fresh);
    let (early, late) = (utc("2026-05-12T14:00:00Z"), utc("2026-05-12T15:30:00Z"));
    assert!(pulled.next <= stage.desk.clock.now() + TimeDelta::hours(1));
    assert_eq!(rain(&stage, day(10)).await, Some((12.7, Kind::Radar, SourceName::Mesonet)));
    for (_, latitude, longitude) in FIELDS {
        let url = format!("mesonet/{latitude:.2},{longitude:.2}");
        let next = fetch(&stage, &url).await.next_due_at;
        assert!(early <= next && next < late, "{next}");
    }
    let desk = &stage.desk;
    let planted = Record {
        id: "1".to_owned(),
        source_key: "1".to_owned(),
        field: desk.book.fields[0].id.clone(),
        happened_on: day(9),
        event: Event::Planted,
        by: "ann".to_owned(),
        via: Via::Command,
        note: None,
        created_at: utc(START),
    };
    desk.store.append(&planted).await.unwrap();
    let fields = desk.advance(desk.clock.now()).await.unwrap();
    let row = fields[0].season.days.iter().find(|row| row.date == day(10)).unwrap();
    assert_eq!((row.rain_in, row.provisional), (Some(0.5), false));
    let asked = stage.desk.store.requests_since(utc(START)).await.unwrap();
    assert_eq!(asked.len(), FIELDS.len(), "every request is on record");
    assert!(asked.iter().all(|one| one.source == SourceName::Mesonet && one.fault.is_none()));
    assert!(asked[0].path.contains("sdate=2026-05-06&edate=2026-05-10"), "{}", asked[0].path);
    let before = server.received_requests().await.unwrap().len();
    observe(&stage).await;
    assert_eq!(server.received_requests().await.unwrap().len(), before, "once a day");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_later_issue_corrects_a_day_and_an_older_one_never_does() {
    let server = MockServer::start().await;
    let stage = stage(&mesonet(&server)).await;
    for (at, inches, made, stands) in [
        (START, Some(0.5), "2026-05-11T15:50:00Z", 12.7),
        ("2026-05-12T16:00:00Z", Some(0.8), "2026-05-12T15:50:00Z", 20.32),
        // Out of a cache, then dated ahead of its time.
        ("2026-05-13T16:00:00Z", Some(0.1), "2026-05-11T15:00:00Z", 20.32),
        ("2026-05-14T16:00:00Z", Some(0.2), "2026-06-14T15:00:00Z", 20.32),
        ("2026-05-15T16:00:00Z", Some(0.7), "2026-05-15T15:50:00Z", 17.78),
    ] {
        let _days = answers(&server, "GET", DAYS, radar(inches, made)).await;
        stage.at(at);
        observe(&stage).await;
        let best = rain(&stage, day(10)).await;
        assert_eq!(best, Some((stands, Kind::Radar, SourceName::Mesonet)), "{at}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fault_keeps_the_last_good_day_is_recorded_and_is_retried() {
    let server = MockServer::start().await;
    let stage = stage(&mesonet(&server)).await;
    let good = answers(&server, "GET", DAYS, radar(Some(0.5), "2026-05-11T14:20:00Z")).await;
    observe(&stage).await;
    drop(good);
    let page = ResponseTemplate::new(200).set_body_raw("<html>", "text/html");
    for (at, with, status) in [
        ("2026-05-12T16:00:00Z", ResponseTemplate::new(503), Some(503)),
        ("2026-05-13T16:00:00Z", page, Some(200)),
    ] {
        let bad = answers(&server, "GET", DAYS, with).await;
        stage.at(at);
        let pulled = stage.desk.observe().await.unwrap().unwrap();
        assert!(!pulled.fresh);
        let failed = fetch(&stage, &format!("mesonet/{SPOT}")).await;
        assert_eq!((failed.failures, failed.status), (1, status));
        assert!(failed.last_error.is_some());
        assert!(failed.next_due_at <= utc(at) + TimeDelta::hours(2), "{}", failed.next_due_at);
        let asked = stage.desk.store.requests_since(utc(at)).await.unwrap();
        assert!(!asked.is_empty() && asked.iter().all(|one| one.fault.is_some()));
        assert_eq!(rain(&stage, day(10)).await.map(|best| best.0), Some(12.7));
        drop(bad);
        let made = (utc(at) + TimeDelta::hours(2)).to_rfc3339();
        let _good = answers(&server, "GET", DAYS, radar(Some(0.5), &made)).await;
        stage.desk.clock.advance_to(utc(at) + TimeDelta::hours(3));
        observe(&stage).await;
        assert_eq!(fetch(&stage, &format!("mesonet/{SPOT}")).await.failures, 0);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_host_that_is_down_is_left_alone() {
    let server = MockServer::start().await;
    let _bad = answers(&server, "GET", DAYS, ResponseTemplate::new(503)).await;
    let stage = stage(&mesonet(&server)).await;
    let pulled = stage.desk.observe().await.unwrap().unwrap();
    assert_eq!(server.received_requests().await.unwrap().len(), 5);
    assert!(pulled.next > stage.desk.clock.now());
    stage.desk.observe().await.unwrap().unwrap();
    assert_eq!(server.received_requests().await.unwrap().len(), 5);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_source_that_the_book_does_not_name_is_never_asked() {
    let server = MockServer::start().await;
    let none = stage("").await;
    assert_eq!(none.desk.observe().await.unwrap(), None);
    let one = stage(&acis(&server)).await;
    one.desk.observe().await.unwrap().unwrap();
    let asked = server.received_requests().await.unwrap();
    assert!(!asked.is_empty() && asked.iter().all(|request| request.url.path() == STATIONS));
    let pretended = format!("{FILES}{}", mesonet(&server));
    let pretended = Stage::with(START, &pretended, "", Outside::Pretended).await;
    assert_eq!(pretended.desk.observe().await.unwrap(), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_morning_observers_rain_serves_the_day_before_and_a_total_of_days_none() {
    let server = MockServer::start().await;
    let stage = stage(&acis(&server)).await;
    let total = answers(&server, "POST", STATIONS, station("0.90A", "2")).await;
    observe(&stage).await;
    assert_eq!(rain(&stage, day(10)).await, None);
    assert_eq!(rain(&stage, day(11)).await, None);
    let known = stage.desk.store.observed("acis:4211", day(1)).await.unwrap();
    assert_eq!(known.len(), 1, "the total is kept with its period");
    assert!(known[0].ends_at - known[0].starts_at >= TimeDelta::days(2));
    drop(total);
    let one = answers(&server, "POST", STATIONS, station("0.30", "2")).await;
    stage.at("2026-05-12T15:35:00Z");
    observe(&stage).await;
    drop(one);
    // The answer's last row is the 12th by then.
    assert_eq!(rain(&stage, day(11)).await, Some((7.62, Kind::Station, SourceName::Acis)));
    let body: Value = server.received_requests().await.unwrap()[0].body_json().unwrap();
    assert_eq!((&body["sdate"], &body["edate"]), (&json!("2026-05-01"), &json!("2026-05-11")));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hand_read_gauge_close_by_goes_before_the_radar_and_another_station_behind_it() {
    for (network, best) in [
        ("10", (7.62, Kind::Station, SourceName::Acis)),
        ("2", (12.7, Kind::Radar, SourceName::Mesonet)),
    ] {
        let server = MockServer::start().await;
        let _days = answers(&server, "GET", DAYS, radar(Some(0.5), "2026-05-11T14:20:00Z")).await;
        let _stations = answers(&server, "POST", STATIONS, station("0.30", network)).await;
        let stage = stage(&format!("{}{}", mesonet(&server), acis(&server))).await;
        observe(&stage).await;
        assert_eq!(rain(&stage, day(10)).await, Some(best), "{network}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn silent_stations_and_mere_rain_gauges_hide_no_thermometer() {
    let server = MockServer::start().await;
    let station = |number: u32, rain: &str, high: &str| {
        json!({"meta": {"uid": number, "name": "X", "sids": [],
                        "ll": [-96.62, 41.21 + 0.01 * f64::from(number)]},
               "data": [[[rain, 24], [high, 24], ["M", -1]]]})
    };
    let mut all: Vec<_> = (1..6).map(|number| station(number, "M", "M")).collect();
    all.extend((6..12).map(|number| station(number, "0.10", "M")));
    all.push(station(12, "0.90", "68"));
    let all = ResponseTemplate::new(200).set_body_json(json!({ "data": all }));
    let _all = answers(&server, "POST", STATIONS, all).await;
    let stage = stage(&acis(&server)).await;
    observe(&stage).await;
    let desk = &stage.desk;
    let (farm, field) = (&desk.book.farms[0], &desk.book.fields[0]);
    let all = desk.pedigree(farm, field, desk.clock.now()).await.unwrap();
    let first = day(1);
    let places = |element| -> Vec<_> {
        all.said(first, element).iter().map(|one| one.place.as_str()).collect()
    };
    assert_eq!(places(Element::Rain)[..2], ["acis:6", "acis:7"]);
    assert_eq!(places(Element::High), ["acis:12"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn every_source_of_a_day_is_kept_and_an_import_and_the_own_gauge_count() {
    let server = MockServer::start().await;
    let _days = answers(&server, "GET", DAYS, radar(Some(0.5), "2026-05-11T15:50:00Z")).await;
    let stage = stage(&mesonet(&server)).await;
    let desk = &stage.desk;
    // A station 11 km to the north, imported through yesterday; a day of its future counts for
    // nothing.
    let history = desk.book.folder.join("history");
    std::fs::create_dir_all(&history).unwrap();
    let rows = "date,high_c,low_c,rain_mm\n2026-05-09,20,9,3.0\n2026-05-10,21,10,30.0\n\
                2026-05-12,22,11,1.0\n";
    std::fs::write(history.join("41.31,-96.62.csv"), rows).unwrap();
    observe(&stage).await;
    assert_eq!(rain(&stage, day(9)).await, Some((3.0, Kind::Station, SourceName::History)));
    assert_eq!(rain(&stage, day(10)).await, Some((12.7, Kind::Radar, SourceName::Mesonet)));
    assert_eq!(rain(&stage, day(12)).await, None);
    let gauge = Record {
        id: "1".to_owned(),
        source_key: "1".to_owned(),
        field: desk.book.fields[0].id.clone(),
        happened_on: day(10),
        event: Event::Rain { amount: Millimetres::new(20.0).unwrap() },
        by: "ann".to_owned(),
        via: Via::Sms,
        note: None,
        created_at: utc(START),
    };
    desk.store.append(&gauge).await.unwrap();
    let (farm, field) = (&desk.book.farms[0], &desk.book.fields[0]);
    let all = desk.pedigree(farm, field, desk.clock.now()).await.unwrap();
    let said = all.said(day(10), Element::Rain).iter();
    let said: Vec<_> = said.map(|one| (one.kind, one.source)).collect();
    assert_eq!(
        said,
        [
            (Kind::Gauge, SourceName::Gauge),
            (Kind::Radar, SourceName::Mesonet),
            (Kind::Station, SourceName::History),
            (Kind::Model, SourceName::Mesonet),
        ]
    );
    let far = all.said(day(10), Element::Rain)[2].distance_km.unwrap();
    assert!((far - 11.1).abs() < 0.1, "{far}");
    let apart: Vec<_> = all.disagreeing(day(10), Element::Rain).map(|one| one.kind).collect();
    assert_eq!(apart, [Kind::Model], "30 mm is not far from 20, 2.5 mm is");
}

fn warning(id: &str, zone: &str) -> Value {
    json!({"type": "Feature", "geometry": null, "properties": {
        "id": id, "event": "Freeze Warning", "status": "Actual", "messageType": "Alert",
        "sent": "2026-05-11T09:00:00-05:00", "onset": "2026-05-12T01:00:00-05:00",
        "expires": "2026-05-11T18:00:00-05:00", "ends": "2026-05-12T08:00:00-05:00",
        "affectedZones": [format!("https://weather.example/zones/{zone}")]}})
}

fn list(updated: &str, warnings: &[Value]) -> ResponseTemplate {
    let body = json!({"type": "FeatureCollection", "updated": updated, "features": warnings});
    ResponseTemplate::new(200).set_body_raw(body.to_string(), "application/geo+json")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_warning_reaches_the_digest_by_zone_or_outline_and_no_grower() {
    let server = MockServer::start().await;
    let mut mocks = Vec::new();
    // The first two fields lie in the county, the last one in the outline.
    for (at, (_, latitude, longitude)) in FIELDS.iter().enumerate() {
        let county = if at < 2 { "NEC155" } else { "NEC053" };
        let point = json!({"properties": {"gridId": "OAX", "gridX": 1, "gridY": 58,
            "county": format!("https://weather.example/zones/county/{county}")}});
        let point = ResponseTemplate::new(200).set_body_json(point);
        mocks
            .push(answers(&server, "GET", &format!("/points/{latitude},{longitude}"), point).await);
    }
    let mut outlined = warning("urn:2", "county/NEC155");
    outlined["properties"]["event"] = json!("Severe Thunderstorm Warning");
    outlined["properties"]["onset"] = json!("2026-05-11T10:00:00-05:00");
    outlined["properties"]["ends"] = json!("2026-05-11T11:45:00-05:00");
    outlined["geometry"] = json!({"type": "Polygon", "coordinates": [[[-96.9, 41.32],
        [-96.8, 41.32], [-96.8, 41.4], [-96.9, 41.4], [-96.9, 41.32]]]});
    let mut over = warning("urn:3", "county/NEC155");
    over["properties"]["event"] = json!("Flood Warning");
    over["properties"]["ends"] = json!("2026-05-11T10:00:00-05:00");
    let mut marine = warning("urn:4", "county/NEC155");
    marine["properties"]["event"] = json!("Small Craft Advisory");
    let list =
        list("2026-05-11T15:59:00Z", &[outlined, warning("urn:1", "county/NEC155"), over, marine]);
    mocks.push(answers(&server, "GET", WARNINGS, list).await);
    let nws = format!("[weather.nws]\nbase_url = \"{}\"\nrequests_per_s = 20\n", server.uri());
    let stage = stage(&format!("{nws}{}", alerts(&server))).await;
    stage.desk.pull().await.unwrap();
    observe(&stage).await;
    let desk = &stage.desk;
    let digest = async || {
        let now = desk.clock.now();
        let fields = desk.advance(now).await.unwrap();
        let ada = &desk.book.people[0];
        desk.compose_digest(ada, &fields, now - TimeDelta::days(1), now).await.unwrap().text
    };
    let text = digest().await;
    let storm = "Severe Thunderstorm Warning until Mon May 11, 11:45 AM\n  - Farm: Slough\n";
    let freeze = "Freeze Warning from Tue May 12, 1:00 AM until Tue May 12, 8:00 AM\n  \
                  - Farm: North 8 and North 80\n";
    let at = |said: &str| text.find(said).unwrap_or_else(|| panic!("{said} not in {text}"));
    assert!(at(storm) < at(freeze), "what keeps people off the field comes first");
    assert!(!text.contains("Flood") && !text.contains("Craft"), "{text}");
    assert!(!text.contains("not been heard"), "{text}");
    desk.turn().await.unwrap();
    assert!(stage.texts().await.is_empty(), "growers are not texted about it");
    drop(mocks);
    stage.at("2026-05-11T19:10:00Z");
    let text = digest().await;
    assert!(!text.contains("Thunderstorm") && text.contains(&freeze[..14]), "{text}");
    assert!(text.contains("Warnings have not been heard for 3 h."), "{text}");
}

#[tokio::test(flavor = "multi_thread")]
async fn one_poll_serves_all_fields_and_a_failed_one_is_on_record_and_keeps_the_last_list() {
    let server = MockServer::start().await;
    let stage = stage(&alerts(&server)).await;
    let first = warning("urn:1", "county/NEC155");
    let good = answers(&server, "GET", WARNINGS, list("2026-05-11T14:29:00Z", &[first])).await;
    observe(&stage).await;
    let asked = server.received_requests().await.unwrap();
    assert_eq!(asked.len(), 1);
    assert_eq!(asked[0].url.query(), Some("status=actual"));
    drop(good);
    let ids = || async {
        let alerts = stage.desk.store.alerts().await.unwrap();
        alerts.into_iter().map(|alert| alert.id).collect::<Vec<_>>()
    };
    assert_eq!(ids().await, ["urn:1"]);
    let heard = fetch(&stage, WARNINGS).await.fetched_at;

    let bad = answers(&server, "GET", WARNINGS, ResponseTemplate::new(502)).await;
    stage.at("2026-05-11T16:25:00Z");
    stage.desk.observe().await.unwrap();
    let failed = fetch(&stage, WARNINGS).await;
    assert_eq!((failed.failures, failed.status, failed.fetched_at), (1, Some(502), heard));
    let [good_one, bad_one] = stage.desk.store.last_requests(SourceName::Nws).await.unwrap();
    assert!(good_one.unwrap().at < bad_one.unwrap().at);
    assert_eq!(ids().await, ["urn:1"]);
    drop(bad);

    // A list out of a cache takes nothing back, a newer one does.
    for (at, updated, stands) in [
        ("2026-05-11T16:35:00Z", "2026-05-11T13:00:00Z", vec!["urn:1"]),
        ("2026-05-11T16:45:00Z", "2026-05-11T16:44:00Z", vec![]),
    ] {
        let _list = answers(&server, "GET", WARNINGS, list(updated, &[])).await;
        stage.at(at);
        observe(&stage).await;
        assert_eq!(ids().await, stands, "{at}");
    }
}
