//! The record: one database, SQLite or PostgreSQL, behind one set of functions.
//!
//! Every statement is written once for both databases and begins with a comment that names it.
//! Instants are bound from the service's clock, never taken from the database's; ids are made by
//! the caller; closed choices are kept under the words they have in the book.

/// Runs one body over the pool of either database.
macro_rules! with_pool {
    ($store:expr, $pool:ident => $body:expr) => {
        match $store {
            $crate::store::Store::Sqlite($pool) => $body,
            $crate::store::Store::Postgres($pool) => $body,
        }
    };
}

/// Runs one body over the connection of a transaction on either database.
macro_rules! with_tx {
    ($tx:expr, $connection:ident => $body:expr) => {
        match $tx {
            $crate::store::Tx::Sqlite(tx) => {
                let $connection = &mut **tx;
                $body
            }
            $crate::store::Tx::Postgres(tx) => {
                let $connection = &mut **tx;
                $body
            }
        }
    };
}

mod cells;
mod consent;
mod digests;
mod error;
mod fetches;
mod inbound;
mod journal;
mod marks;
mod notices;
mod outbox;
mod row;
mod seasons;
mod texts;
mod weather;

pub use cells::{Cell, FieldCell};
pub use consent::{Consent, ConsentState};
pub use digests::Digest;
pub use error::{Error, Result};
pub use fetches::Fetch;
pub use inbound::{Handling, Inbound};
pub use journal::{Record, Via};
pub use notices::{Closing, Ending, Identity, Notice, Telling};
pub use outbox::{Attempt, Settlement};
pub use seasons::SeasonDay;
pub use texts::{Queued, Text, TextFilter, TextKind, TextState};
pub use weather::{WeatherDay, WeatherHour};

use sqlx::migrate::{MigrateError, Migrator};
use sqlx::postgres::{PgConnectOptions, PgPool, PgPoolOptions};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};
use sqlx::{Postgres, Sqlite, Transaction};
use std::str::FromStr;
use std::time::Duration;

/// The tables, compiled in.
static MIGRATOR: Migrator = sqlx::migrate!("../migrations");

/// Most connections of one instance.
const CONNECTIONS: u32 = 8;
/// How long a statement waits for another writer, and a caller for a connection.
const PATIENCE: Duration = Duration::from_secs(10);
/// Rows of one bulk statement.
const ROWS_A_STATEMENT: usize = 500;

/// The record. Clones share one pool.
#[derive(Debug, Clone)]
pub enum Store {
    /// One file on this machine.
    Sqlite(SqlitePool),
    /// A server, for several instances.
    Postgres(PgPool),
}

/// A write transaction; dropped without [`Tx::commit`] it leaves no trace.
#[derive(Debug)]
enum Tx {
    Sqlite(Transaction<'static, Sqlite>),
    Postgres(Transaction<'static, Postgres>),
}

impl Tx {
    async fn commit(self) -> Result<()> {
        match self {
            Self::Sqlite(tx) => tx.commit().await?,
            Self::Postgres(tx) => tx.commit().await?,
        }
        Ok(())
    }
}

impl Store {
    /// Opens `sqlite:PATH` (made when absent) or `postgres://USER@HOST/NAME`.
    pub async fn open(url: &str) -> Result<Self> {
        if url.starts_with("sqlite:") {
            let options = SqliteConnectOptions::from_str(url)
                .map_err(|source| Error::Open { database: "file of that URL".into(), source })?;
            open_sqlite(options).await
        } else if url.starts_with("postgres://") || url.starts_with("postgresql://") {
            let options = PgConnectOptions::from_str(url)
                .map_err(|source| Error::Open { database: "server of that URL".into(), source })?;
            open_postgres(options).await
        } else {
            Err(Error::Scheme)
        }
    }

    /// Brings the tables up to date; refuses a database that a newer program has changed.
    pub async fn migrate(&self) -> Result<()> {
        let known = MIGRATOR.iter().map(|step| step.version).max().unwrap_or_default();
        with_pool!(self, pool => MIGRATOR.run(pool).await).map_err(|error| match error {
            MigrateError::VersionMissing(found) if found > known => Error::Newer { found, known },
            error => Error::Migrate(error),
        })
    }

    /// Whether the database answers.
    pub async fn ping(&self) -> Result<()> {
        with_pool!(self, pool => {
            sqlx::query("-- store.ping\nSELECT 1").execute(pool).await?;
        });
        Ok(())
    }

    /// Waits for running statements and closes every connection.
    pub async fn close(&self) {
        with_pool!(self, pool => pool.close().await);
    }

    /// Begins a write. SQLite takes the write lock at once, since a reader that turns writer
    /// fails when somebody else wrote in between.
    async fn begin(&self) -> Result<Tx> {
        Ok(match self {
            Self::Sqlite(pool) => Tx::Sqlite(pool.begin_with("BEGIN IMMEDIATE").await?),
            Self::Postgres(pool) => Tx::Postgres(pool.begin().await?),
        })
    }
}

async fn open_sqlite(options: SqliteConnectOptions) -> Result<Store> {
    let database = options.get_filename().display().to_string();
    let options = options
        .create_if_missing(true)
        .foreign_keys(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Normal)
        .busy_timeout(PATIENCE);
    let pool = SqlitePoolOptions::new()
        .max_connections(CONNECTIONS)
        .acquire_timeout(PATIENCE)
        .connect_with(options)
        .await
        .map_err(|source| Error::Open { database, source })?;
    Ok(Store::Sqlite(pool))
}

async fn open_postgres(options: PgConnectOptions) -> Result<Store> {
    let name = options.get_database().unwrap_or_default();
    let database = format!("{name} on {}:{}", options.get_host(), options.get_port());
    let pool = PgPoolOptions::new()
        .max_connections(CONNECTIONS)
        .acquire_timeout(PATIENCE)
        .connect_with(options)
        .await
        .map_err(|source| Error::Open { database, source })?;
    Ok(Store::Postgres(pool))
}
