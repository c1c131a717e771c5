//! The queue: a claim is a lease, and every settlement is fenced by its token.

use super::Store;
use super::error::{Error, Result};
use super::row::Place;
use super::texts::{Queued, Row, TextState};
use chrono::{DateTime, Utc};
use furrowbell_engine::findings::Urgency;
use std::cmp::Reverse;
use std::time::Duration;

/// What became of a claimed text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Settlement {
    /// The next hop took it.
    Sent {
        /// The id the next hop gave it.
        provider_id: Option<String>,
    },
    /// It certainly did not go; try again.
    Retry {
        /// When.
        due_at: DateTime<Utc>,
        /// What went wrong.
        why: String,
    },
    /// It will never go.
    Failed {
        /// What went wrong.
        why: String,
    },
    /// The answer was lost: it may or may not have gone.
    Unknown {
        /// When to try again at the risk of a repeat; `None` gives it up.
        again_at: Option<DateTime<Utc>>,
        /// What went wrong.
        why: String,
    },
    /// It was kept back without a try.
    Held {
        /// Why.
        why: String,
    },
    /// It was given back without a try, which does not count.
    Untried {
        /// When it may be claimed again.
        due_at: DateTime<Utc>,
    },
}

/// One try.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Attempt {
    /// Number of the claim; a claim whose worker died leaves a gap.
    pub number: i64,
    /// When it was settled.
    pub at: DateTime<Utc>,
    /// `sent`, `retry`, `failed` or `unknown`.
    pub outcome: String,
    /// What went wrong.
    pub detail: Option<String>,
    /// How long it took, ms.
    pub duration_ms: i64,
}

/// The columns that a settlement writes.
struct Change<'a> {
    state: &'static str,
    /// Word of the attempt row; `None` writes none and does not count the claim.
    outcome: Option<&'static str>,
    due_at: Option<DateTime<Utc>>,
    sent: bool,
    provider_id: Option<&'a str>,
    why: Option<&'a str>,
    unknown: bool,
}

impl Settlement {
    fn change(&self) -> Change<'_> {
        let change = Change {
            state: "waiting",
            outcome: None,
            due_at: None,
            sent: false,
            provider_id: None,
            why: None,
            unknown: false,
        };
        match self {
            Self::Sent { provider_id } => Change {
                state: "sent",
                outcome: Some("sent"),
                sent: true,
                provider_id: provider_id.as_deref(),
                ..change
            },
            Self::Retry { due_at, why } => {
                Change { outcome: Some("retry"), due_at: Some(*due_at), why: Some(why), ..change }
            }
            Self::Failed { why } => {
                Change { state: "failed", outcome: Some("failed"), why: Some(why), ..change }
            }
            Self::Unknown { again_at, why } => Change {
                state: if again_at.is_some() { "waiting" } else { "failed" },
                outcome: Some("unknown"),
                due_at: *again_at,
                why: Some(why),
                unknown: true,
                ..change
            },
            Self::Held { why } => Change { state: "held", why: Some(why), ..change },
            Self::Untried { due_at } => Change { due_at: Some(*due_at), ..change },
        }
    }
}

