//! A loopback weather service in the form of the US National Weather Service.
//!
//! It answers with a recorded payload where the shared data folder is present and with a hand-made
//! one to the same published form otherwise. Both describe the same cell and the same days.

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use tokio::net::TcpListener;

/// Update time of the payloads, and the start of their first hour.
pub const ISSUED: &str = "2026-09-02T06:26:13+00:00";

/// A place inside the cell that the payloads describe.
pub const INSIDE: (f64, f64) = (39.7335, -97.1225);

#[derive(Debug)]
struct Answers {
    grid: String,
    broken: Option<&'static str>,
    grid_requests: usize,
    not_modified: usize,
    agents: Vec<String>,
}

/// The service; clones share one state.
#[derive(Debug, Clone)]
pub struct WeatherService {
    answers: Arc<Mutex<Answers>>,
    url: String,
    is_recorded: bool,
}

impl WeatherService {
    /// Starts on a free loopback port.
    pub async fn start() -> Self {
        let recording = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("../../shared/data/nws/linn-ks_TOP-31-80/gridpoint.json");
        let recorded = std::fs::read_to_string(&recording);
        if recorded.is_err() {
            println!(
                "SKIP recorded weather payload: the shared data folder is absent; a hand-made one stands in"
            );
        }
        let is_recorded = recorded.is_ok();
        let grid = recorded.unwrap_or_else(|_| hand_made());
        let answers = Arc::new(Mutex::new(Answers {
            grid,
            broken: None,
            grid_requests: 0,
            not_modified: 0,
            agents: Vec::new(),
        }));
        let router = Router::new()
            .route("/points/{place}", get(point))
            .route("/gridpoints/TOP/31,80", get(gridpoint))
            .with_state(Arc::clone(&answers));
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a loopback port is free");
        let url = format!("http://{}", listener.local_addr().expect("a bound port"));
        tokio::spawn(async move { axum::serve(listener, router).await });
        Self { answers, url, is_recorded }
    }

    /// Base address.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Whether the recorded payload is served, not the hand-made one.
    pub const fn is_recorded(&self) -> bool {
        self.is_recorded
    }

    /// Answers the grid with this body from now on.
    pub fn break_with(&self, body: &'static str) {
        self.lock().broken = Some(body);
    }

    /// How often the grid was asked for, and how often "not modified" was the answer.
    pub fn grid_requests(&self) -> (usize, usize) {
        let answers = self.lock();
        (answers.grid_requests, answers.not_modified)
    }

    /// Every `User-Agent` seen.
    pub fn agents(&self) -> Vec<String> {
        self.lock().agents.clone()
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Answers> {
        self.answers.lock().expect("no holder of the answers panics")
    }
}

const LAST_MODIFIED: &str = "Wed, 02 Sep 2026 06:26:13 GMT";

async fn point() -> Response {
    let body = r#"{"type":"Feature","properties":{"gridId":"TOP","gridX":31,"gridY":80,
        "forecastGridData":"https://weather.invalid/gridpoints/TOP/31,80",
        "timeZone":"America/Chicago"}}"#;
    ([(header::CONTENT_TYPE, "application/geo+json")], body).into_response()
}

async fn gridpoint(State(answers): State<Arc<Mutex<Answers>>>, headers: HeaderMap) -> Response {
    let mut answers = answers.lock().expect("no holder of the answers panics");
    answers.grid_requests += 1;
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    answers.agents.push(text(header::USER_AGENT).to_owned());
    if let Some(body) = answers.broken {
        return ([(header::CONTENT_TYPE, "application/geo+json")], body).into_response();
    }
    if text(header::IF_MODIFIED_SINCE) == LAST_MODIFIED {
        answers.not_modified += 1;
        return StatusCode::NOT_MODIFIED.into_response();
    }
    let headers =
        [(header::CONTENT_TYPE, "application/geo+json"), (header::LAST_MODIFIED, LAST_MODIFIED)];
    (headers, answers.grid.clone()).into_response()
}

/// A payload to the published form: seven hot, dry days after one shower on the third.
fn hand_made() -> String {
    let mut temperature = Vec::new();
    let mut rain = Vec::new();
    for day in 2..9 {
        for (hour, celsius) in [(0, 30.0), (6, 22.0), (12, 28.0), (18, 34.0)] {
            let start = format!("2026-09-{day:02}T{hour:02}:00:00+00:00/PT6H");
            temperature.push(format!(r#"{{"validTime":"{start}","value":{celsius}}}"#));
            let millimetres = if (day, hour) == (4, 6) { 6.0 } else { 0.0 };
            rain.push(format!(r#"{{"validTime":"{start}","value":{millimetres}}}"#));
        }
    }
    format!(
        r#"{{"type":"Feature","geometry":{{"type":"Polygon","coordinates":[[[-97.1081,39.7227],
        [-97.1085,39.7448],[-97.1372,39.7444],[-97.1368,39.7224],[-97.1081,39.7227]]]}},
        "properties":{{"updateTime":"{ISSUED}","validTimes":"2026-09-02T00:00:00+00:00/P7D",
        "gridId":"TOP","gridX":31,"gridY":80,
        "temperature":{{"uom":"wmoUnit:degC","values":[{}]}},
        "quantitativePrecipitation":{{"uom":"wmoUnit:mm","values":[{}]}}}}}}"#,
        temperature.join(","),
        rain.join(",")
    )
}
