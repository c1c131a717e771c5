//! The faults that weather services have been seen to have, one test each, numbered, with the place
//! where each was published; bodies and headers are those quoted in the reports. A farm has a good
//! grid, then the service fails, then time goes on. Number 12, doubled and cancelled alerts, is held
//! beside the reader of alerts.

use super::pulling::{answer, cell_answers, geo_json, grid, lies_in, place, pull, requests};
use super::stage::{FIELDS, Stage, utc};
use crate::store::{Fetch, WeatherHour};
use crate::wire::Outside;
use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockGuard, MockServer, ResponseTemplate};

const START: &str = "2026-05-01T12:30:00Z";
const ISSUED: &str = "2026-05-01T12:00:00+00:00";
const CELL: &str = "/gridpoints/OAX/1,58";
const SECOND: TimeDelta = TimeDelta::seconds(1);
/// The farm's time between pulls, and the most by which a round is put off.
const REGULAR: TimeDelta = TimeDelta::minutes(66);

/// A farm whose five fields lie in one cell, with a forecast of 11 C on record.
struct Farm {
    // What it answers goes before the server does, which is then handed to the next test.
    places: Vec<MockGuard>,
    cell: Option<MockGuard>,
    server: MockServer,
    stage: Stage,
    next: DateTime<Utc>,
}

impl Farm {
    async fn well() -> Self {
        Self::with("").await
    }

    async fn with(stand_in: &str) -> Self {
        let server = MockServer::start().await;
        let mut places = Vec::new();
        for field in 0..FIELDS.len() {
            places.push(lies_in(&server, field, 1).await);
        }
        let cell = Some(cell_answers(&server, 1, grid(ISSUED, 11.0)).await);
        let nws = format!(
            "[weather.nws]\nbase_url = \"{}\"\nevery_minutes = 60\nrequests_per_s = 20\n{stand_in}",
            server.uri()
        );
        let stage = Stage::with(START, &nws, "", Outside::Real).await;
        let next = pull(&stage).await;
        let farm = Self { places, cell, server, stage, next };
        farm.keeps_its_forecast().await;
        farm
    }

    fn now(&self) -> DateTime<Utc> {
        self.stage.desk.clock.now()
    }

    /// From now on the cell answers so, and it is asked when it is next due.
    async fn meets(&mut self, with: ResponseTemplate) {
        self.cell = None;
        self.cell = Some(cell_answers(&self.server, 1, with).await);
        self.goes_on().await;
    }

    async fn goes_on(&mut self) {
        let asked = self.asked().await;
        while self.asked().await == asked {
            self.stage.desk.clock.advance_to(self.next);
            self.next = pull(&self.stage).await;
        }
    }

    async fn asked(&self) -> usize {
        requests(&self.server).await.get(CELL).copied().unwrap_or_default()
    }

    async fn fetch(&self) -> Fetch {
        self.stage.desk.store.fetch(CELL).await.unwrap().unwrap()
    }

    /// How long the cell is left alone from now.
    async fn wait(&self) -> TimeDelta {
        self.fetch().await.next_due_at - self.now()
    }

    async fn hours(&self) -> Vec<WeatherHour> {
        let (from, until) = (utc("2026-05-01T00:00:00Z"), utc("2026-05-03T00:00:00Z"));
        self.stage.desk.store.hours("OAX/1,58", from, until).await.unwrap()
    }

    async fn keeps_its_forecast(&self) {
        assert_eq!(self.hours().await[0].temp_c, Some(11.0), "the last good forecast");
    }

    /// Whether any field rests on a forecast now.
    async fn is_served(&self) -> bool {
        let fields = self.stage.desk.advance(self.now()).await.unwrap();
        fields.iter().any(|at| at.forecast_from.is_some())
    }
}

fn problem(status: u16, body: &'static str) -> ResponseTemplate {
    ResponseTemplate::new(status).set_body_raw(body, "application/problem+json")
}

