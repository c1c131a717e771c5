//! The one reader of answers from the network: every source is asked through it.
//!
//! It keeps to the host's rate, leaves a host alone that is in trouble, checks what came before
//! anybody reads it, and notes every request. Freshness is believed of good answers only, never of
//! errors.

use super::breaker::Breaker;
use super::fault::{Fault, Problem, Verdict, What, printable};
use super::limiter::Limiter;
use super::source::{Answer, SourceName, Validators};
use crate::clock::Clock;
use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{
    ACCEPT, CACHE_CONTROL, CONTENT_TYPE, DATE, ETAG, EXPIRES, HeaderMap, HeaderName,
    IF_MODIFIED_SINCE, IF_NONE_MATCH, LAST_MODIFIED, RETRY_AFTER,
};
use reqwest::redirect::Policy;
use reqwest::{RequestBuilder, Response, StatusCode};
use secrecy::{ExposeSecret, SecretString};
use std::error::Error;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::Semaphore;

const CORRELATION_ID: HeaderName = HeaderName::from_static("x-correlation-id");
/// Most bytes read of an answer after unpacking; recorded grids have up to 0.2 MB and all alerts
/// of the country a few MB.
pub(super) const MAX_BODY: usize = 16 * 1024 * 1024;
/// Most bytes read of a refusal.
const MAX_PROBLEM: usize = 64 * 1024;
/// Longest wait for a whole answer.
const TOTAL: Duration = Duration::from_secs(30);
/// Longest silence within an answer.
pub const IDLE: Duration = Duration::from_secs(10);
/// Most redirects in a row.
const REDIRECTS: usize = 3;
/// Most requests under way at one host.
const IN_FLIGHT: usize = 4;
/// Pause for all requests after a refusal for their rate, when none was named; the National
/// Weather Service's documentation says five seconds.
const RATE_PAUSE: Duration = Duration::from_secs(5);
/// Longest wait that is believed.
const LONGEST_PAUSE: Duration = Duration::from_hours(1);
/// Most notes kept until somebody takes them.
const MOST_NOTES: usize = 10_000;

/// One request.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// Path and query. It is logged and kept, so it holds a place and dates and nothing else.
    pub path: &'a str,
    /// The one content type asked for besides plain JSON.
    pub accept: &'static str,
    /// Body of a POST; a GET without.
    pub post: Option<&'a serde_json::Value>,
    /// Those of the last answer.
    pub validators: &'a Validators,
    /// The office behind the host whose failures are its own.
    pub office: Option<&'a str>,
    /// A query parameter that is neither logged nor kept.
    pub secret: Option<(&'static str, &'a SecretString)>,
}

impl<'a> Request<'a> {
    /// A plain GET of JSON.
    pub const fn get(path: &'a str, validators: &'a Validators) -> Self {
        let accept = "application/json";
        Self { path, accept, post: None, validators, office: None, secret: None }
    }
}

/// What a source has read from a body.
#[derive(Debug, Clone, PartialEq)]
pub struct Read<T> {
    /// The contents.
    pub payload: T,
    /// When the source made them, where it says so.
    pub issued_at: Option<DateTime<Utc>>,
}

/// A body that makes no sense.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unreadable {
    /// What is wrong, to follow "the answer".
    pub what: String,
    /// Whether it stopped in the middle.
    pub cut_short: bool,
}

impl From<serde_json::Error> for Unreadable {
    fn from(error: serde_json::Error) -> Self {
        Self { what: format!("cannot be read: {error}"), cut_short: error.is_eof() }
    }
}

/// What came of one request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// When it was sent.
    pub at: DateTime<Utc>,
    /// Who was asked.
    pub source: SourceName,
    /// Path and query.
    pub path: String,
    /// HTTP status; `None` when no answer came.
    pub status: Option<u16>,
    /// Size of the answer, unpacked.
    pub bytes: usize,
    /// When the source made the data.
    pub issued_at: Option<DateTime<Utc>>,
    /// How long it took.
    pub took: Duration,
    /// The service's name for the request.
    pub correlation_id: Option<String>,
    /// What went wrong.
    pub fault: Option<String>,
}

/// Notes of requests until the store takes them. Clones share them.
#[derive(Debug, Clone, Default)]
pub struct Notes(Arc<Mutex<Vec<Asked>>>);

