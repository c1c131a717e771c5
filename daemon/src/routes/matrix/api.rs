//! The few calls of the Matrix Client-Server API (specification v1.11) that a desk needs.
//!
//! The server's own words never leave this file: they may repeat a name or a text. Its error codes
//! do.

use super::super::retry_after::LONGEST_PAUSE;
use crate::routes::{Outcome, RouteFault};
use chrono::{DateTime, Utc};
use furrowbell_config::service::Secret;
use reqwest::header::{self, HeaderMap, HeaderValue};
use reqwest::{Client, Method, RequestBuilder, Response, StatusCode, Url};
use secrecy::ExposeSecret;
use serde::Deserialize;
use serde_json::Value;
use std::time::Duration;

/// No answer that matters is longer.
const ANSWER_LIMIT: usize = 16 * 1024 * 1024;
/// How long the server may hold back an answer while nothing happens.
const LONG_POLL: Duration = Duration::from_secs(30);
/// Events of one answer; more are fetched page by page.
const EVENTS_A_PAGE: u32 = 50;
/// What is listened to: what people write, what makes it unreadable, and who joined when.
const KINDS: [&str; 4] =
    ["m.room.message", "m.room.encrypted", "m.room.encryption", "m.room.member"];

/// Why a call did not do what it was for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Fault {
    /// The token is not ours to use.
    SignIn(String),
    /// It certainly did nothing; another time it may.
    Later { why: String, after: Option<Duration> },
    /// It will never do it. Names the server's error code.
    Refused { why: String, code: String },
    /// It may or may not have done it.
    Unknown(String),
}

impl Fault {
    pub(super) fn refused(why: &str) -> Self {
        Self::Refused { why: why.to_owned(), code: String::new() }
    }

    /// The fault of a question that was asked before anything was sent.
    pub(super) fn before_sending(self) -> Self {
        match self {
            Self::Unknown(why) => Self::Later { why, after: None },
            other => other,
        }
    }
}

impl From<Fault> for Outcome {
    fn from(fault: Fault) -> Self {
        match fault {
            Fault::SignIn(why) => Self::SignIn { why },
            Fault::Later { why, after } => Self::Retry { why, after },
            Fault::Refused { why, .. } => Self::Refused { why },
            Fault::Unknown(why) => Self::Unknown { why },
        }
    }
}

/// Whose token it is.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(super) struct Account {
    #[serde(rename = "user_id")]
    pub(super) user: String,
    #[serde(rename = "device_id")]
    pub(super) device: Option<String>,
}

#[derive(Deserialize)]
struct Sent {
    event_id: String,
}

/// What happened in the rooms since the last look.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Sync {
    pub(super) next_batch: String,
    #[serde(default)]
    pub(super) rooms: Rooms,
}

/// Rooms with something new.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Rooms {
    #[serde(default)]
    pub(super) join: std::collections::BTreeMap<String, Joined>,
}

/// A room we are in.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Joined {
    #[serde(default)]
    pub(super) timeline: Timeline,
}

/// What happened in a room, oldest first; `limited` when something before it was left out.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Timeline {
    #[serde(default)]
    pub(super) events: Vec<Value>,
    #[serde(default)]
    pub(super) limited: bool,
    #[serde(default)]
    pub(super) prev_batch: Option<String>,
}

/// A page of what was left out, newest first.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Page {
    #[serde(default)]
    pub(super) chunk: Vec<Value>,
    #[serde(default)]
    pub(super) end: Option<String>,
}

/// A homeserver, asked with our token.
pub(super) struct Homeserver {
    client: Client,
    base: Url,
    token: HeaderValue,
    patience: Duration,
}

impl Homeserver {
    pub(super) fn new(
        address: &str,
        token: &Secret,
        patience: Duration,
        client: Client,
    ) -> Result<Self, RouteFault> {
        let base = Url::parse(address).map_err(|_| RouteFault::Homeserver)?;
        if !matches!(base.scheme(), "http" | "https") {
            return Err(RouteFault::Homeserver);
        }
        let key = "routes.matrix.token";
        let mut token = HeaderValue::try_from(format!("Bearer {}", token.expose_secret()))
            .map_err(|_| RouteFault::Header { key })?;
        token.set_sensitive(true);
        Ok(Self { client, base, token, patience })
    }

    /// Whose token it is.
    pub(super) async fn whoami(&self) -> Result<Account, Fault> {
        read(self.ask(Method::GET, &["account", "whoami"])).await
    }

    /// Whether a room is encrypted.
    pub(super) async fn is_encrypted(&self, room: &str) -> Result<bool, Fault> {
        let path = ["rooms", room, "state", "m.room.encryption", ""];
        match read::<Value>(self.ask(Method::GET, &path)).await {
            Ok(_) => Ok(true),
            Err(Fault::Refused { code, .. }) if code == "M_NOT_FOUND" => Ok(false),
            Err(fault) => Err(fault),
        }
    }

    /// Puts a message into a room and gives the event's id; the same `id` again gives the same
    /// event.
    pub(super) async fn put_message(
        &self,
        room: &str,
        id: &str,
        content: &Value,
    ) -> Result<String, Fault> {
        let path = ["rooms", room, "send", "m.room.message", id];
        let sent: Sent = read(self.ask(Method::PUT, &path).json(content)).await?;
        Ok(sent.event_id)
    }

