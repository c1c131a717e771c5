//! A signed post to another program, as Standard Webhooks 1.0.0 (2023).

use super::retry_after::retry_after;
use super::{Outcome, Outgoing, RouteFault};
use crate::store::TextKind;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, Utc};
use furrowbell_config::service::{self, Secret, WebhookForm};
use furrowbell_engine::findings::Urgency;
use hmac::{Hmac, KeyInit, Mac};
use reqwest::header::{self, HeaderMap};
use reqwest::{Client, StatusCode, Url};
use secrecy::ExposeSecret;
use serde_json::{Value, json};
use sha2::Sha256;
use std::time::Duration;

/// Bytes of a key (Standard Webhooks 1.0.0, "Signature scheme").
const KEY: std::ops::RangeInclusive<usize> = 24..=64;
/// Fewest digits of what is taken for a phone number.
const NUMBER_DIGITS: usize = 7;

/// A program that takes posts.
pub struct Webhook {
    url: Url,
    keys: Vec<Key>,
    form: WebhookForm,
    timeout: Duration,
    client: Client,
}

type Key = Vec<u8>;

impl Webhook {
    /// `client` must not follow redirects: what is posted is meant for this address alone.
    pub(super) fn new(
        settings: &service::Webhook,
        keys: &Secret,
        client: Client,
    ) -> Result<Self, RouteFault> {
        let url = Url::parse(&settings.url).map_err(|_| RouteFault::WebhookUrl)?;
        let keys: Vec<Key> =
            keys.expose_secret().split_whitespace().map(key).collect::<Result<_, _>>()?;
        if keys.is_empty() {
            return Err(RouteFault::WebhookKey);
        }
        let timeout = Duration::from_secs(settings.timeout_s.into());
        Ok(Self { url, keys, form: settings.form, timeout, client })
    }

    /// A chat program knows no ids, so it shows a repeat.
    pub(super) fn drops_repeats(&self) -> bool {
        self.form == WebhookForm::Standard
    }

    pub(super) async fn send(&self, text: &Outgoing) -> Outcome {
        let body = match self.form {
            WebhookForm::Standard => event(text),
            WebhookForm::Text => json!({ "text": said(text) }),
        };
        let body = body.to_string();
        let stamp = text.now.timestamp();
        let request = self
            .client
            .post(self.url.clone())
            .header(header::CONTENT_TYPE, "application/json")
            .header("webhook-id", &text.id)
            .header("webhook-timestamp", stamp)
            .header("webhook-signature", signatures(&self.keys, &text.id, stamp, &body))
            .timeout(self.timeout)
            .body(body);
        match request.send().await {
            Ok(answer) => judge(answer.status(), answer.headers(), text.now),
            Err(error) if error.is_connect() => {
                Outcome::Retry { why: "the program could not be reached".to_owned(), after: None }
            }
            Err(_) => Outcome::Unknown { why: "the program's answer was lost".to_owned() },
        }
    }
}

fn key(written: &str) -> Result<Key, RouteFault> {
    let key = STANDARD.decode(written.strip_prefix("whsec_").unwrap_or(written));
    key.ok().filter(|key| KEY.contains(&key.len())).ok_or(RouteFault::WebhookKey)
}

/// One signature a key, so that either of two keys checks while they are changed.
fn signatures(keys: &[Key], id: &str, stamp: i64, body: &str) -> String {
    let signature = |key: &Key| {
        let mut mac =
            Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes keys of any length (RFC 2104)");
        mac.update(format!("{id}.{stamp}.{body}").as_bytes());
        format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
    };
    keys.iter().map(signature).collect::<Vec<_>>().join(" ")
}

/// The whole of what a program is told. People and fields go by their ids in the book.
fn event(text: &Outgoing) -> Value {
    let about = &text.about;
    json!({
        "type": format!("text.{}", kind(about.kind)),
        "timestamp": text.now,
        "data": {
            "id": text.id,
            "person": about.person,
            "kind": kind(about.kind),
            "urgency": match about.urgency {
                Urgency::Urgent => "urgent",
                Urgency::Routine => "routine",
                Urgency::Digest => "digest",
            },
            "subject": text.subject,
            "text": said(text),
            "act_by": about.act_by,
            "expires_at": text.expires_at,
            "fields": about.fields,
        },
    })
}

const fn kind(kind: TextKind) -> &'static str {
    match kind {
        TextKind::Notice => "notice",
        TextKind::Reply => "reply",
        TextKind::Digest => "digest",
        TextKind::StopConfirmation => "stop-confirmation",
    }
}

/// What the text says. A digest names growers' numbers for the advisor alone; a program gets none.
fn said(text: &Outgoing) -> String {
    match text.about.kind {
        TextKind::Digest => text.body.lines().map(without_numbers).collect::<Vec<_>>().join("\n"),
        TextKind::Notice | TextKind::Reply | TextKind::StopConfirmation => text.body.clone(),
    }
}

/// The line without phone numbers in E.164 form.
fn without_numbers(line: &str) -> String {
    let mut out = String::with_capacity(line.len());
    let mut rest = line;
    while let Some(at) = rest.find('+') {
        let digits = rest[at + 1..].bytes().take_while(u8::is_ascii_digit).count();
        if digits < NUMBER_DIGITS {
            out.push_str(&rest[..=at]);
            rest = &rest[at + 1..];
        } else {
            out.push_str(rest[..at].trim_end_matches(' '));
            rest = &rest[at + 1 + digits..];
        }
    }
    out.push_str(rest);
    out
}

/// By the spec's "Webhook delivery": 2xx is taken, 410 wants no more, 429, 502 and 504 want it
/// slower.
fn judge(status: StatusCode, headers: &HeaderMap, now: DateTime<Utc>) -> Outcome {
    let why = format!("the program answered {}", status.as_u16());
    match status {
        _ if status.is_success() => Outcome::Accepted { provider_ids: Vec::new() },
        StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => Outcome::SignIn { why },
        StatusCode::TOO_MANY_REQUESTS | StatusCode::REQUEST_TIMEOUT | StatusCode::TOO_EARLY => {
            Outcome::Retry { why, after: retry_after(headers, now) }
        }
        _ if status.is_server_error() => Outcome::Retry { why, after: retry_after(headers, now) },
        _ if status.is_redirection() => {
            Outcome::Refused { why: format!("{why}; no redirect is followed") }
        }
        _ => Outcome::Refused { why },
    }
}

#[cfg(test)]
mod tests;
