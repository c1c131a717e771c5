//! Weather cells and which field lies in which.

use super::Store;
use super::error::Result;
use chrono::{DateTime, Utc};

/// A piece of land that shares one weather.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Cell {
    /// Source and name, such as `nws:OAX/59,58` or `file:FARM`.
    pub id: String,
    /// Where its weather comes from.
    pub url: String,
    /// Its outline as GeoJSON geometry, where the source gives one.
    pub polygon: Option<String>,
    /// When the source last named it.
    pub resolved_at: DateTime<Utc>,
}

/// The cell of one field, and the point it was looked up for.
#[derive(Debug, Clone, PartialEq, sqlx::FromRow)]
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

    /// Forgets which fields lie in a cell, so that each is asked for anew; says how many.
    pub async fn forget_places_in(&self, cell: &str) -> Result<u64> {
        Ok(with_pool!(self, pool => sqlx::query(
            "-- field_cell.forget\nDELETE FROM field_cell WHERE cell = $1")
            .bind(cell)
            .execute(pool)
            .await?
            .rows_affected()))
    }

    /// The cell of every field that has one, by field.
    pub async fn field_cells(&self) -> Result<Vec<FieldCell>> {
        Ok(with_pool!(self, pool => sqlx::query_as(
            "-- field_cell.list\nSELECT * FROM field_cell ORDER BY field")
            .fetch_all(pool)
            .await?))
    }
}
