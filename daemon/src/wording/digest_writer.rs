//! Puts what a digest says into words, section by section.

use super::digest::{
    Call, DigestInput, Due, FieldClocks, FieldLine, ForecastAge, HeldWhy, RecordLine, ReplyFrom,
    SentState, WarningLine,
};
use super::digest_view::{Column, Entry, Line, Section, Strip, View};
use super::text::{FieldRef, TextInput};
use super::{Wording, dates, facts, fold, strip};
use chrono::{Datelike, NaiveDate, NaiveDateTime, TimeDelta};
use furrowbell_config::Fault;
use furrowbell_engine::findings::{Evidence, Topic};
use minijinja::{Value, context};
use std::collections::{BTreeMap, BTreeSet};

/// Days that "this week" reaches.
const WEEK_DAYS: i64 = 7;
/// Characters of a subject before mail programs cut it.
const SUBJECT: usize = 60;

/// Most places in the book's own wording that a digest names.
const UNUSED_PLACES: usize = 4;
/// Most fields of one farm that a warning names.
const WARNED_FIELDS: usize = 6;

/// Every wording the digest needs.
pub(super) const NAMES: [&str; 83] = [
    "title",
    "hello",
    "summary",
    "weather",
    "provisional",
    "call_heading",
    "call_empty",
    "warnings_heading",
    "warnings_late",
    "warning",
    "warning_when",
    "warning_fields",
    "due_heading",
    "due_empty",
    "sent_heading",
    "sent_empty",
    "held_heading",
    "held_empty",
    "replies_heading",
    "reply",
    "maybe_stop",
    "unknown_sender",
    "expired_heading",
    "unknown_heading",
    "unknown_empty",
    "fields_heading",
    "fields_empty",
    "item",
    "at_farm",
    "as_above",
    "likely",
    "by",
    "no_weather",
    "field",
    "stale",
    "no_facts",
    "pre",
    "pre_dry",
    "pre_set",
    "residual",
    "post",
    "post_late",
    "post_done",
    "sidedress",
    "sidedress_late",
    "sidedress_done",
    "waiting",
    "sent",
    "delivered",
    "failed",
    "unsure",
    "replied",
    "quiet_hours",
    "daily_budget",
    "no_consent",
    "stopped",
    "on_hold",
    "no_route",
    "subject",
    "subject_first",
    "subject_field",
    "subject_name",
    "decide_heading",
    "maybe_stop_held",
    "unanswered",
    "number_gone",
    "not_for_number",
    "strip_late",
    "strip_legend",
    "strip_alt",
    "window_post",
    "window_sidedress",
    "window_residual",
    "window_details",
    "leave_ask",
    "leave_button",
    "left",
    "return_button",
    "returned",
    "unused_words",
    "records_heading",
    "record",
    "record_late",
];
/// What that wording may use.
pub(super) const VARIABLES: [&str; 20] = [
    "sender", "date", "name", "calls", "due", "hours", "fields", "topic", "farm", "field", "crop",
    "stage", "days", "rain", "subject", "by", "time", "words", "ends", "unknown",
];

/// Findings of one farm that read alike, told together.
struct Group<'a> {
    first: &'a Due,
    fields: Vec<&'a str>,
    evidence: String,
}

impl Group<'_> {
    fn topic(&self) -> Topic {
        self.first.evidence.topic()
    }
}

/// Words one digest.
pub(super) struct Writer<'a> {
    pub wording: &'a Wording,
    pub input: &'a DigestInput,
}

