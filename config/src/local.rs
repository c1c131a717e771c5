//! Wall clocks of named zones on the UTC line.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

/// The longest skip on record is a whole day (Samoa, 2011).
const QUARTER_HOURS: i32 = 2 * 24 * 4;

/// The instant of a wall time.
///
/// A wall time that the clock skips is taken at the first quarter hour after the gap; one that it
/// repeats is taken the first time.
pub fn instant(date: NaiveDate, time: NaiveTime, zone: Tz) -> DateTime<Utc> {
    let wall = date.and_time(time);
    (0..QUARTER_HOURS)
        .filter_map(|quarter| wall.checked_add_signed(TimeDelta::minutes(15) * quarter))
        .find_map(|wall| zone.from_local_datetime(&wall).earliest())
        // Only the calendar's own first and last day have no place in some zone.
        .map_or(wall.and_utc(), |found| found.to_utc())
}

/// The instant at which a local day begins; where the clock skips midnight, the end of the gap.
pub fn start_of_day(date: NaiveDate, zone: Tz) -> DateTime<Utc> {
    instant(date, NaiveTime::MIN, zone)
}

/// The local day of an instant.
pub fn local_day(now: DateTime<Utc>, zone: Tz) -> NaiveDate {
    now.with_timezone(&zone).date_naive()
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::Chicago;
    use proptest::prelude::*;

    fn utc(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// Clocks changed on 2026-03-08 and 2026-11-01 in the US (Energy Policy Act of 2005, sec. 110).
    #[test]
    fn a_skipped_wall_time_is_taken_after_the_gap_and_a_repeated_one_first() {
        let at = |day: &str, time: &str| instant(date(day), time.parse().unwrap(), Chicago);
        assert_eq!(at("2026-03-08", "02:30:00"), utc("2026-03-08T08:00:00Z"));
        assert_eq!(at("2026-11-01", "01:30:00"), utc("2026-11-01T06:30:00Z"));
    }

    /// Beirut goes from 00:00 to 01:00 on the last Sunday of March (IANA time zone database).
    #[test]
    fn a_midnight_that_does_not_exist_starts_the_day_late() {
        let start = start_of_day(date("2026-03-29"), chrono_tz::Asia::Beirut);
        assert_eq!(start, utc("2026-03-28T22:00:00Z"));
        assert_eq!(local_day(start, chrono_tz::Asia::Beirut), date("2026-03-29"));
    }

    #[test]
    fn the_ends_of_the_calendar_do_not_panic() {
        for end in [NaiveDate::MIN, NaiveDate::MAX] {
            for time in [NaiveTime::MIN, NaiveTime::from_hms_opt(23, 59, 59).unwrap()] {
                for zone in [Chicago, chrono_tz::Asia::Tokyo] {
                    let _ = instant(end, time, zone);
                }
            }
        }
    }

    proptest! {
        #[test]
        fn days_follow_one_another_without_gap_or_overlap(number in 0_u64..60_000) {
            let day = NaiveDate::from_ymd_opt(1970, 1, 1).unwrap() + chrono::Days::new(number);
            let start = start_of_day(day, Chicago);
            prop_assert_eq!(local_day(start, Chicago), day);
            prop_assert_eq!(Some(local_day(start - TimeDelta::seconds(1), Chicago)), day.pred_opt());
        }
    }
}
