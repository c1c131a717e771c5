//! What mixes still do: late rain, too much rain, a renewed residual, weeds and canopy.

use crate::field::{Field, date, mix};
use chrono::{Days, NaiveDate};
use furrowbell_engine::findings::{
    Evidence, Finding, PostReason, ReachBack, SprayPass, Topic, Urgency,
};
use furrowbell_engine::journal::Event;
use furrowbell_engine::plan::Resistance;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;
use furrowbell_engine::season::{Now, PostWindow};
use furrowbell_engine::units::{Inches, Millimetres};
use furrowbell_engine::weather::{Day, Kind, Sourced};

fn now(field: &Field, today: NaiveDate) -> Now {
    field.on(today).now.unwrap()
}

fn window(field: &Field, today: NaiveDate) -> Option<PostWindow> {
    now(field, today).post_window
}

fn opens(field: &Field, today: NaiveDate) -> Option<(PostReason, NaiveDate)> {
    let opening = window(field, today)?.opening?;
    Some((opening.reason, opening.on))
}

/// Corn with a shower a week from 4 May on.
fn showery(mut field: Field) -> Field {
    for week in 0..14 {
        field.rain(date(5, 4) + Days::new(7 * week), 1.2, Kind::Radar);
    }
    field
}

fn reach_of_needed(field: &Field, today: NaiveDate) -> Option<ReachBack> {
    match field.find(today, Topic::RainNeeded)?.evidence {
        Evidence::RainNeeded { reach_back, .. } => reach_back,
        _ => None,
    }
}

// Ohio State: erratic unless weeds are very small; Penn State: small annual broadleaves, best with
// group 27, some with group 5; Hager (Illinois) names isoxaflutole.
#[test]
fn past_the_escalate_day_it_is_said_whether_rain_would_still_help() {
    let mut field = Field::corn();
    assert_eq!(reach_of_needed(&field, date(5, 9)), None);
    assert_eq!(reach_of_needed(&field, date(5, 12)), Some(ReachBack::SmallBroadleaves));
    field.plan.resistant = vec![Resistance { weed: Weed::Waterhemp, group: 5 }];
    assert_eq!(reach_of_needed(&field, date(5, 12)), Some(ReachBack::None));
    field.plan.resistant.clear();
    field.note(date(5, 11), Event::WeedsSeen { height: Inches::new(2.0).unwrap() });
    assert_eq!(reach_of_needed(&field, date(5, 12)), Some(ReachBack::None));
}

#[test]
fn late_rain_on_a_whitening_mix_asks_for_a_look_at_the_named_weed() {
    let mut field = Field::corn();
    field.plan.pre = Some(mix(&[Ingredient::Isoxaflutole]));
    field.plan.weeds = vec![Weed::GiantFoxtail, Weed::Velvetleaf];
    field.note(date(5, 13), Event::WeedsSeen { height: Inches::new(0.8).unwrap() });
    field.rain(date(5, 14), 1.5, Kind::Radar);
    let late = field.find(date(5, 14), Topic::RainLate).unwrap();
    let Evidence::RainLate { waited_days, reach_back, caught, .. } = late.evidence else {
        panic!()
    };
    assert_eq!((waited_days, reach_back), (12, ReachBack::SmallBroadleaves));
    let caught = caught.unwrap();
    assert_eq!((caught.weed, caught.whitens), (Weed::Velvetleaf, true));
    // Five to seven days after the rain (common practice, no source).
    assert_eq!((caught.look_from, caught.look_to), (date(5, 19), date(5, 21)));
    assert_eq!(late.act_by, Some(date(5, 21)));
    assert!(late.expires > date(5, 21));
}

#[test]
fn late_rain_on_a_group_15_alone_reaches_nothing() {
    let mut field = Field::corn();
    field.plan.pre = Some(mix(&[Ingredient::Acetochlor]));
    field.plan.weeds = vec![Weed::GiantFoxtail];
    field.rain(date(5, 14), 1.5, Kind::Radar);
    let late = field.find(date(5, 14), Topic::RainLate).unwrap();
    let Evidence::RainLate { reach_back, caught, .. } = late.evidence else { panic!() };
    assert_eq!((reach_back, caught), (ReachBack::None, None));
    assert_eq!(late.act_by, Some(date(5, 18)));
}

