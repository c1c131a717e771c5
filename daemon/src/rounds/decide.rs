//! Decides who is told what, and when it may go.
//!
//! [`Desk::compose`] reads and decides, [`Desk::decide`] also writes: notices and their text in one
//! transaction. What one person is to be told in one round shares as few texts as stay readable, and
//! these keep their distance. What turned out otherwise than it was told goes first.

use super::Desk;
use super::advance::FieldNow;
use super::known::Known;
use super::timing::after_quiet;
use crate::store::{Closing, Correction, Ending, Identity, Notice, Telling, Text, TextKind};
use crate::wording::gsm7::plain;
use crate::wording::text::{FieldRef, TextInput};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::local::{local_day, start_of_day};
use furrowbell_config::people::{Person, RouteName};
use furrowbell_engine::findings::{Finding, Topic, Urgency};
use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// Why something that a season shows was not sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeldBack {
    /// The person has not agreed to texts.
    NoConsent,
    /// The person sent STOP.
    Stopped,
    /// What the person wrote may be a STOP; somebody decides.
    MaybeStop,
    /// The person was silent for a year and has not said yes since.
    Unanswered,
    /// The number was refused for good.
    NumberGone,
    /// The book has a new number and no new consent.
    NotForNumber,
    /// The daily budget leaves no room before the advice loses its sense.
    NoRoom,
}

/// A finding on its way to one person.
#[derive(Debug, Clone, Copy)]
pub struct Addressed<'a> {
    /// Who.
    pub person: &'a Person,
    /// About which field.
    pub at: &'a FieldNow<'a>,
    /// What.
    pub finding: &'a Finding,
    /// How.
    pub tone: Tone,
}

/// Findings that read the same to one person; at least one.
pub(super) type Group<'a> = Vec<Addressed<'a>>;

/// How a text stands to what was said before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// It tells something new.
    First,
    /// It tells what is so instead.
    Update,
    /// It only takes back what was told.
    Withdrawal,
}

/// What a round would tell, and what it must hold back.
#[derive(Debug, Default)]
pub struct Composed<'a> {
    /// Texts that correct earlier ones and may go now.
    pub corrections: Vec<Correction>,
    /// New notices with their texts.
    pub tellings: Vec<Telling>,
    /// Findings that cannot be sent, with the reason.
    pub held: Vec<(Addressed<'a>, HeldBack)>,
    /// Texts that carry the hint that STOP ends the texts.
    hinted: BTreeSet<String>,
}

/// The least time between two texts to one person, so that a storm over hundreds of fields does not
/// ring all morning.
pub(super) const APART: TimeDelta = TimeDelta::minutes(15);

/// How often a round composes anew what another instance has told in part.
const COMPOSE_TRIES: usize = 3;

impl Addressed<'_> {
    /// What makes it the one.
    pub(super) fn identity(&self) -> Identity {
        Identity {
            field: self.at.field.id.clone(),
            topic: self.finding.topic(),
            occasion: self.finding.occasion,
            version: self.finding.version,
            person: self.person.id.clone(),
        }
    }

    fn zone(&self) -> Tz {
        self.at.farm.zone
    }

    /// When telling it loses its sense.
    pub(super) fn expires_at(&self) -> DateTime<Utc> {
        start_of_day(self.finding.expires, self.zone())
    }

    /// The first moment from `from` on that is not quiet for the person.
    fn earliest(&self, from: DateTime<Utc>) -> DateTime<Utc> {
        let may_wake = self.finding.urgency == Urgency::Urgent && self.person.urgent_at_night;
        if may_wake { from } else { after_quiet(from, self.person.quiet, self.zone()) }
    }
}

