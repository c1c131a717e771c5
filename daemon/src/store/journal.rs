//! The journal: what happened or was seen, append-only.

use super::error::Result;
use super::row::{Column, Place};
use super::{Store, Tx};
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_engine::journal::Event;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How an entry came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Via {
    /// As a reply.
    Sms,
    /// From the command line.
    Command,
}

/// One entry with its pedigree.
#[derive(Clone, PartialEq)]
pub struct Record {
    /// Its id.
    pub id: String,
    /// What it came from, such as a message's id and the entry's number in it; a replay brings
    /// the same key and adds nothing.
    pub source_key: String,
    /// The field.
    pub field: String,
    /// The local day on which it happened.
    pub happened_on: NaiveDate,
    /// What happened.
    pub event: Event,
    /// Person id, or "manager".
    pub by: String,
    /// How it came.
    pub via: Via,
    /// What was written, word for word.
    pub note: Option<String>,
    /// When it was recorded.
    pub created_at: DateTime<Utc>,
}

/// Leaves out what was written.
impl fmt::Debug for Record {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Record")
            .field("id", &self.id)
            .field("field", &self.field)
            .field("happened_on", &self.happened_on)
            .field("event", &self.event)
            .finish_non_exhaustive()
    }
}

struct Row {
    id: String,
    source_key: String,
    field: String,
    happened_on: NaiveDate,
    event: String,
    said_by: String,
    via: String,
    note: Option<String>,
    created_at: DateTime<Utc>,
}

from_row!(Row { id, source_key, field, happened_on, event, said_by, via, note, created_at });

impl Row {
    fn read(self) -> Result<Record> {
        let place = Place { table: "journal", id: &self.id };
        Ok(Record {
            event: place.json("event", &self.event)?,
            via: place.word("via", &self.via)?,
            id: self.id,
            source_key: self.source_key,
            field: self.field,
            happened_on: self.happened_on,
            by: self.said_by,
            note: self.note,
            created_at: self.created_at,
        })
    }
}

impl Store {
    /// Adds an entry; `false` when its source key is on record already.
    pub async fn append(&self, record: &Record) -> Result<bool> {
        let mut tx = self.begin().await?;
        let added = insert(&mut tx, record).await?;
        tx.commit().await?;
        Ok(added)
    }

    /// Entries of all fields, by field and the day they happened.
    pub async fn journal(&self) -> Result<Vec<Record>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- journal.all
            SELECT * FROM journal ORDER BY field, happened_on, created_at, id")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }
}

pub(super) async fn insert(tx: &mut Tx, record: &Record) -> Result<bool> {
    let event = Column("journal", "event").json(&record.event)?;
    let via = Column("journal", "via").word(&record.via)?;
    let added = with_tx!(tx, connection => sqlx::query(
        "-- journal.append
        INSERT INTO journal (id, source_key, field, happened_on, event, said_by, via, note,
            created_at)
        VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
        ON CONFLICT (source_key) DO NOTHING")
        .bind(&record.id)
        .bind(&record.source_key)
        .bind(&record.field)
        .bind(record.happened_on)
        .bind(event)
        .bind(&record.by)
        .bind(via)
        .bind(&record.note)
        .bind(record.created_at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(added == 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, may, on_each};
    use furrowbell_engine::units::Millimetres;

    fn record(id: &str, source_key: &str, day: u32, event: Event) -> Record {
        Record {
            id: id.to_owned(),
            source_key: source_key.to_owned(),
            field: "north-80".to_owned(),
            happened_on: may(day),
            event,
            by: "ann".to_owned(),
            via: Via::Sms,
            note: Some("words of hers".to_owned()),
            created_at: at(0),
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn entries_come_back_by_day_and_a_replay_adds_nothing() {
        on_each(|store| async move {
            let rain = Event::Rain { amount: Millimetres::new(17.8).unwrap() };
            let late = record("r1", "in1/0", 9, rain);
            let early = record("r2", "in1/1", 4, Event::Planted);
            assert!(store.append(&late).await.unwrap());
            assert!(store.append(&early).await.unwrap());
            assert!(!store.append(&record("r3", "in1/0", 9, Event::Hoed)).await.unwrap());
            assert_eq!(store.journal().await.unwrap(), [early, late]);
        })
        .await;
    }

    #[test]
    fn what_was_written_stays_out_of_debug_output() {
        let shown = format!("{:?}", record("r1", "k", 1, Event::Planted));
        assert!(!shown.contains("words of hers"), "{shown}");
    }
}
