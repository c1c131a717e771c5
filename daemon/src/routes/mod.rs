//! Ways to reach a person. A route sends one text and says what became of it; it keeps no queue
//! and decides no retry.

mod about;
mod console;
mod email;
mod matrix;
mod retry_after;
mod sms_http;
mod webhook;

pub use about::{About, Edition};
pub use console::Console;
pub use email::Email;
pub use matrix::Matrix;
pub use sms_http::SmsHttp;
pub use webhook::Webhook;

use crate::clock::Clock;
use crate::inbox::Bookmarked;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::people::RouteName;
use furrowbell_config::service::{self, Secret};
use std::fmt;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

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
    /// Since when it may have gone already; none when it certainly has not.
    pub maybe_since: Option<DateTime<Utc>>,
    /// What it is about.
    pub about: About,
}

/// What became of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The next hop has taken it.
    Accepted {
        /// The ids the next hop gave it, one a segment or one in all.
        provider_ids: Vec<String>,
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

/// One way to reach a person, ready to use.
pub enum Route {
    /// Standard output.
    Console(Console),
    /// SMS over an HTTP gateway.
    Sms(Box<SmsHttp>),
    /// Chat over Matrix.
    Matrix(Box<Matrix>),
    /// A signed post to another program.
    Webhook(Box<Webhook>),
    /// Email over SMTP.
    Email(Box<Email>),
    /// Takes every text and sends none, in a rehearsal.
    Pretended(RouteName),
}

/// Names the route and nothing of its settings.
impl fmt::Debug for Route {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Route").field(&self.name()).finish()
    }
}

impl Route {
    /// Prints to standard output.
    pub fn console() -> Self {
        Self::Console(Console::new(std::io::stdout()))
    }

    /// SMS over the gateway that `settings` describe; `secret` is the one its sign-in names.
    ///
    /// `client` must not follow redirects: a redirected POST comes back as a GET that sends
    /// nothing and may still be answered with 200.
    pub fn sms(
        settings: &service::SmsHttp,
        secret: Option<&Secret>,
        client: reqwest::Client,
    ) -> Result<Self, RouteFault> {
        SmsHttp::new(settings, secret, client).map(|sms| Self::Sms(Box::new(sms)))
    }

    /// Email over the server that `settings` describe, with the password they name.
    pub fn email(settings: &service::Email, password: Option<&Secret>) -> Result<Self, RouteFault> {
        Email::new(settings, password).map(|email| Self::Email(Box::new(email)))
    }

    /// Chat over the homeserver that `settings` describe, with the token they name.
    pub fn matrix(
        settings: &service::Matrix,
        token: &Secret,
        client: reqwest::Client,
    ) -> Result<Self, RouteFault> {
        Matrix::new(settings, token, client).map(|matrix| Self::Matrix(Box::new(matrix)))
    }

    /// Signed posts as `settings` describe them, with the keys they name. `client` must not follow
    /// redirects.
    pub fn webhook(
        settings: &service::Webhook,
        keys: &Secret,
        client: reqwest::Client,
    ) -> Result<Self, RouteFault> {
        Webhook::new(settings, keys, client).map(|webhook| Self::Webhook(Box::new(webhook)))
    }

    /// Its name as in the book.
    pub const fn name(&self) -> RouteName {
        match self {
            Self::Console(_) => RouteName::Console,
            Self::Sms(_) => RouteName::Sms,
            Self::Matrix(_) => RouteName::Matrix,
            Self::Webhook(_) => RouteName::Webhook,
            Self::Email(_) => RouteName::Email,
            Self::Pretended(name) => *name,
        }
    }

    /// Whether a second sending of one id reaches the person once: the gateway drops it, or the
    /// reader's program sees one Message-ID.
    pub fn drops_repeats(&self) -> bool {
        match self {
            Self::Console(_) => false,
            Self::Sms(sms) => sms.drops_repeats(),
            Self::Webhook(webhook) => webhook.drops_repeats(),
            Self::Email(_) | Self::Matrix(_) | Self::Pretended(_) => true,
        }
    }

