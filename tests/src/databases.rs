//! Databases for the stories.

use sqlx::{Connection, Executor, PgConnection};

/// A new, empty database on the `PostgreSQL` server named by `FURROWBELL_TEST_POSTGRES`; `None`,
/// said aloud, where that is unset.
pub async fn fresh_postgres() -> Option<String> {
    let Ok(server) = std::env::var("FURROWBELL_TEST_POSTGRES") else {
        println!("SKIP on PostgreSQL: FURROWBELL_TEST_POSTGRES is not set; ./tests/run sets it");
        return None;
    };
    let mut admin = PgConnection::connect(&format!("{server}/postgres"))
        .await
        .expect("the PostgreSQL of the tests answers");
    let name = format!("story_{}_{:x}", std::process::id(), std::ptr::from_ref(&admin).addr());
    admin
        .execute(sqlx::AssertSqlSafe(format!("CREATE DATABASE {name}")))
        .await
        .expect("the role may create databases");
    Some(format!("{server}/{name}"))
}
