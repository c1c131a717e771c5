//! When spray hours are told.

use crate::field::{Field, date};
use chrono::{DateTime, Days, NaiveDate, TimeDelta};
use furrowbell_engine::clocks::spray_hours::{Refusal, SprayRun};
use furrowbell_engine::findings::{Evidence, Finding, Topic, Urgency};
use furrowbell_engine::journal::Event;
use furrowbell_engine::units::{Celsius, MetresPerSecond, Millimetres, Percent};
use furrowbell_engine::weather::Hour;

/// Three days of hours that suit from 7 to 19, with that wind.
fn hours(from: NaiveDate, wind_mph: f64) -> Vec<Hour> {
    let midnight = format!("{from}T00:00:00-05:00");
    let first = DateTime::parse_from_rfc3339(&midnight).unwrap();
    let hour = |at| Hour {
        temperature: Celsius::new(20.0).ok(),
        humidity: Percent::new(55.0).ok(),
        wind: MetresPerSecond::from_mph(wind_mph).ok(),
        gust: MetresPerSecond::from_mph(wind_mph + 3.0).ok(),
        cloud: Percent::new(20.0).ok(),
        rain: Millimetres::new(0.0).ok(),
        ..Hour::unknown(first + TimeDelta::hours(at))
    };
    (0..72).map(hour).collect()
}

fn told(field: &mut Field, today: NaiveDate, wind_mph: f64) -> Option<Finding> {
    field.hours = hours(today, wind_mph);
    field.find(today, Topic::SprayHours)
}

/// The days on which it is told with that wind, with what is told.
fn season(field: &mut Field, wind_mph: f64) -> Vec<(NaiveDate, Finding)> {
    let days = date(5, 1).iter_days().take(60);
    days.filter_map(|today| Some((today, told(field, today, wind_mph)?))).collect()
}

#[test]
fn spray_hours_go_to_the_digest_until_the_window_closes_soon() {
    let mut field = Field::corn();
    let told = season(&mut field, 7.0);
    let (first, _) = told[0];
    assert!(told.iter().all(|(_, finding)| finding.occasion == date(5, 1) && finding.provisional));
    let urgencies: Vec<_> = told.iter().map(|(_, f)| (f.urgency, f.version)).collect();
    assert!(urgencies.is_sorted(), "{urgencies:?}");
    for wanted in [(Urgency::Digest, 1), (Urgency::Routine, 1), (Urgency::Routine, 2)] {
        assert!(urgencies.contains(&wanted), "{wanted:?} in {urgencies:?}");
    }
    let now = field.on(first).now.unwrap();
    assert!(now.post_window.unwrap().opening.unwrap().on <= first);
    field.note(first, Event::PostApplied { ingredients: Vec::new() });
    assert_eq!(season(&mut field, 7.0), []);
}

#[test]
fn the_longest_run_of_today_and_of_the_day_after_is_named() {
    let mut field = Field::corn();
    let (today, finding) = season(&mut field, 7.0).remove(0);
    let tomorrow = today + Days::new(1);
    let Evidence::SprayHours { runs, refused: None } = finding.evidence else { panic!() };
    assert_eq!(runs.iter().map(SprayRun::date).collect::<Vec<_>>(), [today, tomorrow]);
    assert_eq!(finding.act_by, Some(tomorrow));

    // A shower at 11 leaves the afternoon and little of the morning.
    field.hours = hours(today, 7.0);
    field.hours[11].rain = Millimetres::new(3.0).ok();
    let finding = field.find(today, Topic::SprayHours).unwrap();
    let Evidence::SprayHours { runs, .. } = finding.evidence else { panic!() };
    assert_eq!((runs[0].from, runs[0].to), (field.hours[12].start, field.hours[19].start));
}

#[test]
fn a_windy_forecast_names_the_wind_and_no_forecast_names_nothing() {
    let mut field = Field::corn();
    let (today, finding) = season(&mut field, 14.0).remove(0);
    let wind = Evidence::SprayHours { runs: Vec::new(), refused: Some(Refusal::Wind) };
    assert_eq!(finding.evidence, wind);
    assert!(finding.act_by.unwrap() >= today);
    field.hours.clear();
    assert_eq!(field.find(today, Topic::SprayHours), None);
    field.plan.post = None;
    assert_eq!(season(&mut field, 7.0), []);
}
