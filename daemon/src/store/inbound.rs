//! What people wrote to us, and all that follows from it.

use super::error::Result;
use super::journal::{self, Record};
use super::notices::{self, Closing, Ending};
use super::row::Place;
use super::texts::{self, Text};
use super::{Consent, Store, consent};
use chrono::{DateTime, Utc};
use furrowbell_config::people::RouteName;
use std::fmt;

/// One message that came in.
#[derive(Clone, PartialEq, Eq)]
pub struct Inbound {
    /// Its id.
    pub id: String,
    /// Which way it came.
    pub route: RouteName,
    /// The gateway's id, by which a repeat is known.
    pub provider_id: Option<String>,
    /// Sender's number or address.
    pub sender: String,
    /// What was written.
    pub body: String,
    /// When it came.
    pub received_at: DateTime<Utc>,
    /// When it was handled.
    pub handled_at: Option<DateTime<Utc>>,
    /// What came of it.
    pub outcome: Option<String>,
}

/// Leaves out who wrote and what.
impl fmt::Debug for Inbound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Inbound")
            .field("id", &self.id)
            .field("route", &self.route)
            .field("received_at", &self.received_at)
            .field("outcome", &self.outcome)
            .finish_non_exhaustive()
    }
}

/// All that follows from one message. It happens once and as a whole.
#[derive(Debug, Clone, Default)]
pub struct Handling {
    /// Entries to add.
    pub records: Vec<Record>,
    /// Ids of entries to take back.
    pub undoes: Vec<String>,
    /// A line for the consent ledger.
    pub consent: Option<Consent>,
    /// Ids of notices it answers.
    pub answers: Vec<String>,
    /// Texts to send back.
    pub replies: Vec<Text>,
    /// What came of it, in a word or two.
    pub outcome: String,
}

#[derive(sqlx::FromRow)]
struct Row {
    id: String,
    route: String,
    provider_id: Option<String>,
    sender: String,
    body: String,
    received_at: DateTime<Utc>,
    handled_at: Option<DateTime<Utc>>,
    outcome: Option<String>,
}

impl Row {
    fn read(self) -> Result<Inbound> {
        let place = Place { table: "inbound", id: &self.id };
        Ok(Inbound {
            route: place.word("route", &self.route)?,
            id: self.id,
            provider_id: self.provider_id,
            sender: self.sender,
            body: self.body,
            received_at: self.received_at,
            handled_at: self.handled_at,
            outcome: self.outcome,
        })
    }
}

impl Store {
    /// Keeps a message that came in, not yet handled; `false` when the gateway sent it before.
    pub async fn receive(&self, inbound: &Inbound) -> Result<bool> {
        let added = with_pool!(self, pool => sqlx::query(
            "-- inbound.receive
            INSERT INTO inbound (id, route, provider_id, sender, body, received_at)
            VALUES ($1, $2, $3, $4, $5, $6)
            ON CONFLICT (route, provider_id) DO NOTHING")
            .bind(&inbound.id)
            .bind(inbound.route.name())
            .bind(&inbound.provider_id)
            .bind(&inbound.sender)
            .bind(&inbound.body)
            .bind(inbound.received_at)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(added == 1)
    }

    /// Messages that wait to be handled, in the order they came.
    pub async fn unhandled(&self) -> Result<Vec<Inbound>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- inbound.unhandled
            SELECT * FROM inbound WHERE handled_at IS NULL ORDER BY received_at, id")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Messages that came at or after an instant, in the order they came.
    pub async fn inbound_since(&self, received_at: DateTime<Utc>) -> Result<Vec<Inbound>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- inbound.since
            SELECT * FROM inbound WHERE received_at >= $1 ORDER BY received_at, id")
            .bind(received_at)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Does all that follows from a message in one transaction; `false`, and nothing done, when
    /// somebody handled it before or it is unknown.
    pub async fn handle(&self, id: &str, handling: &Handling, at: DateTime<Utc>) -> Result<bool> {
        let mut tx = self.begin().await?;
        let taken = with_tx!(&mut tx, connection => sqlx::query(
            "-- inbound.handle
            UPDATE inbound SET handled_at = $2, outcome = $3
            WHERE id = $1 AND handled_at IS NULL")
            .bind(id)
            .bind(at)
            .bind(&handling.outcome)
            .execute(connection)
            .await?
            .rows_affected());
        if taken != 1 {
            return Ok(false);
        }
        for record in &handling.records {
            journal::insert(&mut tx, record).await?;
        }
        for record in &handling.undoes {
            journal::undo(&mut tx, record, at).await?;
        }
        if let Some(line) = &handling.consent {
            consent::insert(&mut tx, line).await?;
        }
        let closing = Closing { ending: Ending::Answered, at, by: Some(id.to_owned()) };
        for notice in &handling.answers {
            notices::close(&mut tx, notice, &closing).await?;
        }
        for reply in &handling.replies {
            texts::insert(&mut tx, reply).await?;
        }
        tx.commit().await?;
        Ok(true)
    }
}
