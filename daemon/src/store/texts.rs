//! Texts: what was composed, and what has become of it.

use super::error::Result;
use super::row::{Column, Place};
use super::{Store, Tx};
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_config::people::{Language, RouteName};
use furrowbell_engine::findings::{Topic, Urgency};
use serde::{Deserialize, Serialize};
use sqlx::QueryBuilder;
use std::collections::HashSet;
use std::fmt;

/// Why a text is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TextKind {
    /// It carries notices.
    Notice,
    /// It answers what a person wrote.
    Reply,
    /// It is for the advisor: the morning message, or word of a text that did not arrive.
    Digest,
    /// It confirms STOP, and alone may still go after it.
    StopConfirmation,
}

/// Where a text stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TextState {
    /// It waits for its time.
    Waiting,
    /// A worker holds it.
    Sending,
    /// The next hop took it.
    Sent,
    /// It will never go.
    Failed,
    /// It lost its sense before it went.
    Expired,
    /// It was kept back.
    Held,
}

/// One message to one person on one route, as composed.
#[derive(Clone, PartialEq, Eq)]
pub struct Text {
    /// Its id, on every route the key by which a repeat is known.
    pub id: String,
    /// Why it is sent.
    pub kind: TextKind,
    /// To whom.
    pub person: String,
    /// Which way.
    pub route: RouteName,
    /// In which language.
    pub language: Language,
    /// Subject, where the route has one.
    pub subject: Option<String>,
    /// Plain text.
    pub body: String,
    /// HTML part, where the route has one.
    pub html: Option<String>,
    /// How soon the person must know.
    pub urgency: Urgency,
    /// Last day of the action it asks for.
    pub act_by: Option<NaiveDate>,
    /// When it was composed.
    pub created_at: DateTime<Utc>,
    /// When it may go.
    pub due_at: DateTime<Utc>,
    /// When it loses its sense.
    pub expires_at: DateTime<Utc>,
}

/// Leaves out what it says.
impl fmt::Debug for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Text")
            .field("id", &self.id)
            .field("kind", &self.kind)
            .field("person", &self.person)
            .field("route", &self.route)
            .field("due_at", &self.due_at)
            .field("expires_at", &self.expires_at)
            .finish_non_exhaustive()
    }
}

/// A text with what has become of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Queued {
    /// The text.
    pub text: Text,
    /// Where it stands.
    pub state: TextState,
    /// How often it was claimed to be tried.
    pub attempts: u32,
    /// Whether an earlier try ended without an answer, so that one more may be a repeat.
    pub possibly_twice: bool,
    /// When the next hop took it.
    pub sent_at: Option<DateTime<Utc>>,
    /// When it left the queue, whichever way.
    pub ended_at: Option<DateTime<Utc>>,
    /// The next hop's id for it.
    pub provider_id: Option<String>,
    /// Why it failed, waits again or was held.
    pub last_error: Option<String>,
}

/// Which texts to list. The default lists all.
#[derive(Debug, Clone, Default)]
pub struct TextFilter {
    /// Only to this person.
    pub person: Option<String>,
    /// Only in these states; empty means any.
    pub states: Vec<TextState>,
    /// Only those that left the queue at or after.
    pub ended_since: Option<DateTime<Utc>>,
    /// Most rows; the latest come first.
    pub limit: Option<u32>,
}

pub(super) struct Row {
    id: String,
    kind: String,
    person: String,
    route: String,
    language: String,
    subject: Option<String>,
    body: String,
    html: Option<String>,
    urgency: String,
    act_by: Option<NaiveDate>,
    created_at: DateTime<Utc>,
    due_at: DateTime<Utc>,
    expires_at: DateTime<Utc>,
    state: String,
    attempts: i64,
    possibly_twice: bool,
    sent_at: Option<DateTime<Utc>>,
    ended_at: Option<DateTime<Utc>>,
    provider_id: Option<String>,
    last_error: Option<String>,
}

from_row!(Row {
    id,
    kind,
    person,
    route,
    language,
    subject,
    body,
    html,
    urgency,
    act_by,
    created_at,
    due_at,
    expires_at,
    state,
    attempts,
    possibly_twice,
    sent_at,
    ended_at,
    provider_id,
    last_error
});

