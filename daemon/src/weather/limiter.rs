//! A limit on requests to one host, shared by all who ask it.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::{Instant, sleep_until};

/// Hands out moments to send, evenly apart. Clones share one line of waiters.
#[derive(Debug, Clone)]
pub struct Limiter {
    gap: Duration,
    next: Arc<Mutex<Option<Instant>>>,
}

impl Limiter {
    /// A limiter of `requests_per_s`; a number that is not above zero counts as one an hour.
    pub fn new(requests_per_s: f64) -> Self {
        let slowest = Duration::from_hours(1);
        let gap = Duration::try_from_secs_f64(requests_per_s.recip()).unwrap_or(slowest);
        Self { gap: gap.min(slowest), next: Arc::default() }
    }

    /// Waits for the caller's turn. A turn given up while waiting is not handed on.
    pub async fn turn(&self) {
        sleep_until(self.reserve(Instant::now())).await;
    }

    /// Holds everybody back for `pause` from now: the host has asked for it.
    pub fn hold(&self, pause: Duration) {
        self.hold_from(Instant::now(), pause);
    }

    fn hold_from(&self, now: Instant, pause: Duration) {
        let mut next = self.next.lock().unwrap_or_else(PoisonError::into_inner);
        *next = (*next).max(now.checked_add(pause));
    }

    fn reserve(&self, now: Instant) -> Instant {
        let mut next = self.next.lock().unwrap_or_else(PoisonError::into_inner);
        let turn = next.map_or(now, |next| next.max(now));
        *next = Some(turn + self.gap);
        turn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_evenly_apart_and_idle_time_is_not_saved_up() {
        let limiter = Limiter::new(2.0);
        let start = Instant::now();
        let half = Duration::from_millis(500);
        assert_eq!(limiter.reserve(start), start);
        assert_eq!(limiter.clone().reserve(start), start + half);
        assert_eq!(limiter.reserve(start), start + 2 * half);
        let later = start + Duration::from_mins(1);
        assert_eq!(limiter.reserve(later), later);
        assert_eq!(limiter.reserve(later), later + half);
    }

    #[test]
    fn a_hold_keeps_everybody_back_and_never_shortens_the_wait() {
        let limiter = Limiter::new(1.0);
        let start = Instant::now();
        limiter.hold_from(start, Duration::from_secs(5));
        limiter.hold_from(start, Duration::from_secs(1));
        assert_eq!(limiter.reserve(start), start + Duration::from_secs(5));
    }

    #[test]
    fn an_absurd_rate_is_slow_and_does_not_panic() {
        for rate in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-300] {
            let limiter = Limiter::new(rate);
            let start = Instant::now();
            assert!(limiter.reserve(start) <= limiter.reserve(start));
        }
    }
}
