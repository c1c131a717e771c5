//! The rules over made-up seasons: when each finding is raised, when it is not, and what it says.

use crate::field::{Field, date};
use chrono::{Days, NaiveDate};
use furrowbell_engine::clocks::{DateRange, Stage};
use furrowbell_engine::findings::{Evidence, PostReason, Topic, Urgency};
use furrowbell_engine::journal::Event;
use furrowbell_engine::season::Unknown;
use furrowbell_engine::units::{Celsius, Inches, Millimetres};
use furrowbell_engine::weather::{Kind, Sourced};

#[test]
fn nothing_happens_before_anything_is_done() {
    let mut field = Field::corn();
    field.journal.clear();
    let season = field.on(date(6, 20));
    assert!(season.days.is_empty() && season.now.is_none() && season.findings.is_empty());
}

#[test]
fn a_dry_pre_is_told_at_five_seven_and_ten_days_and_then_gives_way_to_the_post_window() {
    let field = Field::corn();
    let told = field.raised(Topic::RainNeeded, date(5, 1), 60);
    let first_of = |wanted| told.iter().find(|(_, version)| *version == wanted).map(|it| it.0);
    assert_eq!(first_of(1), Some(date(5, 7)));
    assert_eq!(first_of(2), Some(date(5, 9)));
    assert_eq!(first_of(3), Some(date(5, 12)));
    assert_eq!(told.last().map(|it| it.0), Some(date(5, 15)));
    let urgent = field.find(date(5, 12), Topic::RainNeeded).unwrap();
    assert_eq!(urgent.urgency, Urgency::Urgent);
    assert_eq!(urgent.occasion, date(5, 2));
    assert!(!urgent.provisional);
    let open = field.find(date(5, 16), Topic::PostOpen).unwrap();
    assert!(matches!(open.evidence, Evidence::PostOpen { reason: PostReason::PreMissedRain, .. }));
}

#[test]
fn without_a_crop_to_spray_over_weeds_taken_to_be_up_are_a_fourth_telling() {
    let mut field = Field::corn();
    field.journal.retain(|entry| entry.event != Event::Planted);
    assert_eq!(field.versions(Topic::RainNeeded), [1, 2, 3, 4]);
}

#[test]
fn enough_measured_rain_sets_the_pre_and_is_news_for_five_days() {
    let mut field = Field::corn();
    field.rain(date(5, 6), 1.3, Kind::Radar);
    assert_eq!(field.versions(Topic::RainNeeded), [0; 0]);
    let told = field.raised(Topic::RainSet, date(5, 1), 60);
    assert_eq!(told.first().map(|it| it.0), Some(date(5, 6)));
    assert_eq!(told.last().map(|it| it.0), Some(date(5, 10)));
    let set = field.find(date(5, 6), Topic::RainSet).unwrap();
    assert!(!set.provisional);
    let Evidence::RainSet { on, rain_in, residual_ends, .. } = set.evidence else { panic!() };
    assert_eq!(on, date(5, 6));
    assert!((rain_in - 1.3).abs() < 1e-9);
    assert!(residual_ends.earliest <= residual_ends.likely && residual_ends.likely > on);
}

#[test]
fn rain_expected_today_sets_nothing_and_yesterdays_forecast_only_for_the_time_being() {
    let mut field = Field::corn();
    field.rain(date(5, 10), 1.5, Kind::Forecast);
    let before = field.find(date(5, 9), Topic::RainNeeded).unwrap();
    let Evidence::RainNeeded { rain_in, ahead, .. } = before.evidence else { panic!() };
    assert!(rain_in.abs() < 1e-9);
    let ahead = ahead.unwrap();
    assert_eq!(ahead.date, date(5, 10));
    assert!((ahead.inches - 1.5).abs() < 1e-9);

    assert!(field.find(date(5, 10), Topic::RainSet).is_none());
    assert!(field.find(date(5, 10), Topic::RainNeeded).is_some());
    let after = field.on(date(5, 11)).findings;
    let set = after
        .iter()
        .find(|finding| matches!(finding.topic(), Topic::RainSet | Topic::RainLate))
        .unwrap();
    assert!(set.provisional);
}

