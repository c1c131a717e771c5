//! Answers what came in: one reply, one transaction with everything that follows from it.

use super::Desk;
use crate::replies::answer::{
    self, Answer, AskedBack, Consent as Wish, Effects, OpenQuestion, OwnField,
};
use crate::replies::grammar::Pass;
use crate::store::{
    Consent, ConsentState, Ending, Handling, Inbound, Notice, Record, RecordStep, Text, TextKind,
    Via,
};
use crate::wording::answers::{Answer as Said, Pass as SaidPass};
use crate::wording::text::{FieldRef, TextInput};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use furrowbell_config::farms::{Farm, Field};
use furrowbell_config::local::local_day;
use furrowbell_config::people::{Person, Role};
use furrowbell_engine::findings::Urgency;
use furrowbell_engine::journal::Entry;

/// How long a text may be answered by a bare DONE.
const QUESTION_STANDS: TimeDelta = TimeDelta::days(45);
/// How long an answer makes sense.
pub(super) const ANSWER_STANDS: TimeDelta = TimeDelta::days(1);
/// How late the confirmation of a STOP may come (47 CFR 64.1200(a)(12)).
const CONFIRMATION_STANDS: TimeDelta = TimeDelta::minutes(5);

/// Outcome of a reply from nobody in the book.
pub(super) const UNKNOWN_SENDER: &str = "unknown sender";
/// Outcome of a reply that may be a STOP.
pub(super) const HELD_FOR_ADVISOR: &str = "held for the advisor";
/// Outcome of a reply that could not be read.
pub(super) const NOT_UNDERSTOOD: &str = "not understood";
const ASKED_BACK: &str = "asked back";

impl Desk {
    /// Handles every reply that is on record and not handled yet; says how many it was. One that
    /// cannot be handled does not keep a STOP behind it waiting.
    pub async fn answer_inbound(&self, now: DateTime<Utc>) -> anyhow::Result<usize> {
        let mut handled = 0;
        for inbound in self.store.unhandled().await? {
            match self.answer_one(&inbound, now).await {
                Ok(taken) => handled += usize::from(taken),
                Err(error) => {
                    tracing::error!(reply = inbound.id, "a reply was not handled: {error:#}");
                }
            }
        }
        Ok(handled)
    }

    async fn answer_one(&self, inbound: &Inbound, now: DateTime<Utc>) -> anyhow::Result<bool> {
        let mut handling = self.handling(inbound, now).await?;
        if handling.consent.is_none() && self.is_stopped(inbound).await? {
            handling.replies.clear();
        }
        let outcome = handling.outcome.clone();
        let taken = self.store.handle(&inbound.id, &handling, now).await?;
        if taken {
            tracing::info!(reply = inbound.id, outcome, "handled");
        }
        Ok(taken)
    }

    /// Whether whoever wrote has sent STOP, so that even an answer would be one text too many.
    async fn is_stopped(&self, inbound: &Inbound) -> anyhow::Result<bool> {
        let Some(person) = self.sender_of(inbound) else { return Ok(false) };
        let blocks = self.store.consent_blocks().await?;
        Ok(blocks.iter().any(|block| {
            block.person == person.id
                && matches!(block.state, ConsentState::Stop | ConsentState::Hold)
        }))
    }

    async fn handling(&self, inbound: &Inbound, now: DateTime<Utc>) -> anyhow::Result<Handling> {
        let Some(person) = self.sender_of(inbound) else {
            return Ok(Handling { outcome: UNKNOWN_SENDER.to_owned(), ..Handling::default() });
        };
        let fields = self.fields_of(person);
        let own: Vec<_> = fields
            .iter()
            .map(|(_, field)| OwnField { id: field.id.clone(), name: field.name.clone() })
            .collect();
        let zone = fields.first().map_or(self.zone_of(person), |(farm, _)| farm.zone);
        let today = local_day(inbound.received_at, zone);
        let open = self.open_questions(person, now).await?;
        let asked_back = self.asked_back(inbound).await?;
        let asked_back: Vec<_> = asked_back
            .iter()
            .map(|earlier| AskedBack {
                text: &earlier.body,
                day: local_day(earlier.received_at, zone),
            })
            .collect();
        let effects = answer::respond(&inbound.body, &asked_back, &own, &open, today);
        if effects.answer == Answer::NotUnderstood
            && let Some(handling) = self.record_answer(person, inbound, now).await?
        {
            return Ok(handling);
        }
        let text = self.said(person, &effects.answer, today).await?;
        let replies = text.map(|body| self.reply_text(person, body, &effects, inbound, now));
        Ok(Handling {
            records: self.records(&effects.entries, person, inbound, now),
            consent: effects.consent.map(|wish| self.consent_line(wish, person, inbound, now)),
            answers: effects.closes,
            replies: replies.into_iter().collect(),
            record_step: RecordStep::default(),
            outcome: outcome(&effects.answer).to_owned(),
        })
    }