// Landau et al. 2021: most pre herbicides wanted 5 to 15 cm in 15 days.
#[test]
fn more_rain_than_pre_herbicides_worked_well_with_is_told() {
    let washed = |inches: f64| {
        let mut field = Field::corn();
        for day in date(5, 4).iter_days().take(10) {
            field.rain(day, inches / 10.0, Kind::Radar);
        }
        let now = now(&field, date(5, 20)).pre.unwrap();
        let told = field.raised(Topic::ResidualEnding, date(5, 10), 40);
        let ending = field.find(told[0].0, Topic::ResidualEnding).unwrap();
        let Evidence::ResidualEnding { washed, .. } = ending.evidence else { panic!() };
        assert_eq!(now.drowned, None, "nothing is published of this mix");
        (now.too_much_rain, washed)
    };
    assert_eq!(washed(5.8), (false, false));
    assert_eq!(washed(6.0), (true, true));
}

/// Rain of one day in May of each of so many years before 2026, all else dry.
fn earlier_mays(field: &mut Field, years: i32, inches: f64) {
    for year in 2026 - years..2026 {
        let may = NaiveDate::from_ymd_opt(year, 5, 1).unwrap();
        for day in may.iter_days().take(31) {
            let rain = if day == may { inches } else { 0.0 };
            let value = Millimetres::from_inches(rain).unwrap();
            let rain = Some(Sourced { value, kind: Kind::Station });
            field.days.push(Day { rain, ..Day::unknown(day) });
        }
    }
}

// Stewart et al. 2012: 64 % above the usual month in 14 days cut pendimethalin on green foxtail.
#[test]
fn pendimethalin_is_drowned_by_rain_far_above_the_usual_month_where_that_is_known() {
    let drowned = |years, inches: f64| {
        let mut field = Field::corn();
        field.plan.pre = Some(mix(&[Ingredient::Pendimethalin]));
        earlier_mays(&mut field, years, 3.0);
        for day in date(5, 4).iter_days().take(8) {
            field.rain(day, inches / 8.0, Kind::Radar);
        }
        now(&field, date(5, 20)).pre.unwrap().drowned
    };
    assert_eq!(drowned(10, 4.8), Some(false));
    assert_eq!(drowned(10, 5.0), Some(true));
    assert_eq!(drowned(9, 5.0), None, "too few years make no usual month");
}

#[test]
fn a_residual_partner_in_the_post_renews_the_residual_and_opens_the_next_window() {
    let mut field = showery(Field::corn());
    field.plan.post = Some(mix(&[Ingredient::Glyphosate, Ingredient::Acetochlor]));
    let alone = now(&field, date(5, 20)).residual_ends.unwrap();
    field.note(date(5, 20), Event::PostApplied { ingredients: Vec::new() });
    assert_eq!(window(&field, date(5, 20)), None, "nothing is set yet");
    let after = now(&field, date(5, 27));
    let ends = after.residual_ends.unwrap();
    assert!(ends.likely > alone.likely && ends.earliest >= alone.earliest, "{ends:?} {alone:?}");
    assert_eq!(after.renewal.unwrap().applied_on, date(5, 20));
}

#[test]
fn after_a_renewed_residual_it_is_told_again_under_the_post_pass() {
    let mut field = showery(Field::soybean());
    field.plan.row_spacing = Inches::new(38.0).unwrap();
    field.plan.weeds = vec![Weed::Waterhemp];
    field.plan.post = Some(mix(&[Ingredient::CloransulamMethyl, Ingredient::SMetolachlor]));
    field.note(date(5, 24), Event::PostApplied { ingredients: Vec::new() });
    let told = field.raised(Topic::ResidualEnding, date(5, 24), 60);
    let ending = field.find(told[0].0, Topic::ResidualEnding).unwrap();
    assert_eq!(ending.occasion, date(5, 24));
    let Evidence::ResidualEnding { renewed, ends, .. } = ending.evidence else { panic!() };
    assert!(renewed);
    let open = field.find(ends.earliest, Topic::PostOpen).unwrap();
    assert_eq!(open.occasion, date(5, 24));
    assert!(
        matches!(open.evidence, Evidence::PostOpen { reason: PostReason::RenewedFading, .. }),
        "{open:?}"
    );
    // Nobody is told to finish the pass that is on record.
    for day in date(5, 24).iter_days().take_while(|day| *day < ends.earliest) {
        for topic in [Topic::PostClosing, Topic::PostOverdue, Topic::PostOpen] {
            assert!(field.find(day, topic).is_none(), "{topic:?} {day}");
        }
    }
}

#[test]
fn a_post_without_a_residual_partner_renews_nothing() {
    let mut field = showery(Field::corn());
    let alone = now(&field, date(5, 30)).residual_ends;
    let mix = vec![Ingredient::Glyphosate, Ingredient::Glufosinate];
    field.note(date(5, 20), Event::PostApplied { ingredients: mix });
    let after = now(&field, date(5, 30));
    assert_eq!((after.residual_ends, after.renewal), (alone, None));
    assert!(field.raised(Topic::PostOpen, date(5, 20), 60).is_empty());
    assert!(field.raised(Topic::PostOverdue, date(5, 20), 60).is_empty());
}