#[test]
fn a_gauge_stands_before_the_forecast() {
    let mut field = Field::corn();
    field.rain(date(5, 6), 1.5, Kind::Forecast);
    field.note(date(5, 6), Event::Rain { amount: Millimetres::from_inches(0.1).unwrap() });
    assert!(field.find(date(5, 7), Topic::RainSet).is_none());
    let needed = field.find(date(5, 7), Topic::RainNeeded).unwrap();
    let Evidence::RainNeeded { rain_in, .. } = needed.evidence else { panic!() };
    assert!((rain_in - 0.1).abs() < 1e-9);
}

#[test]
fn late_rain_is_told_as_late() {
    let mut field = Field::corn();
    field.rain(date(5, 11), 2.0, Kind::Station);
    assert!(field.find(date(5, 11), Topic::RainSet).is_none());
    let late = field.find(date(5, 11), Topic::RainLate).unwrap();
    let Evidence::RainLate { waited_days, .. } = late.evidence else { panic!() };
    assert_eq!(waited_days, 9);
}

/// Rain that comes when weeds are up sets the pre, and does not take away what is up.
#[test]
fn weeds_that_were_up_before_a_late_rain_grow_on() {
    let dry = Field::corn();
    let mut rained = Field::corn();
    rained.rain(date(5, 20), 2.0, Kind::Station);
    let closes =
        |field: &Field, on| field.on(on).now.and_then(|now| now.post_window).unwrap().closes;
    assert_eq!(closes(&rained, date(5, 25)), closes(&dry, date(5, 25)));
    let open = rained.find(date(5, 18), Topic::PostOpen).unwrap();
    assert!(matches!(open.evidence, Evidence::PostOpen { reason: PostReason::PreMissedRain, .. }));
    assert!(rained.find(date(6, 8), Topic::ResidualEnding).is_none());

    // A look that finds none leaves the field to what the pre now holds back.
    rained.note(date(5, 24), Event::WeedsSeen { height: Inches::new(0.0).unwrap() });
    let after = closes(&rained, date(5, 25));
    assert!(after.earliest > closes(&dry, date(5, 25)).latest, "{after:?}");
    assert!(rained.find(date(5, 25), Topic::PostOpen).is_none());
}

#[test]
fn a_look_that_finds_no_weeds_starts_their_clock_anew() {
    let mut field = Field::corn();
    let height = |inches| Event::WeedsSeen { height: Inches::new(inches).unwrap() };
    field.note(date(5, 20), height(1.0));
    let closes =
        |field: &Field| field.on(date(5, 26)).now.and_then(|now| now.post_window).unwrap().closes;
    let seen = closes(&field);
    field.note(date(5, 25), height(0.0));
    let none = closes(&field);
    assert!(none.likely > seen.likely);
    field.note(date(5, 25), height(2.0));
    assert!(closes(&field).likely < none.likely, "of two looks on a day the taller weeds stand");
}

#[test]
fn missing_rain_is_never_taken_for_a_dry_day() {
    let mut field = Field::corn();
    for day in date(5, 3).iter_days().take(6) {
        field.day(day).rain = None;
    }
    let needed = field.find(date(5, 10), Topic::RainNeeded).unwrap();
    assert!(needed.provisional);
    let row = field.on(date(5, 10));
    assert!(row.days.iter().any(|row| row.unknown.contains(&Unknown::Rain)));
    assert!(row.today().unwrap().unknown.contains(&Unknown::SoilWater));
    assert!(row.today().unwrap().soil.water.top_share.is_none());
}

#[test]
fn a_hoe_answers_the_call_for_a_hoe() {
    let mut field = Field::corn();
    field.note(date(5, 12), Event::Hoed);
    assert!(field.find(date(5, 13), Topic::RainNeeded).is_none());
    assert!(field.find(date(5, 11), Topic::RainNeeded).is_some());
}

#[test]
fn the_residual_is_told_before_its_earliest_end_and_opens_the_post_window_there() {
    let mut field = Field::corn();
    for week in 0..10 {
        field.rain(date(5, 4) + Days::new(7 * week), 1.2, Kind::Radar);
    }
    let first = field.first_day(Topic::ResidualEnding).unwrap();
    let Evidence::ResidualEnding { ends, dry, .. } =
        field.find(first, Topic::ResidualEnding).unwrap().evidence
    else {
        panic!()
    };
    assert!(!dry);
    assert_eq!(first + Days::new(5), ends.earliest);
    let open = field.find(ends.earliest, Topic::PostOpen).unwrap();
    assert!(matches!(open.evidence, Evidence::PostOpen { reason: PostReason::ResidualFading, .. }));
}

