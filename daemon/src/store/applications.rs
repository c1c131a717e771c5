//! Records of herbicide passes: the passes, what is known of each, and what was asked of whom.

use super::error::Result;
use super::row::{Column, Place};
use super::texts::{self, Text};
use super::{Store, Tx};
use crate::records::{AppliedPass, Item, Origin, Part};
use chrono::{DateTime, NaiveDate, Utc};

/// One pass whose record is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Application {
    /// Its id.
    pub id: String,
    /// Id of the journal entry it is the record of.
    pub entry_id: String,
    /// The field.
    pub field: String,
    /// The local day of the pass.
    pub applied_on: NaiveDate,
    /// Which pass.
    pub pass: AppliedPass,
    /// What went on.
    pub parts: Vec<Part>,
    /// Person id, or "manager".
    pub by: String,
    /// Id of the person to be asked for what is missing, if anybody is.
    pub asked: Option<String>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
}

/// One item as somebody gave it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ItemRow {
    /// Its id.
    pub id: String,
    /// The record it belongs to.
    pub application_id: String,
    /// Key of the part it is about; empty for what belongs to the whole pass.
    pub part: String,
    /// Which item.
    pub item: Item,
    /// What it says, in the form it is shown in.
    pub value: String,
    /// Where it comes from.
    pub origin: Origin,
    /// Person id, "book", or whoever worked the command.
    pub by: String,
    /// When it was written down.
    pub at: DateTime<Utc>,
}

/// One item that a person was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// The record it belongs to.
    pub application_id: String,
    /// Key of the part it is about; empty for what belongs to the whole pass.
    pub part: String,
    /// Which item.
    pub item: Item,
    /// Who was asked.
    pub person: String,
    /// When.
    pub asked_at: DateTime<Utc>,
    /// When an answer could not be read and was helped.
    pub helped_at: Option<DateTime<Utc>>,
    /// When the person put it off.
    pub put_off_at: Option<DateTime<Utc>>,
    /// When it was asked once more.
    pub reminded_at: Option<DateTime<Utc>>,
}

/// What one answer changes, written together with the handling of the message.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RecordStep {
    /// Items it gives.
    pub items: Vec<ItemRow>,
    /// A question it marks as helped or put off.
    pub marked: Option<Question>,
    /// The next question, asked in the answer to it.
    pub asks: Option<Question>,
}

struct Row {
    id: String,
    entry_id: String,
    field: String,
    applied_on: NaiveDate,
    pass: String,
    parts: String,
    said_by: String,
    asked: Option<String>,
    created_at: DateTime<Utc>,
}

from_row!(Row { id, entry_id, field, applied_on, pass, parts, said_by, asked, created_at });

impl Row {
    fn read(self) -> Result<Application> {
        let place = Place { table: "application", id: &self.id };
        Ok(Application {
            pass: place.word("pass", &self.pass)?,
            parts: place.json("parts", &self.parts)?,
            id: self.id,
            entry_id: self.entry_id,
            field: self.field,
            applied_on: self.applied_on,
            by: self.said_by,
            asked: self.asked,
            created_at: self.created_at,
        })
    }
}

struct ItemColumns {
    id: String,
    application_id: String,
    part: String,
    item: String,
    value: String,
    origin: String,
    said_by: String,
    at: DateTime<Utc>,
}

from_row!(ItemColumns { id, application_id, part, item, value, origin, said_by, at });

impl ItemColumns {
    fn read(self) -> Result<ItemRow> {
        let place = Place { table: "application_item", id: &self.id };
        Ok(ItemRow {
            item: place.word("item", &self.item)?,
            origin: place.word("origin", &self.origin)?,
            id: self.id,
            application_id: self.application_id,
            part: self.part,
            value: self.value,
            by: self.said_by,
            at: self.at,
        })
    }
}

struct QuestionColumns {
    application_id: String,
    part: String,
    item: String,
    person: String,
    asked_at: DateTime<Utc>,
    helped_at: Option<DateTime<Utc>>,
    put_off_at: Option<DateTime<Utc>>,
    reminded_at: Option<DateTime<Utc>>,
}

from_row!(QuestionColumns {
    application_id,
    part,
    item,
    person,
    asked_at,
    helped_at,
    put_off_at,
    reminded_at
});

impl QuestionColumns {
    fn read(self) -> Result<Question> {
        let place = Place { table: "application_question", id: &self.application_id };
        Ok(Question {
            item: place.word("item", &self.item)?,
            application_id: self.application_id,
            part: self.part,
            person: self.person,
            asked_at: self.asked_at,
            helped_at: self.helped_at,
            put_off_at: self.put_off_at,
            reminded_at: self.reminded_at,
        })
    }
}

