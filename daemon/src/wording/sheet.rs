//! The wording as it reads on a phone, with sample values, for people to judge.

use super::rules::{self, Form};
use super::samples::{self, TWELVE, answer_values};
use super::text::TextInput;
use super::{Wording, answers, gsm7, name_of, required_keys};
use chrono::TimeDelta;
use furrowbell_config::people::Language;
use furrowbell_engine::findings::Topic;
use minijinja::Value;
use minijinja::value::Serde;

/// Columns of a text on a phone.
pub const PHONE_COLUMNS: usize = 40;
/// Sample values of one variable that are told.
const MOST_EXAMPLES: usize = 5;

/// Texts that belong together: a topic, several topics, or the answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Section {
    /// Name of the topic, `several` or `answers`.
    pub name: String,
    /// The texts.
    pub texts: Vec<Shown>,
}

/// One text with sample values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// What it is a text of.
    pub what: String,
    /// The text as it would be sent.
    pub text: String,
    /// The finding as a digest tells it.
    pub line: Option<String>,
    form: Form,
}

impl Shown {
    fn new(what: impl Into<String>, text: String, form: Form) -> Self {
        Self { what: what.into(), text, line: None, form }
    }

    /// What makes the text hard to read, which keeps no text from being used.
    pub fn hard_to_read(&self, language: Language) -> Vec<String> {
        let hard = rules::hard_to_read(&self.text, self.form, language, &TWELVE);
        hard.iter().map(ToString::to_string).collect()
    }
}

/// What a topic's templates may use, with some values that it takes.
pub type Variables = Vec<(String, Vec<String>)>;

impl Wording {
    /// Every section, in the order of a spring.
    pub fn sections(&self, language: Language) -> Vec<Section> {
        let topics = Topic::ALL.into_iter().map(|topic| self.of_topic(language, topic));
        topics.chain([self.of_several(language), self.of_answers(language)]).collect()
    }

    fn of_topic(&self, language: Language, topic: Topic) -> Section {
        let samples = samples::ordinary();
        let of_topic = samples.iter().filter(|sample| sample.evidence.topic() == topic);
        let mut texts = Vec::new();
        for (number, sample) in of_topic.enumerate() {
            let input = sample.input(language, &["North 80"]);
            let two = [
                input.clone(),
                TextInput {
                    act_by: sample.act_by.map(|by| by + TimeDelta::days(2)),
                    ..sample.input(language, &["Creek 40"])
                },
            ];
            let number = number + 1;
            let (text, line) = (self.text(&input), Some(self.line(&input)));
            texts.push(Shown { line, ..Shown::new(number.to_string(), text, Form::Telling) });
            if let Some(text) = self.bundle(&two) {
                texts.push(Shown::new(format!("{number}, of two fields"), text, Form::Several));
            }
            if number == 1 {
                let update = TextInput { update: true, ..input.clone() };
                texts.push(Shown::new("put right", self.text(&update), Form::Telling));
                texts.push(Shown::new("taken back", self.withdrawal(&input), Form::TakingBack));
            }
        }
        Section { name: topic.name().to_owned(), texts }
    }

    /// Two topics in one text, and one text of many fields.
    fn of_several(&self, language: Language) -> Section {
        let samples = samples::ordinary();
        let pair = |pair: &[samples::Sample]| {
            let [one, other] = pair else { return None };
            let inputs = [one.input(language, &["North 80"]), other.input(language, &["Creek 40"])];
            let what = [one, other].map(|sample| sample.evidence.topic().name()).join(" and ");
            Some(Shown::new(what, self.bundle(&inputs)?, Form::Several))
        };
        let mut texts: Vec<Shown> = samples.chunks(2).filter_map(pair).collect();
        let many = |sample: &samples::Sample| {
            let text = self.text(&sample.input(language, &TWELVE));
            Shown::new("12 fields", text, Form::Telling)
        };
        texts.extend(samples.first().map(many));
        Section { name: "several".to_owned(), texts }
    }

    /// Every answer, whole and without what it need not say.
    fn of_answers(&self, language: Language) -> Section {
        let mut texts = Vec::new();
        for name in answers::NAMES {
            let key = format!("answers.{name}");
            let mut values = answer_values(language, false);
            let mut show = |what: String, values| {
                let said = self.say(language, &key, Value::from(values));
                texts.push(Shown::new(what, gsm7::plain(&said), Form::Answer));
            };
            show(name.to_owned(), values.clone());
            let template = self.source(&name_of(language, &key));
            let optional = values.keys().find(|slot| template.contains(&format!("% if {slot} %")));
            if let Some(slot) = optional.cloned() {
                values.insert(slot.clone(), Value::from(""));
                show(format!("{name}, no {slot}"), values);
            }
        }
        Section { name: "answers".to_owned(), texts }
    }

    fn source(&self, name: &str) -> String {
        self.templates.get_template(name).map(|one| one.source().to_owned()).unwrap_or_default()
    }

