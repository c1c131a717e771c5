//! Client of the US National Weather Service's forecast grid (api.weather.gov).
//!
//! Source of the rules kept here: National Weather Service, API documentation, "General FAQs" and
//! "Gridpoints": at most four decimals in a place, a User-Agent with a contact, conditional
//! requests, no unknown query parameters. It asks once; when to ask again is the caller's to
//! decide by the fault's verdict.

use super::cells::Cell;
use super::fault::{Fault, Problem, Verdict, What, printable};
use super::grid::Grid;
use super::limiter::Limiter;
use chrono::DateTime;
use chrono_tz::Tz;
use furrowbell_engine::units::{Latitude, Longitude};
use reqwest::header::{
    ACCEPT, CONTENT_TYPE, DATE, ETAG, HeaderMap, HeaderName, IF_MODIFIED_SINCE, IF_NONE_MATCH,
    LAST_MODIFIED, RETRY_AFTER, USER_AGENT,
};
use reqwest::{Response, StatusCode};
use serde::Deserialize;
use std::error::Error;
use std::time::Duration;

/// The one representation asked for; answers are cached by it, so it never varies.
const GEO_JSON: &str = "application/geo+json";
const CORRELATION_ID: HeaderName = HeaderName::from_static("x-correlation-id");
/// Most bytes read of an answer after unpacking; recorded grids have up to 0.2 MB.
const MAX_BODY: usize = 8 * 1024 * 1024;
/// Most bytes read of a refusal.
const MAX_PROBLEM: usize = 64 * 1024;
/// Longest wait for a whole answer.
const TIMEOUT: Duration = Duration::from_secs(30);
/// Pause for all requests after a refusal for their rate, when none was named; the service's
/// documentation says five seconds.
const RATE_PAUSE: Duration = Duration::from_secs(5);
/// Longest wait that is believed.
const LONGEST_PAUSE: Duration = Duration::from_hours(1);

/// What an answer said of its own age, echoed as it came. The service has been seen to date
/// answers into the future, so these are never read as times.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Validators {
    /// `ETag`.
    pub etag: Option<String>,
    /// `Last-Modified`.
    pub last_modified: Option<String>,
}

/// Where a place lies in the grid. May change without notice; to be asked anew each week, on
/// [`Verdict::ReResolve`], and when the cell's outline does not hold the place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resolved {
    /// The cell.
    pub cell: Cell,
    /// Time zone of the place, when named and known.
    pub zone: Option<Tz>,
}

/// Answer to a pull of one cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Pull {
    /// The stored grid is still the newest.
    NotModified,
    /// A new grid.
    Fresh(Box<Fresh>),
}

/// A new grid with what should be kept beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fresh {
    /// The grid.
    pub grid: Grid,
    /// To be sent with the next pull of the cell.
    pub validators: Validators,
    /// The service's name for the request.
    pub correlation_id: Option<String>,
    /// Size of the answer, unpacked.
    pub bytes: usize,
}

/// Asks the service. Clones share one limiter and one pool of connections.
#[derive(Debug, Clone)]
pub struct Client {
    base_url: String,
    user_agent: String,
    http: reqwest::Client,
    limiter: Limiter,
    timeout: Duration,
}

struct Answer {
    headers: HeaderMap,
    body: Vec<u8>,
}

#[derive(Deserialize)]
struct Point {
    properties: PointProperties,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct PointProperties {
    grid_id: String,
    grid_x: Index,
    grid_y: Index,
    #[serde(default)]
    time_zone: Option<String>,
}

/// The service has sent grid indices both as numbers and as texts.
#[derive(Deserialize)]
#[serde(untagged)]
enum Index {
    Number(u32),
    Text(String),
}

impl Index {
    fn read(&self) -> Option<u32> {
        match self {
            Self::Number(number) => Some(*number),
            Self::Text(text) => text.parse().ok(),
        }
    }
}

impl Client {
    /// A client for the service at `base_url`. `user_agent` must name a contact, `http` must
    /// follow redirects.
    pub fn new(
        base_url: &str,
        user_agent: impl Into<String>,
        http: reqwest::Client,
        limiter: Limiter,
    ) -> Self {
        let base_url = base_url.trim_end_matches('/').to_owned();
        Self { base_url, user_agent: user_agent.into(), http, limiter, timeout: TIMEOUT }
    }

    /// Asks which cell a place lies in.
    pub async fn resolve(
        &self,
        latitude: Latitude,
        longitude: Longitude,
    ) -> Result<Resolved, Fault> {
        let path = format!("/points/{},{}", degrees(latitude.get()), degrees(longitude.get()));
        let response = self.get(&path, &Validators::default()).await.map_err(Fault::of_place)?;
        let answer = accepted(&path, response).await?;
        let point = serde_json::from_slice::<Point>(&answer.body).map_err(|error| {
            unreadable(&path, &answer, &format!("is not a place: {error}"), error.is_eof())
        })?;
        let properties = point.properties;
        let cell = properties
            .grid_x
            .read()
            .zip(properties.grid_y.read())
            .and_then(|(x, y)| Cell::new(&properties.grid_id, x, y).ok())
            .ok_or_else(|| unreadable(&path, &answer, "names no grid cell", false))?;
        Ok(Resolved { cell, zone: properties.time_zone.and_then(|name| name.parse().ok()) })
    }

