use super::*;
use serde_json::json;
use std::path::Path;

/// A recorded answer, where the recordings are at hand.
fn recorded(name: &str) -> Option<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/data/nws");
    let read = std::fs::read(folder.join(name)).ok();
    if read.is_none() {
        println!("SKIP: {name} is not at hand");
    }
    read
}

fn place(latitude: f64, longitude: f64) -> (Latitude, Longitude) {
    (Latitude::new(latitude).unwrap(), Longitude::new(longitude).unwrap())
}

fn time(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn message(id: &str, kind: &str) -> Value {
    json!({
        "type": "Feature",
        "geometry": null,
        "properties": {
            "id": id, "event": "Wind Advisory", "status": "Actual", "messageType": kind,
            "sent": "2026-06-10T10:00:00-05:00", "effective": "2026-06-10T10:00:00-05:00",
            "onset": "2026-06-10T13:00:00-05:00", "expires": "2026-06-10T12:00:00-05:00",
            "ends": "2026-06-10T19:00:00-05:00", "geocode": {"UGC": ["NEZ044"]},
            "references": [], "parameters": {}
        }
    })
}

fn parse(features: &[Value]) -> Active {
    let body = json!({ "type": "FeatureCollection", "features": features });
    Active::read(body.to_string().as_bytes()).unwrap().payload
}

fn ids(active: &Active) -> Vec<&str> {
    active.alerts.iter().map(|alert| alert.id.as_str()).collect()
}

/// The list of 2 September 2026, taken from the service: five messages, of which one is a test and
/// one takes a county back.
#[test]
fn of_a_recorded_list_the_test_and_the_cancelled_are_left_out() {
    let Some(body) = recorded("alerts_sept2026/list.json") else { return };
    let Read { payload: active, issued_at } = Active::read(&body).unwrap();
    assert_eq!(issued_at, Some(time("2026-09-02T07:48:22Z")));
    // It was asked for with a limit of five.
    assert_eq!((active.unreadable, active.cut_off), (0, true));
    let events: Vec<_> = active.alerts.iter().map(|alert| alert.event.as_str()).collect();
    assert_eq!(events.len(), 3, "{events:?}");
    assert!(events.contains(&"Severe Thunderstorm Warning"));
    let storm = active.alerts.iter().find(|alert| alert.keeps_out_of_the_field()).unwrap();
    let counties = ["county/WIC053", "county/WIC063", "county/WIC081", "county/WIC121"];
    assert_eq!(storm.zones, counties);
    assert_eq!(storm.ends_at, Some(time("2026-09-02T08:15:00Z")));
    assert!(!storm.outlines.is_empty());
    // The county that was taken back is named by no message that stands.
    assert!(active.alerts.iter().all(|alert| !alert.zones.contains(&"county/WIC011".to_owned())));
}

/// A flood watch of December 2019 without an outline, whose message expires before the hazard ends.
#[test]
fn without_an_outline_the_zones_decide_and_the_hazards_end_counts() {
    let Some(body) = recorded("pynws_edge_cases/alerts_active_zone.json") else { return };
    let active = Active::read(&body).unwrap().payload;
    let [watch] = active.alerts.as_slice() else { panic!("{active:?}") };
    assert_eq!(watch.ends_at, Some(time("2019-12-22T18:00:00Z")));
    let (latitude, longitude) = place(45.5, -122.7);
    assert!(watch.covers(&["forecast/ORZ006".to_owned()], latitude, longitude));
    let others = ["forecast/ORZ010", "county/ORC051", "fire/ORZ006"].map(str::to_owned);
    assert!(!watch.covers(&others, latitude, longitude));
    assert!(!watch.keeps_out_of_the_field());
}

/// Each recorded outline holds its own middle and not a place a few degrees off, whatever the zones.
#[test]
fn recorded_outlines_decide() {
    let Some(body) = recorded("alerts_sept2026/list.json") else { return };
    let list: Value = serde_json::from_slice(&body).unwrap();
    let active = Active::read(&body).unwrap().payload;
    for alert in &active.alerts {
        let mut features = list["features"].as_array().unwrap().iter();
        let feature = features.find(|one| one["properties"]["id"] == alert.id.as_str()).unwrap();
        let ring = feature["geometry"]["coordinates"][0].as_array().unwrap();
        let corners = &ring[1..];
        let middle = |at: usize| {
            let sum: f64 = corners.iter().map(|corner| corner[at].as_f64().unwrap()).sum();
            sum / f64::from(u32::try_from(corners.len()).unwrap())
        };
        let (latitude, longitude) = place(middle(1), middle(0));
        assert!(alert.covers(&[], latitude, longitude), "{}", alert.event);
        let (far, _) = place(middle(1) - 4.0, middle(0));
        assert!(!alert.covers(&alert.zones, far, longitude), "{}", alert.event);
    }
}

#[test]
fn every_event_that_is_told_is_one_the_service_names() {
    let Some(body) = recorded("alerts_sept2026/types.json") else { return };
    let types: Value = serde_json::from_slice(&body).unwrap();
    let known = types["eventTypes"].as_array().unwrap();
    for event in OUT_OF_THE_FIELD.into_iter().chain(WORTH_KNOWING) {
        assert!(known.iter().any(|name| name == event), "{event}");
    }
}

#[test]
fn what_another_message_replaces_is_dropped_whichever_comes_first() {
    let mut update = message("urn:2", "Update");
    update["properties"]["references"] = json!([{"identifier": "urn:1"}]);
    let old = message("urn:1", "Alert");
    assert_eq!(ids(&parse(&[old.clone(), update.clone()])), ["urn:2"]);
    assert_eq!(ids(&parse(&[update, old.clone()])), ["urn:2"]);
    let mut expired = message("urn:3", "Alert");
    expired["properties"]["parameters"]["expiredReferences"] =
        json!(["w-nws.webmaster@noaa.gov,urn:1,2026-06-10T09:00:00-05:00 w,urn:0,x"]);
    assert_eq!(ids(&parse(&[message("urn:0", "Alert"), old.clone(), expired])), ["urn:3"]);
    let mut cancel = message("urn:4", "Cancel");
    cancel["properties"]["references"] = json!([{"identifier": "urn:1"}]);
    assert_eq!(parse(&[cancel.clone(), old.clone()]).alerts, []);
    // A test replaces nothing.
    cancel["properties"]["status"] = json!("Test");
    assert_eq!(ids(&parse(&[cancel, old])), ["urn:1"]);
}

#[test]
fn an_end_that_nobody_names_is_the_messages_own_and_else_stays_open() {
    let mut alert = message("urn:1", "Alert");
    let read = |alert: &Value| parse(std::slice::from_ref(alert)).alerts.remove(0);
    let whole = read(&alert);
    assert_eq!(whole.starts_at, time("2026-06-10T18:00:00Z"));
    assert!(whole.is_ahead(time("2026-06-10T23:59:00Z")));
    assert!(!whole.is_ahead(time("2026-06-11T00:00:00Z")));
    alert["properties"]["ends"] = Value::Null;
    assert_eq!(read(&alert).ends_at, Some(time("2026-06-10T17:00:00Z")));
    alert["properties"]["expires"] = Value::Null;
    alert["properties"]["onset"] = Value::Null;
    let open = read(&alert);
    assert_eq!((open.ends_at, open.starts_at), (None, time("2026-06-10T15:00:00Z")));
    assert!(open.is_ahead(time("2027-01-01T00:00:00Z")));
}

#[test]
fn an_outline_decides_over_the_zones_and_may_have_several_parts() {
    let ring = |west: f64| {
        json!([[[west, 41.0], [west + 1.0, 41.0], [west + 1.0, 42.0], [west, 42.0], [west, 41.0]]])
    };
    let mut alert = message("urn:1", "Alert");
    alert["geometry"] = json!({"type": "MultiPolygon", "coordinates": [ring(-97.0), ring(-94.0)]});
    let alert = parse(&[alert]).alerts.remove(0);
    let zones = ["NEZ044".to_owned()];
    for (longitude, inside) in [(-96.5, true), (-95.5, false), (-93.5, true)] {
        let (latitude, longitude) = place(41.5, longitude);
        assert_eq!(alert.covers(&zones, latitude, longitude), inside);
    }
}

#[test]
fn a_bare_code_stands_for_every_kind_of_zone_and_an_address_for_one() {
    let (latitude, longitude) = place(41.5, -96.5);
    let fire = ["fire/NEZ044".to_owned()];
    let mut alert = message("urn:1", "Alert");
    assert!(parse(std::slice::from_ref(&alert)).alerts[0].covers(&fire, latitude, longitude));
    alert["properties"]["affectedZones"] = json!(["https://weather.example/zones/forecast/NEZ044"]);
    let alert = parse(&[alert]).alerts.remove(0);
    assert_eq!(alert.zones, ["forecast/NEZ044"]);
    assert!(!alert.covers(&fire, latitude, longitude));
    assert!(alert.covers(&["forecast/NEZ044".to_owned()], latitude, longitude));
    for odd in ["", "NEZ044", "zones//NEZ044", "forecast/NEZ 44"] {
        assert_eq!(zone(odd), None, "{odd}");
    }
}

#[test]
fn two_messages_under_one_id_warn_both_areas() {
    let mut other = message("urn:1", "Alert");
    other["properties"]["geocode"]["UGC"] = json!(["NEC155"]);
    let active = parse(&[message("urn:1", "Alert"), other]);
    assert_eq!(active.alerts.len(), 1);
    assert_eq!(active.alerts[0].zones, ["NEZ044", "NEC155"]);
}

#[test]
fn one_message_that_cannot_be_read_hides_no_other() {
    let active = parse(&[json!({"type": "Feature"}), message("urn:1", "Alert")]);
    assert_eq!((active.unreadable, ids(&active)), (1, vec!["urn:1"]));
    assert!(Active::read(b"{\"title\": \"no\"}").is_err());
    assert!(!Active::read(b"<html>").unwrap_err().cut_short);
    assert!(Active::read(b"{\"features\": [{").unwrap_err().cut_short);
}
