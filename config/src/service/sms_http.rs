//! An HTTP gateway for SMS: how texts go out, and how replies and receipts come back.

use super::{HTTP, SecretSource};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// An absolute JSON pointer.
const POINTER: &str = "^/";

/// An HTTP gateway for SMS, described field by field.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SmsHttp {
    /// Address to send to, with http or https.
    #[schemars(regex(pattern = HTTP), extend("x-private" = true))]
    pub url: String,
    /// How the fields travel.
    #[serde(default)]
    pub body: BodyForm,
    /// Number or name texts come from.
    pub from: Option<String>,
    /// What the gateway calls our fields.
    #[serde(default)]
    pub fields: SmsFields,
    /// Further fields with fixed values.
    #[serde(default)]
    pub constants: BTreeMap<String, String>,
    /// How to write the number.
    #[serde(default)]
    pub number_style: NumberStyle,
    /// How to sign in.
    #[serde(default)]
    pub auth: Auth,
    /// Header that carries our id, so that the gateway can drop a repeat.
    #[serde(default = "idempotency_header")]
    pub idempotency_header: Option<String>,
    /// Whether the gateway truly drops repeats of one id.
    #[serde(default)]
    pub deduplicates: bool,
    /// When an answer means accepted.
    #[serde(default)]
    pub success: SuccessTest,
    /// Seconds to wait for an answer.
    #[serde(default = "timeout_s")]
    #[schemars(range(min = 1, max = 60))]
    pub timeout_s: u32,
    /// Replies posted by the gateway.
    pub inbound: Option<Inbound>,
    /// Receipts posted by the gateway; without them no text is waited for.
    pub receipts: Option<Receipts>,
}

/// How the fields travel.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BodyForm {
    /// `application/x-www-form-urlencoded`.
    #[default]
    Form,
    /// `application/json`; dots in a field name make nested objects.
    Json,
    /// GET with a query.
    Query,
}

/// What the gateway calls our fields. An absent optional name is not sent.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SmsFields {
    /// Receiver's number.
    pub to: String,
    /// Sender.
    pub from: String,
    /// The text.
    pub text: String,
    /// Our id.
    pub client_ref: Option<String>,
    /// Seconds after which the text has lost its sense.
    pub validity_s: Option<String>,
}

/// How to write a phone number.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NumberStyle {
    /// `+15555550123`.
    #[default]
    Plus,
    /// `15555550123`.
    Digits,
    /// `0015555550123`.
    DoubleZero,
}

/// How to sign in to a gateway.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Auth {
    /// Not at all.
    #[default]
    None,
    /// HTTP basic.
    Basic {
        /// The user who signs in.
        user: String,
        /// Where that user's password is.
        password: SecretSource,
    },
    /// Bearer token.
    Bearer {
        /// Where the token is.
        token: SecretSource,
    },
    /// A header of the gateway's own.
    Header {
        /// The header's name.
        name: String,
        /// Where the header's value is.
        value: SecretSource,
    },
}

/// When an answer means accepted: the status, and if given also the body.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SuccessTest {
    /// Lowest status that is a success.
    #[schemars(range(min = 200, max = 399))]
    pub status_min: u16,
    /// Highest status that is a success.
    #[schemars(range(min = 200, max = 399))]
    pub status_max: u16,
    /// JSON pointer (RFC 6901), from a slash on, of a value in the answer that must be ...
    #[schemars(regex(pattern = POINTER))]
    pub json_pointer: Option<String>,
    /// ... this, written as text.
    pub equals: Option<String>,
    /// Text the body must contain, for gateways that answer in plain text.
    pub contains: Option<String>,
    /// JSON pointer (RFC 6901), from a slash on, of the gateway's id for the text.
    #[schemars(regex(pattern = POINTER))]
    pub message_id_pointer: Option<String>,
}

/// Replies posted by the gateway to `/hooks/sms`.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Inbound {
    /// Header that carries the shared secret.
    #[serde(default = "inbound_header")]
    pub secret_header: String,
    /// The shared secret.
    pub secret: SecretSource,
    /// Field that holds the sender's number.
    #[serde(default = "inbound_from")]
    pub from: String,
    /// Field that holds the text.
    #[serde(default = "inbound_text")]
    pub text: String,
    /// Field that holds the gateway's id, by which a repeat is known.
    #[serde(default = "inbound_id")]
    pub id: String,
}

