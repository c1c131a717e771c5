//! Cron times on a wall clock.
//!
//! A schedule is five fields (minute, hour, day of month, month, weekday) read on the wall clock of
//! a named zone. Where the clock skips an hour, a time inside the gap falls on the first quarter
//! hour after it; where the clock repeats an hour, a time in it falls on the first pass only. So a
//! daily schedule comes once on every local date.

use crate::local;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use std::str::FromStr;

/// A schedule that can come.
#[derive(Debug, Clone)]
pub struct Schedule {
    wall: cron::Schedule,
}

/// Why a text is no schedule.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotASchedule {
    /// Too few or too many fields.
    #[error("has {0} fields; want five: minute, hour, day of month, month, weekday")]
    FieldCount(usize),
    /// A weekday by number, which programs count differently.
    #[error("has the weekday \"{0}\"; want names from Mon to Sun, or *")]
    WeekdayNumber(String),
    /// A day of month together with a weekday.
    #[error("has a day of month and a weekday; set one of them to *")]
    TwoKindsOfDay,
    /// A field that cannot be read.
    #[error("cannot be read; want for example \"30 5 * * *\" or \"0 6 * * Mon-Fri\"")]
    Unreadable,
    /// A day that no calendar has.
    #[error("names a day that never comes")]
    NeverComes,
}

impl Schedule {
    /// Reads five cron fields.
    pub fn parse(text: &str) -> Result<Self, NotASchedule> {
        let fields: Vec<&str> = text.split_whitespace().collect();
        let &[_, _, day, _, weekday] = fields.as_slice() else {
            return Err(NotASchedule::FieldCount(fields.len()));
        };
        if weekday.contains(|c: char| c.is_ascii_digit()) {
            return Err(NotASchedule::WeekdayNumber(weekday.to_owned()));
        }
        let any = ["*", "?"];
        if !any.contains(&day) && !any.contains(&weekday) {
            return Err(NotASchedule::TwoKindsOfDay);
        }
        // The crate's own grammar has the seconds in front.
        let wall = cron::Schedule::from_str(&format!("0 {}", fields.join(" ")))
            .map_err(|_| NotASchedule::Unreadable)?;
        let start = DateTime::<Utc>::UNIX_EPOCH;
        wall.after(&start).next().ok_or(NotASchedule::NeverComes)?;
        Ok(Self { wall })
    }

