//! Says once, to whoever was told on forecast weather, what turned out otherwise.
//!
//! A correction is composed only when it may go at once. Until then what was told is looked at anew
//! every round, so that weather which turns twice overnight wakes nobody.

use super::Desk;
use super::advance::FieldNow;
use super::decide::{APART, Addressed, Budgets, HeldBack, Tone};
use super::known::Known;
use crate::store::{Closing, Corrected, Correction, Course, Ending, Identity, Notice};
use chrono::{DateTime, Utc};
use furrowbell_config::local::local_day;
use furrowbell_config::people::Person;
use furrowbell_engine::findings::{Finding, Topic, Urgency};
use furrowbell_engine::journal::Event;
use furrowbell_engine::told::{self, Stand};
use std::collections::{HashMap, HashSet};

/// Topics of the rain on one pre: when one of them turns out wrong, another says how it is.
const RAIN: [Topic; 3] = [Topic::RainNeeded, Topic::RainSet, Topic::RainLate];

/// A notice that turned out otherwise, and what is to be said instead.
struct Turned<'a> {
    person: &'a Person,
    at: &'a FieldNow<'a>,
    notice: Notice,
    course: Course,
    tone: Tone,
    said: Finding,
    /// Whether what is said was told to nobody before and is a notice of its own.
    first: bool,
}

impl Turned<'_> {
    fn addressed(&self) -> Addressed<'_> {
        Addressed { person: self.person, at: self.at, finding: &self.said, tone: self.tone }
    }

    /// The notice as it reads once this was said.
    fn corrected(&self, text: &str, now: DateTime<Utc>) -> Corrected {
        let mut notice = self.notice.clone();
        let was = notice.evidence.clone();
        if self.course != Course::Gone {
            notice.act_by = self.said.act_by;
            notice.expires_at = self.addressed().expires_at();
            notice.provisional = self.said.provisional;
            notice.evidence = self.said.evidence.clone();
        }
        let identity = &notice.identity;
        let holds = self.course != Course::Gone
            && self.at.season.findings.iter().any(|finding| {
                finding.topic() == identity.topic && finding.occasion == identity.occasion
            });
        let by = Some(text.to_owned());
        notice.closed = (!holds).then_some(Closing { ending: Ending::Expired, at: now, by });
        Corrected { notice, was, course: self.course }
    }
}

/// What a round corrects.
#[derive(Default)]
pub(super) struct Corrections {
    /// Corrections that go now.
    pub go: Vec<Correction>,
    /// What they tell for the first time, or will once they may go.
    pub first: HashSet<Identity>,
}

impl Desk {
    /// What turned out otherwise as of now; writes nothing.
    pub(super) async fn corrections(
        &self,
        fields: &[FieldNow<'_>],
        known: &Known,
        silenced: &HashMap<String, HeldBack>,
        budgets: &mut Budgets,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Corrections> {
        let mut turned = self.turned(fields, known, now).await?;
        turned.retain(|one| one.person.consent.is_some() && !silenced.contains_key(&one.person.id));
        turned.sort_by_key(|one| (std::cmp::Reverse(one.said.urgency), one.said.act_by));
        let mut corrections = Corrections::default();
        let first = turned.iter().filter(|one| one.first);
        corrections.first.extend(first.map(|one| one.addressed().identity()));
        for group in self.groups(turned.iter().map(Turned::addressed).collect(), now, false) {
            let due_at = self.due_at(group[0], now, budgets.of(&group[0].person.id)).await?;
            if due_at.is_none_or(|due_at| due_at > now) {
                continue;
            }
            budgets.of(&group[0].person.id).next_at = Some(now + APART);
            let text = self.text_of(std::slice::from_ref(&group), now, now, false);
            let says = |one: &&Turned<'_>| {
                group.iter().any(|said| std::ptr::eq(said.finding, &raw const one.said))
            };
            let parts: Vec<_> = turned.iter().filter(says).collect();
            let first = parts.iter().filter(|one| one.first);
            corrections.go.push(Correction {
                corrected: parts.iter().map(|one| one.corrected(&text.id, now)).collect(),
                first: first.map(|one| self.notice_of(&one.addressed(), now)).collect(),
                text,
            });
        }
        Ok(corrections)
    }

    async fn turned<'a>(
        &'a self,
        fields: &'a [FieldNow<'a>],
        known: &Known,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Vec<Turned<'a>>> {
        let by_id: HashMap<&str, &FieldNow<'_>> =
            fields.iter().map(|at| (at.field.id.as_str(), at)).collect();
        let of = |notice: &Notice| {
            let Identity { field, topic, person, .. } = &notice.identity;
            let at = *by_id.get(field.as_str())?;
            let grows = at.farm.growers.contains(person) && !is_held(at, *topic);
            Some((at, self.book.person(person).filter(|_| grows)?))
        };
        let mut turned: Vec<Turned<'a>> = Vec::new();
        for notice in self.store.unproven(now).await? {
            let Some((at, person)) = of(&notice) else { continue };
            turned.extend(turn(at, person, &notice, known));
        }
        for notice in &known.taken_back {
            let Some((at, person)) = of(notice) else { continue };
            turned.extend(back(at, person, notice));
        }
        // Two notices of one field may give way to the same finding, which is said once.
        let mut said = HashSet::new();
        turned.retain(|one| !one.first || said.insert(one.addressed().identity()));
        Ok(turned)
    }
}

