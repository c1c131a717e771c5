//! The advisors' morning messages, one a local date.

use super::Store;
use super::error::Result;
use super::texts::{self, Text};
use chrono::{DateTime, NaiveDate, Utc};
use std::fmt;

/// One morning message.
#[derive(Clone, PartialEq, Eq)]
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
    /// The calendar that goes with it by mail.
    pub calendar: Option<String>,
    /// The text that carries it, when one does.
    pub outbox_id: Option<String>,
}

from_row!(Digest { advisor, local_date, created_at, body, html, calendar, outbox_id });

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
            INSERT INTO digest (advisor, local_date, created_at, body, html, calendar, outbox_id)
            VALUES ($1, $2, $3, $4, $5, $6, $7)
            ON CONFLICT (advisor, local_date) DO NOTHING")
            .bind(&digest.advisor)
            .bind(digest.local_date)
            .bind(digest.created_at)
            .bind(&digest.body)
            .bind(&digest.html)
            .bind(&digest.calendar)
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

    /// The digest that a text carries, if it carries one.
    pub async fn digest_of_text(&self, text: &str) -> Result<Option<Digest>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- digest.of_text\nSELECT * FROM digest WHERE outbox_id = $1")
            .bind(text)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::TextFilter;
    use crate::store::testing::{at, may, on_each, text};

    fn digest(day: u32) -> Digest {
        Digest {
            advisor: "dee".to_owned(),
            local_date: may(day),
            created_at: at(0),
            body: "Call Ann first.".to_owned(),
            html: Some("<p>Call Ann first.</p>".to_owned()),
            calendar: Some("BEGIN:VCALENDAR".to_owned()),
            outbox_id: None,
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn an_advisor_gets_one_digest_a_date() {
        on_each(|store| async move {
            assert_eq!(store.last_digest("dee").await.unwrap(), None);
            assert!(store.store_digest(&digest(1), Some(&text("t1"))).await.unwrap());
            assert!(!store.store_digest(&digest(1), Some(&text("t2"))).await.unwrap());
            assert_eq!(store.text("t2").await.unwrap(), None);
            assert!(store.store_digest(&digest(2), None).await.unwrap());

            let first = Digest { outbox_id: Some("t1".to_owned()), ..digest(1) };
            assert_eq!(store.last_digest("dee").await.unwrap(), Some(digest(2)));
            assert_eq!(store.digests(may(1)).await.unwrap(), [digest(2), first]);
            assert_eq!(store.last_digest("eli").await.unwrap(), None);
            assert_eq!(store.digest_of_text("t1").await.unwrap().unwrap().local_date, may(1));
            assert_eq!(store.digest_of_text("t2").await.unwrap(), None);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn two_instances_send_one_digest() {
        on_each(|store| async move {
            let race: Vec<_> = (0..4)
                .map(|instance| {
                    let store = store.clone();
                    let text = text(&format!("t{instance}"));
                    tokio::spawn(async move {
                        store.store_digest(&digest(1), Some(&text)).await.unwrap()
                    })
                })
                .collect();
            let mut stored = 0;
            for instance in race {
                stored += usize::from(instance.await.unwrap());
            }
            assert_eq!(stored, 1);
            let filter = TextFilter::default();
            assert_eq!(store.texts(&filter).await.unwrap().len(), 1);
        })
        .await;
    }
}
