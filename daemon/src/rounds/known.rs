//! What people have been told already.

use super::Desk;
use crate::store::{Identity, Notice};
use chrono::{DateTime, Days, NaiveDate, Utc};
use chrono_tz::Tz;
use furrowbell_config::local::local_day;
use std::collections::BTreeSet;

/// Days of occasions that are compared: longer than any season.
const SEASON: Days = Days::new(300);

/// Notices of this season.
pub(super) struct Known {
    told: BTreeSet<Identity>,
    /// Those that were taken back and stay so.
    pub taken_back: Vec<Notice>,
}

impl Known {
    pub async fn read(desk: &Desk, now: DateTime<Utc>) -> anyhow::Result<Self> {
        let since = local_day(now, Tz::UTC) - SEASON;
        let told = desk.store.known_since(since).await?;
        Ok(Self { told, taken_back: desk.store.taken_back(since).await? })
    }

    /// Whether it was told, or something so near to it that it would be no news.
    pub fn has(&self, identity: &Identity) -> bool {
        self.told.contains(identity) || self.near(identity).any(|told| !self.is_taken_back(told))
    }

    /// Tellings to the same person within the topic's cool-down.
    fn near<'a>(&'a self, identity: &'a Identity) -> impl Iterator<Item = &'a Identity> {
        let days = Days::new(identity.topic.cool_down_days().max(1));
        let at = |occasion: NaiveDate, version, person: &str| Identity {
            occasion,
            version,
            person: person.to_owned(),
            ..identity.clone()
        };
        let (from, to) = (identity.occasion - days, identity.occasion + days);
        let about = self.told.range(at(from + Days::new(1), 0, "")..at(to, 0, ""));
        about.filter(|told| told.version == identity.version && told.person == identity.person)
    }

    fn is_taken_back(&self, identity: &Identity) -> bool {
        self.taken_back.iter().any(|notice| notice.identity == *identity)
    }
}
