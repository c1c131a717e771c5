//! The advisor's morning message, once a local date.

use super::Desk;
use super::advance::FieldNow;
use super::answer::{HELD_FOR_ADVISOR, NOT_UNDERSTOOD, UNKNOWN_SENDER};
use super::decide::HeldBack;
use crate::pages::public::DIGEST;
use crate::store::{self, Ending, Fate, Notice, Queued, Text, TextFilter, TextKind, TextState};
use crate::weather::source::SourceName;
use crate::wording::digest::{
    Call, Digest, DigestInput, Due, ExpiredLine, FarmBlock, FieldClocks, FieldLine, ForecastAge,
    HeldLine, HeldWhy, ReplyFrom, ReplyLine, SentLine, SentState, UnknownLine,
};
use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use furrowbell_config::local::{instant, local_day, start_of_day};
use furrowbell_config::people::{Person, RouteName};
use furrowbell_engine::clocks::DateRange;
use furrowbell_engine::findings::{Evidence, Finding, Topic, Urgency};
use furrowbell_engine::season::PostWindow;
use std::collections::{BTreeMap, BTreeSet};

/// A digest that could not go by then would only repeat what the day has shown.
const NOON: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};
/// A reply that was not handled for longer than this is on no digest; the service was down.
const LONGEST_UNHANDLED: TimeDelta = TimeDelta::days(7);
/// Advice that is due within so many days is worth a call.
const CALL_DAYS: i64 = 2;

