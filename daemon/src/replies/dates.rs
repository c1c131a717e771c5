//! Days as people name them in a reply.

use chrono::{Datelike, Days, NaiveDate, Weekday};

/// A record further back than this is more likely a slip than news.
const LONGEST_BACK_DAYS: u64 = 200;

/// A day as it was named.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateWord {
    /// Today.
    Today,
    /// Yesterday, last night.
    Yesterday,
    /// So many days ago.
    DaysAgo(u8),
    /// The latest such day, today included.
    Weekday(Weekday),
    /// The latest such day before today.
    LastWeekday(Weekday),
    /// Month and day, with the year when it was said.
    Day {
        /// Month, 1 to 12.
        month: u32,
        /// Day of the month.
        day: u32,
        /// Year.
        year: Option<i32>,
    },
}

/// The local day that was meant: never after `today`, nor so far back that it must be a slip.
pub fn resolve(word: DateWord, today: NaiveDate) -> Option<NaiveDate> {
    let back = |days: u64| today.checked_sub_days(Days::new(days));
    let latest = |weekday: Weekday, before: NaiveDate| {
        let days = before.weekday().days_since(weekday);
        before.checked_sub_days(Days::new(days.into()))
    };
    let date = match word {
        DateWord::Today => today,
        DateWord::Yesterday => back(1)?,
        DateWord::DaysAgo(days) => back(days.into())?,
        DateWord::Weekday(weekday) => latest(weekday, today)?,
        DateWord::LastWeekday(weekday) => latest(weekday, back(1)?)?,
        DateWord::Day { month, day, year: Some(year) } => {
            NaiveDate::from_ymd_opt(year, month, day)?
        }
        DateWord::Day { month, day, year: None } => [today.year(), today.year() - 1]
            .into_iter()
            .filter_map(|year| NaiveDate::from_ymd_opt(year, month, day))
            .find(|date| *date <= today)?,
    };
    (back(LONGEST_BACK_DAYS)?..=today).contains(&date).then_some(date)
}

/// Takes the day named at the start of `words`: the day and how many words it took.
pub(super) fn read(words: &[String]) -> Option<(DateWord, usize)> {
    let word = |position: usize| words.get(position).map_or("", String::as_str);
    let (first, second, third) = (word(0), word(1), word(2));
    let number = |text: &str| text.parse::<u8>().ok();
    match (first, second, third) {
        ("this", "morning" | "afternoon" | "evening", _) => return Some((DateWord::Today, 2)),
        ("last", "night", _) => return Some((DateWord::Yesterday, 2)),
        ("last", _, _) => return Some((DateWord::LastWeekday(weekday(second)?), 2)),
        ("today" | "hoy", ..) => return Some((DateWord::Today, 1)),
        ("yesterday" | "yest" | "yday" | "ayer", ..) => return Some((DateWord::Yesterday, 1)),
        (_, "day" | "days", "ago") => return Some((DateWord::DaysAgo(number(first)?), 3)),
        _ => {}
    }
    if let Some(weekday) = weekday(first) {
        return Some((DateWord::Weekday(weekday), 1));
    }
    if let Some(month) = month(first) {
        let day = number(second.trim_end_matches(|letter: char| letter.is_ascii_alphabetic()))?;
        let word = DateWord::Day { month, day: day.into(), year: None };
        return (1..=31).contains(&day).then_some((word, 2));
    }
    numeric(first).map(|word| (word, 1))
}

/// Reads `4/28`, `4-28`, `4/28/26` and `4/28/2026`.
fn numeric(text: &str) -> Option<DateWord> {
    // In a reply these are quarters of a section or of an inch; nobody works a field then.
    if ["1/2", "1/4", "1/8"].contains(&text) {
        return None;
    }
    let mut parts = text.split(['/', '-']);
    let month = parts.next()?.parse().ok().filter(|month| (1..=12).contains(month))?;
    let day = parts.next()?.parse().ok().filter(|day| (1..=31).contains(day))?;
    let year = match parts.next() {
        None => None,
        Some(year) => match year.parse().ok()? {
            short @ 0..=99 => Some(2000 + short),
            whole @ 2000..=2999 => Some(whole),
            _ => return None,
        },
    };
    parts.next().is_none().then_some(DateWord::Day { month, day, year })
}

fn weekday(word: &str) -> Option<Weekday> {
    Some(match word {
        "mon" | "monday" | "lunes" => Weekday::Mon,
        "tue" | "tues" | "tuesday" | "martes" => Weekday::Tue,
        "wed" | "weds" | "wednesday" | "miercoles" => Weekday::Wed,
        "thu" | "thur" | "thurs" | "thursday" | "jueves" => Weekday::Thu,
        "fri" | "friday" | "viernes" => Weekday::Fri,
        "sat" | "saturday" | "sabado" => Weekday::Sat,
        "sun" | "sunday" | "domingo" => Weekday::Sun,
        _ => return None,
    })
}

fn month(word: &str) -> Option<u32> {
    Some(match word {
        "jan" | "january" => 1,
        "feb" | "february" => 2,
        "mar" | "march" => 3,
        "apr" | "april" => 4,
        "may" => 5,
        "jun" | "june" => 6,
        "jul" | "july" => 7,
        "aug" | "august" => 8,
        "sep" | "sept" | "september" => 9,
        "oct" | "october" => 10,
        "nov" | "november" => 11,
        "dec" | "december" => 12,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn day(month: u32, day: u32, year: Option<i32>) -> DateWord {
        DateWord::Day { month, day, year }
    }

    #[test]
    fn days_are_placed_at_or_before_today() {
        // 20 May 2026 is a Wednesday.
        let today = date("2026-05-20");
        for (word, expected) in [
            (DateWord::Today, "2026-05-20"),
            (DateWord::Yesterday, "2026-05-19"),
            (DateWord::DaysAgo(3), "2026-05-17"),
            (DateWord::Weekday(Weekday::Wed), "2026-05-20"),
            (DateWord::LastWeekday(Weekday::Wed), "2026-05-13"),
            (DateWord::Weekday(Weekday::Tue), "2026-05-19"),
            (DateWord::Weekday(Weekday::Thu), "2026-05-14"),
            (day(4, 28, None), "2026-04-28"),
            (day(4, 28, Some(2026)), "2026-04-28"),
        ] {
            assert_eq!(resolve(word, today), Some(date(expected)), "{word:?}");
        }
        assert_eq!(resolve(day(12, 30, None), date("2027-01-02")), Some(date("2026-12-30")));
    }

    #[test]
    fn a_slip_is_no_day() {
        let today = date("2026-05-20");
        // Tomorrow could only mean last year's; so it is refused as well.
        for word in
            [day(5, 21, None), day(2, 30, None), day(4, 28, Some(2025)), day(5, 21, Some(2026))]
        {
            assert_eq!(resolve(word, today), None, "{word:?}");
        }
    }

    proptest! {
        #[test]
        fn no_day_lies_ahead(month in 1u32..=12, number in 1u32..=31, back in 0i64..4000) {
            let today = date("2036-12-31") - chrono::TimeDelta::days(back);
            if let Some(found) = resolve(day(month, number, None), today) {
                prop_assert!(found <= today);
                prop_assert_eq!((found.month(), found.day()), (month, number));
            }
        }
    }
}
