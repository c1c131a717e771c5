//! What was observed, or worked out afterwards, over a day at a place, with the period it covers.

use super::source::SourceName;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::local::{instant, start_of_day};
use furrowbell_engine::weather::Kind;

/// Longest period that is still given to one day: a day of 25 hours and an observer who comes late.
const ONE_DAY: TimeDelta = TimeDelta::hours(30);
/// How far a period may be off the local day and still count as that day.
const SAME_DAY: TimeDelta = TimeDelta::minutes(61);
/// The hour by which a night's low has mostly been reached (common practice, no source).
const DAWN: NaiveTime = NaiveTime::from_hms_opt(6, 0, 0).unwrap();

/// One day, or a total of several, at one place from one source. Each value stands or is missing
/// on its own; missing is never zero.
#[derive(Debug, Clone, PartialEq)]
pub struct ObservedDay {
    /// A spot's id (`41.21,-96.49`) or a station's (`acis:ID`, `ghcn:ID`).
    pub place: String,
    /// Who says so.
    pub source: SourceName,
    /// The date as the source labels it. At stations read in the morning most of the rain fell
    /// the day before.
    pub date: NaiveDate,
    /// First moment of the period.
    pub starts_at: DateTime<Utc>,
    /// First moment after the period.
    pub ends_at: DateTime<Utc>,
    /// How it is known.
    pub kind: Kind,
    /// Rain and melted snow over the period, mm.
    pub rain_mm: Option<f64>,
    /// Highest air temperature, C.
    pub high_c: Option<f64>,
    /// Lowest air temperature, C.
    pub low_c: Option<f64>,
    /// Mean relative humidity, percent.
    pub humidity_pct: Option<f64>,
    /// Mean wind, m/s.
    pub wind_mps: Option<f64>,
    /// Solar radiation sum, MJ/m2.
    pub solar_mj: Option<f64>,
    /// Highest soil temperature at 4 inches (10 cm), C.
    pub soil_high_c: Option<f64>,
    /// Lowest soil temperature at 4 inches (10 cm), C.
    pub soil_low_c: Option<f64>,
    /// Whether the rain was seen but too little to measure; the rain is then known and zero.
    pub trace: bool,
    /// When the source made it, where it says so.
    pub issued_at: Option<DateTime<Utc>>,
    /// When it was fetched.
    pub fetched_at: DateTime<Utc>,
}

impl ObservedDay {
    /// A day of which nothing is known.
    pub const fn unknown(
        place: String,
        source: SourceName,
        kind: Kind,
        date: NaiveDate,
        (starts_at, ends_at): (DateTime<Utc>, DateTime<Utc>),
        fetched_at: DateTime<Utc>,
    ) -> Self {
        Self {
            place,
            source,
            date,
            starts_at,
            ends_at,
            kind,
            rain_mm: None,
            high_c: None,
            low_c: None,
            humidity_pct: None,
            wind_mps: None,
            solar_mj: None,
            soil_high_c: None,
            soil_low_c: None,
            trace: false,
            issued_at: None,
            fetched_at,
        }
    }

    /// Whether anything at all is known.
    pub fn says_something(&self) -> bool {
        [
            self.rain_mm,
            self.high_c,
            self.low_c,
            self.humidity_pct,
            self.wind_mps,
            self.solar_mj,
            self.soil_high_c,
            self.soil_low_c,
        ]
        .iter()
        .any(Option::is_some)
    }

    /// The local day that most of the period lies in; `None` for a total of several days, which
    /// serves no single one.
    pub fn local_day(&self, zone: Tz) -> Option<NaiveDate> {
        let whole = self.ends_at - self.starts_at;
        if whole <= TimeDelta::zero() || whole > ONE_DAY {
            return None;
        }
        // The middle of so short a period lies in the day that holds most of it; of two halves
        // the earlier day has it.
        let middle = self.starts_at + whole / 2 - TimeDelta::microseconds(1);
        Some(middle.with_timezone(&zone).date_naive())
    }

    /// The local day whose night the low belongs to: the last one whose dawn lies in the period.
    /// A morning observer's low is that of the morning itself, while his rain and his high are
    /// mostly of the day before.
    pub fn day_of_low(&self, zone: Tz) -> Option<NaiveDate> {
        let own = self.local_day(zone)?;
        let last = self.ends_at.with_timezone(&zone).date_naive();
        let dawned = |date: NaiveDate| instant(date, DAWN, zone) <= self.ends_at;
        let night = if dawned(last) { last } else { last.pred_opt()? };
        Some(if instant(night, DAWN, zone) > self.starts_at { night } else { own })
    }