    /// Who wrote, if the book knows them.
    pub(super) fn sender_of(&self, inbound: &Inbound) -> Option<&Person> {
        let wrote = |person: &&Person| {
            person.sender(inbound.route).is_some_and(|sender| sender == inbound.sender)
        };
        self.book.people.iter().find(wrote)
    }

    /// What the sender wrote just before and was asked back for, newest first.
    async fn asked_back(&self, inbound: &Inbound) -> anyhow::Result<Vec<Inbound>> {
        let mut earlier = self.store.inbound_since(inbound.received_at - ANSWER_STANDS).await?;
        earlier.retain(|one| {
            one.sender == inbound.sender
                && (one.received_at, &one.id) < (inbound.received_at, &inbound.id)
        });
        let was_asked = |one: &Inbound| one.outcome.as_deref() == Some(ASKED_BACK);
        Ok(earlier.into_iter().rev().take_while(was_asked).collect())
    }

    /// The fields a person may speak for: a manager for all, others for their farms'.
    pub(super) fn fields_of(&self, person: &Person) -> Vec<(&Farm, &Field)> {
        let farms = self.book.farms.iter().filter(|farm| {
            person.role == Role::Manager
                || farm.growers.contains(&person.id)
                || farm.advisors.contains(&person.id)
        });
        farms.flat_map(|farm| self.book.fields_of(farm).map(move |field| (farm, field))).collect()
    }

