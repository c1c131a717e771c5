//! Weather by cell: hours as issued, days as computed or observed.

use super::error::Result;
use super::row::{Column, Place};
use super::{ROWS_A_STATEMENT, Store};
use chrono::{DateTime, NaiveDate, Utc};
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

/// One local day of one cell. Each value stands or is missing on its own.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherDay {
    /// The cell.
    pub cell: String,
    /// The local calendar day.
    pub day: NaiveDate,
    /// How it is known.
    pub kind: Kind,
    /// Highest air temperature, C.
    pub high_c: Option<f64>,
    /// Lowest air temperature, C.
    pub low_c: Option<f64>,
    /// Rain, mm.
    pub rain_mm: Option<f64>,
    /// Mean relative humidity, percent.
    pub humidity_pct: Option<f64>,
    /// Mean wind at 10 m, m/s.
    pub wind_mps: Option<f64>,
    /// Solar radiation sum, MJ/m2.
    pub solar_mj: Option<f64>,
    /// Who says so.
    pub source: String,
    /// When we fetched it.
    pub fetched_at: DateTime<Utc>,
}

#[derive(sqlx::FromRow)]
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

#[derive(sqlx::FromRow)]
struct DayRow {
    cell: String,
    day: NaiveDate,
    kind: String,
    high_c: Option<f64>,
    low_c: Option<f64>,
    rain_mm: Option<f64>,
    humidity_pct: Option<f64>,
    wind_mps: Option<f64>,
    solar_mj: Option<f64>,
    source: String,
    fetched_at: DateTime<Utc>,
}

impl DayRow {
    fn read(self) -> Result<WeatherDay> {
        let place = Place { table: "weather_day", id: &self.cell };
        Ok(WeatherDay {
            kind: place.word("kind", &self.kind)?,
            cell: self.cell,
            day: self.day,
            high_c: self.high_c,
            low_c: self.low_c,
            rain_mm: self.rain_mm,
            humidity_pct: self.humidity_pct,
            wind_mps: self.wind_mps,
            solar_mj: self.solar_mj,
            source: self.source,
            fetched_at: self.fetched_at,
        })
    }
}

impl Store {
    /// Keeps hours of known cells and says how many rows changed. What was issued earlier never
    /// replaces what was issued later.
    pub async fn keep_hours(&self, hours: &[WeatherHour]) -> Result<u64> {
        let rows = newest(hours, |hour| (&hour.cell, hour.hour, hour.kind), |hour| hour.issued_at);
        let rows = with_words(rows, "weather_hour", |hour| hour.kind)?;
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

    /// Keeps days of known cells and says how many rows changed. What was fetched earlier never
    /// replaces what was fetched later.
    pub async fn keep_days(&self, days: &[WeatherDay]) -> Result<u64> {
        let rows = newest(days, |day| (&day.cell, day.day, day.kind), |day| day.fetched_at);
        let rows = with_words(rows, "weather_day", |day| day.kind)?;
        let mut changed = 0;
        let mut tx = self.begin().await?;
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            changed += with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- weather_day.keep
                    INSERT INTO weather_day (cell, day, kind, high_c, low_c, rain_mm,
                        humidity_pct, wind_mps, solar_mj, source, fetched_at) ");
                query.push_values(chunk, |mut row, (day, kind)| {
                    row.push_bind(&day.cell)
                        .push_bind(day.day)
                        .push_bind(kind)
                        .push_bind(day.high_c)
                        .push_bind(day.low_c)
                        .push_bind(day.rain_mm)
                        .push_bind(day.humidity_pct)
                        .push_bind(day.wind_mps)
                        .push_bind(day.solar_mj)
                        .push_bind(&day.source)
                        .push_bind(day.fetched_at);
                });
                query.push(
                    " ON CONFLICT (cell, day, kind) DO UPDATE SET
                        high_c = excluded.high_c, low_c = excluded.low_c,
                        rain_mm = excluded.rain_mm, humidity_pct = excluded.humidity_pct,
                        wind_mps = excluded.wind_mps, solar_mj = excluded.solar_mj,
                        source = excluded.source, fetched_at = excluded.fetched_at
                    WHERE excluded.fetched_at >= weather_day.fetched_at");
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

    /// Days of a cell from `first` to `last`, both included, of every kind.
    pub async fn days(
        &self,
        cell: &str,
        first: NaiveDate,
        last: NaiveDate,
    ) -> Result<Vec<WeatherDay>> {
        let rows: Vec<DayRow> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_day.range
            SELECT * FROM weather_day WHERE cell = $1 AND day >= $2 AND day <= $3
            ORDER BY day, kind")
            .bind(cell)
            .bind(first)
            .bind(last)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(DayRow::read).collect()
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

    /// Drops days before a day and says how many.
    pub async fn prune_days(&self, before: NaiveDate) -> Result<u64> {
        Ok(with_pool!(self, pool => sqlx::query(
            "-- weather_day.prune\nDELETE FROM weather_day WHERE day < $1")
            .bind(before)
            .execute(pool)
            .await?
            .rows_affected()))
    }
}

/// The newest row of every key, in order of key. `PostgreSQL` refuses one key twice in one
/// statement, and two writers that lock rows in one order cannot block each other for ever.
fn newest<'a, R, K: Ord>(
    rows: &'a [R],
    key: impl Fn(&'a R) -> K,
    made_at: impl Fn(&R) -> DateTime<Utc>,
) -> Vec<&'a R> {
    let mut kept: BTreeMap<K, &R> = BTreeMap::new();
    for row in rows {
        let slot = kept.entry(key(row)).or_insert(row);
        if made_at(row) >= made_at(slot) {
            *slot = row;
        }
    }
    kept.into_values().collect()
}

fn with_words<'a, R>(
    rows: Vec<&'a R>,
    table: &'static str,
    kind: impl Fn(&R) -> Kind,
) -> Result<Vec<(&'a R, String)>> {
    let column = Column(table, "kind");
    rows.into_iter().map(|row| Ok((row, column.word(&kind(row))?))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Cell;
    use crate::store::testing::{at, may, on_each};
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

    fn day(number: u32, kind: Kind, fetched_at: DateTime<Utc>) -> WeatherDay {
        WeatherDay {
            cell: CELL.to_owned(),
            day: may(number),
            kind,
            high_c: Some(21.7),
            low_c: Some(8.3),
            rain_mm: None,
            humidity_pct: None,
            wind_mps: Some(4.1),
            solar_mj: Some(22.0),
            source: "gauge at home".to_owned(),
            fetched_at,
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
            assert_eq!(store.hours(CELL, at(0), at(600)).await.unwrap(), [newest]);
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

    #[tokio::test(flavor = "multi_thread")]
    async fn days_of_two_kinds_stand_side_by_side() {
        on_each(|store| async move {
            with_cell(&store).await;
            let gauge = day(2, Kind::Gauge, at(5));
            let forecast = day(2, Kind::Forecast, at(5));
            let rows = [day(1, Kind::Gauge, at(5)), gauge.clone(), forecast.clone()];
            assert_eq!(store.keep_days(&rows).await.unwrap(), 3);
            assert_eq!(store.days(CELL, may(2), may(9)).await.unwrap(), [forecast, gauge.clone()]);
            assert_eq!(store.keep_days(&[day(2, Kind::Gauge, at(4))]).await.unwrap(), 0);
            assert_eq!(store.prune_days(may(2)).await.unwrap(), 1);
            let stranger = WeatherDay { cell: "file:nowhere".to_owned(), ..gauge };
            assert!(store.keep_days(&[stranger]).await.is_err());
        })
        .await;
    }
}
