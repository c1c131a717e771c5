//! Days as people say them.

use chrono::{Datelike, NaiveDate, NaiveTime, TimeDelta, Timelike};
use furrowbell_config::people::Language;

const ENGLISH_MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const ENGLISH_WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
/// In full, since the short form of "marzo" is also that of "martes".
const SPANISH_MONTHS: [&str; 12] = [
    "enero",
    "febrero",
    "marzo",
    "abril",
    "mayo",
    "junio",
    "julio",
    "agosto",
    "septiembre",
    "octubre",
    "noviembre",
    "diciembre",
];
const SPANISH_WEEKDAYS: [&str; 7] = ["lun", "mar", "mié", "jue", "vie", "sáb", "dom"];

/// Short name of the weekday.
pub fn weekday(language: Language, date: NaiveDate) -> &'static str {
    let names = match language {
        Language::English => ENGLISH_WEEKDAYS,
        Language::Spanish => SPANISH_WEEKDAYS,
    };
    names[date.weekday().num_days_from_monday() as usize]
}

/// Weekday, month and day: "Wed May 27", "mié 27 mayo".
pub fn day(language: Language, date: NaiveDate) -> String {
    format!("{} {}", weekday(language, date), month_day(language, date))
}

/// Month and day, for lists where a weekday would only take room: "May 27", "27 mayo".
pub fn month_day(language: Language, date: NaiveDate) -> String {
    let (month, day) = (date.month0() as usize, date.day());
    match language {
        Language::English => format!("{} {day}", ENGLISH_MONTHS[month]),
        Language::Spanish => format!("{day} {}", SPANISH_MONTHS[month]),
    }
}

/// Two days and those between them: "May 9-15", "May 30-Jun 2", "9-15 mayo".
pub fn between(language: Language, first: NaiveDate, last: NaiveDate) -> String {
    let same_month = (first.year(), first.month()) == (last.year(), last.month());
    match language {
        Language::English if same_month => format!("{}-{}", month_day(language, first), last.day()),
        Language::Spanish if same_month => format!("{}-{}", first.day(), month_day(language, last)),
        _ => format!("{}-{}", month_day(language, first), month_day(language, last)),
    }
}

/// The weekday alone for one of the last six days, which it names without doubt; else [`day`].
pub fn recent_day(language: Language, date: NaiveDate, today: NaiveDate) -> String {
    let ago = today - date;
    if (TimeDelta::days(1)..=TimeDelta::days(6)).contains(&ago) {
        weekday(language, date).to_owned()
    } else {
        day(language, date)
    }
}

/// The time of day: "7:15 AM", "7:15".
pub fn time(language: Language, time: NaiveTime) -> String {
    let minute = time.minute();
    match (language, time.hour12()) {
        (Language::English, (afternoon, hour)) => {
            format!("{hour}:{minute:02} {}", if afternoon { "PM" } else { "AM" })
        }
        (Language::Spanish, _) => format!("{}:{minute:02}", time.hour()),
    }
}

/// Full hours of a day from one to another: "9-11 AM", "10 AM-2 PM", "10-14 h".
pub fn hours(language: Language, from: NaiveTime, to: NaiveTime) -> String {
    match (language, from.hour12(), to.hour12()) {
        (Language::English, (first, from), (last, to)) => {
            let half = |afternoon| if afternoon { "PM" } else { "AM" };
            let first = if first == last { String::new() } else { format!(" {}", half(first)) };
            format!("{from}{first}-{to} {}", half(last))
        }
        (Language::Spanish, ..) => format!("{}-{} h", from.hour(), to.hour()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// Weekdays from the Gregorian calendar: 27 May 2026 is a Wednesday, 1 March 2026 a Sunday.
    #[test]
    fn names_weekday_month_and_day() {
        assert_eq!(day(Language::English, date("2026-05-27")), "Wed May 27");
        assert_eq!(day(Language::Spanish, date("2026-05-27")), "mié 27 mayo");
        assert_eq!(day(Language::Spanish, date("2026-03-01")), "dom 1 marzo");
    }

    #[test]
    fn names_a_span_of_days_as_each_language_does() {
        let said = |language, first, last| between(language, date(first), date(last));
        assert_eq!(said(Language::English, "2026-05-09", "2026-05-15"), "May 9-15");
        assert_eq!(said(Language::English, "2026-05-30", "2026-06-02"), "May 30-Jun 2");
        assert_eq!(said(Language::Spanish, "2026-05-09", "2026-05-15"), "9-15 mayo");
    }

    #[test]
    fn tells_the_time_as_each_language_does() {
        let said = |language, hour, minute| {
            time(language, NaiveTime::from_hms_opt(hour, minute, 0).unwrap())
        };
        assert_eq!(said(Language::English, 0, 5), "12:05 AM");
        assert_eq!(said(Language::English, 19, 40), "7:40 PM");
        assert_eq!(said(Language::Spanish, 19, 40), "19:40");
    }

    #[test]
    fn tells_a_span_of_hours_as_each_language_does() {
        let said = |language, from, to| {
            let at = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap();
            hours(language, at(from), at(to))
        };
        assert_eq!(said(Language::English, 9, 11), "9-11 AM");
        assert_eq!(said(Language::English, 10, 14), "10 AM-2 PM");
        assert_eq!(said(Language::English, 9, 12), "9 AM-12 PM");
        assert_eq!(said(Language::Spanish, 9, 14), "9-14 h");
    }

    #[test]
    fn names_a_weekday_alone_only_within_the_last_week() {
        let said = |text| recent_day(Language::English, date(text), date("2026-05-27"));
        assert_eq!(said("2026-05-26"), "Tue");
        assert_eq!(said("2026-05-21"), "Thu");
        assert_eq!(said("2026-05-20"), "Wed May 20");
        assert_eq!(said("2026-05-27"), "Wed May 27");
        assert_eq!(said("2026-05-28"), "Thu May 28");
    }
}
