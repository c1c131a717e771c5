//! Replies posted by the SMS gateway. A reply is on record before the gateway hears yes, since
//! many gateways never post again what was answered with 2xx.

use super::Pages;
use crate::inbox::{InboundMessage, Inbox};
use axum::body::to_bytes;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use furrowbell_config::people::RouteName;
use furrowbell_config::service::{Inbound, Secret};
use secrecy::ExposeSecret;
use serde_json::Value;
use std::collections::HashMap;
use std::sync::Arc;
use subtle::ConstantTimeEq;

/// No reply is longer.
pub(super) const BODY_LIMIT: usize = 16 * 1024;

/// How a gateway posts replies.
#[derive(Debug, Clone)]
pub struct Hook {
    settings: Inbound,
    secret_header: HeaderName,
    secret: Secret,
}

/// Settings from which no hook can be made.
#[derive(Debug, thiserror::Error)]
pub enum HookFault {
    /// A header that HTTP does not allow.
    #[error("routes.sms.inbound.secret_header is no HTTP header; use letters, digits and dashes")]
    Header,
    /// Anybody would know it.
    #[error("the secret of routes.sms.inbound is empty; put a long random text there")]
    EmptySecret,
}

impl Hook {
    /// A hook by its settings, with the secret they name.
    pub fn new(settings: Inbound, secret: Secret) -> Result<Self, HookFault> {
        let secret_header =
            HeaderName::try_from(&settings.secret_header).map_err(|_| HookFault::Header)?;
        if secret.expose_secret().is_empty() {
            return Err(HookFault::EmptySecret);
        }
        Ok(Self { settings, secret_header, secret })
    }

    /// Compares in constant time, so that answers do not tell how much of a guess was right.
    fn knows(&self, headers: &HeaderMap) -> bool {
        let secret = self.secret.expose_secret().as_bytes();
        let shown = headers.get(&self.secret_header).map_or(&b""[..], |value| value.as_bytes());
        secret.ct_eq(shown).into()
    }

    /// Reads sender, text and id by the names the settings give them.
    fn read(&self, posted: &Posted) -> Option<(String, String, Option<String>)> {
        let from = e164(&posted.value(&self.settings.from)?)?;
        let text = posted.value(&self.settings.text)?;
        let id = posted.value(&self.settings.id).filter(|id| !id.is_empty());
        Some((from, text, id))
    }
}

/// `POST /hooks/sms`.
pub(super) async fn sms<I: Inbox>(
    State(pages): State<Arc<Pages<I>>>,
    request: Request,
) -> StatusCode {
    let (parts, body) = request.into_parts();
    let Some(hook) = pages.hook.as_ref().filter(|hook| hook.knows(&parts.headers)) else {
        return StatusCode::UNAUTHORIZED;
    };
    let Ok(body) = to_bytes(body, BODY_LIMIT).await else {
        return StatusCode::PAYLOAD_TOO_LARGE;
    };
    let posted = Posted::parse(&parts.headers, &body, parts.uri.query());
    let Some((from, text, provider_id)) = posted.and_then(|posted| hook.read(&posted)) else {
        return StatusCode::BAD_REQUEST;
    };
    let received_at = pages.clock.now();
    let route = RouteName::Sms;
    match pages.inbox.store(InboundMessage { route, from, text, provider_id, received_at }).await {
        Ok(_) => StatusCode::NO_CONTENT,
        Err(error) => {
            tracing::error!(%error, "a reply could not be stored; the gateway was asked to repeat it");
            StatusCode::SERVICE_UNAVAILABLE
        }
    }
}

/// What was posted: a JSON document, or names and values.
pub(super) enum Posted {
    Json(Value),
    Pairs(HashMap<String, String>),
}

impl Posted {
    /// Reads by the content type; without a body the query counts.
    pub(super) fn parse(headers: &HeaderMap, body: &[u8], query: Option<&str>) -> Option<Self> {
        let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
        let kind = kind.unwrap_or_default().split(';').next().unwrap_or_default().trim();
        if body.is_empty() {
            return Some(Self::Pairs(pairs(query?)));
        }
        if kind.eq_ignore_ascii_case("application/json") {
            return serde_json::from_slice(body).ok().map(Self::Json);
        }
        if kind.eq_ignore_ascii_case("application/x-www-form-urlencoded") {
            return std::str::from_utf8(body).ok().map(pairs).map(Self::Pairs);
        }
        None
    }

    /// The value of that name; in JSON dots lead into nested objects.
    pub(super) fn value(&self, name: &str) -> Option<String> {
        match self {
            Self::Pairs(pairs) => pairs.get(name).cloned(),
            Self::Json(json) => {
                let found = name.split('.').try_fold(json, |inner, step| inner.get(step))?;
                match found {
                    Value::String(text) => Some(text.clone()),
                    Value::Number(number) => Some(number.to_string()),
                    _ => None,
                }
            }
        }
    }
}

/// Decodes `a=b&c=d`.
fn pairs(text: &str) -> HashMap<String, String> {
    // Only the query part is read; the address itself means nothing.
    let address = format!("http://hook.invalid/?{text}");
    reqwest::Url::parse(&address)
        .map(|url| url.query_pairs().into_owned().collect())
        .unwrap_or_default()
}

/// A number as gateways write it, as E.164 (ITU-T E.164, 2010): up to fifteen digits after "+".
/// Ten digits are taken for a North American number.
fn e164(written: &str) -> Option<String> {
    let written = written.trim();
    if written.chars().any(|sign| !(sign.is_ascii_digit() || "+-() .".contains(sign))) {
        return None;
    }
    let digits: String = written.chars().filter(char::is_ascii_digit).collect();
    let digits = match digits.strip_prefix("00") {
        Some(rest) => rest.to_owned(),
        None if digits.len() == 10 && !written.starts_with('+') => format!("1{digits}"),
        None => digits,
    };
    let legal = (7..=15).contains(&digits.len()) && !digits.starts_with('0');
    legal.then(|| format!("+{digits}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hook_that_would_let_anybody_in_is_not_made() {
        let mut settings: Inbound = toml::from_str("secret = { env = \"HOOK\" }").unwrap();
        assert!(matches!(Hook::new(settings.clone(), "".into()), Err(HookFault::EmptySecret)));
        settings.secret_header = "X Secret".to_owned();
        assert!(matches!(Hook::new(settings, "hush".into()), Err(HookFault::Header)));
    }

    #[test]
    fn numbers_are_read_as_gateways_write_them() {
        for written in [
            "+15155550123",
            "15155550123",
            "0015155550123",
            " 15155550123",
            "5155550123",
            "+1 (515) 555-0123",
            "515.555.0123",
        ] {
            assert_eq!(e164(written).as_deref(), Some("+15155550123"), "{written}");
        }
        for written in
            ["", "+", "12345", "+0155550123", "desk", "+1515555012345678", "1515x5550123"]
        {
            assert_eq!(e164(written), None, "{written}");
        }
    }
}
