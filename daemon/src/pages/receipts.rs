//! Receipts posted by the SMS gateway: what became of texts it took.

use super::hooks::{BODY_LIMIT, Posted};
use super::{HookFault, Pages, verify};
use crate::inbox::Inbox;
use crate::store::Receipt;
use axum::body::to_bytes;
use axum::extract::{Request, State};
use axum::http::StatusCode;
use furrowbell_config::people::RouteName;
use furrowbell_config::service::{ReceiptState, Receipts, Secret};
use secrecy::ExposeSecret;
use std::sync::Arc;

/// How a gateway posts receipts.
#[derive(Debug, Clone)]
pub struct ReceiptHook {
    settings: Receipts,
    secret: Secret,
}

impl ReceiptHook {
    /// A hook by its settings, with the secret they name.
    pub fn new(settings: Receipts, secret: Secret) -> Result<Self, HookFault> {
        if secret.expose_secret().is_empty() {
            return Err(HookFault::EmptySecret);
        }
        Ok(Self { settings, secret })
    }

    /// A word that no table holds means unknown, never delivered.
    fn state(&self, word: &str) -> ReceiptState {
        self.settings.words.get(word).copied().unwrap_or(ReceiptState::Unknown)
    }
}

/// `POST /hooks/sms/receipts`. A receipt that comes again changes nothing.
pub(super) async fn sms<I: Inbox>(
    State(pages): State<Arc<Pages<I>>>,
    request: Request,
) -> StatusCode {
    let (parts, body) = request.into_parts();
    let Some(hook) = &pages.receipts else { return StatusCode::NOT_FOUND };
    let Ok(body) = to_bytes(body, BODY_LIMIT).await else {
        return StatusCode::PAYLOAD_TOO_LARGE;
    };
    let at = pages.clock.now();
    if !verify::is_genuine(&hook.settings.verify, &hook.secret, &parts.headers, &body, at) {
        return StatusCode::UNAUTHORIZED;
    }
    let posted = Posted::parse(&parts.headers, &body, parts.uri.query());
    let read = posted.and_then(|posted| {
        let id = posted.value(&hook.settings.id).filter(|id| !id.is_empty())?;
        Some((id, posted.value(&hook.settings.status)?))
    });
    let Some((provider_id, word)) = read else { return StatusCode::BAD_REQUEST };
    let state = hook.state(&word);
    if state == ReceiptState::Unknown {
        tracing::warn!("the gateway's word for a text's state is in no table of the book");
    }
    let receipt = Receipt { route: RouteName::Sms, provider_id, state, at };
    match pages.inbox.store_receipt(receipt).await {
        Ok(_) => StatusCode::NO_CONTENT,
        Err(error) => {
            tracing::error!(%error, "a receipt could not be stored; the gateway was asked to repeat it");
            StatusCode::SERVICE_UNAVAILABLE
        }
    }
}