#[test]
fn a_post_pass_closes_what_it_answers() {
    let mut field = Field::corn();
    field.note(date(5, 20), Event::PostApplied { ingredients: Vec::new() });
    for topic in [
        Topic::PostOpen,
        Topic::PostClosing,
        Topic::PostOverdue,
        Topic::RainNeeded,
        Topic::ResidualEnding,
    ] {
        assert!(field.find(date(5, 20), topic).is_none(), "{topic:?}");
        assert!(field.find(date(6, 10), topic).is_none(), "{topic:?}");
    }
    // Weeds that come back open it again, under a new occasion.
    field.note(date(6, 1), Event::WeedsSeen { height: Inches::new(1.0).unwrap() });
    let again = field.find(date(6, 1), Topic::PostOpen).unwrap();
    assert_eq!(again.occasion, date(5, 20));
}

#[test]
fn an_open_post_window_turns_to_closing_and_then_to_overdue() {
    let mut field = Field::soybean();
    field.note(date(5, 25), Event::WeedsSeen { height: Inches::new(0.5).unwrap() });
    let raised = |topic| field.raised(topic, date(5, 25), 40);
    let (open, closing, overdue) =
        (raised(Topic::PostOpen), raised(Topic::PostClosing), raised(Topic::PostOverdue));
    assert_eq!(open.first().map(|it| it.0), Some(date(5, 25)));
    assert!(open.last() < closing.first() && closing.last() < overdue.first());
    let last = field.find(closing[0].0, Topic::PostClosing).unwrap();
    assert!(last.act_by.unwrap() >= closing[0].0);
    assert_eq!(overdue.len(), 7);
}

#[test]
fn a_hold_silences_its_topic_until_its_day() {
    let mut field = Field::corn();
    field.note(date(5, 8), Event::Hold { topic: Some(Topic::RainNeeded), until: date(5, 13) });
    assert!(field.find(date(5, 7), Topic::RainNeeded).is_some());
    assert!(field.find(date(5, 12), Topic::RainNeeded).is_none());
    assert!(field.find(date(5, 12), Topic::Emergence).is_some());
    assert!(field.find(date(5, 13), Topic::RainNeeded).is_some());
    field.note(date(5, 8), Event::Hold { topic: None, until: date(5, 20) });
    assert!(field.on(date(5, 13)).findings.is_empty());
}

#[test]
fn emergence_is_told_for_three_days_unless_somebody_said_it_first() {
    let mut field = Field::corn();
    // Seed zone dry after a month without rain: 115 + 30 GDD, at 14.4 a day from 2 May on.
    assert_eq!(field.first_day(Topic::Emergence), Some(date(5, 12)));
    assert_eq!(field.raised(Topic::Emergence, date(5, 1), 60).len(), 3);
    field.note(date(5, 11), Event::StageSeen { stage: Stage::Emerged });
    assert_eq!(field.first_day(Topic::Emergence), None);
    assert_eq!(field.on(date(5, 12)).now.unwrap().emerged_on, Some(DateRange::on(date(5, 11))));
}

#[test]
fn emergence_by_the_clock_is_a_range_and_a_stage_seen_later_bounds_it() {
    let mut field = Field::corn();
    let clock = |field: &Field| field.on(date(6, 1)).now.unwrap().emerged_on.unwrap();
    for day in &mut field.days {
        day.high = day.high.map(|high| Sourced { value: Celsius::new(19.0).unwrap(), ..high });
        day.low = day.low.map(|low| Sourced { value: Celsius::new(8.0).unwrap(), ..low });
    }
    // 90, 115 and 125 GDD (Iowa State, Purdue, Wisconsin) and 30 for a dry bed, at 8.1 a day (66.2 and
    // 50 F) from 2 May on: the 15th, 18th and 20th day.
    let range = DateRange::about(date(5, 16), date(5, 19), date(5, 21));
    assert_eq!(clock(&field), range);
    let Evidence::Emergence { on, .. } =
        field.find(date(5, 19), Topic::Emergence).unwrap().evidence
    else {
        panic!()
    };
    assert_eq!(on, range);
    // Leaves seen before the clock had it up: it came up by then, and nobody saw when.
    field.note(date(5, 18), Event::StageSeen { stage: Stage::Vegetative(1) });
    assert_eq!(clock(&field), DateRange::about(date(5, 16), date(5, 18), date(5, 18)));
    field.note(date(5, 17), Event::StageSeen { stage: Stage::Emerged });
    assert_eq!(clock(&field), DateRange::on(date(5, 17)));
}

