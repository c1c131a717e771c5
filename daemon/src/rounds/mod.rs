//! Rounds: pull, advance, decide, send.
//!
//! [`Desk`] holds what a round needs. The service turns rounds under the machine's clock, a
//! rehearsal turns the same ones under a pretended clock.

pub mod advance;
pub mod answer;
pub mod applications;
mod calendar;
pub mod consent;
mod correct;
pub mod decide;
pub mod digest;
pub mod fallback;
pub mod field_weather;
pub mod forecasts;
mod known;
pub mod observe;
pub mod past;
pub mod pull;
pub mod record;
pub mod send;
pub mod sources_now;
mod timing;
mod warnings;

use crate::clock::{Clock, Ids};
use crate::links::Links;
use crate::pages::Figures;
use crate::routes::Route;
use crate::store::Store;
use crate::weather::Sources;
use crate::weather::limiter::Limiter;
use crate::wording::Wording;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::Book;
use furrowbell_config::people::{Person, RouteName};
use furrowbell_config::schedule::Schedule;
use past::Past;
use record::Kept;
use send::{Bells, Pauses};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokio::sync::Notify;

/// Everything a round needs. Clones share all of it.
#[derive(Debug, Clone)]
pub struct Desk {
    /// What people have written.
    pub book: Arc<Book>,
    /// When digests go out.
    pub digest_schedule: Arc<Schedule>,
    /// The record.
    pub store: Store,
    /// The source of now.
    pub clock: Clock,
    /// The source of ids.
    pub ids: Ids,
    /// The texts' wording.
    pub wording: Arc<Wording>,
    /// Ways to reach people.
    pub routes: Arc<BTreeMap<RouteName, Route>>,
    /// Where weather comes from.
    pub weather: Arc<Sources>,
    /// What of it is to be asked next.
    pub agenda: Arc<pull::Agenda>,
    /// What is usual at each place.
    pub past: Arc<Past>,
    /// What of the seasons stands in the record.
    pub kept: Arc<Kept>,
    /// Spaces the texts of each route; a rehearsal has none.
    pub pace: Arc<BTreeMap<RouteName, Limiter>>,
    /// Routes that asked for a pause.
    pub pauses: Arc<Pauses>,
    /// Whether a round has gone through since the start. What was composed before an outage may
    /// not hold any more, so notices wait for it.
    pub looked: Arc<AtomicBool>,
    /// Figures for the metrics page.
    pub figures: Arc<Figures>,
    /// Wakes the round when something came in.
    pub came_in: Arc<Notify>,
    /// Wakes whoever handles replies: a STOP does not wait for a round.
    pub reply_came: Arc<Notify>,
    /// Wakes the senders when something is to go out.
    pub to_send: Arc<Bells>,
    /// Wakes who looks for texts that did not arrive, when a receipt came.
    pub reported: Arc<Notify>,
    /// Addresses for people's own programs, where the pages are reached from outside.
    pub links: Option<Arc<Links>>,
}

impl Desk {
    /// One round without its pull: answers what came in, advances every field and keeps its days,
    /// decides, and makes the digests that are due.
    pub async fn turn(&self) -> anyhow::Result<()> {
        let now = self.clock.now();
        self.expire(now).await?;
        self.keep_book_consent(now).await?;
        self.answer_inbound(now).await?;
        self.keep_applications(now).await?;
        self.ask_the_silent(now).await?;
        let fields = self.advance(now).await?;
        self.keep_seasons(&fields, now).await?;
        self.decide(&fields, now).await?;
        self.looked.store(true, Ordering::Relaxed);
        self.make_due_digests(&fields, now).await?;
        self.figures.round_done(now);
        self.to_send.ring_all();
        Ok(())
    }

    /// When the next round is due: the period of the book, or a digest before that.
    pub fn next_turn(&self, now: DateTime<Utc>) -> DateTime<Utc> {
        let period = TimeDelta::minutes(self.book.service.rounds.every_minutes.into());
        self.advisors()
            .filter_map(|advisor| self.digest_schedule.next_after(now, self.zone_of(advisor)))
            .fold(now + period, std::cmp::Ord::min)
    }

    fn advisors(&self) -> impl Iterator<Item = &Person> {
        use furrowbell_config::people::Role;
        self.book.people.iter().filter(|person| person.role == Role::Advisor)
    }

    fn zone_of(&self, person: &Person) -> chrono_tz::Tz {
        person.zone.unwrap_or(self.book.service.zone)
    }
}

#[cfg(test)]
mod tests;
