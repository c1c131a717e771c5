//! Warnings in force, and the zones by which fields are warned.

use super::error::Result;
use super::row::{Column, Place};
use super::{ROWS_A_STATEMENT, Store};
use crate::weather::alerts::Alert;
use chrono::{DateTime, Utc};
use sqlx::QueryBuilder;
use std::collections::BTreeMap;

/// The zones that warnings for a field are addressed to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldZones {
    /// The field.
    pub field: String,
    /// Its forecast zone, its county and its fire weather zone, as in `county/NEC155`.
    pub zones: Vec<String>,
}

struct ZonesRow {
    field: String,
    zones: String,
}

from_row!(ZonesRow { field, zones });

struct AlertRow {
    id: String,
    body: String,
}

from_row!(AlertRow { id, body });

impl Store {
    /// Keeps the zones of a field, in place of what was known of them.
    pub async fn keep_field_zones(&self, row: &FieldZones) -> Result<()> {
        let zones = Column("field_zone", "zones").json(&row.zones)?;
        with_pool!(self, pool => sqlx::query(
            "-- field_zone.keep
            INSERT INTO field_zone (field, zones) VALUES ($1, $2)
            ON CONFLICT (field) DO UPDATE SET zones = excluded.zones")
            .bind(&row.field)
            .bind(zones)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(())
    }

    /// The zones of every field that has some, by field.
    pub async fn field_zones(&self) -> Result<Vec<FieldZones>> {
        let rows: Vec<ZonesRow> = with_pool!(self, pool => sqlx::query_as(
            "-- field_zone.list\nSELECT * FROM field_zone ORDER BY field")
            .fetch_all(pool)
            .await?);
        let read = |row: ZonesRow| {
            let zones = Place { table: "field_zone", id: &row.field }.json("zones", &row.zones)?;
            Ok(FieldZones { field: row.field, zones })
        };
        rows.into_iter().map(read).collect()
    }

    /// Puts the warnings of one whole answer in place of all that were known.
    pub async fn replace_alerts(&self, alerts: &[Alert], fetched_at: DateTime<Utc>) -> Result<()> {
        let column = Column("weather_alert", "body");
        let distinct: BTreeMap<_, _> = alerts.iter().map(|alert| (&alert.id, alert)).collect();
        let rows = distinct.into_iter().map(|(id, alert)| Ok((id, column.json(alert)?)));
        let rows = rows.collect::<Result<Vec<_>>>()?;
        let mut tx = self.begin().await?;
        with_tx!(&mut tx, connection => {
            let all = sqlx::query("-- weather_alert.clear\nDELETE FROM weather_alert");
            all.execute(&mut *connection).await?;
        });
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- weather_alert.keep\nINSERT INTO weather_alert (id, body, fetched_at) ");
                query.push_values(chunk, |mut row, (id, body)| {
                    row.push_bind(id).push_bind(body).push_bind(fetched_at);
                });
                query.build().execute(&mut *connection).await?;
            });
        }
        tx.commit().await
    }

    /// The warnings of the last whole answer, by id.
    pub async fn alerts(&self) -> Result<Vec<Alert>> {
        let rows: Vec<AlertRow> = with_pool!(self, pool => sqlx::query_as(
            "-- weather_alert.list\nSELECT id, body FROM weather_alert ORDER BY id")
            .fetch_all(pool)
            .await?);
        let read =
            |row: AlertRow| Place { table: "weather_alert", id: &row.id }.json("body", &row.body);
        rows.into_iter().map(read).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    #[tokio::test(flavor = "multi_thread")]
    async fn an_answer_replaces_the_one_before_and_zones_are_kept_in_place() {
        on_each(|store| async move {
            let alert = |id: &str| Alert {
                id: id.to_owned(),
                event: "Wind Advisory".to_owned(),
                sent: at(0),
                starts_at: at(0),
                ends_at: None,
                zones: vec!["NEZ044".to_owned()],
                outlines: Vec::new(),
            };
            let two = [alert("a"), alert("b")];
            store.replace_alerts(&two, at(1)).await.unwrap();
            assert_eq!(store.alerts().await.unwrap(), two);
            store.replace_alerts(&two[1..], at(2)).await.unwrap();
            assert_eq!(store.alerts().await.unwrap(), two[1..]);
            store.replace_alerts(&[], at(3)).await.unwrap();
            assert_eq!(store.alerts().await.unwrap(), []);

            let mut zones = FieldZones {
                field: "north-80".to_owned(),
                zones: vec!["forecast/NEZ044".to_owned(), "county/NEC155".to_owned()],
            };
            store.keep_field_zones(&zones).await.unwrap();
            zones.zones.pop();
            store.keep_field_zones(&zones).await.unwrap();
            assert_eq!(store.field_zones().await.unwrap(), [zones]);
        })
        .await;
    }
}
