use super::*;
use crate::clock::Clock;
use crate::weather::body::{MAX_BODY, Notes, redirects};
use crate::weather::fault::{Verdict, What};
use crate::weather::grid::Hour;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use wiremock::matchers::{header, header_exists, method, path};
use wiremock::{Mock, MockServer, Request, ResponseTemplate};

const SMALL: &[u8] = include_bytes!("testdata/small_grid.json");
const SMALL_GZIP: &[u8] = include_bytes!("testdata/small_grid.json.gz");
const AGENT: &str = "furrowbell/0.1 (desk@example.org)";
const CELL_PATH: &str = "/gridpoints/OAX/59,58";

fn client(base_url: &str) -> Nws {
    client_within(base_url, Duration::from_secs(30))
}

fn client_within(base_url: &str, total: Duration) -> Nws {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let http = reqwest::Client::builder().user_agent(AGENT).redirect(redirects()).build().unwrap();
    let (clock, notes) = (Clock::System, Notes::default());
    Nws::new(Reader::new(SourceName::Nws, base_url, http, 1000.0, &clock, &notes).within(total))
}

async fn grid(nws: &Nws, validators: Validators) -> Result<Answer, Fault> {
    let known = Known { validators, issued_at: None };
    nws.pull(&Area::Cell(cell()), &known).await
}

fn cell() -> Cell {
    Cell::new("OAX", 59, 58).unwrap()
}

fn geo_json(body: &[u8]) -> ResponseTemplate {
    ResponseTemplate::new(200).set_body_raw(body, GEO_JSON)
}

/// A refusal as api.weather.gov words it.
fn problem(status: u16, kind: &str, title: &str, detail: &str) -> ResponseTemplate {
    let body = serde_json::json!({
        "correlationId": "3ed8bace-d53b-4d32-8175-68d396faffd3",
        "title": title,
        "type": format!("https://api.weather.gov/problems/{kind}"),
        "status": status,
        "detail": detail,
    });
    ResponseTemplate::new(status).set_body_raw(body.to_string(), "application/problem+json")
}

async fn pull(answer: ResponseTemplate) -> Result<Answer, Fault> {
    let server = MockServer::start().await;
    Mock::given(method("GET")).and(path(CELL_PATH)).respond_with(answer).mount(&server).await;
    grid(&client(&server.uri()), Validators::default()).await
}

/// The hours that an answer holds.
fn hours(answer: &Answer) -> &[Hour] {
    match &answer.payload {
        Some(Payload::Hours(forecasts)) => &forecasts[0].hours,
        other => panic!("{other:?}"),
    }
}

async fn resolve_at(server: &MockServer, lat: f64, lon: f64) -> Result<Resolved, Fault> {
    let (lat, lon) = (Latitude::new(lat).unwrap(), Longitude::new(lon).unwrap());
    let answer = client(&server.uri()).resolve(lat, lon).await?;
    Ok(answer.payload.unwrap())
}

fn point(x: &serde_json::Value, zone: &str) -> ResponseTemplate {
    let host = "https://api.weather.gov/gridpoints/OAX/59,58";
    let body = serde_json::json!({"properties": {
        "gridId": "OAX", "gridX": x, "gridY": 58, "timeZone": zone, "forecastGridData": host,
        "forecastZone": "https://api.weather.gov/zones/forecast/NEZ051",
        "county": "https://api.weather.gov/zones/county/NEC155", "fireWeatherZone": null}});
    geo_json(body.to_string().as_bytes())
}

fn warned_by() -> Vec<String> {
    ["forecast/NEZ051", "county/NEC155"].map(str::to_owned).into()
}

#[test]
fn degrees_have_four_decimals_at_most_and_no_trailing_zeros() {
    let written = [41.2120, -96.623, 40.0, 47.655_299_9, -0.000_01, -100.5, 0.0].map(degrees);
    assert_eq!(written, ["41.212", "-96.623", "40", "47.6553", "0", "-100.5", "0"]);
}

