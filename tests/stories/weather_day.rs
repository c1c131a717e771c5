//! A day of pulls for many fields against a loopback service that fails as real ones do, under a
//! pretended clock: the limits hold, healthy cells stay fresh, and an outage ends quietly.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use chrono::{DateTime, TimeDelta, Timelike, Utc};
use furrowbell::clock::Clock;
use furrowbell::rounds::Desk;
use furrowbell::rounds::sources_now::{SourceNow, State as Stands, sources_now};
use furrowbell::store::Store;
use furrowbell::weather::body::Asked;
use furrowbell::wire::{self, Outside};
use furrowbell_config::Book;
use furrowbell_engine::units::{Latitude, Longitude};
use furrowbell_tests::books::{self, Points};
use furrowbell_tests::install_tls;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;
use tokio::net::TcpListener;

/// Fields of the day in every run of the checks; `FURROWBELL_DAY_FIELDS=5000` runs the whole size,
/// which takes minutes unoptimised. Five fields lie in two cells.
const FIELDS: usize = 500;
const OFFICES: usize = 20;
/// The office whose grid has expired, and the one that goes on serving yesterday's.
const EXPIRED: usize = 7;
const FROZEN: usize = 13;
const EVERY_MINUTES: i64 = 180;
const REQUESTS_PER_S: usize = 2;
const MOST_IN_FLIGHT: usize = 4;
/// One request in so many is answered with an error.
const ERROR_IN: usize = 20;
/// How often an office issues a new grid.
const ISSUED_EVERY: TimeDelta = TimeDelta::hours(4);

const START: &str = "2026-05-20T06:00:00Z";
const OUTAGE: (TimeDelta, TimeDelta) = (TimeDelta::hours(10), TimeDelta::hours(12));
const DAY: TimeDelta = TimeDelta::hours(24);

fn fields() -> usize {
    let told = std::env::var("FURROWBELL_DAY_FIELDS").ok();
    told.map_or(FIELDS, |told| told.parse().expect("FURROWBELL_DAY_FIELDS is a number"))
}

fn cells() -> usize {
    fields() * 2 / 5
}

fn start() -> DateTime<Utc> {
    START.parse().expect("a time")
}

fn is_out(now: DateTime<Utc>) -> bool {
    (OUTAGE.0..OUTAGE.1).contains(&(now - start()))
}

fn office(cell: usize) -> String {
    let letter = |number: usize| char::from(b'A' + u8::try_from(number).expect("few offices"));
    format!("T{}{}", letter(cell % OFFICES / 10), letter(cell % OFFICES % 10))
}

/// South-western corner of a cell, ten-thousandths of a degree.
fn corner(cell: usize) -> (usize, usize) {
    (380_000 + cell / 50 * 300, 900_000 + cell % 50 * 300)
}

fn degrees(ten_thousandths: usize) -> f64 {
    f64::from(u32::try_from(ten_thousandths).expect("a place on earth")) / 10_000.0
}

/// The service and what it has seen.
struct Service {
    clock: Clock,
    /// Cells by the path part that asks for a place in them.
    places: HashMap<String, usize>,
    requests: AtomicUsize,
    in_flight: AtomicUsize,
    most_in_flight: AtomicUsize,
}

impl Service {
    async fn start(clock: Clock, places: HashMap<String, usize>) -> (Arc<Self>, String) {
        let zero = AtomicUsize::default;
        let service = Arc::new(Self {
            clock,
            places,
            requests: zero(),
            in_flight: zero(),
            most_in_flight: zero(),
        });
        let router = Router::new()
            .route("/points/{place}", get(point))
            .route("/gridpoints/{office}/{index}", get(grid))
            .with_state(Arc::clone(&service));
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a loopback port is free");
        let url = format!("http://{}", listener.local_addr().expect("a bound port"));
        tokio::spawn(async move { axum::serve(listener, router).await });
        (service, url)
    }