impl Writer<'_> {
    fn say(&self, key: &str, slots: Value) -> String {
        self.wording.say(self.input.language, &format!("digest.{key}"), slots)
    }

    fn plain(&self, key: &str) -> String {
        self.say(key, context! {})
    }

    fn day(&self, date: NaiveDate) -> String {
        dates::day(self.input.language, date)
    }

    fn topic(&self, topic: Topic) -> String {
        self.wording.topic_name(self.input.language, topic)
    }

    fn names(&self, names: &[&str]) -> String {
        self.wording.listed(self.input.language, names, names.len())
    }

    /// All that both layouts show.
    pub fn view(&self) -> View {
        let input = self.input;
        let hello = self.say("hello", context! { name => input.advisor.as_str() });
        let slots = context! { calls => input.calls.len(), due => self.due_this_week().count() };
        let mut notes = match input.forecast {
            ForecastAge::NoSource => Vec::new(),
            ForecastAge::NoneYet => vec![self.say("weather", context! { hours => "" })],
            ForecastAge::Hours(hours) => {
                vec![self.say("weather", context! { hours => hours.to_string() })]
            }
        };
        notes.extend(
            input
                .warnings_late
                .map(|hours| self.say("warnings_late", context! { hours => hours.to_string() })),
        );
        notes.extend(self.unused_words());
        if self.shows_likely() {
            notes.push(self.plain("provisional"));
        }
        notes.extend(input.credits.iter().map(ToString::to_string));
        let sections = [
            Some(self.section("call", self.calls())),
            self.section_unless_empty("warnings", self.warnings()),
            self.section_unless_empty("replies", self.replies()),
            self.section_unless_empty("decide", self.undecided()),
            Some(Section { strip: self.strip(), ..self.section("due", self.due()) }),
            Some(self.section("sent", self.sent())),
            Some(self.section("held", self.held_back())),
            self.section_unless_empty("expired", self.expired()),
            Some(self.section("unknown", self.unknown())),
            self.section_unless_empty("records", self.records()),
            Some(self.section("fields", self.fields())),
        ];
        View {
            language: input.language.code(),
            title: self.say(
                "title",
                context! { sender => input.sender.as_str(), date => self.day(input.date) },
            ),
            lead: format!("{hello} {}", self.say("summary", slots)),
            notes,
            sections: sections.into_iter().flatten().collect(),
        }
    }

    /// Where the book's own texts are that are not used.
    fn unused_words(&self) -> Option<String> {
        let place = |fault: &Fault| {
            let file = fault.file.file_name().unwrap_or_default().to_string_lossy();
            format!("{file}:{}", fault.line)
        };
        let places: Vec<String> = self.wording.unused().iter().map(place).collect();
        let places: Vec<&str> = places.iter().map(String::as_str).collect();
        let words = self.wording.listed(self.input.language, &places, UNUSED_PLACES);
        (!places.is_empty()).then(|| self.say("unused_words", context! { words }))
    }

    fn section(&self, name: &str, entries: Vec<Entry>) -> Section {
        let heading = self.plain(&format!("{name}_heading"));
        Section { heading, empty: self.plain(&format!("{name}_empty")), entries, strip: None }
    }

    fn section_unless_empty(&self, name: &str, entries: Vec<Entry>) -> Option<Section> {
        let heading = self.plain(&format!("{name}_heading"));
        (!entries.is_empty()).then(|| Section {
            heading,
            empty: String::new(),
            entries,
            strip: None,
        })
    }

    fn shows_likely(&self) -> bool {
        let mut called = self.input.calls.iter().flat_map(|call| &call.why);
        called.any(|due| due.provisional) || self.due_this_week().any(|due| due.provisional)
    }

    /// Calls, most pressing first; equals stay in the order given.
    fn ranked(&self) -> Vec<&Call> {
        let mut calls: Vec<&Call> = self.input.calls.iter().collect();
        calls.sort_by(|one, other| other.score.total_cmp(&one.score));
        calls
    }

    fn calls(&self) -> Vec<Entry> {
        let ranked = self.ranked();
        let entry = |(at, call): (usize, &&Call)| Entry {
            head: format!("{}. {}", at + 1, call.grower),
            phone: call.phone.clone(),
            lines: match ranked[..at].iter().find(|earlier| covers(earlier, call)) {
                Some(earlier) => vec![self.as_above(call, earlier)],
                None => {
                    self.grouped(&call.why).into_iter().map(|group| self.reason(group)).collect()
                }
            },
        };
        ranked.iter().enumerate().map(entry).collect()
    }

    /// Two people of one farm are called about the same things; they are told once.
    fn as_above(&self, call: &Call, earlier: &Call) -> Line {
        let mut fields: Vec<&str> = Vec::new();
        for due in &call.why {
            if !fields.contains(&due.field.as_str()) {
                fields.push(&due.field);
            }
        }
        let slots = context! { fields => self.names(&fields), name => earlier.grower.as_str() };
        Line { what: sentence(&self.say("as_above", slots)), more: String::new() }
    }

    fn warnings(&self) -> Vec<Entry> {
        let when = |at: Option<NaiveDateTime>| {
            let said = at.map(|at| {
                let time = dates::time(self.input.language, at.time());
                self.say("warning_when", context! { date => self.day(at.date()), time })
            });
            said.unwrap_or_default()
        };
        let entry = |warning: &WarningLine| {
            let mut farms: Vec<(&str, Vec<&str>)> = Vec::new();
            for (farm, field) in &warning.fields {
                match farms.iter_mut().find(|(known, _)| known == farm) {
                    Some((_, fields)) => fields.push(field),
                    None => farms.push((farm, vec![field])),
                }
            }
            let line = |(farm, fields): (&str, Vec<&str>)| {
                let fields = self.wording.listed(self.input.language, &fields, WARNED_FIELDS);
                let what = self.say("warning_fields", context! { farm, fields });
                Line { what, more: String::new() }
            };
            let (date, by) = (when(warning.from), when(warning.until));
            Entry {
                head: self.say("warning", context! { topic => warning.event.as_str(), date, by }),
                phone: None,
                lines: farms.into_iter().map(line).collect(),
            }
        };
        self.input.warnings.iter().map(entry).collect()
    }

    fn replies(&self) -> Vec<Entry> {
        let mut entries: Vec<Entry> = Vec::new();
        for reply in &self.input.replies {
            let (head, phone) = match &reply.from {
                ReplyFrom::Person { name, phone } => (name.clone(), phone.clone()),
                ReplyFrom::Unknown { ends } => {
                    (self.say("unknown_sender", context! { ends => ends.as_str() }), None)
                }
            };
            let words = reply.words.split_whitespace().collect::<Vec<_>>().join(" ");
            let slots = context! {
                date => self.day(reply.at.date()),
                time => dates::time(self.input.language, reply.at.time()),
                words,
            };
            let what = self.say("reply", slots);
            let more =
                if reply.maybe_stop { sentence(&self.plain("maybe_stop")) } else { String::new() };
            let line = Line { what, more };
            match entries.iter_mut().find(|entry| entry.head == head && entry.phone == phone) {
                Some(entry) => entry.lines.push(line),
                None => entries.push(Entry { head, phone, lines: vec![line] }),
            }
        }
        entries
    }

    fn reason(&self, group: Group<'_>) -> Line {
        let mut what = self.about("item", &group);
        if let Some(date) = group.first.act_by {
            what.push_str(&self.say("by", context! { date => self.day(date) }));
        }
        Line { what, more: group.evidence }
    }

    fn due_this_week(&self) -> impl Iterator<Item = &Due> {
        let last = self.input.date + TimeDelta::days(WEEK_DAYS);
        self.input.due.iter().filter(move |due| due.act_by.is_some_and(|date| date <= last))
    }

    /// What is due this week, day by day, as a picture.
    fn strip(&self) -> Option<Strip> {
        let due: Vec<&Due> = self.due_this_week().collect();
        let mut strip = strip::of(self.input, &due, WEEK_DAYS, |date| match date {
            None => self.plain("strip_late"),
            Some(date) => {
                format!("{} {}", dates::weekday(self.input.language, date), date.day())
            }
        })?;
        let counted =
            |column: &Column| Some(format!("{} {}", column.label, column.count.as_ref()?));
        let days: Vec<String> = strip.columns.iter().filter_map(counted).collect();
        strip.alt = self.say("strip_alt", context! { days => days.join(", ") });
        strip.legend = self.plain("strip_legend");
        Some(strip)
    }

    fn due(&self) -> Vec<Entry> {
        let called: BTreeSet<_> =
            self.input.calls.iter().flat_map(|call| &call.why).map(subject).collect();
        // What a call was explained with is not told twice.
        let more = |group: Group<'_>| {
            let told = |field| called.contains(&(group.first.farm.as_str(), field, group.topic()));
            if group.fields.iter().copied().all(told) { String::new() } else { group.evidence }
        };
        let mut by_day: BTreeMap<NaiveDate, Vec<&Due>> = BTreeMap::new();
        for due in self.due_this_week() {
            by_day.entry(due.act_by.unwrap_or(self.input.date)).or_default().push(due);
        }
        by_day
            .into_iter()
            .map(|(date, due)| Entry {
                head: self.day(date),
                phone: None,
                lines: self
                    .grouped(due)
                    .into_iter()
                    .map(|group| Line { what: self.about("at_farm", &group), more: more(group) })
                    .collect(),
            })
            .collect()
    }

    fn about(&self, key: &str, group: &Group<'_>) -> String {
        let mut what = self.say(
            key,
            context! {
                fields => self.names(&group.fields),
                farm => group.first.farm.as_str(),
                topic => self.topic(group.topic()),
            },
        );
        if group.first.provisional {
            what.push_str(&self.plain("likely"));
        }
        what
    }

    /// Puts findings together that differ in the field only, in the order of their first.
    fn grouped<'d>(&self, dues: impl IntoIterator<Item = &'d Due>) -> Vec<Group<'d>> {
        let mut groups: Vec<Group<'d>> = Vec::new();
        for due in dues {
            let evidence = self.evidence(due);
            let alike = groups.iter_mut().find(|group| {
                group.evidence == evidence
                    && group.first.farm == due.farm
                    && group.topic() == due.evidence.topic()
                    && group.first.act_by == due.act_by
                    && group.first.provisional == due.provisional
            });
            match alike {
                Some(group) => group.fields.push(&due.field),
                None => groups.push(Group { first: due, fields: vec![&due.field], evidence }),
            }
        }
        groups
    }

    fn evidence(&self, due: &Due) -> String {
        let mut input = self.line_of(&due.field, due.crop_is_corn, &due.evidence);
        input.version = due.version;
        input.act_by = due.act_by;
        input.provisional = due.provisional;
        sentence(&self.wording.line(&input))
    }

    /// What one finding of one field is told from.
    fn line_of<'a>(
        &'a self,
        field: &'a str,
        crop_is_corn: bool,
        evidence: &'a Evidence,
    ) -> TextInput<'a> {
        TextInput {
            sender: &self.input.sender,
            language: self.input.language,
            fields: vec![FieldRef { name: field, crop_is_corn }],
            evidence,
            version: 1,
            act_by: None,
            provisional: true,
            today: self.input.date,
            stop_hint: false,
            update: false,
        }
    }

    fn sent(&self) -> Vec<Entry> {
        by_person(self.input.sent.iter().map(|line| {
            let state = match line.state {
                SentState::Waiting => "waiting",
                SentState::Sent => "sent",
                SentState::Delivered => "delivered",
                SentState::Failed => "failed",
                SentState::Unsure => "unsure",
            };
            let mut more = self.plain(state);
            if line.replied {
                more.push_str(&self.plain("replied"));
            }
            (line.to.as_str(), self.text_about(&line.fields, line.topic, &more))
        }))
    }

    fn held_back(&self) -> Vec<Entry> {
        by_person(self.input.held_back.iter().map(|line| {
            let why = self.plain(held_why(line.why));
            (line.to.as_str(), self.text_about(&line.fields, line.topic, &why))
        }))
    }

    fn undecided(&self) -> Vec<Entry> {
        by_person(self.input.undecided.iter().map(|(name, why)| {
            let what = sentence(&self.plain(held_why(*why)));
            (name.as_str(), Line { what, more: String::new() })
        }))
    }

    fn expired(&self) -> Vec<Entry> {
        by_person(
            self.input
                .expired
                .iter()
                .map(|line| (line.to.as_str(), self.text_about(&line.fields, line.topic, ""))),
        )
    }

    fn text_about(&self, fields: &[String], topic: Topic, more: &str) -> Line {
        let fields: Vec<&str> = fields.iter().map(String::as_str).collect();
        let slots = context! { fields => self.names(&fields), topic => self.topic(topic) };
        Line { what: self.say("item", slots), more: sentence(more) }
    }

    fn unknown(&self) -> Vec<Entry> {
        by_person(self.input.unknown.iter().map(|line| {
            let slots = context! { date => self.day(line.since) };
            let more = sentence(&self.say("no_weather", slots));
            (line.farm.as_str(), Line { what: line.field.clone(), more })
        }))
    }

    fn records(&self) -> Vec<Entry> {
        let language = self.input.language;
        let line = |record: &RecordLine| {
            let missing: Vec<String> =
                record.missing.iter().map(|item| self.wording.item_name(language, *item)).collect();
            let is_late = record.due < self.input.date;
            let slots = context! {
                field => record.field.as_str(),
                topic => self.wording.pass_name(language, record.pass),
                date => self.day(record.date),
                words => missing.join(", "),
                by => self.day(record.due),
            };
            let key = if is_late { "record_late" } else { "record" };
            Line { what: self.say(key, slots), more: String::new() }
        };
        by_person(self.input.records.iter().map(|record| (record.farm.as_str(), line(record))))
    }

    fn fields(&self) -> Vec<Entry> {
        self.input
            .farms
            .iter()
            .map(|farm| Entry {
                head: farm.name.clone(),
                phone: None,
                lines: farm.fields.iter().map(|field| self.field(field)).collect(),
            })
            .collect()
    }

    fn field(&self, field: &FieldLine) -> Line {
        let crop = if field.crop_is_corn { "crops.corn" } else { "crops.soybean" };
        let crop = self.wording.say(self.input.language, crop, context! {});
        let stage = field.stage.map(|stage| stage.to_string()).unwrap_or_default();
        let what = self.say("field", context! { field => field.name.as_str(), crop, stage });
        let mut said = self.clocks(&field.clocks);
        if let Some(since) = field.stale_since {
            said.insert(0, self.say("stale", context! { date => self.day(since) }));
        }
        said.extend(field.seedbed.as_ref().map(|seedbed| self.seedbed(field, seedbed)));
        if said.is_empty() {
            said.push(self.plain("no_facts"));
        }
        Line { what, more: sentence(&said.join("; ")) }
    }

    fn seedbed(&self, field: &FieldLine, evidence: &Evidence) -> String {
        let line = self.wording.line(&self.line_of(&field.name, field.crop_is_corn, evidence));
        format!("{} {line}", self.topic(evidence.topic()))
    }

    /// The pre matters until the post pass is on or its window has closed, the count of its rain
    /// until it is set.
    fn clocks(&self, clocks: &FieldClocks) -> Vec<String> {
        let today = self.input.date;
        let dated = |key: &str, date: NaiveDate| {
            self.say(key, context! { date => dates::month_day(self.input.language, date) })
        };
        let due = |key: &str, late: &str, date| dated(if date < today { late } else { key }, date);
        let is_behind =
            clocks.post_on.is_some() || clocks.post_closes.is_some_and(|date| date < today);
        let pre = match clocks.pre_set_on {
            _ if is_behind => None,
            Some(date) => Some(dated("pre_set", date)),
            None => clocks.pre_on.map(|on| self.waiting_pre(on, clocks)),
        };
        let ends = clocks.residual_ends.filter(|_| !is_behind).or(clocks.renewed_ends);
        let post = clocks
            .post_on
            .map(|date| dated("post_done", date))
            .or_else(|| clocks.post_closes.map(|date| due("post", "post_late", date)));
        let next_post = clocks.next_post_closes.map(|date| due("post", "post_late", date));
        let sidedress = clocks
            .sidedress_on
            .map(|date| dated("sidedress_done", date))
            .or_else(|| clocks.sidedress_by.map(|date| due("sidedress", "sidedress_late", date)));
        let residual = ends.filter(|date| *date >= today).map(|date| dated("residual", date));
        [pre, residual, post, next_post, sidedress].into_iter().flatten().collect()
    }

    fn waiting_pre(&self, on: NaiveDate, clocks: &FieldClocks) -> String {
        let count =
            |count: i64| self.wording.say(self.input.language, "frame.days", context! { count });
        let days = count((self.input.date - on).num_days().max(0));
        let unknown = Some(clocks.rain_unknown_days).filter(|days| *days > 0);
        let unknown = unknown.map(|days| count(days.into())).unwrap_or_default();
        let rain = clocks.rain_since_pre_in.map(facts::rain);
        let key = if rain.as_deref() == Some("") { "pre_dry" } else { "pre" };
        self.say(key, context! { days, unknown, rain => rain.unwrap_or_default() })
    }

    /// Date and counts, then as much of the worst item as the subject has room for.
    pub fn subject(&self) -> String {
        let (calls, due) = (self.input.calls.len(), self.due_this_week().count());
        let date = self.day(self.input.date);
        let counts = self.say("subject", context! { date, calls, due });
        let worst = self.ranked().first().and_then(|call| Some((*call, call.why.first()?)));
        let fuller = worst.into_iter().flat_map(|(call, why)| {
            let slots = context! {
                subject => counts.as_str(),
                name => call.grower.as_str(),
                field => why.field.as_str(),
                topic => self.topic(why.evidence.topic()),
            };
            ["subject_first", "subject_field", "subject_name"]
                .map(|key| self.say(key, slots.clone()))
        });
        fuller
            .map(|subject| fold::ascii(&subject))
            .find(|subject| subject.len() <= SUBJECT)
            .unwrap_or_else(|| fold::ascii(&counts))
    }
}

