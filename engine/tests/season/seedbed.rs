//! Springs before planting: when the seedbed is told, and what it says.

use crate::field::{Field, date};
use chrono::{Days, NaiveDate};
use furrowbell_engine::findings::{Evidence, Finding, SeedbedVerdict, Topic, Urgency};
use furrowbell_engine::journal::Event;
use furrowbell_engine::units::Celsius;
use furrowbell_engine::weather::{Day, Kind, Sourced};

/// A field that nothing was done on, with a warm spring (20 and 10 C) from 1 March and a quarter
/// inch of rain every fourth day.
fn unplanted(mut field: Field) -> Field {
    field.journal.clear();
    field.weather_over(date(3, 1), date(6, 30));
    air(&mut field, date(3, 1), date(6, 30), 20.0, 10.0);
    let dates: Vec<NaiveDate> = field.days.iter().map(|day| day.date).step_by(4).collect();
    for day in dates {
        field.rain(day, 0.25, Kind::Station);
    }
    field
}

fn air(field: &mut Field, from: NaiveDate, to: NaiveDate, high: f64, low: f64) {
    let station = |celsius| Sourced { value: Celsius::new(celsius).unwrap(), kind: Kind::Station };
    for day in from.iter_days().take_while(|day| *day <= to) {
        let day = field.day(day);
        day.high = Some(station(high));
        day.low = Some(station(low));
    }
}

fn told(field: &Field, today: NaiveDate) -> Option<Finding> {
    field.find(today, Topic::Seedbed)
}

fn verdict(finding: &Finding) -> SeedbedVerdict {
    let Evidence::Seedbed { verdict, .. } = finding.evidence else { panic!() };
    verdict
}

/// Every text of a spring: the day, occasion, version and verdict of each identity first raised.
fn texts(field: &Field) -> Vec<(NaiveDate, NaiveDate, u32, SeedbedVerdict)> {
    let mut texts: Vec<(NaiveDate, NaiveDate, u32, SeedbedVerdict)> = Vec::new();
    for today in date(4, 1).iter_days().take_while(|day| *day <= date(6, 25)) {
        let Some(finding) = told(field, today) else { continue };
        let Finding { occasion, version, urgency, .. } = finding;
        let known = texts.iter().any(|text| (text.1, text.2) == (occasion, version));
        if urgency > Urgency::Digest && !known {
            texts.push((today, occasion, version, verdict(&finding)));
        }
    }
    texts
}

#[test]
fn a_warm_moist_spring_is_one_text_on_the_first_day_of_the_planting_season() {
    // Iowa's window for corn opens on 11 April (Anderson & Vittetoe, Iowa State Univ., 2021); for
    // soybean late April is common practice.
    for (field, opens) in [(Field::corn(), date(4, 11)), (Field::soybean(), date(4, 20))] {
        let field = unplanted(field);
        let texts = texts(&field);
        assert_eq!(texts.len(), 1, "{texts:?}");
        assert_eq!(texts[0].1, opens);
        // A quarter inch on ground near field capacity may keep the planter off for some days.
        assert!((texts[0].0 - opens).num_days() <= 3, "{texts:?}");
        let ready = told(&field, texts[0].0).unwrap();
        assert_eq!((ready.urgency, ready.version, ready.act_by), (Urgency::Routine, 1, None));
        let Evidence::Seedbed { soil_f, cold_on, moist_from_in, low_in, .. } = ready.evidence
        else {
            panic!()
        };
        // The air's mean is 59 F and bare soil runs a little above it.
        assert!((57.0..65.0).contains(&soil_f), "{soil_f}");
        assert!(moist_from_in.unwrap() < low_in);
        assert_eq!(cold_on, None);
        let season = field.on(texts[0].0);
        assert!(season.days.is_empty() && season.now.is_none());
    }
}

#[test]
fn planting_on_record_ends_it_and_a_pre_alone_does_not() {
    let mut field = unplanted(Field::corn());
    field.note(date(4, 18), Event::PreApplied { ingredients: Vec::new() });
    let before: Vec<_> =
        date(4, 20).iter_days().take(4).filter_map(|day| told(&field, day)).collect();
    assert!(!before.is_empty());
    assert_eq!(field.on(date(4, 22)).days[0].date, date(4, 18), "rows begin with the first pass");
    field.note(date(4, 20), Event::Planted);
    assert!(date(4, 20).iter_days().take(4).all(|day| told(&field, day).is_none()));
}

