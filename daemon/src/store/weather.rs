//! Weather by cell, hour by hour, as issued.

use super::error::Result;
use super::row::{Column, Place};
use super::{ROWS_A_STATEMENT, Store};
use chrono::{DateTime, Utc};
use furrowbell_engine::weather::Kind;
use sqlx::QueryBuilder;
use std::collections::BTreeMap;

/// One hour of one cell. Each value stands or is missing on its own.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherHour {
    /// The cell.
    pub cell: String,
    /// Start of the hour.
    pub hour: DateTime<Utc>,
    /// How it is known.
    pub kind: Kind,
    /// Air temperature, C.
    pub temp_c: Option<f64>,
    /// This hour's share of the rain, mm.
    pub rain_mm: Option<f64>,
    /// Relative humidity, percent.
    pub humidity_pct: Option<f64>,
    /// Wind at 10 m, m/s.
    pub wind_mps: Option<f64>,
    /// Gusts, m/s.
    pub gust_mps: Option<f64>,
    /// Sky cover, percent.
    pub sky_pct: Option<f64>,
    /// When the source made it.
    pub issued_at: DateTime<Utc>,
    /// When we fetched it.
    pub fetched_at: DateTime<Utc>,
}

struct HourRow {
    cell: String,
    hour: DateTime<Utc>,
    kind: String,
    temp_c: Option<f64>,
    rain_mm: Option<f64>,
    humidity_pct: Option<f64>,
    wind_mps: Option<f64>,
    gust_mps: Option<f64>,
    sky_pct: Option<f64>,
    issued_at: DateTime<Utc>,
    fetched_at: DateTime<Utc>,
}

from_row!(HourRow {
    cell,
    hour,
    kind,
    temp_c,
    rain_mm,
    humidity_pct,
    wind_mps,
    gust_mps,
    sky_pct,
    issued_at,
    fetched_at
});

impl HourRow {
    fn read(self) -> Result<WeatherHour> {
        let place = Place { table: "weather_hour", id: &self.cell };
        Ok(WeatherHour {
            kind: place.word("kind", &self.kind)?,
            cell: self.cell,
            hour: self.hour,
            temp_c: self.temp_c,
            rain_mm: self.rain_mm,
            humidity_pct: self.humidity_pct,
            wind_mps: self.wind_mps,
            gust_mps: self.gust_mps,
            sky_pct: self.sky_pct,
            issued_at: self.issued_at,
            fetched_at: self.fetched_at,
        })
    }
}

impl Store {
    /// Keeps hours of known cells and says how many rows changed. What was issued earlier never
    /// replaces what was issued later.
    pub async fn keep_hours(&self, hours: &[WeatherHour]) -> Result<u64> {
        let column = Column("weather_hour", "kind");
        let rows = newest(hours).map(|hour| Ok((hour, column.word(&hour.kind)?)));
        let rows = rows.collect::<Result<Vec<_>>>()?;
        let mut changed = 0;
        let mut tx = self.begin().await?;
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            changed += with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- weather_hour.keep
                    INSERT INTO weather_hour (cell, hour, kind, temp_c, rain_mm, humidity_pct,
                        wind_mps, gust_mps, sky_pct, issued_at, fetched_at) ");
                query.push_values(chunk, |mut row, (hour, kind)| {
                    row.push_bind(&hour.cell)
                        .push_bind(hour.hour)
                        .push_bind(kind)
                        .push_bind(hour.temp_c)
                        .push_bind(hour.rain_mm)
                        .push_bind(hour.humidity_pct)
                        .push_bind(hour.wind_mps)
                        .push_bind(hour.gust_mps)
                        .push_bind(hour.sky_pct)
                        .push_bind(hour.issued_at)
                        .push_bind(hour.fetched_at);
                });
                query.push(
                    " ON CONFLICT (cell, hour, kind) DO UPDATE SET
                        temp_c = excluded.temp_c, rain_mm = excluded.rain_mm,
                        humidity_pct = excluded.humidity_pct, wind_mps = excluded.wind_mps,
                        gust_mps = excluded.gust_mps, sky_pct = excluded.sky_pct,
                        issued_at = excluded.issued_at, fetched_at = excluded.fetched_at
                    WHERE excluded.issued_at >= weather_hour.issued_at");
                query.build().execute(&mut *connection).await?.rows_affected()
            });
        }
        tx.commit().await?;
        Ok(changed)
    }

    /// Hours of a cell from `from` up to but without `until`, of every kind.
    pub async fn hours(
        &self,
        cell: &str,
        from: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Result<Vec<WeatherHour>> {
        let rows: Vec<HourRow> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_hour.range
            SELECT * FROM weather_hour WHERE cell = $1 AND hour >= $2 AND hour < $3
            ORDER BY hour, kind")
            .bind(cell)
            .bind(from)
            .bind(until)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(HourRow::read).collect()
    }

    /// Drops hours before an instant and says how many.
    pub async fn prune_hours(&self, before: DateTime<Utc>) -> Result<u64> {
        Ok(with_pool!(self, pool => sqlx::query(
            "-- weather_hour.prune\nDELETE FROM weather_hour WHERE hour < $1")
            .bind(before)
            .execute(pool)
            .await?
            .rows_affected()))
    }
}

