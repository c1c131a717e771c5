//! Periods of time as ISO 8601 writes them: `start/duration`, `start/end`, `duration/end`.

use chrono::{DateTime, TimeDelta, Utc};
use std::str::FromStr;

/// A period from `start` up to, not including, `end`. Never empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interval {
    start: DateTime<Utc>,
    end: DateTime<Utc>,
}

/// A text that is no period.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{found}` is not a period; allowed are start/duration and start/end, as in \
     2026-05-01T06:00:00+00:00/PT6H, with a duration of days, hours and minutes above zero"
)]
pub struct IntervalFault {
    /// The text, cut to a printable length.
    pub found: String,
}

impl Interval {
    /// The period between two instants; `None` unless `start` is before `end`.
    pub fn new(start: DateTime<Utc>, end: DateTime<Utc>) -> Option<Self> {
        (start < end).then_some(Self { start, end })
    }

    /// First instant inside.
    pub const fn start(self) -> DateTime<Utc> {
        self.start
    }

    /// First instant after.
    pub const fn end(self) -> DateTime<Utc> {
        self.end
    }

    /// Length in seconds, above zero.
    pub fn seconds(self) -> i64 {
        (self.end - self.start).num_seconds()
    }
}

impl FromStr for Interval {
    type Err = IntervalFault;

    fn from_str(text: &str) -> Result<Self, IntervalFault> {
        parse(text).ok_or_else(|| IntervalFault { found: text.chars().take(80).collect() })
    }
}

fn parse(text: &str) -> Option<Interval> {
    let (left, right) = text.split_once('/')?;
    let (start, end) = match (left.starts_with('P'), right.starts_with('P')) {
        (false, true) => {
            let start = instant(left)?;
            (start, start.checked_add_signed(duration(right)?)?)
        }
        (true, false) => {
            let end = instant(right)?;
            (end.checked_sub_signed(duration(left)?)?, end)
        }
        _ => (instant(left)?, instant(right)?),
    };
    Interval::new(start, end)
}

fn instant(text: &str) -> Option<DateTime<Utc>> {
    DateTime::parse_from_rfc3339(text).ok().map(|time| time.to_utc())
}

/// `P[nD][T[nH][nM]]`. Years and months have no fixed length and are refused.
fn duration(text: &str) -> Option<TimeDelta> {
    let body = text.strip_prefix('P')?;
    let (date, time) = match body.split_once('T') {
        Some((_, "")) => return None,
        Some(parts) => parts,
        None => (body, ""),
    };
    let (days, date) = part(date, 'D')?;
    let (hours, time) = part(time, 'H')?;
    let (minutes, time) = part(time, 'M')?;
    let whole = date.is_empty() && time.is_empty();
    whole.then(|| TimeDelta::minutes((days * 24 + hours) * 60 + minutes))
}

/// Reads `n` before `unit` off the front; an absent unit is zero.
fn part(text: &str, unit: char) -> Option<(i64, &str)> {
    let Some((digits, rest)) = text.split_once(unit) else { return Some((0, text)) };
    let plain = (1..=6).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
    plain.then(|| digits.parse().ok())?.map(|number| (number, rest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn minutes(duration: &str) -> Option<i64> {
        let text = format!("2026-05-01T06:00:00+00:00/{duration}");
        text.parse().ok().map(|interval: Interval| interval.seconds() / 60)
    }

    /// Every form of duration in grids recorded from 2022 to 2026 (api.weather.gov).
    #[test]
    fn reads_every_duration_seen_in_recorded_grids() {
        for hours in 1..=22 {
            assert_eq!(minutes(&format!("PT{hours}H")), Some(hours * 60));
        }
        let seen = [
            ("P1D", 24),
            ("P1DT5H", 29),
            ("P1DT10H", 34),
            ("P1DT13H", 37),
            ("P1DT18H", 42),
            ("P2D", 48),
            ("P2DT15H", 63),
            ("P2DT18H", 66),
            ("P4DT12H", 108),
            ("P7DT14H", 182),
            ("P8DT1H", 193),
        ];
        for (text, hours) in seen {
            assert_eq!(minutes(text), Some(hours * 60), "{text}");
        }
        assert_eq!(minutes("PT30M"), Some(30));
        assert_eq!(minutes("PT1H30M"), Some(90));
    }

    #[test]
    fn refuses_what_has_no_fixed_length_or_none_at_all() {
        for text in
            ["P", "PT", "P0D", "PT0H", "P1M", "P1Y", "P1W", "PT5", "P1DT", "P-1D", "PT1.5H", "P1H"]
        {
            assert_eq!(minutes(text), None, "{text}");
        }
        for text in ["", "/", "undefined/PT1H", "NOW/PT1H", "PT1H/PT1H", "2026-05-01/PT1H"] {
            assert!(text.parse::<Interval>().is_err(), "{text}");
        }
    }

    #[test]
    fn the_three_forms_and_local_offsets_name_one_period() {
        let forms = [
            "2026-05-01T06:00:00+00:00/PT6H",
            "2026-05-01T06:00:00Z/2026-05-01T12:00:00Z",
            "PT6H/2026-05-01T12:00:00Z",
            "2026-05-01T01:00:00-05:00/PT6H",
        ];
        let read = forms.map(|text| text.parse::<Interval>().unwrap());
        assert!(read.iter().all(|interval| *interval == read[0]));
        assert!("2026-05-01T06:00:00Z/2026-05-01T06:00:00Z".parse::<Interval>().is_err());
    }

    proptest! {
        #[test]
        fn never_panics(text in "\\PC{0,60}") {
            let _ = text.parse::<Interval>();
        }

        #[test]
        fn never_panics_near_the_real_form(text in "[0-9]{4,6}-05-01T06:00:00(Z|[+]00:00)/P?[0-9DTHM/]{0,14}") {
            if let Ok(interval) = text.parse::<Interval>() {
                prop_assert!(interval.start() < interval.end());
            }
        }
    }
}