impl Desk {
    /// Closes notices that no longer hold, then corrects what was told wrong and tells what is new.
    pub(super) async fn decide(
        &self,
        fields: &[FieldNow<'_>],
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        self.close_what_no_longer_holds(fields, now).await?;
        for _ in 0..COMPOSE_TRIES {
            let composed = self.compose(fields, now).await?;
            let corrected = self.store.correct(&composed.corrections).await?;
            if corrected > 0 {
                tracing::info!(texts = corrected, "corrected");
            }
            let stand = self.store.decide(&composed.tellings).await?;
            let standing = composed.tellings.iter().zip(&stand).filter(|(_, stands)| **stands);
            for text in standing.filter_map(|(telling, _)| telling.text.as_ref()) {
                if composed.hinted.contains(&text.id) {
                    self.store.mark(&hint_mark(&text.person), &text.id, now).await?;
                }
            }
            let told = stand.iter().filter(|stands| **stands).count();
            if told > 0 {
                tracing::info!(texts = told, held_back = composed.held.len(), "decided");
            }
            if told == stand.len() && corrected == composed.corrections.len() {
                break;
            }
        }
        Ok(())
    }

    /// An open notice has lost its sense when its finding is gone or when the person does not grow
    /// the field any more; a text that still waits with nothing else to say is kept back with it.
    async fn close_what_no_longer_holds(
        &self,
        fields: &[FieldNow<'_>],
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        let mut holds = HashSet::new();
        for at in fields {
            for finding in &at.season.findings {
                for person in &at.farm.growers {
                    let field = at.field.id.as_str();
                    holds.insert((field, finding.topic(), finding.occasion, person.as_str()));
                }
            }
        }
        let closing = Closing { ending: Ending::Expired, at: now, by: None };
        for notice in self.store.open_notices().await? {
            let Identity { field, topic, occasion, person, .. } = &notice.identity;
            if !holds.contains(&(field.as_str(), *topic, *occasion, person.as_str())) {
                self.store.withdraw_notice(&notice.id, &closing).await?;
            }
        }
        Ok(())
    }

    /// What is new to somebody as of now; writes nothing.
    pub async fn compose<'a>(
        &'a self,
        fields: &'a [FieldNow<'a>],
        now: DateTime<Utc>,
    ) -> anyhow::Result<Composed<'a>> {
        let known = Known::read(self, now).await?;
        let silenced = self.silenced(now).await?;
        let mut budgets = Budgets::new(self.book.service.sending.routine_texts_per_day);
        let corrections = self.corrections(fields, &known, &silenced, &mut budgets, now).await?;
        let mut composed = Composed { corrections: corrections.go, ..Composed::default() };
        let mut by_person: BTreeMap<&str, Vec<Addressed<'_>>> = BTreeMap::new();
        for addressed in self.addressed(fields) {
            let identity = addressed.identity();
            if known.has(&identity) || corrections.first.contains(&identity) {
                continue;
            }
            if addressed.person.consent.is_none() {
                composed.held.push((addressed, HeldBack::NoConsent));
            } else if let Some(why) = silenced.get(&addressed.person.id) {
                composed.held.push((addressed, *why));
            } else {
                by_person.entry(&addressed.person.id).or_default().push(addressed);
            }
        }
        for addressed in by_person.into_values() {
            let budget = budgets.of(&addressed[0].person.id);
            self.compose_for_one(addressed, now, budget, &mut composed).await?;
        }
        Ok(composed)
    }

    /// Every finding that is worth a text, for every grower of its farm.
    fn addressed<'a>(&'a self, fields: &'a [FieldNow<'a>]) -> impl Iterator<Item = Addressed<'a>> {
        fields.iter().flat_map(move |at| {
            let growers = at.farm.growers.iter().filter_map(|id| self.book.person(id));
            growers.flat_map(move |person| {
                let worth = at.season.findings.iter().filter(|f| f.urgency > Urgency::Digest);
                worth.map(move |finding| Addressed { person, at, finding, tone: Tone::First })
            })
        })
    }

    async fn compose_for_one<'a>(
        &self,
        mut addressed: Vec<Addressed<'a>>,
        now: DateTime<Utc>,
        budget: &mut Budget,
        composed: &mut Composed<'a>,
    ) -> anyhow::Result<()> {
        self.leave_for_another_day(&mut addressed, now, composed).await?;
        addressed.sort_by_key(|one| {
            let finding = one.finding;
            let act_by = finding.act_by.unwrap_or(NaiveDate::MAX);
            let field = one.at.field.id.as_str();
            (std::cmp::Reverse(finding.urgency), act_by, finding.topic(), field)
        });
        let Some(first) = addressed.first() else { return Ok(()) };
        let person = first.person.id.clone();
        let last = self.store.last_due(&person, now - APART).await?;
        budget.next_at = budget.next_at.max(last.map(|last| last + APART));
        let mut hint = self.hint_is_due(&person, now).await?;
        for bundle in self.bundles(addressed, now, hint) {
            let Some(due_at) = self.due_at(bundle[0][0], now, budget).await? else {
                let left = bundle.into_iter().flatten().map(|one| (one, HeldBack::NoRoom));
                composed.held.extend(left);
                continue;
            };
            budget.next_at = Some(due_at + APART);
            let text = self.text_of(&bundle, due_at, now, hint);
            if std::mem::take(&mut hint) {
                composed.hinted.insert(text.id.clone());
            }
            let notices = bundle.iter().flatten().map(|one| self.notice_of(one, now)).collect();
            composed.tellings.push(Telling { notices, text: Some(text) });
        }
        Ok(())
    }

    /// Of one field and topic a person hears once a day, unless it is urgent.
    async fn leave_for_another_day<'a>(
        &self,
        addressed: &mut Vec<Addressed<'a>>,
        now: DateTime<Utc>,
        composed: &mut Composed<'a>,
    ) -> anyhow::Result<()> {
        let mut told_on: HashMap<DateTime<Utc>, HashSet<(String, Topic)>> = HashMap::new();
        for one in std::mem::take(addressed) {
            let day = local_day(one.earliest(now), one.zone());
            let from = start_of_day(day, one.zone());
            if let Entry::Vacant(unread) = told_on.entry(from) {
                let until = start_of_day(day + Days::new(1), one.zone());
                unread.insert(self.store.told_between(&one.person.id, from, until).await?);
            }
            let topic = (one.at.field.id.clone(), one.finding.topic());
            if one.finding.urgency < Urgency::Urgent && told_on[&from].contains(&topic) {
                composed.held.push((one, HeldBack::NoRoom));
            } else {
                addressed.push(one);
            }
        }
        Ok(())
    }

    /// Puts together what one text can tell, the most pressing first: groups that may go at the
    /// same moment, as long as two segments hold them and name every field.
    fn bundles<'a>(
        &self,
        addressed: Vec<Addressed<'a>>,
        now: DateTime<Utc>,
        hint: bool,
    ) -> Vec<Vec<Group<'a>>> {
        let mut bundles: Vec<Vec<Group<'a>>> = Vec::new();
        for group in self.groups(addressed, now, hint) {
            let (at, zone) = (group[0].earliest(now), group[0].zone());
            let takes = |(number, bundle): (usize, &mut Vec<Group<'a>>)| {
                let first = bundle[0][0];
                if (first.earliest(now), first.zone()) != (at, zone) {
                    return false;
                }
                bundle.push(group.clone());
                let fits = self
                    .bundled(bundle, now, hint && number == 0)
                    .is_some_and(|body| names_every_field(&body, bundle.iter().flatten()));
                if !fits {
                    bundle.pop();
                }
                fits
            };
            if !bundles.iter_mut().enumerate().any(takes) {
                bundles.push(vec![group]);
            }
        }
        bundles
    }

    /// Groups findings that read the same, as long as the text can name every field.
    pub(super) fn groups<'a>(
        &self,
        addressed: Vec<Addressed<'a>>,
        now: DateTime<Utc>,
        hint: bool,
    ) -> Vec<Group<'a>> {
        let mut groups: Vec<Group<'a>> = Vec::new();
        let mut open: HashMap<(&str, String, Urgency, Tz), usize> = HashMap::new();
        for one in addressed {
            let nameless = self.body(&[one], Some("#"), now, false);
            let key = (one.person.id.as_str(), nameless, one.finding.urgency, one.zone());
            if let Some(group) = open.get(&key).and_then(|at| groups.get_mut(*at)) {
                group.push(one);
                if names_every_field(&self.body(group, None, now, hint), group.iter()) {
                    continue;
                }
                group.pop();
            }
            open.insert(key, groups.len());
            groups.push(vec![one]);
        }
        groups
    }

    fn body(
        &self,
        group: &[Addressed<'_>],
        nameless: Option<&str>,
        now: DateTime<Utc>,
        stop_hint: bool,
    ) -> String {
        let input = self.input(group, nameless, now, stop_hint);
        match group[0].tone {
            Tone::First | Tone::Update => self.wording.text(&input),
            Tone::Withdrawal => self.wording.withdrawal(&input),
        }
    }

    /// Several groups in one text, if it holds them.
    fn bundled(&self, bundle: &[Group<'_>], now: DateTime<Utc>, stop_hint: bool) -> Option<String> {
        let inputs: Vec<_> =
            bundle.iter().map(|group| self.input(group, None, now, stop_hint)).collect();
        self.wording.bundle(&inputs)
    }

    fn input<'a>(
        &'a self,
        group: &[Addressed<'a>],
        nameless: Option<&'a str>,
        now: DateTime<Utc>,
        stop_hint: bool,
    ) -> TextInput<'a> {
        let Addressed { person, at, finding, tone } = group[0];
        let fields = group.iter().map(|one| {
            let field = FieldRef::of(one.at.field);
            FieldRef { name: nameless.unwrap_or(field.name), ..field }
        });
        TextInput {
            sender: &self.book.service.name,
            language: person.language,
            fields: fields.collect(),
            evidence: &finding.evidence,
            version: finding.version,
            act_by: finding.act_by,
            provisional: finding.provisional,
            today: local_day(now, at.farm.zone),
            stop_hint,
            update: tone == Tone::Update,
        }
    }

    /// An open notice of what is told.
    pub(super) fn notice_of(&self, one: &Addressed<'_>, now: DateTime<Utc>) -> Notice {
        Notice {
            id: self.ids.make(),
            identity: one.identity(),
            urgency: one.finding.urgency,
            act_by: one.finding.act_by,
            expires_at: one.expires_at(),
            provisional: one.finding.provisional,
            evidence: one.finding.evidence.clone(),
            raised_at: now,
            closed: None,
        }
    }

    /// The text that tells one group, or several that it holds.
    pub(super) fn text_of(
        &self,
        bundle: &[Group<'_>],
        due_at: DateTime<Utc>,
        now: DateTime<Utc>,
        hint: bool,
    ) -> Text {
        let Addressed { person, finding, .. } = bundle[0][0];
        let several = (bundle.len() > 1).then(|| self.bundled(bundle, now, hint)).flatten();
        let body = several.unwrap_or_else(|| self.body(&bundle[0], None, now, hint));
        let parts = || bundle.iter().flatten();
        Text {
            id: self.ids.make(),
            kind: TextKind::Notice,
            person: person.id.clone(),
            route: self.route_of(person),
            language: person.language,
            subject: Some(self.wording.topic_name(person.language, finding.topic())),
            body,
            html: None,
            urgency: finding.urgency,
            act_by: parts().filter_map(|one| one.finding.act_by).min(),
            created_at: now,
            due_at,
            expires_at: parts().map(Addressed::expires_at).min().unwrap_or(now),
        }
    }

    /// The first moment at which it may go, apart from the last text; for a routine text the first
    /// at which the budget has room, if that comes in time.
    pub(super) async fn due_at(
        &self,
        one: Addressed<'_>,
        now: DateTime<Utc>,
        budget: &mut Budget,
    ) -> anyhow::Result<Option<DateTime<Utc>>> {
        let zone = one.zone();
        let soonest = one.earliest(now);
        let mut due_at = budget.next_at.map_or(soonest, |next| one.earliest(next.max(now)));
        if one.finding.urgency == Urgency::Urgent {
            // Two texts at once are better than one that comes too late.
            return Ok(Some(if due_at < one.expires_at() { due_at } else { soonest }));
        }
        while due_at < one.expires_at() {
            let day = local_day(due_at, zone);
            let tomorrow = start_of_day(day + Days::new(1), zone);
            if !budget.knows(day) {
                let from = start_of_day(day, zone);
                let taken = self.store.routine_count(&one.person.id, from, tomorrow).await?;
                budget.set(day, taken);
            }
            if budget.take(day) {
                return Ok(Some(due_at));
            }
            due_at = one.earliest(tomorrow);
        }
        Ok(None)
    }

    /// The first of a person's routes that the book has settings for, else the first.
    pub(super) fn route_of(&self, person: &Person) -> RouteName {
        let ready = person.routes.iter().find(|route| self.routes.contains_key(route));
        ready.or(person.routes.first()).copied().unwrap_or(RouteName::Console)
    }

    /// Counted from when a text with the hint went, or is to go; one that never went gave none.
    async fn hint_is_due(&self, person: &str, now: DateTime<Utc>) -> anyhow::Result<bool> {
        let every = TimeDelta::days(self.book.service.sending.stop_hint_every_days.into());
        let last = self.store.last_marked_text(&hint_mark(person)).await?;
        Ok(last.is_none_or(|last| now - last >= every))
    }
}

fn names_every_field<'a>(body: &str, told: impl Iterator<Item = &'a Addressed<'a>>) -> bool {
    names_all(body, told.map(|one| plain(&one.at.field.name)).collect())
}