    /// Whether the period is the local day itself, give or take an hour.
    pub fn is_of_midnight(&self, zone: Tz) -> bool {
        let Some(date) = self.local_day(zone) else { return false };
        let (start, end) = local_period(date, zone);
        (self.starts_at - start).abs() < SAME_DAY && (self.ends_at - end).abs() < SAME_DAY
    }
}

/// First moment of a local day and of the next: 23, 24 or 25 hours apart.
pub fn local_period(date: NaiveDate, zone: Tz) -> (DateTime<Utc>, DateTime<Utc>) {
    (start_of_day(date, zone), start_of_day(date + Days::new(1), zone))
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::{Chicago, New_York};
    use proptest::prelude::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn over(from: &str, until: &str) -> ObservedDay {
        let (from, until): (DateTime<Utc>, DateTime<Utc>) =
            (from.parse().unwrap(), until.parse().unwrap());
        let label = until.date_naive();
        let place = "acis:1".to_owned();
        ObservedDay::unknown(place, SourceName::Acis, Kind::Station, label, (from, until), until)
    }

    /// 7 a.m. in Iowa is 12 UTC in summer.
    #[test]
    fn a_morning_observers_rain_is_the_day_befores_and_his_low_the_mornings_own() {
        let day = over("2026-05-09T12:00:00Z", "2026-05-10T12:00:00Z");
        assert_eq!(day.local_day(Chicago), Some(date("2026-05-09")));
        assert_eq!(day.day_of_low(Chicago), Some(date("2026-05-10")));
        assert!(!day.is_of_midnight(Chicago));
        let evening = over("2026-05-09T22:00:00Z", "2026-05-10T22:00:00Z");
        assert_eq!(evening.local_day(Chicago), Some(date("2026-05-10")));
        assert_eq!(evening.day_of_low(Chicago), Some(date("2026-05-10")));
    }

    proptest! {
        #[test]
        fn no_other_day_holds_more_of_the_period(hour in 0..8_760_i64, length in 1..30_i64) {
            let from = date("2026-01-01").and_time(NaiveTime::MIN).and_utc() + TimeDelta::hours(hour);
            let mut day = over("2026-05-09T12:00:00Z", "2026-05-10T12:00:00Z");
            (day.starts_at, day.ends_at) = (from, from + TimeDelta::hours(length));
            let held = |date: NaiveDate| {
                let (start, end) = local_period(date, Chicago);
                (day.ends_at.min(end) - day.starts_at.max(start)).max(TimeDelta::zero())
            };
            let own = day.local_day(Chicago).unwrap();
            for other in [own.pred_opt().unwrap(), own.succ_opt().unwrap()] {
                prop_assert!(held(other) <= held(own), "{own} {other}");
            }
        }
    }

    #[test]
    fn a_midnight_day_is_its_own_even_an_hour_off() {
        let day = over("2026-05-09T05:00:00Z", "2026-05-10T05:00:00Z");
        for zone in [Chicago, New_York] {
            assert_eq!(day.local_day(zone), Some(date("2026-05-09")));
            assert_eq!(day.day_of_low(zone), Some(date("2026-05-09")));
            assert!(day.is_of_midnight(zone));
        }
    }

    #[test]
    fn a_total_of_several_days_serves_no_single_one() {
        let three = over("2026-05-07T12:00:00Z", "2026-05-10T12:00:00Z");
        assert_eq!((three.local_day(Chicago), three.day_of_low(Chicago)), (None, None));
        let none = over("2026-05-10T12:00:00Z", "2026-05-10T12:00:00Z");
        assert_eq!(none.local_day(Chicago), None);
    }

    /// Clocks changed on 2026-03-08 and 2026-11-01 in the US (Energy Policy Act of 2005, sec. 110).
    #[test]
    fn local_days_have_23_24_or_25_hours() {
        for (day, hours) in
            [("2026-03-08", 23), ("2026-05-01", 24), ("2026-11-01", 25), ("2028-02-29", 24)]
        {
            let (start, end) = local_period(date(day), Chicago);
            assert_eq!((end - start).num_hours(), hours, "{day}");
            let mut whole = over("2026-05-09T05:00:00Z", "2026-05-10T05:00:00Z");
            (whole.starts_at, whole.ends_at) = (start, end);
            assert_eq!(whole.local_day(Chicago), Some(date(day)));
            assert!(whole.is_of_midnight(Chicago));
        }
    }
}
