//! Consent with its proof: what the book says goes into the ledger, a number is welcomed before it
//! is told anything, long silence is asked about, a number that takes no texts is left alone.

use super::Desk;
use super::decide::{HeldBack, hint_mark};
use super::timing::after_quiet;
use crate::store::{Consent, ConsentState, Queued, Settlement, Text, TextKind, TextState};
use crate::wording::answers::Answer;
use chrono::{DateTime, Months, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::Book;
use furrowbell_config::local::{local_day, start_of_day};
use furrowbell_config::people::{Person, Role, RouteName};
use furrowbell_engine::findings::Urgency;
use std::collections::HashMap;

/// Numbers are given to others: after so long without a word from a person, consent is asked anew.
const LONGEST_SILENCE: Months = Months::new(12);
/// How long a welcome and a question may wait for their way.
const STANDS: TimeDelta = TimeDelta::days(30);
/// How soon a text looks again whether the welcome before it has gone.
const AFTER_WELCOME: TimeDelta = TimeDelta::seconds(5);

/// What the book adds to the ledger of a person's number or address.
enum Entry {
    /// Consent with a day that is new for it.
    Agreed,
    /// A number that no consent was given for.
    Unproven,
}

/// Where a person is reached; the console is no address.
fn addresses(person: &Person) -> impl Iterator<Item = (RouteName, &str)> {
    let outside = person.routes.iter().filter(|route| **route != RouteName::Console);
    outside.filter_map(|route| Some((*route, person.address(*route)?)))
}

/// What the book says of this address that the ledger lacks.
fn entry(
    ledger: &[Consent],
    person: &Person,
    (route, address): (RouteName, &str),
    zone: Tz,
    today: NaiveDate,
) -> Option<Entry> {
    let date = person.consent.as_ref()?.date;
    if date > today {
        return None;
    }
    let alike = |other: RouteName| other == route || (other.is_by_phone() && route.is_by_phone());
    let own =
        || ledger.iter().filter(|line| line.person == person.id && line.route.is_some_and(alike));
    let of_that_day = || {
        own().filter(|line| line.state == ConsentState::Agreed && local_day(line.at, zone) == date)
    };
    let here = |line: &Consent| line.address.as_deref() == Some(address);
    if of_that_day().any(here) {
        return None;
    }
    if of_that_day().next().is_none() {
        return Some(Entry::Agreed);
    }
    let noted = own().any(|line| line.state == ConsentState::Unproven && here(line));
    (!noted).then_some(Entry::Unproven)
}

/// Whether consent stands for the number that the book names; other ways need no number.
fn stands(book: &Book, ledger: &[Consent], person: &Person, now: DateTime<Utc>) -> bool {
    let Some((route, phone)) = addresses(person).find(|(route, _)| route.is_by_phone()) else {
        return true;
    };
    let said = |line: &Consent| {
        line.person == person.id && line.state.allows() && line.address.as_deref() == Some(phone)
    };
    let zone = zone(book, person);
    ledger.iter().any(said)
        || matches!(
            entry(ledger, person, (route, phone), zone, local_day(now, zone)),
            Some(Entry::Agreed)
        )
}

/// People who agreed by the book, but not to texts to the number that stands there now.
pub fn unproven<'a>(book: &'a Book, ledger: &[Consent], now: DateTime<Utc>) -> Vec<&'a Person> {
    let lacks = |person: &&Person| person.consent.is_some() && !stands(book, ledger, person, now);
    book.people.iter().filter(lacks).collect()
}

/// The zone of a person's farm; an advisor's is that of the desk.
pub(super) fn zone(book: &Book, person: &Person) -> Tz {
    let farm = book.farms.iter().find(|farm| farm.growers.contains(&person.id));
    farm.map_or(person.zone.unwrap_or(book.service.zone), |farm| farm.zone)
}

impl Desk {
    /// Writes down what the book says of consent, each thing once.
    pub(super) async fn keep_book_consent(&self, now: DateTime<Utc>) -> anyhow::Result<()> {
        let ledger = self.store.ledger().await?;
        for person in &self.book.people {
            self.keep_consent_of(person, &ledger, now).await?;
        }
        Ok(())
    }