    /// The next time after `now` on the wall clock of `zone`; `None` only past the crate's last
    /// year, 2100.
    pub fn next_after(&self, now: DateTime<Utc>, zone: Tz) -> Option<DateTime<Utc>> {
        let wall_now = now.with_timezone(&zone).naive_local().and_utc();
        self.wall
            .after(&wall_now)
            .map(|wall| local::instant(wall.date_naive(), wall.time(), zone))
            .find(|moment| *moment > now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::Chicago;
    use proptest::prelude::*;

    fn utc(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn run(schedule: &str, from: &str, count: usize) -> Vec<String> {
        let schedule = Schedule::parse(schedule).unwrap();
        let mut now = utc(from);
        let mut out = Vec::new();
        for _ in 0..count {
            now = schedule.next_after(now, Chicago).unwrap();
            out.push(now.with_timezone(&Chicago).format("%m-%d %H:%M %Z").to_string());
        }
        out
    }

    /// Moments worked out with the IANA zone tables by another program (Python's zoneinfo).
    #[test]
    fn half_past_five_keeps_to_the_wall_clock() {
        let digest = Schedule::parse("30 5 * * *").unwrap();
        for (day, moment) in [
            ("2026-03-07T06:00:00Z", "2026-03-07T11:30:00Z"),
            ("2026-03-08T06:00:00Z", "2026-03-08T10:30:00Z"),
            ("2026-10-31T05:00:00Z", "2026-10-31T10:30:00Z"),
            ("2026-11-01T05:00:00Z", "2026-11-01T11:30:00Z"),
            ("2027-03-14T06:00:00Z", "2027-03-14T10:30:00Z"),
            ("2027-11-07T05:00:00Z", "2027-11-07T11:30:00Z"),
        ] {
            assert_eq!(digest.next_after(utc(day), Chicago), Some(utc(moment)), "{day}");
        }
    }

    #[test]
    fn a_skipped_time_falls_on_the_first_quarter_hour_after_the_gap() {
        assert_eq!(
            run("30 2 * * *", "2026-03-07T12:00:00Z", 2),
            ["03-08 03:00 CDT", "03-09 02:30 CDT"]
        );
    }

    #[test]
    fn a_repeated_time_comes_once_on_the_first_pass() {
        assert_eq!(
            run("30 1 * * *", "2026-10-31T12:00:00Z", 2),
            ["11-01 01:30 CDT", "11-02 01:30 CST"]
        );
        assert_eq!(
            run("0,30 * * * *", "2026-11-01T05:45:00Z", 4),
            ["11-01 01:00 CDT", "11-01 01:30 CDT", "11-01 02:00 CST", "11-01 02:30 CST"]
        );
        assert_eq!(
            run("0 * * * *", "2026-11-01T05:30:00Z", 2),
            ["11-01 01:00 CDT", "11-01 02:00 CST"]
        );
    }

    #[test]
    fn a_whole_day_left_out_moves_to_the_next() {
        // Samoa went from 29 December 2011 straight to the 31st.
        let daily = Schedule::parse("0 6 30 12 *").unwrap();
        let next = daily.next_after(utc("2011-12-29T20:00:00Z"), chrono_tz::Pacific::Apia);
        assert_eq!(next, Some(utc("2011-12-30T10:00:00Z")));
    }

    #[test]
    fn leap_day_and_new_year_are_days_like_others() {
        assert_eq!(
            run("30 5 * * *", "2028-02-28T12:00:00Z", 2),
            ["02-29 05:30 CST", "03-01 05:30 CST"]
        );
        assert_eq!(
            run("30 5 * * *", "2026-12-30T12:00:00Z", 3),
            ["12-31 05:30 CST", "01-01 05:30 CST", "01-02 05:30 CST"]
        );
        let leap = Schedule::parse("0 6 29 2 *").unwrap();
        let next = leap.next_after(utc("2026-03-01T00:00:00Z"), Chicago);
        assert_eq!(next, Some(utc("2028-02-29T12:00:00Z")));
    }

    #[test]
    fn weekdays_go_by_name() {
        assert_eq!(
            run("0 6 * * Mon-Fri", "2026-05-01T12:00:00Z", 2),
            ["05-04 06:00 CDT", "05-05 06:00 CDT"]
        );
        let refused = |text: &str| Schedule::parse(text).unwrap_err();
        assert_eq!(refused("0 6 * * 1"), NotASchedule::WeekdayNumber("1".to_owned()));
        assert_eq!(refused("0 6 1 * Mon"), NotASchedule::TwoKindsOfDay);
        assert_eq!(refused("0 0 6 * * *"), NotASchedule::FieldCount(6));
        assert_eq!(refused("0 25 * * *"), NotASchedule::Unreadable);
        assert_eq!(refused("0 6 L * *"), NotASchedule::Unreadable);
        assert_eq!(refused("0 6 30 2 *"), NotASchedule::NeverComes);
    }

    proptest! {
        #[test]
        fn daily_comes_once_on_every_local_date(
            hour in 0_u32..24, minute in 0_u32..60, start in 0_i64..4_000_000_000,
        ) {
            let daily = Schedule::parse(&format!("{minute} {hour} * * *")).unwrap();
            let mut now = DateTime::from_timestamp(start, 0).unwrap();
            let mut last = None;
            for _ in 0..400 {
                let next = daily.next_after(now, Chicago).unwrap();
                prop_assert!(next > now);
                let date = next.with_timezone(&Chicago).date_naive();
                prop_assert!(last.is_none_or(|last: chrono::NaiveDate| last.succ_opt() == Some(date)));
                (now, last) = (next, Some(date));
            }
        }

        #[test]
        fn no_text_panics(text in ".{0,40}") {
            let _ = Schedule::parse(&text);
        }
    }
}
