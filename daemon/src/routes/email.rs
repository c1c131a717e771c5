//! Email over SMTP, one connection a message.
//!
//! The dialogue is driven step by step, so that a lost answer counts as unknown only after the
//! message itself was handed over. The server's own words never leave this file: they may repeat
//! the address.

mod message;
mod pictures;

use super::{Outcome, Outgoing, RouteFault};
use chrono::TimeDelta;
use furrowbell_config::service::{self, Secret, SmtpSecurity};
use lettre::address::Envelope;
use lettre::message::Mailbox;
use lettre::transport::smtp::Error;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{AsyncSmtpConnection, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail, Rcpt};
use lettre::transport::smtp::extension::ClientId;
use secrecy::ExposeSecret;
use std::net::IpAddr;
use std::time::Duration;

/// One of a server's addresses that does not answer leaves time for the next.
const CONNECT: Duration = Duration::from_secs(10);
/// How long a server may take to say goodbye; the message is settled by then.
const GOODBYE: Duration = Duration::from_secs(2);

/// One SMTP server.
pub struct Email {
    host: String,
    port: u16,
    protection: Protection,
    from: Mailbox,
    sign_in: Option<Credentials>,
    hello: ClientId,
    timeout: Duration,
}

enum Protection {
    Implicit(TlsParameters),
    Starttls(TlsParameters),
    PlainLoopback,
}

impl Email {
    pub(super) fn new(
        settings: &service::Email,
        password: Option<&Secret>,
    ) -> Result<Self, RouteFault> {
        let from: Mailbox = settings.from.parse().map_err(|_| RouteFault::From)?;
        if !AsRef::<str>::as_ref(&from.email).is_ascii() {
            return Err(RouteFault::From);
        }
        let tls = || TlsParameters::new(settings.host.clone()).map_err(RouteFault::Tls);
        let protection = match settings.security {
            SmtpSecurity::Implicit => Protection::Implicit(tls()?),
            SmtpSecurity::Starttls => Protection::Starttls(tls()?),
            SmtpSecurity::PlainLoopback if is_loopback(&settings.host) => Protection::PlainLoopback,
            SmtpSecurity::PlainLoopback => return Err(RouteFault::PlainToOutside),
        };
        let key = "routes.email.password";
        let sign_in = match (&settings.user, password) {
            (None, _) => None,
            (Some(_), None) => return Err(RouteFault::SecretMissing { key }),
            (Some(user), Some(password)) => {
                Some(Credentials::new(user.clone(), password.expose_secret().to_owned()))
            }
        };
        Ok(Self {
            host: settings.host.clone(),
            port: settings.port,
            protection,
            from,
            sign_in,
            hello: ClientId::default(),
            timeout: Duration::from_secs(settings.timeout_s.into()),
        })
    }

    pub(super) async fn send(&self, text: &Outgoing) -> Outcome {
        let Some((envelope, message)) = message::compose(&self.from, text) else {
            return Outcome::Refused { why: "the receiver has no valid email address".to_owned() };
        };
        let offered = tokio::time::timeout(self.timeout, self.offer(&envelope));
        let mut connection = match offered.await {
            Ok(Ok(connection)) => connection,
            Ok(Err(outcome)) => return outcome,
            Err(_) => return retry("the mail server did not answer in time".to_owned()),
        };
        match tokio::time::timeout(self.timeout, connection.message(&message)).await {
            Ok(Ok(_)) => {
                // Nothing that happens to the goodbye changes the outcome.
                let _ = tokio::time::timeout(GOODBYE, connection.abort()).await;
                Outcome::Accepted { provider_ids: Vec::new() }
            }
            Ok(Err(error)) if error.status().is_some() => refusal("the message", &error),
            Ok(Err(_)) => Outcome::Unknown {
                why: "the connection broke after the message was handed over".to_owned(),
            },
            Err(_) => Outcome::Unknown {
                why: "the mail server took the message and did not answer in time".to_owned(),
            },
        }
    }

    /// Wait before the next try after so many: tries at 0, 1, 5, 15 and 30 minutes, then hourly. The
    /// relay is our own, so the half hour of RFC 5321, 4.5.4.1, is not owed to it.
    pub(super) const fn wait(tries: u32) -> TimeDelta {
        TimeDelta::minutes(match tries {
            0 | 1 => 1,
            2 => 4,
            3 => 10,
            4 => 15,
            _ => 60,
        })
    }

    /// Connects, signs in and offers the message, up to the moment before it is handed over.
    async fn offer(&self, envelope: &Envelope) -> Result<AsyncSmtpConnection, Outcome> {
        let mut connection = self.connect().await.map_err(|error| not_let_in("us", &error))?;
        if let Some(credentials) = &self.sign_in {
            connection
                .auth(DEFAULT_MECHANISMS, credentials)
                .await
                .map_err(|error| not_let_in("our user name and password", &error))?;
        }
        let sender = Mail::new(envelope.from().cloned(), Vec::new());
        connection.command(sender).await.map_err(|error| refusal("our sender address", &error))?;
        for receiver in envelope.to() {
            let receiver = Rcpt::new(receiver.clone(), Vec::new());
            connection.command(receiver).await.map_err(|error| refusal("the receiver", &error))?;
        }
        connection.command(Data).await.map_err(|error| refusal("the message", &error))?;
        Ok(connection)
    }

    async fn connect(&self) -> Result<AsyncSmtpConnection, Error> {
        let server = (self.host.as_str(), self.port);
        let implicit = match &self.protection {
            Protection::Implicit(tls) => Some(tls.clone()),
            Protection::Starttls(_) | Protection::PlainLoopback => None,
        };
        let mut connection =
            AsyncSmtpConnection::connect_tokio1(server, Some(CONNECT), &self.hello, implicit, None)
                .await?;
        if let Protection::Starttls(tls) = &self.protection {
            connection.starttls(tls.clone(), &self.hello).await?;
        }
        Ok(connection)
    }
}

fn is_loopback(host: &str) -> bool {
    host == "localhost" || host.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

fn retry(why: String) -> Outcome {
    Outcome::Retry { why, after: None }
}

/// A failure of connecting or signing in.
fn not_let_in(what: &str, error: &Error) -> Outcome {
    if error.is_permanent() {
        Outcome::SignIn { why: format!("the mail server refused {what}{}", code(error)) }
    } else if error.is_client() {
        let why = "the mail server offers no STARTTLS or no sign-in that we know".to_owned();
        Outcome::SignIn { why }
    } else if error.is_transient() {
        retry(format!("the mail server put {what} off{}", code(error)))
    } else if error.is_tls() {
        retry("TLS with the mail server failed".to_owned())
    } else {
        retry("the mail server could not be reached".to_owned())
    }
}

/// A failure of the dialogue before the message was taken.
fn refusal(what: &str, error: &Error) -> Outcome {
    let code_number = error.status().map(u16::from);
    match code_number {
        // Authentication required, invalid, or only under encryption (RFC 4954, section 6).
        Some(530 | 534 | 535 | 538) => {
            Outcome::SignIn { why: format!("the mail server wants another sign-in{}", code(error)) }
        }
        Some(500..) => {
            Outcome::Refused { why: format!("the mail server refused {what}{}", code(error)) }
        }
        Some(_) => retry(format!("the mail server put {what} off{}", code(error))),
        None => retry("the connection broke before the message was handed over".to_owned()),
    }
}

fn code(error: &Error) -> String {
    error.status().map(|code| format!(" ({code})")).unwrap_or_default()
}

#[cfg(test)]
mod tests;