    async fn keep_consent_of(
        &self,
        person: &Person,
        ledger: &[Consent],
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        let Some(consent) = &person.consent else { return Ok(()) };
        let zone = zone(&self.book, person);
        for (route, address) in addresses(person) {
            let entry = entry(ledger, person, (route, address), zone, local_day(now, zone));
            let Some(entry) = entry else { continue };
            let (state, at) = match entry {
                Entry::Agreed => (ConsentState::Agreed, start_of_day(consent.date, zone)),
                Entry::Unproven => {
                    tracing::warn!(person = person.id, "the number changed, the consent did not");
                    (ConsentState::Unproven, now)
                }
            };
            let line = Consent {
                id: self.ids.make(),
                person: person.id.clone(),
                state,
                at,
                recorded_at: now,
                how: "book".to_owned(),
                wording: consent.wording.clone(),
                route: Some(route),
                address: Some(address.to_owned()),
                decided_by: None,
            };
            let key = format!("{}/{}/{}/{address}", state.name(), person.id, consent.date);
            self.store.note_consent(&line, &key).await?;
        }
        Ok(())
    }

    /// Why nothing goes to whom, by person.
    pub async fn silenced(&self, now: DateTime<Utc>) -> anyhow::Result<HashMap<String, HeldBack>> {
        let ledger = self.store.ledger().await?;
        let mut silenced: HashMap<String, HeldBack> = unproven(&self.book, &ledger, now)
            .into_iter()
            .filter(|person| self.route_of(person).is_by_phone())
            .map(|person| (person.id.clone(), HeldBack::NotForNumber))
            .collect();
        for block in self.store.consent_blocks().await? {
            let route = self.book.person(&block.person).map(|person| self.route_of(person));
            let why = match block.state {
                ConsentState::Stop => HeldBack::Stopped,
                ConsentState::Hold => HeldBack::MaybeStop,
                ConsentState::Gone if block.route == route => HeldBack::NumberGone,
                ConsentState::Asked => HeldBack::Unanswered,
                _ => continue,
            };
            silenced.insert(block.person, why);
        }
        Ok(silenced)
    }