#[tokio::test]
async fn resolves_with_the_index_as_text_or_number() {
    for x in [serde_json::json!(59), serde_json::json!("59")] {
        let server = MockServer::start().await;
        Mock::given(path("/points/41.212,-96.623"))
            .and(header("accept", GEO_JSON))
            .and(header("user-agent", AGENT))
            .respond_with(point(&x, "America/Chicago"))
            .expect(1)
            .mount(&server)
            .await;
        let resolved = resolve_at(&server, 41.212, -96.623).await.unwrap();
        let zone = Some(chrono_tz::America::Chicago);
        assert_eq!(resolved, Resolved { cell: cell(), zone, warned_by: warned_by() });
    }
}

#[tokio::test]
async fn follows_a_relative_redirect() {
    let server = MockServer::start().await;
    Mock::given(path("/points/47.6553,-122.5354"))
        .respond_with(
            problem(301, "Redirect", "Adjusting Precision Of Point Coordinate", "")
                .insert_header("location", "/points/47.655,-122.535"),
        )
        .mount(&server)
        .await;
    Mock::given(path("/points/47.655,-122.535"))
        .and(header("accept", GEO_JSON))
        .and(header("user-agent", AGENT))
        .respond_with(point(&serde_json::json!(59), "Mars/Base"))
        .expect(1)
        .mount(&server)
        .await;
    let resolved = resolve_at(&server, 47.6553, -122.5354).await.unwrap();
    assert_eq!(resolved, Resolved { cell: cell(), zone: None, warned_by: warned_by() });
}

/// Body as quoted in an issue of the service's public tracker.
#[tokio::test]
async fn a_place_outside_the_country_is_not_covered() {
    let server = MockServer::start().await;
    let detail = "Unable to provide data for requested point 90,120.5518";
    let title = "Data Unavailable For Requested Point";
    Mock::given(method("GET"))
        .respond_with(problem(404, "InvalidPoint", title, detail))
        .mount(&server)
        .await;
    let fault = resolve_at(&server, 90.0, 120.551_760_5).await.unwrap_err();
    assert_eq!(fault.verdict, Verdict::NotCovered);
    assert_eq!(
        fault.to_string(),
        "GET /points/90,120.5518: status 404, Data Unavailable For Requested Point, Unable to \
         provide data for requested point 90,120.5518; check the field's coordinates"
    );
}

/// Recorded answers of api.weather.gov (US government work), kept outside the repository.
#[tokio::test]
async fn recorded_places_resolve() {
    let recorded = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/data/nws");
    for (folder, cell, zone) in [
        ("wahoo-ne_OAX-59-58", "OAX/59,58", "America/Chicago"),
        ("linn-ks_TOP-31-80", "TOP/32,81", "America/Chicago"),
        ("arctic-ak_AFG-368-294", "AFG/368,294", "America/Anchorage"),
        ("edge_hand_edited/billings-mt_BYZ-103-92", "BYZ/103,92", "America/Denver"),
    ] {
        let Ok(body) = std::fs::read(format!("{recorded}/{folder}/point.json")) else {
            println!("SKIP no recorded place in ../shared/data/nws/{folder}");
            continue;
        };
        let server = MockServer::start().await;
        Mock::given(method("GET")).respond_with(geo_json(&body)).mount(&server).await;
        let resolved = resolve_at(&server, 41.0, -96.0).await.unwrap();
        assert_eq!(resolved.cell.to_string(), cell);
        assert_eq!(resolved.zone.map(Tz::name), Some(zone));
    }
}

#[tokio::test]
async fn a_place_without_a_usable_cell_is_a_fault() {
    for x in [serde_json::json!("x"), serde_json::json!(-1), serde_json::Value::Null] {
        let server = MockServer::start().await;
        Mock::given(method("GET")).respond_with(point(&x, "UTC")).mount(&server).await;
        let fault = resolve_at(&server, 41.0, -96.0).await.unwrap_err();
        assert_eq!(fault.verdict, Verdict::Broken, "{fault}");
    }
}

