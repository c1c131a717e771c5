//! The advisor's morning message: whom to call first and why, what is due, what went out and what
//! did not, what is unknown, and one line for every field.

use super::Wording;
use super::digest_writer::Writer;
use crate::records::{AppliedPass, Item};
use chrono::{NaiveDate, NaiveDateTime};
use furrowbell_config::people::Language;
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::findings::{Evidence, Topic};
use minijinja::Value;
use minijinja::value::Serde;
use std::fmt;

/// Everything a digest says.
#[derive(Debug, Clone)]
pub struct DigestInput {
    /// Sender name.
    pub sender: String,
    /// Name of the advisor.
    pub advisor: String,
    /// The advisor's local day.
    pub date: NaiveDate,
    /// The advisor's language.
    pub language: Language,
    /// Whom to call.
    pub calls: Vec<Call>,
    /// What the weather service warns of, the worst first.
    pub warnings: Vec<WarningLine>,
    /// Whole hours for which no warnings were heard, when that is long.
    pub warnings_late: Option<u32>,
    /// Findings of every field; those to act on within a week are shown.
    pub due: Vec<Due>,
    /// Texts since the last digest.
    pub sent: Vec<SentLine>,
    /// Texts that a rule held back.
    pub held_back: Vec<HeldLine>,
    /// Texts that could not go before their advice lost its sense.
    pub expired: Vec<ExpiredLine>,
    /// Replies that a person must read, in the order they came.
    pub replies: Vec<ReplyLine>,
    /// People whose texts are held until somebody decides, by name.
    pub undecided: Vec<(String, HeldWhy)>,
    /// Fields whose clocks are unknown.
    pub unknown: Vec<UnknownLine>,
    /// Records of restricted-use passes that lack something and that nobody is asked about.
    pub records: Vec<RecordLine>,
    /// Every field, by farm.
    pub farms: Vec<FarmBlock>,
    /// How old the forecast is.
    pub forecast: ForecastAge,
    /// Credits that licences of the weather ask for, as written by them.
    pub credits: Vec<&'static str>,
}

/// How old the forecast is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ForecastAge {
    /// The book has no forecast source, so nothing is said.
    NoSource,
    /// None has come yet.
    NoneYet,
    /// Whole hours since the oldest one in use was issued.
    Hours(u32),
}

/// Somebody to call.
#[derive(Debug, Clone)]
pub struct Call {
    /// Name of the grower.
    pub grower: String,
    /// The number, as in the book.
    pub phone: Option<String>,
    /// What to talk about, most pressing first.
    pub why: Vec<Due>,
    /// How pressing; the highest is shown first.
    pub score: f64,
}

/// A warning of the weather service.
#[derive(Debug, Clone)]
pub struct WarningLine {
    /// What it warns of, in the service's own words.
    pub event: String,
    /// When it begins, in the advisor's local time; `None` once it has.
    pub from: Option<NaiveDateTime>,
    /// When it ends, in the advisor's local time; `None` while nobody has said.
    pub until: Option<NaiveDateTime>,
    /// Names of the farm and the field, for every field concerned.
    pub fields: Vec<(String, String)>,
}

/// A finding of one field.
#[derive(Debug, Clone)]
pub struct Due {
    /// Name of the farm.
    pub farm: String,
    /// Name of the field.
    pub field: String,
    /// Whether corn stands in it; else soybean.
    pub crop_is_corn: bool,
    /// The evidence.
    pub evidence: Evidence,
    /// How many times the occasion was told.
    pub version: u32,
    /// Last day on which the action makes sense.
    pub act_by: Option<NaiveDate>,
    /// Whether it rests on forecast or model weather.
    pub provisional: bool,
}

/// A text that went out.
#[derive(Debug, Clone)]
pub struct SentLine {
    /// Name of the receiver.
    pub to: String,
    /// Names of the fields.
    pub fields: Vec<String>,
    /// What it was about.
    pub topic: Topic,
    /// What became of it.
    pub state: SentState,
    /// Whether the receiver has replied.
    pub replied: bool,
}

/// What became of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SentState {
    /// Not gone yet.
    Waiting,
    /// Taken by the next hop.
    Sent,
    /// On the phone.
    Delivered,
    /// It will never arrive.
    Failed,
    /// It may or may not have gone.
    Unsure,
}

/// A text held back.
#[derive(Debug, Clone)]
pub struct HeldLine {
    /// Name of the receiver.
    pub to: String,
    /// Names of the fields.
    pub fields: Vec<String>,
    /// What it would have been about.
    pub topic: Topic,
    /// The rule that holds it.
    pub why: HeldWhy,
}

