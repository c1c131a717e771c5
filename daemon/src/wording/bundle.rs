//! The text that tells several findings to one person.

use super::text::TextInput;
use super::{Wording, gsm7};
use furrowbell_config::people::Language;
use minijinja::context;

/// Characters in which a reader must find who writes and about which field.
const NAMED_WITHIN: usize = 90;

/// One thing to do, at one or several places.
struct Line<'a> {
    topic: &'static str,
    act: String,
    why: String,
    reply: String,
    label: String,
    code: String,
    /// Short news and action, for a line that tells one finding alone.
    alone: String,
    places: Vec<Place<'a>>,
}

/// Fields that share a deadline and its numbers.
struct Place<'a> {
    names: Vec<&'a str>,
    by: String,
    detail: String,
}

impl Wording {
    /// One text that tells several findings, the most pressing first, each with every field it
    /// names: those of one topic and action in a sentence, others on a line each. `None` when two
    /// segments do not hold it or its first field would be named late.
    pub fn bundle(&self, findings: &[TextInput<'_>]) -> Option<String> {
        let first = findings.first()?;
        let mut lines: Vec<Line<'_>> = Vec::new();
        for finding in findings {
            let line = self.line_of(finding);
            match lines.iter_mut().find(|told| told.asks_the_same(&line)) {
                Some(told) => told.add(line),
                None => lines.push(line),
            }
        }
        let said = match lines.as_slice() {
            [only] => self.one_act(first, only),
            several => self.several_acts(first, several),
        };
        let text = gsm7::plain(&said);
        let fits = gsm7::septets(&text).is_some_and(|septets| septets <= gsm7::TWO_SEGMENTS);
        let name = gsm7::plain(first.fields.first()?.name);
        let early = text.find(&name).is_some_and(|at| at + name.len() <= NAMED_WITHIN);
        (fits && early).then_some(text)
    }

    fn line_of<'a>(&self, finding: &TextInput<'a>) -> Line<'a> {
        let facts = self.facts(finding);
        let part = |name| self.part(finding, name, &facts).trim().to_owned();
        let names = finding.fields.iter().map(|field| field.name).collect();
        Line {
            topic: finding.evidence.topic().name(),
            act: part("act"),
            why: part("why"),
            reply: part("reply_each"),
            label: part("label"),
            code: part("code"),
            alone: format!("{} {}", part("news_short"), part("action")),
            places: vec![Place { names, by: facts.by.trim().to_owned(), detail: part("each") }],
        }
    }

    /// SENDER: what to do, where and by when. Why. How to answer.
    fn one_act(&self, input: &TextInput<'_>, line: &Line<'_>) -> String {
        let stop = self.stop(input);
        let act = self.act(input.language, line);
        let said = joined(&[&act, &line.why, &line.reply, &line.label, &stop]);
        format!("{}: {said}", input.sender)
    }

    /// SENDER: a line for each thing to do, then how to answer.
    fn several_acts(&self, input: &TextInput<'_>, lines: &[Line<'_>]) -> String {
        let language = input.language;
        let mut said = format!("{}: ", input.sender);
        for (number, line) in lines.iter().enumerate() {
            if number > 0 {
                said.push('\n');
            }
            match line.places.as_slice() {
                [Place { names, .. }] if !line.alone.is_empty() => {
                    said.push_str(&self.listed(language, names, names.len()));
                    said.push_str(if number == 0 { ". " } else { ": " });
                    said.push_str(&line.alone);
                }
                _ => said.push_str(&joined(&[&self.act(language, line), &line.why])),
            }
        }
        let reply = match lines {
            [first, rest @ ..] if rest.iter().all(|line| line.reply == first.reply) => {
                first.reply.clone()
            }
            _ => self.codes(language, lines),
        };
        let mut labels: Vec<&String> = lines.iter().map(|line| &line.label).collect();
        labels.retain(|label| !label.is_empty());
        let label = match labels.as_slice() {
            [] => String::new(),
            [first, rest @ ..] if rest.iter().all(|label| label == first) => (*first).clone(),
            _ => self.say(language, "frame.caution", context! {}),
        };
        said.push('\n');
        said + &joined(&[&reply, &label, &self.stop(input)])
    }

    /// What to do and where; the deadline once where all share it.
    fn act(&self, language: Language, line: &Line<'_>) -> String {
        let shared = line.places.iter().all(|place| place.by == line.places[0].by);
        let detail_shared = line.places.iter().all(|place| place.detail == line.places[0].detail);
        let places = if shared && detail_shared {
            let names: Vec<&str> =
                line.places.iter().flat_map(|place| place.names.iter().copied()).collect();
            joined(&[&self.listed(language, &names, names.len()), &line.places[0].detail])
        } else {
            let place = |place: &Place<'_>| {
                let by = if shared { "" } else { &place.by };
                let names = self.listed(language, &place.names, place.names.len());
                joined(&[names.as_str(), &place.detail, by])
            };
            line.places.iter().map(place).collect::<Vec<_>>().join(", ")
        };
        let by = if shared { &line.places[0].by } else { "" };
        let act = joined(&[line.act.as_str(), by]);
        self.say(language, "frame.one_act", context! { act, places })
    }

    fn codes(&self, language: Language, lines: &[Line<'_>]) -> String {
        let mut codes: Vec<&str> = Vec::new();
        for line in lines {
            if !codes.contains(&line.code.as_str()) {
                codes.push(&line.code);
            }
        }
        let codes = match codes.as_slice() {
            [before @ .., last] if !before.is_empty() => {
                let slots = context! { before => before.join(", "), last => *last };
                self.say(language, "frame.list_codes", slots)
            }
            only => only.concat(),
        };
        self.say(language, "frame.reply_codes", context! { codes })
    }
}

impl<'a> Line<'a> {
    fn asks_the_same(&self, other: &Line<'_>) -> bool {
        self.topic == other.topic
            && self.act == other.act
            && self.why == other.why
            && self.reply == other.reply
            && self.label == other.label
    }

    fn add(&mut self, other: Line<'a>) {
        for place in other.places {
            let same = |told: &&mut Place<'_>| told.by == place.by && told.detail == place.detail;
            match self.places.iter_mut().find(same) {
                Some(told) => told.names.extend(place.names),
                None => self.places.push(place),
            }
        }
        // Several findings are told by what they share.
        self.alone.clear();
    }
}

fn joined(parts: &[&str]) -> String {
    let said: Vec<&str> = parts.iter().copied().filter(|part| !part.is_empty()).collect();
    said.join(" ")
}