    /// Pulls the grid of a cell, unless it is the one `validators` came with.
    pub async fn grid(&self, cell: &Cell, validators: &Validators) -> Result<Pull, Fault> {
        let path = format!("/gridpoints/{cell}");
        let response = self.get(&path, validators).await?;
        if response.status() == StatusCode::NOT_MODIFIED {
            return Ok(Pull::NotModified);
        }
        let answer = accepted(&path, response).await?;
        let grid = Grid::parse(&answer.body).map_err(|fault| {
            unreadable(&path, &answer, &fault.to_string(), fault.is_cut_short())
        })?;
        Ok(Pull::Fresh(Box::new(Fresh {
            grid,
            validators: Validators {
                etag: text(&answer.headers, &ETAG),
                last_modified: text(&answer.headers, &LAST_MODIFIED),
            },
            correlation_id: text(&answer.headers, &CORRELATION_ID),
            bytes: answer.body.len(),
        })))
    }

    /// One request; comes back with status 200, or 304 if there was a condition.
    async fn get(&self, path: &str, validators: &Validators) -> Result<Response, Fault> {
        self.limiter.turn().await;
        let mut request = self
            .http
            .get(format!("{}{path}", self.base_url))
            .timeout(self.timeout)
            .header(ACCEPT, GEO_JSON)
            .header(USER_AGENT, &self.user_agent);
        if let Some(etag) = &validators.etag {
            request = request.header(IF_NONE_MATCH, etag);
        }
        if let Some(time) = &validators.last_modified {
            request = request.header(IF_MODIFIED_SINCE, time);
        }
        let response = request.send().await.map_err(|error| no_answer(path, error))?;
        let conditional = *validators != Validators::default();
        match response.status() {
            StatusCode::OK => return Ok(response),
            StatusCode::NOT_MODIFIED if conditional => return Ok(response),
            // A refusal for the rate concerns every request to the host.
            StatusCode::TOO_MANY_REQUESTS => {
                self.limiter.hold(retry_after(response.headers()).unwrap_or(RATE_PAUSE));
            }
            _ => {}
        }
        Err(refused(path, response).await)
    }
}

async fn accepted(path: &str, response: Response) -> Result<Answer, Fault> {
    let headers = response.headers().clone();
    let fail = |what, verdict| Fault::new(path, what, verdict, text(&headers, &CORRELATION_ID));
    match content_type(&headers).as_str() {
        GEO_JSON | "application/json" => {}
        "text/html" => return Err(fail(What::Page { status: 200 }, Verdict::Blocked)),
        other => return Err(fail(What::ContentType(printable(other)), Verdict::Broken)),
    }
    let body = read(response, MAX_BODY).await.map_err(|error| no_answer(path, error))?;
    match body {
        None => Err(fail(What::TooLarge(MAX_BODY), Verdict::Broken)),
        Some(body) if body.trim_ascii().is_empty() => {
            Err(fail(What::Empty, Verdict::RetrySoon { after: None }))
        }
        Some(body) => Ok(Answer { headers, body }),
    }
}

async fn refused(path: &str, response: Response) -> Fault {
    let status = response.status().as_u16();
    let headers = response.headers().clone();
    let after = retry_after(&headers);
    let kind = content_type(&headers);
    let body = read(response, MAX_PROBLEM).await.ok().flatten().unwrap_or_default();
    let problem: Problem = serde_json::from_slice(&body).unwrap_or_default();
    let verdict = What::verdict_of_status(status, &problem, after);
    let id = problem.correlation_id.clone().or_else(|| text(&headers, &CORRELATION_ID));
    let what =
        if kind == "text/html" { What::Page { status } } else { What::Status { status, problem } };
    Fault::new(path, what, verdict, id)
}

/// The body, or `None` when it is longer than `limit`.
async fn read(mut response: Response, limit: usize) -> Result<Option<Vec<u8>>, reqwest::Error> {
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await? {
        if body.len() + chunk.len() > limit {
            return Ok(None);
        }
        body.extend_from_slice(&chunk);
    }
    Ok(Some(body))
}

/// Seconds, or a date measured against the answer's own `Date`.
fn retry_after(headers: &HeaderMap) -> Option<Duration> {
    let value = text(headers, &RETRY_AFTER)?;
    let date = |text: &str| DateTime::parse_from_rfc2822(text).ok();
    let wait = match value.parse() {
        Ok(seconds) => Duration::from_secs(seconds),
        Err(_) => (date(&value)? - date(&text(headers, &DATE)?)?).to_std().ok()?,
    };
    Some(wait.min(LONGEST_PAUSE))
}

fn content_type(headers: &HeaderMap) -> String {
    let value = text(headers, &CONTENT_TYPE).unwrap_or_default();
    value.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

fn text(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    headers.get(name)?.to_str().ok().map(str::to_owned)
}

/// A coordinate as the service wants it: four decimals at most, no trailing zeros.
fn degrees(value: f64) -> String {
    let text = format!("{value:.4}");
    match text.trim_end_matches('0').trim_end_matches('.') {
        "-0" => "0".to_owned(),
        short => short.to_owned(),
    }
}

fn no_answer(path: &str, error: reqwest::Error) -> Fault {
    let ours = error.is_builder() || error.is_redirect();
    let verdict = if ours { Verdict::Broken } else { Verdict::RetrySoon { after: None } };
    let error = error.without_url();
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        text = format!("{text}: {inner}");
        cause = inner.source();
    }
    Fault::new(path, What::NoAnswer(printable(&text)), verdict, None)
}

fn unreadable(path: &str, answer: &Answer, what: &str, cut_short: bool) -> Fault {
    let verdict = if cut_short { Verdict::RetrySoon { after: None } } else { Verdict::Broken };
    let what = What::Unreadable(printable(what));
    Fault::new(path, what, verdict, text(&answer.headers, &CORRELATION_ID))
}

#[cfg(test)]
#[path = "nws_tests.rs"]
mod tests;