impl Desk {
    /// Makes every digest whose hour has come today, unless the day has one or noon is past.
    pub(super) async fn make_due_digests(
        &self,
        fields: &[FieldNow<'_>],
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        for advisor in self.advisors() {
            let zone = self.zone_of(advisor);
            let today = local_day(now, zone);
            let midnight = start_of_day(today, zone);
            let hour = self.digest_schedule.next_after(midnight - TimeDelta::seconds(1), zone);
            let noon = instant(today, NOON, zone);
            if hour.is_none_or(|hour| hour > now) || now >= noon {
                continue;
            }
            let last = self.store.last_digest(&advisor.id).await?;
            if last.as_ref().is_some_and(|last| last.local_date >= today) {
                continue;
            }
            let since = last.map_or(now - TimeDelta::days(1), |last| last.created_at);
            let digest = self.compose_digest(advisor, fields, since, now).await?;
            let calendar = self.update_calendar(advisor, fields, now).await?;
            let row = store::Digest {
                advisor: advisor.id.clone(),
                local_date: today,
                created_at: now,
                body: digest.text.clone(),
                html: Some(digest.html.clone()),
                calendar,
                outbox_id: None,
            };
            // Consent is asked for texts to a phone; an advisor's mail is the advisor's own tool.
            let agreed = advisor.consent.is_some() || !self.route_of(advisor).is_by_phone();
            let may_go = agreed
                && !self.silenced(now).await?.contains_key(&advisor.id)
                && !self.has_left_digest(&advisor.id, self.route_of(advisor)).await?;
            let text = may_go.then(|| self.digest_text(advisor, digest, noon, now));
            if self.store.store_digest(&row, text.as_ref()).await? {
                tracing::info!(advisor = advisor.id, date = %today, "digest made");
            }
        }
        Ok(())
    }

    /// Whether the digest does not come by mail because the advisor left it there.
    pub(super) async fn has_left_digest(
        &self,
        advisor: &str,
        route: RouteName,
    ) -> anyhow::Result<bool> {
        Ok(route == RouteName::Email && self.store.has_left(advisor, DIGEST).await?)
    }

    fn digest_text(
        &self,
        advisor: &Person,
        digest: Digest,
        noon: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Text {
        let route = self.route_of(advisor);
        // An SMS holds the subject; the whole is a command away.
        let body = if route.is_by_phone() {
            format!("{}: {}", self.book.service.name, digest.subject)
        } else {
            digest.text
        };
        Text {
            id: self.ids.make(),
            kind: TextKind::Digest,
            person: advisor.id.clone(),
            route,
            language: advisor.language,
            subject: Some(digest.subject),
            body,
            html: Some(digest.html),
            urgency: Urgency::Digest,
            act_by: None,
            created_at: now,
            due_at: now,
            expires_at: noon,
        }
    }

    /// The digest of one advisor as it reads now; writes nothing.
    pub async fn compose_digest(
        &self,
        advisor: &Person,
        fields: &[FieldNow<'_>],
        since: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Digest> {
        let own = |at: &&FieldNow<'_>| at.farm.advisors.contains(&advisor.id);
        let own: Vec<_> = fields.iter().filter(own).collect();
        let mut held_back = self.held_back(advisor, fields, now).await?;
        let (mut sent, mut expired) = (Vec::new(), Vec::new());
        for queued in self.texts_in_play(since).await? {
            let notices = self.store.notices_of_text(&queued.text.id).await?;
            for told in self.told(advisor, &queued, &notices) {
                match queued.state {
                    TextState::Expired => expired.push(ExpiredLine {
                        to: told.to,
                        fields: told.fields,
                        topic: told.topic,
                    }),
                    TextState::Waiting if queued.text.due_at > now && queued.attempts == 0 => {
                        held_back.push(self.waiting_line(told, &queued, now));
                    }
                    TextState::Held => {}
                    _ => {
                        let fate = self.store.fate(&queued.text.id).await?;
                        sent.push(sent_line(told, &queued, fate, &notices));
                    }
                }
            }
        }
        let issued = own.iter().filter_map(|at| at.forecast_issued).min();
        let forecast = match (issued, &self.book.service.weather.nws) {
            (Some(issued), _) => {
                ForecastAge::Hours(u32::try_from((now - issued).num_hours()).unwrap_or_default())
            }
            (None, Some(_)) => ForecastAge::NoneYet,
            (None, None) => ForecastAge::NoSource,
        };
        let used: BTreeSet<_> = own.iter().filter_map(|at| at.forecast_from).collect();
        let credits = used.into_iter().filter_map(SourceName::credit).collect();
        let warnings = self.warnings(&own, self.zone_of(advisor), now).await?;
        Ok(self.wording.digest(&DigestInput {
            sender: self.book.service.name.clone(),
            advisor: advisor.name.clone(),
            date: local_day(now, self.zone_of(advisor)),
            language: advisor.language,
            calls: self.calls(&own, now),
            warnings,
            warnings_late: self.warnings_late(now).await?,
            due: own.iter().flat_map(|at| at.season.findings.iter().map(|f| due(at, f))).collect(),
            sent,
            held_back,
            expired,
            replies: self.replies_to_read(advisor, since).await?,
            undecided: self.undecided(advisor, now).await?,
            unknown: unknown_lines(&own),
            records: self.incomplete_records(advisor, now).await?,
            farms: farm_blocks(&own),
            forecast,
            credits,
        }))
    }

    /// Replies handled since that only a person can make sense of, from the advisor's growers and
    /// from anybody no farm knows.
    async fn replies_to_read(
        &self,
        advisor: &Person,
        since: DateTime<Utc>,
    ) -> anyhow::Result<Vec<ReplyLine>> {
        let zone = self.zone_of(advisor);
        let mut lines = Vec::new();
        for inbound in self.store.inbound_since(since - LONGEST_UNHANDLED).await? {
            let fresh = inbound.handled_at.is_some_and(|at| at > since);
            let outcome = inbound.outcome.as_deref().filter(|_| fresh).unwrap_or_default();
            let maybe_stop = outcome == HELD_FOR_ADVISOR;
            if !maybe_stop && ![NOT_UNDERSTOOD, UNKNOWN_SENDER].contains(&outcome) {
                continue;
            }
            let from = match self.sender_of(&inbound) {
                Some(person) if self.looks_after(advisor, person) => {
                    ReplyFrom::Person { name: person.name.clone(), phone: person.phone.clone() }
                }
                Some(_) => continue,
                None => ReplyFrom::Unknown { ends: last_two(&inbound.sender) },
            };
            let at = inbound.received_at.with_timezone(&zone).naive_local();
            lines.push(ReplyLine { from, at, words: inbound.body, maybe_stop });
        }
        Ok(lines)
    }

    /// People of the advisor's to whom nothing goes until somebody decides.
    async fn undecided(
        &self,
        advisor: &Person,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Vec<(String, HeldWhy)>> {
        let silenced = self.silenced(now).await?;
        let undecided = |person: &Person| {
            let why = silenced.get(&person.id).filter(|why| **why != HeldBack::Stopped)?;
            let own = person.consent.is_some() && self.looks_after(advisor, person);
            own.then(|| (person.name.clone(), held_why(*why)))
        };
        Ok(self.book.people.iter().filter_map(undecided).collect())
    }

    /// Whether the advisor shares a farm with the person, or nobody does.
    fn looks_after(&self, advisor: &Person, person: &Person) -> bool {
        let fields = self.fields_of(person);
        fields.is_empty() || fields.iter().any(|(farm, _)| farm.advisors.contains(&advisor.id))
    }

    /// Texts about fields that left the queue since, or still wait in it.
    async fn texts_in_play(&self, since: DateTime<Utc>) -> anyhow::Result<Vec<Queued>> {
        let ended = TextFilter { ended_since: Some(since), ..TextFilter::default() };
        let states = vec![TextState::Waiting, TextState::Sending];
        let open = TextFilter { states, ..TextFilter::default() };
        let mut texts = self.store.texts(&ended).await?;
        texts.extend(self.store.texts(&open).await?);
        texts.retain(|queued| queued.text.kind == TextKind::Notice);
        texts.sort_by_key(|queued| queued.text.created_at);
        Ok(texts)
    }

    /// Whom a text told what, topic by topic, if the advisor looks after any field of the topic.
    fn told(&self, advisor: &Person, queued: &Queued, notices: &[Notice]) -> Vec<Told> {
        let own = |notice: &Notice| {
            let field = self.book.field(&notice.identity.field);
            let farm = field.and_then(|field| self.book.farm(&field.farm));
            farm.is_some_and(|farm| farm.advisors.contains(&advisor.id))
        };
        let name = |notice: &Notice| {
            let id = &notice.identity.field;
            self.book.field(id).map_or(id.clone(), |field| field.name.clone())
        };
        let id = &queued.text.person;
        let to = self.book.person(id).map_or(id.clone(), |person| person.name.clone());
        let topics: BTreeSet<Topic> =
            notices.iter().filter(|notice| own(notice)).map(|one| one.identity.topic).collect();
        let told = |topic| {
            let of_topic = notices.iter().filter(|notice| notice.identity.topic == topic);
            Told { to: to.clone(), fields: of_topic.map(name).collect(), topic }
        };
        topics.into_iter().map(told).collect()
    }

    async fn held_back(
        &self,
        advisor: &Person,
        fields: &[FieldNow<'_>],
        now: DateTime<Utc>,
    ) -> anyhow::Result<Vec<HeldLine>> {
        let composed = self.compose(fields, now).await?;
        let own =
            composed.held.iter().filter(|(one, _)| one.at.farm.advisors.contains(&advisor.id));
        let mut lines: BTreeMap<(String, Topic), HeldLine> = BTreeMap::new();
        for (one, why) in own {
            let to = one.person.name.clone();
            let topic = one.finding.topic();
            let line = lines.entry((to.clone(), topic)).or_insert_with(|| HeldLine {
                to,
                fields: Vec::new(),
                topic,
                why: held_why(*why),
            });
            line.fields.push(one.at.field.name.clone());
        }
        Ok(lines.into_values().collect())
    }

    /// A text that waits for a later hour of the day waits for the end of quiet hours; one that
    /// waits for another day was over the budget.
    fn waiting_line(&self, told: Told, queued: &Queued, now: DateTime<Utc>) -> HeldLine {
        let zone = self.book.service.zone;
        let tonight = local_day(queued.text.due_at, zone) <= local_day(now, zone);
        let why = if tonight { HeldWhy::QuietHours } else { HeldWhy::DailyBudget };
        HeldLine { to: told.to, fields: told.fields, topic: told.topic, why }
    }

    /// Whom to call: growers with something urgent, overdue or due within two days.
    fn calls(&self, own: &[&FieldNow<'_>], now: DateTime<Utc>) -> Vec<Call> {
        let mut calls: BTreeMap<&str, Vec<(f64, Due)>> = BTreeMap::new();
        for at in own {
            let today = local_day(now, at.farm.zone);
            for finding in &at.season.findings {
                let days = finding.act_by.map(|by| (by - today).num_days());
                let urgent = finding.urgency == Urgency::Urgent;
                let soon = days.is_some_and(|days| days <= CALL_DAYS);
                if finding.urgency == Urgency::Digest || !(urgent || soon) {
                    continue;
                }
                for grower in &at.farm.growers {
                    let why = calls.entry(grower).or_default();
                    why.push((score(urgent, days), due(at, finding)));
                }
            }
        }
        let mut calls: Vec<_> = calls
            .into_iter()
            .filter_map(|(id, why)| Some(call(self.book.person(id)?, why)))
            .collect();
        calls.sort_by(|left, right| right.score.total_cmp(&left.score));
        calls
    }
}

const fn held_why(why: HeldBack) -> HeldWhy {
    match why {
        HeldBack::NoConsent => HeldWhy::NoConsent,
        HeldBack::Stopped => HeldWhy::Stopped,
        HeldBack::MaybeStop => HeldWhy::MaybeStop,
        HeldBack::Unanswered => HeldWhy::Unanswered,
        HeldBack::NumberGone => HeldWhy::NumberGone,
        HeldBack::NotForNumber => HeldWhy::NotForNumber,
        HeldBack::NoRoom => HeldWhy::DailyBudget,
    }
}

/// A call about all of it, the most pressing first.
fn call(grower: &Person, mut why: Vec<(f64, Due)>) -> Call {
    why.sort_by(|(left, _), (right, _)| right.total_cmp(left));
    Call {
        grower: grower.name.clone(),
        phone: grower.phone.clone(),
        score: why.iter().map(|(score, _)| score).sum(),
        why: why.into_iter().map(|(_, due)| due).collect(),
    }
}

/// Whom a text told what.
struct Told {
    to: String,
    fields: Vec<String>,
    topic: Topic,
}

/// Urgent weighs more than soon, and every day past the deadline more than one before it.
fn score(urgent: bool, days: Option<i64>) -> f64 {
    let near = days.map_or(0, |days| (CALL_DAYS + 1 - days).clamp(0, 10));
    let near = u8::try_from(near).unwrap_or_default();
    f64::from(near) + if urgent { 5.0 } else { 0.0 }
}

/// The end of a number or address that is in no book: enough to find it, too little to tell it.
fn last_two(sender: &str) -> String {
    let signs: Vec<char> = sender.chars().collect();
    signs[signs.len().saturating_sub(2)..].iter().collect()
}

fn is_corn(at: &FieldNow<'_>) -> bool {
    at.field.plan.as_ref().is_some_and(|plan| plan.crop.is_corn())
}

fn due(at: &FieldNow<'_>, finding: &Finding) -> Due {
    Due {
        farm: at.farm.name.clone(),
        field: at.field.name.clone(),
        crop_is_corn: is_corn(at),
        evidence: finding.evidence.clone(),
        version: finding.version,
        act_by: finding.act_by,
        provisional: finding.provisional,
    }
}

fn sent_line(told: Told, queued: &Queued, fate: Fate, notices: &[Notice]) -> SentLine {
    let answered = |notice: &Notice| {
        notice.identity.topic == told.topic
            && notice.closed.as_ref().is_some_and(|closing| closing.ending == Ending::Answered)
    };
    let replied = notices.iter().any(answered);
    SentLine {
        to: told.to,
        fields: told.fields,
        topic: told.topic,
        state: match queued.state {
            _ if fate == Fate::Delivered => SentState::Delivered,
            TextState::Sent if fate == Fate::Lost => SentState::Failed,
            TextState::Failed if queued.possibly_twice => SentState::Unsure,
            TextState::Failed => SentState::Failed,
            TextState::Sent => SentState::Sent,
            TextState::Waiting | TextState::Sending | TextState::Expired | TextState::Held => {
                SentState::Waiting
            }
        },
        replied,
    }
}

/// Fields without weather, those without it for longest first.
fn unknown_lines(own: &[&FieldNow<'_>]) -> Vec<UnknownLine> {
    let mut lines: Vec<_> = own.iter().filter_map(|at| unknown_line(at)).collect();
    lines.sort_by_key(|line| line.since);
    lines
}

fn unknown_line(at: &FieldNow<'_>) -> Option<UnknownLine> {
    let since = gap_since(at)?;
    Some(UnknownLine { farm: at.farm.name.clone(), field: at.field.name.clone(), since })
}

fn gap_since(at: &FieldNow<'_>) -> Option<NaiveDate> {
    at.season.findings.iter().find_map(|finding| match finding.evidence {
        Evidence::WeatherGap { since, .. } => Some(since),
        _ => None,
    })
}

fn farm_blocks(own: &[&FieldNow<'_>]) -> Vec<FarmBlock> {
    let mut blocks: Vec<FarmBlock> = Vec::new();
    for at in own {
        let line = FieldLine {
            name: at.field.name.clone(),
            crop_is_corn: is_corn(at),
            stage: at.season.now.as_ref().and_then(|now| now.stage),
            clocks: clocks(at),
            seedbed: seedbed(at),
            stale_since: gap_since(at),
        };
        match blocks.last_mut().filter(|block| block.name == at.farm.name) {
            Some(block) => block.fields.push(line),
            None => blocks.push(FarmBlock { name: at.farm.name.clone(), fields: vec![line] }),
        }
    }
    blocks
}

fn seedbed(at: &FieldNow<'_>) -> Option<Evidence> {
    let mut shown = at.season.findings.iter().map(|finding| &finding.evidence);
    shown.find(|evidence| evidence.topic() == Topic::Seedbed).cloned()
}

/// Where the clocks stand; what is behind the field already is left out.
fn clocks(at: &FieldNow<'_>) -> FieldClocks {
    let Some(now) = &at.season.now else { return FieldClocks::default() };
    let pre = now.pre.as_ref();
    let pre_state = pre.and_then(|pre| pre.rain.as_ref());
    let is_open =
        |window: &PostWindow| window.opening.is_some_and(|opening| opening.on <= at.today);
    let closes = |window: PostWindow| last_day(window.closes, at.today);
    let renewed = now.renewal.as_ref().and_then(|post| post.ends).and(now.residual_ends);
    let is_sprayed = now.post_applied_on.is_some();
    FieldClocks {
        pre_on: pre.map(|pre| pre.applied_on),
        rain_since_pre_in: pre_state.map(|state| state.firm.rain_in),
        rain_unknown_days: pre.map_or(0, |pre| pre.unmeasured_days),
        pre_set_on: pre_state.and_then(|state| state.firm.set_on),
        residual_ends: pre.and_then(|pre| pre.ends).map(|ends| ends.earliest),
        post_closes: now.post_window.filter(|_| !is_sprayed).map(closes),
        post_on: now.post_applied_on,
        renewed_ends: renewed.map(|ends| ends.earliest),
        next_post_closes: now.post_window.filter(|_| is_sprayed).filter(is_open).map(closes),
        sidedress_by: match now.sidedressed_on {
            Some(_) => None,
            None => now.sidedress.map(|window| last_day(window.latest, at.today)),
        },
        sidedress_on: now.sidedressed_on,
    }
}

/// The last day to count on: the earliest believable one, then every day anew until the likely one
/// has passed.
pub(super) fn last_day(range: DateRange, today: NaiveDate) -> NaiveDate {
    range.earliest.max(range.likely.min(today))
}
