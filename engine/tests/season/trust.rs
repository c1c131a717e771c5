//! What is raised while weather is missing, and ground that hovers.

use crate::field::{Field, date};
use chrono::NaiveDate;
use furrowbell_engine::findings::{Finding, Topic, Urgency};
use furrowbell_engine::told::{MATERIAL_SOIL_F, Stand, stand};
use furrowbell_engine::units::Celsius;
use furrowbell_engine::weather::{Day, Kind, Sourced};
use proptest::prelude::*;

fn blind(field: &mut Field, from: NaiveDate, days: usize) {
    for day in from.iter_days().take(days) {
        *field.day(day) = Day::unknown(day);
    }
}

#[test]
fn ten_days_without_weather_raise_the_gap_alone_and_heal_when_data_return() {
    let whole = Field::corn();
    let mut field = Field::corn();
    blind(&mut field, date(5, 12), 10);
    let today = date(5, 21);
    let findings = field.on(today).findings;
    let topics: Vec<_> = findings.iter().map(Finding::topic).collect();
    assert_eq!(topics, [Topic::WeatherGap], "a guess would be told");
    assert_eq!((findings[0].urgency, findings[0].occasion), (Urgency::Digest, date(5, 12)));
    let seen = whole.on(today).findings;
    assert!(seen.iter().any(|finding| finding.urgency > Urgency::Digest), "else it proves nothing");

    // Data return for every day missed: the season is as if nothing had been missing, and what has
    // lost its sense meanwhile is not raised.
    field.days.clone_from(&whole.days);
    assert_eq!(field.on(today), whole.on(today));
    assert!(field.on(today).findings.iter().all(|finding| finding.expires > today));
}

#[test]
fn what_was_measured_before_the_gap_is_still_news_in_it() {
    let mut field = Field::corn();
    field.rain(date(5, 8), 1.2, Kind::Station);
    blind(&mut field, date(5, 9), 6);
    let topics: Vec<_> = field.on(date(5, 11)).findings.iter().map(Finding::topic).collect();
    assert_eq!(topics, [Topic::RainSet, Topic::WeatherGap]);
}

#[test]
fn a_gap_takes_nothing_back() {
    let mut field = Field::corn();
    field.rain(date(5, 8), 1.2, Kind::Forecast);
    let told = field.find(date(5, 9), Topic::RainSet).unwrap();
    assert!(told.provisional);
    let judge = |field: &Field, today| stand(&told, date(5, 9), &field.on(today), today);
    assert_eq!(judge(&field, date(5, 10)), Stand::Holds);
    blind(&mut field, date(5, 8), 6);
    assert_eq!(judge(&field, date(5, 11)), Stand::Holds, "nobody knows");
    let mut dry = Field::corn();
    dry.rain(date(5, 8), 0.05, Kind::Station);
    assert_eq!(judge(&dry, date(5, 11)), Stand::Gone);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Soil within the hover of 50 F, above or below, opens one spell at most.
    #[test]
    fn hovering_ground_is_one_spell(wobble in prop::collection::vec(-1.0..1.0_f64, 50)) {
        let mut field = Field::corn();
        field.journal.clear();
        field.weather_over(date(3, 1), date(6, 30));
        let wet: Vec<NaiveDate> = field.days.iter().map(|day| day.date).step_by(4).collect();
        for day in wet {
            field.rain(day, 0.25, Kind::Station);
        }
        // Bare soil runs a little above the air's mean, here near 10 C.
        for (at, day) in field.days.iter_mut().enumerate() {
            let mean = 9.7 + 1.4 * wobble[at % wobble.len()];
            let air = |celsius| Some(Sourced { value: Celsius::new(celsius).unwrap(), kind: Kind::Station });
            (day.high, day.low) = (air(mean + 5.0), air(mean - 5.0));
        }
        let mut occasions = Vec::new();
        for today in date(4, 15).iter_days().take(30) {
            let Some(finding) = field.find(today, Topic::Seedbed) else { continue };
            if let furrowbell_engine::findings::Evidence::Seedbed { soil_f, .. } = finding.evidence {
                prop_assume!(soil_f > 50.0 - MATERIAL_SOIL_F);
            }
            if finding.urgency > Urgency::Digest && finding.version == 1 {
                occasions.push(finding.occasion);
            }
        }
        occasions.dedup();
        prop_assert!(occasions.len() <= 1, "{occasions:?}");
    }
}
