//! Quiet hours on the UTC line.

use chrono::{DateTime, Days, TimeZone, Utc};
use chrono_tz::Tz;
use furrowbell_config::local::instant;
use furrowbell_config::people::QuietHours;

/// The first instant at or after `now` that is not quiet.
pub fn after_quiet(now: DateTime<Utc>, quiet: QuietHours, zone: Tz) -> DateTime<Utc> {
    let local = now.with_timezone(&zone);
    let (date, time) = (local.date_naive(), local.time());
    let passes_midnight = quiet.from > quiet.until;
    let is_quiet = if passes_midnight {
        time >= quiet.from || time < quiet.until
    } else {
        time >= quiet.from && time < quiet.until
    };
    if !is_quiet {
        return now;
    }
    let ends_tomorrow = passes_midnight && time >= quiet.from;
    let date = if ends_tomorrow { date + Days::new(1) } else { date };
    let until = instant(date, quiet.until, zone);
    if until > now {
        return until;
    }
    // The hour comes twice, and this is its second pass.
    let second = zone.from_local_datetime(&date.and_time(quiet.until)).latest();
    second.map_or(now, |second| second.to_utc()).max(now)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{NaiveTime, TimeDelta};

    fn utc(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// Quiet 21:00-08:00 on 1 July 2026, computed with the IANA data through Python's zoneinfo.
    #[test]
    fn quiet_hours_end_at_eight_on_the_farms_own_clock() {
        let cases = [
            ("America/Phoenix", "2026-07-01T04:00:00Z", "2026-07-01T15:00:00Z"),
            ("America/Denver", "2026-07-01T03:00:00Z", "2026-07-01T14:00:00Z"),
            ("America/Boise", "2026-07-01T03:00:00Z", "2026-07-01T14:00:00Z"),
            ("America/Indiana/Indianapolis", "2026-07-01T01:00:00Z", "2026-07-01T12:00:00Z"),
            ("America/Anchorage", "2026-07-01T05:00:00Z", "2026-07-01T16:00:00Z"),
        ];
        for (zone, from, until) in cases {
            let zone: Tz = zone.parse().unwrap();
            let quiet = QuietHours::default();
            assert_eq!(after_quiet(utc(from), quiet, zone), utc(until), "{zone}");
            let before = utc(from) - TimeDelta::seconds(1);
            assert_eq!(after_quiet(before, quiet, zone), before, "{zone}");
            assert_eq!(after_quiet(utc(until), quiet, zone), utc(until), "{zone}");
        }
    }

    #[test]
    fn quiet_hours_that_end_in_a_repeated_hour_end_in_its_second_pass_too() {
        let until = NaiveTime::from_hms_opt(1, 45, 0).unwrap();
        let quiet = QuietHours { until, ..QuietHours::default() };
        let second_pass = utc("2026-11-01T07:30:00Z");
        let ends = after_quiet(second_pass, quiet, chrono_tz::America::Chicago);
        assert_eq!(ends, utc("2026-11-01T07:45:00Z"));
    }

    /// Chicago's clock through Python's zoneinfo.
    #[test]
    fn quiet_nights_end_on_the_wall_clock_over_changes_leap_day_and_new_year() {
        let quiet = QuietHours::default();
        for (night, morning) in [
            ("2026-03-08T04:00:00Z", "2026-03-08T13:00:00Z"),
            ("2026-11-01T03:00:00Z", "2026-11-01T14:00:00Z"),
            ("2028-02-29T04:00:00Z", "2028-02-29T14:00:00Z"),
            ("2028-03-01T04:00:00Z", "2028-03-01T14:00:00Z"),
            ("2027-01-01T04:00:00Z", "2027-01-01T14:00:00Z"),
        ] {
            let ends = after_quiet(utc(night), quiet, chrono_tz::America::Chicago);
            assert_eq!(ends, utc(morning), "{night}");
        }
        let until = NaiveTime::from_hms_opt(2, 30, 0).unwrap();
        let quiet = QuietHours { until, ..quiet };
        let ends = after_quiet(utc("2026-03-08T04:00:00Z"), quiet, chrono_tz::America::Chicago);
        assert_eq!(ends, utc("2026-03-08T08:00:00Z"), "02:30 does not come that night");
    }
}