/// Why a text is held back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeldWhy {
    /// The receiver's quiet hours.
    QuietHours,
    /// The receiver has had the day's texts.
    DailyBudget,
    /// No consent is on record.
    NoConsent,
    /// The receiver said STOP.
    Stopped,
    /// The receiver asked for silence on it.
    OnHold,
    /// No route reaches the receiver.
    NoRoute,
    /// What the receiver wrote may be a STOP.
    MaybeStop,
    /// The receiver was asked anew after a long silence.
    Unanswered,
    /// The receiver's number takes no texts.
    NumberGone,
    /// The receiver's number is new and nobody agreed for it.
    NotForNumber,
}

/// A text that came too late to be sent.
#[derive(Debug, Clone)]
pub struct ExpiredLine {
    /// Name of the receiver.
    pub to: String,
    /// Names of the fields.
    pub fields: Vec<String>,
    /// What it would have been about.
    pub topic: Topic,
}

/// A reply that a person must read.
#[derive(Clone)]
pub struct ReplyLine {
    /// Who wrote it.
    pub from: ReplyFrom,
    /// When it came, in the advisor's local time.
    pub at: NaiveDateTime,
    /// What was written.
    pub words: String,
    /// Whether it may ask to stop, so that texts to the sender are held.
    pub maybe_stop: bool,
}

/// Leaves out who wrote and what.
impl fmt::Debug for ReplyLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("ReplyLine").field("at", &self.at).finish_non_exhaustive()
    }
}

/// Who wrote a reply.
#[derive(Clone, PartialEq, Eq)]
pub enum ReplyFrom {
    /// Somebody in the book.
    Person {
        /// Their name.
        name: String,
        /// Their number, as in the book.
        phone: Option<String>,
    },
    /// Nobody in the book.
    Unknown {
        /// The last two signs of the number or address.
        ends: String,
    },
}

/// A field whose clocks are unknown.
#[derive(Debug, Clone)]
pub struct UnknownLine {
    /// Name of the farm.
    pub farm: String,
    /// Name of the field.
    pub field: String,
    /// First day without weather.
    pub since: NaiveDate,
}

/// The record of a pass that lacks something.
#[derive(Debug, Clone)]
pub struct RecordLine {
    /// Name of the farm.
    pub farm: String,
    /// Name of the field.
    pub field: String,
    /// Which pass.
    pub pass: AppliedPass,
    /// Its day.
    pub date: NaiveDate,
    /// What is missing, each once.
    pub missing: Vec<Item>,
    /// Day 14.
    pub due: NaiveDate,
}

/// A farm with its fields.
#[derive(Debug, Clone)]
pub struct FarmBlock {
    /// Name of the farm.
    pub name: String,
    /// Its fields.
    pub fields: Vec<FieldLine>,
}

/// Where one field stands.
#[derive(Debug, Clone)]
pub struct FieldLine {
    /// Name of the field.
    pub name: String,
    /// Whether corn stands in it; else soybean.
    pub crop_is_corn: bool,
    /// Crop stage, if known.
    pub stage: Option<Stage>,
    /// What its clocks say.
    pub clocks: FieldClocks,
    /// What its seedbed says, until it is planted.
    pub seedbed: Option<Evidence>,
    /// First day without weather, when its clocks are unknown.
    pub stale_since: Option<NaiveDate>,
}

/// What the clocks of a field say. What is not known or does not apply is `None`.
#[derive(Debug, Clone, Copy, Default)]
pub struct FieldClocks {
    /// Day of the pre pass.
    pub pre_on: Option<NaiveDate>,
    /// Rain measured since then, inches.
    pub rain_since_pre_in: Option<f64>,
    /// Days since then whose rain nobody measured.
    pub rain_unknown_days: u32,
    /// Day on which rain set the pre.
    pub pre_set_on: Option<NaiveDate>,
    /// First day on which the residual of the pre may end.
    pub residual_ends: Option<NaiveDate>,
    /// Last day of the first post window to count on.
    pub post_closes: Option<NaiveDate>,
    /// Day of the post pass.
    pub post_on: Option<NaiveDate>,
    /// First day on which the residual that it renewed may end.
    pub renewed_ends: Option<NaiveDate>,
    /// Last day to count on of a post window that has opened again since.
    pub next_post_closes: Option<NaiveDate>,
    /// Last day of the sidedress to count on.
    pub sidedress_by: Option<NaiveDate>,
    /// Day of the sidedress.
    pub sidedress_on: Option<NaiveDate>,
}

/// A digest, ready to send.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Digest {
    /// ASCII, at most 60 characters unless names alone are longer.
    pub subject: String,
    /// The plain part, complete on its own, at most 72 columns.
    pub text: String,
    /// The HTML part.
    pub html: String,
}

impl Wording {
    /// Renders the digest.
    pub fn digest(&self, input: &DigestInput) -> Digest {
        let writer = Writer { wording: self, input };
        let view = Value::from(Serde(writer.view()));
        let layout = |name: &str| {
            self.templates
                .get_template(name)
                .and_then(|template| template.render(view.clone()))
                .expect("load has rendered both layouts")
        };
        Digest {
            subject: writer.subject(),
            text: layout("digest.txt"),
            html: layout("digest.html"),
        }
    }
}
