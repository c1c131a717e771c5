//! Who left a list of mail and who came back: a ledger, never edited.

use super::Store;
use super::error::Result;
use chrono::{DateTime, Utc};

/// What a person said of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ListWord {
    /// Not by mail any more.
    Leave,
    /// By mail again.
    Return,
}

impl ListWord {
    const fn name(self) -> &'static str {
        match self {
            Self::Leave => "leave",
            Self::Return => "return",
        }
    }
}

impl Store {
    /// Writes down what a person said of a list.
    pub async fn record_list_word(
        &self,
        id: &str,
        (person, list): (&str, &str),
        word: ListWord,
        at: DateTime<Utc>,
        how: &str,
    ) -> Result<()> {
        with_pool!(self, pool => sqlx::query(
            "-- list_word.insert
            INSERT INTO list_word (id, person, list, word, at, how)
            VALUES ($1, $2, $3, $4, $5, $6)")
            .bind(id)
            .bind(person)
            .bind(list)
            .bind(word.name())
            .bind(at)
            .bind(how)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(())
    }

    /// Whether the person's last word on the list was to leave it.
    pub async fn has_left(&self, person: &str, list: &str) -> Result<bool> {
        let word: Option<String> = with_pool!(self, pool => sqlx::query_scalar(
            "-- list_word.last
            SELECT word FROM list_word WHERE person = $1 AND list = $2
            ORDER BY at DESC, id DESC LIMIT 1")
            .bind(person)
            .bind(list)
            .fetch_optional(pool)
            .await?);
        Ok(word.as_deref() == Some(ListWord::Leave.name()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    #[tokio::test(flavor = "multi_thread")]
    async fn the_last_word_on_a_list_counts_for_that_list_and_person() {
        on_each(|store| async move {
            assert!(!store.has_left("dee", "digest").await.unwrap());
            let said = [
                ("w1", "dee", ListWord::Leave, 0),
                ("w2", "dee", ListWord::Return, 5),
                ("w3", "dee", ListWord::Leave, 5),
                ("w4", "eli", ListWord::Return, 9),
            ];
            for (number, (id, person, word, minute)) in said.into_iter().enumerate() {
                let to = (person, "digest");
                store.record_list_word(id, to, word, at(minute), "one-click").await.unwrap();
                let left = store.has_left("dee", "digest").await.unwrap();
                assert_eq!(left, [true, false, true, true][number]);
            }
            assert!(!store.has_left("eli", "digest").await.unwrap());
            assert!(!store.has_left("dee", "texts").await.unwrap());
        })
        .await;
    }
}
