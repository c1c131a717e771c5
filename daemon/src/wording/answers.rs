//! What a person is told back: after a reply, and when texts begin or end.

use super::{Wording, dates, facts, gsm7};
use chrono::NaiveDate;
use furrowbell_config::people::Language;
use furrowbell_engine::journal::Event;
use minijinja::context;
use minijinja::value::Serde;
use serde::Serialize;

/// A pass that a reply may have meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pass {
    /// The pre pass.
    Pre,
    /// The post pass.
    Post,
    /// Sidedress.
    Sidedress,
    /// A hoe.
    Hoe,
}

/// One answer. Fields are named as people say them.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer<'a> {
    /// It is on record.
    Recorded {
        /// What was recorded.
        event: &'a Event,
        /// For which day.
        date: NaiveDate,
        /// On which fields.
        fields: &'a [&'a str],
    },
    /// Which field was meant?
    AskField {
        /// Those to choose from.
        fields: &'a [&'a str],
    },
    /// Which pass was meant?
    AskPass {
        /// On which fields.
        fields: &'a [&'a str],
        /// Those to choose from.
        passes: &'a [Pass],
    },
    /// Which day was meant?
    AskDay,
    /// Done with what? Nothing is asked of these fields, or of any when empty.
    NothingOpen {
        /// The fields.
        fields: &'a [&'a str],
    },
    /// Why the latest text came.
    Why {
        /// The fields it was about.
        fields: &'a [&'a str],
        /// The finding in a few words, as [`Wording::line`] gives it.
        reason: &'a str,
        /// Whom to ask.
        contact: &'a str,
    },
    /// No text has come that could be explained.
    NothingTold {
        /// Whom to ask.
        contact: &'a str,
    },
    /// It was not understood; the advisor has it.
    NotUnderstood,
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
    /// To the advisor: an urgent text did not arrive, and there is no other way.
    NotArrived {
        /// Name of the person it was for.
        name: &'a str,
        /// What it was about.
        topic: &'a str,
        /// On which fields.
        fields: &'a [&'a str],
    },
    /// The first text to a person.
    Welcome {
        /// Most texts a day.
        most: u32,
    },
    /// Whether texts are still wanted, after a year of silence.
    Keep,
    /// To the advisor: a number takes no texts, so none are sent there.
    NumberGone {
        /// Name of the person whose number it is.
        name: &'a str,
    },
}

/// What every answer's template may use. What an answer does not have stays empty.
#[derive(Debug, Default, Clone, Serialize)]
pub(super) struct Slots {
    sender: String,
    fields: String,
    date: String,
    inches: String,
    ppm: String,
    stage: String,
    pounds: String,
    topic: String,
    name: String,
    passes: String,
    reason: String,
    contact: String,
    most: u32,
    before: String,
    last: String,
}

/// Every wording an answer can ask for.
pub(super) const NAMES: [&str; 31] = [
    "rain",
    "stage",
    "weed-free",
    "weeds",
    "nitrate",
    "planted",
    "pre",
    "post",
    "starter",
    "sidedress",
    "hoed",
    "hold",
    "ask_field",
    "ask_pass",
    "ask_day",
    "nothing_open",
    "why",
    "nothing_told",
    "not_understood",
    "help",
    "stopped",
    "not_arrived",
    "started",
    "welcome",
    "pass_pre",
    "pass_post",
    "pass_sidedress",
    "pass_hoe",
    "or",
    "keep",
    "number_gone",
];

impl Wording {
    /// The text of an answer, in the SMS alphabet. It names as many fields as one segment holds,
    /// or two where not even one field fits the first.
    pub fn answer(&self, sender: &str, language: Language, answer: &Answer<'_>) -> String {
        let (name, slots) = self.answer_slots(language, answer);
        let fields = fields_of(answer);
        let said = |count| {
            let fields = self.listed(language, fields, count);
            let slots = Slots { sender: sender.to_owned(), fields, ..slots.clone() };
            gsm7::plain(&self.say(language, &format!("answers.{name}"), Serde(slots)))
        };
        let fewer = || (1..=fields.len().max(1)).rev().map(said);
        fewer()
            .find(|text| gsm7::segments(text) == 1)
            .or_else(|| fewer().find(|text| gsm7::segments(text) == 2))
            .unwrap_or_else(|| said(1))
    }

