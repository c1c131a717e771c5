//! Addresses that work without a sign-in, because nobody can guess them.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use furrowbell_config::people::Person;
use furrowbell_config::service::Secret;
use hmac::{Hmac, KeyInit, Mac};
use secrecy::ExposeSecret;
use sha2::Sha256;
use subtle::ConstantTimeEq;

/// What an address is for. One token opens one door.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Door {
    /// Leaving the digest.
    LeaveDigest,
    /// The calendar.
    Calendar,
}

impl Door {
    const fn name(self) -> &'static str {
        match self {
            Self::LeaveDigest => "leave digest",
            Self::Calendar => "calendar",
        }
    }
}

/// Makes addresses and knows whose they are. A new secret shuts them all.
#[derive(Debug)]
pub struct Links {
    base: String,
    secret: Secret,
}

impl Links {
    /// Links under the address at which the pages are reached from outside.
    pub fn new(url: &str, secret: Secret) -> Self {
        Self { base: url.trim_end_matches('/').to_owned(), secret }
    }

    /// Where a person leaves the digest.
    pub fn leave_digest(&self, person: &str) -> String {
        format!("{}/unsubscribe/{}", self.base, self.token(Door::LeaveDigest, person))
    }

    /// Where a person's calendar is.
    pub fn calendar(&self, person: &str) -> String {
        format!("{}/calendar/{}.ics", self.base, self.token(Door::Calendar, person))
    }

    /// Whose token that is. Every person is compared, each in constant time.
    pub fn whose<'a>(&self, door: Door, token: &str, people: &'a [Person]) -> Option<&'a Person> {
        let is_theirs = |person: &&Person| {
            bool::from(self.token(door, &person.id).as_bytes().ct_eq(token.as_bytes()))
        };
        people
            .iter()
            .fold(None, |found, person| if is_theirs(&person) { Some(person) } else { found })
    }

    fn token(&self, door: Door, person: &str) -> String {
        let key = self.secret.expose_secret().as_bytes();
        let mut mac =
            Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes keys of any length (RFC 2104)");
        mac.update(door.name().as_bytes());
        mac.update(&[0]);
        mac.update(person.as_bytes());
        URL_SAFE_NO_PAD.encode(mac.finalize().into_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(id: &str) -> Person {
        let toml = format!("id = \"{id}\"\nname = \"N\"\nrole = \"advisor\"\nroutes = [\"email\"]");
        toml::from_str(&toml).unwrap()
    }

    #[test]
    fn a_token_opens_one_door_of_one_person_under_one_secret() {
        let links = Links::new("https://desk.test/", "hush".into());
        let people = [person("ann"), person("ben")];
        let leave = links.leave_digest("ben");
        let token = leave.strip_prefix("https://desk.test/unsubscribe/").unwrap();
        assert_eq!(token.len(), 43);
        let whose = |door, token| links.whose(door, token, &people).map(|one| one.id.as_str());
        assert_eq!(whose(Door::LeaveDigest, token), Some("ben"));
        assert_eq!(whose(Door::Calendar, token), None);
        assert_eq!(whose(Door::LeaveDigest, &token[..42]), None);
        assert_eq!(whose(Door::LeaveDigest, ""), None);
        let other = Links::new("https://desk.test", "other".into());
        assert_ne!(other.leave_digest("ben"), leave);
        assert!(links.calendar("ann").starts_with("https://desk.test/calendar/"));
    }
}
