//! What the service counts. Nothing here names a person or a field.

use crate::rounds::pull::Ages;
use crate::weather::source::SourceName;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

/// What happened to a text, as counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TextState {
    /// A route took it.
    Accepted,
    /// It will be tried again.
    Retried,
    /// It will never go.
    Refused,
    /// A route would not let us in.
    SignIn,
    /// It may or may not have gone.
    Unknown,
    /// It lost its sense before it could go.
    Expired,
}

impl TextState {
    const ALL: [Self; 6] =
        [Self::Accepted, Self::Retried, Self::Refused, Self::SignIn, Self::Unknown, Self::Expired];

    const fn name(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Retried => "retried",
            Self::Refused => "refused",
            Self::SignIn => "sign_in",
            Self::Unknown => "unknown",
            Self::Expired => "expired",
        }
    }
}

/// An instant that may not have come yet, in microseconds since 1970.
#[derive(Debug)]
struct Mark(AtomicI64);

impl Mark {
    const NEVER: i64 = i64::MIN;

    const fn never() -> Self {
        Self(AtomicI64::new(Self::NEVER))
    }

    fn set(&self, at: DateTime<Utc>) {
        self.0.store(at.timestamp_micros(), Ordering::Relaxed);
    }

    fn get(&self) -> Option<DateTime<Utc>> {
        match self.0.load(Ordering::Relaxed) {
            Self::NEVER => None,
            micros => DateTime::from_timestamp_micros(micros),
        }
    }
}

/// Counts since the start, shared by all parts of the service.
#[derive(Debug)]
pub struct Figures {
    started: DateTime<Utc>,
    rounds: AtomicU64,
    last_round: Mark,
    oldest_weather: Mark,
    fields_covered: AtomicU64,
    fields_late: AtomicU64,
    weather_requests: Mutex<BTreeMap<(SourceName, bool), u64>>,
    texts: [AtomicU64; TextState::ALL.len()],
    replies: AtomicU64,
}

impl Figures {
    /// Nothing counted yet.
    pub fn new(started: DateTime<Utc>) -> Self {
        Self {
            started,
            rounds: AtomicU64::new(0),
            last_round: Mark::never(),
            oldest_weather: Mark::never(),
            fields_covered: AtomicU64::new(0),
            fields_late: AtomicU64::new(0),
            weather_requests: Mutex::default(),
            texts: Default::default(),
            replies: AtomicU64::new(0),
        }
    }

    /// Counts a round that went through to its end.
    pub fn round_done(&self, at: DateTime<Utc>) {
        self.rounds.fetch_add(1, Ordering::Relaxed);
        self.last_round.set(at);
    }

    /// Notes how old the weather is.
    pub fn weather_stands(&self, ages: &Ages) {
        if let Some(oldest) = ages.oldest {
            self.oldest_weather.set(oldest);
        }
        self.fields_covered.store(ages.covered, Ordering::Relaxed);
        self.fields_late.store(ages.late, Ordering::Relaxed);
    }

    /// Counts a request to a weather service.
    pub fn weather_request(&self, source: SourceName, well: bool) {
        let mut requests = self.weather_requests.lock().unwrap_or_else(PoisonError::into_inner);
        *requests.entry((source, well)).or_default() += 1;
    }

    /// Counts a text.
    pub fn text(&self, state: TextState) {
        self.texts[state as usize].fetch_add(1, Ordering::Relaxed);
    }

    /// Counts a reply that came in for the first time.
    pub(crate) fn reply(&self) {
        self.replies.fetch_add(1, Ordering::Relaxed);
    }

    /// Time since the last full round, if there was one.
    pub(super) fn round_age(&self, now: DateTime<Utc>) -> Option<TimeDelta> {
        self.last_round.get().map(|at| now - at)
    }

    /// Time since the last full round, or since the start.
    pub(super) fn without_round(&self, now: DateTime<Utc>) -> TimeDelta {
        self.round_age(now).unwrap_or(now - self.started)
    }

