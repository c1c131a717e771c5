//! What is done once per key, whichever instance comes first.

use super::Store;
use super::error::Result;
use chrono::{DateTime, Utc};

impl Store {
    /// Marks `key` (a local date, say) under `name`; `false` when it was marked before.
    pub async fn mark(&self, name: &str, key: &str, at: DateTime<Utc>) -> Result<bool> {
        let marked = with_pool!(self, pool => sqlx::query(
            "-- mark.set
            INSERT INTO mark (name, key, at) VALUES ($1, $2, $3)
            ON CONFLICT (name, key) DO NOTHING")
            .bind(name)
            .bind(key)
            .bind(at)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(marked == 1)
    }

    /// When a key was last marked under `name`.
    #[cfg(test)]
    async fn last_mark(&self, name: &str) -> Result<Option<DateTime<Utc>>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- mark.last\nSELECT MAX(at) FROM mark WHERE name = $1")
            .bind(name)
            .fetch_one(pool)
            .await?))
    }
}

#[cfg(test)]
mod tests {
    use crate::store::testing::{at, on_each};

    #[tokio::test(flavor = "multi_thread")]
    async fn a_key_is_marked_once() {
        on_each(|store| async move {
            assert_eq!(store.last_mark("digest").await.unwrap(), None);
            assert!(store.mark("digest", "2026-05-01", at(0)).await.unwrap());
            assert!(!store.mark("digest", "2026-05-01", at(1)).await.unwrap());
            assert!(store.mark("digest", "2026-05-02", at(2)).await.unwrap());
            assert!(store.mark("pull", "2026-05-01", at(9)).await.unwrap());
            assert_eq!(store.last_mark("digest").await.unwrap(), Some(at(2)));
        })
        .await;
    }
}