/// A grid of these layers, issued half an hour after the first.
fn grid_of(layers: &Value) -> ResponseTemplate {
    let mut properties = json!({"updateTime": "2026-05-01T12:30:00+00:00", "gridId": "OAX"});
    properties.as_object_mut().unwrap().extend(layers.as_object().unwrap().clone());
    geo_json(&json!({"type": "Feature", "geometry": null, "properties": properties}))
}

fn layer(uom: &str, values: &[(&str, Value)]) -> Value {
    let values = values.iter().map(
        |(period, value)| json!({"validTime": format!("2026-05-01T{period}"), "value": value}),
    );
    json!({"uom": uom, "values": values.collect::<Vec<_>>()})
}

const UNEXPECTED: &str = r#"{"correlationId": "36cf3bf8-1c14-454f-99f5-ad4b7652e903",
    "title": "Unexpected Problem", "type": "https://api.weather.gov/problems/UnexpectedProblem",
    "status": 500, "detail": "An unexpected problem has occurred."}"#;
const UNAVAILABLE: &str = r#"{"correlationId": "b8a30cd9-f270-4d64-8d37-f44b35e5ee3c",
    "title": "Unavailable Resource",
    "type": "https://api.weather.gov/problems/UnavailableWebService", "status": 503,
    "detail": "The resource you requested is currently unavailable. Please try again later."}"#;
const EXPIRED: &str = r#"{"correlationId": "3ed8bace-d53b-4d32-8175-68d396faffd3",
    "title": "Forecast Grid Expired",
    "type": "https://api.weather.gov/problems/ForecastGridExpired", "status": 503,
    "detail": "The requested forecast grid was issued 2020-02-11T02:50:40+00:00 and has expired."}"#;
/// Worded after the expired one; the report quotes its title alone.
const INVALID: &str = r#"{"title": "Forecast Grid Invalid",
    "type": "https://api.weather.gov/problems/ForecastGridInvalid", "status": 503}"#;
const DENIED: &str = "<HTML><HEAD>\n<TITLE>Access Denied</TITLE>\n</HEAD><BODY>\n\
    <H1>Access Denied</H1>\n You don't have permission to access this server.<P>";

/// 1. <https://github.com/weather-gov/api/issues/160>, 19, 83; home-assistant/core issues 35666,
///    77608, 110110.
#[tokio::test(flavor = "multi_thread")]
async fn errors_for_seconds_to_days_are_asked_again_three_times_and_then_at_the_regular_time() {
    let mut farm = Farm::well().await;
    for (answer, low, high) in [
        (problem(500, UNEXPECTED), 2, 4),
        (ResponseTemplate::new(502), 6, 14),
        (problem(503, UNAVAILABLE), 40, 80),
    ] {
        farm.meets(answer).await;
        let wait = farm.wait().await;
        assert!(SECOND * low <= wait + SECOND && wait <= SECOND * high, "{wait}");
    }
    farm.goes_on().await;
    assert_eq!(farm.fetch().await.failures, 4);
    let wait = farm.wait().await;
    assert!(SECOND * 80 < wait && wait <= REGULAR, "{wait}");
    farm.keeps_its_forecast().await;
    farm.meets(grid("2026-05-01T13:00:00+00:00", 12.0)).await;
    assert_eq!((farm.fetch().await.failures, farm.hours().await[0].temp_c), (0, Some(12.0)));
}