#[test]
fn nothing_is_told_outside_the_planting_season() {
    let field = unplanted(Field::corn());
    assert!(told(&field, date(4, 10)).is_none() && told(&field, date(6, 2)).is_none());
}

#[test]
fn a_cold_april_is_for_the_digest_until_three_days_at_50_f() {
    let mut field = unplanted(Field::corn());
    air(&mut field, date(3, 1), date(4, 30), 10.0, 0.0);
    let cold = told(&field, date(4, 25)).unwrap();
    assert_eq!((verdict(&cold), cold.urgency), (SeedbedVerdict::Cold, Urgency::Digest));
    assert_eq!(told(&field, date(4, 29)).unwrap().occasion, cold.occasion, "one spell of cold");
    let texts = texts(&field);
    // The air turns on 1 May. A day closes a fifth of the gap at 2 in, from 42 F to above 60, so
    // that 50 F is passed on the third day, and has been held for three on the fifth.
    assert_eq!(texts.len(), 1, "{texts:?}");
    let (on, occasion, version, said) = texts[0];
    assert_eq!((version, said), (1, SeedbedVerdict::Ready));
    assert_eq!(occasion, date(5, 5));
    assert!((on - occasion).num_days() <= 3, "{texts:?}");
}

#[test]
fn a_dry_spring_waits_for_rain_and_says_so_to_nobody_but_the_digest() {
    let mut field = unplanted(Field::soybean());
    for day in &mut field.days {
        day.rain = day.rain.map(|rain| Sourced {
            value: furrowbell_engine::units::Millimetres::new(0.0).unwrap(),
            ..rain
        });
    }
    let dry = told(&field, date(5, 10)).unwrap();
    assert_eq!((verdict(&dry), dry.urgency), (SeedbedVerdict::Dry, Urgency::Digest));
    let told_before = texts(&field).len();
    field.rain(date(5, 12), 1.0, Kind::Station);
    let texts = texts(&field);
    assert_eq!(texts.len(), told_before + 1, "{texts:?}");
    let (on, occasion, _, said) = texts[told_before];
    assert_eq!((occasion, said), (date(5, 12), SeedbedVerdict::Ready));
    assert!(on < date(5, 17));
}

#[test]
fn cold_ahead_after_a_promise_is_told_again_and_without_one_is_for_the_digest() {
    let mut field = unplanted(Field::corn());
    // Three cold days bring the soil under 50 F while corn planted on the eve would drink.
    air(&mut field, date(5, 6), date(5, 9), 3.0, -3.0);
    let texts = texts(&field);
    let again = texts.iter().find(|text| text.3 == SeedbedVerdict::ColdAhead).unwrap();
    assert_eq!((again.1, again.2), (texts[0].1, 2), "the same spell, another version");
    let finding = told(&field, again.0).unwrap();
    let Evidence::Seedbed { cold_on: Some(cold_on), .. } = finding.evidence else { panic!() };
    assert!(again.0 < cold_on && cold_on <= again.0 + Days::new(2), "corn drinks for two days");
    assert!(cold_on >= date(5, 6));
    // The cold itself is for the digest, and the warmth after it opens a new spell: three texts.
    assert_eq!(told(&field, date(5, 9)).unwrap().urgency, Urgency::Digest);
    assert_eq!(texts.len(), 3, "{texts:?}");
    assert!(texts[2].1 > date(5, 9) && texts[2].3 == SeedbedVerdict::Ready);
}

#[test]
fn rain_that_keeps_the_planter_off_is_no_new_spell() {
    let mut field = unplanted(Field::corn());
    field.rain(date(4, 29), 2.0, Kind::Station);
    let wet = told(&field, date(4, 29)).unwrap();
    assert_eq!((verdict(&wet), wet.urgency), (SeedbedVerdict::Wet, Urgency::Digest));
    assert_eq!(texts(&field).len(), 1);
}

#[test]
fn nothing_is_told_of_ground_that_is_not_known() {
    let mut field = unplanted(Field::corn());
    for day in date(4, 20).iter_days().take(8) {
        *field.day(day) = Day::unknown(day);
    }
    assert!(told(&field, date(4, 27)).is_none());
    // No forecast: nobody knows what comes while the seed drinks.
    let mut field = unplanted(Field::corn());
    field.days.retain(|day| day.date <= date(5, 3));
    assert!(told(&field, date(5, 3)).is_none());
}
