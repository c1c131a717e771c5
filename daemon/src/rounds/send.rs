//! Sends what is due: claim, call the route, settle.
//!
//! No transaction is open while a route is called. The claim is a lease; the call is cut off before
//! the lease ends, so that nobody else can hold the text while this worker still sends it.

use super::Desk;
use super::timing::local_day;
use crate::pages::TextState as Counted;
use crate::routes::{Outcome, Outgoing};
use crate::store::{Error, Queued, Settlement};
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::people::RouteName;
use furrowbell_engine::findings::Urgency;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Length of a claim.
const LEASE: TimeDelta = TimeDelta::seconds(120);
/// How long before the end of its claim a call is cut off.
const MARGIN: TimeDelta = TimeDelta::seconds(15);
/// First and longest wait between two tries of one text.
const BACKOFF: (Duration, Duration) = (Duration::from_secs(2), Duration::from_secs(300));
/// Wait after a refused sign-in: a gateway must not be hammered with a wrong password.
const SIGN_IN_WAIT: TimeDelta = TimeDelta::minutes(5);
/// Wait before the one repeat after a lost answer.
const REPEAT_URGENT: TimeDelta = TimeDelta::seconds(120);
const REPEAT_ROUTINE: TimeDelta = TimeDelta::minutes(10);

impl Desk {
    /// Sends everything that is due and gives what was accepted. A stop is heeded between two
    /// texts, never in the middle of one.
    pub async fn send_due(&self, stop: &CancellationToken) -> anyhow::Result<Vec<Queued>> {
        let mut sent = Vec::new();
        while !stop.is_cancelled() {
            let now = self.clock.now();
            let token = self.ids.make();
            let claimed = self.store.lease(now, now + LEASE, &token, 1).await?;
            let Some(queued) = claimed.into_iter().next() else { return Ok(sent) };
            let began = Instant::now();
            let settlement = self.try_to_send(&queued, now).await?;
            let accepted = matches!(settlement, Settlement::Sent { .. });
            let id = &queued.text.id;
            match self
                .store
                .settle(id, &token, self.clock.now(), began.elapsed(), &settlement)
                .await
            {
                Ok(()) => {}
                Err(Error::LostLease { .. }) => {
                    tracing::warn!(text = id, "the lease ran out before the outcome was written");
                }
                Err(error) => return Err(error.into()),
            }
            if accepted {
                sent.push(queued);
            }
        }
        Ok(sent)
    }

    /// When the next text is due; a minute from now when none waits.
    pub async fn next_send(&self) -> anyhow::Result<DateTime<Utc>> {
        let now = self.clock.now();
        let next = self.store.next_due(now).await?.unwrap_or(now + TimeDelta::minutes(1));
        Ok(next.max(now + TimeDelta::seconds(1)))
    }

    /// What became of one claimed text.
    async fn try_to_send(&self, queued: &Queued, now: DateTime<Utc>) -> anyhow::Result<Settlement> {
        let text = &queued.text;
        let Some(route) = self.routes.get(&text.route) else {
            let why = format!("the book has no route \"{}\" any more", text.route.name());
            return Ok(Settlement::Failed { why });
        };
        let Some(to) = self.address(&text.person, text.route) else {
            return Ok(Settlement::Failed {
                why: "the person has no address for the route".into(),
            });
        };
        if queued.possibly_twice && !route.drops_repeats() {
            if let Some(settlement) = self.second_thoughts(queued, now).await? {
                return Ok(settlement);
            }
        }
        let outgoing = Outgoing {
            id: text.id.clone(),
            to,
            subject: text.subject.clone(),
            body: text.body.clone(),
            html: text.html.clone(),
            expires_at: text.expires_at,
            now,
        };
        let limit = self.clock.wait_until(now + LEASE - MARGIN);
        let outcome =
            tokio::time::timeout(limit, route.send(&outgoing)).await.unwrap_or_else(|_| {
                Outcome::Unknown { why: "no answer within the time of the claim".into() }
            });
        Ok(self.settlement(queued, outcome, route.drops_repeats(), now))
    }

