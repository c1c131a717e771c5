//! Whether the service does its work.

use super::Pages;
use crate::inbox::Inbox;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Serialize;
use std::sync::Arc;
use std::time::Duration;

/// A database that takes longer counts as down.
const DATABASE_ANSWERS_WITHIN: Duration = Duration::from_secs(2);
/// So many periods without a full round mean that the rounds have stopped.
const PERIODS_WITHOUT_ROUND: i32 = 3;

#[derive(Debug, Serialize)]
pub(super) struct Health {
    ok: bool,
    database_reachable: bool,
    /// Seconds since the last full round; null before the first.
    last_round_age_s: Option<i64>,
}

pub(super) async fn page<I: Inbox>(
    State(pages): State<Arc<Pages<I>>>,
) -> (StatusCode, Json<Health>) {
    let answer = tokio::time::timeout(DATABASE_ANSWERS_WITHIN, pages.inbox.reachable());
    let database_reachable = answer.await.unwrap_or(false);
    let now = pages.clock.now();
    let longest = pages.round_every * PERIODS_WITHOUT_ROUND;
    let ok = database_reachable && pages.figures.without_round(now) <= longest;
    let status = if ok { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    let last_round_age_s = pages.figures.round_age(now).map(|age| age.num_seconds());
    (status, Json(Health { ok, database_reachable, last_round_age_s }))
}
