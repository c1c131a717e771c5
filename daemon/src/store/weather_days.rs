//! What was observed over whole days, by place and source, in its newest revision.

use super::error::Result;
use super::row::{Column, Place};
use super::{ROWS_A_STATEMENT, Store};
use crate::weather::observed_day::ObservedDay;
use chrono::{DateTime, NaiveDate, Utc};
use sqlx::QueryBuilder;
use std::collections::BTreeMap;

struct Row {
    place: String,
    source: String,
    kind: String,
    day: NaiveDate,
    starts_at: DateTime<Utc>,
    ends_at: DateTime<Utc>,
    rain_mm: Option<f64>,
    high_c: Option<f64>,
    low_c: Option<f64>,
    humidity_pct: Option<f64>,
    wind_mps: Option<f64>,
    solar_mj: Option<f64>,
    soil_high_c: Option<f64>,
    soil_low_c: Option<f64>,
    trace: bool,
    issued_at: Option<DateTime<Utc>>,
    fetched_at: DateTime<Utc>,
}

from_row!(Row {
    place,
    source,
    kind,
    day,
    starts_at,
    ends_at,
    rain_mm,
    high_c,
    low_c,
    humidity_pct,
    wind_mps,
    solar_mj,
    soil_high_c,
    soil_low_c,
    trace,
    issued_at,
    fetched_at
});

impl Row {
    fn read(self) -> Result<ObservedDay> {
        let at = Place { table: "weather_day", id: &self.place };
        Ok(ObservedDay {
            source: at.word("source", &self.source)?,
            kind: at.word("kind", &self.kind)?,
            place: self.place,
            date: self.day,
            starts_at: self.starts_at,
            ends_at: self.ends_at,
            rain_mm: self.rain_mm,
            high_c: self.high_c,
            low_c: self.low_c,
            humidity_pct: self.humidity_pct,
            wind_mps: self.wind_mps,
            solar_mj: self.solar_mj,
            soil_high_c: self.soil_high_c,
            soil_low_c: self.soil_low_c,
            trace: self.trace,
            issued_at: self.issued_at,
            fetched_at: self.fetched_at,
        })
    }
}

impl Store {
    /// Keeps days and says how many rows changed. A revision replaces what was issued before it,
    /// never what was issued after, since caches have been seen to step back; where a source does
    /// not say when, the time of fetching counts. A day of which nothing is known replaces nothing.
    pub async fn keep_observed(&self, days: &[ObservedDay]) -> Result<u64> {
        let (source, kind) = (Column("weather_day", "source"), Column("weather_day", "kind"));
        let rows =
            newest(days).map(|day| Ok((day, source.word(&day.source)?, kind.word(&day.kind)?)));
        let rows = rows.collect::<Result<Vec<_>>>()?;
        let mut changed = 0;
        let mut tx = self.begin().await?;
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            changed += with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- weather_day.keep
                    INSERT INTO weather_day (place, source, kind, day, starts_at, ends_at, rain_mm,
                        high_c, low_c, humidity_pct, wind_mps, solar_mj, soil_high_c, soil_low_c,
                        trace, issued_at, fetched_at) ");
                query.push_values(chunk, |mut row, (day, source, kind)| {
                    row.push_bind(&day.place)
                        .push_bind(source)
                        .push_bind(kind)
                        .push_bind(day.date)
                        .push_bind(day.starts_at)
                        .push_bind(day.ends_at)
                        .push_bind(day.rain_mm)
                        .push_bind(day.high_c)
                        .push_bind(day.low_c)
                        .push_bind(day.humidity_pct)
                        .push_bind(day.wind_mps)
                        .push_bind(day.solar_mj)
                        .push_bind(day.soil_high_c)
                        .push_bind(day.soil_low_c)
                        .push_bind(day.trace)
                        .push_bind(day.issued_at)
                        .push_bind(day.fetched_at);
                });
                query.push(
                    " ON CONFLICT (place, source, kind, day) DO UPDATE SET
                        starts_at = excluded.starts_at, ends_at = excluded.ends_at,
                        rain_mm = excluded.rain_mm, high_c = excluded.high_c,
                        low_c = excluded.low_c, humidity_pct = excluded.humidity_pct,
                        wind_mps = excluded.wind_mps, solar_mj = excluded.solar_mj,
                        soil_high_c = excluded.soil_high_c, soil_low_c = excluded.soil_low_c,
                        trace = excluded.trace, issued_at = excluded.issued_at,
                        fetched_at = excluded.fetched_at
                    WHERE COALESCE(excluded.issued_at, excluded.fetched_at)
                        >= COALESCE(weather_day.issued_at, weather_day.fetched_at)");
                query.build().execute(&mut *connection).await?.rows_affected()
            });
        }
        tx.commit().await?;
        Ok(changed)
    }

    /// Days of a place that its sources label `from` or later, by label, source and kind.
    pub async fn observed(&self, place: &str, from: NaiveDate) -> Result<Vec<ObservedDay>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_day.of_place
            SELECT * FROM weather_day WHERE place = $1 AND day >= $2
            ORDER BY day, source, kind")
            .bind(place)
            .bind(from)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Drops days labelled before a date and says how many.
    pub async fn prune_observed(&self, before: NaiveDate) -> Result<u64> {
        Ok(with_pool!(self, pool => sqlx::query(
            "-- weather_day.prune\nDELETE FROM weather_day WHERE day < $1")
            .bind(before)
            .execute(pool)
            .await?
            .rows_affected()))
    }
}

