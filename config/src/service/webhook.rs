//! A signed post to another program, as Standard Webhooks 1.0.0.

use super::{HTTP, SecretSource};
use schemars::JsonSchema;
use serde::Deserialize;

/// Where texts are posted to.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Webhook {
    /// Address to post to, with http or https.
    #[schemars(regex(pattern = HTTP), extend("x-private" = true))]
    pub url: String,
    /// Where the keys are: 24 to 64 bytes in base64, each with or without `whsec_`. While a key is
    /// being changed, the old and the new one stand there with a space between.
    pub secret: SecretSource,
    /// What is posted.
    #[serde(default)]
    pub form: WebhookForm,
    /// Seconds to wait for an answer.
    #[serde(default = "webhook_timeout_s")]
    #[schemars(range(min = 1, max = 60))]
    pub timeout_s: u32,
}

/// What is posted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WebhookForm {
    /// An event with all that is known of the text; a program that was given one twice knows it by
    /// its id.
    #[default]
    Standard,
    /// `{"text": "..."}` alone, as chat programs take it.
    Text,
}

/// Standard Webhooks 1.0.0, "Request timeouts", asks for 15 to 30 seconds.
const fn webhook_timeout_s() -> u32 {
    20
}