/// The newest row of every hour and kind, in that order. `PostgreSQL` refuses one key twice in one
/// statement, and two writers that lock rows in one order cannot block each other for ever.
fn newest(hours: &[WeatherHour]) -> impl Iterator<Item = &WeatherHour> {
    let mut kept: BTreeMap<_, &WeatherHour> = BTreeMap::new();
    for row in hours {
        let slot = kept.entry((&row.cell, row.hour, row.kind)).or_insert(row);
        if row.issued_at >= slot.issued_at {
            *slot = row;
        }
    }
    kept.into_values()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Cell;
    use crate::store::testing::{at, on_each};
    use chrono::TimeDelta;

    const CELL: &str = "file:home";

    async fn with_cell(store: &Store) {
        let cell =
            Cell { id: CELL.to_owned(), url: "file".to_owned(), polygon: None, resolved_at: at(0) };
        store.keep_cell(&cell).await.unwrap();
    }

    fn hour(number: i64, rain_mm: Option<f64>, issued_at: DateTime<Utc>) -> WeatherHour {
        WeatherHour {
            cell: CELL.to_owned(),
            hour: at(60 * number),
            kind: Kind::Forecast,
            temp_c: Some(-3.25),
            rain_mm,
            humidity_pct: Some(71.0),
            wind_mps: None,
            gust_mps: None,
            sky_pct: Some(0.0),
            issued_at,
            fetched_at: at(0),
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn an_older_issue_never_replaces_a_newer_one() {
        on_each(|store| async move {
            with_cell(&store).await;
            let newer = hour(1, Some(0.2), at(30));
            assert_eq!(store.keep_hours(std::slice::from_ref(&newer)).await.unwrap(), 1);
            assert_eq!(store.keep_hours(&[hour(1, Some(9.0), at(10))]).await.unwrap(), 0);
            assert_eq!(store.hours(CELL, at(0), at(600)).await.unwrap(), [newer]);
            // Both in one call, in either order, and a missing value stays missing.
            let newest = hour(1, None, at(50));
            let rows = [hour(1, Some(1.0), at(40)), newest.clone(), hour(1, Some(2.0), at(45))];
            assert_eq!(store.keep_hours(&rows).await.unwrap(), 1);
            assert_eq!(
                store.hours(CELL, at(0), at(600)).await.unwrap(),
                std::slice::from_ref(&newest)
            );
            let stranger = WeatherHour { cell: "file:nowhere".to_owned(), ..newest };
            assert!(store.keep_hours(&[stranger]).await.is_err());
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn several_statements_of_hours_are_kept_read_and_pruned() {
        on_each(|store| async move {
            with_cell(&store).await;
            let rows: Vec<_> = (0..1_203).map(|number| hour(number, Some(0.1), at(0))).collect();
            assert_eq!(store.keep_hours(&rows).await.unwrap(), 1_203);
            assert_eq!(store.hours(CELL, at(0), at(60 * 1_203)).await.unwrap(), rows);
            let read = store.hours(CELL, at(60), at(180)).await.unwrap();
            assert_eq!(read, rows[1..3]);
            assert_eq!(store.prune_hours(at(0) + TimeDelta::hours(1_200)).await.unwrap(), 1_200);
            assert_eq!(store.hours(CELL, at(0), at(60 * 1_203)).await.unwrap(), rows[1_200..]);
            assert_eq!(store.keep_hours(&[]).await.unwrap(), 0);
        })
        .await;
    }
}