    /// Whether the next hop reports what became of a text it took.
    pub const fn gives_receipts(&self) -> bool {
        match self {
            Self::Sms(sms) => sms.gives_receipts(),
            Self::Console(_)
            | Self::Matrix(_)
            | Self::Webhook(_)
            | Self::Email(_)
            | Self::Pretended(_) => false,
        }
    }

    /// How long to wait before the next try after so many, where the route has waits of its own.
    pub fn wait(&self, tries: u32) -> Option<TimeDelta> {
        match self {
            Self::Email(_) => Some(Email::wait(tries)),
            _ => None,
        }
    }

    /// How many texts may be under way over it at once.
    pub const fn window(&self) -> usize {
        1
    }

    /// Takes in what comes back over a route that has a line of its own, until `stop`: replies and
    /// receipts, each kept before it is acknowledged. Other routes post to the service's hooks or
    /// answer nothing.
    pub async fn listen(&self, inbox: &impl Bookmarked, clock: &Clock, stop: &CancellationToken) {
        match self {
            Self::Matrix(matrix) => matrix.listen(inbox, clock, stop).await,
            _ => stop.cancelled().await,
        }
    }

    /// Sends one text and says what became of it.
    pub async fn send(&self, text: &Outgoing) -> Outcome {
        match self {
            Self::Console(console) => console.send(text),
            Self::Sms(sms) => sms.send(text).await,
            Self::Matrix(matrix) => matrix.send(text).await,
            Self::Webhook(webhook) => webhook.send(text).await,
            Self::Email(email) => email.send(text).await,
            Self::Pretended(_) => Outcome::Accepted { provider_ids: Vec::new() },
        }
    }
}

/// Settings from which no route can be made.
#[derive(Debug, thiserror::Error)]
pub enum RouteFault {
    /// Not an address.
    #[error("routes.sms.url is not an http or https address; write it whole, with https://")]
    Url,
    /// Not an address.
    #[error("routes.matrix.homeserver is no http or https address; write it whole, with https://")]
    Homeserver,
    /// A secret that the sign-in needs is absent.
    #[error("{key} is needed by this sign-in and was not given")]
    SecretMissing {
        /// Where it belongs in `service.toml`.
        key: &'static str,
    },
    /// A header that HTTP does not allow.
    #[error("{key} cannot be sent as an HTTP header; use plain letters, digits and dashes")]
    Header {
        /// Where it stands in `service.toml`.
        key: &'static str,
    },
    /// Two fields of a text that would take one place.
    #[error("routes.sms sends both \"{first}\" and \"{second}\" to one place; rename one of them")]
    FieldsClash {
        /// One name.
        first: String,
        /// The other.
        second: String,
    },
    /// Not an email address.
    #[error("routes.email.from is not an email address; write NAME <USER@DOMAIN> or USER@DOMAIN")]
    From,
    /// Plain SMTP to another machine.
    #[error(
        "routes.email.security is plain-loopback but routes.email.host is another machine; use \
         starttls or implicit"
    )]
    PlainToOutside,
    /// Not an address.
    #[error("routes.webhook.url is not an http or https address; write it whole, with https://")]
    WebhookUrl,
    /// Not a key.
    #[error(
        "routes.webhook.secret holds no keys of 24 to 64 bytes in base64; make one with \
         `openssl rand -base64 32`, and put a space between two"
    )]
    WebhookKey,
    /// TLS could not be set up.
    #[error("TLS for routes.email.host could not be set up; check the name and the system's roots")]
    Tls(#[source] lettre::transport::smtp::Error),
}

#[cfg(test)]
pub(crate) mod samples {
    use super::{About, Outgoing};
    use chrono::{TimeDelta, TimeZone, Utc};

    /// A text to an invented number, with an hour to live.
    pub(crate) fn text() -> Outgoing {
        let now = Utc.with_ymd_and_hms(2026, 5, 20, 12, 0, 0).unwrap();
        Outgoing {
            id: "0196f0c0-0000-7000-8000-000000000001".to_owned(),
            to: "+15155550123".to_owned(),
            subject: None,
            body: "North 80: plan the post pass & go.".to_owned(),
            html: None,
            expires_at: now + TimeDelta::hours(1),
            now,
            maybe_since: None,
            about: About::reply_to("ann".to_owned()),
        }
    }
}
