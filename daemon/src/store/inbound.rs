//! What people wrote to us, and all that follows from it.

use super::applications::{self, RecordStep};
use super::error::Result;
use super::journal::{self, Record};
use super::notices::{self, Closing, Ending};
use super::row::Place;
use super::texts::{self, Text, TextKind};
use super::{Consent, Store, Tx, consent, consent_texts};
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
    /// A line for the consent ledger.
    pub consent: Option<Consent>,
    /// Ids of notices it answers.
    pub answers: Vec<String>,
    /// Texts to send back.
    pub replies: Vec<Text>,
    /// What it says for the record of a pass.
    pub record_step: RecordStep,
    /// What came of it, in a word or two.
    pub outcome: String,
}

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

from_row!(Row { id, route, provider_id, sender, body, received_at, handled_at, outcome });

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
        let mut tx = self.begin().await?;
        let new = insert(&mut tx, inbound).await?;
        tx.commit().await?;
        Ok(new)
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
        if let Some(line) = &handling.consent {
            consent::insert(&mut tx, line).await?;
        }
        let closing = Closing { ending: Ending::Answered, at, by: Some(id.to_owned()) };
        for notice in &handling.answers {
            notices::close(&mut tx, notice, &closing).await?;
        }
        applications::take_step(&mut tx, &handling.record_step).await?;
        for reply in &handling.replies {
            match reply.kind {
                TextKind::StopConfirmation => consent_texts::confirm(&mut tx, reply).await?,
                _ => texts::insert(&mut tx, reply).await?,
            }
        }
        tx.commit().await?;
        Ok(true)
    }
}

/// Keeps a message that came in; `false` when it came before.
pub(super) async fn insert(tx: &mut Tx, inbound: &Inbound) -> Result<bool> {
    let added = with_tx!(tx, connection => sqlx::query(
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
        .execute(connection)
        .await?
        .rows_affected());
    Ok(added == 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{self, at, may, notice, on_each, text};
    use crate::store::{ConsentState, Telling, TextState, Via};
    use furrowbell_engine::journal::Event;

    fn inbound(id: &str, provider_id: Option<&str>) -> Inbound {
        Inbound {
            id: id.to_owned(),
            route: RouteName::Sms,
            provider_id: provider_id.map(str::to_owned),
            sender: "+15155550123".to_owned(),
            body: "done".to_owned(),
            received_at: at(0),
            handled_at: None,
            outcome: None,
        }
    }

    fn record(id: &str) -> Record {
        Record {
            id: id.to_owned(),
            source_key: format!("in1/{id}"),
            field: "north-80".to_owned(),
            happened_on: may(1),
            event: Event::PostApplied { ingredients: Vec::new() },
            by: "ann".to_owned(),
            via: Via::Sms,
            note: None,
            created_at: at(1),
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_repeat_of_the_gateway_is_known() {
        on_each(|store| async move {
            assert!(store.receive(&inbound("in1", Some("gw-9"))).await.unwrap());
            assert!(!store.receive(&inbound("in2", Some("gw-9"))).await.unwrap());
            // Without an id of the gateway two messages are two.
            assert!(store.receive(&inbound("in3", None)).await.unwrap());
            assert!(store.receive(&inbound("in4", None)).await.unwrap());
            let waiting = store.unhandled().await.unwrap();
            assert_eq!(waiting[0], inbound("in1", Some("gw-9")));
            assert_eq!(waiting.len(), 3);
            assert_eq!(store.inbound_since(at(0)).await.unwrap().len(), 3);
            assert!(store.inbound_since(at(1)).await.unwrap().is_empty());
            let shown = format!("{waiting:?}");
            assert!(!shown.contains("5550123") && !shown.contains("done"), "{shown}");
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn all_that_follows_from_a_message_happens_once() {
        on_each(|store| async move {
            let told = Telling { notices: vec![notice("n1", 1)], text: Some(text("waiting")) };
            store.decide(&[told]).await.unwrap();
            store.receive(&inbound("in1", None)).await.unwrap();
            let mut reply = text("reply");
            reply.kind = TextKind::Reply;
            let handling = Handling {
                records: vec![record("r1")],
                consent: None,
                answers: vec!["n1".to_owned()],
                replies: vec![reply],
                record_step: RecordStep::default(),
                outcome: "recorded".to_owned(),
            };
            assert!(store.handle("in1", &handling, at(2)).await.unwrap());
            assert!(!store.handle("in1", &handling, at(3)).await.unwrap());
            assert!(!store.handle("in-unknown", &handling, at(3)).await.unwrap());

            assert_eq!(store.journal().await.unwrap(), [record("r1")]);
            let closing =
                Closing { ending: Ending::Answered, at: at(2), by: Some("in1".to_owned()) };
            assert_eq!(store.notice("n1").await.unwrap().unwrap().closed, Some(closing));
            assert_eq!(store.text("waiting").await.unwrap().unwrap().state, TextState::Held);
            assert_eq!(store.text("reply").await.unwrap().unwrap().state, TextState::Waiting);
            assert!(store.unhandled().await.unwrap().is_empty());
            let handled = store.inbound_since(at(0)).await.unwrap();
            assert_eq!(handled[0].handled_at, Some(at(2)));
            assert_eq!(handled[0].outcome.as_deref(), Some("recorded"));
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_handling_that_fails_half_way_leaves_no_trace() {
        on_each(|store| async move {
            store.receive(&inbound("in1", None)).await.unwrap();
            store.queue(&text("taken")).await.unwrap();
            let stop = testing::consent("c1", ConsentState::Stop, at(2));
            let mut confirmation = text("taken");
            confirmation.kind = TextKind::StopConfirmation;
            let mut handling = Handling {
                records: vec![record("r1")],
                consent: Some(stop),
                replies: vec![confirmation],
                outcome: "stopped".to_owned(),
                ..Handling::default()
            };
            assert!(store.handle("in1", &handling, at(2)).await.is_err());
            assert!(store.journal().await.unwrap().is_empty());
            assert_eq!(store.consents().await.unwrap(), []);
            assert_eq!(store.unhandled().await.unwrap().len(), 1);
            assert_eq!(store.text("taken").await.unwrap().unwrap().state, TextState::Waiting);

            handling.replies[0].id = "confirmation".to_owned();
            assert!(store.handle("in1", &handling, at(3)).await.unwrap());
            assert_eq!(store.text("taken").await.unwrap().unwrap().state, TextState::Held);
            let claimed = store.lease(None, at(4), at(6), "k1", 9).await.unwrap();
            assert_eq!(claimed.len(), 1);
            assert_eq!(claimed[0].text.id, "confirmation");
        })
        .await;
    }
}
