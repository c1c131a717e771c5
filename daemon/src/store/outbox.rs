//! The queue: a claim is a lease, and every settlement is fenced by its token.

use super::error::{Error, Result};
use super::receipts;
#[cfg(test)]
use super::row::Place;
#[cfg(test)]
use super::texts::TextState;
use super::texts::{Queued, Row};
use super::{Store, notices};
use chrono::{DateTime, Utc};
use furrowbell_config::people::RouteName;
use furrowbell_engine::findings::Urgency;
use std::cmp::Reverse;
use std::time::Duration;

/// What became of a claimed text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Settlement {
    /// The next hop took it.
    Sent {
        /// The ids the next hop gave it, one a segment or one in all.
        provider_ids: Vec<String>,
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
#[derive(Debug, Clone, PartialEq, Eq)]
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

from_row!(Attempt { number, at, outcome, detail, duration_ms });

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
            Self::Sent { provider_ids } => Change {
                state: "sent",
                outcome: Some("sent"),
                sent: true,
                provider_id: provider_ids.first().map(String::as_str),
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
    /// Claims up to `limit` texts that are due, of one route or of all, urgent ones first, until
    /// `lease_until`.
    ///
    /// The caller must settle each before its lease ends. A text whose last worker did not is
    /// claimed again with `possibly_twice` set; whether to risk the repeat is the caller's
    /// choice. The token must be new for every claim. Nothing is claimed for a person after
    /// STOP but its confirmation.
    pub async fn lease(
        &self,
        route: Option<RouteName>,
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
                    SELECT id FROM sendable
                    WHERE ready_at <= $3 AND expires_at > $3
                        AND (CAST($5 AS TEXT) IS NULL OR route = $5)
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
            .bind(route.map(RouteName::name))
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
        if let Settlement::Sent { provider_ids } = settlement {
            receipts::insert_parts(&mut tx, id, provider_ids).await?;
        }
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

    /// Ends texts that lost their sense before they went and returns them, each to one caller. What
    /// they were to tell and what still holds is told anew.
    /// Those with `possibly_twice` may have gone after all.
    pub async fn expire_texts(&self, now: DateTime<Utc>) -> Result<Vec<Queued>> {
        let mut tx = self.begin().await?;
        let rows: Vec<Row> = with_tx!(&mut tx, connection => sqlx::query_as(
            "-- outbox.expire
            UPDATE outbox SET state = 'expired', ended_at = $1,
                possibly_twice = possibly_twice OR state = 'sending',
                lease_token = NULL, lease_until = NULL
            WHERE expires_at <= $1
                AND (state = 'waiting' OR (state = 'sending' AND lease_until <= $1))
            RETURNING *")
            .bind(now)
            .fetch_all(connection)
            .await?);
        let expired = rows.into_iter().map(Row::read).collect::<Result<Vec<_>>>()?;
        for queued in expired.iter().filter(|queued| !queued.possibly_twice) {
            notices::forget_untold(&mut tx, &queued.text.id, now).await?;
        }
        tx.commit().await?;
        Ok(expired)
    }

    /// Earliest moment at which a text of one route, or of any, can be claimed, past or to come.
    pub async fn next_due(
        &self,
        route: Option<RouteName>,
        now: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.next_due
            SELECT MIN(ready_at) FROM sendable
            WHERE expires_at > $1 AND ready_at < expires_at
                AND (CAST($2 AS TEXT) IS NULL OR route = $2)")
            .bind(now)
            .bind(route.map(RouteName::name))
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
    #[cfg(test)]
    async fn text_counts(&self) -> Result<Vec<(TextState, u64)>> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each, text};
    use crate::store::texts;
    use std::collections::BTreeSet;

    const TOOK: Duration = Duration::from_millis(120);

    fn sent() -> Settlement {
        Settlement::Sent { provider_ids: vec!["gw-1".to_owned()] }
    }

    fn ids(claimed: &[Queued]) -> Vec<&str> {
        claimed.iter().map(|queued| queued.text.id.as_str()).collect()
    }

    async fn state(store: &Store, id: &str) -> TextState {
        store.text(id).await.unwrap().unwrap().state
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn what_is_due_is_claimed_urgent_first_and_settled_once() {
        on_each(|store| async move {
            let mut later = text("later");
            later.due_at = at(60);
            let mut urgent = text("urgent");
            urgent.urgency = Urgency::Urgent;
            urgent.due_at = at(5);
            let mut stale = text("stale");
            stale.expires_at = at(10);
            for text in [&later, &urgent, &stale, &text("plain")] {
                store.queue(text).await.unwrap();
            }
            assert_eq!(store.next_due(None, at(0)).await.unwrap(), Some(at(0)));

            let claimed = store.lease(None, at(10), at(12), "k1", 9).await.unwrap();
            assert_eq!(ids(&claimed), ["urgent", "plain"]);
            assert_eq!((claimed[0].attempts, claimed[0].possibly_twice), (1, false));
            assert!(store.lease(None, at(11), at(13), "k2", 9).await.unwrap().is_empty());
            assert_eq!(store.next_due(None, at(11)).await.unwrap(), Some(at(12)));

            store.settle("urgent", "k1", at(11), TOOK, &sent()).await.unwrap();
            let done = store.text("urgent").await.unwrap().unwrap();
            assert_eq!(done.state, TextState::Sent);
            assert_eq!((done.sent_at, done.ended_at), (Some(at(11)), Some(at(11))));
            assert_eq!(done.provider_id.as_deref(), Some("gw-1"));
            let again = store.settle("urgent", "k1", at(11), TOOK, &sent()).await;
            assert!(matches!(again, Err(Error::LostLease { id }) if id == "urgent"));
            let expected = Attempt {
                number: 1,
                at: at(11),
                outcome: "sent".to_owned(),
                detail: None,
                duration_ms: 120,
            };
            assert_eq!(store.attempts("urgent").await.unwrap(), [expected]);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_limit_takes_the_urgent_and_the_longest_due() {
        on_each(|store| async move {
            for number in 0..6 {
                let mut text = text(&format!("t{number}"));
                text.due_at = at(-number);
                if number == 2 {
                    text.urgency = Urgency::Urgent;
                }
                store.queue(&text).await.unwrap();
            }
            let claimed = store.lease(None, at(1), at(3), "k1", 3).await.unwrap();
            assert_eq!(ids(&claimed), ["t2", "t5", "t4"]);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_worker_that_died_leaves_a_text_that_may_go_twice() {
        on_each(|store| async move {
            store.queue(&text("t1")).await.unwrap();
            store.lease(None, at(0), at(2), "dead", 9).await.unwrap();
            assert!(store.lease(None, at(1), at(3), "k2", 9).await.unwrap().is_empty());
            let claimed = store.lease(None, at(2), at(4), "k2", 9).await.unwrap();
            assert_eq!((claimed[0].attempts, claimed[0].possibly_twice), (2, true));

            let late = store.settle("t1", "dead", at(3), TOOK, &sent()).await;
            assert!(matches!(late, Err(Error::LostLease { .. })));
            assert_eq!(state(&store, "t1").await, TextState::Sending);
            assert!(store.attempts("t1").await.unwrap().is_empty());
            store.settle("t1", "k2", at(3), TOOK, &sent()).await.unwrap();
            assert_eq!(store.attempts("t1").await.unwrap()[0].number, 2);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn every_settlement_leaves_its_own_trace() {
        on_each(|store| async move {
            let why = || "the gateway is away".to_owned();
            // Settlement, state, due, may go twice, claims counted, outcome on record.
            let cases = [
                (
                    Settlement::Retry { due_at: at(30), why: why() },
                    (TextState::Waiting, at(30), false, 1, Some("retry")),
                ),
                (
                    Settlement::Failed { why: why() },
                    (TextState::Failed, at(0), false, 1, Some("failed")),
                ),
                (
                    Settlement::Unknown { again_at: Some(at(40)), why: why() },
                    (TextState::Waiting, at(40), true, 1, Some("unknown")),
                ),
                (
                    Settlement::Unknown { again_at: None, why: why() },
                    (TextState::Failed, at(0), true, 1, Some("unknown")),
                ),
                (Settlement::Held { why: why() }, (TextState::Held, at(0), false, 0, None)),
                (
                    Settlement::Untried { due_at: at(50) },
                    (TextState::Waiting, at(50), false, 0, None),
                ),
            ];
            for (number, (settlement, expected)) in cases.iter().enumerate() {
                let id = format!("t{number}");
                store.queue(&text(&id)).await.unwrap();
                assert_eq!(ids(&store.lease(None, at(1), at(3), &id, 9).await.unwrap()), [&id]);
                store.settle(&id, &id, at(2), TOOK, settlement).await.unwrap();
                let after = store.text(&id).await.unwrap().unwrap();
                let attempts = store.attempts(&id).await.unwrap();
                let outcome = attempts.first().map(|attempt| attempt.outcome.as_str());
                let found =
                    (after.state, after.text.due_at, after.possibly_twice, after.attempts, outcome);
                assert_eq!(found, *expected, "{settlement:?}");
                assert_eq!(after.ended_at.is_some(), after.state != TextState::Waiting);
                assert_eq!(after.sent_at, None);
            }
            let counts = store.text_counts().await.unwrap();
            let expected = [(TextState::Failed, 2), (TextState::Held, 1), (TextState::Waiting, 3)];
            assert_eq!(counts, expected);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn what_lost_its_sense_expires_and_is_named_once() {
        on_each(|store| async move {
            for id in ["held-by-nobody", "in-flight", "given-up"] {
                let mut text = text(id);
                text.expires_at = at(10);
                store.queue(&text).await.unwrap();
                if id != "held-by-nobody" {
                    let until = if id == "in-flight" { at(20) } else { at(5) };
                    let mut others = store.lease(None, at(0), until, id, 9).await.unwrap();
                    others.retain(|other| other.text.id != id);
                    for other in others {
                        let due_at = other.text.due_at;
                        let back = Settlement::Untried { due_at };
                        store.settle(&other.text.id, id, at(0), TOOK, &back).await.unwrap();
                    }
                }
            }
            assert!(store.expire_texts(at(9)).await.unwrap().is_empty());
            let expired = store.expire_texts(at(10)).await.unwrap();
            let named: BTreeSet<_> = expired
                .iter()
                .map(|queued| (queued.text.id.as_str(), queued.possibly_twice))
                .collect();
            assert_eq!(named, [("given-up", true), ("held-by-nobody", false)].into());
            assert!(store.expire_texts(at(10)).await.unwrap().is_empty());
            assert!(store.lease(None, at(10), at(12), "k", 9).await.unwrap().is_empty());
            assert_eq!(store.next_due(None, at(10)).await.unwrap(), None);
            // The worker that still holds its lease settles as usual.
            store.settle("in-flight", "in-flight", at(11), TOOK, &sent()).await.unwrap();
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn eight_workers_claim_two_thousand_texts_once() {
        on_each(|store| async move {
            let mut tx = store.begin().await.unwrap();
            for number in 0..2_000 {
                let text = text(&format!("t{number:04}"));
                texts::insert(&mut tx, &text).await.unwrap();
            }
            tx.commit().await.unwrap();
            let workers: Vec<_> = (0..8)
                .map(|worker| {
                    let store = store.clone();
                    tokio::spawn(async move {
                        let mut claimed = Vec::new();
                        for turn in 0.. {
                            let token = format!("{worker}-{turn}");
                            let batch = store.lease(None, at(1), at(9), &token, 10).await.unwrap();
                            if batch.is_empty() {
                                // Under PostgreSQL a batch chosen by others may come back empty.
                                if store.next_due(None, at(1)).await.unwrap() > Some(at(1)) {
                                    break;
                                }
                                continue;
                            }
                            claimed.extend(batch.into_iter().map(|queued| queued.text.id));
                        }
                        claimed
                    })
                })
                .collect();
            let mut claimed = Vec::new();
            for worker in workers {
                claimed.extend(worker.await.unwrap());
            }
            assert_eq!(claimed.len(), 2_000);
            assert_eq!(claimed.into_iter().collect::<BTreeSet<_>>().len(), 2_000);
        })
        .await;
    }
}