    /// Waits for something to happen after `since`; without it, says where now is.
    pub(super) async fn sync(&self, since: Option<&str>) -> Result<Sync, Fault> {
        let nothing = serde_json::json!({ "types": [] });
        let limit = if since.is_some() { EVENTS_A_PAGE } else { 1 };
        let filter = serde_json::json!({
            "presence": nothing,
            "account_data": nothing,
            "room": {
                "state": nothing,
                "ephemeral": nothing,
                "account_data": nothing,
                "timeline": { "types": KINDS, "limit": limit },
            },
        });
        let filter = filter.to_string();
        let request = self.ask(Method::GET, &["sync"]).query(&[("filter", filter.as_str())]);
        let request = match since {
            Some(since) => {
                let wait = LONG_POLL.as_millis().to_string();
                let request = request.query(&[("since", since), ("timeout", wait.as_str())]);
                request.timeout(LONG_POLL + self.patience)
            }
            None => request.query(&[("timeout", "0")]),
        };
        read(request).await
    }

    /// What happened in a room between two places, newest first.
    pub(super) async fn messages(&self, room: &str, from: &str, to: &str) -> Result<Page, Fault> {
        let filter = serde_json::json!({ "types": KINDS }).to_string();
        let limit = EVENTS_A_PAGE.to_string();
        let query =
            [("dir", "b"), ("from", from), ("to", to), ("limit", &limit), ("filter", &filter)];
        read(self.ask(Method::GET, &["rooms", room, "messages"]).query(&query)).await
    }

    fn ask(&self, method: Method, path: &[&str]) -> RequestBuilder {
        let mut url = self.base.clone();
        // An http address always has a path to add to.
        if let Ok(mut steps) = url.path_segments_mut() {
            steps.pop_if_empty().extend(["_matrix", "client", "v3"]).extend(path);
        }
        self.client
            .request(method, url)
            .header(header::AUTHORIZATION, self.token.clone())
            .timeout(self.patience)
    }
}

async fn read<T: serde::de::DeserializeOwned>(request: RequestBuilder) -> Result<T, Fault> {
    let answer = request.send().await.map_err(|error| without_answer(&error))?;
    let (status, headers) = (answer.status(), answer.headers().clone());
    let body = whole_body(answer).await;
    if !status.is_success() {
        return Err(refusal(status, &headers, body.as_deref().unwrap_or_default()));
    }
    body.and_then(|body| serde_json::from_slice(&body).ok()).ok_or_else(|| {
        Fault::Unknown("the homeserver's answer broke off or is not one of Matrix".to_owned())
    })
}

/// Reqwest's own error text holds the address, and with it the room: none of it is repeated.
fn without_answer(error: &reqwest::Error) -> Fault {
    if error.is_builder() {
        Fault::refused("the request could not be built from the settings")
    } else if error.is_connect() {
        Fault::Later { why: "the homeserver could not be reached".to_owned(), after: None }
    } else if error.is_timeout() {
        Fault::Unknown("the homeserver did not answer in time".to_owned())
    } else {
        Fault::Unknown("the connection broke before the homeserver's answer".to_owned())
    }
}

/// The answer's body; `None` when it broke off or is too long.
async fn whole_body(mut answer: Response) -> Option<Vec<u8>> {
    let mut body = Vec::new();
    while let Some(chunk) = answer.chunk().await.ok()? {
        if body.len() + chunk.len() > ANSWER_LIMIT {
            return None;
        }
        body.extend_from_slice(&chunk);
    }
    Some(body)
}

/// What an error answer means (Client-Server API v1.11, "Standard error response" and "Rate
/// limiting").
fn refusal(status: StatusCode, headers: &HeaderMap, body: &[u8]) -> Fault {
    let body: Value = serde_json::from_slice(body).unwrap_or_default();
    let code = body["errcode"].as_str().filter(|code| is_code(code));
    let mut why = format!("the homeserver answered {}", status.as_u16());
    if let Some(code) = code {
        why = format!("{why} {code}");
    }
    match status {
        StatusCode::UNAUTHORIZED => Fault::SignIn(why),
        StatusCode::TOO_MANY_REQUESTS => Fault::Later { why, after: pause(headers, &body) },
        // Whatever stands behind the proxy may have done it (RFC 9110, 15.6.3 and 15.6.5).
        StatusCode::BAD_GATEWAY | StatusCode::GATEWAY_TIMEOUT => Fault::Unknown(why),
        _ if status.is_server_error() => Fault::Later { why, after: pause(headers, &body) },
        _ => match code {
            Some(code) => Fault::Refused { why, code: code.to_owned() },
            None => Fault::Later { why: format!("{why}, not in Matrix's words"), after: None },
        },
    }
}

/// An error code, and nothing that could be a name or a text.
fn is_code(code: &str) -> bool {
    code.len() <= 64 && code.bytes().all(|byte| byte.is_ascii_uppercase() || byte == b'_')
}

/// The larger of the `Retry-After` header and the older `retry_after_ms`.
fn pause(headers: &HeaderMap, body: &Value) -> Option<Duration> {
    let written = |name| headers.get(name).and_then(|value: &HeaderValue| value.to_str().ok());
    let header = written(header::RETRY_AFTER).and_then(|value| {
        if let Ok(seconds) = value.trim().parse() {
            return Some(Duration::from_secs(seconds));
        }
        let date = |text: &str| Some(DateTime::parse_from_rfc2822(text.trim()).ok()?.to_utc());
        let (until, sent): (DateTime<Utc>, _) = (date(value)?, date(written(header::DATE)?)?);
        (until - sent).to_std().ok()
    });
    let field = body["retry_after_ms"].as_u64().map(Duration::from_millis);
    header.max(field).map(|asked| asked.min(LONGEST_PAUSE))
}
