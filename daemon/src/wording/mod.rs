//! What is said and how: texts, answers to replies and the digest, in each language. Nothing here
//! knows the store, the routes or the time of day; the same input gives the same words.

pub mod answers;
pub mod calendar;
pub mod dates;
pub mod digest;
pub mod gsm7;
pub mod records;
pub mod sheet;
pub mod text;

mod bundle;
#[cfg(test)]
mod digest_gates;
mod digest_view;
mod digest_writer;
mod edits;
mod facts;
mod fold;
#[cfg(test)]
mod gates;
mod readability;
mod rules;
mod samples;
#[cfg(test)]
mod sender_first;
mod strip;

use facts::Facts;
use furrowbell_config::Fault;
use furrowbell_config::people::Language;
use furrowbell_engine::findings::Topic;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{Environment, UndefinedBehavior, Value};
use std::borrow::Cow;
use std::collections::BTreeSet;

const LANGUAGES: [(Language, &str); 2] = [
    (Language::English, include_str!("../../../config/wording/en.toml")),
    (Language::Spanish, include_str!("../../../config/wording/es.toml")),
];

/// What each topic is worded with.
const TOPIC_PARTS: [&str; 16] = [
    "name",
    "news",
    "news_short",
    "action",
    "reply",
    "reply_short",
    "label",
    "line",
    "gone",
    "gone_action",
    "gone_reply",
    "act",
    "each",
    "why",
    "reply_each",
    "code",
];
const FRAME: [&str; 14] = [
    "head",
    "field",
    "and",
    "more",
    "by",
    "by_today",
    "span",
    "around",
    "stop",
    "days",
    "one_act",
    "list_codes",
    "reply_codes",
    "caution",
];
const FRAME_VARIABLES: [&str; 12] = [
    "sender", "update", "fields", "field", "crop", "before", "last", "count", "date", "act",
    "places", "codes",
];
const CROPS: [&str; 6] = ["corn", "soybean", "both", "the_corn", "the_soybean", "the_both"];

/// Every word the service says, compiled: the shipped texts, and the book's own that take their
/// place.
#[derive(Debug)]
pub struct Wording {
    templates: Environment<'static>,
    /// Names of the texts that are said in the book's own words.
    own: BTreeSet<String>,
    /// What of the book's own texts is not used.
    unused: Vec<Fault>,
}

/// A wording file that cannot be used. The files are part of the program: correct the file named
/// and build again.
#[derive(Debug, thiserror::Error)]
pub enum WordingFault {
    /// Not TOML.
    #[error("config/wording/{language}.toml is not TOML")]
    Toml {
        /// Code of the language.
        language: &'static str,
        /// What the reader says.
        #[source]
        source: toml::de::Error,
    },
    /// A value that is no text.
    #[error("wording {name} is not a text")]
    NotText {
        /// Language and dotted key.
        name: String,
    },
    /// A text that is no template, or that asks for an unknown filter.
    #[error("wording {name} is not a usable template")]
    Template {
        /// Language and dotted key.
        name: String,
        /// What the compiler says.
        #[source]
        source: minijinja::Error,
    },
    /// A template that uses what it is not given.
    #[error("wording {name} uses \"{variable}\", which it is not given")]
    UnknownVariable {
        /// Language and dotted key.
        name: String,
        /// The variable.
        variable: String,
    },
    /// A text that the service needs and the file lacks.
    #[error("wording {name} is missing")]
    Missing {
        /// Language and dotted key.
        name: String,
    },
}

impl Wording {
    /// Compiles the wording built into the program. Whatever could fail at the moment of saying
    /// something is found here: missing texts, unknown variables, unknown filters.
    pub fn load() -> Result<Self, WordingFault> {
        Self::compile(LANGUAGES)
    }

    fn compile(languages: [(Language, &str); 2]) -> Result<Self, WordingFault> {
        let mut templates = Environment::new();
        templates.set_undefined_behavior(UndefinedBehavior::Strict);
        let syntax = SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build();
        templates.set_syntax(syntax.map_err(|source| template_fault("syntax", source))?);
        templates.add_filter("wrap", digest_view::wrap);
        for (name, layout) in digest_view::LAYOUTS {
            add_template(&mut templates, name, layout)?;
        }
        for (language, source) in languages {
            let language = language.code();
            let table: toml::Table =
                toml::from_str(source).map_err(|source| WordingFault::Toml { language, source })?;
            add_table(&mut templates, language, &table)?;
        }
        let wording = Self { templates, own: BTreeSet::new(), unused: Vec::new() };
        wording.check()?;
        Ok(wording)
    }

    /// Says one text of the wording.
    fn say(&self, language: Language, key: &str, slots: impl Into<Value>) -> String {
        let (name, slots) = (name_of(language, key), slots.into());
        self.say_own(&name, &slots).unwrap_or_else(|| {
            self.templates
                .get_template(&name)
                .and_then(|template| template.render(slots))
                .expect("load has checked every key, variable and filter")
        })
    }

    /// The book's own text of that name. What no sample has shown may still fail; then there is
    /// the shipped one.
    fn say_own(&self, name: &str, slots: &Value) -> Option<String> {
        if !self.own.contains(name) {
            return None;
        }
        let template = self.templates.get_template(&own_name(name)).ok()?;
        let said = template.render(slots);
        if said.is_err() {
            tracing::warn!(text = name, "the book's own text cannot be said; the shipped one is");
        }
        said.ok()
    }

