//! A limit on requests to one host, shared by all who ask it.

use crate::clock::Clock;
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Longest gap and longest hold; a clock that was set back by more makes nobody wait.
const SLOWEST: TimeDelta = TimeDelta::hours(1);

/// Hands out moments to send, evenly apart: a bucket of one token. Clones share one line of
/// waiters.
#[derive(Debug, Clone)]
pub struct Limiter {
    clock: Clock,
    gap: TimeDelta,
    next: Arc<Mutex<Option<DateTime<Utc>>>>,
}

impl Limiter {
    /// A limiter of `requests_per_s` by the machine's clock; a number that is not above zero counts
    /// as one an hour.
    pub fn new(requests_per_s: f64) -> Self {
        Self::by(Clock::System, requests_per_s)
    }

    /// The same by another clock. A pretended one is moved to each turn.
    pub fn by(clock: Clock, requests_per_s: f64) -> Self {
        let gap = Duration::try_from_secs_f64(requests_per_s.recip()).ok();
        let gap = gap.and_then(|gap| TimeDelta::from_std(gap).ok()).unwrap_or(SLOWEST);
        Self { clock, gap: gap.min(SLOWEST), next: Arc::default() }
    }

    /// Waits for the caller's turn. A turn given up while waiting is not handed on.
    pub async fn turn(&self) {
        let turn = self.reserve(self.clock.now());
        self.clock.sleep_until(turn).await;
    }

    /// Holds everybody back for `pause` from now, an hour at most: the host has asked for it.
    pub fn hold(&self, pause: Duration) {
        self.hold_from(self.clock.now(), pause);
    }

    fn hold_from(&self, now: DateTime<Utc>, pause: Duration) {
        let pause = TimeDelta::from_std(pause).map_or(SLOWEST, |pause| pause.min(SLOWEST));
        let mut next = self.next.lock().unwrap_or_else(PoisonError::into_inner);
        *next = (*next).max(Some(now + pause));
    }

    fn reserve(&self, now: DateTime<Utc>) -> DateTime<Utc> {
        let mut next = self.next.lock().unwrap_or_else(PoisonError::into_inner);
        let believed = next.filter(|next| *next - now <= SLOWEST + self.gap * 100);
        let turn = believed.map_or(now, |next| next.max(now));
        *next = Some(turn + self.gap);
        turn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn start() -> DateTime<Utc> {
        DateTime::from_timestamp(1_780_000_000, 0).unwrap()
    }

    #[test]
    fn turns_are_evenly_apart_and_idle_time_is_not_saved_up() {
        let limiter = Limiter::new(2.0);
        let (start, half) = (start(), TimeDelta::milliseconds(500));
        assert_eq!(limiter.reserve(start), start);
        assert_eq!(limiter.clone().reserve(start), start + half);
        assert_eq!(limiter.reserve(start), start + half * 2);
        let later = start + TimeDelta::minutes(1);
        assert_eq!(limiter.reserve(later), later);
        assert_eq!(limiter.reserve(later), later + half);
    }

    #[test]
    fn a_hold_keeps_everybody_back_and_never_shortens_the_wait() {
        let (limiter, start) = (Limiter::new(1.0), start());
        limiter.hold_from(start, Duration::from_secs(5));
        limiter.hold_from(start, Duration::from_secs(1));
        assert_eq!(limiter.reserve(start), start + TimeDelta::seconds(5));
    }

    #[test]
    fn an_absurd_rate_is_slow_and_does_not_panic() {
        for rate in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-300] {
            let (limiter, start) = (Limiter::new(rate), start());
            assert!(limiter.reserve(start) <= limiter.reserve(start));
        }
    }

    #[test]
    fn a_clock_that_was_set_back_makes_nobody_wait() {
        let (limiter, start) = (Limiter::new(2.0), start());
        limiter.reserve(start);
        let back = start - TimeDelta::days(1);
        assert_eq!(limiter.reserve(back), back);
    }

    #[tokio::test]
    async fn a_pretended_clock_is_moved_to_each_turn() {
        let clock = Clock::pretended(start());
        let limiter = Limiter::by(clock.clone(), 2.0);
        for _ in 0..2001 {
            limiter.turn().await;
        }
        assert_eq!(clock.now(), start() + TimeDelta::seconds(1000));
    }
}
