//! Sends what is due: claim, look again, call the route, settle.
//!
//! No transaction is open while a route is called. The claim is a lease; the call is cut off before
//! the lease ends, so that nobody else can hold the text while this worker still sends it.

use super::Desk;
use super::timing::after_quiet;
use crate::pages::TextState as Counted;
use crate::routes::{Outcome, Outgoing, Route};
use crate::store::{
    Ending, Error, Fate, Notice, Queued, Settlement, TextFilter, TextKind, TextState,
};
use chrono::{DateTime, Days, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::local::{local_day, start_of_day};
use furrowbell_config::people::{Person, RouteName};
use furrowbell_engine::findings::Urgency;
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Length of a claim.
const LEASE: TimeDelta = TimeDelta::seconds(120);
/// How long before the end of its claim a call is cut off.
const MARGIN: TimeDelta = TimeDelta::seconds(15);
/// How long a call may still run once a stop was asked for; the service's own grace is longer.
const STOP_PATIENCE: Duration = Duration::from_secs(7);
/// First and longest wait between two tries of one text.
const BACKOFF: (Duration, Duration) = (Duration::from_secs(2), Duration::from_mins(5));
/// Wait after a refused sign-in: a gateway must not be hammered with a wrong password.
const SIGN_IN_WAIT: TimeDelta = TimeDelta::minutes(5);
/// Wait before the one repeat after a lost answer.
const REPEAT_URGENT: TimeDelta = TimeDelta::seconds(120);
const REPEAT_ROUTINE: TimeDelta = TimeDelta::minutes(10);
/// How often a notice looks whether the first round after a start has gone through.
const FIRST_ROUND: TimeDelta = TimeDelta::seconds(10);
/// What a try says whose worker died; by it the loss is not counted twice.
const WORKER_DIED: &str = "a worker died before it wrote the outcome";

/// Routes that asked for a pause, and until when.
type Pauses = HashMap<RouteName, DateTime<Utc>>;

impl Desk {
    /// Sends everything that is due and gives what was accepted. A stop is heeded between two
    /// texts; one that is under way gets a few seconds for its answer.
    pub async fn send_due(&self, stop: &CancellationToken) -> anyhow::Result<Vec<Queued>> {
        let mut sent = Vec::new();
        let mut pauses = Pauses::new();
        while self.pace(stop).await {
            let now = self.clock.now();
            let token = self.ids.make();
            let claimed = self.store.lease(now, now + LEASE, &token, 1).await?;
            let Some(queued) = claimed.into_iter().next() else { break };
            let began = Instant::now();
            let settlement = match self.second_look(&queued, &pauses, now).await? {
                Some(settlement) => settlement,
                None => self.try_to_send(&queued, &mut pauses, now, stop).await?,
            };
            self.settle(&queued, &token, began.elapsed(), &settlement).await?;
            if matches!(settlement, Settlement::Sent { .. }) {
                sent.push(queued);
            }
        }
        if !stop.is_cancelled() && self.fall_back(self.clock.now()).await? {
            self.to_send.notify_one();
        }
        Ok(sent)
    }

    /// Waits until the next text may go; `false` when a stop was asked for.
    async fn pace(&self, stop: &CancellationToken) -> bool {
        if let Some(limiter) = &self.pace {
            tokio::select! {
                () = stop.cancelled() => {}
                () = limiter.turn() => {}
            }
        }
        !stop.is_cancelled()
    }

    async fn settle(
        &self,
        queued: &Queued,
        token: &str,
        took: Duration,
        settlement: &Settlement,
    ) -> anyhow::Result<()> {
        let id = &queued.text.id;
        match self.store.settle(id, token, self.clock.now(), took, settlement).await {
            Ok(()) => Ok(()),
            Err(Error::LostLease { .. }) => {
                tracing::warn!(text = id, "the lease ran out before the outcome was written");
                Ok(())
            }
            Err(error) => Err(error.into()),
        }
    }

    /// When the next text is due; at most a minute from now, since a receipt may stay away.
    pub async fn next_send(&self) -> anyhow::Result<DateTime<Utc>> {
        let now = self.clock.now();
        let latest = now + TimeDelta::minutes(1);
        let next = self.store.next_due(now).await?.unwrap_or(latest);
        Ok(next.clamp(now + TimeDelta::seconds(1), latest))
    }

    /// Why a claimed text does not go now: much may have changed since it was composed, or the
    /// hour at which it was due has passed while its route was away.
    async fn second_look(
        &self,
        queued: &Queued,
        pauses: &Pauses,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<Settlement>> {
        let text = &queued.text;
        if let Some(until) = pauses.get(&text.route).filter(|until| **until > now) {
            return Ok(Some(Settlement::Untried { due_at: *until }));
        }
        let Some(person) = self.book.person(&text.person) else { return Ok(None) };
        match text.kind {
            TextKind::Notice => {}
            TextKind::Digest if person.consent.is_none() && text.route == RouteName::Sms => {
                return Ok(Some(not_agreed()));
            }
            TextKind::Digest | TextKind::Reply | TextKind::StopConfirmation => {
                return Ok(None);
            }
        }
        if person.consent.is_none() {
            return Ok(Some(not_agreed()));
        }
        if !self.looked.load(Ordering::Relaxed) {
            return Ok(Some(Settlement::Untried { due_at: now + FIRST_ROUND }));
        }
        let notices = self.store.notices_of_text(&text.id).await?;
        if !notices.is_empty() && self.is_settled(&text.id, &notices).await? {
            let why = "what it says was settled before it went".to_owned();
            return Ok(Some(Settlement::Held { why }));
        }
        let field = notices.first().and_then(|notice| self.book.field(&notice.identity.field));
        let farm = field.and_then(|field| self.book.farm(&field.farm));
        let zone = farm.map_or_else(|| self.zone_of(person), |farm| farm.zone);
        let due_at = self.next_hour(person, text.urgency, zone, now).await?;
        Ok((due_at > now).then_some(Settlement::Untried { due_at }))
    }

    /// Whether all that a text says was settled otherwise.
    pub(super) async fn is_settled(&self, text: &str, notices: &[Notice]) -> anyhow::Result<bool> {
        let corrects = self.store.is_correction(text).await?;
        // What a correction takes back is over by that very text.
        let settled = |notice: &Notice| {
            let ending = notice.closed.as_ref().map(|closing| closing.ending);
            ending.is_some_and(|ending| !(corrects && ending == Ending::Expired))
        };
        Ok(notices.iter().all(settled))
    }

    /// The first moment from now on that is neither quiet nor, for a routine text, on a day whose
    /// budget has gone already.
    async fn next_hour(
        &self,
        person: &Person,
        urgency: Urgency,
        zone: Tz,
        now: DateTime<Utc>,
    ) -> anyhow::Result<DateTime<Utc>> {
        if urgency == Urgency::Urgent {
            let may_wake = person.urgent_at_night;
            return Ok(if may_wake { now } else { after_quiet(now, person.quiet, zone) });
        }
        let today = local_day(now, zone);
        let gone = self.routine_gone_since(&person.id, start_of_day(today, zone)).await?;
        let most = usize::try_from(self.book.service.sending.routine_texts_per_day)?;
        let from = if gone < most { now } else { start_of_day(today + Days::new(1), zone) };
        Ok(after_quiet(from, person.quiet, zone))
    }

    async fn routine_gone_since(
        &self,
        person: &str,
        midnight: DateTime<Utc>,
    ) -> anyhow::Result<usize> {
        let filter = TextFilter {
            person: Some(person.to_owned()),
            states: vec![TextState::Sent],
            ended_since: Some(midnight),
            ..TextFilter::default()
        };
        let gone = self.store.texts(&filter).await?.into_iter().filter(|queued| {
            queued.text.kind == TextKind::Notice && queued.text.urgency != Urgency::Urgent
        });
        Ok(gone.count())
    }

    /// What became of one claimed text.
    async fn try_to_send(
        &self,
        queued: &Queued,
        pauses: &mut Pauses,
        now: DateTime<Utc>,
        stop: &CancellationToken,
    ) -> anyhow::Result<Settlement> {
        let text = &queued.text;
        let Some(route) = self.routes.get(&text.route) else {
            let why = format!("the book has no route \"{}\" any more", text.route.name());
            return Ok(failed(queued, why));
        };
        let Some(to) = self.address(&text.person, text.route) else {
            return Ok(failed(queued, "the person has no address for the route".to_owned()));
        };
        if queued.possibly_twice
            && !route.drops_repeats()
            && let Some(settlement) = self.repeat_or_not(queued, now).await?
        {
            return Ok(settlement);
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
        let outcome = self.call(route, &outgoing, stop).await;
        let answered_at = self.clock.now();
        if let Some(pause) = pause(&outcome) {
            pauses.insert(text.route, answered_at + pause);
        }
        Ok(self.settlement(queued, outcome, route.drops_repeats(), answered_at))
    }

    async fn call(&self, route: &Route, text: &Outgoing, stop: &CancellationToken) -> Outcome {
        let limit = self.clock.wait_until(text.now + LEASE - MARGIN);
        let stopped = async {
            stop.cancelled().await;
            tokio::time::sleep(STOP_PATIENCE).await;
        };
        let cut_off = |why: &str| Outcome::Unknown { why: why.to_owned() };
        tokio::select! {
            outcome = route.send(text) => outcome,
            () = tokio::time::sleep(limit) => cut_off("no answer within the time of the claim"),
            () = stopped => cut_off("the service was stopped before the answer came"),
        }
    }

    /// Whether a text that may have gone already goes once more now, on a route that does not drop
    /// repeats: once, and not before its wait is over.
    ///
    /// A claim without a try on record is one whose worker died. Its lease has run out since, so
    /// that much of the wait has passed.
    async fn repeat_or_not(
        &self,
        queued: &Queued,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<Settlement>> {
        if self.store.fate(&queued.text.id).await? == Fate::Delivered {
            return Ok(Some(Settlement::Sent { provider_ids: Vec::new() }));
        }
        let tries = self.store.attempts(&queued.text.id).await?;
        let earlier = usize::try_from(queued.attempts)?.saturating_sub(1);
        let died = earlier.saturating_sub(tries.len());
        let is_note = |detail: &Option<String>| detail.as_deref() == Some(WORKER_DIED);
        let noted = tries.iter().any(|attempt| is_note(&attempt.detail));
        let unanswered = tries
            .iter()
            .filter(|attempt| attempt.outcome == "unknown" && !is_note(&attempt.detail))
            .count();
        let why = WORKER_DIED.to_owned();
        if died + unanswered > 1 {
            tracing::error!(text = queued.text.id, "two answers lost; not sent a third time");
            return Ok(Some(Settlement::Unknown { again_at: None, why }));
        }
        let rest = repeat_wait(queued) - LEASE;
        let waits = died == 1 && !noted && rest > TimeDelta::zero();
        Ok(waits.then(|| Settlement::Unknown { again_at: Some(now + rest), why }))
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
            Outcome::Accepted { provider_ids } => {
                tracing::info!(text = text.id, person, route = text.route.name(), "accepted");
                Settlement::Sent { provider_ids }
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

fn not_agreed() -> Settlement {
    Settlement::Held { why: "the person has not agreed to texts".to_owned() }
}

fn failed(queued: &Queued, why: String) -> Settlement {
    tracing::error!(text = queued.text.id, person = queued.text.person, why, "cannot be sent");
    Settlement::Failed { why }
}

/// How long a route wants to be left alone after such an outcome, by every text.
fn pause(outcome: &Outcome) -> Option<TimeDelta> {
    match outcome {
        Outcome::SignIn { .. } => Some(SIGN_IN_WAIT),
        Outcome::Retry { after, .. } => after.and_then(|wait| TimeDelta::from_std(wait).ok()),
        Outcome::Accepted { .. } | Outcome::Refused { .. } | Outcome::Unknown { .. } => None,
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