#[tokio::test]
async fn a_fresh_grid_comes_with_its_validators_as_sent() {
    // Dated three weeks ahead of the answer, as the service has been seen to do (2020-09-06).
    let ahead = "Mon, 28 Sep 2020 18:00:00 GMT";
    let answer = pull(
        geo_json(SMALL)
            .insert_header("last-modified", ahead)
            .insert_header("etag", "\"2f-abc\"")
            .insert_header("x-correlation-id", "6eb39977"),
    )
    .await
    .unwrap();
    assert_eq!(answer.validators.last_modified.as_deref(), Some(ahead));
    assert_eq!(answer.validators.etag.as_deref(), Some("\"2f-abc\""));
    assert_eq!(answer.correlation_id.as_deref(), Some("6eb39977"));
    assert_eq!(answer.bytes, SMALL.len());
    assert_eq!(hours(&answer), Grid::parse(SMALL).unwrap().hours);
}

#[tokio::test]
async fn validators_are_echoed_and_304_means_not_modified() {
    let server = MockServer::start().await;
    let ahead = "Mon, 28 Sep 2020 18:00:00 GMT";
    Mock::given(path(CELL_PATH))
        .and(move |request: &Request| request.headers["if-modified-since"] == ahead)
        .and(header("if-none-match", "\"2f-abc\""))
        .respond_with(ResponseTemplate::new(304))
        .expect(1)
        .mount(&server)
        .await;
    let validators =
        Validators { etag: Some("\"2f-abc\"".to_owned()), last_modified: Some(ahead.to_owned()) };
    let answer = grid(&client(&server.uri()), validators.clone()).await.unwrap();
    assert_eq!((answer.status, answer.payload, answer.validators), (304, None, validators));
}

#[tokio::test]
async fn a_304_nobody_asked_for_is_broken() {
    let fault = pull(ResponseTemplate::new(304)).await.unwrap_err();
    assert_eq!(fault.verdict, Verdict::Broken);
}

#[tokio::test]
async fn no_condition_is_sent_without_validators() {
    let server = MockServer::start().await;
    for name in ["if-modified-since", "if-none-match"] {
        Mock::given(header_exists(name))
            .respond_with(ResponseTemplate::new(304))
            .expect(0)
            .mount(&server)
            .await;
    }
    Mock::given(method("GET")).respond_with(geo_json(SMALL)).expect(1).mount(&server).await;
    assert!(grid(&client(&server.uri()), Validators::default()).await.is_ok());
}

#[tokio::test]
async fn a_packed_answer_is_unpacked() {
    let packed = geo_json(SMALL_GZIP).insert_header("content-encoding", "gzip");
    let answer = pull(packed).await.unwrap();
    assert_eq!(hours(&answer), Grid::parse(SMALL).unwrap().hours);
    assert_eq!(answer.bytes, SMALL.len());
}

#[tokio::test]
async fn a_grid_that_expired_waits_for_the_next_pull() {
    let detail =
        "The requested forecast grid was issued 2020-02-11T02:50:40+00:00 and has expired.";
    let fault = pull(problem(503, "ForecastGridExpired", "Forecast Grid Expired", detail))
        .await
        .unwrap_err();
    assert_eq!(fault.verdict, Verdict::NextPull);
    assert_eq!(fault.correlation_id.as_deref(), Some("3ed8bace-d53b-4d32-8175-68d396faffd3"));
    assert_eq!(
        fault.to_string(),
        "GET /gridpoints/OAX/59,58: status 503, Forecast Grid Expired, The requested forecast grid \
         was issued 2020-02-11T02:50:40+00:00 and has expired; nothing newer yet, wait for the \
         next pull"
    );
}

