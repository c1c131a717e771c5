//! Texts that consent itself asks for, each of them once, whichever instance comes first.

use super::consent::{self, Consent};
use super::error::Result;
use super::row::Column;
use super::texts::{self, Queued, Row, Text};
use super::{Store, Tx};
use chrono::{DateTime, Utc};
use serde::Serialize;

/// What consent asks a text for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    /// The first text to a number.
    Welcome,
    /// Whether texts are still wanted after a long silence.
    Question,
    /// The one answer to STOP.
    Confirmation,
}

impl Store {
    /// The welcome of that number, if there was one.
    pub async fn welcome(&self, person: &str, address: &str) -> Result<Option<Queued>> {
        let row: Option<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- consent_text.welcome
            SELECT outbox.* FROM outbox
            JOIN consent_text ON consent_text.outbox_id = outbox.id
            WHERE consent_text.purpose = 'welcome' AND consent_text.person = $1
                AND consent_text.about = $2")
            .bind(person)
            .bind(address)
            .fetch_optional(pool)
            .await?);
        row.map(Row::read).transpose()
    }

    /// Whether the text is a welcome or a question.
    pub async fn is_of_consent(&self, text: &str) -> Result<bool> {
        let texts: i64 = with_pool!(self, pool => sqlx::query_scalar(
            "-- consent_text.is\nSELECT COUNT(*) FROM consent_text WHERE outbox_id = $1")
            .bind(text)
            .fetch_one(pool)
            .await?);
        Ok(texts > 0)
    }

    /// Queues the welcome of a number; `false`, and nothing done, when it has one.
    pub async fn greet(&self, text: &Text, address: &str) -> Result<bool> {
        let mut tx = self.begin().await?;
        let first = insert(&mut tx, text, Purpose::Welcome, address).await?;
        if first {
            tx.commit().await?;
        }
        Ok(first)
    }

    /// Asks anew for consent: the line and the question in one transaction; `false`, and nothing
    /// done, when it was asked under that key before.
    pub async fn ask_anew(&self, line: &Consent, key: &str, text: &Text) -> Result<bool> {
        let mut tx = self.begin().await?;
        let first = consent::insert_once(&mut tx, line, key).await?
            && insert(&mut tx, text, Purpose::Question, key).await?;
        if first {
            tx.commit().await?;
        }
        Ok(first)
    }

    /// Queues word to an advisor.
    pub async fn tell_advisor(&self, text: &Text) -> Result<()> {
        let mut tx = self.begin().await?;
        texts::insert(&mut tx, text).await?;
        tx.commit().await
    }

    /// When somebody last wrote, by number.
    pub async fn last_written(&self) -> Result<Vec<(String, DateTime<Utc>)>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- inbound.last\nSELECT sender, MAX(received_at) FROM inbound GROUP BY sender")
            .fetch_all(pool)
            .await?))
    }
}

/// Queues the confirmation of a STOP, unless one was queued since texts were last allowed.
pub(super) async fn confirm(tx: &mut Tx, text: &Text) -> Result<()> {
    let allowed_by: Option<String> = with_tx!(&mut *tx, connection => sqlx::query_scalar(
        "-- consent.last_allowing
        SELECT id FROM consent WHERE person = $1 AND state IN ('agreed', 'start')
        ORDER BY at DESC, id DESC LIMIT 1")
        .bind(&text.person)
        .fetch_optional(connection)
        .await?);
    insert(tx, text, Purpose::Confirmation, &allowed_by.unwrap_or_default()).await?;
    Ok(())
}

/// `false`, and nothing done, when there is such a text already.
async fn insert(tx: &mut Tx, text: &Text, purpose: Purpose, about: &str) -> Result<bool> {
    let purpose = Column("consent_text", "purpose").word(&purpose)?;
    texts::insert(tx, text).await?;
    let first = with_tx!(&mut *tx, connection => sqlx::query(
        "-- consent_text.insert
        INSERT INTO consent_text (outbox_id, purpose, person, about) VALUES ($1, $2, $3, $4)
        ON CONFLICT (purpose, person, about) DO NOTHING")
        .bind(&text.id)
        .bind(purpose)
        .bind(&text.person)
        .bind(about)
        .execute(connection)
        .await?
        .rows_affected());
    if first == 0 {
        with_tx!(&mut *tx, connection => sqlx::query(
            "-- outbox.unqueue\nDELETE FROM outbox WHERE id = $1")
            .bind(&text.id)
            .execute(connection)
            .await?
            .rows_affected());
    }
    Ok(first == 1)
}
