//! Pulls forecasts: each cell once, however many fields lie in it, and stand-ins for fields whose
//! grid is late.

mod due;
mod job;

use super::Desk;
use crate::weather::body::Asked;
use crate::weather::source::SourceName;
use chrono::{DateTime, TimeDelta, Utc};
pub(super) use due::resting;
pub use due::{Ages, LATE, grid_url};
use due::{Job, Standing};
use job::Done;
pub(super) use job::known;
use std::sync::{Mutex, PoisonError};
use tokio::task::JoinSet;

/// Most jobs of one pass; what is left over is asked for in the next one, by what is due then.
const BATCH: usize = 64;
/// Most passes of one pull, so that a book that is read again is heeded soon.
const PASSES: usize = 4;
/// Shortest time between two pulls, so that thousands of cells are not gone through for every
/// single one of them.
const PAUSE: TimeDelta = TimeDelta::seconds(30);
/// How long what was read of the record is gone by; another instance may have asked since.
const READ_AGAIN: TimeDelta = TimeDelta::minutes(10);
/// How often what serves nothing any more is dropped.
const PRUNE_AGAIN: TimeDelta = TimeDelta::days(1);
/// Hours older than this serve no clock any more.
const HOURS_KEEP: TimeDelta = TimeDelta::days(210);
/// Requests are kept for a week: what a text of the last days rested on can be explained.
const REQUESTS_KEEP: TimeDelta = TimeDelta::days(7);

/// What a pull came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pulled {
    /// When something is due again; not after now while more is due already.
    pub next: DateTime<Utc>,
    /// Whether a new forecast was kept.
    pub fresh: bool,
}

/// What a pull goes by, kept from one to the next. One that is dropped midway leaves nothing, and
/// the next reads the record.
#[derive(Debug, Default)]
pub struct Agenda(Mutex<Option<Kept>>);

#[derive(Debug)]
struct Kept {
    standing: Standing,
    read_at: DateTime<Utc>,
    pruned_at: DateTime<Utc>,
}

impl Agenda {
    fn take(&self) -> Option<Kept> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).take()
    }

    fn keep(&self, kept: Kept) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(kept);
    }
}

impl Desk {
    /// Pulls what is due, at the pace each host allows; `None` without a source to ask. It may be
    /// dropped anywhere: each answer is kept whole or not at all.
    pub async fn pull(&self) -> anyhow::Result<Option<Pulled>> {
        if self.weather.is_offline() {
            return Ok(None);
        }
        let agenda = self.agenda.take();
        let mut agenda = match agenda {
            Some(agenda) if self.clock.now() - agenda.read_at < READ_AGAIN => agenda,
            stale => self.read_agenda(stale.map(|stale| stale.pruned_at)).await?,
        };
        let mut pulled = Pulled { next: self.clock.now(), fresh: false };
        for pass in 0..=PASSES {
            let mut due = agenda.standing.due(self);
            self.figures.weather_stands(&due.ages);
            let now = self.clock.now();
            if due.jobs.is_empty() {
                pulled.next = due.next.max(now + PAUSE);
                break;
            }
            pulled.next = now;
            if pass == PASSES {
                break;
            }
            due.jobs.truncate(BATCH);
            let done = self.pass(&due.jobs).await?;
            pulled.fresh |= done.fresh;
            agenda.standing.heed(self, &due.jobs, done.moved).await?;
        }
        self.agenda.keep(agenda);
        Ok(Some(pulled))
    }

    async fn read_agenda(&self, pruned_at: Option<DateTime<Utc>>) -> anyhow::Result<Kept> {
        let now = self.clock.now();
        let pruned_at = match pruned_at {
            Some(at) if now - at < PRUNE_AGAIN => at,
            _ => {
                self.store.prune_hours(now - HOURS_KEEP).await?;
                self.store.prune_requests(now - REQUESTS_KEEP).await?;
                now
            }
        };
        Ok(Kept { standing: Standing::of(self).await?, read_at: now, pruned_at })
    }

    /// Does the jobs side by side; the readers keep each host's pace.
    async fn pass(&self, jobs: &[Job]) -> anyhow::Result<Done> {
        let mut under_way = JoinSet::new();
        for job in jobs.iter().cloned() {
            let desk = self.clone();
            under_way.spawn(async move { desk.done(job).await });
        }
        let mut all = Done::default();
        let mut trouble = None;
        while let Some(ended) = under_way.join_next().await {
            match ended? {
                Ok(done) => all = all.and(done),
                Err(error) => trouble = Some(error),
            }
        }
        self.keep_notes().await?;
        trouble.map_or(Ok(all), Err)
    }

    /// Moves the readers' notes into the record.
    pub(super) async fn keep_notes(&self) -> anyhow::Result<()> {
        let notes = self.weather.notes.take();
        for asked in &notes {
            self.figures.weather_request(asked.source, asked.fault.is_none());
        }
        let rows = notes.into_iter().map(|asked| (self.ids.make(), asked));
        let rows: Vec<(String, Asked)> = rows.collect();
        Ok(self.store.keep_requests(&rows).await?)
    }
}

/// Age after which a source's forecast is not used any more.
pub const fn age_limit(source: SourceName) -> TimeDelta {
    match source {
        // Its offices renew a grid several times a day.
        SourceName::Nws => TimeDelta::hours(18),
        // Recorded answers were up to ten hours old when fetched.
        _ => TimeDelta::hours(24),
    }
}