#[test]
fn weeds_back_after_a_post_are_closed_as_a_second_pass() {
    let mut field = showery(Field::corn());
    let mix = vec![Ingredient::Glyphosate];
    field.note(date(5, 20), Event::PostApplied { ingredients: mix });
    field.note(date(5, 27), Event::WeedsSeen { height: Inches::new(1.0).unwrap() });
    let overdue = field.raised(Topic::PostOverdue, date(5, 27), 30);
    let told = field.find(overdue[0].0, Topic::PostOverdue).unwrap();
    assert!(matches!(told.evidence, Evidence::PostOverdue { again: true, .. }));
}

fn few(field: &Field, today: NaiveDate) -> Option<Finding> {
    field.find(today, Topic::FewGroups)
}

// Silva et al. 2023: 68 % with one site of action, 78 % with two.
#[test]
fn a_mix_with_one_working_group_is_a_fact_for_the_digest() {
    let mut field = showery(Field::corn());
    field.plan.post = Some(mix(&[Ingredient::Glyphosate, Ingredient::Mesotrione]));
    assert!(few(&field, date(5, 3)).is_none(), "groups 5 and 15 are two");
    field.plan.resistant = vec![
        Resistance { weed: Weed::Waterhemp, group: 5 },
        Resistance { weed: Weed::Waterhemp, group: 9 },
    ];
    let pre = few(&field, date(5, 3)).unwrap();
    assert_eq!((pre.urgency, pre.occasion), (Urgency::Digest, date(5, 2)));
    let Evidence::FewGroups { pass, applied, weed, groups, lost, expected } = pre.evidence else {
        panic!()
    };
    assert_eq!((pass, applied, weed), (SprayPass::Pre, true, Weed::Waterhemp));
    assert_eq!((groups, lost), (vec![15], vec![5]));
    assert!((expected.unwrap().likely - 68.0).abs() < 1e-9);
    // The planned post is told before its window opens.
    let opening = opens(&field, date(5, 20)).unwrap().1;
    let post = few(&field, opening - Days::new(10)).unwrap();
    assert_eq!((post.urgency, post.act_by), (Urgency::Digest, Some(opening)));
    let Evidence::FewGroups { pass, applied, groups, .. } = post.evidence else { panic!() };
    assert_eq!((pass, applied, groups), (SprayPass::Post, false, vec![27]));
    field.plan.weeds.clear();
    assert!(few(&field, date(5, 3)).is_none(), "no weed is named");
}

fn up(field: &Field, today: NaiveDate, weed: Weed) -> Option<NaiveDate> {
    now(field, today).weeds.into_iter().find(|up| up.weed == weed)?.from
}

// University of Illinois bulletin, 2000: waterhemp emerges above 350 GDD, base 48 F.
#[test]
fn a_late_weed_comes_up_by_published_heat_and_not_while_the_residual_holds() {
    let mut field = showery(Field::corn());
    for day in &mut field.days {
        let cool = |value: f64| furrowbell_engine::units::Celsius::new(value).unwrap();
        day.high = day.high.map(|high| Sourced { value: cool(16.0), ..high });
        day.low = day.low.map(|low| Sourced { value: cool(8.0), ..low });
    }
    let ends = now(&field, date(6, 10)).residual_ends.unwrap();
    let held = up(&field, date(6, 10), Weed::Waterhemp).unwrap();
    assert!(held >= ends.likely);
    // Without a pre the crop's emergence is the floor; 12 C is 5.6 F over the base a day from
    // 1 April on, so 350 degree-days take until June whatever came before.
    field.journal.retain(|entry| entry.event == Event::Planted);
    let emerged = now(&field, date(6, 10)).emerged_on.unwrap().likely;
    let late = up(&field, date(6, 10), Weed::Waterhemp).unwrap();
    assert!(late > emerged && late <= date(6, 3), "{late}");
    field.plan.weeds = vec![Weed::Lambsquarters];
    assert_eq!(up(&field, date(6, 10), Weed::Lambsquarters), Some(emerged));
}

#[test]
fn a_weed_without_published_heat_is_refused_and_taken_to_be_up_at_once() {
    let mut field = showery(Field::corn());
    field.plan.weeds = vec![Weed::PalmerAmaranth];
    let now = now(&field, date(6, 10));
    let palmer = now.weeds[0];
    assert_eq!(palmer.from, Some(now.residual_ends.unwrap().likely));
    assert_eq!(
        palmer.undated.unwrap().to_string(),
        "no emergence heat is published for palmer amaranth; scout for it"
    );
    assert_eq!(palmer.half_on, None);
}

