//! What the clocks showed, a row a day: a cache and a record, never an input.

use super::error::Result;
use super::{ROWS_A_STATEMENT, Store};
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use sqlx::QueryBuilder;
use std::collections::BTreeMap;

/// One day of one field's season.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct SeasonDay {
    /// The field.
    pub field: String,
    /// The local day.
    pub day: NaiveDate,
    /// The engine's row as JSON.
    pub body: String,
    /// When this body was first computed.
    pub computed_at: DateTime<Utc>,
}

impl Store {
    /// Keeps one season of one field, which lies in one calendar year: changed days are replaced
    /// and days of that year outside the season dropped. Says how many rows changed.
    pub async fn keep_season(
        &self,
        field: &str,
        days: &BTreeMap<NaiveDate, String>,
        computed_at: DateTime<Utc>,
    ) -> Result<u64> {
        let (Some((first, _)), Some((last, _))) = (days.first_key_value(), days.last_key_value())
        else {
            return Ok(0);
        };
        let year_start = first.with_ordinal(1).unwrap_or(*first);
        let year_end = last.with_month(12).and_then(|day| day.with_day(31)).unwrap_or(*last);
        let rows: Vec<_> = days.iter().collect();
        let mut tx = self.begin().await?;
        let mut changed = with_tx!(&mut tx, connection => sqlx::query(
            "-- season_day.drop_outside
            DELETE FROM season_day WHERE field = $1
                AND ((day >= $2 AND day < $3) OR (day > $4 AND day <= $5))")
            .bind(field)
            .bind(year_start)
            .bind(first)
            .bind(last)
            .bind(year_end)
            .execute(connection)
            .await?
            .rows_affected());
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            changed += with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- season_day.keep
                    INSERT INTO season_day (field, day, body, computed_at) ");
                query.push_values(chunk, |mut row, (day, body)| {
                    row.push_bind(field)
                        .push_bind(**day)
                        .push_bind(body.as_str())
                        .push_bind(computed_at);
                });
                query.push(
                    " ON CONFLICT (field, day) DO UPDATE SET
                        body = excluded.body, computed_at = excluded.computed_at
                    WHERE season_day.body <> excluded.body");
                query.build().execute(&mut *connection).await?.rows_affected()
            });
        }
        tx.commit().await?;
        Ok(changed)
    }

    /// Days of a field's season from `first` to `last`, both included.
    pub async fn season(
        &self,
        field: &str,
        first: NaiveDate,
        last: NaiveDate,
    ) -> Result<Vec<SeasonDay>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- season_day.range
            SELECT * FROM season_day WHERE field = $1 AND day >= $2 AND day <= $3 ORDER BY day")
            .bind(field)
            .bind(first)
            .bind(last)
            .fetch_all(pool)
            .await?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, may, on_each};

    fn season(first: u32, last: u32) -> BTreeMap<NaiveDate, String> {
        (first..=last).map(|day| (may(day), format!("{{\"gdd\":{day}}}"))).collect()
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn only_what_changed_is_written_and_days_outside_go() {
        on_each(|store| async move {
            let last_year = NaiveDate::from_ymd_opt(2025, 5, 3).unwrap();
            let old = BTreeMap::from([(last_year, "{}".to_owned())]);
            assert_eq!(store.keep_season("north-80", &old, at(-9)).await.unwrap(), 1);
            assert_eq!(store.keep_season("north-80", &season(1, 9), at(0)).await.unwrap(), 9);
            assert_eq!(store.keep_season("north-80", &season(1, 9), at(1)).await.unwrap(), 0);
            assert_eq!(store.keep_season("south-40", &season(1, 3), at(1)).await.unwrap(), 3);

            // A corrected planting day moves the start, one day changes, one is new.
            let mut corrected = season(3, 10);
            corrected.insert(may(5), "{\"gdd\":50}".to_owned());
            assert_eq!(store.keep_season("north-80", &corrected, at(2)).await.unwrap(), 2 + 1 + 1);
            let kept = store.season("north-80", last_year, may(31)).await.unwrap();
            let days: Vec<_> = kept.iter().map(|row| row.day).collect();
            let mut expected = vec![last_year];
            expected.extend((3..=10).map(may));
            assert_eq!(days, expected);
            let changed: Vec<_> =
                kept.iter().filter(|row| row.computed_at == at(2)).map(|row| row.day).collect();
            assert_eq!(changed, [may(5), may(10)]);
            assert_eq!(store.season("south-40", may(1), may(31)).await.unwrap().len(), 3);
        })
        .await;
    }
}
