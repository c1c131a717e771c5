//! Who agreed to get texts, with the proof, and who said STOP: a ledger, never edited.

use super::error::Result;
use super::row::{Column, Place};
use super::{Store, Tx, texts};
use chrono::{DateTime, Utc};
use furrowbell_config::people::RouteName;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a line says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ConsentState {
    /// Texts may come, by what the book says.
    Agreed,
    /// Texts may come, by the person's own word.
    Start,
    /// The book names a new number and no new consent for it.
    Unproven,
    /// The person was silent for long and is asked anew.
    Asked,
    /// The number was refused for good.
    Gone,
    /// What the person wrote may be a STOP; somebody decides.
    Hold,
    /// No texts any more.
    Stop,
}

impl ConsentState {
    /// Whether it lets texts come.
    pub const fn allows(self) -> bool {
        matches!(self, Self::Agreed | Self::Start)
    }

    /// Its word in the ledger.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Agreed => "agreed",
            Self::Start => "start",
            Self::Unproven => "unproven",
            Self::Asked => "asked",
            Self::Gone => "gone",
            Self::Hold => "hold",
            Self::Stop => "stop",
        }
    }
}

/// One line of the ledger.
#[derive(Clone, PartialEq, Eq)]
pub struct Consent {
    /// Its id.
    pub id: String,
    /// Who.
    pub person: String,
    /// What was said.
    pub state: ConsentState,
    /// When it was said.
    pub at: DateTime<Utc>,
    /// When it was written down.
    pub recorded_at: DateTime<Utc>,
    /// By which way: `book`, `reply`, `command`, `route` or `service`.
    pub how: String,
    /// The words that were sent, or what was agreed to.
    pub wording: String,
    /// The way it counts for.
    pub route: Option<RouteName>,
    /// The number or address it was given for, or came from.
    pub address: Option<String>,
    /// Who decided, where it was not the person alone.
    pub decided_by: Option<String>,
}

/// Leaves out what was written, and from where.
impl fmt::Debug for Consent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Consent")
            .field("id", &self.id)
            .field("person", &self.person)
            .field("state", &self.state)
            .field("at", &self.at)
            .finish_non_exhaustive()
    }
}

struct Row {
    id: String,
    person: String,
    state: String,
    at: DateTime<Utc>,
    recorded_at: DateTime<Utc>,
    how: String,
    wording: String,
    route: Option<String>,
    address: Option<String>,
    decided_by: Option<String>,
}

from_row!(Row { id, person, state, at, recorded_at, how, wording, route, address, decided_by });

impl Row {
    fn read(self) -> Result<Consent> {
        let place = Place { table: "consent", id: &self.id };
        Ok(Consent {
            state: place.word("state", &self.state)?,
            route: self.route.map(|route| place.word("route", &route)).transpose()?,
            id: self.id,
            person: self.person,
            at: self.at,
            recorded_at: self.recorded_at,
            how: self.how,
            wording: self.wording,
            address: self.address,
            decided_by: self.decided_by,
        })
    }
}

