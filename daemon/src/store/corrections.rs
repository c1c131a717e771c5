//! Corrections: what went out on forecast weather and turned out otherwise, told once.

use super::error::Result;
use super::notices::{self, Notice, Row};
use super::row::Column;
use super::texts::{self, Text};
use super::{Store, Tx};
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_engine::findings::Evidence;
use serde::{Deserialize, Serialize};

/// Which way something that was told has turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// It is not so, or not yet.
    Gone,
    /// It has another date or side.
    Moved,
    /// What was taken back holds after all.
    Back,
}

impl Course {
    const fn number(self) -> i64 {
        match self {
            Self::Gone | Self::Moved => 1,
            Self::Back => 2,
        }
    }
}

/// One notice that is corrected.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrected {
    /// The notice as it reads from now on.
    pub notice: Notice,
    /// The evidence told before.
    pub was: Evidence,
    /// Which way it has turned.
    pub course: Course,
}

/// A text that corrects earlier ones. It is stored with all that it says, or not at all.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// What it corrects; at least one.
    pub corrected: Vec<Corrected>,
    /// What it tells for the first time.
    pub first: Vec<Notice>,
    /// The text.
    pub text: Text,
}

impl Store {
    /// Notices that went out on forecast weather, are still in time, and neither answered nor
    /// corrected.
    pub async fn unproven(&self, now: DateTime<Utc>) -> Result<Vec<Notice>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- notice.unproven
            SELECT * FROM notice
            WHERE provisional AND state IN ('open', 'expired') AND expires_at > $1
                AND EXISTS (
                    SELECT 1 FROM outbox_notice
                    JOIN outbox ON outbox.id = outbox_notice.outbox_id
                    WHERE outbox_notice.notice_id = notice.id AND outbox.state = 'sent')
                AND NOT EXISTS (SELECT 1 FROM correction WHERE correction.notice_id = notice.id)
            ORDER BY raised_at, id")
            .bind(now)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Notices of occasions since a day that were taken back and stay so.
    pub async fn taken_back(&self, occasion: NaiveDate) -> Result<Vec<Notice>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- notice.taken_back
            SELECT notice.* FROM notice
            JOIN correction ON correction.notice_id = notice.id AND correction.course = 'gone'
            WHERE notice.occasion >= $1
                AND NOT EXISTS (
                    SELECT 1 FROM correction later
                    WHERE later.notice_id = notice.id AND later.number > correction.number)
            ORDER BY notice.raised_at, notice.id")
            .bind(occasion)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Whether a text corrects an earlier one, or goes instead of one that did.
    pub async fn is_correction(&self, text: &str) -> Result<bool> {
        let rows: i64 = with_pool!(self, pool => sqlx::query_scalar(
            "-- correction.of_text
            WITH RECURSIVE origin (id) AS (
                SELECT CAST($1 AS TEXT)
                UNION
                SELECT fallback.outbox_id FROM fallback JOIN origin ON fallback.next_id = origin.id)
            SELECT COUNT(*) FROM correction JOIN origin ON correction.outbox_id = origin.id")
            .bind(text)
            .fetch_one(pool)
            .await?);
        Ok(rows > 0)
    }

    /// Stores corrections, each in one transaction, and says how many stand. One whose notices
    /// were answered or corrected meanwhile leaves no trace.
    pub async fn correct(&self, corrections: &[Correction]) -> Result<usize> {
        let mut stand = 0;
        for correction in corrections {
            stand += usize::from(self.correct_one(correction).await?);
        }
        Ok(stand)
    }

    async fn correct_one(&self, correction: &Correction) -> Result<bool> {
        let text = &correction.text;
        let mut corrected: Vec<&Corrected> = correction.corrected.iter().collect();
        corrected.sort_by(|left, right| left.notice.id.cmp(&right.notice.id));
        let mut tx = self.begin().await?;
        texts::insert(&mut tx, text).await?;
        for one in corrected {
            let stands = insert(&mut tx, one, text).await? && rewrite(&mut tx, one).await?;
            if !stands {
                return Ok(false);
            }
            notices::link(&mut tx, &text.id, &one.notice.id).await?;
        }
        for notice in &correction.first {
            if !notices::insert(&mut tx, notice).await? {
                return Ok(false);
            }
            notices::link(&mut tx, &text.id, &notice.id).await?;
            notices::supersede(&mut tx, notice).await?;
        }
        tx.commit().await?;
        Ok(true)
    }
}

async fn insert(tx: &mut Tx, one: &Corrected, text: &Text) -> Result<bool> {
    let course = Column("correction", "course").word(&one.course)?;
    let was = Column("correction", "was").json(&one.was)?;
    let inserted = with_tx!(tx, connection => sqlx::query(
        "-- correction.insert
        INSERT INTO correction (notice_id, number, course, was, outbox_id, at)
        VALUES ($1, $2, $3, $4, $5, $6)
        ON CONFLICT (notice_id, number) DO NOTHING")
        .bind(&one.notice.id)
        .bind(one.course.number())
        .bind(course)
        .bind(was)
        .bind(&text.id)
        .bind(text.created_at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(inserted == 1)
}

/// Lets the notice say what the text says; `false` when it was answered meanwhile.
async fn rewrite(tx: &mut Tx, one: &Corrected) -> Result<bool> {
    let notice = &one.notice;
    let evidence = Column("notice", "evidence").json(&notice.evidence)?;
    let closed = notice.closed.as_ref();
    let rewritten = with_tx!(tx, connection => sqlx::query(
        "-- notice.correct
        UPDATE notice SET state = $2, closed_at = $3, closed_by = $4, act_by = $5,
            expires_at = $6, provisional = $7, evidence = $8
        WHERE id = $1 AND state IN ('open', 'expired')")
        .bind(&notice.id)
        .bind(if closed.is_some() { "expired" } else { "open" })
        .bind(closed.map(|closing| closing.at))
        .bind(closed.and_then(|closing| closing.by.as_deref()))
        .bind(notice.act_by)
        .bind(notice.expires_at)
        .bind(notice.provisional)
        .bind(evidence)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(rewritten == 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, may, notice, on_each, text};
    use crate::store::{Closing, Ending, Settlement, Telling, TextFilter};
    use std::time::Duration;

    async fn told(store: &Store) {
        let telling = Telling { notices: vec![notice("n1", 1)], text: Some(text("t1")) };
        store.decide(&[telling]).await.unwrap();
        store.lease(None, at(0), at(2), "k", 9).await.unwrap();
        let sent = Settlement::Sent { provider_ids: Vec::new() };
        store.settle("t1", "k", at(1), Duration::ZERO, &sent).await.unwrap();
    }

    fn correction(id: &str, course: Course) -> Correction {
        let notice = notice("n1", 1);
        let corrected = Corrected { was: notice.evidence.clone(), notice, course };
        Correction { corrected: vec![corrected], first: Vec::new(), text: text(id) }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn only_what_was_sent_is_corrected_and_only_once() {
        on_each(|store| async move {
            let waiting = Telling { notices: vec![notice("n1", 1)], text: Some(text("t1")) };
            store.decide(&[waiting]).await.unwrap();
            assert!(store.unproven(at(1)).await.unwrap().is_empty(), "not sent yet");
            store.lease(None, at(0), at(2), "k", 9).await.unwrap();
            let sent = Settlement::Sent { provider_ids: Vec::new() };
            store.settle("t1", "k", at(1), Duration::ZERO, &sent).await.unwrap();
            assert_eq!(store.unproven(at(1)).await.unwrap().len(), 1);
            assert!(store.unproven(at(24 * 60)).await.unwrap().is_empty(), "its time is over");

            let twice = [correction("u1", Course::Gone), correction("u2", Course::Gone)];
            assert_eq!(store.correct(&twice).await.unwrap(), 1);
            assert!(store.unproven(at(1)).await.unwrap().is_empty());
            assert_eq!(store.taken_back(may(1)).await.unwrap().len(), 1);
            assert!(store.is_correction("u1").await.unwrap());
            assert_eq!(store.text("u2").await.unwrap(), None);

            let back = [correction("u3", Course::Back), correction("u4", Course::Back)];
            assert_eq!(store.correct(&back).await.unwrap(), 1);
            assert!(store.taken_back(may(1)).await.unwrap().is_empty());
            assert_eq!(store.open_notices().await.unwrap().len(), 1, "it holds again");
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn what_was_answered_is_never_corrected() {
        on_each(|store| async move {
            told(&store).await;
            let mut tx = store.begin().await.unwrap();
            let closing = Closing { ending: Ending::Answered, at: at(3), by: None };
            assert!(notices::close(&mut tx, "n1", &closing).await.unwrap());
            tx.commit().await.unwrap();
            assert!(store.unproven(at(4)).await.unwrap().is_empty());
            // Composed before the answer came, stored after it.
            assert_eq!(store.correct(&[correction("u1", Course::Gone)]).await.unwrap(), 0);
            assert_eq!(store.text("u1").await.unwrap(), None);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn instances_that_race_correct_it_once() {
        on_each(|store| async move {
            told(&store).await;
            let instances: Vec<_> = (0..4)
                .map(|instance| {
                    let store = store.clone();
                    let corrections = [correction(&format!("u{instance}"), Course::Moved)];
                    tokio::spawn(async move { store.correct(&corrections).await.unwrap() })
                })
                .collect();
            let mut stand = 0;
            for instance in instances {
                stand += instance.await.unwrap();
            }
            assert_eq!(stand, 1);
            assert_eq!(store.texts(&TextFilter::default()).await.unwrap().len(), 2);
        })
        .await;
    }
}