/// 2. <https://github.com/weather-gov/api/issues/29>, 30, 78. 3. Grid invalid:
///    <https://github.com/weather-gov/weather.gov/issues/1670>; the hourly text forecast has no
///    amounts of rain, so the stand-in takes its part.
#[tokio::test(flavor = "multi_thread")]
async fn an_office_that_stopped_sending_is_left_alone_and_a_stand_in_is_asked() {
    for (body, title) in [(EXPIRED, "Forecast Grid Expired"), (INVALID, "Forecast Grid Invalid")] {
        let met = MockServer::start().await;
        Mock::given(method("GET"))
            .and(path("/compact"))
            .respond_with(ResponseTemplate::new(500))
            .mount(&met)
            .await;
        let stand_in = format!("[weather.met_norway]\nbase_url = \"{}\"\n", met.uri());
        let mut farm = Farm::with(&stand_in).await;
        assert!(met.received_requests().await.unwrap().is_empty(), "not while the grid is young");
        farm.meets(problem(503, body)).await;
        let fetch = farm.fetch().await;
        assert!(fetch.last_error.unwrap().contains(title));
        assert!(farm.wait().await > TimeDelta::minutes(30) - SECOND, "not asked again soon");
        assert!(!met.received_requests().await.unwrap().is_empty(), "{title}: no stand-in");
        farm.keeps_its_forecast().await;
    }
}

/// 4. <https://github.com/weather-gov/api/issues/71>, 108, 177: copies up to two days old.
#[tokio::test(flavor = "multi_thread")]
async fn an_old_copy_never_replaces_a_newer_grid() {
    let mut farm = Farm::well().await;
    farm.meets(grid("2026-04-29T12:00:00+00:00", 3.0)).await;
    farm.keeps_its_forecast().await;
    assert_eq!(farm.fetch().await.update_time, Some(utc(ISSUED)));
}

/// 5. <https://github.com/weather-gov/api/issues/108>: headers of 2020-09-06, dated 22 days ahead.
#[tokio::test(flavor = "multi_thread")]
async fn a_last_modified_in_the_future_is_echoed_and_nothing_is_reckoned_from_it() {
    let ahead = "Mon, 28 Sep 2020 18:00:00 GMT";
    let mut farm = Farm::well().await;
    let dated = grid("2026-05-01T13:00:00+00:00", 12.0)
        .insert_header("Last-Modified", ahead)
        .insert_header("Cache-Control", "public, max-age=282, s-maxage=3600")
        .insert_header("Expires", "Sun, 06 Sep 2020 17:50:58 GMT")
        .insert_header("Date", "Sun, 06 Sep 2020 17:46:16 GMT");
    farm.meets(dated).await;
    assert!(farm.wait().await <= REGULAR);
    farm.meets(grid("2026-05-01T14:00:00+00:00", 13.0)).await;
    let asked = farm.server.received_requests().await.unwrap();
    let last = asked.iter().rfind(|request| request.url.path() == CELL).unwrap();
    assert_eq!(last.headers["if-modified-since"], ahead);
    assert_eq!(farm.hours().await[0].temp_c, Some(13.0));
}

/// 6. <https://github.com/weather-gov/api/issues/73>: headers of 2020-06-25.
#[tokio::test(flavor = "multi_thread")]
async fn an_error_good_for_a_day_is_asked_again_within_seconds() {
    let mut farm = Farm::well().await;
    let error = problem(500, UNEXPECTED)
        .insert_header("Cache-Control", "private, must-revalidate, max-age=86400")
        .insert_header("Expires", "Fri, 26 Jun 2020 16:44:41 GMT")
        .insert_header("Date", "Thu, 25 Jun 2020 16:44:41 GMT");
    farm.meets(error).await;
    assert!(farm.wait().await <= SECOND * 4);
    farm.keeps_its_forecast().await;
}

/// 7. <https://github.com/weather-gov/api/issues/163>, 85.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_for_people_is_not_read_and_not_pressed_for() {
    for status in [403, 200] {
        let mut farm = Farm::well().await;
        farm.meets(ResponseTemplate::new(status).set_body_raw(DENIED, "text/html")).await;
        let fetch = farm.fetch().await;
        assert!(fetch.last_error.unwrap().contains("HTML page"));
        assert!(farm.wait().await > SECOND * 80, "asked again too soon");
        farm.keeps_its_forecast().await;
    }
}