/// What is to be said of a notice that does not hold.
fn turn<'a>(
    at: &'a FieldNow<'a>,
    person: &'a Person,
    notice: &Notice,
    known: &Known,
) -> Option<Turned<'a>> {
    let told = Finding {
        occasion: notice.identity.occasion,
        version: notice.identity.version,
        urgency: notice.urgency,
        act_by: notice.act_by,
        expires: local_day(notice.expires_at, at.farm.zone),
        provisional: notice.provisional,
        evidence: notice.evidence.clone(),
    };
    let told_on = local_day(notice.raised_at, at.farm.zone);
    let turned = |course, tone, said| Turned {
        person,
        at,
        course,
        tone,
        said,
        first: false,
        notice: notice.clone(),
    };
    match told::stand(&told, told_on, &at.season, at.today) {
        Stand::Holds => None,
        Stand::Moved(said) => {
            let said = Finding { urgency: told.urgency, ..said };
            Some(turned(Course::Moved, Tone::Update, said))
        }
        Stand::Gone => {
            let Some(instead) = instead(at, &told) else {
                return Some(turned(Course::Gone, Tone::Withdrawal, told));
            };
            let mut turned = turned(Course::Gone, Tone::Update, instead.clone());
            turned.first = !known.has(&turned.addressed().identity());
            if !turned.first {
                turned.said.urgency = told.urgency;
            }
            Some(turned)
        }
    }
}

/// The finding that says how it is with the rain instead.
fn instead<'a>(at: &'a FieldNow<'_>, told: &Finding) -> Option<&'a Finding> {
    at.season.findings.iter().find(|finding| {
        finding.occasion == told.occasion
            && finding.topic() != told.topic()
            && finding.urgency > Urgency::Digest
            && RAIN.contains(&finding.topic())
            && RAIN.contains(&told.topic())
    })
}

/// What was taken back and is so after all. A forecast was wrong about it once, so only measured
/// weather counts.
fn back<'a>(at: &'a FieldNow<'a>, person: &'a Person, notice: &Notice) -> Option<Turned<'a>> {
    let identity = &notice.identity;
    let finding = at.season.findings.iter().find(|finding| {
        finding.topic() == identity.topic
            && (finding.occasion, finding.version) == (identity.occasion, identity.version)
            && finding.urgency > Urgency::Digest
            && !finding.provisional
    })?;
    Some(Turned {
        person,
        at,
        notice: notice.clone(),
        course: Course::Back,
        tone: Tone::Update,
        said: finding.clone(),
        first: false,
    })
}

/// Whether the grower asked not to hear of the topic now.
fn is_held(at: &FieldNow<'_>, about: Topic) -> bool {
    at.entries.iter().any(|entry| match entry.event {
        Event::Hold { topic, until } => {
            entry.date <= at.today && until > at.today && topic.is_none_or(|topic| topic == about)
        }
        _ => false,
    })
}
