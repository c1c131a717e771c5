//! Sends what is due: claim, look again, call the route, settle.
//!
//! No transaction is open while a route is called. The claim is a lease; the call is cut off before
//! the lease ends, so that nobody else can hold the text while this worker still sends it.

use super::Desk;
use super::consent::zone;
use super::decide::APART;
use super::timing::after_quiet;
use crate::pages::TextState as Counted;
use crate::routes::{About, Edition, Outcome, Outgoing, Route};
use crate::store::{
    ConsentState, Ending, Error, Fate, Notice, Queued, Settlement, Text, TextFilter, TextKind,
    TextState,
};
use chrono::{DateTime, Days, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::local::{local_day, start_of_day};
use furrowbell_config::people::{Person, RouteName};
use furrowbell_engine::findings::Urgency;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::atomic::Ordering;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::Notify;
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
/// Shortest wait of a text while another worker sends one to the same person.
const STEP_BACK: TimeDelta = TimeDelta::seconds(5);
/// How often a notice looks whether the first round after a start has gone through.
const FIRST_ROUND: TimeDelta = TimeDelta::seconds(10);
/// What a try says whose worker died; by it the loss is not counted twice.
const WORKER_DIED: &str = "a worker died before it wrote the outcome";

/// Routes that asked for a pause, and until when; shared by all who send.
#[derive(Debug, Default)]
pub struct Pauses(Mutex<BTreeMap<RouteName, DateTime<Utc>>>);

impl Pauses {
    fn until(&self, route: RouteName) -> Option<DateTime<Utc>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&route).copied()
    }

    fn set(&self, route: RouteName, until: DateTime<Utc>) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(route, until);
    }
}

/// A bell for the senders of each route.
#[derive(Debug)]
pub struct Bells(BTreeMap<RouteName, Notify>);

impl Default for Bells {
    fn default() -> Self {
        Self(RouteName::ALL.map(|route| (route, Notify::new())).into())
    }
}

impl Bells {
    /// Wakes a sender of every route; one that finds work wakes the next of its route.
    pub fn ring_all(&self) {
        self.0.values().for_each(Notify::notify_one);
    }

    fn ring(&self, route: RouteName) {
        if let Some(bell) = self.0.get(&route) {
            bell.notify_one();
        }
    }

    /// Waits until something may be there for the route.
    pub async fn rung(&self, route: RouteName) {
        match self.0.get(&route) {
            Some(bell) => bell.notified().await,
            None => std::future::pending().await,
        }
    }
}

impl Desk {
    /// Sends everything that is due, one route after the other, moves on what did not arrive, and
    /// gives what was accepted.
    pub async fn send_due(&self, stop: &CancellationToken) -> anyhow::Result<Vec<Queued>> {
        let mut sent = Vec::new();
        for route in RouteName::ALL {
            sent.extend(self.send_over(route, stop).await?);
        }
        if !stop.is_cancelled() {
            self.fall_back(self.clock.now()).await?;
        }
        Ok(sent)
    }

    /// Sends everything that is due over one route and gives what was accepted. A stop is heeded
    /// between two texts; one that is under way gets a few seconds for its answer.
    pub async fn send_over(
        &self,
        route: RouteName,
        stop: &CancellationToken,
    ) -> anyhow::Result<Vec<Queued>> {
        let mut sent = Vec::new();
        while self.pace(route, stop).await {
            let now = self.clock.now();
            let token = self.ids.make();
            let claimed = self.store.lease(Some(route), now, now + LEASE, &token, 1).await?;
            let Some(queued) = claimed.into_iter().next() else { break };
            self.to_send.ring(route);
            let settlement = self.see_off(&queued, &token, stop).await?;
            if matches!(settlement, Settlement::Sent { .. }) {
                sent.push(queued);
            }
        }
        Ok(sent)
    }

    /// Takes a claimed text to its settlement.
    pub(super) async fn see_off(
        &self,
        queued: &Queued,
        token: &str,
        stop: &CancellationToken,
    ) -> anyhow::Result<Settlement> {
        let now = self.clock.now();
        let began = Instant::now();
        let (settlement, refused) = match self.second_look(queued, now).await? {
            Some(settlement) => (settlement, None),
            None => self.try_to_send(queued, now, stop).await?,
        };
        self.settle(queued, token, began.elapsed(), &settlement).await?;
        if let Some(why) = refused {
            self.leave_alone(&queued.text, &why, self.clock.now()).await?;
        }
        Ok(settlement)
    }