#[tokio::test]
async fn statuses_lead_to_their_verdicts() {
    let soon = Verdict::RetrySoon { after: None };
    for (status, kind, verdict) in [
        (500, "UnexpectedProblem", soon),
        (502, "", soon),
        (503, "UnavailableWebService", soon),
        (429, "", soon),
        (404, "NotFound", Verdict::ReResolve),
        (403, "", Verdict::Blocked),
        (400, "BadRequest", Verdict::Broken),
        (410, "", Verdict::Broken),
    ] {
        let fault = pull(problem(status, kind, "T", "D")).await.unwrap_err();
        assert_eq!(fault.verdict, verdict, "{fault}");
    }
}

/// The service has marked a 500 as good for a day (seen 2020-06-25); that is not obeyed.
#[tokio::test]
async fn a_500_that_calls_itself_cacheable_is_asked_again() {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        .respond_with(
            problem(500, "UnexpectedProblem", "Unexpected Problem", "An unexpected problem.")
                .insert_header("cache-control", "private, must-revalidate, max-age=86400")
                .insert_header("expires", "Fri, 26 Jun 2020 16:44:41 GMT")
                .insert_header("date", "Thu, 25 Jun 2020 16:44:41 GMT"),
        )
        .up_to_n_times(1)
        .mount(&server)
        .await;
    Mock::given(method("GET")).respond_with(geo_json(SMALL)).mount(&server).await;
    let client = client(&server.uri());
    let fault = grid(&client, Validators::default()).await.unwrap_err();
    assert_eq!(fault.verdict, Verdict::RetrySoon { after: None });
    assert!(grid(&client, Validators::default()).await.unwrap().payload.is_some());
}

#[tokio::test]
async fn retry_after_is_read_in_seconds_and_as_a_date_and_is_capped() {
    for (value, seconds) in
        [("120", 120), ("Thu, 25 Jun 2020 16:45:11 GMT", 30), ("999999999", 3600)]
    {
        let fault = pull(
            problem(503, "UnavailableWebService", "Unavailable Resource", "")
                .insert_header("date", "Thu, 25 Jun 2020 16:44:41 GMT")
                .insert_header("retry-after", value),
        )
        .await
        .unwrap_err();
        let after = Some(Duration::from_secs(seconds));
        assert_eq!(fault.verdict, Verdict::RetrySoon { after }, "{value}");
    }
}

#[tokio::test]
async fn a_refusal_for_the_rate_holds_back_every_request() {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        .respond_with(
            ResponseTemplate::new(429)
                .insert_header("retry-after", "1")
                .set_body_raw("<html>", "text/html"),
        )
        .up_to_n_times(1)
        .mount(&server)
        .await;
    Mock::given(method("GET")).respond_with(geo_json(SMALL)).mount(&server).await;
    let client = client(&server.uri());
    grid(&client, Validators::default()).await.unwrap_err();
    let held = grid(&client.clone(), Validators::default()).await.unwrap_err();
    assert_eq!(held.what, What::Resting { who: "host".to_owned() });
    tokio::time::sleep(Duration::from_millis(1050)).await;
    grid(&client, Validators::default()).await.unwrap();
    assert_eq!(server.received_requests().await.unwrap().len(), 2);
}

/// Body as quoted in an issue of the service's public tracker.
#[tokio::test]
async fn a_page_of_the_network_in_front_means_blocked() {
    let page = "<HTML><HEAD>\n<TITLE>Access Denied</TITLE>\n</HEAD><BODY>\n<H1>Access Denied</H1>";
    for status in [403, 200] {
        let answer = ResponseTemplate::new(status).set_body_raw(page, "text/html; charset=UTF-8");
        let fault = pull(answer).await.unwrap_err();
        assert_eq!((fault.what, fault.verdict), (What::Page { status }, Verdict::Blocked));
    }
}

#[tokio::test]
async fn another_content_type_is_not_read() {
    let answer = ResponseTemplate::new(200).set_body_raw(SMALL, "application/ld+json");
    let fault = pull(answer).await.unwrap_err();
    assert_eq!(fault.what, What::ContentType("application/ld+json".to_owned()));
    assert_eq!(fault.verdict, Verdict::Broken);
}

