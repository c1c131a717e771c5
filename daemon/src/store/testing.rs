//! Runs one story on every database at hand, and makes the rows that stories need.

use super::{Consent, ConsentState, Identity, Notice, Store, Text, TextKind, consent, texts};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use furrowbell_config::people::{Language, RouteName};
use furrowbell_engine::findings::{Evidence, Topic, Urgency};
use furrowbell_engine::season::{DayRow, PartnerRows, SoilRow};
use sqlx::postgres::{PgConnectOptions, PgPool};
use sqlx::sqlite::SqlitePool;
use sqlx::{AssertSqlSafe, ConnectOptions};
use std::str::FromStr;
use std::sync::atomic::{AtomicU32, Ordering};

/// Names a server on which databases may be made, as `postgres://USER@HOST:PORT`.
const POSTGRES: &str = "FURROWBELL_TEST_POSTGRES";

/// Runs the story on a new `SQLite` file and, where a server is named, on a new `PostgreSQL`
/// database.
pub async fn on_each<F>(story: impl Fn(Store) -> F)
where
    F: Future<Output = ()> + Send + 'static,
{
    let folder = tempfile::tempdir().unwrap();
    let url = format!("sqlite:{}", folder.path().join("record.db").display());
    run(&url, &story).await;
    match std::env::var(POSTGRES) {
        Ok(server) => on_postgres(&server, &story).await,
        Err(_) => eprintln!("skipped on PostgreSQL: {POSTGRES} is not set"),
    }
}

async fn on_postgres<F>(server: &str, story: impl Fn(Store) -> F)
where
    F: Future<Output = ()> + Send + 'static,
{
    static MADE: AtomicU32 = AtomicU32::new(0);
    let number = MADE.fetch_add(1, Ordering::SeqCst);
    let name = format!("furrowbell_test_{}_{number}", std::process::id());
    let options = PgConnectOptions::from_str(server).unwrap();
    let admin = PgPool::connect_with(options.clone()).await.unwrap();
    let make = format!("CREATE DATABASE {name}");
    sqlx::raw_sql(AssertSqlSafe(make)).execute(&admin).await.unwrap();
    let url = options.database(&name).to_url_lossy().to_string();
    let told = tokio::spawn(opened(url).await.map(&story).unwrap()).await;
    let drop = format!("DROP DATABASE {name} WITH (FORCE)");
    sqlx::raw_sql(AssertSqlSafe(drop)).execute(&admin).await.unwrap();
    told.unwrap_or_else(|failure| std::panic::resume_unwind(failure.into_panic()));
}

async fn run<F: Future<Output = ()>>(url: &str, story: impl Fn(Store) -> F) {
    story(opened(url.to_owned()).await.unwrap()).await;
}

async fn opened(url: String) -> super::Result<Store> {
    let store = Store::open(&url).await?;
    store.migrate().await?;
    Ok(store)
}

/// A second instance on the same database.
pub async fn twin(store: &Store) -> Store {
    match store {
        Store::Sqlite(pool) => {
            let options = (*pool.connect_options()).clone();
            Store::Sqlite(SqlitePool::connect_with(options).await.unwrap())
        }
        Store::Postgres(pool) => {
            let options = (*pool.connect_options()).clone();
            Store::Postgres(PgPool::connect_with(options).await.unwrap())
        }
    }
}

impl Store {
    /// Queues a text that carries no notice.
    pub async fn queue(&self, text: &Text) -> super::Result<()> {
        let mut tx = self.begin().await?;
        texts::insert(&mut tx, text).await?;
        tx.commit().await
    }

    /// Adds a line to the consent ledger; says how many texts it held.
    pub async fn record_consent(&self, consent: &Consent) -> super::Result<u64> {
        let mut tx = self.begin().await?;
        let held = consent::insert(&mut tx, consent).await?;
        tx.commit().await?;
        Ok(held)
    }
}

/// Noon UTC on 1 May 2026 and so many minutes.
pub fn at(minutes: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_777_636_800, 0).unwrap() + TimeDelta::minutes(minutes)
}

/// A day of May 2026.
pub fn may(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, day).unwrap()
}

/// A routine notice text to "ann", due at once, good for a day.
pub fn text(id: &str) -> Text {
    Text {
        id: id.to_owned(),
        kind: TextKind::Notice,
        person: "ann".to_owned(),
        route: RouteName::Sms,
        language: Language::English,
        subject: None,
        body: "North 80: the pre still waits for rain.".to_owned(),
        html: None,
        urgency: Urgency::Routine,
        act_by: Some(may(3)),
        created_at: at(0),
        due_at: at(0),
        expires_at: at(24 * 60),
    }
}

/// A line of the ledger, written from the number of "ann".
pub fn consent(id: &str, state: ConsentState, at: DateTime<Utc>) -> Consent {
    Consent {
        id: id.to_owned(),
        person: "ann".to_owned(),
        state,
        at,
        recorded_at: at,
        how: "reply".to_owned(),
        wording: "STOP".to_owned(),
        route: Some(RouteName::Sms),
        address: Some("+15155550123".to_owned()),
        decided_by: None,
    }
}

/// An open notice of a weather gap at "north-80" to "ann".
pub fn notice(id: &str, version: u32) -> Notice {
    Notice {
        id: id.to_owned(),
        identity: Identity {
            field: "north-80".to_owned(),
            topic: Topic::WeatherGap,
            occasion: may(1),
            version,
            person: "ann".to_owned(),
        },
        urgency: Urgency::Routine,
        act_by: None,
        expires_at: at(24 * 60),
        provisional: true,
        evidence: Evidence::WeatherGap { since: may(1), days: 3 },
        raised_at: at(0),
        closed: None,
    }
}

/// A day with so much heat and nothing else known.
pub fn day_row(date: NaiveDate, gdd_f: f64) -> DayRow {
    DayRow {
        date,
        provisional: false,
        gdd_f: Some(gdd_f),
        gdd_estimated: false,
        gdd_total_f: None,
        stage: None,
        rain_in: None,
        soil: SoilRow::default(),
        activation: PartnerRows::default(),
        residual: PartnerRows::default(),
        post_window: None,
        sidedress: None,
        nitrogen: None,
        unknown: [].into_iter().collect(),
    }
}

/// One kept day of a season.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeasonDay {
    pub day: NaiveDate,
    pub body: String,
    pub computed_at: DateTime<Utc>,
}

from_row!(SeasonDay { day, body, computed_at });

/// The days that are kept of a field, by day.
pub async fn season_days(store: &Store, field: &str) -> Vec<SeasonDay> {
    with_pool!(store, pool => sqlx::query_as(
        "SELECT day, body, computed_at FROM season_day WHERE field = $1 ORDER BY day")
        .bind(field)
        .fetch_all(pool)
        .await
        .unwrap())
}