/// The wording of a reason.
const fn held_why(why: HeldWhy) -> &'static str {
    match why {
        HeldWhy::QuietHours => "quiet_hours",
        HeldWhy::DailyBudget => "daily_budget",
        HeldWhy::NoConsent => "no_consent",
        HeldWhy::Stopped => "stopped",
        HeldWhy::OnHold => "on_hold",
        HeldWhy::NoRoute => "no_route",
        HeldWhy::MaybeStop => "maybe_stop_held",
        HeldWhy::Unanswered => "unanswered",
        HeldWhy::NumberGone => "number_gone",
        HeldWhy::NotForNumber => "not_for_number",
    }
}

/// What tells one finding from another: farm, field and topic.
pub(super) fn subject(due: &Due) -> (&str, &str, Topic) {
    (&due.farm, &due.field, due.evidence.topic())
}

/// Whether a call speaks of all that another one is about.
fn covers(call: &Call, other: &Call) -> bool {
    other.why.iter().all(|due| call.why.iter().any(|told| subject(told) == subject(due)))
}

/// Puts lines of one person (or farm) together, in the order of their first.
fn by_person<'a>(lines: impl Iterator<Item = (&'a str, Line)>) -> Vec<Entry> {
    let mut entries: Vec<Entry> = Vec::new();
    for (person, line) in lines {
        match entries.iter_mut().find(|entry| entry.head == person) {
            Some(entry) => entry.lines.push(line),
            None => {
                entries.push(Entry { head: person.to_owned(), phone: None, lines: vec![line] });
            }
        }
    }
    entries
}

/// The phrase as a sentence: a capital first, a stop last.
fn sentence(phrase: &str) -> String {
    let mut letters = phrase.chars();
    match letters.next() {
        Some(first) => first
            .to_uppercase()
            .chain(letters)
            .chain((!phrase.ends_with('.')).then_some('.'))
            .collect(),
        None => String::new(),
    }
}