#[test]
fn a_stage_seen_holds_from_its_day_on() {
    let mut field = Field::corn();
    let before = field.on(date(6, 1)).now.unwrap().stage;
    assert_eq!(before, Some(Stage::Vegetative(3)));
    field.note(date(6, 1), Event::StageSeen { stage: Stage::Vegetative(5) });
    let season = field.on(date(6, 2));
    let stage = |day| season.days.iter().find(|row| row.date == day).unwrap().stage;
    assert_eq!(stage(date(5, 31)), Some(Stage::Vegetative(3)));
    assert_eq!(stage(date(6, 1)), Some(Stage::Vegetative(5)));
    assert_eq!(stage(date(6, 2)), Some(Stage::Vegetative(5)));
}

#[test]
fn cold_after_planting_is_told_ahead_as_provisional() {
    let mut field = Field::corn();
    let cold = Celsius::from_fahrenheit(33.0).unwrap();
    field.day(date(5, 3)).low = Some(Sourced { value: cold, kind: Kind::Station });
    let ahead = field.find(date(5, 2), Topic::ColdAfterPlanting).unwrap();
    assert!(ahead.provisional);
    let seen = field.find(date(5, 3), Topic::ColdAfterPlanting).unwrap();
    assert!(!seen.provisional);
    let Evidence::ColdAfterPlanting { on, low_f, .. } = seen.evidence else { panic!() };
    assert_eq!(on, date(5, 3));
    assert!((low_f - 33.0).abs() < 1e-9);
    assert!(field.find(date(5, 5), Topic::ColdAfterPlanting).is_none());
}

#[test]
fn what_is_past_has_its_spread_too_until_somebody_looks() {
    let mut field = Field::corn();
    let opens = |field: &Field| field.on(date(6, 20)).now.unwrap().sidedress.unwrap().opens;
    // Heat is measured up to today, and V5 lies well behind it: what is left is the spread of the
    // parameters, 25 GDD down and 40 up to emergence and 2 a collar, at 14.4 a day.
    let unseen = opens(&field);
    assert!(unseen.latest < date(6, 20));
    let days = |from: NaiveDate, to: NaiveDate| (to - from).num_days();
    assert!((1..=2).contains(&days(unseen.earliest, unseen.likely)), "{unseen:?}");
    assert!((1..=4).contains(&days(unseen.likely, unseen.latest)), "{unseen:?}");
    // A crop seen to be at V5 on a day cannot have come there later.
    field.note(unseen.likely, Event::StageSeen { stage: Stage::Vegetative(5) });
    let seen = opens(&field);
    assert_eq!((seen.likely, seen.latest), (unseen.likely, unseen.likely));
    assert_eq!(seen.earliest, unseen.earliest);
}

#[test]
fn a_seed_in_moist_ground_under_a_dry_crust_comes_up_as_from_moist_ground() {
    let emerged = |depth: f64| {
        let mut field = Field::corn();
        field.plan.depth = Inches::new(depth).unwrap();
        field.rain(date(4, 27), 1.0, Kind::Radar);
        field.on(date(6, 1)).now.unwrap().emerged_on.unwrap().likely
    };
    let (deep, shallow) = (emerged(2.5), emerged(0.5));
    // 30 GDD for a dry bed are two days at 14.4.
    assert!(deep < shallow, "{deep} {shallow}");
}

#[test]
fn missing_weather_is_bridged_for_two_days_and_after_that_the_stage_is_unknown() {
    let mut field = Field::corn();
    for day in [date(5, 20), date(5, 21)] {
        field.day(day).high = None;
    }
    let bridged = field.on(date(5, 25));
    let row = bridged.days.iter().find(|row| row.date == date(5, 20)).unwrap();
    assert!(row.gdd_estimated && row.gdd_f.is_some());
    assert!(field.find(date(5, 25), Topic::WeatherGap).is_none());

    field.day(date(5, 22)).low = None;
    assert!(field.find(date(5, 21), Topic::WeatherGap).is_none());
    let gap = field.find(date(5, 22), Topic::WeatherGap).unwrap();
    assert_eq!(gap.evidence, Evidence::WeatherGap { since: date(5, 20), days: 3 });
    // Measured days after the gap do not bring the stage back; somebody who looks does.
    let season = field.on(date(5, 28));
    assert_eq!(season.now.as_ref().unwrap().stage, None);
    assert!(season.today().unwrap().unknown.contains(&Unknown::Stage));
    let gap = field.find(date(5, 28), Topic::WeatherGap).unwrap();
    assert_eq!(gap.evidence, Evidence::WeatherGap { since: date(5, 20), days: 3 });
    field.note(date(5, 27), Event::StageSeen { stage: Stage::Vegetative(3) });
    assert_eq!(field.on(date(5, 28)).now.unwrap().stage, Some(Stage::Vegetative(3)));
    assert!(field.find(date(5, 28), Topic::WeatherGap).is_none());
}