/// Whether each name has a place of its own in the text; long names are looked for first, since
/// "North 8" stands in "North 80" too.
fn names_all(body: &str, mut names: Vec<String>) -> bool {
    names.sort_by_key(|name| std::cmp::Reverse(name.len()));
    let mut rest = body.to_owned();
    names.iter().all(|name| {
        let found = rest.find(name.as_str());
        if let Some(at) = found {
            rest.replace_range(at..at + name.len(), "\n");
        }
        found.is_some()
    })
}

pub(super) fn hint_mark(person: &str) -> String {
    format!("stop-hint/{person}")
}

/// The daily budgets of everybody.
pub(super) struct Budgets {
    most: u32,
    by_person: HashMap<String, Budget>,
}

impl Budgets {
    fn new(most: u32) -> Self {
        Self { most, by_person: HashMap::new() }
    }

    /// That of one person.
    pub fn of(&mut self, person: &str) -> &mut Budget {
        let budget = Budget { most: self.most, taken: HashMap::new(), next_at: None };
        self.by_person.entry(person.to_owned()).or_insert(budget)
    }
}

/// Routine texts that one person still may get, by local day.
pub(super) struct Budget {
    most: u32,
    taken: HashMap<NaiveDate, u32>,
    /// The first moment that is far enough from the last text.
    pub next_at: Option<DateTime<Utc>>,
}

impl Budget {
    fn knows(&self, day: NaiveDate) -> bool {
        self.taken.contains_key(&day)
    }

    fn set(&mut self, day: NaiveDate, taken: u32) {
        self.taken.insert(day, taken);
    }

    /// Takes one place of the day, if there is one left.
    fn take(&mut self, day: NaiveDate) -> bool {
        let taken = self.taken.entry(day).or_default();
        let room = *taken < self.most;
        if room {
            *taken += 1;
        }
        room
    }
}

#[cfg(test)]
mod tests {
    use super::names_all;

    #[test]
    fn a_name_within_a_name_does_not_count() {
        let names = || vec!["North 8".to_owned(), "North 80".to_owned()];
        assert!(names_all("North 80 and North 8 corn.", names()));
        assert!(!names_all("North 80 and 1 more.", names()));
        assert!(!names_all("North 8 and 1 more.", names()));
    }
}
