//! Chat over Matrix.

use super::{HTTP, SecretSource};
use schemars::JsonSchema;
use serde::Deserialize;

/// A homeserver and our device there. Rooms are not encrypted, and each is shared with one person
/// only: whatever that person writes there is taken for a reply.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Matrix {
    /// Address of the homeserver's client API; https, or a server on this machine.
    #[schemars(regex(pattern = HTTP), extend("x-private" = true))]
    pub homeserver: String,
    /// Access token of a device made once for the service. A new device may repeat a text whose
    /// answer was lost.
    pub token: SecretSource,
    /// The user that the token must belong to: `@NAME:SERVER`.
    #[schemars(regex(pattern = r"^@[^:\s]+:\S+$"), extend("x-private" = true))]
    pub user: Option<String>,
    /// The device that the token must belong to.
    pub device: Option<String>,
    /// Seconds to wait for an answer.
    #[serde(default = "timeout_s")]
    #[schemars(range(min = 1, max = 60))]
    pub timeout_s: u32,
}

const fn timeout_s() -> u32 {
    20
}