    /// Counts a request, keeps it under way for a moment, and says when and as which it came.
    async fn enter(&self) -> (DateTime<Utc>, usize) {
        let now = self.clock.now();
        let number = self.requests.fetch_add(1, Ordering::SeqCst);
        let under_way = self.in_flight.fetch_add(1, Ordering::SeqCst) + 1;
        self.most_in_flight.fetch_max(under_way, Ordering::SeqCst);
        for _ in 0..8 {
            tokio::task::yield_now().await;
        }
        self.in_flight.fetch_sub(1, Ordering::SeqCst);
        (now, number)
    }

    fn trouble(now: DateTime<Utc>, number: usize) -> Option<Response> {
        // A prime step spreads the errors over places, cells and hours.
        let unlucky = number.wrapping_mul(7919) % ERROR_IN == 3;
        if is_out(now) {
            Some(problem(StatusCode::SERVICE_UNAVAILABLE, "UnavailableResource", number))
        } else {
            unlucky.then(|| problem(StatusCode::INTERNAL_SERVER_ERROR, "UnexpectedProblem", number))
        }
    }
}

fn problem(status: StatusCode, kind: &str, number: usize) -> Response {
    let body = format!(
        r#"{{"type":"https://weather.invalid/problems/{kind}","title":"{kind}","status":{},
        "correlationId":"story-{number}"}}"#,
        status.as_u16()
    );
    (status, [(header::CONTENT_TYPE, "application/problem+json")], body).into_response()
}

fn geo_json(body: String, etag: &str) -> Response {
    ([(header::CONTENT_TYPE, "application/geo+json"), (header::ETAG, etag)], body).into_response()
}

async fn point(State(service): State<Arc<Service>>, Path(place): Path<String>) -> Response {
    let (now, number) = service.enter().await;
    if let Some(trouble) = Service::trouble(now, number) {
        return trouble;
    }
    let cell = service.places[&place];
    let office = office(cell);
    geo_json(
        format!(r#"{{"properties":{{"gridId":"{office}","gridX":{cell},"gridY":1}}}}"#),
        "\"place\"",
    )
}

async fn grid(
    State(service): State<Arc<Service>>,
    Path((_, index)): Path<(String, String)>,
    headers: HeaderMap,
) -> Response {
    let (now, number) = service.enter().await;
    if let Some(trouble) = Service::trouble(now, number) {
        return trouble;
    }
    let cell: usize = index.split(',').next().and_then(|x| x.parse().ok()).expect("a cell");
    let issued = match cell % OFFICES {
        EXPIRED => return problem(StatusCode::SERVICE_UNAVAILABLE, "ForecastGridExpired", number),
        FROZEN => start() - TimeDelta::hours(20),
        office => last_issue(office, now),
    };
    let etag = format!("\"{}\"", issued.timestamp());
    if headers.get(header::IF_NONE_MATCH).is_some_and(|known| known == etag.as_str()) {
        return (StatusCode::NOT_MODIFIED, [(header::ETAG, etag)]).into_response();
    }
    let (south, west) = corner(cell);
    let (south, west, side) = (degrees(south), -degrees(west), 0.03);
    let (north, east) = (south + side, west + side);
    let hour = issued.with_minute(0).expect("a whole hour").format("%Y-%m-%dT%H:00:00+00:00");
    let body = format!(
        r#"{{"geometry":{{"type":"Polygon","coordinates":[[[{west},{south}],[{east},{south}],
        [{east},{north}],[{west},{north}],[{west},{south}]]]}},"properties":{{
        "updateTime":"{}","validTimes":"{hour}/PT3H","temperature":{{"uom":"wmoUnit:degC",
        "values":[{{"validTime":"{hour}/PT3H","value":18}}]}}}}}}"#,
        issued.format("%Y-%m-%dT%H:%M:%S+00:00")
    );
    geo_json(body, &etag)
}

/// Offices issue at minutes of their own.
fn last_issue(office: usize, now: DateTime<Utc>) -> DateTime<Utc> {
    let phase = i64::try_from(office).expect("few offices") * 11 * 60;
    let every = ISSUED_EVERY.num_seconds();
    let issued = (now.timestamp() - phase).div_euclid(every) * every + phase;
    DateTime::from_timestamp(issued, 0).expect("a time of this century")
}