/// 8. <https://github.com/weather-gov/weather.gov/issues/756>, api issue 157, netbymatt/ws4kp issue
///    230. On 2026-09-02 TOP/31,80 still answered although its place had moved to TOP/32,81.
#[tokio::test(flavor = "multi_thread")]
async fn a_cell_that_has_become_another_place_is_asked_for_anew() {
    let mut farm = Farm::well().await;
    let elsewhere = geo_json(&json!({"type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [[[-97.1389, 39.7440], [-97.1359, 39.7221],
            [-97.1075, 39.7244], [-97.1104, 39.7463], [-97.1389, 39.7440]]]},
        "properties": {"updateTime": "2026-05-01T13:00:00+00:00",
            "temperature": layer("wmoUnit:degC", &[("12:00:00+00:00/PT1H", json!(12.0))])}}));
    farm.meets(elsewhere).await;
    farm.places.clear();
    for field in 0..FIELDS.len() {
        farm.places.push(lies_in(&farm.server, field, 2).await);
    }
    let moved = cell_answers(&farm.server, 2, grid("2026-05-02T12:00:00+00:00", 14.0)).await;
    farm.stage.desk.clock.advance_to(utc(START) + TimeDelta::hours(25));
    pull(&farm.stage).await;
    let cells = farm.stage.desk.store.field_cells().await.unwrap();
    assert!(cells.iter().all(|row| row.cell == "OAX/2,58"), "{cells:?}");
    assert_eq!(requests(&farm.server).await[&place(0)], 2);
    drop(moved);
}

/// 9. National Weather Service, Service Change Notice 24-55, 2024: texts become numbers, numbers
///    objects, keys vanish. 14. Gridpoints FAQ: temperatures in the thousands.
#[tokio::test(flavor = "multi_thread")]
async fn a_layer_of_another_shape_or_beyond_belief_is_left_out_and_the_others_stand() {
    let rain = layer("wmoUnit:mm", &[("12:00:00+00:00/PT6H", json!(6.0))]);
    let hour = "12:00:00+00:00/PT1H";
    for temperature in [
        json!("11"),
        json!({"unitCode": "wmoUnit:degC", "value": 11}),
        layer("wmoUnit:degC", &[(hour, json!("11"))]),
        layer("wmoUnit:degC", &[(hour, json!(4321.0))]),
    ] {
        let mut farm = Farm::well().await;
        let mut layers = json!({"gridX": 1, "quantitativePrecipitation": rain});
        layers["temperature"] = temperature;
        farm.meets(grid_of(&layers)).await;
        let hours = farm.hours().await;
        assert_eq!((hours.len(), hours[0].rain_mm), (6, Some(1.0)));
        assert!(hours.iter().all(|hour| hour.temp_c.is_none_or(|c| c < 60.0)), "{hours:?}");
    }
}

/// 10. <https://github.com/weather-gov/api/issues/24>, 194; MatthewFlamm/pynws issue 131.
#[tokio::test(flavor = "multi_thread")]
async fn rain_that_is_null_absent_or_cut_short_is_unknown_and_never_nothing() {
    let temperature = layer("wmoUnit:degC", &[("12:00:00+00:00/PT12H", json!(12.0))]);
    let cases = [
        (json!({"values": []}), 0),
        (json!(null), 0),
        (layer("wmoUnit:mm", &[("12:00:00+00:00/PT6H", json!(null))]), 0),
        (layer("wmoUnit:mm", &[("12:00:00+00:00/PT6H", json!(0.0))]), 6),
    ];
    for (rain, known) in cases {
        let mut farm = Farm::well().await;
        let layers = json!({"temperature": temperature, "quantitativePrecipitation": rain});
        farm.meets(grid_of(&layers)).await;
        let hours = farm.hours().await;
        let with_rain = hours.iter().filter(|hour| hour.rain_mm.is_some()).count();
        assert_eq!((hours.len(), with_rain), (12, known));
    }
}

