//! The one source of now, and of ids.
//!
//! The clock is made in `main` and handed down. A rehearsal runs the same code under a clock that
//! moves only when told.

use chrono::{DateTime, DurationRound, TimeDelta, Utc};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// Longest wait between two looks at the clock.
const LONGEST_SLEEP: Duration = Duration::from_secs(30);

/// A source of now. Clones share one hand.
#[derive(Debug, Clone)]
pub enum Clock {
    /// The machine's clock.
    System,
    /// A hand that moves only when told, in microseconds since 1970.
    Pretended(Arc<AtomicI64>),
    /// A hand that starts somewhere and runs faster than the machine's; for tests of the service.
    Fast {
        /// When it was started.
        began: Instant,
        /// What it showed then.
        start: DateTime<Utc>,
        /// How many times as fast it runs.
        speed: u32,
    },
}

/// A text that names no test clock.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is no test clock; write a UTC instant, x and a speed, as in 2026-05-20T12:00:00Zx60"
)]
pub struct NotAClock(String);

impl Clock {
    /// A pretended clock that shows `start`.
    pub fn pretended(start: DateTime<Utc>) -> Self {
        Self::Pretended(Arc::new(AtomicI64::new(start.timestamp_micros())))
    }

    /// Reads `2026-05-20T12:00:00Zx60`: a clock that shows that instant now and runs 60 times as
    /// fast.
    pub fn fast(text: &str) -> Result<Self, NotAClock> {
        let parts = text.rsplit_once('x').and_then(|(start, speed)| {
            let start = DateTime::parse_from_rfc3339(start).ok()?;
            Some((start.to_utc(), speed.parse().ok().filter(|speed| *speed > 0)?))
        });
        let (start, speed) = parts.ok_or_else(|| NotAClock(text.to_owned()))?;
        Ok(Self::Fast { began: Instant::now(), start, speed })
    }

    /// How long to wait, in the machine's time, until this clock shows `until`.
    pub fn wait_until(&self, until: DateTime<Utc>) -> Duration {
        let wait = (until - self.now()).to_std().unwrap_or_default();
        match self {
            Self::System | Self::Pretended(_) => wait,
            Self::Fast { speed, .. } => wait / *speed,
        }
    }

    /// Now, in whole microseconds, so that every database gives back what was put in.
    pub fn now(&self) -> DateTime<Utc> {
        match self {
            #[expect(
                clippy::disallowed_methods,
                reason = "the one place that reads the machine's clock"
            )]
            Self::System => {
                let now = Utc::now();
                now.duration_trunc(TimeDelta::microseconds(1)).unwrap_or(now)
            }
            Self::Pretended(hand) => {
                DateTime::from_timestamp_micros(hand.load(Ordering::SeqCst)).unwrap_or_default()
            }
            Self::Fast { began, start, speed } => {
                let passed = began.elapsed().saturating_mul(*speed);
                let micros = i64::try_from(passed.as_micros()).unwrap_or(i64::MAX);
                *start + TimeDelta::microseconds(micros)
            }
        }
    }

    /// Waits until this clock shows `until`. A pretended clock does not wait: its hand is moved.
    pub async fn sleep_until(&self, until: DateTime<Utc>) {
        self.advance_to(until);
        loop {
            let wait = self.wait_until(until);
            if wait.is_zero() {
                return;
            }
            // A stepped clock is noticed soon.
            tokio::time::sleep(wait.min(LONGEST_SLEEP)).await;
        }
    }

    /// Moves a pretended clock forward to `to`; a step back, or a real clock, is left alone.
    pub fn advance_to(&self, to: DateTime<Utc>) {
        if let Self::Pretended(hand) = self {
            hand.fetch_max(to.timestamp_micros(), Ordering::SeqCst);
        }
    }
}

/// Makes ids that sort by the clock's time.
#[derive(Debug, Clone)]
pub struct Ids {
    clock: Clock,
    made: Arc<AtomicU64>,
}

impl Ids {
    /// Ids by that clock.
    pub fn new(clock: Clock) -> Self {
        Self { clock, made: Arc::default() }
    }

    /// A new id (UUID version 7). Under a pretended clock the same calls give the same ids.
    pub fn make(&self) -> String {
        let now = self.clock.now();
        let count = self.made.fetch_add(1, Ordering::SeqCst);
        let id = match self.clock {
            Clock::System | Clock::Fast { .. } => Uuid::new_v7(uuid::Timestamp::from_unix_time(
                u64::try_from(now.timestamp()).unwrap_or_default(),
                now.timestamp_subsec_nanos(),
                count.into(),
                42,
            )),
            Clock::Pretended(_) => {
                let mut bytes = [0; 10];
                bytes[2..].copy_from_slice(&count.to_be_bytes());
                let millis = u64::try_from(now.timestamp_millis()).unwrap_or_default();
                uuid::Builder::from_unix_timestamp_millis(millis, &bytes).into_uuid()
            }
        };
        id.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pretended_clock_moves_only_forward() {
        let start = DateTime::from_timestamp(1_780_000_000, 0).unwrap();
        let clock = Clock::pretended(start);
        clock.advance_to(start - TimeDelta::hours(1));
        assert_eq!(clock.now(), start);
        clock.clone().advance_to(start + TimeDelta::hours(1));
        assert_eq!(clock.now(), start + TimeDelta::hours(1));
    }

    #[test]
    fn a_fast_clock_runs_ahead() {
        let clock = Clock::fast("2026-05-20T12:00:00Zx3600").unwrap();
        let start = DateTime::parse_from_rfc3339("2026-05-20T12:00:00Z").unwrap().to_utc();
        assert!(clock.now() >= start);
        assert!(clock.wait_until(start + TimeDelta::hours(1)) <= Duration::from_secs(1));
        for text in ["", "x", "2026-05-20T12:00:00Z", "2026-05-20T12:00:00Zx0", "todayx5"] {
            assert!(Clock::fast(text).is_err(), "{text}");
        }
    }

    #[test]
    fn ids_differ_and_repeat_under_a_pretended_clock() {
        let start = DateTime::from_timestamp(1_780_000_000, 0).unwrap();
        let make = || {
            let ids = Ids::new(Clock::pretended(start));
            [ids.make(), ids.make()]
        };
        let [first, second] = make();
        assert!(first < second);
        assert_eq!(make(), [first, second]);
        let real = Ids::new(Clock::System);
        assert_ne!(real.make(), real.make());
    }
}
