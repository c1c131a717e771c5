//! The rules of nitrogen: sidedress early, usual and late, a nitrate test, losses, urea on top.

use crate::field::{Field, date};
use chrono::{Days, NaiveDate};
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::findings::{EarlyReason, Evidence, LossRule, Topic, Urgency};
use furrowbell_engine::journal::Event;
use furrowbell_engine::plan::{NitrogenSource, Placement};
use furrowbell_engine::reference::Standing;
use furrowbell_engine::units::{Celsius, Inches, NitratePpm, PoundsPerAcre};
use furrowbell_engine::weather::{Kind, Sourced};

#[test]
fn a_small_starter_opens_sidedress_at_v3_and_a_full_one_at_v5() {
    let stage_at_opening = |starter: f64| {
        let mut field = Field::corn();
        // Enough rain that the soil's supply does not lag.
        for turn in 0..20 {
            field.rain(date(4, 3) + Days::new(4 * turn), 0.8, Kind::Radar);
        }
        let nitrogen = field.plan.nitrogen.as_mut().unwrap();
        nitrogen.starter = PoundsPerAcre::new(starter).unwrap();
        let day = field.first_day(Topic::SidedressOpen).unwrap();
        let Evidence::SidedressOpen { stage, early, latest, .. } =
            field.find(day, Topic::SidedressOpen).unwrap().evidence
        else {
            panic!()
        };
        assert!(latest.earliest <= latest.likely && latest.likely <= latest.latest);
        (stage, early)
    };
    let small = EarlyReason::SmallStarter { pounds: 20.0 };
    assert_eq!(stage_at_opening(20.0), (Stage::Vegetative(3), Some(small)));
    assert_eq!(stage_at_opening(60.0), (Stage::Vegetative(5), None));
}

#[test]
fn a_dry_spring_opens_sidedress_early_for_the_soils_sake() {
    let mut field = Field::corn();
    for day in &mut field.days {
        day.high = day.high.map(|high| Sourced { value: Celsius::new(17.0).unwrap(), ..high });
        day.low = day.low.map(|low| Sourced { value: Celsius::new(7.0).unwrap(), ..low });
    }
    let day = field.raised(Topic::SidedressOpen, date(6, 1), 60)[0].0;
    let Evidence::SidedressOpen { early: Some(EarlyReason::SoilLags { percent, .. }), .. } =
        field.find(day, Topic::SidedressOpen).unwrap().evidence
    else {
        panic!()
    };
    assert!(percent >= 20.0);
}

#[test]
fn sidedress_turns_to_closing_and_a_reply_ends_it() {
    let mut field = Field::corn();
    let (open, closing) = (
        field.raised(Topic::SidedressOpen, date(5, 20), 60),
        field.raised(Topic::SidedressClosing, date(5, 20), 60),
    );
    assert!(open.last() < closing.first());
    field.note(closing[0].0, Event::Sidedressed { nitrogen: None });
    assert!(field.find(closing[0].0, Topic::SidedressClosing).is_none());
    assert!(field.on(closing[0].0).now.unwrap().sidedress.is_none());
}

#[test]
fn a_nitrate_test_sets_the_pounds_and_is_told_again() {
    let mut field = Field::corn();
    let first = field.first_day(Topic::SidedressOpen).unwrap();
    let told = |field: &Field, today| {
        let finding = field.find(today, Topic::SidedressOpen).unwrap();
        let Evidence::SidedressOpen { pounds, tested, .. } = finding.evidence else { panic!() };
        (finding.version, pounds, tested)
    };
    assert_eq!(told(&field, first), (1, 120.0, None));
    let test = |ppm| Event::NitrateTest { ppm: NitratePpm::new(ppm).unwrap() };
    field.note(first, test(18.0));
    // Ohio State Univ. Extension, 2022: 16 to 20 ppm takes 45 lb off. CROP 3140 would leave 56 lb.
    let (version, pounds, tested) = told(&field, first);
    let rate = tested.unwrap();
    assert_eq!((version, rate.on), (2, first));
    assert!((pounds - 75.0).abs() < 1e-9 && (rate.low_lb - 56.0).abs() < 1e-9);
    // What goes on without a number is what the test left of the plan.
    let mut done = Field::corn();
    done.thresholds.nitrogen_loss_lb_per_acre = 1.0;
    done.journal.clone_from(&field.journal);
    done.note(first, Event::Sidedressed { nitrogen: None });
    let nitrate = |field: &Field| {
        let season = field.on(first);
        season.today().unwrap().nitrogen.unwrap().nitrate_lb
    };
    let tested = nitrate(&done);
    done.journal.retain(|entry| !matches!(entry.event, Event::NitrateTest { .. }));
    // A quarter of UAN is nitrate on the day it goes on: 45 lb less make 11.25 lb less.
    assert!((nitrate(&done) - tested - 11.25).abs() < 1e-9);
}