    /// The names joined as people say them: the first `count` of them, the others counted.
    fn listed(&self, language: Language, names: &[&str], count: usize) -> String {
        let (said, rest) = names.split_at(count.min(names.len()));
        if !rest.is_empty() {
            let slots = minijinja::context! { before => said.join(", "), count => rest.len() };
            return self.say(language, "frame.more", slots);
        }
        match said {
            [] => String::new(),
            [only] => (*only).to_owned(),
            [before @ .., last] => {
                let slots = minijinja::context! { before => before.join(", "), last => *last };
                self.say(language, "frame.and", slots)
            }
        }
    }

    fn check(&self) -> Result<(), WordingFault> {
        for (language, _) in LANGUAGES {
            for key in required_keys() {
                let name = name_of(language, &key);
                if self.templates.get_template(&name).is_err() {
                    return Err(WordingFault::Missing { name });
                }
            }
        }
        for (name, template) in self.templates.templates() {
            let (slots, given) = (slots_of(name), variables_of(name));
            if let Some(variable) =
                template.undeclared_variables(false).into_iter().find(|used| !given.contains(used))
            {
                return Err(WordingFault::UnknownVariable { name: name.to_owned(), variable });
            }
            template.render(slots).map_err(|source| template_fault(name, source))?;
        }
        Ok(())
    }
}

fn name_of(language: Language, key: &str) -> String {
    format!("{}.{key}", language.code())
}

/// Name of the book's own template in place of the shipped one.
fn own_name(name: &str) -> String {
    format!("own.{name}")
}

fn add_table(
    templates: &mut Environment<'static>,
    prefix: &str,
    table: &toml::Table,
) -> Result<(), WordingFault> {
    for (key, value) in table {
        let name = format!("{prefix}.{key}");
        match value {
            toml::Value::Table(inner) => add_table(templates, &name, inner)?,
            toml::Value::String(text) => add_template(templates, &name, text.clone())?,
            _ => return Err(WordingFault::NotText { name }),
        }
    }
    Ok(())
}

fn add_template(
    templates: &mut Environment<'static>,
    name: &str,
    text: impl Into<Cow<'static, str>>,
) -> Result<(), WordingFault> {
    templates
        .add_template_owned(name.to_owned(), text.into())
        .map_err(|source| template_fault(name, source))
}

fn template_fault(name: &str, source: minijinja::Error) -> WordingFault {
    WordingFault::Template { name: name.to_owned(), source }
}

fn required_keys() -> impl Iterator<Item = String> {
    let topics = Topic::ALL.into_iter().flat_map(|topic| {
        TOPIC_PARTS.into_iter().map(move |part| format!("topics.{}.{part}", topic.name()))
    });
    let in_group =
        |group, keys: &'static [&'static str]| keys.iter().map(move |key| format!("{group}.{key}"));
    topics
        .chain(in_group("frame", &FRAME))
        .chain(in_group("crops", &CROPS))
        .chain(in_group("answers", &answers::NAMES))
        .chain(in_group("digest", &digest_writer::NAMES))
        .chain(in_group("records", &records::NAMES))
}

/// What the template of that name may use.
fn variables_of(name: &str) -> BTreeSet<String> {
    let slots = slots_of(name);
    slots.try_iter().into_iter().flatten().map(|key| key.to_string()).collect()
}

/// Empty slots of the group that a template belongs to.
fn slots_of(name: &str) -> Value {
    if digest_view::LAYOUTS.iter().any(|(layout, _)| *layout == name) {
        return Value::from(Serde(digest_view::View::default()));
    }
    match name.split('.').nth(1) {
        Some("topics") => Value::from(Serde(Facts::default())),
        Some("answers") => Value::from(Serde(answers::Slots::default())),
        Some("records") => Value::from(Serde(records::Slots::default())),
        Some("digest") => Value::from_pairs(digest_writer::VARIABLES.map(|key| (key, ""))),
        _ => Value::from_pairs(FRAME_VARIABLES.map(|key| (key, ""))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(change: impl Fn(&str) -> String) -> String {
        let [(english, source), spanish] = LANGUAGES;
        let changed = change(source);
        assert_ne!(changed, source);
        Wording::compile([(english, &changed), spanish]).unwrap_err().to_string()
    }

    #[test]
    fn faults_in_a_wording_file_are_found_before_anything_is_said() {
        assert_eq!(
            fault(|source| source.replace("{{ low }} F {{ on }},", "{{ lowest }} F {{ on }},")),
            "wording en.topics.cold-after-planting.line uses \"lowest\", which it is not given"
        );
        assert_eq!(
            fault(|source| source.replace("\nask_day = ", "\nask_days = ")),
            "wording en.answers.ask_day is missing"
        );
        assert_eq!(
            fault(|source| source
                .replace("by = \" by {{ date }}\"", "by = \" by {{ date | nice }}\"")),
            "wording en.frame.by is not a usable template"
        );
        assert_eq!(
            fault(|source| source.replace("and = \"{{ before }} and {{ last }}\"", "and = 1")),
            "wording en.frame.and is not a text"
        );
        assert_eq!(
            fault(|source| source.replace("[frame]", "[frame")),
            "config/wording/en.toml is not TOML"
        );
    }
}