    /// Every key of the wording that begins with `prefix`, with its shipped template.
    pub fn templates(&self, language: Language, prefix: &str) -> Vec<(String, String)> {
        let keys = required_keys().filter(|key| key.starts_with(prefix));
        keys.map(|key| (key.clone(), self.source(&name_of(language, &key)))).collect()
    }

    /// What the templates beside those of topics may use.
    pub fn variables_of(&self, group: &str) -> Vec<String> {
        super::variables_of(&name_of(Language::English, &format!("{group}."))).into_iter().collect()
    }

    /// What the templates of a topic are given in its samples, with values it takes.
    pub fn variables(&self, language: Language, topic: Topic) -> Variables {
        let mut known: Variables = Vec::new();
        let samples = samples::ordinary();
        for sample in samples.iter().filter(|sample| sample.evidence.topic() == topic) {
            let facts = Value::from(Serde(self.facts(&sample.input(language, &["North 80"]))));
            for name in facts.try_iter().into_iter().flatten() {
                let value = facts.get_item(&name).unwrap_or_default();
                if !value.is_true() {
                    continue;
                }
                let (name, value) = (name.to_string(), value.to_string());
                match known.iter_mut().find(|(known, _)| *known == name) {
                    Some((_, examples)) if examples.len() == MOST_EXAMPLES => {}
                    Some((_, examples)) if examples.contains(&value) => {}
                    Some((_, examples)) => examples.push(value),
                    None => known.push((name, vec![value])),
                }
            }
        }
        known
    }
}

/// A text in the lines of a phone.
pub fn on_phone(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for paragraph in text.lines() {
        let mut line = String::new();
        for word in paragraph.split_whitespace() {
            let width = line.chars().count() + 1 + word.chars().count();
            if !line.is_empty() && width > PHONE_COLUMNS {
                lines.push(std::mem::take(&mut line));
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        lines.push(line);
    }
    lines
}

/// What a text costs on the air: "157 septets, 1 segment".
pub fn cost(text: &str) -> String {
    let segments = gsm7::segments(text);
    let ending = if segments == 1 { "" } else { "s" };
    match gsm7::septets(text) {
        Some(septets) => format!("{septets} septets, {segments} segment{ending}"),
        None => format!("outside the SMS alphabet, {segments} segment{ending}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fmt::Write;
    use std::path::Path;

    /// The sheet of one language, as it is committed.
    fn sheet(language: Language) -> String {
        let wording = Wording::load().unwrap();
        let mut sheet = format!("# Every text as it reads on a phone: {}\n", language.code());
        for section in wording.sections(language) {
            write!(sheet, "\n## {}\n", section.name).unwrap();
            for Shown { what, text, line, .. } in section.texts {
                let lines = on_phone(&text).join("\n");
                let cost = cost(&text);
                write!(sheet, "\n{what}: {cost}\n\n```\n{lines}\n```\n").unwrap();
                if let Some(line) = line {
                    write!(sheet, "\nIn a digest: {line}\n").unwrap();
                }
            }
        }
        sheet
    }

    /// `INSTA_UPDATE=always` writes the sheets anew, as it does with snapshots.
    #[test]
    fn the_committed_sheets_are_what_the_service_says() {
        for language in Language::ALL {
            let path = Path::new(env!("CARGO_MANIFEST_DIR"))
                .join(format!("../tests/texts/{}.md", language.code()));
            let sheet = sheet(language);
            if std::env::var("INSTA_UPDATE").is_ok_and(|update| update == "always") {
                std::fs::create_dir_all(path.parent().unwrap()).unwrap();
                std::fs::write(&path, &sheet).unwrap();
            }
            let committed = std::fs::read_to_string(&path).unwrap_or_default();
            let differs = committed.lines().zip(sheet.lines()).find(|(was, is)| was != is);
            assert!(committed == sheet, "{} differs at {differs:?}", path.display());
        }
    }

    #[test]
    fn a_phone_shows_every_word_in_lines_that_fit() {
        for section in Wording::load().unwrap().sections(Language::English) {
            for shown in section.texts {
                let lines = on_phone(&shown.text);
                let fits =
                    |line: &String| line.chars().count() <= PHONE_COLUMNS || !line.contains(' ');
                assert!(lines.iter().all(fits), "{lines:?}");
                let words: Vec<&str> = lines.iter().flat_map(|line| line.split(' ')).collect();
                assert_eq!(words, shown.text.split_whitespace().collect::<Vec<_>>());
            }
        }
    }

    #[test]
    fn the_cost_is_told_in_septets_and_segments() {
        assert_eq!(cost("Frost likely"), "12 septets, 1 segment");
        assert_eq!(cost(&"a".repeat(161)), "161 septets, 2 segments");
        assert_eq!(cost("\u{2192}"), "outside the SMS alphabet, 1 segment");
    }
}
