//! Takes the book's own texts into the wording: those that can be said and keep the rules.

use super::rules::{self, Broken, Keep};
use super::samples::{self, LONGEST_FIELD, LONGEST_SENDER, Sample, answer_values};
use super::text::TextInput;
use super::{
    Wording, WordingFault, add_template, dates, gsm7, name_of, own_name, required_keys,
    variables_of,
};
use chrono::TimeDelta;
use furrowbell_config::people::Language;
use furrowbell_config::wording::{Edit, Edits};
use furrowbell_config::{Fault, nearest_word};
use furrowbell_engine::findings::Topic;
use minijinja::{ErrorKind, Value};
use std::collections::{BTreeMap, BTreeSet};

/// What happens to a text that is not used.
const INSTEAD: &str = "the shipped text is used";

impl Wording {
    /// The shipped wording with those of the book's own texts that keep the rules. Each of the
    /// others is left out by itself, and told in [`Wording::unused`].
    pub fn of_book(edits: &Edits) -> Result<Self, WordingFault> {
        let shipped = Self::load()?;
        let mut wording = Self::load()?;
        wording.unused.clone_from(&edits.faults);
        let mut groups: BTreeMap<(&str, &str), Vec<&Edit>> = BTreeMap::new();
        for edit in &edits.texts {
            match wording.compile_own(edit) {
                Ok(()) => {
                    groups
                        .entry((edit.language.code(), table_of(&edit.key)))
                        .or_default()
                        .push(edit);
                }
                Err(fault) => wording.unused.push(fault),
            }
        }
        for ((_, table), group) in &groups {
            wording.adopt(&shipped, table, group);
        }
        wording.unused.sort();
        Ok(wording)
    }

    /// What of the book's own texts is not used, in order of file and line.
    pub fn unused(&self) -> &[Fault] {
        &self.unused
    }

    /// How many texts are said in the book's own words.
    pub fn own_count(&self) -> usize {
        self.own.len()
    }

    /// Finds what could fail at the moment of saying it.
    fn compile_own(&mut self, edit: &Edit) -> Result<(), Fault> {
        let shipped = name_of(edit.language, &edit.key);
        if !required_keys().any(|key| key == edit.key) {
            return Err(edit.fault_of_key(&format!("unknown key; {}", proposed(&edit.key))));
        }
        let refuse = |why: &str| edit.fault(&format!("{why}; {INSTEAD}"));
        let name = own_name(&shipped);
        add_template(&mut self.templates, &name, edit.text.clone()).map_err(|fault| {
            let detail = match &fault {
                WordingFault::Template { source, .. } => source.detail().unwrap_or_default(),
                _ => "",
            };
            refuse(&format!("is no template: {detail}"))
        })?;
        let given = variables_of(&shipped);
        let used = self.variables_in(&name);
        if let Some(unknown) = used.iter().find(|used| !given.contains(*used)) {
            let known: Vec<&str> = given.iter().map(String::as_str).collect();
            let advice = nearest_word(unknown, &known).map_or_else(
                || "`furrowbell wording --templates` lists what it may use".to_owned(),
                |near| format!("did you mean {near}?"),
            );
            return Err(refuse(&format!("uses {unknown}, which it is not given; {advice}")));
        }
        if let Some(filter) = self.unknown_filter(&edit.text) {
            return Err(refuse(&format!("uses the filter {filter}, which does not exist")));
        }
        if must_keep_variables(&edit.key) {
            let dropped = self.variables_in(&shipped).into_iter().find(|one| !used.contains(one));
            if let Some(dropped) = dropped {
                return Err(refuse(&format!("no longer says {{{{ {dropped} }}}}; keep it")));
            }
        }
        if !edit.key.starts_with("digest.")
            && let Some(broken) = rules::unspeakable(&edit.text)
        {
            return Err(refuse(&broken.to_string()));
        }
        Ok(())
    }

    fn variables_in(&self, name: &str) -> BTreeSet<String> {
        let template = self.templates.get_template(name);
        template
            .map(|one| one.undeclared_variables(false).into_iter().collect())
            .unwrap_or_default()
    }

