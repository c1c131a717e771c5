//! Ways to reach a person. A route sends one text and says what became of it; it keeps no queue
//! and decides no retry.

use chrono::{DateTime, Utc};
use std::time::Duration;

/// One text on its way out, complete.
#[derive(Debug, Clone)]
pub struct Outgoing {
    /// Outbox id; the idempotency key on every route.
    pub id: String,
    /// Phone number or email address.
    pub to: String,
    /// Subject, where the route has one.
    pub subject: Option<String>,
    /// Plain text; complete on its own.
    pub body: String,
    /// HTML part, where the route has one.
    pub html: Option<String>,
    /// When the text loses its sense.
    pub expires_at: DateTime<Utc>,
    /// The moment of sending, by the service's clock.
    pub now: DateTime<Utc>,
}

/// What became of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The next hop has taken it.
    Accepted {
        /// The id the next hop gave it.
        provider_id: Option<String>,
    },
    /// It certainly did not go; another try may work.
    Retry {
        /// What went wrong, without numbers or text.
        why: String,
        /// How long the next hop asked us to wait.
        after: Option<Duration>,
    },
    /// It will never go.
    Refused {
        /// What went wrong, without numbers or text.
        why: String,
    },
    /// We may not use the route at all: wrong password, blocked account.
    SignIn {
        /// What went wrong.
        why: String,
    },
    /// It may or may not have gone: the answer was lost.
    Unknown {
        /// What went wrong.
        why: String,
    },
}