    /// What the person was last asked, by the time the question went out.
    async fn open_questions(
        &self,
        person: &Person,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Vec<OpenQuestion>> {
        let mut open = Vec::new();
        for notice in self.store.notices_since(now - QUESTION_STANDS).await? {
            if notice.identity.person != person.id || is_settled(&notice) {
                continue;
            }
            let texts = self.store.texts_of_notice(&notice.id).await?;
            let Some(sent_at) = texts.iter().filter_map(|queued| queued.sent_at).max() else {
                continue;
            };
            open.push(OpenQuestion {
                notice_id: notice.id,
                field_id: notice.identity.field,
                topic: notice.identity.topic,
                raised_at: sent_at,
            });
        }
        Ok(open)
    }

    fn records(
        &self,
        entries: &[(String, Entry)],
        person: &Person,
        inbound: &Inbound,
        now: DateTime<Utc>,
    ) -> Vec<Record> {
        let record = |(number, (field, entry)): (usize, &(String, Entry))| Record {
            id: self.ids.make(),
            source_key: format!("{}/{number}", inbound.id),
            field: field.clone(),
            happened_on: entry.date,
            event: entry.event.clone(),
            by: person.id.clone(),
            via: Via::Sms,
            note: Some(inbound.body.clone()),
            created_at: now,
        };
        entries.iter().enumerate().map(record).collect()
    }

    fn consent_line(
        &self,
        wish: Wish,
        person: &Person,
        inbound: &Inbound,
        now: DateTime<Utc>,
    ) -> Consent {
        let state = match wish {
            Wish::Stop => ConsentState::Stop,
            Wish::Start => ConsentState::Start,
            Wish::HoldForAdvisor => ConsentState::Hold,
        };
        Consent {
            id: self.ids.make(),
            person: person.id.clone(),
            state,
            at: inbound.received_at,
            recorded_at: now,
            how: "reply".to_owned(),
            wording: inbound.body.clone(),
            route: Some(inbound.route),
            address: Some(inbound.sender.clone()),
            decided_by: None,
        }
    }

    /// An answer goes at once, quiet hours or not: the person has just written.
    fn reply_text(
        &self,
        person: &Person,
        body: String,
        effects: &Effects,
        inbound: &Inbound,
        now: DateTime<Utc>,
    ) -> Text {
        let stopped = effects.consent == Some(Wish::Stop);
        let expires_at =
            if stopped { inbound.received_at + CONFIRMATION_STANDS } else { now + ANSWER_STANDS };
        Text {
            id: self.ids.make(),
            kind: if stopped { TextKind::StopConfirmation } else { TextKind::Reply },
            person: person.id.clone(),
            route: inbound.route,
            language: person.language,
            subject: None,
            body,
            html: None,
            urgency: Urgency::Urgent,
            act_by: None,
            created_at: now,
            due_at: now,
            expires_at,
        }
    }

    /// The words of an answer; `None` stays silent.
    async fn said(
        &self,
        person: &Person,
        answer: &Answer,
        today: NaiveDate,
    ) -> anyhow::Result<Option<String>> {
        let service = &self.book.service;
        let contact = service.contact.as_str();
        let most = service.sending.routine_texts_per_day;
        let fields: Vec<&str> = match answer {
            Answer::Recorded { fields, .. }
            | Answer::AskField { fields }
            | Answer::AskPass { fields, .. }
            | Answer::NothingOpen { fields } => fields.iter().map(String::as_str).collect(),
            _ => Vec::new(),
        };
        let passes: Vec<_> = match answer {
            Answer::AskPass { passes, .. } => {
                passes.iter().copied().filter_map(said_pass).collect()
            }
            _ => Vec::new(),
        };
        let reason = match answer {
            Answer::Why { notice_id: Some(id) } => self.reason(person, id, today).await?,
            _ => None,
        };
        let said = match answer {
            Answer::Recorded { event, date, .. } => {
                Said::Recorded { event, date: *date, fields: &fields }
            }
            Answer::AskField { .. } => Said::AskField { fields: &fields },
            Answer::AskPass { .. } => Said::AskPass { fields: &fields, passes: &passes },
            Answer::AskDay => Said::AskDay,
            Answer::NothingOpen { .. } => Said::NothingOpen { fields: &fields },
            Answer::Why { .. } => match &reason {
                Some((field, reason)) => Said::Why { fields: &[field], reason, contact },
                None => Said::NothingTold { contact },
            },
            Answer::Stopped => Said::Stopped,
            Answer::Started => Said::Started,
            Answer::Help => Said::Help { contact, most },
            Answer::NotUnderstood => Said::NotUnderstood,
            Answer::Silence => return Ok(None),
        };
        Ok(Some(self.wording.answer(&service.name, person.language, &said)))
    }

    /// A notice's field and the numbers behind it in a few words.
    async fn reason<'a>(
        &'a self,
        person: &Person,
        id: &str,
        today: NaiveDate,
    ) -> anyhow::Result<Option<(&'a str, String)>> {
        let Some(notice) = self.store.notice(id).await? else { return Ok(None) };
        let Some(field) = self.book.field(&notice.identity.field) else { return Ok(None) };
        let line = self.wording.line(&TextInput {
            sender: &self.book.service.name,
            language: person.language,
            fields: vec![FieldRef::of(field)],
            evidence: &notice.evidence,
            version: notice.identity.version,
            act_by: notice.act_by,
            provisional: notice.provisional,
            today,
            stop_hint: false,
            update: false,
        });
        Ok(Some((&field.name, line)))
    }
}

fn is_settled(notice: &Notice) -> bool {
    let ending = notice.closed.as_ref().map(|closing| closing.ending);
    matches!(ending, Some(Ending::Answered | Ending::Superseded))
}

/// What is asked for by name; a sprayer pass may be either, so it is not.
const fn said_pass(pass: Pass) -> Option<SaidPass> {
    match pass {
        Pass::Pre => Some(SaidPass::Pre),
        Pass::Post => Some(SaidPass::Post),
        Pass::Sidedress => Some(SaidPass::Sidedress),
        Pass::Hoe => Some(SaidPass::Hoe),
        Pass::Spray => None,
    }
}

/// How a reply was taken, in a word for the record.
const fn outcome(answer: &Answer) -> &'static str {
    match answer {
        Answer::Recorded { .. } => "recorded",
        Answer::AskField { .. } | Answer::AskPass { .. } | Answer::AskDay => ASKED_BACK,
        Answer::NothingOpen { .. } => "nothing open",
        Answer::Why { .. } => "explained",
        Answer::Stopped => "stopped",
        Answer::Started => "started",
        Answer::Help => "helped",
        Answer::Silence => HELD_FOR_ADVISOR,
        Answer::NotUnderstood => NOT_UNDERSTOOD,
    }
}
