//! What can go wrong with the record.

use sqlx::migrate::MigrateError;

/// Result of everything the store does.
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// What went wrong. Texts carry table names and ids, never what people wrote.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The URL names no database we know.
    #[error("the database URL must begin with sqlite: or postgres://")]
    Scheme,
    /// The database cannot be reached or made.
    #[error("cannot open the database {database}; check that it exists and may be used")]
    Open {
        /// Where it was sought, without user and password.
        database: String,
        /// The driver's reason.
        source: sqlx::Error,
    },
    /// A later release has already changed the tables.
    #[error(
        "the database is at schema step {found}, this program knows {known}; run the newer program"
    )]
    Newer {
        /// Latest step found in the database.
        found: i64,
        /// Latest step compiled in.
        known: i64,
    },
    /// The tables cannot be brought up to date.
    #[error("cannot bring the database up to date")]
    Migrate(#[source] MigrateError),
    /// The driver or the server failed.
    #[error("the database refused or failed")]
    Driver(#[from] sqlx::Error),
    /// A stored row says something the program does not understand.
    #[error("{table}.{column} of row {id} cannot be understood")]
    Inconsistent {
        /// Table of the row.
        table: &'static str,
        /// Column that holds the value.
        column: &'static str,
        /// Key of the row.
        id: String,
        /// Why not.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// A value cannot be put into words for its column.
    #[error("{table}.{column} cannot be written")]
    Unwritable {
        /// Table meant.
        table: &'static str,
        /// Column meant.
        column: &'static str,
        /// Why not.
        source: serde_json::Error,
    },
    /// The lease ran out and somebody else holds or has settled the text.
    #[error("the lease on text {id} was lost; its outcome was not recorded")]
    LostLease {
        /// The text.
        id: String,
    },
}