    /// Whether a text whose earlier answer was lost may be repeated now, on a route that does not
    /// drop repeats. A worker that died left no try on record; that counts as one lost answer.
    async fn second_thoughts(
        &self,
        queued: &Queued,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<Settlement>> {
        let attempts = self.store.attempts(&queued.text.id).await?;
        let lost = attempts.iter().filter(|attempt| attempt.outcome == "unknown").count();
        let why = || "the service stopped before the answer came".to_owned();
        Ok(match lost {
            0 => {
                let passed = LEASE;
                let wait = repeat_wait(queued) - passed;
                (wait > TimeDelta::zero())
                    .then(|| Settlement::Unknown { again_at: Some(now + wait), why: why() })
            }
            1 => None,
            _ => Some(Settlement::Unknown { again_at: None, why: why() }),
        })
    }

    fn settlement(
        &self,
        queued: &Queued,
        outcome: Outcome,
        drops_repeats: bool,
        now: DateTime<Utc>,
    ) -> Settlement {
        let text = &queued.text;
        let person = text.person.as_str();
        self.figures.text(counted(&outcome));
        match outcome {
            Outcome::Accepted { provider_id } => {
                tracing::info!(text = text.id, person, route = text.route.name(), "accepted");
                Settlement::Sent { provider_id }
            }
            Outcome::Retry { why, after } => {
                tracing::warn!(
                    text = text.id,
                    person,
                    why,
                    attempt = queued.attempts,
                    "will try again"
                );
                let wait = after.unwrap_or_default().max(backoff(&text.id, queued.attempts));
                Settlement::Retry { due_at: now + wait, why }
            }
            Outcome::SignIn { why } => {
                tracing::error!(route = text.route.name(), why, "the route refuses our sign-in");
                Settlement::Retry { due_at: now + SIGN_IN_WAIT, why }
            }
            Outcome::Refused { why } => {
                tracing::error!(text = text.id, person, why, "refused for good");
                Settlement::Failed { why }
            }
            Outcome::Unknown { why } if drops_repeats => {
                tracing::warn!(
                    text = text.id,
                    person,
                    why,
                    "answer lost; asking again under the same id"
                );
                Settlement::Unknown {
                    again_at: Some(now + backoff(&text.id, queued.attempts)),
                    why,
                }
            }
            Outcome::Unknown { why } => {
                tracing::warn!(text = text.id, person, why, "answer lost");
                let again_at = (!queued.possibly_twice).then(|| now + repeat_wait(queued));
                Settlement::Unknown { again_at, why }
            }
        }
    }

    /// Where a route reaches a person.
    pub fn address(&self, person: &str, route: RouteName) -> Option<String> {
        let person = self.book.person(person)?;
        match route {
            RouteName::Sms => person.phone.clone(),
            RouteName::Email => person.email.clone(),
            RouteName::Console => Some(person.name.clone()),
        }
    }

    /// Ends texts and notices whose time has passed.
    pub(super) async fn expire(&self, now: DateTime<Utc>) -> anyhow::Result<()> {
        self.store.expire_notices(now).await?;
        for queued in self.store.expire_texts(now).await? {
            let text = &queued.text;
            self.figures.text(Counted::Expired);
            tracing::warn!(
                text = text.id,
                person = text.person,
                day = %local_day(now, self.book.service.zone),
                "expired before it went; the digest names it"
            );
        }
        Ok(())
    }
}

const fn counted(outcome: &Outcome) -> Counted {
    match outcome {
        Outcome::Accepted { .. } => Counted::Accepted,
        Outcome::Retry { .. } => Counted::Retried,
        Outcome::Refused { .. } => Counted::Refused,
        Outcome::SignIn { .. } => Counted::SignIn,
        Outcome::Unknown { .. } => Counted::Unknown,
    }
}

fn repeat_wait(queued: &Queued) -> TimeDelta {
    match queued.text.urgency {
        Urgency::Urgent => REPEAT_URGENT,
        Urgency::Routine | Urgency::Digest => REPEAT_ROUTINE,
    }
}

/// Full jitter: anywhere between nothing and twice the former limit. The text's id is the dice, so
/// that a rehearsal repeats.
fn backoff(id: &str, attempt: u32) -> Duration {
    let (base, cap) = BACKOFF;
    let limit = base.saturating_mul(1 << attempt.min(16)).min(cap);
    let mut hasher = DefaultHasher::new();
    (id, attempt).hash(&mut hasher);
    let thousandths = u32::try_from(hasher.finish() % 1000).unwrap_or_default();
    limit / 1000 * thousandths
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_spread_and_stay_under_the_cap() {
        let waits: Vec<_> = (0..100).map(|n| backoff(&format!("text-{n}"), 30)).collect();
        assert!(waits.iter().all(|wait| *wait <= BACKOFF.1));
        assert!(waits.iter().any(|wait| *wait > BACKOFF.1 / 2));
        assert!(waits.iter().any(|wait| *wait < BACKOFF.1 / 2));
        assert!(backoff("text", 1) <= BACKOFF.0 * 2);
    }
}
