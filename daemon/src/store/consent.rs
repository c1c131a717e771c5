//! Who agreed to get texts and who said STOP: a ledger, never edited.

use super::error::Result;
use super::row::{Column, Place};
use super::{Store, Tx, texts};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a person said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ConsentState {
    /// Texts may come.
    Start,
    /// No texts any more.
    Stop,
}

/// One line of the ledger.
#[derive(Clone, PartialEq, Eq)]
pub struct Consent {
    /// Its id.
    pub id: String,
    /// Who.
    pub person: String,
    /// What the person said.
    pub state: ConsentState,
    /// When.
    pub at: DateTime<Utc>,
    /// By which way, such as `sms` or `book`.
    pub how: String,
    /// The word that was sent, or what was agreed to.
    pub wording: String,
}

/// Leaves out what was written.
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
    how: String,
    wording: String,
}

from_row!(Row { id, person, state, at, how, wording });

impl Row {
    fn read(self) -> Result<Consent> {
        let place = Place { table: "consent", id: &self.id };
        Ok(Consent {
            state: place.word("state", &self.state)?,
            id: self.id,
            person: self.person,
            at: self.at,
            how: self.how,
            wording: self.wording,
        })
    }
}

impl Store {
    /// What each person said last, by person.
    pub async fn consents(&self) -> Result<Vec<Consent>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- consent.now\nSELECT * FROM consent_now ORDER BY person")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }
}

/// Adds a line. STOP also holds what still waits for the person, but for its confirmation; says
/// how many texts that were.
pub(super) async fn insert(tx: &mut Tx, consent: &Consent) -> Result<u64> {
    let state = Column("consent", "state").word(&consent.state)?;
    with_tx!(&mut *tx, connection => sqlx::query(
        "-- consent.insert
        INSERT INTO consent (id, person, state, at, how, wording)
        VALUES ($1, $2, $3, $4, $5, $6)")
        .bind(&consent.id)
        .bind(&consent.person)
        .bind(state)
        .bind(consent.at)
        .bind(&consent.how)
        .bind(&consent.wording)
        .execute(connection)
        .await?
        .rows_affected());
    match consent.state {
        ConsentState::Stop => texts::hold_all(tx, &consent.person, consent.at).await,
        ConsentState::Start => Ok(0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each, text};
    use crate::store::{Settlement, TextKind, TextState};
    use chrono::TimeDelta;
    use furrowbell_engine::findings::Urgency;
    use std::time::Duration;

    fn line(id: &str, state: ConsentState, at: DateTime<Utc>) -> Consent {
        Consent {
            id: id.to_owned(),
            person: "ann".to_owned(),
            state,
            at,
            how: "sms".to_owned(),
            wording: "STOP".to_owned(),
        }
    }

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
        let claimed = store.lease(now, until, &now.to_string(), limit).await.unwrap();
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
            assert_eq!(store.next_due(at(10)).await.unwrap(), Some(at(12)));

            // START lets texts go again and leaves what was held where it is.
            let start = line("c2", ConsentState::Start, at(11));
            assert_eq!(store.record_consent(&start).await.unwrap(), 0);
            assert_eq!(claim(&store, at(11), 9).await, ["in-flight", "crossed"]);
        })
        .await;
    }
}
