//! From the events of a room to what a person wrote.

use crate::inbox::InboundMessage;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::people::RouteName;
use serde::Deserialize;
use serde_json::Value;

/// A message older than this is dated as if it were just so old.
const OLDEST: TimeDelta = TimeDelta::days(30);

/// One event of a room.
#[derive(Debug, Deserialize)]
pub(super) struct Event {
    #[serde(rename = "event_id")]
    id: String,
    sender: String,
    #[serde(rename = "type")]
    kind: String,
    #[serde(default)]
    content: Value,
    state_key: Option<String>,
    #[serde(default)]
    unsigned: Unsigned,
}

#[derive(Debug, Default, Deserialize)]
struct Unsigned {
    age: Option<i64>,
    prev_content: Option<Value>,
}

/// Events as they came, less what is none.
pub(super) fn read(values: Vec<Value>) -> Vec<Event> {
    values.into_iter().filter_map(|value| serde_json::from_value(value).ok()).collect()
}

/// Whether encryption was turned on.
pub(super) fn turns_on_encryption(events: &[Event]) -> bool {
    events.iter().any(|event| event.kind == "m.room.encryption")
}

/// What others wrote, oldest first. What was said before we came into the room was not said to us.
pub(super) fn replies(events: &[Event], own: &str, now: DateTime<Utc>) -> Vec<InboundMessage> {
    let joined = events.iter().rposition(|event| event.is_coming_of(own));
    let heard = events.iter().skip(joined.map_or(0, |at| at + 1));
    let others = heard.filter(|event| event.sender != own);
    others.filter_map(|event| event.reply(now)).collect()
}

impl Event {
    /// Whether we came into the room by it; a new name or picture is the same event without that.
    fn is_coming_of(&self, own: &str) -> bool {
        let before = self.unsigned.prev_content.as_ref();
        self.kind == "m.room.member"
            && self.state_key.as_deref() == Some(own)
            && self.content["membership"] == "join"
            && before.is_none_or(|before| before["membership"] != "join")
    }

    fn reply(&self, now: DateTime<Utc>) -> Option<InboundMessage> {
        let age = TimeDelta::milliseconds(self.unsigned.age.unwrap_or_default());
        Some(InboundMessage {
            route: RouteName::Matrix,
            from: self.sender.clone(),
            text: self.text()?,
            provider_id: Some(self.id.clone()),
            received_at: now - age.clamp(TimeDelta::zero(), OLDEST),
        })
    }

    /// What was written; what cannot be read is named in brackets, so that somebody looks at it.
    fn text(&self) -> Option<String> {
        match self.kind.as_str() {
            "m.room.encrypted" => Some("(encrypted)".to_owned()),
            "m.room.message" => {
                let relation = &self.content["m.relates_to"];
                // A correction says anew what is meant, as a second SMS would.
                let content = match relation["rel_type"].as_str() {
                    Some("m.replace") => &self.content["m.new_content"],
                    _ => &self.content,
                };
                let body = content["body"].as_str()?;
                match content["msgtype"].as_str()? {
                    "m.text" | "m.emote" if relation["m.in_reply_to"].is_object() => {
                        Some(without_quote(body).to_owned())
                    }
                    "m.text" | "m.emote" => Some(body.to_owned()),
                    // Programs answer with notices; answering those may never end.
                    "m.notice" => None,
                    other => Some(format!("({})", other.trim_start_matches("m."))),
                }
            }
            _ => None,
        }
    }
}

/// A reply without the lines of the message it replies to, which older programs put before it
/// (Client-Server API v1.11, "Fallbacks for rich replies").
fn without_quote(body: &str) -> &str {
    let mut rest = body;
    while rest.starts_with('>') {
        let Some((_, after)) = rest.split_once('\n') else { return body };
        rest = after;
    }
    rest.trim_start_matches('\n')
}