    fn answer_slots(&self, language: Language, answer: &Answer<'_>) -> (&'static str, Slots) {
        let empty = Slots::default();
        let about = |contact: &str| contact.to_owned();
        match *answer {
            Answer::Recorded { event, date, .. } => self.recorded(language, event, date),
            Answer::AskField { .. } => ("ask_field", empty),
            Answer::AskPass { passes, .. } => {
                ("ask_pass", Slots { passes: self.choice(language, passes), ..empty })
            }
            Answer::AskDay => ("ask_day", empty),
            Answer::NothingOpen { .. } => ("nothing_open", empty),
            Answer::Why { reason, contact, .. } => {
                ("why", Slots { reason: reason.to_owned(), contact: about(contact), ..empty })
            }
            Answer::NothingTold { contact } => {
                ("nothing_told", Slots { contact: about(contact), ..empty })
            }
            Answer::NotUnderstood => ("not_understood", empty),
            Answer::Help { contact, most } => {
                ("help", Slots { contact: about(contact), most, ..empty })
            }
            Answer::Stopped => ("stopped", empty),
            Answer::NotArrived { name, topic, .. } => {
                let (name, topic) = (name.to_owned(), topic.to_owned());
                ("not_arrived", Slots { topic, name, ..empty })
            }
            Answer::Started => ("started", empty),
            Answer::Welcome { most } => ("welcome", Slots { most, ..empty }),
            Answer::Keep => ("keep", empty),
            Answer::NumberGone { name } => {
                ("number_gone", Slots { name: name.to_owned(), ..empty })
            }
        }
    }

    fn recorded(
        &self,
        language: Language,
        event: &Event,
        date: NaiveDate,
    ) -> (&'static str, Slots) {
        let dated = Slots { date: dates::day(language, date), ..Slots::default() };
        match event {
            Event::Planted => ("planted", dated),
            Event::PreApplied { .. } => ("pre", dated),
            Event::PostApplied { .. } => ("post", dated),
            Event::Hoed => ("hoed", dated),
            Event::StarterApplied { nitrogen, .. } | Event::Sidedressed { nitrogen } => {
                let pounds = nitrogen.map(|pounds| facts::whole(pounds.get())).unwrap_or_default();
                let starter = matches!(event, Event::StarterApplied { .. });
                (if starter { "starter" } else { "sidedress" }, Slots { pounds, ..dated })
            }
            Event::Rain { amount } => {
                ("rain", Slots { inches: facts::measure(amount.inches()), ..dated })
            }
            Event::StageSeen { stage } => ("stage", Slots { stage: stage.to_string(), ..dated }),
            Event::WeedsSeen { height } if height.get() == 0.0 => ("weed-free", dated),
            Event::WeedsSeen { height } => {
                ("weeds", Slots { inches: facts::measure(height.get()), ..dated })
            }
            Event::NitrateTest { ppm } => {
                ("nitrate", Slots { ppm: facts::measure(ppm.get()), ..dated })
            }
            Event::Hold { topic, until } => {
                let topic = topic.map(|topic| self.topic_name(language, topic)).unwrap_or_default();
                ("hold", Slots { topic, date: dates::day(language, *until), ..dated })
            }
        }
    }

    /// The reply words to choose from.
    fn choice(&self, language: Language, passes: &[Pass]) -> String {
        let words: Vec<String> = passes
            .iter()
            .map(|pass| {
                let key = match pass {
                    Pass::Pre => "answers.pass_pre",
                    Pass::Post => "answers.pass_post",
                    Pass::Sidedress => "answers.pass_sidedress",
                    Pass::Hoe => "answers.pass_hoe",
                };
                self.say(language, key, context! {})
            })
            .collect();
        match words.as_slice() {
            [before @ .., last] if !before.is_empty() => {
                let slots = context! { before => before.join(", "), last => last.as_str() };
                self.say(language, "answers.or", slots)
            }
            words => words.concat(),
        }
    }
}

const fn fields_of<'a>(answer: &Answer<'a>) -> &'a [&'a str] {
    match *answer {
        Answer::Recorded { fields, .. }
        | Answer::AskField { fields }
        | Answer::AskPass { fields, .. }
        | Answer::NothingOpen { fields }
        | Answer::NotArrived { fields, .. }
        | Answer::Why { fields, .. } => fields,
        Answer::AskDay
        | Answer::NothingTold { .. }
        | Answer::NotUnderstood
        | Answer::Help { .. }
        | Answer::Stopped
        | Answer::Started
        | Answer::Welcome { .. }
        | Answer::Keep
        | Answer::NumberGone { .. } => &[],
    }
}
