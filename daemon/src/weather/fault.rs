//! What can go wrong between us and a weather service, and what to do about it.

use super::source::Area;
use chrono::{DateTime, Utc};
use serde::Deserialize;
use std::fmt;
use std::time::Duration;

/// A request that brought no weather.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("GET {path}: {what}; {verdict}")]
pub struct Fault {
    /// Path of the request, without the host.
    pub path: String,
    /// What happened.
    pub what: What,
    /// What to do.
    pub verdict: Verdict,
    /// The service's own name for the request, to be quoted to its operators.
    pub correlation_id: Option<String>,
}

/// What to do about a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Ask again soon, with growing waits; not before the time the service asked for.
    RetrySoon {
        /// The wait the service asked for.
        after: Option<Duration>,
    },
    /// The service has nothing newer; ask at the next regular pull.
    NextPull,
    /// The cell is gone; ask anew which cell the field lies in.
    ReResolve,
    /// The service does not cover the place; check the field's coordinates.
    NotCovered,
    /// The service turns us away; check the contact address and the request rate.
    Blocked,
    /// The service has changed or is out of order; asking again soon is no use.
    Broken,
    /// Nothing was sent; not to be asked before that time.
    Rest {
        /// When to come again.
        until: DateTime<Utc>,
    },
}

/// What happened to a request.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum What {
    /// No answer, or one cut short.
    #[error("no whole answer ({0})")]
    NoAnswer(String),
    /// A status other than success.
    #[error("status {status}{}", .problem)]
    Status {
        /// HTTP status.
        status: u16,
        /// The service's explanation.
        problem: Box<Problem>,
    },
    /// A page for people where data was expected.
    #[error("status {status} with an HTML page in place of data")]
    Page {
        /// HTTP status.
        status: u16,
    },
    /// A kind of content that is not read.
    #[error("status 200 with content type `{0}` in place of the data asked for")]
    ContentType(String),
    /// More than any honest answer holds.
    #[error("status 200 with more than {0} bytes")]
    TooLarge(usize),
    /// Nothing.
    #[error("status 200 with an empty body")]
    Empty,
    /// An answer that makes no sense.
    #[error("status 200, but the answer {0}")]
    Unreadable(String),
    /// Nothing was asked after failures in a row.
    #[error("not asked, {who} is at rest")]
    Resting {
        /// What is at rest: the host or an office.
        who: String,
    },
    /// Nothing was asked: the source's own limit is used up.
    #[error("not asked, the limit on places is used up")]
    Quota,
    /// A source was asked for what it does not have.
    #[error("not asked, this source has no such areas")]
    WrongArea,
}

/// A service's explanation of a refusal (RFC 7807, `application/problem+json`).
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Problem {
    /// Address that names the kind of problem.
    #[serde(rename = "type")]
    pub kind: Option<String>,
    /// One line for people.
    pub title: Option<String>,
    /// More for people.
    #[serde(alias = "reason")]
    pub detail: Option<String>,
    /// The service's name for the request.
    #[serde(rename = "correlationId")]
    pub correlation_id: Option<String>,
}

impl Fault {
    pub(super) fn new(
        path: &str,
        what: What,
        verdict: Verdict,
        correlation_id: Option<String>,
    ) -> Self {
        Self { path: path.to_owned(), what, verdict, correlation_id }
    }

    /// A source was asked for an area of another source's kind; nothing was sent.
    pub fn wrong_area(area: &Area) -> Self {
        Self::new(&area.to_string(), What::WrongArea, Verdict::Broken, None)
    }

    /// A place that is not found cannot be resolved anew.
    pub(super) fn of_place(self) -> Self {
        let verdict = match self.verdict {
            Verdict::ReResolve => Verdict::NotCovered,
            verdict => verdict,
        };
        Self { verdict, ..self }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for text in [&self.title, &self.detail].into_iter().flatten() {
            write!(f, ", {}", printable(text.trim_end_matches('.')))?;
        }
        Ok(())
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::RetrySoon { after: Some(after) } => {
                return write!(f, "ask again in {} s", after.as_secs());
            }
            Self::RetrySoon { after: None } => "ask again soon",
            Self::NextPull => "nothing newer yet, wait for the next pull",
            Self::ReResolve => "ask anew which cell the field lies in",
            Self::NotCovered => "check the field's coordinates",
            Self::Blocked => "turned away, check the contact address and the request rate",
            Self::Rest { until } => return write!(f, "ask again at {}", until.format("%H:%M:%SZ")),
            Self::Broken => "wait for the next pull; if it stays, the service has changed",
        })
    }
}

impl What {
    /// HTTP status of the answer, where one came.
    pub const fn status(&self) -> Option<u16> {
        match self {
            Self::NoAnswer(_) | Self::Resting { .. } | Self::Quota | Self::WrongArea => None,
            Self::Status { status, .. } | Self::Page { status } => Some(*status),
            Self::ContentType(_) | Self::TooLarge(_) | Self::Empty | Self::Unreadable(_) => {
                Some(200)
            }
        }
    }

    /// What to do about a refusal with this status.
    pub(super) fn verdict_of_status(
        status: u16,
        problem: &Problem,
        after: Option<Duration>,
    ) -> Verdict {
        let is = |name: &str| problem.kind.as_deref().is_some_and(|kind| kind.ends_with(name));
        match status {
            503 if is("/ForecastGridExpired") || is("/ForecastGridInvalid") => Verdict::NextPull,
            404 if is("/MarineForecastNotSupported") => Verdict::NotCovered,
            404 => Verdict::ReResolve,
            401 | 403 => Verdict::Blocked,
            408 | 429 | 500.. => Verdict::RetrySoon { after },
            _ => Verdict::Broken,
        }
    }
}

/// Text from outside, short and without control characters, fit for a log line.
pub(super) fn printable(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(200).collect()
}