    /// A filter that the template asks for and that does not exist, in whatever branch.
    fn unknown_filter(&self, template: &str) -> Option<String> {
        filters_in(template).into_iter().find(|filter| {
            let said = self.templates.render_str(&format!("{{{{ '' | {filter} }}}}"), ());
            said.is_err_and(|error| error.kind() == ErrorKind::UnknownFilter)
        })
    }

    /// Uses the texts of one table: all of them where they keep the rules together, else one by
    /// one as far as they do.
    fn adopt(&mut self, shipped: &Self, table: &str, group: &[&Edit]) {
        let name = |edit: &Edit| name_of(edit.language, &edit.key);
        self.own.extend(group.iter().map(|edit| name(edit)));
        let Some(language) = group.first().map(|edit| edit.language) else { return };
        if self.broken_in(shipped, language, table).is_empty() {
            return;
        }
        for edit in group {
            self.own.remove(&name(edit));
        }
        for edit in group {
            self.own.insert(name(edit));
            let broken = self.broken_in(shipped, language, table);
            if !broken.is_empty() {
                self.own.remove(&name(edit));
                let told: Vec<String> = broken.iter().map(ToString::to_string).collect();
                self.unused.push(edit.fault(&format!("{}; {INSTEAD}", told.join("; "))));
            }
        }
    }

    /// The rules that the wording of a table breaks over all sample values, each once.
    fn broken_in(&self, shipped: &Self, language: Language, table: &str) -> Vec<Broken> {
        let mut broken = Vec::new();
        let mut add = |more: Vec<Broken>| {
            for one in more {
                if !broken.iter().any(|known| same_rule(known, &one)) {
                    broken.push(one);
                }
            }
        };
        match table.split_once('.') {
            Some((_, topic)) => self.judge(shipped, language, Some(topic), &mut add),
            None if table == "answers" => add(self.judge_answers(shipped, language)),
            None if table == "digest" => {}
            None => self.judge(shipped, language, None, &mut add),
        }
        broken
    }

    /// Judges the texts of a topic, or of all.
    fn judge(
        &self,
        shipped: &Self,
        language: Language,
        topic: Option<&str>,
        add: &mut impl FnMut(Vec<Broken>),
    ) {
        let of_topic =
            |sample: &Sample| topic.is_none_or(|topic| sample.evidence.topic().name() == topic);
        let (ordinary, widest) = (samples::ordinary(), samples::widest());
        let other = ordinary.iter().find(|sample| sample.evidence.topic() == Topic::WeatherGap);
        for sample in ordinary.iter().filter(|sample| of_topic(sample)) {
            let input = sample.input(language, &["North 80"]);
            let hinted = TextInput { stop_hint: true, ..input.clone() };
            add(self.judge_text(shipped, &hinted));
            add(broken(&shipped.withdrawal(&input), &self.withdrawal(&input), &input, None));
            let later = TextInput {
                act_by: sample.act_by.map(|by| by + TimeDelta::days(2)),
                ..sample.input(language, &["Creek 40"])
            };
            add(self.judge_bundle(shipped, &[input.clone(), later]));
            if let Some(other) = other {
                add(self.judge_bundle(shipped, &[input, other.input(language, &["Creek 40"])]));
            }
        }
        for sample in widest.iter().filter(|sample| of_topic(sample)) {
            add(self.judge_text(
                shipped,
                &TextInput {
                    sender: LONGEST_SENDER,
                    stop_hint: true,
                    update: true,
                    ..sample.input(language, &[LONGEST_FIELD])
                },
            ));
        }
    }

    fn judge_text(&self, shipped: &Self, input: &TextInput<'_>) -> Vec<Broken> {
        broken(&shipped.text(input), &self.text(input), input, None)
    }

