use super::*;
use proptest::prelude::*;

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn day(text: &str, high: f64, low: f64, rain: Option<f64>) -> FileDay {
    FileDay {
        high: Celsius::new(high).ok(),
        low: Celsius::new(low).ok(),
        rain: rain.and_then(|mm| Millimetres::new(mm).ok()),
        ..FileDay::unknown(date(text))
    }
}

fn kept() -> (tempfile::TempDir, History) {
    let folder = tempfile::tempdir().unwrap();
    let history = History { folder: folder.path().join("history") };
    (folder, history)
}

fn spot_of(latitude: f64, longitude: f64) -> Place<'static> {
    Place::Spot(Latitude::new(latitude).unwrap(), Longitude::new(longitude).unwrap())
}

#[test]
fn what_is_imported_twice_changes_nothing_the_second_time() {
    let (_folder, history) = kept();
    let place = spot_of(42.02, -93.77);
    let read = [day("2024-02-28", 27.777_777, 3.0, None), day("2024-02-29", 9.0, 1.0, Some(0.254))];
    let (days, change) = merge(&history.days(place).unwrap(), &read);
    assert_eq!(change, Change { new_days: 2, ..Change::default() });
    history.write(place, &days).unwrap();
    let on_file = history.days(place).unwrap();
    assert_eq!(on_file, days);
    let (again, change) = merge(&on_file, &read);
    assert_eq!((again, change), (days, Change::default()));
}

#[test]
fn a_later_import_fills_gaps_corrects_and_never_erases() {
    let old = [day("2023-05-01", 20.0, 10.0, None), day("2023-05-02", 21.0, 11.0, Some(3.0))];
    let gap = FileDay::unknown(date("2023-05-02"));
    let new = [
        day("2023-05-01", 20.0, 10.0, Some(5.0)),
        FileDay { wind: MetresPerSecond::new(2.0).ok(), ..gap },
    ];
    let (days, change) = merge(&old, &new);
    assert_eq!(change, Change { new_days: 0, new_values: 2, changed: 0 });
    assert_eq!(days[1].rain, old[1].rain);
    let (_, change) = merge(&days, &[day("2023-05-01", 19.0, 10.0, None)]);
    assert_eq!(change.changed, 1);
}

#[test]
fn a_morning_observers_rain_and_high_go_to_the_day_before_and_the_low_stays() {
    let read = [day("2023-05-01", 20.0, 10.0, Some(5.0)), day("2023-05-02", 22.0, 12.0, Some(0.0))];
    let days = of_a_morning_observer(&read);
    let dates: Vec<_> = days.iter().map(|day| day.date.to_string()).collect();
    assert_eq!(dates, ["2023-04-30", "2023-05-01", "2023-05-02"]);
    assert_eq!((days[0].rain, days[0].low), (read[0].rain, None));
    assert_eq!(
        (days[1].high, days[1].low, days[1].rain),
        (read[1].high, read[0].low, read[1].rain)
    );
    assert_eq!((days[2].high, days[2].low), (None, read[1].low));
}

#[test]
fn gaps_and_years_are_counted_and_a_leap_day_is_a_day() {
    let days = [
        day("2024-02-28", 9.0, 1.0, Some(0.0)),
        day("2024-03-01", 9.0, 1.0, Some(0.0)),
        day("2024-03-02", 9.0, 1.0, None),
        day("2024-12-31", 9.0, 1.0, Some(0.0)),
        day("2025-01-01", 9.0, 1.0, Some(0.0)),
    ];
    let gaps: Vec<_> = gaps(&days).iter().map(|(from, to)| format!("{from} {to}")).collect();
    assert_eq!(gaps, ["2024-02-29 2024-02-29", "2024-03-02 2024-12-30"]);
    assert_eq!(
        coverage(&days),
        [
            Coverage { year: 2024, temperatures: 4, rains: 3 },
            Coverage { year: 2025, temperatures: 1, rains: 1 }
        ]
    );
    assert_eq!(super::gaps(&days[1..3]), [(date("2024-03-02"), date("2024-03-02"))]);
    assert_eq!(super::gaps(&[]), []);
}

/// Great-circle distances by hand: one degree of latitude is 111 km; one of longitude at 42 N is
/// 111 km times the cosine of 42 degrees, 82.6 km.
#[test]
fn distances_are_those_of_the_map() {
    assert!((distance_km((42.0, -93.0), (43.0, -93.0)) - 111.1).abs() < 0.5);
    assert!((distance_km((42.0, -93.0), (42.0, -94.0)) - 82.6).abs() < 0.5);
}

proptest! {
    #[test]
    fn what_is_written_is_read_back(values in prop::collection::vec((-40.0..50.0_f64, prop::option::of(0.0..200.0_f64)), 1..40)) {
        let (_folder, history) = kept();
        let place = spot_of(42.0, -93.0);
        let first = date("2023-12-20");
        let read: Vec<_> = values
            .iter()
            .zip(first.iter_days())
            .map(|((low, rain), date)| day(&date.to_string(), low + 5.0, *low, *rain))
            .collect();
        let (days, _) = merge(&[], &read);
        history.write(place, &days).unwrap();
        prop_assert_eq!(history.days(place).unwrap(), days);
    }
}
