//! What was asked of weather services and what came of it.

use super::error::Result;
use super::row::{Column, Place};
use super::{ROWS_A_STATEMENT, Store};
use crate::weather::body::Asked;
use crate::weather::source::SourceName;
use chrono::{DateTime, Utc};
use sqlx::QueryBuilder;
use std::time::Duration;

struct Row {
    at: DateTime<Utc>,
    source: String,
    path: String,
    status: Option<i64>,
    bytes: i64,
    issued_at: Option<DateTime<Utc>>,
    took_ms: i64,
    correlation_id: Option<String>,
    fault: Option<String>,
}

from_row!(Row { at, source, path, status, bytes, issued_at, took_ms, correlation_id, fault });

impl Row {
    fn read(self) -> Result<Asked> {
        let place = Place { table: "weather_request", id: &self.path };
        Ok(Asked {
            at: self.at,
            source: place.word("source", &self.source)?,
            status: self.status.map(|status| place.number("status", status)).transpose()?,
            bytes: place.number("bytes", self.bytes)?,
            issued_at: self.issued_at,
            took: Duration::from_millis(place.number("took_ms", self.took_ms)?),
            path: self.path,
            correlation_id: self.correlation_id,
            fault: self.fault,
        })
    }
}

impl Store {
    /// Keeps requests under ids of the caller's making.
    pub async fn keep_requests(&self, requests: &[(String, Asked)]) -> Result<()> {
        if requests.is_empty() {
            return Ok(());
        }
        let column = Column("weather_request", "source");
        let rows = requests.iter().map(|(id, asked)| Ok((id, asked, column.word(&asked.source)?)));
        let rows = rows.collect::<Result<Vec<_>>>()?;
        let mut tx = self.begin().await?;
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- weather_request.keep
                    INSERT INTO weather_request (id, at, source, path, status, bytes, issued_at,
                        took_ms, correlation_id, fault) ");
                query.push_values(chunk, |mut row, (id, asked, source)| {
                    row.push_bind(*id)
                        .push_bind(asked.at)
                        .push_bind(source)
                        .push_bind(&asked.path)
                        .push_bind(asked.status.map(i64::from))
                        .push_bind(i64::try_from(asked.bytes).unwrap_or(i64::MAX))
                        .push_bind(asked.issued_at)
                        .push_bind(i64::try_from(asked.took.as_millis()).unwrap_or(i64::MAX))
                        .push_bind(&asked.correlation_id)
                        .push_bind(&asked.fault);
                });
                query.build().execute(&mut *connection).await?;
            });
        }
        tx.commit().await
    }

    /// Requests since an instant, the earliest first.
    pub async fn requests_since(&self, since: DateTime<Utc>) -> Result<Vec<Asked>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_request.since
            SELECT at, source, path, status, bytes, issued_at, took_ms, correlation_id, fault
            FROM weather_request WHERE at >= $1 ORDER BY at, id")
            .bind(since)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// The last request to a source that went well, and the last one that did not.
    pub async fn last_requests(&self, source: SourceName) -> Result<[Option<Asked>; 2]> {
        let key = source.key();
        let good: Option<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_request.last_good
            SELECT at, source, path, status, bytes, issued_at, took_ms, correlation_id, fault
            FROM weather_request WHERE source = $1 AND fault IS NULL ORDER BY at DESC LIMIT 1")
            .bind(key)
            .fetch_optional(pool)
            .await?);
        let bad: Option<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_request.last_fault
            SELECT at, source, path, status, bytes, issued_at, took_ms, correlation_id, fault
            FROM weather_request WHERE source = $1 AND fault IS NOT NULL ORDER BY at DESC LIMIT 1")
            .bind(key)
            .fetch_optional(pool)
            .await?);
        Ok([good.map(Row::read).transpose()?, bad.map(Row::read).transpose()?])
    }

    /// Drops requests before an instant and says how many.
    pub async fn prune_requests(&self, before: DateTime<Utc>) -> Result<u64> {
        Ok(with_pool!(self, pool => sqlx::query(
            "-- weather_request.prune\nDELETE FROM weather_request WHERE at < $1")
            .bind(before)
            .execute(pool)
            .await?
            .rows_affected()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    fn asked(minute: i64, source: SourceName, fault: Option<&str>) -> Asked {
        Asked {
            at: at(minute),
            source,
            path: "/gridpoints/OAX/59,58".to_owned(),
            status: fault.is_none().then_some(200),
            bytes: 190_000,
            issued_at: fault.is_none().then(|| at(minute - 30)),
            took: Duration::from_millis(412),
            correlation_id: Some("6eb39977".to_owned()),
            fault: fault.map(str::to_owned),
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn requests_are_kept_found_and_pruned() {
        on_each(|store| async move {
            let none: [Option<Asked>; 2] = [None, None];
            assert_eq!(store.last_requests(SourceName::Nws).await.unwrap(), none);
            let good = asked(1, SourceName::Nws, None);
            let bad = asked(2, SourceName::Nws, Some("no whole answer (timed out)"));
            let other = asked(3, SourceName::MetNorway, None);
            let all = [good.clone(), bad.clone(), other.clone()];
            let rows = all.iter().enumerate().map(|(n, a)| (n.to_string(), a.clone()));
            store.keep_requests(&rows.collect::<Vec<_>>()).await.unwrap();
            store.keep_requests(&[]).await.unwrap();
            assert_eq!(store.requests_since(at(0)).await.unwrap(), all);
            assert_eq!(store.requests_since(at(2)).await.unwrap(), all[1..]);
            let last = store.last_requests(SourceName::Nws).await.unwrap();
            assert_eq!(last, [Some(good), Some(bad)]);
            assert_eq!(store.prune_requests(at(3)).await.unwrap(), 2);
            assert_eq!(store.requests_since(at(0)).await.unwrap(), [other]);
        })
        .await;
    }
}