#[test]
fn heat_that_nobody_knows_dates_no_weed() {
    let mut field = showery(Field::corn());
    field.day(date(4, 10)).high = None;
    let weed = now(&field, date(6, 10)).weeds[0];
    assert!(weed.undated.unwrap().to_string().contains("2026-04-10"));
    assert!(weed.from.is_some());
}

// Casteel, Purdue: 15 in rows close 50 days after planting by 5 May; Iowa State: 30 in rows 15 days
// later.
#[test]
fn weeds_that_would_come_under_a_closed_canopy_open_no_window() {
    let mut field = showery(Field::soybean());
    field.plan.pre = Some(mix(&[Ingredient::SMetolachlor]));
    field.plan.row_spacing = Inches::new(15.0).unwrap();
    let closes = now(&field, date(5, 20)).canopy_closes.unwrap();
    assert_eq!(closes.likely, date(6, 20));
    let opened = opens(&field, date(5, 30)).unwrap();
    assert_eq!(opened.0, PostReason::ResidualFading);
    // A post on 10 June renews the residual to past the closing of narrow rows, not of wide ones.
    field.plan.post = Some(mix(&[Ingredient::Lactofen, Ingredient::SMetolachlor]));
    field.note(date(6, 10), Event::PostApplied { ingredients: Vec::new() });
    let next = |row: f64, field: &mut Field| {
        field.plan.row_spacing = Inches::new(row).unwrap();
        (opens(field, date(6, 20)), field.raised(Topic::ResidualEnding, date(6, 11), 50).len())
    };
    assert_eq!(next(15.0, &mut field), (None, 0));
    let (wide, told) = next(38.0, &mut field);
    assert_eq!(wide.unwrap().0, PostReason::RenewedFading);
    assert!(told > 0);
    // Weeds that somebody sees count whatever the rows do.
    field.plan.row_spacing = Inches::new(15.0).unwrap();
    field.note(date(6, 28), Event::WeedsSeen { height: Inches::new(1.0).unwrap() });
    assert_eq!(opens(&field, date(6, 28)).unwrap().0, PostReason::WeedsSeen);
}

// University of Delaware: dicamba with diflufenzopyr wants corn of 4 in or V2.
#[test]
fn the_window_waits_for_the_smallest_crop_that_the_mix_wants() {
    let mut field = Field::corn();
    field.note(date(5, 18), Event::WeedsSeen { height: Inches::new(0.25).unwrap() });
    assert_eq!(opens(&field, date(5, 19)), Some((PostReason::WeedsSeen, date(5, 18))));
    field.plan.post = Some(mix(&[Ingredient::Dicamba, Ingredient::Diflufenzopyr]));
    let (reason, on) = opens(&field, date(5, 19)).unwrap();
    assert_eq!(reason, PostReason::WeedsSeen);
    assert!(on > date(5, 19), "{on}");
    assert!(field.find(date(5, 19), Topic::PostOpen).is_none());
    assert!(field.find(on, Topic::PostOpen).is_some(), "{on}");
}

// South Dakota State: no product was registered over the top in 2024 and 2025; two seasons from
// 2026 are (trade association FAQ).
#[test]
fn dicamba_over_soybean_has_a_label_on_record_only_in_the_years_of_its_rule() {
    let mut field = showery(Field::soybean());
    field.plan.post = Some(mix(&[Ingredient::Dicamba]));
    assert_eq!(window(&field, date(6, 1)).unwrap().no_label, None);
    for years in [1, -2] {
        let mut other = showery(Field::soybean());
        other.plan.post = field.plan.post.clone();
        let days = 365 * years;
        for day in &mut other.days {
            day.date -= chrono::TimeDelta::days(days);
        }
        for entry in &mut other.journal {
            entry.date -= chrono::TimeDelta::days(days);
        }
        let today = date(6, 1) - chrono::TimeDelta::days(days);
        assert_eq!(window(&other, today).unwrap().no_label, Some(Ingredient::Dicamba));
        let told = other.find(today, Topic::PostOpen).or(other.find(today, Topic::PostClosing));
        assert!(matches!(
            told.unwrap().evidence,
            Evidence::PostOpen { no_label: Some(Ingredient::Dicamba), .. }
                | Evidence::PostClosing { no_label: Some(Ingredient::Dicamba), .. }
        ));
    }
    field.plan.crop = Field::corn().plan.crop;
    field.plan.weeds = vec![Weed::Waterhemp];
    assert_eq!(window(&field, date(5, 25)).and_then(|window| window.no_label), None);
}