/// A book of one farm, its first field repeated all over the land; and the cell of each place.
fn book(folder: &std::path::Path) -> (Book, HashMap<String, usize>) {
    let mut book = Book::load(folder).unwrap_or_else(|faults| panic!("{faults}"));
    let pattern = book.fields.swap_remove(0);
    book.fields.clear();
    let mut places = HashMap::new();
    let cells = cells();
    for number in 0..fields() {
        let (south, west) = corner(number % cells);
        let aside = 50 + 41 * (number / cells);
        let (latitude, longitude) = (degrees(south + aside), -degrees(west - aside));
        let mut field = pattern.clone();
        field.id = format!("field-{number}");
        field.site.latitude = Latitude::new(latitude).expect("on land");
        field.site.longitude = Longitude::new(longitude).expect("on land");
        places.insert(format!("{latitude},{longitude}"), number % cells);
        book.fields.push(field);
    }
    (book, places)
}

/// Pulls as the service does, until the day is over; gives the number of pulls.
async fn a_day_of_pulls(desk: &Desk) -> usize {
    let end = start() + DAY;
    let mut pulls = 0;
    while desk.clock.now() < end {
        let pulled = desk.pull().await.expect("the record is at hand").expect("a source is on");
        desk.clock.advance_to(pulled.next);
        pulls += 1;
    }
    pulls
}

/// Most requests in any span of that length.
fn peak(times: &[DateTime<Utc>], span: TimeDelta) -> usize {
    let mut first = 0;
    let mut most = 0;
    for (last, time) in times.iter().enumerate() {
        while *time - times[first] >= span {
            first += 1;
        }
        most = most.max(last + 1 - first);
    }
    most
}

/// Longest time without a good answer for any healthy cell: over spans clear of the outage, and
/// over those that touch it.
fn longest_gaps(asked: &[Asked], end: DateTime<Utc>) -> (TimeDelta, TimeDelta) {
    let mut good = BTreeMap::<&str, Vec<DateTime<Utc>>>::new();
    for one in asked.iter().filter(|one| one.path.starts_with("/gridpoints/")) {
        let times = good.entry(&one.path).or_default();
        times.extend(one.fault.is_none().then_some(one.at));
    }
    let (from, until) = (start() + OUTAGE.0, start() + OUTAGE.1);
    let (mut clear, mut across) = (TimeDelta::zero(), TimeDelta::zero());
    for (path, times) in good {
        if path.starts_with(&format!("/gridpoints/{}/", office(EXPIRED))) {
            assert!(times.is_empty(), "an expired grid brings nothing");
            continue;
        }
        for pair in times.iter().copied().chain([end]).collect::<Vec<_>>().windows(2) {
            let longest = if pair[0] < until && pair[1] > from { &mut across } else { &mut clear };
            *longest = (*longest).max(pair[1] - pair[0]);
        }
    }
    (clear, across)
}

fn resident_mb() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    peak.map_or_else(|| "unknown".to_owned(), |peak| peak.trim().to_owned())
}