/// Receipts posted by the gateway to `/hooks/sms/receipts`.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Receipts {
    /// How a posted receipt is known to be the gateway's.
    pub verify: Verify,
    /// Field that holds the id the gateway gave the text, or ours.
    #[serde(default = "inbound_id")]
    pub id: String,
    /// Field that holds the gateway's word for what became of the text.
    #[serde(default = "receipt_status")]
    pub status: String,
    /// The gateway's words and what they mean; any other word means unknown, never delivered.
    #[serde(default = "receipt_words")]
    pub words: BTreeMap<String, ReceiptState>,
}

/// What a next hop says of a text it took.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ReceiptState {
    /// It waits there.
    Queued,
    /// It went on from there.
    Sent,
    /// It is on the phone.
    Delivered,
    /// It did not reach the phone and will not.
    Undelivered,
    /// It was given up or refused further on.
    Failed,
    /// Its validity ended before it reached the phone.
    Expired,
    /// It cannot be told; never taken for delivered.
    Unknown,
}

impl ReceiptState {
    /// Whether the text will not arrive any more.
    pub const fn is_loss(self) -> bool {
        matches!(self, Self::Undelivered | Self::Failed | Self::Expired)
    }
}

/// How a posted message is known to be the gateway's.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Verify {
    /// A secret in a header.
    Header {
        /// The header's name.
        #[serde(default = "inbound_header")]
        name: String,
        /// Where the secret is.
        secret: SecretSource,
    },
    /// HTTP basic.
    Basic {
        /// User name.
        user: String,
        /// Where the password is.
        password: SecretSource,
    },
    /// A code over the raw body in a header (RFC 2104).
    Hmac {
        /// Where the key is.
        secret: SecretSource,
        /// Hash function.
        #[serde(default)]
        hash: HmacHash,
        /// How the code is written.
        #[serde(default)]
        encoding: CodeEncoding,
        /// Header that carries the code.
        header: String,
        /// What stands before the code, such as `sha256=`.
        #[serde(default)]
        prefix: String,
    },
    /// Standard Webhooks 1.0.0: id, time and body under one HMAC-SHA256 code.
    StandardWebhooks {
        /// Where the key is, with or without `whsec_`.
        secret: SecretSource,
    },
}

impl Verify {
    /// Where its secret is.
    pub const fn secret(&self) -> &SecretSource {
        match self {
            Self::Header { secret, .. }
            | Self::Basic { password: secret, .. }
            | Self::Hmac { secret, .. }
            | Self::StandardWebhooks { secret } => secret,
        }
    }
}

/// Hash function of a code.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum HmacHash {
    /// SHA-256.
    #[default]
    Sha256,
    /// SHA-1, for gateways that know no better.
    Sha1,
}

/// How a code is written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CodeEncoding {
    /// Hexadecimal.
    #[default]
    Hex,
    /// Base64.
    Base64,
}

#[expect(clippy::unnecessary_wraps, reason = "serde wants the field's own type")]
fn idempotency_header() -> Option<String> {
    Some("Idempotency-Key".to_owned())
}
const fn timeout_s() -> u32 {
    20
}
fn inbound_header() -> String {
    "X-Hook-Secret".to_owned()
}
fn inbound_from() -> String {
    "from".to_owned()
}
fn inbound_text() -> String {
    "text".to_owned()
}
fn receipt_status() -> String {
    "status".to_owned()
}
fn receipt_words() -> BTreeMap<String, ReceiptState> {
    let words = [
        ("queued", ReceiptState::Queued),
        ("sent", ReceiptState::Sent),
        ("delivered", ReceiptState::Delivered),
        ("undelivered", ReceiptState::Undelivered),
        ("failed", ReceiptState::Failed),
        ("expired", ReceiptState::Expired),
    ];
    words.map(|(word, meaning)| (word.to_owned(), meaning)).into()
}
fn inbound_id() -> String {
    "id".to_owned()
}

impl Default for SmsFields {
    fn default() -> Self {
        Self {
            to: "to".to_owned(),
            from: "from".to_owned(),
            text: "text".to_owned(),
            client_ref: None,
            validity_s: None,
        }
    }
}

impl Default for SuccessTest {
    fn default() -> Self {
        Self {
            status_min: 200,
            status_max: 299,
            json_pointer: None,
            equals: None,
            contains: None,
            message_id_pointer: None,
        }
    }
}
