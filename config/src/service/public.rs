//! The pages as seen from outside.

use super::{HTTP, SecretSource};
use schemars::JsonSchema;
use serde::Deserialize;

/// Where people's own programs reach the pages: to leave the digest with one click, and for the
/// calendar. A proxy with TLS stands before `listen`.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Public {
    /// Address of the pages from outside, with https; http serves on one machine only.
    #[schemars(regex(pattern = HTTP))]
    pub url: String,
    /// Where the text is that addresses are made from; a new one shuts all that were given out.
    pub secret: SecretSource,
}