/// One thread, so that every request is noted at the very moment of its turn.
#[tokio::test]
async fn a_day_of_pulls_keeps_to_every_limit() {
    install_tls();
    let began = Instant::now();
    let (fields, cells) = (fields(), cells());
    let clock = Clock::pretended(start());
    let points = |weather: &str| {
        books::write(&Points {
            database: "sqlite:day.db",
            weather,
            gateway: "http://127.0.0.1:9/send",
            deduplicates: true,
            port: 0,
        })
    };
    let (_, places) = book(points("http://127.0.0.1:9").path());
    let (service, url) = Service::start(clock.clone(), places).await;
    let folder = points(&url);
    let (mut book, _) = book(folder.path());
    let nws = book.service.weather.nws.as_mut().expect("the book names the grid");
    nws.every_minutes = u32::try_from(EVERY_MINUTES).expect("a period");
    let store = Store::open(&books::sqlite_in(folder.path())).await.expect("a record");
    store.migrate().await.expect("a new record");
    let desk = wire::desk(book, store.clone(), clock.clone(), Outside::Real).expect("a desk");

    let pulls = a_day_of_pulls(&desk).await;

    let end = clock.now();
    let asked = store.requests_since(start()).await.expect("the ledger");
    let times: Vec<_> = asked.iter().map(|one| one.at).collect();
    let within = |from: TimeDelta, until: TimeDelta| -> Vec<_> {
        let inside = |at: &&DateTime<Utc>| (from..until).contains(&(**at - start()));
        times.iter().filter(inside).copied().collect()
    };
    let minute = TimeDelta::minutes(1);
    let (second_peak, minute_peak) = (peak(&times, TimeDelta::seconds(1)), peak(&times, minute));
    let first_hour = peak(&within(TimeDelta::zero(), TimeDelta::hours(1)), minute);
    let outage = within(OUTAGE.0, OUTAGE.1);
    let recovery = peak(&within(OUTAGE.1, OUTAGE.1 + TimeDelta::hours(1)), minute);
    let quiet = peak(&within(TimeDelta::hours(16), DAY), minute);
    let faults = asked.iter().filter(|one| one.fault.is_some()).count();
    let (clear, across) = longest_gaps(&asked, end);
    let sources = sources_now(&desk.book, &store, end).await.expect("the record");
    let [nws]: [SourceNow; 1] = sources.try_into().expect("one source");
    println!(
        "{fields} fields in {cells} cells over {} h: {} requests in {pulls} pulls, {faults} faults; \
         peak {second_peak} a second, {minute_peak} a minute ({first_hour} after the start, \
         {recovery} after the outage, {quiet} in quiet hours), {} in flight; {} requests during the \
         outage; longest without an answer {} min, {} min across the outage; {} cells late; \
         {:.1} s, {}",
        (end - start()).num_hours(),
        times.len(),
        service.most_in_flight.load(Ordering::SeqCst),
        outage.len(),
        clear.num_minutes(),
        across.num_minutes(),
        nws.served.late,
        began.elapsed().as_secs_f64(),
        resident_mb(),
    );

    assert_eq!(service.requests.load(Ordering::SeqCst), asked.len(), "the ledger is complete");
    assert!(
        asked
            .iter()
            .filter(|one| one.status.is_some_and(|s| s >= 500))
            .all(|one| { one.correlation_id.as_ref().is_some_and(|id| id.starts_with("story-")) })
    );
    assert!(second_peak <= REQUESTS_PER_S && minute_peak <= REQUESTS_PER_S * 60);
    let most = service.most_in_flight.load(Ordering::SeqCst);
    assert!((2..=MOST_IN_FLIGHT).contains(&most), "{most} in flight");

    // A period, its jitter of a tenth, and the tries again after errors.
    let period = TimeDelta::minutes(EVERY_MINUTES);
    assert!(clear <= period + period / 10 + TimeDelta::minutes(5), "{clear}");
    // The outage, the longest rest of the host and then of the office, the queue at the host's pace.
    let queue = TimeDelta::seconds(i64::try_from(cells / REQUESTS_PER_S).expect("few cells"));
    let rest = TimeDelta::minutes(30) * 2;
    assert!(across <= period + period / 10 + (OUTAGE.1 - OUTAGE.0) + rest + queue, "{across}");
    // A host that is down gets probes, not the day's work.
    assert!(outage.len() <= 20, "{} requests during the outage", outage.len());
    // Afterwards the cells are back at phases of their own.
    assert!(quiet <= 60, "{quiet} a minute in quiet hours");

    let late: Vec<_> = nws.offices.iter().filter(|(_, served)| served.late > 0).collect();
    let names: Vec<_> = late.iter().map(|(name, _)| (*name).clone()).collect();
    assert_eq!(names, [office(EXPIRED), office(FROZEN)]);
    assert!(late.iter().all(|(_, served)| served.late == served.cells));
    assert_eq!((nws.state, nws.served.cells), (Stands::Late, cells));
    assert_eq!(nws.offices[&office(EXPIRED)].newest_issue, None);
}
