//! Pulls forecasts: each cell once, however many fields lie in it, and stand-ins for fields whose
//! grid is late.

mod due;
mod job;

use super::Desk;
use crate::weather::body::Asked;
use crate::weather::source::SourceName;
use chrono::{DateTime, TimeDelta, Utc};
pub use due::Ages;
pub(super) use due::resting;
use due::{Job, Standing};
pub(super) use job::known;
use tokio::task::JoinSet;

/// Most jobs of one pass; what is left over is asked for in the next one, by what is due then.
const BATCH: usize = 64;
/// Most passes of one pull, so that a book that is read again is heeded soon.
const PASSES: usize = 4;
/// Shortest time between two pulls, so that the record is not searched for every single cell.
const PAUSE: TimeDelta = TimeDelta::seconds(5);
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

impl Desk {
    /// Pulls what is due, at the pace each host allows; `None` without a source to ask. It may be
    /// dropped anywhere: each answer is kept whole or not at all.
    pub async fn pull(&self) -> anyhow::Result<Option<Pulled>> {
        if self.weather.is_offline() {
            return Ok(None);
        }
        let mut pulled = Pulled { next: self.clock.now(), fresh: false };
        for _ in 0..PASSES {
            let standing = Standing::of(self).await?;
            let due = standing.due(self);
            pulled.next = due.next;
            self.figures.weather_stands(&due.ages);
            if due.jobs.is_empty() {
                break;
            }
            let more = due.jobs.len() > BATCH;
            pulled.fresh |= self.pass(due.jobs).await?;
            pulled.next =
                if more { self.clock.now() } else { Standing::of(self).await?.due(self).next };
        }
        let now = self.clock.now();
        self.store.prune_hours(now - HOURS_KEEP).await?;
        self.store.prune_requests(now - REQUESTS_KEEP).await?;
        if pulled.next > now {
            pulled.next = pulled.next.max(now + PAUSE);
        }
        Ok(Some(pulled))
    }

    /// Does the jobs side by side; the readers keep each host's pace. Says whether a new forecast
    /// came.
    async fn pass(&self, jobs: Vec<Job>) -> anyhow::Result<bool> {
        let mut under_way = JoinSet::new();
        for job in jobs.into_iter().take(BATCH) {
            let desk = self.clone();
            under_way.spawn(async move { desk.done(job).await });
        }
        let mut fresh = false;
        let mut trouble = None;
        while let Some(ended) = under_way.join_next().await {
            match ended? {
                Ok(kept) => fresh |= kept,
                Err(error) => trouble = Some(error),
            }
        }
        self.keep_notes().await?;
        trouble.map_or(Ok(fresh), Err)
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
