//! Leaves a host, or one office behind it, alone for a while after failures in a row.

use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Failures in a row that open a circuit: more than the tries at one address.
pub const TROUBLE: u32 = 5;
/// First rest; it doubles with every probe that fails.
const FIRST_REST: TimeDelta = TimeDelta::minutes(1);
/// Longest rest.
pub const LONGEST_REST: TimeDelta = TimeDelta::minutes(30);
/// A probe whose answer nobody waited for is given up after this.
const PROBE: TimeDelta = TimeDelta::minutes(2);

/// How a circuit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Requests go through.
    Closed,
    /// No request goes before that time; the next one is a probe.
    Open {
        /// When a probe may go.
        until: DateTime<Utc>,
    },
}

#[derive(Debug, Clone, Copy, Default)]
struct Circuit {
    failures: u32,
    rest: TimeDelta,
    open_until: Option<DateTime<Utc>>,
    probing: bool,
}

/// Circuits by name. Clones share them.
#[derive(Debug, Clone, Default)]
pub struct Breaker(Arc<Mutex<BTreeMap<String, Circuit>>>);

impl Breaker {
    /// Lets a request through, or says when to come again. While a circuit is open and its rest is
    /// over, one caller goes through as a probe and the others wait for what becomes of it.
    pub fn enter(&self, name: &str, now: DateTime<Utc>) -> Result<(), DateTime<Utc>> {
        let mut circuits = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(circuit) = circuits.get_mut(name) else { return Ok(()) };
        match circuit.open_until {
            Some(until) if now < until => Err(until),
            Some(_) => {
                circuit.open_until = Some(now + PROBE);
                circuit.probing = true;
                Ok(())
            }
            None => Ok(()),
        }
    }

    /// A request went well: the circuit closes, unless it opened while the request was under way.
    pub fn well(&self, name: &str) {
        let mut circuits = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if circuits.get(name).is_some_and(|at| at.open_until.is_none() || at.probing) {
            circuits.remove(name);
        }
    }

    /// A request failed.
    pub fn failed(&self, name: &str, now: DateTime<Utc>) {
        let mut circuits = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let circuit = circuits.entry(name.to_owned()).or_default();
        circuit.failures = circuit.failures.saturating_add(1);
        if circuit.failures < TROUBLE {
            return;
        }
        // Requests that were under way when the circuit opened prove nothing new.
        if circuit.open_until.is_none_or(|until| until <= now) || circuit.probing {
            circuit.rest = (circuit.rest * 2).clamp(FIRST_REST, LONGEST_REST);
            circuit.open_until = Some(now + circuit.rest);
            circuit.probing = false;
        }
    }

    /// There is nothing to be had for long: the circuit opens at once.
    pub fn trip(&self, name: &str, now: DateTime<Utc>) {
        let mut circuits = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let open_until = Some(now + LONGEST_REST);
        let circuit = Circuit { failures: TROUBLE, rest: LONGEST_REST, open_until, probing: false };
        circuits.insert(name.to_owned(), circuit);
    }

    /// The host has asked for a pause: nobody goes before that time.
    pub fn hold(&self, name: &str, until: DateTime<Utc>) {
        let mut circuits = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let circuit = circuits.entry(name.to_owned()).or_default();
        circuit.open_until = circuit.open_until.max(Some(until));
        circuit.probing = false;
    }

    /// How a circuit stands.
    pub fn state(&self, name: &str) -> State {
        let circuits = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let until = circuits.get(name).and_then(|circuit| circuit.open_until);
        until.map_or(State::Closed, |until| State::Open { until })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_780_000_000 + seconds, 0).unwrap()
    }

    #[test]
    fn five_failures_in_a_row_open_and_an_answer_between_them_does_not() {
        let breaker = Breaker::default();
        (0..4).for_each(|second| breaker.failed("a", at(second)));
        breaker.well("a");
        (0..4).for_each(|second| breaker.failed("a", at(second)));
        assert_eq!(breaker.state("a"), State::Closed);
        breaker.failed("a", at(4));
        assert_eq!(breaker.state("a"), State::Open { until: at(64) });
        assert_eq!(breaker.enter("a", at(63)), Err(at(64)));
        assert_eq!(breaker.enter("b", at(63)), Ok(()));
    }

    #[test]
    fn one_probe_goes_and_closes_it_or_doubles_the_rest() {
        let breaker = Breaker::default();
        // Nine under way at once: one rest, not five.
        (0..9).for_each(|_| breaker.failed("a", at(0)));
        assert_eq!(breaker.state("a"), State::Open { until: at(60) });
        assert_eq!(breaker.enter("a", at(60)), Ok(()));
        assert_eq!(breaker.enter("a", at(60)), Err(at(180)));
        breaker.failed("a", at(61));
        assert_eq!(breaker.state("a"), State::Open { until: at(61 + 120) });
        assert_eq!(breaker.enter("a", at(181)), Ok(()));
        breaker.well("a");
        assert_eq!(breaker.enter("a", at(182)), Ok(()));
        assert_eq!(breaker.state("a"), State::Closed);
    }

    #[test]
    fn a_pause_that_was_asked_for_outlasts_answers_that_were_under_way() {
        let breaker = Breaker::default();
        breaker.hold("a", at(5));
        breaker.well("a");
        assert_eq!(breaker.enter("a", at(4)), Err(at(5)));
        assert_eq!(breaker.enter("a", at(5)), Ok(()));
        breaker.well("a");
        assert_eq!(breaker.state("a"), State::Closed);
    }

    #[test]
    fn a_probe_that_nobody_waited_for_does_not_bar_the_next_and_no_rest_is_longer_than_half_an_hour()
     {
        let breaker = Breaker::default();
        breaker.trip("a", at(0));
        let mut now = at(1800);
        for _ in 0..5 {
            assert_eq!(breaker.enter("a", now), Ok(()));
            now += PROBE;
        }
        assert_eq!(breaker.enter("a", now), Ok(()));
        breaker.failed("a", now);
        assert_eq!(breaker.state("a"), State::Open { until: now + LONGEST_REST });
    }
}