    /// All of it in the text format that Prometheus reads (exposition format 0.0.4). What is not
    /// known yet is left out.
    pub(crate) fn prometheus(&self, now: DateTime<Utc>) -> String {
        let mut page = String::new();
        let count = |counter: &AtomicU64| counter.load(Ordering::Relaxed).to_string();
        let age = |mark: &Mark| mark.get().map(|at| (now - at).num_seconds().to_string());
        metric(&mut page, "rounds_total", "counter", "Rounds that went through.", {
            [(String::new(), count(&self.rounds))]
        });
        metric(&mut page, "round_age_seconds", "gauge", "Time since the last full round.", {
            age(&self.last_round).map(|age| (String::new(), age))
        });
        let help = "Time since the oldest cell's weather was pulled.";
        metric(&mut page, "weather_age_seconds", "gauge", help, {
            age(&self.oldest_weather).map(|age| (String::new(), age))
        });
        let requests = self.weather_requests.lock().unwrap_or_else(PoisonError::into_inner);
        metric(&mut page, "weather_requests_total", "counter", "Requests to weather services.", {
            requests.iter().map(|((source, well), count)| {
                let outcome = if *well { "good" } else { "fault" };
                let label = format!("{{source=\"{}\",outcome=\"{outcome}\"}}", source.key());
                (label, count.to_string())
            })
        });
        drop(requests);
        if self.oldest_weather.get().is_some() {
            let help = "Fields by whether a forecast is young enough to be used.";
            metric(&mut page, "weather_fields", "gauge", help, {
                [("covered", &self.fields_covered), ("late", &self.fields_late)]
                    .map(|(state, fields)| (format!("{{state=\"{state}\"}}"), count(fields)))
            });
        }
        metric(&mut page, "texts_total", "counter", "Texts by what became of a try.", {
            TextState::ALL.map(|state| {
                let label = format!("{{state=\"{}\"}}", state.name());
                (label, count(&self.texts[state as usize]))
            })
        });
        metric(&mut page, "replies_total", "counter", "Replies that came in.", {
            [(String::new(), count(&self.replies))]
        });
        page
    }
}

/// One metric: its samples are (labels, value).
fn metric(
    page: &mut String,
    name: &str,
    kind: &str,
    help: &str,
    samples: impl IntoIterator<Item = (String, String)>,
) {
    let mut samples = samples.into_iter().peekable();
    if samples.peek().is_none() {
        return;
    }
    // Writing to a String cannot fail.
    let _ = writeln!(page, "# HELP furrowbell_{name} {help}\n# TYPE furrowbell_{name} {kind}");
    for (labels, value) in samples {
        let _ = writeln!(page, "furrowbell_{name}{labels} {value}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_known_yet_is_left_out() {
        let start: DateTime<Utc> = "2026-05-20T12:00:00Z".parse().unwrap();
        let figures = Figures::new(start);
        let page = figures.prometheus(start);
        assert!(page.contains("furrowbell_rounds_total 0\n"), "{page}");
        assert!(!page.contains("age_seconds"), "{page}");
        assert_eq!(figures.round_age(start), None);
        assert_eq!(figures.without_round(start + TimeDelta::hours(1)), TimeDelta::hours(1));
    }

    #[test]
    fn each_state_counts_under_its_own_name() {
        let start: DateTime<Utc> = "2026-05-20T12:00:00Z".parse().unwrap();
        let figures = Figures::new(start);
        for (times, state) in TextState::ALL.into_iter().enumerate() {
            (0..=times).for_each(|_| figures.text(state));
        }
        figures.round_done(start);
        let oldest = Some(start - TimeDelta::minutes(90));
        figures.weather_stands(&Ages { oldest, covered: 3, late: 1 });
        figures.weather_request(SourceName::MetNorway, false);
        let page = figures.prometheus(start + TimeDelta::minutes(1));
        for line in [
            "# TYPE furrowbell_texts_total counter",
            "furrowbell_texts_total{state=\"accepted\"} 1",
            "furrowbell_texts_total{state=\"sign_in\"} 4",
            "furrowbell_texts_total{state=\"expired\"} 6",
            "furrowbell_round_age_seconds 60",
            "furrowbell_weather_age_seconds 5460",
            "furrowbell_weather_fields{state=\"late\"} 1",
            "furrowbell_weather_requests_total{source=\"met-norway\",outcome=\"fault\"} 1",
        ] {
            assert!(page.lines().any(|found| found == line), "no {line} in\n{page}");
        }
    }
}
