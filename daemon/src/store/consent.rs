//! Who agreed to get texts and who said STOP: a ledger, never edited.

use super::error::Result;
use super::row::{Column, Place};
use super::{Store, Tx, texts};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

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
#[derive(Debug, Clone, PartialEq, Eq)]
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

#[derive(sqlx::FromRow)]
struct Row {
    id: String,
    person: String,
    state: String,
    at: DateTime<Utc>,
    how: String,
    wording: String,
}

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
    /// Adds a line. STOP also holds what still waits for the person, but for its confirmation;
    /// says how many texts that were.
    pub async fn record_consent(&self, consent: &Consent) -> Result<u64> {
        let mut tx = self.begin().await?;
        let held = insert(&mut tx, consent).await?;
        tx.commit().await?;
        Ok(held)
    }

    /// What a person said last; `None` when nothing is on record.
    pub async fn consent_of(&self, person: &str) -> Result<Option<Consent>> {
        let row: Option<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- consent.of_person\nSELECT * FROM consent_now WHERE person = $1")
            .bind(person)
            .fetch_optional(pool)
            .await?);
        row.map(Row::read).transpose()
    }

    /// What each person said last, by person.
    pub async fn consents(&self) -> Result<Vec<Consent>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- consent.now\nSELECT * FROM consent_now ORDER BY person")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }
}

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
