//! Hours into local calendar days.

use super::grid::Hour;
use chrono::NaiveDate;
use chrono_tz::Tz;
use furrowbell_config::local::start_of_day;
use furrowbell_engine::units::{Celsius, MetresPerSecond, Millimetres, Percent};
use furrowbell_engine::weather::{Day, Kind, Sourced};
use std::collections::BTreeMap;

/// Fewest known hours for a day's high, low or mean; with four missing the warmest and the coldest
/// hour are still likely among them (common practice, no source).
pub const ENOUGH_HOURS: usize = 20;

/// Puts hours together into the days of a zone, 23 or 25 hours long when clocks change.
///
/// High, low, mean humidity and mean wind need [`ENOUGH_HOURS`] of the day. Rain needs every hour:
/// a sum over some of them would count the others as dry. Of two hours with one start the later
/// counts. Days without a single hour are absent.
pub fn assemble(hours: &[Hour], zone: Tz, kind: Kind) -> Vec<Day> {
    let distinct: BTreeMap<_, _> = hours.iter().map(|hour| (hour.start, hour)).collect();
    let mut days = BTreeMap::<NaiveDate, Vec<&Hour>>::new();
    for (start, hour) in distinct {
        days.entry(start.with_timezone(&zone).date_naive()).or_default().push(hour);
    }
    days.into_iter().map(|(date, hours)| day(date, &hours, zone, kind)).collect()
}

fn day(date: NaiveDate, hours: &[&Hour], zone: Tz, kind: Kind) -> Day {
    let known = |of: fn(&Hour) -> Option<f64>| -> Vec<f64> {
        hours.iter().filter_map(|hour| of(hour)).collect()
    };
    let enough = |values: Vec<f64>| (values.len() >= ENOUGH_HOURS).then_some(values);
    let temps = enough(known(|hour| hour.temp_c)).unwrap_or_default();
    let extreme = |of: fn(f64, f64) -> f64| temps.iter().copied().reduce(of);
    let rain = known(|hour| hour.rain_mm);
    let whole = hours_in(date, zone).is_some_and(|all| rain.len() == all);
    Day {
        high: sourced(extreme(f64::max), kind, Celsius::new),
        low: sourced(extreme(f64::min), kind, Celsius::new),
        rain: sourced(whole.then(|| rain.iter().sum()), kind, Millimetres::new),
        humidity: sourced(enough(known(|hour| hour.humidity_pct)).map(mean), kind, Percent::new),
        wind: sourced(enough(known(|hour| hour.wind_mps)).map(mean), kind, MetresPerSecond::new),
        ..Day::unknown(date)
    }
}

/// A value outside its range is not believed: it stays unknown.
fn sourced<T, E>(
    value: Option<f64>,
    kind: Kind,
    make: fn(f64) -> Result<T, E>,
) -> Option<Sourced<T>> {
    value.and_then(|value| make(value).ok()).map(|value| Sourced { value, kind })
}

fn mean(values: Vec<f64>) -> f64 {
    let count = u32::try_from(values.len()).map_or(f64::INFINITY, f64::from);
    values.into_iter().sum::<f64>() / count
}

/// How many whole UTC hours begin within a local day.
fn hours_in(date: NaiveDate, zone: Tz) -> Option<usize> {
    let first_hour = |date| (start_of_day(date, zone).timestamp() - 1).div_euclid(3600);
    usize::try_from(first_hour(date.succ_opt()?) - first_hour(date)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;
    use chrono_tz::America::Chicago;
    use proptest::prelude::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// Hours that make up whole local days: the first warms by one degree an hour, 1 mm each.
    fn hours(from: &str, days: u64) -> Vec<Hour> {
        let start = start_of_day(date(from), Chicago);
        let end = start_of_day(date(from) + chrono::Days::new(days), Chicago);
        let count = (end - start).num_hours();
        (0..count)
            .map(|at| Hour {
                start: start + TimeDelta::hours(at),
                temp_c: Some(f64::from(u32::try_from(at).unwrap()).min(30.0)),
                rain_mm: Some(1.0),
                wind_mps: Some(4.0),
                humidity_pct: Some(60.0),
                ..Hour::default()
            })
            .collect()
    }

    fn rain(day: &Day) -> Option<f64> {
        day.rain.map(|rain| rain.value.get())
    }

    fn high(day: &Day) -> Option<f64> {
        day.high.map(|high| high.value.get())
    }

    /// Clocks changed on 2026-03-08 and 2026-11-01 in the US (Energy Policy Act of 2005, sec. 110).
    #[test]
    fn days_are_23_24_or_25_hours_long() {
        for (day, hours_of_it) in [("2026-03-08", 23.0), ("2026-05-01", 24.0), ("2026-11-01", 25.0)]
        {
            let days = assemble(&hours(day, 1), Chicago, Kind::Forecast);
            assert_eq!(days.len(), 1);
            assert_eq!((days[0].date, rain(&days[0])), (date(day), Some(hours_of_it)));
            assert_eq!(high(&days[0]), Some(hours_of_it - 1.0));
        }
    }

    #[test]
    fn an_hour_missing_leaves_the_rain_unknown_and_the_high_known() {
        let mut some = hours("2026-05-01", 1);
        some[12].rain_mm = None;
        let day = assemble(&some, Chicago, Kind::Forecast)[0];
        assert_eq!(day.rain, None);
        assert_eq!(day.low.map(|low| (low.value.get(), low.kind)), Some((0.0, Kind::Forecast)));
        assert_eq!(day.wind.map(|wind| wind.value.get()), Some(4.0));
        assert_eq!(day.solar, None);
    }

    #[test]
    fn nineteen_hours_give_no_high_and_twenty_do() {
        let all = hours("2026-05-01", 1);
        assert_eq!(assemble(&all[..19], Chicago, Kind::Forecast)[0].high, None);
        let day = assemble(&all[..20], Chicago, Kind::Forecast)[0];
        assert_eq!(high(&day), Some(19.0));
        assert_eq!(day.rain, None);
    }

    #[test]
    fn a_repeated_hour_counts_once() {
        let mut twice = hours("2026-05-01", 1);
        twice.extend(twice.clone());
        assert_eq!(rain(&assemble(&twice, Chicago, Kind::Model)[0]), Some(24.0));
    }

    /// Beirut goes from 00:00 to 01:00 on the last Sunday of March (IANA time zone database).
    #[test]
    fn a_midnight_that_does_not_exist_starts_the_day_late() {
        let zone = chrono_tz::Asia::Beirut;
        assert_eq!(hours_in(date("2026-03-29"), zone), Some(23));
        assert_eq!(hours_in(date("2026-03-28"), zone), Some(24));
    }

    proptest! {
        #[test]
        fn the_days_rain_is_the_hours_rain(amounts in prop::collection::vec(0.0..30.0_f64, 400), first in 0..360_u64) {
            let from = date("2026-01-01") + chrono::Days::new(first);
            let mut all = hours(&from.to_string(), 8);
            for (hour, amount) in all.iter_mut().zip(&amounts) {
                hour.rain_mm = Some(*amount);
            }
            let days = assemble(&all, Chicago, Kind::Forecast);
            prop_assert_eq!(days.len(), 8);
            let daily: f64 = days.iter().map(|day| rain(day).unwrap()).sum();
            let hourly: f64 = all.iter().filter_map(|hour| hour.rain_mm).sum();
            prop_assert!((daily - hourly).abs() < 1e-9);
        }
    }
}
