//! The text that tells a finding.

use super::facts::{Facts, Telling};
use super::{Wording, dates, gsm7};
use chrono::NaiveDate;
use furrowbell_config::farms::Field;
use furrowbell_config::people::Language;
use furrowbell_engine::findings::{Evidence, Topic};
use minijinja::context;
use minijinja::value::Serde;

/// A field as a text names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FieldRef<'a> {
    /// Name as people say it.
    pub name: &'a str,
    /// Whether corn stands in it; else soybean.
    pub crop_is_corn: bool,
}

impl<'a> FieldRef<'a> {
    /// A field of the book.
    pub fn of(field: &'a Field) -> Self {
        let crop_is_corn = field.plan.as_ref().is_some_and(|plan| plan.crop.is_corn());
        Self { name: &field.name, crop_is_corn }
    }
}

/// What a text tells, to whom.
#[derive(Debug, Clone)]
pub struct TextInput<'a> {
    /// Sender name.
    pub sender: &'a str,
    /// Language of the receiver.
    pub language: Language,
    /// The fields that show the finding, most pressing first; at least one.
    pub fields: Vec<FieldRef<'a>>,
    /// The evidence, that of the first field.
    pub evidence: &'a Evidence,
    /// How many times the occasion was told, this time included; 1 for the first.
    pub version: u32,
    /// Last day on which the action makes sense.
    pub act_by: Option<NaiveDate>,
    /// Whether it rests on forecast or model weather.
    pub provisional: bool,
    /// The receiver's local day.
    pub today: NaiveDate,
    /// Whether to say that STOP ends the texts.
    pub stop_hint: bool,
    /// Whether it corrects a text sent before.
    pub update: bool,
}

/// What may be said shorter, in this order, before fewer fields are named.
struct Form {
    crop: bool,
    short_news: bool,
    short_reply: bool,
}

const FORMS: [Form; 5] = [
    Form { crop: true, short_news: false, short_reply: false },
    Form { crop: false, short_news: false, short_reply: false },
    Form { crop: true, short_news: true, short_reply: false },
    Form { crop: false, short_news: true, short_reply: false },
    Form { crop: false, short_news: true, short_reply: true },
];

/// More names than this tell a reader less than their count.
const MOST_NAMED: usize = 6;

/// The parts of a text, said once and put together in several forms.
struct Parts {
    news: [String; 2],
    action: String,
    reply: [String; 2],
    label: String,
    stop: String,
}

impl Wording {
    /// The text, in the SMS alphabet. One segment where any form of it fits, else two; it is never
    /// cut, so that only a sender name beyond all measure could make it longer.
    pub fn text(&self, input: &TextInput<'_>) -> String {
        self.fitted(input, &self.parts(input))
    }

    /// The text that takes back what was told, in the same measure.
    pub fn withdrawal(&self, input: &TextInput<'_>) -> String {
        let input = TextInput { update: true, ..input.clone() };
        let facts = self.facts(&input);
        let part = |name| self.part(&input, name, &facts);
        let (gone, reply) = (part("gone"), part("gone_reply"));
        let parts = Parts {
            news: [gone.clone(), gone],
            action: part("gone_action"),
            reply: [reply.clone(), reply],
            // It urges no pass, so no label is to be followed.
            label: String::new(),
            stop: self.stop(&input),
        };
        self.fitted(&input, &parts)
    }

    fn fitted(&self, input: &TextInput<'_>, parts: &Parts) -> String {
        let counts = 1..=input.fields.len().clamp(1, MOST_NAMED);
        let forms = counts.rev().flat_map(|count| FORMS.iter().map(move |form| (count, form)));
        let (mut of_two, mut shortest) = (None, String::new());
        for (count, form) in forms {
            shortest = self.assembled(input, parts, count, form);
            match gsm7::septets(&shortest) {
                Some(septets) if septets <= gsm7::ONE_SEGMENT => return shortest,
                Some(septets) if septets <= gsm7::TWO_SEGMENTS && of_two.is_none() => {
                    of_two = Some(shortest.clone());
                }
                _ => {}
            }
        }
        of_two.unwrap_or(shortest)
    }