impl Notes {
    /// All notes so far, which are then forgotten here.
    pub fn take(&self) -> Vec<Asked> {
        std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn add(&self, asked: Asked) {
        let mut notes = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if notes.len() < MOST_NOTES {
            notes.push(asked);
        }
    }
}

/// Asks one host. Clones share its limits.
#[derive(Debug, Clone)]
pub struct Reader {
    source: SourceName,
    base_url: String,
    http: reqwest::Client,
    limiter: Limiter,
    slots: Arc<Semaphore>,
    breaker: Breaker,
    notes: Notes,
    clock: Clock,
    total: Duration,
    deprecated: Arc<AtomicBool>,
}

/// Status, headers and body of an answer.
struct Whole {
    status: StatusCode,
    headers: HeaderMap,
    body: Vec<u8>,
}

/// The name under which a host's own circuit is kept.
pub const HOST: &str = "host";

impl Reader {
    /// A reader of the service at `base_url`. `http` must name a contact, follow [`redirects`] and
    /// give up on [`IDLE`] answers.
    pub fn new(
        source: SourceName,
        base_url: &str,
        http: reqwest::Client,
        requests_per_s: f64,
        clock: &Clock,
        notes: &Notes,
    ) -> Self {
        Self {
            source,
            base_url: base_url.trim_end_matches('/').to_owned(),
            http,
            limiter: Limiter::by(clock.clone(), requests_per_s),
            slots: Arc::new(Semaphore::new(IN_FLIGHT)),
            breaker: Breaker::default(),
            notes: notes.clone(),
            clock: clock.clone(),
            total: TOTAL,
            deprecated: Arc::default(),
        }
    }

    /// The same with another longest wait for a whole answer.
    #[must_use]
    pub fn within(self, total: Duration) -> Self {
        Self { total, ..self }
    }

    /// The source it serves.
    pub const fn source(&self) -> SourceName {
        self.source
    }

    /// Circuits of the host ([`HOST`]) and of its offices.
    pub const fn breaker(&self) -> &Breaker {
        &self.breaker
    }

    /// The clock it keeps to.
    pub const fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Sends one request and has its body read. A host or an office at rest is not asked.
    pub async fn ask<T>(
        &self,
        request: Request<'_>,
        read: impl FnOnce(&[u8]) -> Result<Read<T>, Unreadable> + Send,
    ) -> Result<Answer<T>, Fault> {
        // Nobody is under way any more once the slots are closed, which never happens.
        let _slot = self.slots.acquire().await;
        self.rested(&request)?;
        self.limiter.turn().await;
        let at = self.clock.now();
        let mut size = 0;
        let answer = match self.send(&request).await {
            Ok(whole) => {
                size = whole.body.len();
                self.read(&request, &whole, read)
            }
            Err(fault) => Err(fault),
        };
        self.settle(&request, answer.as_ref().err());
        self.note(&request, at, size, &answer);
        answer
    }

    fn rested(&self, request: &Request<'_>) -> Result<(), Fault> {
        let now = self.clock.now();
        for name in request.office.into_iter().chain([HOST]) {
            if let Err(until) = self.breaker.enter(name, now) {
                let what = What::Resting { who: name.to_owned() };
                return Err(Fault::new(request.path, what, Verdict::Rest { until }, None));
            }
        }
        Ok(())
    }

    /// Tells the circuits how it went. What concerns one place only proves that the host is well.
    fn settle(&self, request: &Request<'_>, fault: Option<&Fault>) {
        let now = self.clock.now();
        match (fault.map(|fault| fault.verdict), request.office) {
            (Some(Verdict::RetrySoon { .. }), Some(office)) => {
                self.breaker.failed(office, now);
                self.breaker.failed(HOST, now);
            }
            (Some(Verdict::RetrySoon { .. } | Verdict::Blocked), _) => {
                self.breaker.failed(HOST, now);
            }
            (Some(Verdict::NextPull), Some(office)) => {
                self.breaker.trip(office, now);
                self.breaker.well(HOST);
            }
            (_, office) => {
                office.into_iter().chain([HOST]).for_each(|name| self.breaker.well(name));
            }
        }
    }

