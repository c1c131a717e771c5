//! Scripted replies for rehearsals: `replies.toml`.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Deserialize;

/// The whole of `replies.toml`.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RepliesFile {
    /// The replies.
    #[serde(default)]
    pub reply: Vec<Reply>,
}

/// One reply that somebody sends in a rehearsal.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reply {
    /// The moment it comes in.
    pub at: DateTime<FixedOffset>,
    /// Id of the person who sends it.
    pub from: String,
    /// What it says: 1 to 160 characters.
    #[schemars(length(min = 1, max = 160), extend("x-private" = true))]
    pub text: String,
}
