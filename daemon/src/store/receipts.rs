//! What became of texts after the next hop took them, and what was done about those that did not
//! arrive.

use super::error::Result;
use super::row::{Column, Place};
use super::texts::{self, Queued, Row, Text};
use super::{Store, Tx};
use chrono::{DateTime, Utc};
use furrowbell_config::people::RouteName;
use furrowbell_config::service::ReceiptState;
use serde::{Deserialize, Serialize};

/// One report of a next hop about one text, or one segment of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    /// The route it came by.
    pub route: RouteName,
    /// The next hop's id, or ours where the next hop repeats it.
    pub provider_id: String,
    /// What it says.
    pub state: ReceiptState,
    /// When it came, by our clock.
    pub at: DateTime<Utc>,
}

/// What the receipts of a text say taken together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Nothing final yet.
    Open,
    /// Every segment is on the phone.
    Delivered,
    /// A segment will not arrive, so the text cannot be read whole.
    Lost,
}

/// Why a text goes another way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// The next hop refused it for good, or its answer was given up.
    Refused,
    /// A receipt says that it will not arrive.
    Undelivered,
    /// No receipt came in time.
    NoReceipt,
}

/// A text that needs another way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stranded {
    /// The text.
    pub queued: Queued,
    /// Why.
    pub cause: Cause,
}