    fn note<T>(
        &self,
        request: &Request<'_>,
        at: DateTime<Utc>,
        bytes: usize,
        answer: &Result<Answer<T>, Fault>,
    ) {
        let (status, issued_at, correlation_id, fault) = match answer {
            Ok(answer) => {
                (Some(answer.status), answer.issued_at, answer.correlation_id.clone(), None)
            }
            Err(fault) => (
                fault.what.status(),
                None,
                fault.correlation_id.clone(),
                Some(format!("{}; {}", fault.what, fault.verdict)),
            ),
        };
        self.notes.add(Asked {
            at,
            source: self.source,
            path: request.path.to_owned(),
            status,
            bytes,
            issued_at,
            took: (self.clock.now() - at).to_std().unwrap_or_default(),
            correlation_id,
            fault,
        });
    }

    /// One request; comes back with a whole good answer, or 304 if there was a condition.
    async fn send(&self, request: &Request<'_>) -> Result<Whole, Fault> {
        let path = request.path;
        let sent = self.prepared(request).send().await;
        let response = sent.map_err(|error| no_answer(path, error))?;
        let conditional = *request.validators != Validators::default();
        let (status, headers) = (response.status(), response.headers().clone());
        match status {
            StatusCode::OK | StatusCode::NON_AUTHORITATIVE_INFORMATION => {
                self.whole(request, response).await
            }
            StatusCode::NOT_MODIFIED if conditional => {
                Ok(Whole { status, headers, body: Vec::new() })
            }
            _ => {
                // A refusal for the rate concerns every request to the host.
                if status == StatusCode::TOO_MANY_REQUESTS {
                    let pause = retry_after(&headers).unwrap_or(RATE_PAUSE);
                    self.breaker.hold(HOST, self.clock.now() + pause);
                }
                Err(refused(path, response).await)
            }
        }
    }

    fn prepared(&self, request: &Request<'_>) -> RequestBuilder {
        let url = format!("{}{}", self.base_url, request.path);
        let mut built = match request.post {
            None => self.http.get(url),
            Some(body) => self.http.post(url).json(body),
        };
        built = built.timeout(self.total).header(ACCEPT, request.accept);
        if let Some((name, secret)) = request.secret {
            built = built.query(&[(name, secret.expose_secret())]);
        }
        if let Some(etag) = &request.validators.etag {
            built = built.header(IF_NONE_MATCH, etag);
        }
        if let Some(time) = &request.validators.last_modified {
            built = built.header(IF_MODIFIED_SINCE, time);
        }
        built
    }

    async fn whole(&self, request: &Request<'_>, response: Response) -> Result<Whole, Fault> {
        let (status, headers) = (response.status(), response.headers().clone());
        let fail = |what, verdict| {
            Fault::new(request.path, what, verdict, text(&headers, &CORRELATION_ID))
        };
        match content_type(&headers).as_str() {
            "application/json" => {}
            kind if kind == request.accept => {}
            "text/html" => {
                return Err(fail(What::Page { status: status.as_u16() }, Verdict::Blocked));
            }
            other => return Err(fail(What::ContentType(printable(other)), Verdict::Broken)),
        }
        if status == StatusCode::NON_AUTHORITATIVE_INFORMATION
            && !self.deprecated.swap(true, Ordering::Relaxed)
        {
            tracing::warn!(
                source = self.source.key(),
                "the service says that this version of it will end (status 203)"
            );
        }
        let body = read_up_to(response, MAX_BODY).await;
        match body.map_err(|error| no_answer(request.path, error))? {
            None => Err(fail(What::TooLarge(MAX_BODY), Verdict::Broken)),
            Some(body) if body.trim_ascii().is_empty() => {
                Err(fail(What::Empty, Verdict::RetrySoon { after: None }))
            }
            Some(body) => Ok(Whole { status, headers, body }),
        }
    }

