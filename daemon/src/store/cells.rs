//! Weather cells and which field lies in which.

use super::Store;
use super::error::Result;
use chrono::{DateTime, Utc};

/// A piece of land that shares one weather.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// Source and name, such as `nws:OAX/59,58` or `file:FARM`.
    pub id: String,
    /// Where its weather comes from.
    pub url: String,
    /// Its outline as `GeoJSON` geometry, where the source gives one.
    pub polygon: Option<String>,
    /// When the source last named it.
    pub resolved_at: DateTime<Utc>,
}

from_row!(Cell { id, url, polygon, resolved_at });

/// The cell of one field, and the point it was looked up for.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldCell {
    /// The field.
    pub field: String,
    /// Its cell.
    pub cell: String,
    /// Latitude asked for, degrees north.
    pub latitude: f64,
    /// Longitude asked for, degrees east.
    pub longitude: f64,
    /// When it was looked up.
    pub resolved_at: DateTime<Utc>,
}

from_row!(FieldCell { field, cell, latitude, longitude, resolved_at });

impl Store {
    /// Keeps a cell, in place of what was known of it.
    pub async fn keep_cell(&self, cell: &Cell) -> Result<()> {
        with_pool!(self, pool => sqlx::query(
            "-- cell.keep
            INSERT INTO cell (id, url, polygon, resolved_at) VALUES ($1, $2, $3, $4)
            ON CONFLICT (id) DO UPDATE SET
                url = excluded.url, polygon = excluded.polygon, resolved_at = excluded.resolved_at")
            .bind(&cell.id)
            .bind(&cell.url)
            .bind(&cell.polygon)
            .bind(cell.resolved_at)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(())
    }

    /// A cell, where it is known.
    pub async fn cell(&self, id: &str) -> Result<Option<Cell>> {
        Ok(with_pool!(self, pool => sqlx::query_as("-- cell.get\nSELECT * FROM cell WHERE id = $1")
            .bind(id)
            .fetch_optional(pool)
            .await?))
    }

    /// All cells, by id.
    pub async fn cells(&self) -> Result<Vec<Cell>> {
        Ok(with_pool!(self, pool => sqlx::query_as("-- cell.list\nSELECT * FROM cell ORDER BY id")
            .fetch_all(pool)
            .await?))
    }

    /// Puts a field into a known cell.
    pub async fn keep_field_cell(&self, place: &FieldCell) -> Result<()> {
        with_pool!(self, pool => sqlx::query(
            "-- field_cell.keep
            INSERT INTO field_cell (field, cell, latitude, longitude, resolved_at)
            VALUES ($1, $2, $3, $4, $5)
            ON CONFLICT (field) DO UPDATE SET
                cell = excluded.cell, latitude = excluded.latitude,
                longitude = excluded.longitude, resolved_at = excluded.resolved_at")
            .bind(&place.field)
            .bind(&place.cell)
            .bind(place.latitude)
            .bind(place.longitude)
            .bind(place.resolved_at)
            .execute(pool)
            .await?
            .rows_affected());
        Ok(())
    }

    /// The cell of every field that has one, by field.
    pub async fn field_cells(&self) -> Result<Vec<FieldCell>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- field_cell.list\nSELECT * FROM field_cell ORDER BY field")
            .fetch_all(pool)
            .await?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    #[tokio::test(flavor = "multi_thread")]
    async fn a_cell_and_its_fields_are_kept_in_place() {
        on_each(|store| async move {
            let mut cell = Cell {
                id: "nws:OAX/59,58".to_owned(),
                url: "https://weather.example/gridpoints/OAX/59,58".to_owned(),
                polygon: None,
                resolved_at: at(0),
            };
            store.keep_cell(&cell).await.unwrap();
            cell.polygon = Some("{\"type\":\"Polygon\"}".to_owned());
            cell.resolved_at = at(9);
            store.keep_cell(&cell).await.unwrap();
            assert_eq!(store.cells().await.unwrap(), [cell.clone()]);

            let mut place = FieldCell {
                field: "north-80".to_owned(),
                cell: cell.id.clone(),
                latitude: 41.257_3,
                longitude: -96.012_5,
                resolved_at: at(0),
            };
            store.keep_field_cell(&place).await.unwrap();
            place.latitude = 41.3;
            store.keep_field_cell(&place).await.unwrap();
            assert_eq!(store.field_cells().await.unwrap(), [place.clone()]);
            place.cell = "nws:nowhere".to_owned();
            assert!(store.keep_field_cell(&place).await.is_err());
        })
        .await;
    }
}
