//! Stations whose observed days may serve a field.

use super::error::Result;
use super::{ROWS_A_STATEMENT, Store};
use crate::weather::stations::Station;
use sqlx::QueryBuilder;
use std::collections::BTreeMap;

from_row!(Station { id, name, latitude, longitude, hand_read, listed_at });

impl Store {
    /// Keeps stations, in place of what was known of them.
    pub async fn keep_stations(&self, stations: &[Station]) -> Result<()> {
        let distinct: BTreeMap<_, _> = stations.iter().map(|one| (&one.id, one)).collect();
        let rows: Vec<_> = distinct.into_values().collect();
        let mut tx = self.begin().await?;
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            with_tx!(&mut tx, connection => {
                let mut query = QueryBuilder::new(
                    "-- station.keep
                    INSERT INTO station (id, name, latitude, longitude, hand_read, listed_at) ");
                query.push_values(chunk, |mut row, station| {
                    row.push_bind(&station.id)
                        .push_bind(&station.name)
                        .push_bind(station.latitude)
                        .push_bind(station.longitude)
                        .push_bind(station.hand_read)
                        .push_bind(station.listed_at);
                });
                query.push(
                    " ON CONFLICT (id) DO UPDATE SET
                        name = excluded.name, latitude = excluded.latitude,
                        longitude = excluded.longitude, hand_read = excluded.hand_read,
                        listed_at = excluded.listed_at");
                query.build().execute(&mut *connection).await?;
            });
        }
        tx.commit().await
    }

    /// All stations, by id.
    pub async fn stations(&self) -> Result<Vec<Station>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- station.list\nSELECT * FROM station ORDER BY id")
            .fetch_all(pool)
            .await?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    #[tokio::test(flavor = "multi_thread")]
    async fn a_station_that_moved_is_kept_in_its_new_place() {
        on_each(|store| async move {
            let station = |name: &str, latitude| Station {
                id: format!("acis:{name}"),
                name: name.to_owned(),
                latitude,
                longitude: -96.5,
                hand_read: name == "MILL",
                listed_at: at(0),
            };
            let (mill, ridge) = (station("MILL", 41.2), station("RIDGE", 41.4));
            store.keep_stations(&[ridge.clone(), mill, ridge.clone()]).await.unwrap();
            let moved = station("MILL", 41.25);
            store.keep_stations(std::slice::from_ref(&moved)).await.unwrap();
            assert_eq!(store.stations().await.unwrap(), [moved, ridge]);
        })
        .await;
    }
}