    /// Waits until the next text may go over the route; `false` when a stop was asked for.
    async fn pace(&self, route: RouteName, stop: &CancellationToken) -> bool {
        if let Some(limiter) = self.pace.get(&route) {
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

    /// When the next text of a route is due; at most a minute from now.
    pub async fn next_send(&self, route: RouteName) -> anyhow::Result<DateTime<Utc>> {
        let now = self.clock.now();
        let latest = now + TimeDelta::minutes(1);
        let next = self.store.next_due(Some(route), now).await?.unwrap_or(latest);
        Ok(next.clamp(now + TimeDelta::seconds(1), latest))
    }

    /// Why a claimed text does not go now: much may have changed since it was composed, or the
    /// hour at which it was due has passed while its route was away.
    async fn second_look(
        &self,
        queued: &Queued,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<Settlement>> {
        let text = &queued.text;
        if let Some(due_at) = self.pauses.until(text.route).filter(|until| *until > now) {
            return Ok(Some(Settlement::Untried { due_at }));
        }
        let Some(person) = self.book.person(&text.person) else { return Ok(None) };
        match text.kind {
            TextKind::Notice => {}
            TextKind::Digest if text.route.is_by_phone() => {
                return Ok(self.digest_to_a_phone(person, text.urgency, now));
            }
            TextKind::Digest
                if self.has_left_digest(&text.person, text.route).await?
                    && self.store.digest_of_text(&text.id).await?.is_some() =>
            {
                let why = "the person has left the digest".to_owned();
                return Ok(Some(Settlement::Held { why }));
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
        let zone = farm.map_or_else(|| zone(&self.book, person), |farm| farm.zone);
        let due_at = self.next_hour(queued, &notices, person, zone, now).await?;
        if due_at > now {
            return Ok(Some(Settlement::Untried { due_at }));
        }
        self.consent_look(queued, person, now).await
    }

    /// Mail may lie until somebody looks; a phone rings.
    fn digest_to_a_phone(
        &self,
        person: &Person,
        urgency: Urgency,
        now: DateTime<Utc>,
    ) -> Option<Settlement> {
        if person.consent.is_none() {
            return Some(not_agreed());
        }
        let wakes = urgency == Urgency::Urgent && person.urgent_at_night;
        let due_at = if wakes { now } else { after_quiet(now, person.quiet, self.zone_of(person)) };
        (due_at > now).then_some(Settlement::Untried { due_at })
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

    /// The first moment from now on that is not quiet and, for a routine text, a quarter of an hour
    /// from the last text and on a day with room for it.
    async fn next_hour(
        &self,
        queued: &Queued,
        notices: &[Notice],
        person: &Person,
        zone: Tz,
        now: DateTime<Utc>,
    ) -> anyhow::Result<DateTime<Utc>> {
        if queued.text.urgency == Urgency::Urgent {
            let may_wake = person.urgent_at_night;
            return Ok(if may_wake { now } else { after_quiet(now, person.quiet, zone) });
        }
        let apart = self.apart(queued, now).await?;
        let today = local_day(apart, zone);
        let has_room = self.has_room(queued, notices, start_of_day(today, zone)).await?;
        let from = if has_room { apart } else { start_of_day(today + Days::new(1), zone) };
        Ok(after_quiet(from, person.quiet, zone))
    }

    /// The first moment from now on that is far enough from the last text to the person.
    async fn apart(&self, queued: &Queued, now: DateTime<Utc>) -> anyhow::Result<DateTime<Utc>> {
        let (id, person) = (&queued.text.id, &queued.text.person);
        if self.store.notice_in_flight(person, id, now).await? {
            // Another worker has one; two that both step back must not meet again.
            return Ok(now + STEP_BACK + backoff(id, queued.attempts));
        }
        let last = self.store.last_notice_sent(person, id).await?;
        Ok(last.map_or(now, |last| now.max(last + APART)))
    }

    /// Whether the day from `midnight` on has room for a routine text: by the budget, and since the
    /// person has not heard of these fields and topics that day.
    async fn has_room(
        &self,
        queued: &Queued,
        notices: &[Notice],
        midnight: DateTime<Utc>,
    ) -> anyhow::Result<bool> {
        let text = &queued.text;
        let gone = self.routine_gone_since(&text.person, midnight).await?;
        if gone >= usize::try_from(self.book.service.sending.routine_texts_per_day)? {
            return Ok(false);
        }
        if self.store.is_correction(&text.id).await? {
            return Ok(true);
        }
        let heard = self.store.heard_since(&text.person, midnight, &text.id).await?;
        let is_new = |notice: &Notice| {
            !heard.contains(&(notice.identity.field.clone(), notice.identity.topic))
        };
        Ok(notices.iter().all(is_new))
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

    /// What became of one claimed text, and why its route refused it for good, if it did.
    async fn try_to_send(
        &self,
        queued: &Queued,
        now: DateTime<Utc>,
        stop: &CancellationToken,
    ) -> anyhow::Result<(Settlement, Option<String>)> {
        let text = &queued.text;
        let Some(route) = self.routes.get(&text.route) else {
            let why = format!("the book has no route \"{}\" any more", text.route.name());
            return Ok((failed(queued, why), None));
        };
        let Some(to) = self.address(&text.person, text.route) else {
            let why = "the person has no address for the route".to_owned();
            return Ok((failed(queued, why), None));
        };
        if queued.possibly_twice
            && !route.drops_repeats()
            && let Some(settlement) = self.repeat_or_not(queued, now).await?
        {
            return Ok((settlement, None));
        }
        let outgoing = Outgoing {
            id: text.id.clone(),
            to,
            subject: text.subject.clone(),
            body: text.body.clone(),
            html: text.html.clone(),
            expires_at: text.expires_at,
            now,
            about: self.about(text).await?,
            maybe_since: self.maybe_since(queued).await?,
        };
        // STOP may have come since the claim, through any instance.
        if let Some(state) = self.store.blocked_by(&text.id).await? {
            return Ok((stopped(state, now), None));
        }
        let outcome = self.call(route, &outgoing, stop).await;
        let answered_at = self.clock.now();
        if let Some(pause) = pause(&outcome) {
            self.pauses.set(text.route, answered_at + pause);
        }
        let refused = match &outcome {
            Outcome::Refused { why } => Some(why.clone()),
            _ => None,
        };
        Ok((self.settlement(queued, outcome, route, answered_at), refused))
    }

    /// Since when a text may have gone already.
    async fn maybe_since(&self, queued: &Queued) -> anyhow::Result<Option<DateTime<Utc>>> {
        if !queued.possibly_twice {
            return Ok(None);
        }
        let tries = self.store.attempts(&queued.text.id).await?;
        // A worker that died has left no try.
        Ok(Some(tries.first().map_or(queued.text.created_at, |first| first.at)))
    }

    /// What a text is about, from the record.
    async fn about(&self, text: &Text) -> anyhow::Result<About> {
        let notices = self.store.notices_of_text(&text.id).await?;
        let fields: BTreeSet<String> =
            notices.into_iter().map(|notice| notice.identity.field).collect();
        let digest = match text.kind {
            TextKind::Digest => self.store.digest_of_text(&text.id).await?,
            TextKind::Notice | TextKind::Reply | TextKind::StopConfirmation => None,
        };
        let edition = digest.map(|digest| Edition {
            date: digest.local_date,
            calendar: digest.calendar,
            leave: self.links.as_ref().map(|links| links.leave_digest(&digest.advisor)),
        });
        Ok(About {
            person: text.person.clone(),
            kind: text.kind,
            urgency: text.urgency,
            act_by: text.act_by,
            fields: fields.into_iter().collect(),
            edition,
        })
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
        route: &Route,
        now: DateTime<Utc>,
    ) -> Settlement {
        let text = &queued.text;
        let person = text.person.as_str();
        let usual = || {
            let own = route.wait(queued.attempts).and_then(|wait| wait.to_std().ok());
            own.unwrap_or_else(|| backoff(&text.id, queued.attempts))
        };
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
                let wait = after.unwrap_or_default().max(usual());
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
            Outcome::Unknown { why } if route.drops_repeats() => {
                tracing::warn!(
                    text = text.id,
                    person,
                    why,
                    "answer lost; asking again under the same id"
                );
                Settlement::Unknown { again_at: Some(now + usual()), why }
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
        self.book.person(person)?.address(route).map(str::to_owned)
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

/// After STOP a text is over; whatever else stands against it may be lifted, so it waits.
fn stopped(state: ConsentState, now: DateTime<Utc>) -> Settlement {
    match state {
        ConsentState::Stop => Settlement::Held { why: "the person sent STOP".to_owned() },
        _ => Settlement::Untried { due_at: now },
    }
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
