//! People and how to reach them: `people.toml`.

use crate::schema::HOUR_MINUTE;
use chrono::{NaiveDate, NaiveTime};
use chrono_tz::Tz;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Everybody: `people.toml`.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PeopleFile {
    /// The people.
    #[serde(default)]
    pub person: Vec<Person>,
}

/// One person.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// Short id used everywhere else: up to 32 lower-case letters, digits and dashes.
    #[schemars(regex(pattern = r"^[a-z0-9][a-z0-9-]{0,31}$"))]
    pub id: String,
    /// Name as shown in the digest.
    pub name: String,
    /// What the person does.
    pub role: Role,
    /// Mobile number, E.164: a plus sign, then country code and number in digits only.
    #[schemars(regex(pattern = r"^\+[1-9][0-9]{6,14}$"), extend("x-private" = true))]
    pub phone: Option<String>,
    /// Email address: name@host.
    #[schemars(regex(pattern = r"^[^@\s]+@[^@\s]+$"), extend("x-private" = true))]
    pub email: Option<String>,
    /// Where the person is on Matrix.
    pub matrix: Option<MatrixPlace>,
    /// Language of the texts.
    #[serde(default)]
    pub language: Language,
    /// Ways to reach the person, best first.
    #[schemars(length(min = 1), extend("uniqueItems" = true))]
    pub routes: Vec<RouteName>,
    /// Hours without texts, on the clock of the person's farm or desk.
    #[serde(default)]
    pub quiet: QuietHours,
    /// Whether urgent texts may come in quiet hours.
    #[serde(default)]
    pub urgent_at_night: bool,
    /// When and how the person agreed to get texts. Without it nothing is sent.
    pub consent: Option<Consent>,
    /// IANA time zone, when it is not the desk's.
    #[schemars(with = "Option<crate::schema::Zone>")]
    pub zone: Option<Tz>,
    /// Number of the person's certification as a pesticide applicator.
    #[schemars(regex(pattern = r"^[A-Za-z0-9][A-Za-z0-9 ./-]{1,23}$"))]
    pub certification: Option<String>,
}

impl Person {
    /// Where a route reaches the person.
    pub fn address(&self, route: RouteName) -> Option<&str> {
        match route {
            RouteName::Sms => self.phone.as_deref(),
            RouteName::Matrix => self.matrix.as_ref().map(|matrix| matrix.room.as_str()),
            RouteName::Email => self.email.as_deref(),
            RouteName::Webhook => Some(&self.id),
            RouteName::Console => Some(&self.name),
        }
    }

    /// What the person's replies over a route come from.
    pub fn sender(&self, route: RouteName) -> Option<&str> {
        match route {
            RouteName::Matrix => self.matrix.as_ref().map(|matrix| matrix.user.as_str()),
            _ => self.address(route),
        }
    }
}

/// A person's place on Matrix.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MatrixPlace {
    /// User id: `@NAME:SERVER`.
    #[schemars(regex(pattern = r"^@[^:\s]+:\S+$"), extend("x-private" = true))]
    pub user: String,
    /// Id of the room shared with the desk, not encrypted: `!ID:SERVER`.
    #[schemars(regex(pattern = r"^!\S+$"), extend("x-private" = true))]
    pub room: String,
}

/// What a person does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Grows the crop, gets the texts.
    Grower,
    /// Advises, gets the digest.
    Advisor,
    /// Manages the farm, sets thresholds.
    Manager,
}

/// Language of the texts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Deserialize, Serialize, JsonSchema)]
pub enum Language {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
    /// Spanish.
    #[serde(rename = "es")]
    Spanish,
}

impl Language {
    /// Every language.
    pub const ALL: [Self; 2] = [Self::English, Self::Spanish];

    /// Code as in the book.
    pub const fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::Spanish => "es",
        }
    }
}

/// A way to reach a person.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize, Serialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum RouteName {
    /// SMS over an HTTP gateway.
    Sms,
    /// Chat over Matrix.
    Matrix,
    /// Email over SMTP.
    Email,
    /// A signed post to another program.
    Webhook,
    /// Standard output.
    Console,
}

impl RouteName {
    /// Every route.
    pub const ALL: [Self; 5] = [Self::Sms, Self::Matrix, Self::Email, Self::Webhook, Self::Console];

    /// Name as in the book.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sms => "sms",
            Self::Matrix => "matrix",
            Self::Email => "email",
            Self::Webhook => "webhook",
            Self::Console => "console",
        }
    }

    /// The route of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|route| route.name() == name)
    }

    /// Whether it ends at the person's phone number: segments count, and consent is needed for
    /// whatever goes over it.
    pub const fn is_by_phone(self) -> bool {
        matches!(self, Self::Sms)
    }
}

/// Hours without texts. The span may pass midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct QuietHours {
    /// First quiet minute, HH:MM on a 24-hour clock.
    #[schemars(with = "String", regex(pattern = HOUR_MINUTE))]
    #[serde(deserialize_with = "crate::schema::hour_minute")]
    pub from: NaiveTime,
    /// First minute that is not quiet any more, HH:MM on a 24-hour clock.
    #[schemars(with = "String", regex(pattern = HOUR_MINUTE))]
    #[serde(deserialize_with = "crate::schema::hour_minute")]
    pub until: NaiveTime,
}

impl Default for QuietHours {
    /// 21:00 to 08:00 (47 CFR 64.1200(c)(1) taken as our rule for every text).
    fn default() -> Self {
        Self {
            from: NaiveTime::from_hms_opt(21, 0, 0).unwrap_or(NaiveTime::MIN),
            until: NaiveTime::from_hms_opt(8, 0, 0).unwrap_or(NaiveTime::MIN),
        }
    }
}

/// When and how a person agreed to get texts.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Consent {
    /// Day of the consent.
    pub date: NaiveDate,
    /// What the person was told and agreed to.
    pub wording: String,
}
