//! The advisors' morning messages, one a local date.

use super::Store;
use super::error::Result;
use super::texts::{self, Text};
use chrono::{DateTime, NaiveDate, Utc};
use std::fmt;

/// One morning message.
#[derive(Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Digest {
    /// The advisor.
    pub advisor: String,
    /// The advisor's local date.
    pub local_date: NaiveDate,
    /// When it was composed.
    pub created_at: DateTime<Utc>,
    /// Plain text.
    pub body: String,
    /// HTML part.
    pub html: Option<String>,
    /// The text that carries it, when one does.
    pub outbox_id: Option<String>,
}

/// Leaves out what it says.
impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Digest")
            .field("advisor", &self.advisor)
            .field("local_date", &self.local_date)
            .field("outbox_id", &self.outbox_id)
            .finish_non_exhaustive()
    }
}

impl Store {
    /// Stores a digest and its text together; `false`, and neither stored, when the advisor has
    /// one for that date. `digest.outbox_id` is taken from the text.
    pub async fn store_digest(&self, digest: &Digest, text: Option<&Text>) -> Result<bool> {
        let mut tx = self.begin().await?;
        if let Some(text) = text {
            texts::insert(&mut tx, text).await?;
        }
        let added = with_tx!(&mut tx, connection => sqlx::query(
            "-- digest.insert
            INSERT INTO digest (advisor, local_date, created_at, body, html, outbox_id)
            VALUES ($1, $2, $3, $4, $5, $6)
            ON CONFLICT (advisor, local_date) DO NOTHING")
            .bind(&digest.advisor)
            .bind(digest.local_date)
            .bind(digest.created_at)
            .bind(&digest.body)
            .bind(&digest.html)
            .bind(text.map(|text| &text.id))
            .execute(connection)
            .await?
            .rows_affected());
        if added != 1 {
            return Ok(false);
        }
        tx.commit().await?;
        Ok(true)
    }

    /// An advisor's latest digest.
    pub async fn last_digest(&self, advisor: &str) -> Result<Option<Digest>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- digest.last
            SELECT * FROM digest WHERE advisor = $1 ORDER BY local_date DESC LIMIT 1")
            .bind(advisor)
            .fetch_optional(pool)
            .await?))
    }

    /// Digests of all advisors since a local date, the latest first.
    pub async fn digests(&self, since: NaiveDate) -> Result<Vec<Digest>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- digest.since
            SELECT * FROM digest WHERE local_date >= $1 ORDER BY local_date DESC, advisor")
            .bind(since)
            .fetch_all(pool)
            .await?))
    }
}
