//! Chat over Matrix, in rooms that are not encrypted.
//!
//! A text's id is the transaction id of its event, so the homeserver takes a repeat for what it is.
//! It remembers that for a device and an hour or a day, not for ever.

mod api;
mod events;
mod listen;

use super::{Outcome, Outgoing, RouteFault};
use api::{Account, Fault, Homeserver};
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::service::{self, Secret};
use furrowbell_engine::findings::Urgency;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::OnceCell;

/// How long a repeat under one id is safe. A homeserver may forget the id after a day (so does
/// Synapse 1.163, `event_txn_id_device_id`).
const REPEATS_KNOWN: TimeDelta = TimeDelta::hours(23);
/// How long a room is taken to be as it was.
const ROOM_KNOWN: TimeDelta = TimeDelta::minutes(10);
/// An event may have 65,536 bytes in all (Client-Server API v1.11, "Size limits"); the rest is for
/// what stands around a text.
const MOST_CONTENT: usize = 60_000;

/// Chat over Matrix.
pub struct Matrix {
    server: Homeserver,
    user: Option<String>,
    device: Option<String>,
    account: OnceCell<Account>,
    /// Rooms without encryption, and when that was so.
    plain: Mutex<BTreeMap<String, DateTime<Utc>>>,
}

impl Matrix {
    pub(super) fn new(
        settings: &service::Matrix,
        token: &Secret,
        client: reqwest::Client,
    ) -> Result<Self, RouteFault> {
        let patience = Duration::from_secs(settings.timeout_s.into());
        Ok(Self {
            server: Homeserver::new(&settings.homeserver, token, patience, client)?,
            user: settings.user.clone(),
            device: settings.device.clone(),
            account: OnceCell::new(),
            plain: Mutex::default(),
        })
    }

    pub(super) async fn send(&self, text: &Outgoing) -> Outcome {
        match self.put(text).await {
            Ok(event) => Outcome::Accepted { provider_ids: vec![event] },
            Err(fault) => fault.into(),
        }
    }

    async fn put(&self, text: &Outgoing) -> Result<String, Fault> {
        if text.maybe_since.is_some_and(|since| text.now - since > REPEATS_KNOWN) {
            return Err(Fault::refused(
                "its answer was lost a day ago; the homeserver would not know a repeat any more",
            ));
        }
        self.account().await.map_err(Fault::before_sending)?;
        self.refuse_encrypted(&text.to, text.now).await.map_err(Fault::before_sending)?;
        self.server.put_message(&text.to, &text.id, &content(text)).await
    }

    /// Whose token it is; asked once.
    async fn account(&self) -> Result<&Account, Fault> {
        self.account
            .get_or_try_init(|| async {
                let account = self.server.whoami().await?;
                let other_user = self.user.as_ref().is_some_and(|user| *user != account.user);
                let other_device = self.device.is_some() && self.device != account.device;
                if other_user || other_device {
                    let what = if other_user { "user" } else { "device" };
                    return Err(Fault::SignIn(format!(
                        "the token belongs to another {what} than routes.matrix.{what}"
                    )));
                }
                Ok(account)
            })
            .await
    }

    /// What would go into an encrypted room in the clear stays here.
    async fn refuse_encrypted(&self, room: &str, now: DateTime<Utc>) -> Result<(), Fault> {
        let seen = self.plain().get(room).copied();
        if seen.is_some_and(|seen| now - seen < ROOM_KNOWN) {
            return Ok(());
        }
        if self.server.is_encrypted(room).await? {
            self.forget(room);
            return Err(Fault::refused(
                "the room is encrypted and this route cannot encrypt; make a room without it",
            ));
        }
        self.plain().insert(room.to_owned(), now);
        Ok(())
    }

    /// Has the room asked after anew before the next text.
    fn forget(&self, room: &str) {
        self.plain().remove(room);
    }

    fn plain(&self) -> std::sync::MutexGuard<'_, BTreeMap<String, DateTime<Utc>>> {
        self.plain.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The event's content: only what is urgent is a message that rings, and HTML goes along where it
/// fits.
fn content(text: &Outgoing) -> Value {
    let kind = if text.about.urgency == Urgency::Urgent { "m.text" } else { "m.notice" };
    let plain = json!({ "msgtype": kind, "body": text.body });
    let Some(html) = &text.html else { return plain };
    let mut rich = plain.clone();
    rich["format"] = "org.matrix.custom.html".into();
    rich["formatted_body"] = inside_body(html).into();
    if rich.to_string().len() <= MOST_CONTENT { rich } else { plain }
}

/// What stands in a page's body; a chat has a head of its own.
fn inside_body(html: &str) -> &str {
    let inner = || {
        let (_, rest) = html.split_once("<body")?;
        let (_, rest) = rest.split_once('>')?;
        Some(rest.split_once("</body>")?.0.trim())
    };
    inner().unwrap_or(html)
}

#[cfg(test)]
mod tests;