    /// Why a claimed notice does not go to its number yet, or at all.
    pub(super) async fn consent_look(
        &self,
        queued: &Queued,
        person: &Person,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<Settlement>> {
        let text = &queued.text;
        let Some(phone) = person.phone.as_deref().filter(|_| text.route.is_by_phone()) else {
            return Ok(None);
        };
        if !self.store.has_agreed(&person.id, phone).await? {
            // The book may have been read again a moment ago.
            self.keep_consent_of(person, &self.store.ledger().await?, now).await?;
            if !self.store.has_agreed(&person.id, phone).await? {
                let why = "the person has not agreed to texts to this number".to_owned();
                return Ok(Some(Settlement::Held { why }));
            }
        }
        if self.store.is_of_consent(&text.id).await? {
            return Ok(None);
        }
        let waits = match self.store.welcome(&person.id, phone).await? {
            None => {
                self.welcome(person, phone, text.urgency, now).await?;
                true
            }
            Some(welcome) => matches!(welcome.state, TextState::Waiting | TextState::Sending),
        };
        Ok(waits.then(|| Settlement::Untried { due_at: now + AFTER_WELCOME }))
    }

    /// Queues the first text to a number; as urgent as what waits behind it.
    async fn welcome(
        &self,
        person: &Person,
        phone: &str,
        urgency: Urgency,
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        let most = self.book.service.sending.routine_texts_per_day;
        let text = self.text_of_consent(person, &Answer::Welcome { most }, urgency, now);
        if self.store.greet(&text, phone).await? {
            self.store.mark(&hint_mark(&person.id), &text.id, now).await?;
        }
        Ok(())
    }

    /// Asks everybody who gets texts and has not been heard of for long, once a silence.
    pub(super) async fn ask_the_silent(&self, now: DateTime<Utc>) -> anyhow::Result<()> {
        let blocked = self.silenced(now).await?;
        let written: HashMap<String, DateTime<Utc>> =
            self.store.last_written().await?.into_iter().collect();
        let ledger = self.store.ledger().await?;
        for person in &self.book.people {
            let route = self.route_of(person);
            let phone = person.phone.as_deref().filter(|_| route.is_by_phone());
            let Some(phone) = phone else { continue };
            if person.role == Role::Advisor
                || person.consent.is_none()
                || blocked.contains_key(&person.id)
            {
                continue;
            }
            let allowed =
                ledger.iter().filter(|line| line.person == person.id && line.state.allows());
            let heard = allowed.map(|line| line.at).chain(written.get(phone).copied()).max();
            let Some(heard) = heard.map(|at| local_day(at, zone(&self.book, person))) else {
                continue;
            };
            let today = local_day(now, zone(&self.book, person));
            if heard.checked_add_months(LONGEST_SILENCE).is_none_or(|due| today < due) {
                continue;
            }
            let text = self.text_of_consent(person, &Answer::Keep, Urgency::Routine, now);
            let line = Consent {
                id: self.ids.make(),
                person: person.id.clone(),
                state: ConsentState::Asked,
                at: now,
                recorded_at: now,
                how: "service".to_owned(),
                wording: text.body.clone(),
                route: Some(route),
                address: Some(phone.to_owned()),
                decided_by: None,
            };
            let key = format!("asked/{}/{heard}", person.id);
            if self.store.ask_anew(&line, &key, &text).await? {
                tracing::info!(person = person.id, "asked anew after a long silence");
            }
        }
        Ok(())
    }

    /// Leaves a number alone that the route refused for good, and tells the advisor. A route that
    /// has never taken a text is the more likely culprit itself.
    pub(super) async fn leave_alone(
        &self,
        refused: &Text,
        why: &str,
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        let Some(person) = self.book.person(&refused.person) else { return Ok(()) };
        let Some(phone) = person.phone.as_deref().filter(|_| refused.route.is_by_phone()) else {
            return Ok(());
        };
        if !self.store.has_taken(refused.route).await? {
            return Ok(());
        }
        let line = Consent {
            id: self.ids.make(),
            person: person.id.clone(),
            state: ConsentState::Gone,
            at: now,
            recorded_at: now,
            how: "route".to_owned(),
            wording: why.to_owned(),
            route: Some(refused.route),
            address: Some(phone.to_owned()),
            decided_by: None,
        };
        let known = self.silenced(now).await?.get(&person.id) == Some(&HeldBack::NumberGone);
        if known || !self.store.note_consent(&line, &format!("gone/{}", refused.id)).await? {
            return Ok(());
        }
        tracing::warn!(person = person.id, "the number takes no texts; nothing more goes there");
        let farms = self.fields_of(person);
        let advisor = farms
            .iter()
            .flat_map(|(farm, _)| &farm.advisors)
            .filter_map(|id| self.book.person(id))
            .find(|advisor| advisor.id != person.id);
        if let Some(advisor) = advisor {
            let said = Answer::NumberGone { name: &person.name };
            let text = self.text_of_consent(advisor, &said, Urgency::Urgent, now);
            self.store.tell_advisor(&Text { kind: TextKind::Digest, ..text }).await?;
        }
        Ok(())
    }

    /// A text about texts, outside of the person's quiet hours.
    fn text_of_consent(
        &self,
        person: &Person,
        said: &Answer<'_>,
        urgency: Urgency,
        now: DateTime<Utc>,
    ) -> Text {
        let body = self.wording.answer(&self.book.service.name, person.language, said);
        let wakes = urgency == Urgency::Urgent && person.urgent_at_night;
        let zone = zone(&self.book, person);
        Text {
            id: self.ids.make(),
            kind: TextKind::Notice,
            person: person.id.clone(),
            route: self.route_of(person),
            language: person.language,
            subject: Some(body.clone()),
            body,
            html: None,
            urgency,
            act_by: None,
            created_at: now,
            due_at: if wakes { now } else { after_quiet(now, person.quiet, zone) },
            expires_at: now + STANDS,
        }
    }
}