    /// The finding in a few words, for a line of the digest.
    pub fn line(&self, input: &TextInput<'_>) -> String {
        self.part(input, "line", &self.facts(input))
    }

    /// What a finding is about, in a word or two.
    pub fn topic_name(&self, language: Language, topic: Topic) -> String {
        let key = format!("topics.{}.name", topic.name());
        self.say(language, &key, Serde(Facts::default()))
    }

    fn assembled(&self, input: &TextInput<'_>, parts: &Parts, count: usize, form: &Form) -> String {
        let slots = context! {
            sender => input.sender,
            update => input.update,
            fields => self.fields(input, count, form.crop),
        };
        let head = self.say(input.language, "frame.head", slots);
        let news = &parts.news[usize::from(form.short_news)];
        let reply = &parts.reply[usize::from(form.short_reply)];
        let sentences = [&head, news, &parts.action, reply, &parts.label, &parts.stop];
        let said: Vec<&str> =
            sentences.into_iter().map(|part| part.trim()).filter(|part| !part.is_empty()).collect();
        gsm7::plain(&said.join(" "))
    }

    fn parts(&self, input: &TextInput<'_>) -> Parts {
        let facts = self.facts(input);
        let part = |name| self.part(input, name, &facts);
        Parts {
            news: [part("news"), part("news_short")],
            action: part("action"),
            reply: [part("reply"), part("reply_short")],
            label: part("label"),
            stop: self.stop(input),
        }
    }

    pub(super) fn stop(&self, input: &TextInput<'_>) -> String {
        if input.stop_hint {
            self.say(input.language, "frame.stop", context! {})
        } else {
            String::new()
        }
    }

    pub(super) fn part(&self, input: &TextInput<'_>, part: &str, facts: &Facts) -> String {
        let topic = input.evidence.topic().name();
        self.say(input.language, &format!("topics.{topic}.{part}"), Serde(facts))
    }

    pub(super) fn facts(&self, input: &TextInput<'_>) -> Facts {
        let language = input.language;
        let by_day = |date| self.by(language, date, input.today);
        let days = |count: u32| self.say(language, "frame.days", context! { count });
        let span = |first: NaiveDate, last: NaiveDate| {
            if first == last {
                return self.say(
                    language,
                    "frame.around",
                    context! { date => dates::day(language, last) },
                );
            }
            let [before, last] = [first, last].map(|date| dates::month_day(language, date));
            self.say(language, "frame.span", context! { before, last })
        };
        Facts::new(
            input.evidence,
            &Telling {
                language,
                today: input.today,
                version: input.version,
                provisional: input.provisional,
                crop: self.crop(input, ""),
                the_crop: self.crop(input, "the_"),
                by: input.act_by.map(by_day).unwrap_or_default(),
                by_day: &by_day,
                days: &days,
                span: &span,
            },
        )
    }

    /// The deadline; a day that has passed leaves today.
    fn by(&self, language: Language, date: NaiveDate, today: NaiveDate) -> String {
        let key = if date <= today { "frame.by_today" } else { "frame.by" };
        self.say(language, key, context! { date => dates::day(language, date.max(today)) })
    }

    /// The crop of the fields, bare or as `the_` one.
    fn crop(&self, input: &TextInput<'_>, form: &str) -> String {
        let corn = input.fields.iter().any(|field| field.crop_is_corn);
        let soybean = input.fields.iter().any(|field| !field.crop_is_corn);
        let crop = match (corn, soybean) {
            (true, false) => "corn",
            (false, true) => "soybean",
            _ => "both",
        };
        self.say(input.language, &format!("crops.{form}{crop}"), context! {})
    }

    /// One field with its crop, unless its name says it; several fields by their names alone.
    fn fields(&self, input: &TextInput<'_>, count: usize, with_crop: bool) -> String {
        let crop = self.crop(input, "");
        match input.fields.as_slice() {
            [field] if with_crop && !field.name.to_lowercase().contains(&crop) => {
                self.say(input.language, "frame.field", context! { field => field.name, crop })
            }
            fields => {
                let names: Vec<&str> = fields.iter().map(|field| field.name).collect();
                self.listed(input.language, &names, count)
            }
        }
    }
}