#[test]
fn a_rich_nitrate_test_leaves_nothing_to_be_urgent_about() {
    let mut field = Field::corn();
    let first = field.first_day(Topic::SidedressOpen).unwrap();
    field.note(first, Event::NitrateTest { ppm: NitratePpm::new(27.0).unwrap() });
    let told = field.find(first, Topic::SidedressOpen).unwrap();
    assert!(matches!(told.evidence, Evidence::SidedressOpen { pounds: 0.0, .. }));
    assert_eq!(told.version, 2);
    assert!(field.raised(Topic::SidedressClosing, first, 60).is_empty());
    // A test from before planting is another season's.
    field.journal.last_mut().unwrap().date = date(4, 29);
    assert_eq!(field.find(first, Topic::SidedressOpen).unwrap().version, 1);
}

#[test]
fn a_low_rig_must_be_through_sooner() {
    let latest = |clears: f64| {
        let mut field = Field::corn();
        let nitrogen = field.plan.nitrogen.as_mut().unwrap();
        nitrogen.rig_clears = Some(Inches::new(clears).unwrap());
        field.on(date(5, 25)).now.unwrap().sidedress.unwrap().latest
    };
    assert!(latest(12.0).likely < latest(24.0).likely);
    assert!(latest(12.0).earliest < latest(12.0).latest);
}

#[test]
fn wet_soil_costs_nitrate_and_is_told_again_when_it_costs_more() {
    let mut field = Field::corn();
    field.thresholds.nitrogen_loss_lb_per_acre = 5.0;
    for day in date(5, 20).iter_days().take(10) {
        field.rain(day, 1.6, Kind::Radar);
    }
    let told = field.raised(Topic::NitrogenLoss, date(5, 15), 40);
    let mut versions: Vec<u32> = told.iter().map(|it| it.1).collect();
    versions.dedup();
    assert!(versions.len() >= 2 && versions.is_sorted(), "{versions:?}");
    // The first two saturated days cost nothing.
    assert!(told[0].0 > date(5, 22));
    let last = field.find(told.last().unwrap().0, Topic::NitrogenLoss).unwrap();
    let Evidence::NitrogenLoss { rule, pounds, standing, washed, .. } = last.evidence else {
        panic!()
    };
    assert_eq!((rule, standing), (LossRule::SaturatedDays, Standing::Published));
    assert!(pounds.low < pounds.likely && pounds.likely < pounds.high);
    assert!(washed.unwrap().front_in.1 > 12.0);
    // More N helps until corn passes V11, or while the rig still gets through.
    let latest = field.on(told[0].0).now.unwrap().sidedress.unwrap().latest;
    let first = field.find(told[0].0, Topic::NitrogenLoss).unwrap();
    assert!(first.act_by.unwrap() <= latest.earliest);
    assert!(
        told.iter().all(|(day, _)| {
            field.find(*day, Topic::NitrogenLoss).unwrap().occasion == told[0].0
        })
    );
}

/// Scharf, Univ. of Missouri: over 16 in of rain from April to June goes with a wide shortage of N.
#[test]
fn a_spring_with_more_than_sixteen_inches_is_told_by_its_rain() {
    let mut field = Field::corn();
    // A shower every other day never saturates the ground for long.
    for turn in 0..30 {
        field.rain(date(4, 2) + Days::new(2 * turn), 0.54, Kind::Radar);
    }
    let told = field.raised(Topic::NitrogenLoss, date(5, 10), 45);
    // The thirtieth of them makes 16.2 in, on 30 May.
    assert_eq!(told[0], (date(5, 30), 1));
    let finding = field.find(date(5, 30), Topic::NitrogenLoss).unwrap();
    let Evidence::NitrogenLoss { rule, rain, .. } = finding.evidence else { panic!() };
    assert_eq!(rule, LossRule::SpringRain);
    assert!((rain.april_june_in - 16.2).abs() < 1e-6 && rain.whole);
    // A day that nobody knows leaves a lower bound, and that is past the limit all the same.
    field.day(date(4, 3)).rain = None;
    assert!(field.find(date(5, 30), Topic::NitrogenLoss).is_some());
}

#[test]
fn ammonia_of_autumn_is_nitrate_by_spring_and_stands_in_place_of_the_plans_starter() {
    let ammonia = |on: NaiveDate| {
        let mut field = Field::corn();
        let nitrogen = field.plan.nitrogen.as_mut().unwrap();
        nitrogen.starter = PoundsPerAcre::new(150.0).unwrap();
        nitrogen.starter_source = NitrogenSource::AnhydrousAmmonia;
        field.note(on, Event::StarterApplied { nitrogen: None, source: None });
        field
    };
    let nitrate = |field: &Field, today| {
        let season = field.on(today);
        season.today().unwrap().nitrogen.unwrap().nitrate_lb
    };
    let autumn = NaiveDate::from_ymd_opt(2025, 11, 10).unwrap();
    let (fall, spring, seed) = (ammonia(autumn), ammonia(date(4, 5)), ammonia(date(5, 1)));
    for today in [date(5, 1), date(5, 20)] {
        let all = [&seed, &spring, &fall].map(|field| nitrate(field, today));
        assert!(all[0] < all[1] && all[1] < all[2] && all[2] <= 150.0, "{all:?}");
    }
    assert!(nitrate(&seed, date(5, 1)).abs() < 1e-9);
    // Longer before planting than a crop's nitrogen goes on, it is that of another.
    let early = ammonia(date(5, 1) - Days::new(221));
    assert!((nitrate(&early, date(5, 20)) - nitrate(&seed, date(5, 20))).abs() < 1e-9);
    // A pass that is named counts as named, and beside another on record.
    let mut both = ammonia(autumn);
    let (nitrogen, source) = (PoundsPerAcre::new(30.0).ok(), Some(NitrogenSource::Uan32));
    both.note(date(5, 1), Event::StarterApplied { nitrogen, source });
    let more = nitrate(&both, date(5, 1)) - nitrate(&fall, date(5, 1));
    // A quarter of UAN is nitrate on the day it goes on.
    assert!((more - 7.5).abs() < 1e-9);
}