impl Store {
    /// Begins a record with what the book knows; `false`, and nothing done, when its journal entry
    /// has one already.
    pub async fn begin_application(
        &self,
        application: &Application,
        items: &[ItemRow],
    ) -> Result<bool> {
        let pass = Column("application", "pass").word(&application.pass)?;
        let parts = Column("application", "parts").json(&application.parts)?;
        let mut tx = self.begin().await?;
        let added = with_tx!(&mut tx, connection => sqlx::query(
            "-- application.begin
            INSERT INTO application
                (id, entry_id, field, applied_on, pass, parts, said_by, asked, created_at)
            VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
            ON CONFLICT (entry_id) DO NOTHING")
            .bind(&application.id)
            .bind(&application.entry_id)
            .bind(&application.field)
            .bind(application.applied_on)
            .bind(pass)
            .bind(parts)
            .bind(&application.by)
            .bind(&application.asked)
            .bind(application.created_at)
            .execute(connection)
            .await?
            .rows_affected());
        if added != 1 {
            return Ok(false);
        }
        for item in items {
            insert_item(&mut tx, item).await?;
        }
        tx.commit().await?;
        Ok(true)
    }

    /// Adds items to records; what stood before stays on record.
    pub async fn add_items(&self, items: &[ItemRow]) -> Result<()> {
        let mut tx = self.begin().await?;
        for item in items {
            insert_item(&mut tx, item).await?;
        }
        tx.commit().await
    }

    /// Records of passes from a day on, by field and day.
    pub async fn applications_since(&self, day: NaiveDate) -> Result<Vec<Application>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- application.since
            SELECT * FROM application WHERE applied_on >= $1
            ORDER BY field, applied_on, created_at, id")
            .bind(day)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// All that was ever said of the records of passes from a day on, in the order it was.
    pub async fn application_items_since(&self, day: NaiveDate) -> Result<Vec<ItemRow>> {
        let rows: Vec<ItemColumns> = with_pool!(self, pool => sqlx::query_as(
            "-- application.items
            SELECT application_item.* FROM application_item
            JOIN application ON application.id = application_item.application_id
            WHERE application.applied_on >= $1
            ORDER BY application_item.at, application_item.id")
            .bind(day)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(ItemColumns::read).collect()
    }

    /// All that was asked for the records of passes from a day on, in the order it was.
    pub async fn application_questions_since(&self, day: NaiveDate) -> Result<Vec<Question>> {
        let rows: Vec<QuestionColumns> = with_pool!(self, pool => sqlx::query_as(
            "-- application.questions
            SELECT application_question.* FROM application_question
            JOIN application ON application.id = application_question.application_id
            WHERE application.applied_on >= $1
            ORDER BY application_question.asked_at, application_question.application_id")
            .bind(day)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(QuestionColumns::read).collect()
    }

    /// Asks a person for an item by a text; `false`, and nothing done, when it was asked before.
    pub async fn ask_for_item(&self, question: &Question, text: &Text) -> Result<bool> {
        let mut tx = self.begin().await?;
        let asked = insert_question(&mut tx, question).await?;
        if asked {
            texts::insert(&mut tx, text).await?;
            tx.commit().await?;
        }
        Ok(asked)
    }

    /// Asks once more by a text; `false`, and nothing done, when that was done before.
    pub async fn remind_of_item(&self, question: &Question, text: &Text) -> Result<bool> {
        let item = Column("application_question", "item").word(&question.item)?;
        let mut tx = self.begin().await?;
        let reminded = with_tx!(&mut tx, connection => sqlx::query(
            "-- application.remind
            UPDATE application_question SET reminded_at = $4
            WHERE application_id = $1 AND part = $2 AND item = $3 AND reminded_at IS NULL")
            .bind(&question.application_id)
            .bind(&question.part)
            .bind(item)
            .bind(text.created_at)
            .execute(connection)
            .await?
            .rows_affected());
        if reminded != 1 {
            return Ok(false);
        }
        texts::insert(&mut tx, text).await?;
        tx.commit().await?;
        Ok(true)
    }
}

/// Writes what an answer changes. A next question that another instance has asked meanwhile is left
/// alone.
pub(super) async fn take_step(tx: &mut Tx, step: &RecordStep) -> Result<()> {
    for item in &step.items {
        insert_item(tx, item).await?;
    }
    if let Some(question) = &step.marked {
        let item = Column("application_question", "item").word(&question.item)?;
        with_tx!(&mut *tx, connection => sqlx::query(
            "-- application.mark
            UPDATE application_question SET helped_at = $4, put_off_at = $5
            WHERE application_id = $1 AND part = $2 AND item = $3")
            .bind(&question.application_id)
            .bind(&question.part)
            .bind(item)
            .bind(question.helped_at)
            .bind(question.put_off_at)
            .execute(connection)
            .await?
            .rows_affected());
    }
    if let Some(question) = &step.asks {
        insert_question(tx, question).await?;
    }
    Ok(())
}

async fn insert_item(tx: &mut Tx, row: &ItemRow) -> Result<()> {
    let item = Column("application_item", "item").word(&row.item)?;
    let origin = Column("application_item", "origin").word(&row.origin)?;
    with_tx!(tx, connection => sqlx::query(
        "-- application.item
        INSERT INTO application_item (id, application_id, part, item, value, origin, said_by, at)
        VALUES ($1, $2, $3, $4, $5, $6, $7, $8)")
        .bind(&row.id)
        .bind(&row.application_id)
        .bind(&row.part)
        .bind(item)
        .bind(&row.value)
        .bind(origin)
        .bind(&row.by)
        .bind(row.at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(())
}

async fn insert_question(tx: &mut Tx, question: &Question) -> Result<bool> {
    let item = Column("application_question", "item").word(&question.item)?;
    let added = with_tx!(tx, connection => sqlx::query(
        "-- application.ask
        INSERT INTO application_question (application_id, part, item, person, asked_at)
        VALUES ($1, $2, $3, $4, $5)
        ON CONFLICT (application_id, part, item) DO NOTHING")
        .bind(&question.application_id)
        .bind(&question.part)
        .bind(item)
        .bind(&question.person)
        .bind(question.asked_at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(added == 1)
}