impl Store {
    /// What was said last of each person, by person.
    pub async fn consents(&self) -> Result<Vec<Consent>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- consent.now\nSELECT * FROM consent_now ORDER BY person")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Every line, in the order in which they were said.
    pub async fn ledger(&self) -> Result<Vec<Consent>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- consent.ledger
            SELECT id, person, state, at, recorded_at, how, wording, route, address, decided_by
            FROM consent ORDER BY at, id")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// The lines that stand against texts, by person, the gravest last.
    pub async fn consent_blocks(&self) -> Result<Vec<Consent>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- consent.blocks\nSELECT * FROM consent_block ORDER BY person, at, id")
            .fetch_all(pool)
            .await?);
        let mut blocks = rows.into_iter().map(Row::read).collect::<Result<Vec<_>>>()?;
        blocks.sort_by(|one, other| (&one.person, one.state).cmp(&(&other.person, other.state)));
        Ok(blocks)
    }

    /// Whether the person ever agreed to texts to that number or address.
    pub async fn has_agreed(&self, person: &str, address: &str) -> Result<bool> {
        let lines: i64 = with_pool!(self, pool => sqlx::query_scalar(
            "-- consent.for_address
            SELECT COUNT(*) FROM consent
            WHERE person = $1 AND address = $2 AND state IN ('agreed', 'start')")
            .bind(person)
            .bind(address)
            .fetch_one(pool)
            .await?);
        Ok(lines > 0)
    }

    /// What stands against a claimed text at this moment; the last question before it goes.
    pub async fn blocked_by(&self, text: &str) -> Result<Option<ConsentState>> {
        let states: Vec<String> = with_pool!(self, pool => sqlx::query_scalar(
            "-- consent.of_text
            SELECT consent_block.state FROM outbox
            JOIN consent_block ON consent_block.person = outbox.person
            WHERE outbox.id = $1 AND NOT EXISTS (SELECT 1 FROM sendable WHERE sendable.id = $1)")
            .bind(text)
            .fetch_all(pool)
            .await?);
        let place = Place { table: "consent", id: text };
        let states = states.iter().map(|state| place.word("state", state));
        Ok(states.collect::<Result<Vec<_>>>()?.into_iter().max())
    }

    /// Adds a line unless `source_key` added one before; says whether it did. A STOP also holds
    /// what still waits for the person.
    pub async fn note_consent(&self, consent: &Consent, source_key: &str) -> Result<bool> {
        let mut tx = self.begin().await?;
        let added = insert_once(&mut tx, consent, source_key).await?;
        if added && consent.state == ConsentState::Stop {
            texts::hold_all(&mut tx, &consent.person, consent.recorded_at).await?;
        }
        tx.commit().await?;
        Ok(added)
    }
}

/// Adds a line. STOP also holds what still waits for the person, but for its confirmation; says
/// how many texts that were.
pub(super) async fn insert(tx: &mut Tx, consent: &Consent) -> Result<u64> {
    insert_once(tx, consent, &consent.id).await?;
    match consent.state {
        ConsentState::Stop => texts::hold_all(tx, &consent.person, consent.recorded_at).await,
        ConsentState::Start => {
            texts::hold_confirmation(tx, &consent.person, consent.recorded_at).await?;
            Ok(0)
        }
        // What may be a STOP is decided by a person; until then the texts wait.
        _ => Ok(0),
    }
}

/// Adds a line unless `source_key` added one before; says whether it did.
pub(super) async fn insert_once(tx: &mut Tx, consent: &Consent, source_key: &str) -> Result<bool> {
    let state = Column("consent", "state").word(&consent.state)?;
    let added = with_tx!(&mut *tx, connection => sqlx::query(
        "-- consent.insert
        INSERT INTO consent (id, source_key, person, state, at, recorded_at, how, wording, route,
            address, decided_by)
        VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
        ON CONFLICT (source_key) DO NOTHING")
        .bind(&consent.id)
        .bind(source_key)
        .bind(&consent.person)
        .bind(state)
        .bind(consent.at)
        .bind(consent.recorded_at)
        .bind(&consent.how)
        .bind(&consent.wording)
        .bind(consent.route.map(RouteName::name))
        .bind(&consent.address)
        .bind(&consent.decided_by)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(added == 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, consent as line, on_each, text};
    use crate::store::{Settlement, TextKind, TextState};
    use chrono::TimeDelta;
    use furrowbell_engine::findings::Urgency;
    use std::time::Duration;

    #[tokio::test(flavor = "multi_thread")]
    async fn the_latest_line_is_in_force() {
        on_each(|store| async move {
            assert_eq!(store.consents().await.unwrap(), []);
            let lines = [
                line("c1", ConsentState::Stop, at(0)),
                line("c2", ConsentState::Start, at(5)),
                line("c3", ConsentState::Stop, at(5)),
            ];
            for line in &lines {
                store.record_consent(line).await.unwrap();
                assert_eq!(store.consents().await.unwrap(), std::slice::from_ref(line));
            }
            let other =
                Consent { person: "ben".to_owned(), ..line("c4", ConsentState::Start, at(1)) };
            store.record_consent(&other).await.unwrap();
            assert_eq!(store.consents().await.unwrap(), [lines[2].clone(), other]);
        })
        .await;
    }

    async fn claim(store: &Store, now: DateTime<Utc>, limit: u32) -> Vec<String> {
        let until = now + TimeDelta::minutes(2);
        let claimed = store.lease(None, now, until, &now.to_string(), limit).await.unwrap();
        claimed.into_iter().map(|queued| queued.text.id).collect()
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn after_stop_nothing_goes_but_its_confirmation() {
        on_each(|store| async move {
            let mut bens = text("bens");
            bens.person = "ben".to_owned();
            let mut in_flight = text("in-flight");
            in_flight.urgency = Urgency::Urgent;
            for text in [&in_flight, &text("waiting"), &bens] {
                store.queue(text).await.unwrap();
            }
            assert_eq!(claim(&store, at(1), 1).await, ["in-flight"]);
            let held = store.record_consent(&line("c1", ConsentState::Stop, at(2))).await.unwrap();
            assert_eq!(held, 1);
            assert_eq!(store.text("waiting").await.unwrap().unwrap().state, TextState::Held);

            // One was in flight and comes back, one was composed before STOP was known.
            let retry = Settlement::Retry { due_at: at(3), why: "busy".to_owned() };
            let token = at(1).to_string();
            store.settle("in-flight", &token, at(3), Duration::ZERO, &retry).await.unwrap();
            store.queue(&text("crossed")).await.unwrap();
            let mut confirmation = text("confirmation");
            confirmation.kind = TextKind::StopConfirmation;
            store.queue(&confirmation).await.unwrap();

            assert_eq!(claim(&store, at(10), 9).await, ["bens", "confirmation"]);
            assert_eq!(store.next_due(None, at(10)).await.unwrap(), Some(at(12)));

            // START lets texts go again and leaves what was held where it is.
            let start = line("c2", ConsentState::Start, at(11));
            assert_eq!(store.record_consent(&start).await.unwrap(), 0);
            assert_eq!(claim(&store, at(11), 9).await, ["in-flight", "crossed"]);
        })
        .await;
    }
}
