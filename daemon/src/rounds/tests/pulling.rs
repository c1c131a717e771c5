//! Pulls against a loopback service in the form of api.weather.gov.

use super::stage::{FIELDS, Stage, utc};
use crate::wire::Outside;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use wiremock::matchers::{method, path, path_regex};
use wiremock::{Mock, MockGuard, MockServer, ResponseTemplate};

const START: &str = "2026-05-01T12:30:00Z";

pub fn geo_json(body: &serde_json::Value) -> ResponseTemplate {
    ResponseTemplate::new(200).set_body_raw(body.to_string(), "application/geo+json")
}

/// Path of a field's place.
pub fn place(field: usize) -> String {
    let (_, latitude, longitude) = FIELDS[field];
    format!("/points/{latitude},{longitude}")
}

pub async fn answer(server: &MockServer, path_: &str, answer: ResponseTemplate) -> MockGuard {
    Mock::given(method("GET")).and(path(path_)).respond_with(answer).mount_as_scoped(server).await
}

pub async fn lies_in(server: &MockServer, field: usize, x: u32) -> MockGuard {
    let point = serde_json::json!({"properties": {"gridId": "OAX", "gridX": x, "gridY": 58}});
    answer(server, &place(field), geo_json(&point)).await
}

/// A grid of one hour; its outline holds every field.
pub fn grid(issued: &str, temp_c: f64) -> ResponseTemplate {
    geo_json(&serde_json::json!({
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [[
            [-97.0, 41.0], [-96.0, 41.0], [-96.0, 42.0], [-97.0, 42.0], [-97.0, 41.0]]]},
        "properties": {
            "updateTime": issued,
            "validTimes": "2026-05-01T12:00:00+00:00/PT1H",
            "gridId": "OAX", "gridX": "1", "gridY": "58",
            "temperature": {"uom": "wmoUnit:degC",
                "values": [{"validTime": "2026-05-01T12:00:00+00:00/PT1H", "value": temp_c}]},
        }
    }))
    .insert_header("ETag", format!("\"{issued}\"").as_str())
}

pub async fn cell_answers(server: &MockServer, x: u32, with: ResponseTemplate) -> MockGuard {
    answer(server, &format!("/gridpoints/OAX/{x},58"), with).await
}

async fn stage(server: &MockServer) -> Stage {
    let nws = format!(
        "[weather.nws]\nbase_url = \"{}\"\nevery_minutes = 60\nrequests_per_s = 20\n",
        server.uri()
    );
    Stage::with(START, &nws, "", Outside::Real).await
}

pub async fn requests(server: &MockServer) -> BTreeMap<String, usize> {
    let mut counts = BTreeMap::new();
    for request in server.received_requests().await.unwrap() {
        *counts.entry(request.url.path().to_owned()).or_default() += 1;
    }
    counts
}

pub async fn pull(stage: &Stage) -> DateTime<Utc> {
    let next = stage.desk.pull().await.unwrap().unwrap().next;
    assert!(next > stage.desk.clock.now());
    next
}

/// Temperatures on record by cell column.
async fn temperature(stage: &Stage, x: u32) -> Option<f64> {
    let (from, until) = (utc("2026-05-01T00:00:00Z"), utc("2026-05-02T00:00:00Z"));
    let hours = stage.desk.store.hours(&format!("OAX/{x},58"), from, until).await.unwrap();
    hours.first().and_then(|hour| hour.temp_c)
}

const EARLY: &str = "2026-05-01T11:00:00+00:00";
const LATE: &str = "2026-05-01T12:00:00+00:00";

