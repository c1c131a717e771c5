//! What is known of each address that weather is pulled from.

use super::Store;
use super::error::Result;
use super::row::Place;
use chrono::{DateTime, Utc};

/// The last pull of one address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fetch {
    /// The address.
    pub url: String,
    /// `ETag` as it came.
    pub etag: Option<String>,
    /// `Last-Modified` as it came.
    pub last_modified: Option<String>,
    /// When the source says it made the data; never steps back.
    pub update_time: Option<DateTime<Utc>>,
    /// When we last asked.
    pub fetched_at: DateTime<Utc>,
    /// HTTP status of the last answer; `None` when none came.
    pub status: Option<u16>,
    /// Failures in a row.
    pub failures: u32,
    /// The last failure.
    pub last_error: Option<String>,
    /// When to ask again.
    pub next_due_at: DateTime<Utc>,
}

struct Row {
    url: String,
    etag: Option<String>,
    last_modified: Option<String>,
    update_time: Option<DateTime<Utc>>,
    fetched_at: DateTime<Utc>,
    status: Option<i64>,
    failures: i64,
    last_error: Option<String>,
    next_due_at: DateTime<Utc>,
}

from_row!(Row {
    url,
    etag,
    last_modified,
    update_time,
    fetched_at,
    status,
    failures,
    last_error,
    next_due_at
});

impl Row {
    fn read(self) -> Result<Fetch> {
        let place = Place { table: "weather_fetch", id: &self.url };
        Ok(Fetch {
            status: self.status.map(|status| place.number("status", status)).transpose()?,
            failures: place.number("failures", self.failures)?,
            url: self.url,
            etag: self.etag,
            last_modified: self.last_modified,
            update_time: self.update_time,
            fetched_at: self.fetched_at,
            last_error: self.last_error,
            next_due_at: self.next_due_at,
        })
    }
}

impl Store {
    /// What is known of an address.
    pub async fn fetch(&self, url: &str) -> Result<Option<Fetch>> {
        let row: Option<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_fetch.get\nSELECT * FROM weather_fetch WHERE url = $1")
            .bind(url)
            .fetch_optional(pool)
            .await?);
        row.map(Row::read).transpose()
    }

    /// What is known of every address, by address.
    pub async fn fetches(&self) -> Result<Vec<Fetch>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_fetch.list\nSELECT * FROM weather_fetch ORDER BY url")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Keeps what came of a pull. An earlier or missing update time leaves the known one.
    pub async fn keep_fetch(&self, fetch: &Fetch) -> Result<()> {
        with_pool!(self, pool => sqlx::query(
            "-- weather_fetch.keep
            INSERT INTO weather_fetch (url, etag, last_modified, update_time, fetched_at, status,
                failures, last_error, next_due_at)
            VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
            ON CONFLICT (url) DO UPDATE SET
                etag = excluded.etag,
                last_modified = excluded.last_modified,
                update_time = CASE
                    WHEN weather_fetch.update_time IS NULL
                        OR excluded.update_time > weather_fetch.update_time
                    THEN excluded.update_time ELSE weather_fetch.update_time END,
                fetched_at = excluded.fetched_at,
                status = excluded.status,
                failures = excluded.failures,
                last_error = excluded.last_error,
                next_due_at = excluded.next_due_at")
            .bind(&fetch.url)
            .bind(&fetch.etag)
            .bind(&fetch.last_modified)
            .bind(fetch.update_time)
            .bind(fetch.fetched_at)
            .bind(fetch.status.map(i64::from))
            .bind(i64::from(fetch.failures))
            .bind(&fetch.last_error)
            .bind(fetch.next_due_at)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    #[tokio::test(flavor = "multi_thread")]
    async fn the_update_time_never_steps_back() {
        on_each(|store| async move {
            let mut fetch = Fetch {
                url: "https://weather.example/a".to_owned(),
                etag: Some("\"abc\"".to_owned()),
                last_modified: Some("Fri, 01 May 2026 11:00:00 GMT".to_owned()),
                update_time: None,
                fetched_at: at(0),
                status: Some(200),
                failures: 0,
                last_error: None,
                next_due_at: at(90),
            };
            assert_eq!(store.fetch(&fetch.url).await.unwrap(), None);
            store.keep_fetch(&fetch).await.unwrap();
            assert_eq!(store.fetch(&fetch.url).await.unwrap(), Some(fetch.clone()));

            for (told, kept) in [(Some(at(20)), at(20)), (Some(at(10)), at(20)), (None, at(20))] {
                fetch.update_time = told;
                fetch.status = None;
                fetch.failures += 1;
                store.keep_fetch(&fetch).await.unwrap();
                let known = store.fetch(&fetch.url).await.unwrap().unwrap();
                assert_eq!(known, Fetch { update_time: Some(kept), ..fetch.clone() });
            }
        })
        .await;
    }
}
