//! The service's own pages: health, metrics, and the hook that gateways post replies to.

mod figures;
mod health;
mod hooks;
pub mod public;
mod receipts;
mod verify;

pub use figures::{Figures, TextState};
pub use hooks::{Hook, HookFault};
pub use receipts::ReceiptHook;

use crate::clock::Clock;
use crate::inbox::Inbox;
use axum::Router;
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use chrono::TimeDelta;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

/// Everything the pages need.
pub struct Pages<I> {
    /// Where replies go.
    pub inbox: I,
    /// The service's clock.
    pub clock: Clock,
    /// What the rounds and routes count.
    pub figures: Arc<Figures>,
    /// Time between two rounds.
    pub round_every: TimeDelta,
    /// How replies come in; without it there is no hook.
    pub hook: Option<Hook>,
    /// How receipts come in; without it there is no hook for them.
    pub receipts: Option<ReceiptHook>,
}

/// The pages at their addresses.
pub fn router<I: Inbox>(pages: Pages<I>) -> Router {
    let has_hook = pages.hook.is_some();
    let mut router: Router<Arc<Pages<I>>> =
        Router::new().route("/health", get(health::page)).route("/metrics", get(metrics));
    if has_hook {
        router = router.route("/hooks/sms", post(hooks::sms));
    }
    if pages.receipts.is_some() {
        router = router.route("/hooks/sms/receipts", post(receipts::sms));
    }
    router.with_state(Arc::new(pages))
}

/// Serves until `stop`, then lets the requests under way finish.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    stop: CancellationToken,
) -> std::io::Result<()> {
    axum::serve(listener, router).with_graceful_shutdown(stop.cancelled_owned()).await
}

async fn metrics<I: Inbox>(State(pages): State<Arc<Pages<I>>>) -> impl IntoResponse {
    let kind = [(header::CONTENT_TYPE, "text/plain; version=0.0.4; charset=utf-8")];
    (kind, pages.figures.prometheus(pages.clock.now()))
}

#[cfg(test)]
mod tests;
