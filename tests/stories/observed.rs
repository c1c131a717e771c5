//! The built binary against sources of observed days and of warnings: what was measured counts, who
//! says otherwise is told, and a source that fails takes nothing away.

use axum::Json;
use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use furrowbell_tests::binary::Service;
use furrowbell_tests::books::{self, Points};
use furrowbell_tests::gateway::Gateway;
use furrowbell_tests::weather_service::{INSIDE, WeatherService};
use furrowbell_tests::{binary, install_tls, wait_for};
use serde_json::{Value, json};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;
use tokio::net::TcpListener;

const MORNING: &str = "2026-09-02T14:30:00Z";
const PATIENCE: Duration = Duration::from_secs(30);

/// Whether the sources are out of order, and how often they were asked then.
#[derive(Debug, Default)]
struct Sources {
    broken: AtomicBool,
    refused: AtomicUsize,
}

type Shared = State<Arc<Sources>>;

fn or_broken(State(state): &Shared, answer: Value, kind: &'static str) -> Response {
    if state.broken.load(Ordering::Relaxed) {
        state.refused.fetch_add(1, Ordering::Relaxed);
        return StatusCode::BAD_GATEWAY.into_response();
    }
    ([(header::CONTENT_TYPE, kind)], Json(answer).to_string()).into_response()
}

async fn days(state: Shared) -> Response {
    let row = json!({"date": "2026-09-01", "mrms_precip_in": 0.5, "daily_high_f": 81.0,
        "daily_low_f": 60.0, "avg_dewpoint_f": 60.0, "daily_precip_in": 0.45, "solar_mj": 19.0,
        "soil4t_high_f": 79.0, "soil4t_low_f": 71.0});
    let answer = json!({"generated_at": "2026-09-02T14:20:00Z", "data": [row]});
    or_broken(&state, answer, "application/json")
}

/// A station read at seven in the morning of 2 September, about seven kilometres to the north.
async fn stations(state: Shared, Json(request): Json<Value>) -> Response {
    assert_eq!(request["edate"], "2026-09-02");
    let (latitude, longitude) = (INSIDE.0 + 0.063, INSIDE.1);
    let mut rows = vec![json!([["M", -1], ["M", -1], ["M", -1]]); 10];
    rows.push(json!([["1.40", 7], ["82", 7], ["61", 7]]));
    let meta =
        json!({"uid": 77, "name": "MILL", "ll": [longitude, latitude], "sids": ["140001 2"]});
    or_broken(&state, json!({"data": [{"meta": meta, "data": rows}]}), "application/json")
}

async fn alerts(state: Shared) -> Response {
    let (latitude, longitude) = INSIDE;
    let (south, north) = (latitude - 0.1, latitude + 0.1);
    let (west, east) = (longitude - 0.1, longitude + 0.1);
    let ring = [[west, south], [east, south], [east, north], [west, north], [west, south]];
    let alert = json!({"type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [ring]},
        "properties": {"id": "urn:1", "event": "Wind Advisory", "status": "Actual",
            "messageType": "Alert", "sent": "2026-09-02T06:00:00-05:00",
            "onset": "2026-09-02T07:00:00-05:00", "expires": "2026-09-02T19:00:00-05:00",
            "ends": "2026-09-02T21:00:00-05:00", "affectedZones": []}});
    let list = json!({"updated": "2026-09-02T14:25:00Z", "features": [alert]});
    or_broken(&state, list, "application/geo+json")
}

async fn observers(state: Arc<Sources>) -> String {
    let router = Router::new()
        .route("/iemre/multiday.py", get(days))
        .route("/MultiStnData", post(stations))
        .route("/alerts/active", get(alerts))
        .with_state(state);
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    tokio::spawn(async move { axum::serve(listener, router).await });
    url
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_measured_counts_and_outlives_its_source() {
    install_tls();
    let folder = tempfile::tempdir().unwrap();
    let (weather, gateway) = (WeatherService::start().await, Gateway::start(true).await);
    let state = Arc::new(Sources::default());
    let url = observers(Arc::clone(&state)).await;
    let book = books::write(&Points {
        database: &books::sqlite_in(folder.path()),
        weather: weather.url(),
        gateway: gateway.url(),
        deduplicates: true,
        port: 0,
    });
    let settings = book.path().join("service.toml");
    let text = std::fs::read_to_string(&settings).unwrap().replace("listen = \"127.0.0.1:0\"", "");
    let text = text.split("[routes.sms.inbound]").next().unwrap().to_owned();
    let named = ["mesonet", "acis", "alerts"]
        .map(|source| format!("[weather.{source}]\nbase_url = \"{url}\"\n"));
    std::fs::write(&settings, text + &named.concat()).unwrap();
    let path = book.path().to_str().unwrap();
    let asked = ["show", "North 80", "--book", path, "--on", "2026-09-02"];
    let show = async || binary::succeed(&asked).await;

    let service = Service::start(book.path(), MORNING, 60);
    let radar = "2026-09-01  0.50 in by radar (Iowa Environmental Mesonet, 39.73,-97.12";
    let shown = wait_for("the radar's rain", PATIENCE, async || {
        let shown = show().await;
        shown.contains(radar).then_some(shown)
    })
    .await;
    let station =
        "but  1.40 in by station (ACIS stations, acis:77 7 km off, 09-01 07:00 to 09-02 07:00";
    assert!(shown.contains(station), "{shown}");
    assert!(shown.contains("soil at 4 in on 2026-09-01: 71 to 79 F by model"), "{shown}");
    let last = shown.lines().find(|line| line.starts_with("  2026-09-01") && line.contains("heat"));
    let last = last.unwrap_or_else(|| panic!("no row of 1 September in {shown}"));
    assert!(!last.contains('*') && last.contains("rain  0.50"), "{last}");
    let digest = binary::succeed(&["digest", "--book", path, "--on", "2026-09-02"]).await;
    let advisory = "Wind Advisory until Wed Sep 2, 9:00 PM\n  - Story Farm: North 80";
    assert!(digest.contains(advisory), "{digest}");

    state.broken.store(true, Ordering::Relaxed);
    wait_for("a poll that failed", PATIENCE, async || {
        (state.refused.load(Ordering::Relaxed) > 0).then_some(())
    })
    .await;
    assert!(show().await.contains(radar), "what came before stays");
    let log = service.log();
    assert!(!log.contains("panicked"), "{log}");
    assert_eq!(service.stop().await, Some(0));
    assert!(gateway.delivered().iter().all(|seen| !seen.text.contains("Wind Advisory")));
}