/// 11. <https://github.com/weather-gov/api/issues/27>, 31, 39, 94, 168, 181: a station's answers are
///     null, days late or frozen, and rain is mostly left out. Nothing of them is used.
#[tokio::test(flavor = "multi_thread")]
async fn the_observations_that_go_missing_are_never_asked_for() {
    let mut farm = Farm::well().await;
    farm.goes_on().await;
    let asked = requests(&farm.server).await;
    assert!(asked.keys().all(|path| path.starts_with("/points/") || path == CELL), "{asked:?}");
    farm.keeps_its_forecast().await;
}

/// 13. <https://github.com/home-assistant/core/issues/115769>: a reader served its first answer for
///     a week. Every request here is answered well, and the data stand still.
#[tokio::test(flavor = "multi_thread")]
async fn answers_that_stand_still_are_believed_for_eighteen_hours() {
    let mut farm = Farm::well().await;
    let issued = utc(ISSUED);
    while farm.now() < issued + TimeDelta::hours(16) {
        farm.meets(ResponseTemplate::new(304)).await;
        assert_eq!(farm.fetch().await.status, Some(304));
    }
    assert!(farm.is_served().await);
    while farm.now() < issued + TimeDelta::hours(18) {
        farm.goes_on().await;
    }
    assert!(!farm.is_served().await, "{}", farm.now());
    assert_eq!(farm.fetch().await.failures, 0, "though all went well");
}

/// <https://github.com/weather-gov/api/issues/85>: what a network in front of a service answers.
#[tokio::test(flavor = "multi_thread")]
async fn a_body_that_is_empty_halved_or_badly_packed_leaves_the_last_good_forecast() {
    let whole = r#"{"properties": {"updateTime": "2026-05-01T13:00:00Z", "temperature": {"uom":"#;
    let halved = |text: &str| ResponseTemplate::new(200).set_body_raw(text, "application/geo+json");
    let mut farm = Farm::well().await;
    for body in [
        halved(""),
        halved(whole),
        halved(whole).insert_header("Content-Encoding", "gzip"),
        halved("<!DOCTYPE html>"),
    ] {
        farm.meets(body).await;
        farm.keeps_its_forecast().await;
        assert!(farm.fetch().await.last_error.is_some());
    }
    farm.meets(grid("2026-05-01T13:00:00+00:00", 12.0)).await;
    assert_eq!(farm.hours().await[0].temp_c, Some(12.0));
}

/// MET Norway, "Status codes": 429 for too many requests. The service's own answer has no time.
#[tokio::test(flavor = "multi_thread")]
async fn a_wait_that_is_asked_for_is_kept() {
    let mut farm = Farm::well().await;
    farm.meets(ResponseTemplate::new(429).insert_header("Retry-After", "900")).await;
    let wait = farm.wait().await;
    assert!(SECOND * 899 < wait && wait <= REGULAR, "{wait}");
    farm.keeps_its_forecast().await;
}

/// <https://github.com/weather-gov/api/issues/18>: a place with more decimals is sent elsewhere by
/// a relative address, and readers that do not follow it fail silently.
#[tokio::test(flavor = "multi_thread")]
async fn a_place_that_is_sent_elsewhere_is_found_there() {
    let server = MockServer::start().await;
    let mut mocks = Vec::new();
    for field in 0..FIELDS.len() {
        let there = format!("/points/there/{field}");
        let moved = ResponseTemplate::new(301)
            .insert_header("content-type", "application/problem+json")
            .insert_header("location", there.as_str());
        mocks.push(answer(&server, &place(field), moved).await);
        let point = json!({"properties": {"gridId": "OAX", "gridX": "1", "gridY": 58}});
        mocks.push(answer(&server, &there, geo_json(&point)).await);
    }
    mocks.push(cell_answers(&server, 1, grid(ISSUED, 11.0)).await);
    let nws = format!("[weather.nws]\nbase_url = \"{}\"\nrequests_per_s = 20\n", server.uri());
    let stage = Stage::with(START, &nws, "", Outside::Real).await;
    pull(&stage).await;
    assert_eq!(stage.desk.store.field_cells().await.unwrap().len(), FIELDS.len());
}
