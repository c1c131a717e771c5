//! What is asked for the record of a pass, and what is said to the answers.

use super::{Wording, dates, gsm7};
use crate::records::{AppliedPass, Item};
use chrono::NaiveDate;
use furrowbell_config::people::Language;
use minijinja::value::Serde;
use serde::Serialize;

/// A question about one item of one record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked<'a> {
    /// Name of the field.
    pub field: &'a str,
    /// What the part is called: its product or, before that is known, its ingredients.
    pub part: &'a str,
    /// Day of the pass.
    pub date: NaiveDate,
    /// Last day on which the record is in time.
    pub due: NaiveDate,
    /// The item.
    pub item: Item,
    /// Name of the certified applicator, once it is known.
    pub applicator: &'a str,
}

/// One text about a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RecordText<'a> {
    /// A question.
    Ask(Asked<'a>),
    /// A question that was not answered, once more.
    AskAgain(Asked<'a>),
    /// An answer is on record, and the same record lacks another item.
    TookNext {
        /// What was taken.
        value: &'a str,
        /// The next question.
        next: Asked<'a>,
    },
    /// An answer is on record and completes one; another record lacks an item.
    TookOther {
        /// What was taken.
        value: &'a str,
        /// The next question.
        next: Asked<'a>,
    },
    /// An answer is on record, and nothing is left to ask.
    TookAll {
        /// What was taken.
        value: &'a str,
        /// The question that it answered.
        asked: Asked<'a>,
        /// Whether the record lacks nothing else.
        complete: bool,
    },
    /// A question is put off.
    PutOff {
        /// The question.
        asked: Asked<'a>,
        /// The day of the next one; `None` when there will be none.
        again: Option<NaiveDate>,
    },
    /// An answer that could not be read.
    Unread(Asked<'a>),
}

/// What the templates may use.
#[derive(Debug, Default, Clone, Serialize)]
pub(super) struct Slots {
    sender: String,
    field: String,
    name: String,
    date: String,
    due: String,
    who: String,
    value: String,
    question: String,
    again: String,
}

/// Every wording that is needed.
pub(super) const NAMES: [&str; 26] = [
    "ask",
    "ask_again",
    "took_next",
    "took_other",
    "took_all",
    "took_some",
    "put_off",
    "put_off_last",
    "unread",
    "product",
    "epa",
    "amount",
    "applicator",
    "certification",
    "item_product",
    "item_epa",
    "item_amount",
    "item_location",
    "item_acres",
    "item_crop",
    "item_applicator",
    "item_certification",
    "item_start",
    "item_stop",
    "pass_pre",
    "pass_post",
];

impl Wording {
    /// A text about a record, in the SMS alphabet.
    pub fn record_text(&self, sender: &str, language: Language, text: &RecordText<'_>) -> String {
        let (key, asked, value, again) = match *text {
            RecordText::Ask(asked) => ("ask", asked, "", None),
            RecordText::AskAgain(asked) => ("ask_again", asked, "", None),
            RecordText::TookNext { value, next } => ("took_next", next, value, None),
            RecordText::TookOther { value, next } => ("took_other", next, value, None),
            RecordText::TookAll { value, asked, complete } => {
                (if complete { "took_all" } else { "took_some" }, asked, value, None)
            }
            RecordText::PutOff { asked, again: Some(again) } => ("put_off", asked, "", Some(again)),
            RecordText::PutOff { asked, again: None } => ("put_off_last", asked, "", None),
            RecordText::Unread(asked) => ("unread", asked, "", None),
        };
        // Where the head names the part, the question does not do so again.
        let head_names = matches!(key, "ask" | "ask_again" | "took_other");
        let slots = Slots {
            sender: sender.to_owned(),
            field: asked.field.to_owned(),
            name: asked.part.to_owned(),
            date: dates::day(language, asked.date),
            due: dates::day(language, asked.due),
            who: asked.applicator.to_owned(),
            value: value.to_owned(),
            question: self.question(language, &asked, head_names),
            again: again.map(|day| dates::day(language, day)).unwrap_or_default(),
        };
        gsm7::plain(&self.say(language, &format!("records.{key}"), Serde(slots)))
    }

    fn question(&self, language: Language, asked: &Asked<'_>, part_is_named: bool) -> String {
        let key = match asked.item {
            Item::Product => "product",
            Item::Epa => "epa",
            Item::Amount => "amount",
            Item::Applicator => "applicator",
            Item::Certification => "certification",
            // The book has the others; nobody is asked for them.
            Item::Location | Item::Acres | Item::Crop | Item::Start | Item::Stop => {
                return String::new();
            }
        };
        let name = if part_is_named { String::new() } else { asked.part.to_owned() };
        let slots = Slots { name, who: asked.applicator.to_owned(), ..Slots::default() };
        self.say(language, &format!("records.{key}"), Serde(slots))
    }

    /// Name of an item.
    pub fn item_name(&self, language: Language, item: Item) -> String {
        let key = match item {
            Item::Product => "product",
            Item::Epa => "epa",
            Item::Amount => "amount",
            Item::Location => "location",
            Item::Acres => "acres",
            Item::Crop => "crop",
            Item::Applicator => "applicator",
            Item::Certification => "certification",
            Item::Start => "start",
            Item::Stop => "stop",
        };
        self.say(language, &format!("records.item_{key}"), Serde(Slots::default()))
    }

    /// Name of a pass.
    pub fn pass_name(&self, language: Language, pass: AppliedPass) -> String {
        self.say(language, &format!("records.pass_{}", pass.name()), Serde(Slots::default()))
    }
}

#[cfg(test)]
mod tests;