#[test]
fn soybean_that_is_up_goes_on_without_weather() {
    let mut field = Field::soybean();
    for day in date(5, 20).iter_days().take(20) {
        *field.day(day) = furrowbell_engine::weather::Day::unknown(day);
    }
    assert!(field.on(date(5, 30)).now.unwrap().stage.is_some());
    assert!(field.find(date(5, 30), Topic::WeatherGap).is_some());
}

#[test]
fn what_lies_ahead_of_today_is_forecast_whatever_it_calls_itself() {
    let field = Field::corn();
    let season = field.on(date(5, 10));
    let ahead = season.days.iter().filter(|row| row.date > date(5, 10));
    assert!(ahead.clone().count() == 21 && ahead.clone().all(|row| row.provisional));
    assert!(!season.today().unwrap().provisional);
}

#[test]
fn what_rests_on_a_model_says_so() {
    let mut field = Field::corn();
    field.rain(date(5, 6), 1.3, Kind::Model);
    assert!(field.find(date(5, 7), Topic::RainSet).unwrap().provisional);
    let up = field.first_day(Topic::Emergence).unwrap();
    assert!(!field.find(up, Topic::Emergence).unwrap().provisional);
    let day = field.day(date(5, 8));
    day.high = day.high.map(|high| Sourced { kind: Kind::Model, ..high });
    assert!(field.find(up, Topic::Emergence).unwrap().provisional);
}

#[test]
fn a_replanted_field_starts_anew() {
    let mut field = Field::corn();
    field.note(date(5, 11), Event::StageSeen { stage: Stage::Emerged });
    field.note(date(5, 18), Event::PostApplied { ingredients: Vec::new() });
    field.note(date(5, 24), Event::Planted);
    let now = field.on(date(5, 26)).now.unwrap();
    assert_eq!(now.planted_on, Some(date(5, 24)));
    assert_eq!(now.stage, Some(Stage::Planted));
    assert_eq!(now.post_applied_on, None);
    assert_eq!(now.emerged_on, None);
    // The pre that went on before stays what it was.
    assert_eq!(now.pre.unwrap().applied_on, date(5, 2));
}

#[test]
fn last_years_journal_is_another_season() {
    let mut field = Field::corn();
    for entry in &mut field.journal {
        entry.date = entry.date - Days::new(365);
    }
    assert!(field.on(date(5, 20)).now.is_none());
}

#[test]
fn a_pre_ahead_of_planting_runs_from_its_own_day() {
    let mut field = Field::corn();
    field.journal.clear();
    field.note(date(4, 20), Event::PreApplied { ingredients: Vec::new() });
    field.note(date(5, 1), Event::Planted);
    let season = field.on(date(5, 3));
    assert_eq!(season.days[0].date, date(4, 20));
    assert_eq!(season.days[0].stage, None);
    assert_eq!(field.find(date(4, 25), Topic::RainNeeded).unwrap().occasion, date(4, 20));
    // Heat counts from the day after planting.
    let total = |day| season.days.iter().find(|row| row.date == day).unwrap().gdd_total_f;
    assert_eq!(total(date(4, 30)), None);
    assert_eq!(total(date(5, 1)), Some(0.0));
    assert!((total(date(5, 2)).unwrap() - 14.4).abs() < 1e-9);
}

#[test]
fn a_field_without_a_pre_is_told_to_look_for_weeds_once_the_crop_has_leaves() {
    let mut field = Field::corn();
    field.journal.retain(|entry| entry.event == Event::Planted);
    let day = field.first_day(Topic::PostOpen).unwrap();
    let open = field.find(day, Topic::PostOpen).unwrap();
    assert!(matches!(open.evidence, Evidence::PostOpen { reason: PostReason::NoPre, .. }));
    assert_eq!(field.on(day).now.unwrap().stage, Some(Stage::Vegetative(1)));
    assert!(field.raised(Topic::RainNeeded, date(5, 1), 60).is_empty());
}
