//! Email over SMTP.

use super::SecretSource;
use schemars::JsonSchema;
use serde::Deserialize;

/// Email over SMTP.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Email {
    /// SMTP server.
    pub host: String,
    /// Port.
    #[serde(default = "smtp_port")]
    #[schemars(range(min = 1, max = 65535))]
    pub port: u16,
    /// How the connection is protected.
    #[serde(default)]
    pub security: SmtpSecurity,
    /// Sender address.
    pub from: String,
    /// User name, when the server wants one.
    pub user: Option<String>,
    /// Password for it.
    pub password: Option<SecretSource>,
    /// Seconds to wait for an answer.
    #[serde(default = "smtp_timeout_s")]
    #[schemars(range(min = 1, max = 600))]
    pub timeout_s: u32,
}

/// How an SMTP connection is protected.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SmtpSecurity {
    /// TLS from the first byte (port 465).
    Implicit,
    /// STARTTLS (port 587).
    #[default]
    Starttls,
    /// None; only for a relay on this machine.
    PlainLoopback,
}

const fn smtp_port() -> u16 {
    587
}
const fn smtp_timeout_s() -> u32 {
    60
}
