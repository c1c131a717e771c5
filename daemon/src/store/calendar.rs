//! The events of each advisor's calendar, as they were last made known.

use super::Store;
use super::error::Result;
use super::row::Place;
use chrono::{DateTime, Utc};

/// One event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CalendarEvent {
    /// Its id over the season.
    pub uid: String,
    /// What a calendar shows.
    pub summary: String,
    /// More of it.
    pub details: String,
    /// When it begins.
    pub starts_at: DateTime<Utc>,
    /// The first moment after it.
    pub ends_at: DateTime<Utc>,
    /// How often it was changed.
    pub sequence: u32,
    /// When that was last.
    pub changed_at: DateTime<Utc>,
    /// Whether it holds no more.
    pub withdrawn: bool,
}

struct Row {
    uid: String,
    summary: String,
    details: String,
    starts_at: DateTime<Utc>,
    ends_at: DateTime<Utc>,
    sequence: i64,
    changed_at: DateTime<Utc>,
    withdrawn: bool,
}

from_row!(Row { uid, summary, details, starts_at, ends_at, sequence, changed_at, withdrawn });

impl Row {
    fn read(self) -> Result<CalendarEvent> {
        let place = Place { table: "calendar_event", id: &self.uid };
        Ok(CalendarEvent {
            sequence: place.number("sequence", self.sequence)?,
            uid: self.uid,
            summary: self.summary,
            details: self.details,
            starts_at: self.starts_at,
            ends_at: self.ends_at,
            changed_at: self.changed_at,
            withdrawn: self.withdrawn,
        })
    }
}

impl Store {
    /// Every event of an advisor's calendar, the earliest first.
    pub async fn calendar(&self, advisor: &str) -> Result<Vec<CalendarEvent>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- calendar.of_advisor
            SELECT uid, summary, details, starts_at, ends_at, sequence, changed_at, withdrawn
            FROM calendar_event WHERE advisor = $1 ORDER BY starts_at, uid")
            .bind(advisor)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Writes events down in one step, each in the place of what stood under its id. An older
    /// sequence changes nothing.
    pub async fn keep_events(&self, advisor: &str, events: &[CalendarEvent]) -> Result<()> {
        let mut tx = self.begin().await?;
        for event in events {
            with_tx!(&mut tx, connection => sqlx::query(
                "-- calendar.keep
                INSERT INTO calendar_event (advisor, uid, summary, details, starts_at, ends_at,
                    sequence, changed_at, withdrawn)
                VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
                ON CONFLICT (advisor, uid) DO UPDATE SET summary = excluded.summary,
                    details = excluded.details, starts_at = excluded.starts_at,
                    ends_at = excluded.ends_at, sequence = excluded.sequence,
                    changed_at = excluded.changed_at, withdrawn = excluded.withdrawn
                WHERE calendar_event.sequence < excluded.sequence")
                .bind(advisor)
                .bind(&event.uid)
                .bind(&event.summary)
                .bind(&event.details)
                .bind(event.starts_at)
                .bind(event.ends_at)
                .bind(i64::from(event.sequence))
                .bind(event.changed_at)
                .bind(event.withdrawn)
                .execute(connection)
                .await?
                .rows_affected());
        }
        tx.commit().await
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    #[tokio::test(flavor = "multi_thread")]
    async fn an_event_is_replaced_by_its_later_self_only() {
        on_each(|store| async move {
            let event = |uid: &str, sequence, starts_at| CalendarEvent {
                uid: uid.to_owned(),
                summary: "North 80: post".to_owned(),
                details: String::new(),
                starts_at,
                ends_at: at(900),
                sequence,
                changed_at: at(0),
                withdrawn: sequence > 1,
            };
            let first = [event("b", 0, at(20)), event("a", 0, at(30))];
            store.keep_events("dee", &first).await.unwrap();
            store.keep_events("eli", &first[..1]).await.unwrap();
            assert_eq!(store.calendar("dee").await.unwrap(), first);
            let moved = event("a", 1, at(10));
            store.keep_events("dee", std::slice::from_ref(&moved)).await.unwrap();
            store.keep_events("dee", &[event("a", 1, at(40)), first[0].clone()]).await.unwrap();
            assert_eq!(store.calendar("dee").await.unwrap(), [moved, first[0].clone()]);
            assert_eq!(store.calendar("eli").await.unwrap(), first[..1]);
        })
        .await;
    }
}