impl Row {
    pub(super) fn read(self) -> Result<Queued> {
        let place = Place { table: "outbox", id: &self.id };
        Ok(Queued {
            state: place.word("state", &self.state)?,
            attempts: place.number("attempts", self.attempts)?,
            possibly_twice: self.possibly_twice,
            sent_at: self.sent_at,
            ended_at: self.ended_at,
            provider_id: self.provider_id,
            last_error: self.last_error,
            text: Text {
                kind: place.word("kind", &self.kind)?,
                route: place.word("route", &self.route)?,
                language: place.word("language", &self.language)?,
                urgency: place.word("urgency", &self.urgency)?,
                id: self.id,
                person: self.person,
                subject: self.subject,
                body: self.body,
                html: self.html,
                act_by: self.act_by,
                created_at: self.created_at,
                due_at: self.due_at,
                expires_at: self.expires_at,
            },
        })
    }
}

impl Store {
    /// One text.
    pub async fn text(&self, id: &str) -> Result<Option<Queued>> {
        let row: Option<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- outbox.get\nSELECT * FROM outbox WHERE id = $1")
            .bind(id)
            .fetch_optional(pool)
            .await?);
        row.map(Row::read).transpose()
    }

    /// Texts by filter, the latest first.
    pub async fn texts(&self, filter: &TextFilter) -> Result<Vec<Queued>> {
        let column = Column("outbox", "state");
        let states = filter.states.iter().map(|state| column.word(state));
        let states = states.collect::<Result<Vec<_>>>()?;
        let rows: Vec<Row> = with_pool!(self, pool => {
            let mut query = QueryBuilder::new("-- outbox.list\nSELECT * FROM outbox WHERE 1 = 1");
            if let Some(person) = &filter.person {
                query.push(" AND person = ").push_bind(person);
            }
            if let Some(since) = filter.ended_since {
                query.push(" AND ended_at >= ").push_bind(since);
            }
            if !states.is_empty() {
                query.push(" AND state IN (");
                let mut list = query.separated(", ");
                for state in &states {
                    list.push_bind(state);
                }
                query.push(")");
            }
            query.push(" ORDER BY created_at DESC, id DESC");
            if let Some(limit) = filter.limit {
                query.push(" LIMIT ").push_bind(i64::from(limit));
            }
            query.build_query_as().fetch_all(pool).await?
        });
        rows.into_iter().map(Row::read).collect()
    }

    /// Texts that carry a notice, the earliest first.
    pub async fn texts_of_notice(&self, notice: &str) -> Result<Vec<Queued>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- outbox.of_notice
            SELECT outbox.* FROM outbox
            JOIN outbox_notice ON outbox_notice.outbox_id = outbox.id
            WHERE outbox_notice.notice_id = $1 ORDER BY outbox.created_at, outbox.id")
            .bind(notice)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Routine notices that went, or are still to go, to a person from `from` up to but without
    /// `until`: what a daily budget counts.
    pub async fn routine_count(
        &self,
        person: &str,
        from: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Result<u32> {
        let count: i64 = with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.routine_count
            SELECT COUNT(*) FROM outbox
            WHERE person = $1 AND kind = 'notice' AND urgency <> 'urgent'
                AND state IN ('waiting', 'sending', 'sent')
                AND COALESCE(sent_at, due_at) >= $2 AND COALESCE(sent_at, due_at) < $3")
            .bind(person)
            .bind(from)
            .bind(until)
            .fetch_one(pool)
            .await?);
        Place { table: "outbox", id: person }.number("count", count)
    }

    /// Fields and topics of which a person was, or is still to be, told from `from` up to but
    /// without `until`.
    pub async fn told_between(
        &self,
        person: &str,
        from: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Result<HashSet<(String, Topic)>> {
        let rows: Vec<(String, String)> = with_pool!(self, pool => sqlx::query_as(
            "-- outbox.told_between
            SELECT DISTINCT notice.field, notice.topic FROM outbox
            JOIN outbox_notice ON outbox_notice.outbox_id = outbox.id
            JOIN notice ON notice.id = outbox_notice.notice_id
            WHERE outbox.person = $1 AND outbox.kind = 'notice'
                AND outbox.state IN ('waiting', 'sending', 'sent')
                AND COALESCE(sent_at, due_at) >= $2 AND COALESCE(sent_at, due_at) < $3")
            .bind(person)
            .bind(from)
            .bind(until)
            .fetch_all(pool)
            .await?);
        let place = Place { table: "notice", id: person };
        rows.into_iter().map(|(field, topic)| Ok((field, place.word("topic", &topic)?))).collect()
    }

    /// When the last notice after `after` went, or is to go, to a person.
    pub async fn last_due(
        &self,
        person: &str,
        after: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.last_due
            SELECT MAX(COALESCE(sent_at, due_at)) FROM outbox
            WHERE person = $1 AND kind = 'notice' AND state IN ('waiting', 'sending', 'sent')
                AND COALESCE(sent_at, due_at) > $2")
            .bind(person)
            .bind(after)
            .fetch_one(pool)
            .await?))
    }

    /// When a text last went to a person.
    pub async fn last_sent(&self, person: &str) -> Result<Option<DateTime<Utc>>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.last_sent\nSELECT MAX(sent_at) FROM outbox WHERE person = $1")
            .bind(person)
            .fetch_one(pool)
            .await?))
    }
}