/// The newest row of every key that says something, in order of the keys. `PostgreSQL` refuses one
/// key twice in one statement, and two writers that lock rows in one order cannot block each other
/// for ever.
fn newest(days: &[ObservedDay]) -> impl Iterator<Item = &ObservedDay> {
    let mut kept: BTreeMap<_, &ObservedDay> = BTreeMap::new();
    for day in days.iter().filter(|day| day.says_something()) {
        let slot = kept.entry((&day.place, day.source, day.kind, day.date)).or_insert(day);
        if issued(day) >= issued(slot) {
            *slot = day;
        }
    }
    kept.into_values()
}

fn issued(day: &ObservedDay) -> DateTime<Utc> {
    day.issued_at.unwrap_or(day.fetched_at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, may, on_each};
    use crate::weather::source::SourceName;
    use chrono::TimeDelta;
    use furrowbell_engine::weather::Kind;

    fn day(number: u32, rain_mm: Option<f64>, fetched_at: DateTime<Utc>) -> ObservedDay {
        let start = may(number).and_hms_opt(5, 0, 0).unwrap().and_utc();
        let period = (start, start + TimeDelta::days(1));
        let place = "41.21,-96.49".to_owned();
        ObservedDay {
            rain_mm,
            soil_low_c: Some(9.5),
            issued_at: Some(fetched_at),
            trace: rain_mm == Some(0.0),
            ..ObservedDay::unknown(
                place,
                SourceName::Mesonet,
                Kind::Radar,
                may(number),
                period,
                fetched_at,
            )
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_revision_replaces_and_an_older_answer_does_not() {
        on_each(|store| async move {
            let place = "41.21,-96.49";
            let first = [day(3, Some(4.0), at(0)), day(4, Some(0.0), at(0))];
            assert_eq!(store.keep_observed(&first).await.unwrap(), 2);
            assert_eq!(store.observed(place, may(1)).await.unwrap(), first);
            let revised = day(3, Some(5.5), at(60));
            let changed = store.keep_observed(std::slice::from_ref(&revised)).await.unwrap();
            assert_eq!(changed, 1);
            assert_eq!(store.keep_observed(&[day(3, Some(9.0), at(30))]).await.unwrap(), 0);
            // Fetched later, but out of a cache.
            let stale = ObservedDay { fetched_at: at(80), ..day(3, Some(9.0), at(30)) };
            assert_eq!(store.keep_observed(&[stale]).await.unwrap(), 0);
            let silent = ObservedDay { soil_low_c: None, ..day(3, None, at(90)) };
            assert_eq!(store.keep_observed(&[silent]).await.unwrap(), 0);
            let both = [revised, first[1].clone()];
            assert_eq!(store.observed(place, may(1)).await.unwrap(), both);
            assert_eq!(store.observed(place, may(4)).await.unwrap(), both[1..]);
            assert_eq!(store.observed("41.22,-96.49", may(1)).await.unwrap(), []);
            assert_eq!(store.prune_observed(may(4)).await.unwrap(), 1);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn kinds_and_sources_stand_side_by_side_and_of_one_key_the_newest() {
        on_each(|store| async move {
            let radar = day(3, Some(4.0), at(5));
            let model = ObservedDay { kind: Kind::Model, ..day(3, Some(7.0), at(5)) };
            let older = day(3, Some(1.0), at(0));
            let changed = store.keep_observed(&[radar.clone(), model.clone(), older]).await;
            assert_eq!(changed.unwrap(), 2);
            assert_eq!(store.observed(&radar.place, may(3)).await.unwrap(), [model, radar]);
        })
        .await;
    }
}
