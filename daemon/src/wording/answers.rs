//! What a person is told back: after a reply, and when texts begin or end.

use super::{Wording, dates, facts, gsm7};
use chrono::NaiveDate;
use furrowbell_config::people::Language;
use furrowbell_engine::clocks::Stage;
use minijinja::value::Serde;
use serde::Serialize;

/// What went over a field, or was looked at, as a reply reported it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Done {
    /// Planting.
    Planted,
    /// The pre pass.
    Pre,
    /// The post pass.
    Post,
    /// Sidedress, with the N put on when the reply named it, lb/acre.
    Sidedress(Option<f64>),
    /// A hoe.
    Hoed,
    /// Only a look.
    Checked,
}

/// One answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer<'a> {
    /// A rain gauge reading was written down.
    Rain {
        /// Name of the field.
        field: &'a str,
        /// Day of the rain.
        date: NaiveDate,
        /// Rain of the day, inches.
        inches: f64,
    },
    /// A crop stage was written down.
    Stage {
        /// Name of the field.
        field: &'a str,
        /// Day it was seen.
        date: NaiveDate,
        /// The stage.
        stage: Stage,
    },
    /// A weed height was written down.
    Weeds {
        /// Name of the field.
        field: &'a str,
        /// Day it was seen.
        date: NaiveDate,
        /// Height of the tallest, inches.
        inches: f64,
    },
    /// A pass was written down.
    Done {
        /// Name of the field.
        field: &'a str,
        /// Day of the pass.
        date: NaiveDate,
        /// What was done.
        what: Done,
    },
    /// Texts are held.
    Held {
        /// Name of the field; `None` holds every field of the person.
        field: Option<&'a str>,
        /// First day on which texts come again.
        until: NaiveDate,
    },
    /// The reply fits several fields.
    WhichField {
        /// Their names.
        fields: &'a [&'a str],
    },
    /// The reply says nothing the service knows.
    NotUnderstood,
    /// A person will read it.
    PassedOn,
    /// Who writes, what, how often, whom to ask and how to end it.
    Help {
        /// Whom to ask.
        contact: &'a str,
        /// Most texts a day.
        most: u32,
    },
    /// The one text after STOP.
    Stopped,
    /// Texts come again after START.
    Started,
    /// The first text to a person.
    Welcome {
        /// Most texts a day.
        most: u32,
    },
}

/// What every answer's template may use. What an answer does not have stays empty.
#[derive(Debug, Default, Clone, Serialize)]
pub(super) struct Slots {
    sender: String,
    field: String,
    fields: String,
    date: String,
    inches: String,
    stage: String,
    pounds: String,
    contact: String,
    most: u32,
}

/// Every template an answer can ask for.
pub(super) const NAMES: [&str; 17] = [
    "rain",
    "stage",
    "weeds",
    "planted",
    "pre",
    "post",
    "sidedress",
    "hoed",
    "seen",
    "held",
    "which_field",
    "not_understood",
    "passed_on",
    "help",
    "stopped",
    "started",
    "welcome",
];

impl Wording {
    /// The text of an answer, in the SMS alphabet; within two segments.
    pub fn answer(&self, sender: &str, language: Language, answer: &Answer<'_>) -> String {
        if let Answer::WhichField { fields } = answer {
            return self.which_field(sender, language, fields);
        }
        let (name, slots) = slots(language, answer);
        self.answered(language, name, Slots { sender: sender.to_owned(), ..slots })
    }

    /// Names as many of the fields as two segments hold.
    fn which_field(&self, sender: &str, language: Language, fields: &[&str]) -> String {
        let asking = |named| {
            let fields = self.listed(language, fields, named);
            let sender = sender.to_owned();
            self.answered(language, "which_field", Slots { sender, fields, ..Slots::default() })
        };
        (1..=fields.len())
            .rev()
            .map(asking)
            .find(|text| gsm7::segments(text) <= 2)
            .unwrap_or_else(|| asking(1))
    }

    fn answered(&self, language: Language, name: &str, slots: Slots) -> String {
        gsm7::plain(&self.say(language, &format!("answers.{name}"), Serde(slots)))
    }
}

fn slots(language: Language, answer: &Answer<'_>) -> (&'static str, Slots) {
    let at = |field: &str, date| Slots {
        field: field.to_owned(),
        date: dates::day(language, date),
        ..Slots::default()
    };
    match *answer {
        Answer::Rain { field, date, inches } => {
            ("rain", Slots { inches: facts::measure(inches), ..at(field, date) })
        }
        Answer::Stage { field, date, stage } => {
            ("stage", Slots { stage: stage.to_string(), ..at(field, date) })
        }
        Answer::Weeds { field, date, inches } => {
            ("weeds", Slots { inches: facts::measure(inches), ..at(field, date) })
        }
        Answer::Done { field, date, what } => match what {
            Done::Planted => ("planted", at(field, date)),
            Done::Pre => ("pre", at(field, date)),
            Done::Post => ("post", at(field, date)),
            Done::Hoed => ("hoed", at(field, date)),
            Done::Checked => ("seen", at(field, date)),
            Done::Sidedress(pounds) => {
                let pounds = pounds.map(facts::whole).unwrap_or_default();
                ("sidedress", Slots { pounds, ..at(field, date) })
            }
        },
        Answer::Held { field, until } => ("held", at(field.unwrap_or_default(), until)),
        Answer::WhichField { .. } => ("which_field", Slots::default()),
        Answer::NotUnderstood => ("not_understood", Slots::default()),
        Answer::PassedOn => ("passed_on", Slots::default()),
        Answer::Help { contact, most } => {
            ("help", Slots { contact: contact.to_owned(), most, ..Slots::default() })
        }
        Answer::Stopped => ("stopped", Slots::default()),
        Answer::Started => ("started", Slots::default()),
        Answer::Welcome { most } => ("welcome", Slots { most, ..Slots::default() }),
    }
}