    /// Judges two findings told together.
    fn judge_bundle(&self, shipped: &Self, inputs: &[TextInput<'_>; 2]) -> Vec<Broken> {
        match (shipped.bundle(inputs), self.bundle(inputs)) {
            (Some(was), Some(is)) => broken(&was, &is, &inputs[0], Some(&inputs[1])),
            (Some(_), None) => vec![Broken::NoBundle],
            (None, _) => Vec::new(),
        }
    }

    /// Judges every answer with each of its slots as wide as can be.
    fn judge_answers(&self, shipped: &Self, language: Language) -> Vec<Broken> {
        let slots = Value::from(answer_values(language, true));
        let say = |wording: &Self, name: &str| {
            gsm7::plain(&wording.say(language, &format!("answers.{name}"), slots.clone()))
        };
        let judged = super::answers::NAMES.iter().flat_map(|name| {
            let (was, is) = (say(shipped, name), say(self, name));
            let sender = if was.starts_with(LONGEST_SENDER) { LONGEST_SENDER } else { "" };
            let replies = rules::reply_words(&was);
            let keep = Keep { sender, replies, ..Keep::default() };
            rules::broken(&is, &keep)
        });
        judged.collect()
    }
}

/// The rules that an own text breaks, where the shipped one shows what is to be kept.
fn broken(
    was: &str,
    is: &str,
    input: &TextInput<'_>,
    other: Option<&TextInput<'_>>,
) -> Vec<Broken> {
    let field = input.fields.first().map(|field| field.name);
    let said = was.to_lowercase();
    let by = |input: &TextInput<'_>| {
        input.act_by.map(|by| dates::day(input.language, by.max(input.today)))
    };
    let deadlines = [Some(input), other].into_iter().flatten().filter_map(by);
    let deadlines = deadlines.map(|day| gsm7::plain(&day)).filter(|day| was.contains(day.as_str()));
    let keep = Keep {
        sender: input.sender,
        field: field.filter(|field| rules::named_early(was, field)),
        deadlines: deadlines.collect(),
        likely: input.provisional && rules::hedges(&said),
        caution: rules::cautions(&said),
        replies: rules::reply_words(was),
    };
    rules::broken(is, &keep)
}

/// Whether two breaches are of one rule, whatever the values they were found with.
fn same_rule(one: &Broken, other: &Broken) -> bool {
    match (one, other) {
        (Broken::Reply(one), Broken::Reply(other)) => one == other,
        _ => std::mem::discriminant(one) == std::mem::discriminant(other),
    }
}

/// Parts of other texts and answers say no more than what they are given, so they say all of it.
fn must_keep_variables(key: &str) -> bool {
    key.starts_with("answers.") || (key.starts_with("frame.") && key != "frame.field")
}

fn table_of(key: &str) -> &str {
    key.rsplit_once('.').map_or(key, |(table, _)| table)
}

/// What an unknown key most likely meant.
fn proposed(key: &str) -> String {
    let known: Vec<String> = required_keys().collect();
    let of_table: Vec<&str> =
        known.iter().map(String::as_str).filter(|one| table_of(one) == table_of(key)).collect();
    let all: Vec<&str> = known.iter().map(String::as_str).collect();
    let near = nearest_word(key, if of_table.is_empty() { &all } else { &of_table });
    near.map_or_else(
        || "`furrowbell wording --templates` lists every key".to_owned(),
        |near| format!("did you mean {near}?"),
    )
}

/// The names after a `|` within the tags of a template, quoted text left aside.
fn filters_in(template: &str) -> Vec<String> {
    let mut filters = Vec::new();
    let tags = template.split('{').skip(1).map(|rest| {
        let inner = rest.strip_prefix('%').unwrap_or(rest);
        inner.split_once('}').map_or(inner, |(tag, _)| tag)
    });
    for tag in tags {
        let unquoted = tag.split(['"', '\'']).step_by(2).collect::<Vec<_>>().join("''");
        filters.extend(unquoted.split('|').skip(1).map(|after| {
            let is_name = |c: char| c.is_alphanumeric() || c == '_';
            after.trim_start().chars().take_while(|c| is_name(*c)).collect::<String>()
        }));
    }
    filters.retain(|filter| !filter.is_empty());
    filters
}