pub(super) async fn insert(tx: &mut Tx, text: &Text) -> Result<()> {
    let kind = Column("outbox", "kind").word(&text.kind)?;
    let urgency = Column("outbox", "urgency").word(&text.urgency)?;
    with_tx!(tx, connection => sqlx::query(
        "-- outbox.insert
        INSERT INTO outbox (id, kind, person, route, language, subject, body, html, urgency,
            act_by, created_at, due_at, expires_at, state, attempts, possibly_twice)
        VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, 'waiting', 0, FALSE)")
        .bind(&text.id)
        .bind(kind)
        .bind(&text.person)
        .bind(text.route.name())
        .bind(text.language.code())
        .bind(&text.subject)
        .bind(&text.body)
        .bind(&text.html)
        .bind(urgency)
        .bind(text.act_by)
        .bind(text.created_at)
        .bind(text.due_at)
        .bind(text.expires_at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(())
}

/// Keeps back what still waits for a person, and what a dead worker left half done.
pub(super) async fn hold_all(tx: &mut Tx, person: &str, at: DateTime<Utc>) -> Result<u64> {
    Ok(with_tx!(tx, connection => sqlx::query(
        "-- outbox.hold_person
        UPDATE outbox SET state = 'held', ended_at = $2, last_error = 'the person sent STOP',
            possibly_twice = possibly_twice OR state = 'sending',
            lease_token = NULL, lease_until = NULL
        WHERE person = $1 AND kind <> 'stop-confirmation'
            AND (state = 'waiting' OR (state = 'sending' AND lease_until <= $2))")
        .bind(person)
        .bind(at)
        .execute(connection)
        .await?
        .rows_affected()))
}

/// Keeps back a confirmation of STOP that START has overtaken.
pub(super) async fn hold_confirmation(tx: &mut Tx, person: &str, at: DateTime<Utc>) -> Result<()> {
    with_tx!(tx, connection => sqlx::query(
        "-- outbox.hold_confirmation
        UPDATE outbox SET state = 'held', ended_at = $2, last_error = 'the person sent START'
        WHERE person = $1 AND kind = 'stop-confirmation' AND state = 'waiting'")
        .bind(person)
        .bind(at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(())
}

/// Waiting texts that carry this notice and open ones besides, and that have surely not gone.
/// Corrections are left out: they were to go at once.
pub(super) async fn half_settled(tx: &mut Tx, notice: &str) -> Result<Vec<String>> {
    Ok(with_tx!(tx, connection => sqlx::query_scalar(
        "-- outbox.half_settled
        SELECT id FROM outbox
        WHERE state = 'waiting' AND NOT possibly_twice
            AND id IN (SELECT outbox_id FROM outbox_notice WHERE notice_id = $1)
            AND id NOT IN (SELECT outbox_id FROM correction)
            AND EXISTS (
                SELECT 1 FROM outbox_notice
                JOIN notice ON notice.id = outbox_notice.notice_id
                WHERE outbox_notice.outbox_id = outbox.id AND notice.state = 'open')
        ORDER BY id")
        .bind(notice)
        .fetch_all(connection)
        .await?))
}

/// Keeps back one text that waits.
pub(super) async fn hold(tx: &mut Tx, id: &str, why: &str, at: DateTime<Utc>) -> Result<bool> {
    let held = with_tx!(tx, connection => sqlx::query(
        "-- outbox.hold
        UPDATE outbox SET state = 'held', ended_at = $2, last_error = $3
        WHERE id = $1 AND state = 'waiting'")
        .bind(id)
        .bind(at)
        .bind(why)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(held == 1)
}

/// Keeps back waiting texts that carry this notice and no open one.
pub(super) async fn hold_idle(tx: &mut Tx, notice: &str, at: DateTime<Utc>) -> Result<u64> {
    Ok(with_tx!(tx, connection => sqlx::query(
        "-- outbox.hold_idle
        UPDATE outbox SET state = 'held', ended_at = $2,
            last_error = 'what it says was settled before it went'
        WHERE state = 'waiting'
            AND id IN (SELECT outbox_id FROM outbox_notice WHERE notice_id = $1)
            AND NOT EXISTS (
                SELECT 1 FROM outbox_notice
                JOIN notice ON notice.id = outbox_notice.notice_id
                WHERE outbox_notice.outbox_id = outbox.id AND notice.state = 'open')")
        .bind(notice)
        .bind(at)
        .execute(connection)
        .await?
        .rows_affected()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Settlement;
    use crate::store::testing::{at, on_each, text};
    use std::time::Duration;

    async fn send(store: &Store, id: &str, now: DateTime<Utc>) {
        store.lease(None, now, now + Duration::from_mins(1), id, 99).await.unwrap();
        let sent = Settlement::Sent { provider_ids: vec![format!("gw-{id}")] };
        store.settle(id, id, now, Duration::ZERO, &sent).await.unwrap();
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_text_comes_back_as_it_went() {
        on_each(|store| async move {
            let mut whole = text("t1");
            whole.kind = TextKind::Digest;
            whole.route = RouteName::Email;
            whole.language = Language::Spanish;
            whole.subject = Some("Hoy".to_owned());
            whole.html = Some("<p>Hoy</p>".to_owned());
            whole.body = "a 'quoted' $1 ? \u{1F33D}\n".to_owned();
            whole.urgency = Urgency::Digest;
            whole.act_by = None;
            store.queue(&whole).await.unwrap();
            let queued = store.text("t1").await.unwrap().unwrap();
            assert_eq!(queued.text, whole);
            assert_eq!((queued.state, queued.attempts), (TextState::Waiting, 0));
            assert_eq!(store.text("t2").await.unwrap(), None);
            assert!(!format!("{queued:?}").contains("quoted"));
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn the_list_is_filtered_and_the_latest_come_first() {
        on_each(|store| async move {
            for (number, person) in ["ann", "ben", "ann", "ann"].into_iter().enumerate() {
                let mut text = text(&format!("t{number}"));
                text.person = person.to_owned();
                text.created_at = at(i64::try_from(number).unwrap());
                text.due_at = text.created_at;
                store.queue(&text).await.unwrap();
            }
            send(&store, "t0", at(0)).await;
            let list = async |filter: TextFilter| {
                let texts = store.texts(&filter).await.unwrap();
                texts.into_iter().map(|queued| queued.text.id).collect::<Vec<_>>()
            };
            assert_eq!(list(TextFilter::default()).await, ["t3", "t2", "t1", "t0"]);
            let anns = TextFilter { person: Some("ann".to_owned()), ..TextFilter::default() };
            assert_eq!(list(anns.clone()).await, ["t3", "t2", "t0"]);
            let recent = TextFilter { limit: Some(1), ..anns.clone() };
            assert_eq!(list(recent).await, ["t3"]);
            let states = vec![TextState::Sent, TextState::Failed];
            assert_eq!(list(TextFilter { states, ..anns.clone() }).await, ["t0"]);
            let ended = TextFilter { ended_since: Some(at(0)), ..TextFilter::default() };
            assert_eq!(list(ended).await, ["t0"]);
            let ended = TextFilter { ended_since: Some(at(1)), ..TextFilter::default() };
            assert!(list(ended).await.is_empty());
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn the_budget_counts_what_went_and_what_is_to_go() {
        on_each(|store| async move {
            let mut tomorrow = text("tomorrow");
            tomorrow.due_at = at(600);
            let mut urgent = text("urgent");
            urgent.urgency = Urgency::Urgent;
            let mut reply = text("reply");
            reply.kind = TextKind::Reply;
            for text in [&text("sent"), &tomorrow, &urgent, &reply] {
                store.queue(text).await.unwrap();
            }
            assert_eq!(store.last_sent("ann").await.unwrap(), None);
            send(&store, "sent", at(300)).await;
            assert_eq!(store.last_sent("ann").await.unwrap(), Some(at(300)));
            assert_eq!(store.routine_count("ann", at(0), at(300)).await.unwrap(), 0);
            assert_eq!(store.routine_count("ann", at(300), at(600)).await.unwrap(), 1);
            assert_eq!(store.routine_count("ann", at(300), at(601)).await.unwrap(), 2);
            assert_eq!(store.routine_count("ben", at(0), at(601)).await.unwrap(), 0);
        })
        .await;
    }
}