impl Store {
    /// Keeps a receipt; `false` when it said the same before.
    pub async fn record_receipt(&self, receipt: &Receipt) -> Result<bool> {
        let state = Column("receipt", "state").word(&receipt.state)?;
        let added = with_pool!(self, pool => sqlx::query(
            "-- receipt.insert
            INSERT INTO receipt (route, provider_id, state, at) VALUES ($1, $2, $3, $4)
            ON CONFLICT (route, provider_id, state) DO NOTHING")
            .bind(receipt.route.name())
            .bind(&receipt.provider_id)
            .bind(state)
            .bind(receipt.at)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(added == 1)
    }

    /// What the receipts of a text say so far. A delivery counts above what was said before it.
    pub async fn fate(&self, text: &str) -> Result<Fate> {
        let parts: Vec<(Option<String>, Option<String>)> = with_pool!(self, pool => sqlx::query_as(
            "-- receipt.fate
            SELECT outbox_part.provider_id, receipt.state FROM outbox
            JOIN outbox_part ON outbox_part.outbox_id = outbox.id
            LEFT JOIN receipt ON receipt.route = outbox_part.route
                AND receipt.provider_id = outbox_part.provider_id
            WHERE outbox.id = $1
            UNION ALL
            SELECT NULL, receipt.state FROM outbox
            JOIN receipt ON receipt.route = outbox.route AND receipt.provider_id = outbox.id
            WHERE outbox.id = $1")
            .bind(text)
            .fetch_all(pool)
            .await?);
        let place = Place { table: "receipt", id: text };
        let mut whole = Vec::new();
        let mut segments: Vec<(String, Vec<ReceiptState>)> = Vec::new();
        for (part, word) in parts {
            let state: Option<ReceiptState> =
                word.map(|word| place.word("state", &word)).transpose()?;
            let states = match part {
                None => &mut whole,
                Some(part) => {
                    let at = segments.iter().position(|(id, _)| *id == part);
                    let at = at.unwrap_or_else(|| {
                        segments.push((part, Vec::new()));
                        segments.len() - 1
                    });
                    &mut segments[at].1
                }
            };
            states.extend(state);
        }
        Ok(taken_together(&whole, &segments))
    }

    /// Notice texts that still make sense, need another way and have not gone it: refused for
    /// good, lost by receipt, or urgent and sent before `silent_since` on one of the routes that
    /// give receipts without a word of delivery.
    pub async fn stranded(
        &self,
        now: DateTime<Utc>,
        silent_since: DateTime<Utc>,
        reporting: &[RouteName],
    ) -> Result<Vec<Stranded>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- fallback.candidates
            SELECT * FROM outbox
            WHERE kind = 'notice' AND expires_at > $1 AND state IN ('failed', 'sent')
                AND NOT EXISTS (SELECT 1 FROM fallback WHERE fallback.outbox_id = outbox.id)
                AND (state = 'failed'
                    OR (urgency = 'urgent' AND sent_at <= $2)
                    OR EXISTS (SELECT 1 FROM outbox_part
                        JOIN receipt ON receipt.route = outbox_part.route
                            AND receipt.provider_id = outbox_part.provider_id
                        WHERE outbox_part.outbox_id = outbox.id
                            AND receipt.state IN ('undelivered', 'failed', 'expired'))
                    OR EXISTS (SELECT 1 FROM receipt
                        WHERE receipt.route = outbox.route AND receipt.provider_id = outbox.id
                            AND receipt.state IN ('undelivered', 'failed', 'expired')))
            ORDER BY created_at, id")
            .bind(now)
            .bind(silent_since)
            .fetch_all(pool)
            .await?);
        let mut stranded = Vec::new();
        for row in rows {
            let queued = row.read()?;
            let failed = queued.state == super::TextState::Failed;
            let reports = reporting.contains(&queued.text.route);
            let cause = match self.fate(&queued.text.id).await? {
                Fate::Delivered => continue,
                _ if failed => Cause::Refused,
                Fate::Lost => Cause::Undelivered,
                Fate::Open if reports && queued.sent_at.is_some_and(|at| at <= silent_since) => {
                    Cause::NoReceipt
                }
                Fate::Open => continue,
            };
            stranded.push(Stranded { queued, cause });
        }
        Ok(stranded)
    }

    /// Writes, in one transaction, that a text went another way, together with the text that
    /// goes instead; `false`, and nothing done, when it went another way before.
    pub async fn fall_back(
        &self,
        stranded: &Stranded,
        next: Option<&Text>,
        carries_notices: bool,
        at: DateTime<Utc>,
    ) -> Result<bool> {
        let id = &stranded.queued.text.id;
        let why = Column("fallback", "why").word(&stranded.cause)?;
        let mut tx = self.begin().await?;
        if let Some(next) = next {
            texts::insert(&mut tx, next).await?;
        }
        let added = with_tx!(&mut tx, connection => sqlx::query(
            "-- fallback.insert
            INSERT INTO fallback (outbox_id, at, why, next_id) VALUES ($1, $2, $3, $4)
            ON CONFLICT (outbox_id) DO NOTHING")
            .bind(id)
            .bind(at)
            .bind(why)
            .bind(next.map(|next| &next.id))
            .execute(connection)
            .await?
            .rows_affected());
        if added != 1 {
            return Ok(false);
        }
        if let Some(next) = next.filter(|_| carries_notices) {
            with_tx!(&mut tx, connection => sqlx::query(
                "-- outbox_notice.inherit
                INSERT INTO outbox_notice (outbox_id, notice_id)
                SELECT $1, notice_id FROM outbox_notice WHERE outbox_id = $2")
                .bind(&next.id)
                .bind(id)
                .execute(connection)
                .await?
                .rows_affected());
        }
        tx.commit().await?;
        Ok(true)
    }
}

fn taken_together(whole: &[ReceiptState], segments: &[(String, Vec<ReceiptState>)]) -> Fate {
    let delivered = |states: &[ReceiptState]| states.contains(&ReceiptState::Delivered);
    let lost = |states: &[ReceiptState]| !delivered(states) && states.iter().any(|s| s.is_loss());
    if delivered(whole) {
        Fate::Delivered
    } else if lost(whole) || segments.iter().any(|(_, states)| lost(states)) {
        Fate::Lost
    } else if !segments.is_empty() && segments.iter().all(|(_, states)| delivered(states)) {
        Fate::Delivered
    } else {
        Fate::Open
    }
}

/// Keeps the ids under which the next hop will report a text.
pub(super) async fn insert_parts(tx: &mut Tx, text: &str, ids: &[String]) -> Result<()> {
    for id in ids {
        with_tx!(&mut *tx, connection => sqlx::query(
            "-- outbox_part.insert
            INSERT INTO outbox_part (route, provider_id, outbox_id)
            SELECT route, $1, id FROM outbox WHERE id = $2
            ON CONFLICT (route, provider_id, outbox_id) DO NOTHING")
            .bind(id)
            .bind(text)
            .execute(connection)
            .await?
            .rows_affected());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, notice, on_each, text};
    use crate::store::{Settlement, Telling, TextState};
    use furrowbell_engine::findings::Urgency;
    use std::time::Duration;

    fn receipt(provider_id: &str, state: ReceiptState) -> Receipt {
        let provider_id = provider_id.to_owned();
        Receipt { route: RouteName::Sms, provider_id, state, at: at(1) }
    }

    async fn settle(store: &Store, id: &str, settlement: Settlement) {
        store.lease(None, at(0), at(1), id, 9).await.unwrap();
        store.settle(id, id, at(0), Duration::ZERO, &settlement).await.unwrap();
    }

    async fn sent(store: &Store, text: &Text, ids: &[&str]) {
        let told = Telling { notices: vec![notice(&text.id, 1)], text: Some(text.clone()) };
        store.decide(&[told]).await.unwrap();
        let provider_ids = ids.iter().map(|id| (*id).to_owned()).collect();
        settle(store, &text.id, Settlement::Sent { provider_ids }).await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_receipt_counts_once_and_may_come_before_the_answer() {
        on_each(|store| async move {
            let delivered = receipt("gw-1", ReceiptState::Delivered);
            assert!(store.record_receipt(&delivered).await.unwrap());
            assert!(!store.record_receipt(&delivered).await.unwrap());
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Open);
            sent(&store, &text("t1"), &["gw-1"]).await;
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Delivered);
            let other =
                Receipt { route: RouteName::Email, ..receipt("gw-2", ReceiptState::Failed) };
            store.record_receipt(&other).await.unwrap();
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Delivered);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_text_arrives_with_its_last_segment_and_is_lost_with_its_first() {
        on_each(|store| async move {
            sent(&store, &text("t1"), &["a", "b"]).await;
            store.record_receipt(&receipt("a", ReceiptState::Delivered)).await.unwrap();
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Open);
            store.record_receipt(&receipt("b", ReceiptState::Unknown)).await.unwrap();
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Open);
            store.record_receipt(&receipt("b", ReceiptState::Expired)).await.unwrap();
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Lost);
            // Centres have been known to deliver after all.
            store.record_receipt(&receipt("b", ReceiptState::Delivered)).await.unwrap();
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Delivered);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn our_own_id_stands_for_the_whole_text() {
        on_each(|store| async move {
            sent(&store, &text("t1"), &[]).await;
            store.record_receipt(&receipt("t1", ReceiptState::Sent)).await.unwrap();
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Open);
            store.record_receipt(&receipt("t1", ReceiptState::Delivered)).await.unwrap();
            assert_eq!(store.fate("t1").await.unwrap(), Fate::Delivered);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn what_strands_is_found_and_goes_another_way_once() {
        on_each(|store| async move {
            let mut urgent = text("t1");
            urgent.urgency = Urgency::Urgent;
            sent(&store, &urgent, &["gw-1"]).await;
            let found = async |minutes, routes: &[RouteName]| {
                let silent_since = at(minutes - 10);
                let found = store.stranded(at(minutes), silent_since, routes).await.unwrap();
                found.into_iter().map(|one| one.cause).collect::<Vec<_>>()
            };
            let sms = [RouteName::Sms];
            assert_eq!(found(9, &sms).await, []);
            assert_eq!(found(10, &sms).await, [Cause::NoReceipt]);
            assert_eq!(found(10, &[]).await, []);
            store.record_receipt(&receipt("gw-1", ReceiptState::Undelivered)).await.unwrap();
            assert_eq!(found(1, &[]).await, [Cause::Undelivered]);
            assert_eq!(found(24 * 60, &sms).await, [], "it has lost its sense");

            let stranded = store.stranded(at(1), at(0), &sms).await.unwrap().remove(0);
            let mut next = text("t2");
            next.route = RouteName::Email;
            assert!(store.fall_back(&stranded, Some(&next), true, at(1)).await.unwrap());
            let twin = Text { id: "t3".to_owned(), ..next.clone() };
            assert!(!store.fall_back(&stranded, Some(&twin), true, at(1)).await.unwrap());
            assert_eq!(store.text("t3").await.unwrap(), None);
            assert_eq!(store.text("t2").await.unwrap().unwrap().state, TextState::Waiting);
            assert_eq!(store.notices_of_text("t2").await.unwrap().len(), 1);
            assert_eq!(found(10, &sms).await, []);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_refused_text_strands_at_once() {
        on_each(|store| async move {
            store.queue(&text("t1")).await.unwrap();
            settle(&store, "t1", Settlement::Failed { why: "no such number".to_owned() }).await;
            let found = store.stranded(at(0), at(-10), &[]).await.unwrap();
            assert_eq!(found.len(), 1);
            assert_eq!(found[0].cause, Cause::Refused);
        })
        .await;
    }
}