    fn read<T>(
        &self,
        request: &Request<'_>,
        whole: &Whole,
        read: impl FnOnce(&[u8]) -> Result<Read<T>, Unreadable>,
    ) -> Result<Answer<T>, Fault> {
        let Whole { status, headers, body } = whole;
        let correlation_id = text(headers, &CORRELATION_ID);
        let mut answer = Answer {
            status: status.as_u16(),
            bytes: body.len(),
            issued_at: None,
            validators: Validators {
                etag: text(headers, &ETAG),
                last_modified: text(headers, &LAST_MODIFIED),
            },
            expires_at: expires_at(headers, self.clock.now()),
            correlation_id,
            payload: None,
        };
        if *status == StatusCode::NOT_MODIFIED {
            answer.validators = request.validators.clone();
            return Ok(answer);
        }
        match read(body) {
            Ok(read) => {
                answer.issued_at = read.issued_at;
                answer.payload = Some(read.payload);
                Ok(answer)
            }
            Err(Unreadable { what, cut_short }) => {
                let verdict =
                    if cut_short { Verdict::RetrySoon { after: None } } else { Verdict::Broken };
                let what = What::Unreadable(printable(&what));
                Err(Fault::new(request.path, what, verdict, answer.correlation_id))
            }
        }
    }
}

/// Follows a few redirects, and none to another host: a request says where fields lie.
pub fn redirects() -> Policy {
    Policy::custom(|attempt| {
        let origin = |url: &reqwest::Url| url.origin();
        let home = attempt.previous().first().map(origin);
        if attempt.previous().len() > REDIRECTS {
            attempt.error("too many redirects")
        } else if home.as_ref() == Some(&origin(attempt.url())) {
            attempt.follow()
        } else {
            attempt.error("a redirect to another host")
        }
    })
}

async fn refused(path: &str, response: Response) -> Fault {
    let status = response.status().as_u16();
    let headers = response.headers().clone();
    let kind = content_type(&headers);
    let body = read_up_to(response, MAX_PROBLEM).await.ok().flatten().unwrap_or_default();
    let problem: Problem = serde_json::from_slice(&body).unwrap_or_default();
    let verdict = What::verdict_of_status(status, &problem, retry_after(&headers));
    let id = problem.correlation_id.clone().or_else(|| text(&headers, &CORRELATION_ID));
    let problem = Box::new(problem);
    let what =
        if kind == "text/html" { What::Page { status } } else { What::Status { status, problem } };
    Fault::new(path, what, verdict, id)
}

/// The body after unpacking, or `None` when it is longer than `limit`; no more than that is held.
async fn read_up_to(
    mut response: Response,
    limit: usize,
) -> Result<Option<Vec<u8>>, reqwest::Error> {
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
    let wait = match value.parse() {
        Ok(seconds) => Duration::from_secs(seconds),
        Err(_) => (date(&value)? - date(&text(headers, &DATE)?)?).to_std().ok()?,
    };
    Some(wait.min(LONGEST_PAUSE))
}

/// End of an answer's freshness by our own clock: `max-age`, else `Expires` measured against the
/// answer's `Date` (RFC 9111, section 4.2.1).
fn expires_at(headers: &HeaderMap, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let max_age = || {
        let control = text(headers, &CACHE_CONTROL)?;
        let seconds = control.split(',').find_map(|part| part.trim().strip_prefix("max-age="))?;
        TimeDelta::try_seconds(seconds.parse().ok()?)
    };
    let expires = || {
        let expires = date(&text(headers, &EXPIRES)?)?;
        let sent = text(headers, &DATE).and_then(|sent| date(&sent)).unwrap_or(now);
        Some(expires - sent)
    };
    let fresh = max_age().or_else(expires).filter(|fresh| *fresh > TimeDelta::zero())?;
    now.checked_add_signed(fresh)
}

fn date(text: &str) -> Option<DateTime<Utc>> {
    DateTime::parse_from_rfc2822(text).ok().map(|date| date.to_utc())
}

fn content_type(headers: &HeaderMap) -> String {
    let value = text(headers, &CONTENT_TYPE).unwrap_or_default();
    value.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

fn text(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    headers.get(name)?.to_str().ok().map(str::to_owned)
}

fn no_answer(path: &str, error: reqwest::Error) -> Fault {
    let ours = error.is_builder() || error.is_redirect();
    let verdict = if ours { Verdict::Broken } else { Verdict::RetrySoon { after: None } };
    // The address may hold a key.
    let error = error.without_url();
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        text = format!("{text}: {inner}");
        cause = inner.source();
    }
    Fault::new(path, What::NoAnswer(printable(&text)), verdict, None)
}