#[tokio::test(flavor = "multi_thread")]
async fn fields_of_one_cell_share_one_request() {
    let server = MockServer::start().await;
    let mut mocks = Vec::new();
    for field in 0..FIELDS.len() {
        mocks.push(lies_in(&server, field, if field < 3 { 1 } else { 2 }).await);
    }
    mocks.push(cell_answers(&server, 1, grid(LATE, 11.0)).await);
    mocks.push(cell_answers(&server, 2, grid(LATE, 12.0)).await);
    let stage = stage(&server).await;
    pull(&stage).await;
    pull(&stage).await;
    let seen = requests(&server).await;
    assert_eq!(seen.len(), 7, "{seen:?}");
    assert!(seen.values().all(|count| *count == 1), "{seen:?}");
    assert_eq!(temperature(&stage, 1).await, Some(11.0));
    assert_eq!(temperature(&stage, 2).await, Some(12.0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cell_that_is_gone_is_asked_for_anew_at_once_and_keeps_its_last_forecast() {
    let server = MockServer::start().await;
    let mut mocks = Vec::new();
    for field in 0..FIELDS.len() {
        mocks.push(lies_in(&server, field, 1).await);
    }
    mocks.push(cell_answers(&server, 1, grid(LATE, 11.0)).await);
    let stage = stage(&server).await;
    let next = pull(&stage).await;
    drop(mocks);
    let mut mocks = vec![cell_answers(&server, 1, ResponseTemplate::new(404)).await];
    for field in 0..FIELDS.len() - 1 {
        mocks.push(lies_in(&server, field, 2).await);
    }
    // The last field's place cannot be resolved for now.
    mocks.push(answer(&server, &place(4), ResponseTemplate::new(500)).await);
    mocks.push(cell_answers(&server, 2, grid(LATE, 12.0)).await);
    stage.desk.clock.advance_to(next);
    pull(&stage).await;
    assert_eq!(temperature(&stage, 2).await, Some(12.0), "in the same pull");
    let cells = stage.desk.store.field_cells().await.unwrap();
    let in_old: Vec<_> = cells.iter().filter(|row| row.cell == "OAX/1,58").collect();
    assert_eq!((cells.len(), in_old.len()), (5, 1), "the last field keeps its last forecast");
    let fields = stage.desk.advance(stage.desk.clock.now()).await.unwrap();
    assert!(fields.iter().all(|at| at.forecast_issued == Some(utc(LATE))));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_older_grid_replaces_neither_the_newer_nor_what_it_is_known_by() {
    let server = MockServer::start().await;
    let mut mocks = Vec::new();
    for field in 0..FIELDS.len() {
        mocks.push(lies_in(&server, field, 1).await);
    }
    let newer = cell_answers(&server, 1, grid(LATE, 20.0)).await;
    let stage = stage(&server).await;
    let next = pull(&stage).await;
    drop(newer);
    let older = cell_answers(&server, 1, grid(EARLY, 10.0)).await;
    stage.desk.clock.advance_to(next);
    let next = pull(&stage).await;
    assert_eq!(temperature(&stage, 1).await, Some(20.0));
    stage.desk.clock.advance_to(next);
    pull(&stage).await;
    assert_eq!(temperature(&stage, 1).await, Some(20.0), "nor does it the second time");
    let fetch = stage.desk.store.fetch("/gridpoints/OAX/1,58").await.unwrap().unwrap();
    assert_eq!(fetch.etag, Some(format!("\"{LATE}\"")), "the newer one would never be confirmed");
    assert_eq!(fetch.status, Some(200));
    drop(older);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_fails_stops_nothing_else_and_is_asked_again_with_growing_waits() {
    let server = MockServer::start().await;
    let mut mocks = vec![
        answer(&server, &place(0), ResponseTemplate::new(500)).await,
        answer(&server, &place(1), ResponseTemplate::new(404)).await,
    ];
    for (field, x) in [(2, 1), (3, 2), (4, 3)] {
        mocks.push(lies_in(&server, field, x).await);
    }
    mocks.push(cell_answers(&server, 1, ResponseTemplate::new(502)).await);
    mocks.push(cell_answers(&server, 2, grid(LATE, 12.0)).await);
    mocks.push(cell_answers(&server, 3, grid(LATE, 13.0)).await);
    let stage = stage(&server).await;
    let mut next = pull(&stage).await;
    assert_eq!(temperature(&stage, 3).await, Some(13.0));
    let failing =
        || async { stage.desk.store.fetch("/gridpoints/OAX/1,58").await.unwrap().unwrap() };
    for (failures, low, high) in [(1, 2, 4), (2, 6, 14), (3, 40, 80)] {
        let fetch = failing().await;
        assert_eq!(fetch.failures, failures);
        let wait = fetch.next_due_at - stage.desk.clock.now();
        let (low, high) = (TimeDelta::seconds(low - 2), TimeDelta::seconds(high));
        assert!(low <= wait && wait <= high, "{failures}: {wait}");
        while failing().await.failures == failures {
            stage.desk.clock.advance_to(next);
            next = pull(&stage).await;
        }
    }
    let wait = failing().await.next_due_at - stage.desk.clock.now();
    assert!(wait > TimeDelta::minutes(1) && wait <= TimeDelta::minutes(66), "{wait}");
    let seen = requests(&server).await;
    let uncovered = stage.desk.store.fetch("/points/41.2200,-96.6200").await.unwrap().unwrap();
    assert_eq!(seen[&place(1)], 1, "{seen:?}");
    assert!(uncovered.next_due_at - utc(START) >= TimeDelta::days(1));
    assert_eq!(seen["/gridpoints/OAX/1,58"], 4, "{seen:?}");
    assert_eq!(seen["/gridpoints/OAX/3,58"], 1, "{seen:?}");
    let asked = stage.desk.store.requests_since(utc(START)).await.unwrap();
    assert_eq!(asked.len(), seen.values().sum::<usize>(), "every request is on record");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_host_that_is_down_is_left_alone_after_five_failures() {
    let server = MockServer::start().await;
    Mock::given(path_regex("/points/.*"))
        .respond_with(ResponseTemplate::new(503))
        .mount(&server)
        .await;
    let stage = stage(&server).await;
    let next = pull(&stage).await;
    assert_eq!(requests(&server).await.values().sum::<usize>(), 5);
    stage.desk.clock.advance_to(next);
    pull(&stage).await;
    assert_eq!(requests(&server).await.values().sum::<usize>(), 6, "one probe after the rest");
    assert!(next > utc(START) + TimeDelta::seconds(55), "{next}");
}