#[tokio::test]
async fn empty_and_halved_answers_are_asked_again_and_nonsense_is_not() {
    let soon = Verdict::RetrySoon { after: None };
    assert_eq!(pull(geo_json(b"")).await.unwrap_err().what, What::Empty);
    for (body, verdict) in
        [(&b" \n"[..], soon), (&SMALL[..SMALL.len() / 2], soon), (b"{]", Verdict::Broken)]
    {
        assert_eq!(pull(geo_json(body)).await.unwrap_err().verdict, verdict);
    }
}

#[tokio::test]
async fn more_than_an_honest_answer_holds_is_cut_off() {
    let fault = pull(geo_json(&vec![b' '; MAX_BODY + 1])).await.unwrap_err();
    assert_eq!((fault.what, fault.verdict), (What::TooLarge(MAX_BODY), Verdict::Broken));
}

#[tokio::test]
async fn a_line_that_breaks_in_the_middle_is_asked_again() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base_url = format!("http://{}", listener.local_addr().unwrap());
    let server = tokio::spawn(async move {
        let (mut stream, _) = listener.accept().await.unwrap();
        let mut request = [0; 4096];
        let _ = stream.read(&mut request).await.unwrap();
        let head = format!(
            "HTTP/1.1 200 OK\r\ncontent-type: {GEO_JSON}\r\ncontent-length: {}\r\n\r\n",
            SMALL.len()
        );
        stream.write_all(head.as_bytes()).await.unwrap();
        stream.write_all(&SMALL[..100]).await.unwrap();
    });
    let fault = grid(&client(&base_url), Validators::default()).await.unwrap_err();
    server.await.unwrap();
    assert!(matches!(fault.what, What::NoAnswer(_)), "{fault}");
    assert_eq!(fault.verdict, Verdict::RetrySoon { after: None });
}

#[tokio::test]
async fn an_answer_that_takes_too_long_is_asked_again() {
    let server = MockServer::start().await;
    let late = geo_json(SMALL).set_delay(Duration::from_secs(20));
    Mock::given(method("GET")).respond_with(late).mount(&server).await;
    let hasty = client_within(&server.uri(), Duration::from_millis(50));
    let fault = grid(&hasty, Validators::default()).await.unwrap_err();
    assert!(fault.to_string().contains("timed out"), "{fault}");
    assert_eq!(fault.verdict, Verdict::RetrySoon { after: None });
}

#[tokio::test]
async fn nobody_listening_is_asked_again_and_an_address_that_is_none_is_not() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base_url = format!("http://{}", listener.local_addr().unwrap());
    drop(listener);
    let fault = grid(&client(&base_url), Validators::default()).await.unwrap_err();
    assert_eq!(fault.verdict, Verdict::RetrySoon { after: None });
    assert!(!fault.to_string().contains("127.0.0.1/"), "{fault}");
    let fault = grid(&client("not an address"), Validators::default()).await.unwrap_err();
    assert_eq!(fault.verdict, Verdict::Broken, "{fault}");
}

#[tokio::test]
async fn a_redirect_to_another_host_is_not_followed() {
    let elsewhere = MockServer::start().await;
    let answer = ResponseTemplate::new(302)
        .insert_header("location", format!("{}{CELL_PATH}", elsewhere.uri()).as_str());
    let fault = pull(answer).await.unwrap_err();
    assert_eq!(fault.verdict, Verdict::Broken, "{fault}");
    assert_eq!(elsewhere.received_requests().await.unwrap().len(), 0);
}

#[tokio::test]
async fn redirects_without_end_are_broken() {
    let answer = ResponseTemplate::new(301).insert_header("location", CELL_PATH);
    assert_eq!(pull(answer).await.unwrap_err().verdict, Verdict::Broken);
}
