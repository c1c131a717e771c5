//! What the clocks showed, a row a day: a cache and a record, never an input.

use super::error::Result;
use super::row::Column;
use super::{ROWS_A_STATEMENT, Store};
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_engine::season::DayRow;
use sqlx::QueryBuilder;

/// What is to be kept of one field's season.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonRows<'a> {
    /// The field.
    pub field: &'a str,
    /// First day that belongs to this season alone; what was kept of earlier days stays.
    pub year_start: NaiveDate,
    /// First day of the season.
    pub first: NaiveDate,
    /// The day after its last; `first` where there is no season any more.
    pub end: NaiveDate,
    /// Rows to write; the other days of the season stay as they are kept.
    pub changed: Vec<&'a DayRow>,
}

impl Store {
    /// Keeps seasons, all or none: what changed is written, and days that fell out of a season
    /// are dropped. A row that says what is kept already is left alone, with its time.
    pub async fn keep_seasons(
        &self,
        seasons: &[SeasonRows<'_>],
        computed_at: DateTime<Utc>,
    ) -> Result<()> {
        let column = Column("season_day", "body");
        let rows: Vec<_> = seasons
            .iter()
            .flat_map(|season| season.changed.iter().map(|row| (season.field, *row)))
            .collect();
        let mut tx = self.begin().await?;
        for chunk in seasons.chunks(ROWS_A_STATEMENT) {
            with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- season_day.drop_outside
                    WITH season (field, year_start, first, beyond) AS (");
                query.push_values(chunk, |mut row, season| {
                    row.push_bind(season.field)
                        .push_bind(season.year_start)
                        .push_bind(season.first)
                        .push_bind(season.end);
                });
                query.push(
                    ") DELETE FROM season_day WHERE EXISTS (
                        SELECT 1 FROM season
                        WHERE season.field = season_day.field AND season_day.day >= year_start
                            AND (season_day.day < first OR season_day.day >= beyond))");
                query.build().execute(&mut *connection).await?.rows_affected()
            });
        }
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            let bodies = chunk.iter().map(|(_, row)| column.json(row));
            let bodies = bodies.collect::<Result<Vec<_>>>()?;
            with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- season_day.keep
                    INSERT INTO season_day (field, day, body, computed_at) ");
                query.push_values(chunk.iter().zip(&bodies), |mut values, ((field, row), body)| {
                    values
                        .push_bind(*field)
                        .push_bind(row.date)
                        .push_bind(body)
                        .push_bind(computed_at);
                });
                query.push(
                    " ON CONFLICT (field, day) DO UPDATE SET
                        body = excluded.body, computed_at = excluded.computed_at
                    WHERE season_day.body <> excluded.body");
                query.build().execute(&mut *connection).await?.rows_affected()
            });
        }
        tx.commit().await
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, day_row, may, on_each, season_days};
    use chrono::Days;

    fn rows<'a>(field: &'a str, days: &'a [DayRow], changed: &[u32]) -> SeasonRows<'a> {
        let changed: Vec<_> = changed.iter().map(|day| may(*day)).collect();
        SeasonRows {
            field,
            year_start: NaiveDate::from_ymd_opt(2026, 1, 1).unwrap(),
            first: days[0].date,
            end: days[days.len() - 1].date + Days::new(1),
            changed: days.iter().filter(|row| changed.contains(&row.date)).collect(),
        }
    }

    fn days(first: u32, last: u32) -> Vec<DayRow> {
        (first..=last).map(|day| day_row(may(day), f64::from(day))).collect()
    }

    async fn kept(store: &Store, field: &str) -> Vec<(NaiveDate, DateTime<Utc>)> {
        let rows = season_days(store, field).await;
        rows.into_iter().map(|row| (row.day, row.computed_at)).collect()
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn only_what_changed_is_written_and_days_outside_go() {
        on_each(|store| async move {
            let last_year = NaiveDate::from_ymd_opt(2025, 5, 3).unwrap();
            let old = [day_row(last_year, 1.0)];
            let old = SeasonRows {
                field: "north-80",
                year_start: NaiveDate::from_ymd_opt(2025, 1, 1).unwrap(),
                first: last_year,
                end: last_year + Days::new(1),
                changed: old.iter().collect(),
            };
            store.keep_seasons(&[old], at(-9)).await.unwrap();
            let (north, south) = (days(1, 9), days(1, 3));
            let all = [
                rows("north-80", &north, &[1, 2, 3, 4, 5, 6, 7, 8, 9]),
                rows("south-40", &south, &[1, 2, 3]),
            ];
            store.keep_seasons(&all, at(0)).await.unwrap();
            // Another process that writes the same leaves the rows and their time alone.
            store.keep_seasons(&all, at(1)).await.unwrap();

            // Replanting moves the start, one day changes, one is new.
            let mut replanted = days(3, 10);
            replanted[2].gdd_f = Some(50.0);
            let replanted = rows("north-80", &replanted, &[5, 10]);
            store.keep_seasons(&[replanted], at(2)).await.unwrap();
            let mut expected = vec![(last_year, at(-9))];
            expected.extend([3, 4].map(|day| (may(day), at(0))));
            expected.push((may(5), at(2)));
            expected.extend([6, 7, 8, 9].map(|day| (may(day), at(0))));
            expected.push((may(10), at(2)));
            assert_eq!(kept(&store, "north-80").await, expected);
            let bodies = season_days(&store, "north-80").await;
            assert!(bodies[3].body.contains("\"gdd_f\":50.0"), "{}", bodies[3].body);
            assert_eq!(kept(&store, "south-40").await, [1, 2, 3].map(|day| (may(day), at(0))));
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_season_that_is_no_more_leaves_only_earlier_years() {
        on_each(|store| async move {
            let days = days(1, 31);
            let season = rows("north-80", &days, &[1, 31]);
            store.keep_seasons(std::slice::from_ref(&season), at(0)).await.unwrap();
            let none = SeasonRows {
                first: season.year_start,
                end: season.year_start,
                changed: Vec::new(),
                ..season
            };
            store.keep_seasons(&[none], at(1)).await.unwrap();
            assert_eq!(kept(&store, "north-80").await, []);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn more_rows_than_one_statement_holds_are_kept() {
        on_each(|store| async move {
            let days = days(1, 31);
            let fields: Vec<_> = (0..600).map(|number| format!("f{number}")).collect();
            let seasons: Vec<_> =
                fields.iter().map(|field| rows(field, &days, &[1, 2, 31])).collect();
            store.keep_seasons(&seasons, at(0)).await.unwrap();
            for field in ["f0", "f599"] {
                assert_eq!(kept(&store, field).await, [1, 2, 31].map(|day| (may(day), at(0))));
            }
        })
        .await;
    }
}