#[test]
fn wet_ground_before_planting_costs_what_autumn_ammonia_has_turned_to() {
    let mut field = Field::corn();
    for day in date(4, 15).iter_days().take(8) {
        field.rain(day, 2.0, Kind::Radar);
    }
    let lost = |field: &Field| {
        let row = field.on(date(5, 1)).today().unwrap().nitrogen.unwrap();
        (row.lost_lb, row.washed.is_some())
    };
    assert_eq!(lost(&field), (0.0, false));
    let autumn = NaiveDate::from_ymd_opt(2025, 11, 1).unwrap();
    let nitrogen = PoundsPerAcre::new(150.0).ok();
    let source = Some(NitrogenSource::AnhydrousAmmonia);
    field.note(autumn, Event::StarterApplied { nitrogen, source });
    let (lost, washed) = lost(&field);
    assert!(lost > 5.0 && washed, "{lost}");
}

fn with_urea_on_top() -> (Field, NaiveDate) {
    let mut field = Field::corn();
    let nitrogen = field.plan.nitrogen.as_mut().unwrap();
    nitrogen.source = NitrogenSource::Urea;
    nitrogen.placement = Placement::Surface;
    let spread = date(6, 8);
    field.note(spread, Event::Sidedressed { nitrogen: None });
    (field, spread)
}

/// North Dakota State Univ.: 2 to 3 warm days cost nothing. Montana State Univ.: half an inch at once
/// ends the loss; up to 22 % of the urea is lost in a week.
#[test]
fn urea_on_top_is_told_while_there_is_time_to_work_it_in() {
    let (mut field, spread) = with_urea_on_top();
    let told = field.find(spread, Topic::SurfaceUrea).unwrap();
    assert_eq!((told.urgency, told.act_by), (Urgency::Urgent, Some(spread + Days::new(2))));
    let Evidence::SurfaceUrea { losing_from, grace_days, ahead, lost, in_a_week, .. } =
        told.evidence
    else {
        panic!()
    };
    assert_eq!((losing_from, ahead), (spread + Days::new(3), None));
    assert!((grace_days - 2.0).abs() < 1e-9 && lost.high.abs() < 1e-9);
    assert!((in_a_week.high - 0.22 * 120.0).abs() < 1e-9);
    // Rain after the loss begins is named, and does not still the telling; rain before it does.
    field.rain(spread + Days::new(4), 0.6, Kind::Forecast);
    let late = field.find(spread, Topic::SurfaceUrea).unwrap();
    let Evidence::SurfaceUrea { ahead: Some(rain), .. } = late.evidence else { panic!() };
    assert_eq!(rain.date, spread + Days::new(4));
    field.rain(spread + Days::new(2), 0.6, Kind::Forecast);
    assert!(field.find(spread, Topic::SurfaceUrea).is_none());
    // A shower does not.
    field.rain(spread + Days::new(2), 0.3, Kind::Forecast);
    assert!(field.find(spread, Topic::SurfaceUrea).is_some());
}

#[test]
fn urea_on_top_needs_no_forecast_and_ends_with_a_hoe() {
    let (mut field, spread) = with_urea_on_top();
    field.days.retain(|day| day.date <= spread);
    let told = field.find(spread, Topic::SurfaceUrea).unwrap();
    assert_eq!((told.urgency, told.act_by), (Urgency::Urgent, Some(spread + Days::new(2))));
    let (mut field, spread) = with_urea_on_top();
    let next = spread + Days::new(1);
    assert!(field.find(next, Topic::SurfaceUrea).is_some());
    field.note(next, Event::Hoed);
    assert!(field.find(next, Topic::SurfaceUrea).is_none());
    // UAN is half urea: a week could cost half as much, which is for the digest.
    field.journal.pop();
    field.plan.nitrogen.as_mut().unwrap().source = NitrogenSource::Uan32;
    assert_eq!(field.find(next, Topic::SurfaceUrea).unwrap().urgency, Urgency::Digest);
    field.plan.nitrogen.as_mut().unwrap().placement = Placement::InSoil;
    assert!(field.find(next, Topic::SurfaceUrea).is_none());
}
