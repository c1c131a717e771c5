//! Settings of the service itself: `service.toml`.

use chrono_tz::Tz;
use furrowbell_engine::thresholds::Overrides;
use schemars::JsonSchema;
use secrecy::SecretString;
use serde::Deserialize;
use std::net::SocketAddr;
use std::path::PathBuf;

mod email;
mod matrix;
mod public;
mod sms_http;
mod weather;
mod webhook;

pub use email::{Email, SmtpSecurity};
pub use matrix::Matrix;
pub use public::Public;
pub use sms_http::{
    Auth, BodyForm, CodeEncoding, HmacHash, Inbound, NumberStyle, ReceiptState, Receipts,
    SmsFields, SmsHttp, SuccessTest, Verify,
};
pub use weather::{Acis, Alerts, Mesonet, MetNorway, Nws, OpenMeteo, WeatherFiles, WeatherSources};
pub use webhook::{Webhook, WebhookForm};

/// An address on the web.
const HTTP: &str = "^https?://[^/]";
/// A database the service can keep its record in.
const DATABASE: &str = "^(sqlite:|postgres(ql)?://).";

/// The whole of `service.toml`.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Service {
    /// Sender name, first in every text: up to 20 plain letters, digits, spaces and .'&/-
    #[schemars(regex(pattern = r"^[A-Za-z0-9][A-Za-z0-9 .'&/-]{0,19}$"))]
    pub name: String,
    /// Address that HELP answers with and that weather services are given.
    pub contact: String,
    /// IANA time zone of the advisor's desk; farms may name their own.
    #[schemars(with = "crate::schema::Zone")]
    pub zone: Tz,
    /// Where the record is kept.
    #[serde(default)]
    pub database: Database,
    /// When rounds and the digest run.
    #[serde(default)]
    pub rounds: Rounds,
    /// Where weather comes from.
    pub weather: WeatherSources,
    /// Ways to reach people.
    #[serde(default)]
    pub routes: Routes,
    /// Limits on what is sent.
    #[serde(default)]
    pub sending: Sending,
    /// Address for health, metrics and reply hooks; absent means no listener.
    #[schemars(with = "Option<crate::schema::Socket>")]
    pub listen: Option<SocketAddr>,
    /// The pages as seen from outside; absent means that no address is given out.
    pub public: Option<Public>,
    /// Service-wide thresholds.
    #[serde(default)]
    #[schemars(with = "crate::schema::OverridesSchema")]
    pub thresholds: Overrides,
}

/// A secret given in the book's folder by file or by environment variable, never inline.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub enum SecretSource {
    /// Path of a file that holds nothing else; relative paths start at the book.
    File(PathBuf),
    /// Name of an environment variable.
    Env(String),
}

/// Where the record is kept.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Database {
    /// `sqlite:PATH` (relative paths start at the book) or `postgres://USER@HOST/NAME`.
    #[schemars(regex(pattern = DATABASE), extend("x-private" = true))]
    pub url: Option<String>,
    /// The same from a file or the environment, for a URL with a password.
    pub url_from: Option<SecretSource>,
}

/// When rounds and the digest run. Cron texts have five fields and name weekdays (Mon-Sun).
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Rounds {
    /// Minutes between two rounds (pull, advance, decide, send).
    #[schemars(range(min = 5, max = 1440))]
    pub every_minutes: u32,
    /// When the digest goes out, in each advisor's zone.
    pub digest: String,
}

/// Ways to reach people.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Routes {
    /// SMS over an HTTP gateway.
    pub sms: Option<SmsHttp>,
    /// Chat over Matrix.
    pub matrix: Option<Matrix>,
    /// Email over SMTP.
    pub email: Option<Email>,
    /// A signed post to another program.
    pub webhook: Option<Webhook>,
    /// Print to standard output; for trying things out.
    pub console: Option<Console>,
}

/// Print texts to standard output.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Console {}

/// Limits on what is sent.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Sending {
    /// Most texts that are not urgent to one person on one local day.
    #[schemars(range(min = 1, max = 20))]
    pub routine_texts_per_day: u32,
    /// Days between two hints that STOP ends the texts.
    #[schemars(range(min = 1, max = 90))]
    pub stop_hint_every_days: u32,
    /// Most texts a second over one route.
    #[schemars(range(min = 0.01, max = 100.0))]
    pub texts_per_s: f64,
}

/// A secret read from where the book says it is.
pub type Secret = SecretString;

impl Default for Database {
    fn default() -> Self {
        Self { url: Some("sqlite:furrowbell.db".to_owned()), url_from: None }
    }
}

impl Default for Rounds {
    fn default() -> Self {
        Self { every_minutes: 60, digest: "30 5 * * *".to_owned() }
    }
}

impl Default for Sending {
    fn default() -> Self {
        Self { routine_texts_per_day: 3, stop_hint_every_days: 30, texts_per_s: 1.0 }
    }
}