impl Store {
    /// Claims up to `limit` texts that are due, urgent ones first, until `lease_until`.
    ///
    /// The caller must settle each before its lease ends. A text whose last worker did not is
    /// claimed again with `possibly_twice` set; whether to risk the repeat is the caller's
    /// choice. The token must be new for every claim. Nothing is claimed for a person after
    /// STOP but its confirmation.
    pub async fn lease(
        &self,
        now: DateTime<Utc>,
        lease_until: DateTime<Utc>,
        token: &str,
        limit: u32,
    ) -> Result<Vec<Queued>> {
        // The guard stands twice: under PostgreSQL the inner choice may be stale by the time the
        // outer statement has the row.
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- outbox.lease
            UPDATE outbox SET state = 'sending', lease_token = $1, lease_until = $2,
                attempts = attempts + 1,
                possibly_twice = possibly_twice OR state = 'sending'
            WHERE id IN (
                    SELECT id FROM sendable WHERE ready_at <= $3 AND expires_at > $3
                    ORDER BY CASE urgency WHEN 'urgent' THEN 0 ELSE 1 END, ready_at, id
                    LIMIT $4)
                AND expires_at > $3
                AND ((state = 'waiting' AND due_at <= $3)
                    OR (state = 'sending' AND lease_until <= $3))
            RETURNING *")
            .bind(token)
            .bind(lease_until)
            .bind(now)
            .bind(i64::from(limit))
            .fetch_all(pool)
            .await?);
        let mut claimed = rows.into_iter().map(Row::read).collect::<Result<Vec<_>>>()?;
        claimed.sort_by_cached_key(|queued| {
            let text = &queued.text;
            (Reverse(text.urgency == Urgency::Urgent), text.due_at, text.id.clone())
        });
        Ok(claimed)
    }

    /// Records what became of a claimed text and ends the lease, in one transaction.
    ///
    /// # Errors
    /// [`Error::LostLease`] when the token holds the text no longer; nothing is changed then.
    pub async fn settle(
        &self,
        id: &str,
        token: &str,
        at: DateTime<Utc>,
        took: Duration,
        settlement: &Settlement,
    ) -> Result<()> {
        let change = settlement.change();
        let ended_at = (change.state != "waiting").then_some(at);
        let mut tx = self.begin().await?;
        let number: Option<i64> = with_tx!(&mut tx, connection => sqlx::query_scalar(
            "-- outbox.settle
            UPDATE outbox SET state = $3, due_at = COALESCE($4, due_at), sent_at = $5,
                ended_at = $6, provider_id = $7, last_error = $8,
                possibly_twice = possibly_twice OR $9, attempts = attempts - $10,
                lease_token = NULL, lease_until = NULL
            WHERE id = $1 AND lease_token = $2 AND state = 'sending'
            RETURNING attempts")
            .bind(id)
            .bind(token)
            .bind(change.state)
            .bind(change.due_at)
            .bind(change.sent.then_some(at))
            .bind(ended_at)
            .bind(change.provider_id)
            .bind(change.why)
            .bind(change.unknown)
            .bind(i64::from(change.outcome.is_none()))
            .fetch_optional(connection)
            .await?);
        let number = number.ok_or_else(|| Error::LostLease { id: id.to_owned() })?;
        if let Some(outcome) = change.outcome {
            let duration_ms = i64::try_from(took.as_millis()).unwrap_or(i64::MAX);
            with_tx!(&mut tx, connection => sqlx::query(
                "-- attempt.insert
                INSERT INTO attempt (outbox_id, number, at, outcome, detail, duration_ms)
                VALUES ($1, $2, $3, $4, $5, $6)")
                .bind(id)
                .bind(number)
                .bind(at)
                .bind(outcome)
                .bind(change.why)
                .bind(duration_ms)
                .execute(connection)
                .await?
                .rows_affected());
        }
        tx.commit().await
    }

    /// Ends texts that lost their sense before they went and returns them, each to one caller.
    /// Those with `possibly_twice` may have gone after all.
    pub async fn expire_texts(&self, now: DateTime<Utc>) -> Result<Vec<Queued>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- outbox.expire
            UPDATE outbox SET state = 'expired', ended_at = $1,
                possibly_twice = possibly_twice OR state = 'sending',
                lease_token = NULL, lease_until = NULL
            WHERE expires_at <= $1
                AND (state = 'waiting' OR (state = 'sending' AND lease_until <= $1))
            RETURNING *")
            .bind(now)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Earliest moment at which a text can be claimed, past or to come.
    pub async fn next_due(&self, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.next_due
            SELECT MIN(ready_at) FROM sendable WHERE expires_at > $1 AND ready_at < expires_at")
            .bind(now)
            .fetch_one(pool)
            .await?))
    }

    /// The recorded tries of a text, in order.
    pub async fn attempts(&self, id: &str) -> Result<Vec<Attempt>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- attempt.of_text
            SELECT number, at, outcome, detail, duration_ms FROM attempt
            WHERE outbox_id = $1 ORDER BY number")
            .bind(id)
            .fetch_all(pool)
            .await?))
    }

    /// How many texts stand in each state.
    pub async fn text_counts(&self) -> Result<Vec<(TextState, u64)>> {
        let rows: Vec<(String, i64)> = with_pool!(self, pool => sqlx::query_as(
            "-- outbox.counts\nSELECT state, COUNT(*) FROM outbox GROUP BY state ORDER BY state")
            .fetch_all(pool)
            .await?);
        rows.into_iter()
            .map(|(state, count)| {
                let place = Place { table: "outbox", id: &state };
                Ok((place.word("state", &state)?, place.number("count", count)?))
            })
            .collect()
    }
}
