//! Laws that hold for every season.

use crate::field::{Field, date, mix};
use chrono::Days;
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::findings::Finding;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;
use furrowbell_engine::season::{self, PostWindow, Season, Unknown};
use furrowbell_engine::units::{Celsius, Inches, Millimetres};
use furrowbell_engine::weather::{Kind, Sourced};
use proptest::prelude::*;
use proptest::sample::subsequence;

/// A rain for each of 40 days from 20 April: nothing known, or so many inches.
fn rains() -> impl Strategy<Value = Vec<Option<f64>>> {
    prop::collection::vec(
        prop_oneof![1 => Just(None), 6 => Just(Some(0.0)), 3 => (0.0..1.5_f64).prop_map(Some)],
        40,
    )
}

fn field(rains: &[Option<f64>]) -> Field {
    let mut field = Field::corn();
    for (day, rain) in date(4, 20).iter_days().zip(rains) {
        match rain {
            Some(inches) => field.rain(day, *inches, Kind::Radar),
            None => field.day(day).rain = None,
        }
    }
    field
}

fn set_on(season: &Season) -> Option<chrono::NaiveDate> {
    season.now.as_ref()?.pre.as_ref()?.rain.as_ref()?.firm.set_on
}

fn bytes(season: &Season) -> String {
    serde_json::to_string(season).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn more_rain_never_delays_activation(
        rains in rains(), at in 13_usize..40, more in 0.01..2.0_f64,
    ) {
        let today = date(6, 5);
        let plain = set_on(&field(&rains).on(today));
        let mut wetter = rains;
        wetter[at] = Some(wetter[at].unwrap_or(0.0) + more);
        let sooner = set_on(&field(&wetter).on(today));
        if let Some(plain) = plain {
            prop_assert!(sooner.is_some_and(|sooner| sooner <= plain), "{sooner:?} {plain:?}");
        }
    }

    #[test]
    fn heat_never_falls_and_stages_never_turn_back(rains in rains(), gap in 0_usize..4) {
        let mut field = field(&rains);
        for day in date(5, 12).iter_days().take(gap) {
            field.day(day).low = None;
        }
        let season = field.on(date(6, 20));
        let totals: Vec<f64> = season.days.iter().filter_map(|row| row.gdd_total_f).collect();
        prop_assert!(totals.windows(2).all(|pair| pair[0] <= pair[1]));
        let stages: Vec<_> = season.days.iter().filter_map(|row| row.stage).collect();
        prop_assert!(stages.is_sorted());
    }

    #[test]
    fn the_same_input_gives_the_same_bytes_in_any_order_of_the_journal(
        rains in rains(), seed in any::<prop::sample::Index>(), heights in prop::collection::vec(0.5..6.0_f64, 3),
    ) {
        let mut field = field(&rains);
        for height in heights {
            field.note(date(5, 25), Event::WeedsSeen { height: Inches::new(height).unwrap() });
            field.note(date(5, 9), Event::Rain { amount: Millimetres::new(height).unwrap() });
        }
        for text in ["V1", "V2"] {
            field.note(date(5, 24), Event::StageSeen { stage: text.parse().unwrap() });
        }
        let first = bytes(&field.on(date(5, 28)));
        prop_assert_eq!(&first, &bytes(&field.on(date(5, 28))));
        let turn = seed.index(field.journal.len());
        field.journal.rotate_left(turn);
        field.journal.reverse();
        prop_assert_eq!(&first, &bytes(&field.on(date(5, 28))));
    }

    #[test]
    fn a_day_whose_rain_is_missing_shows_none_and_never_zero(rains in rains()) {
        let season = field(&rains).on(date(6, 5));
        for row in &season.days {
            let at = (row.date - date(4, 20)).num_days();
            let known = usize::try_from(at).ok().and_then(|at| rains.get(at)).copied().flatten();
            if at < 40 {
                prop_assert_eq!(row.rain_in.is_some(), known.is_some());
            }
        }
    }

    #[test]
    fn a_rain_in_the_journal_takes_none_away(
        rains in rains(), told in prop::collection::vec((0_u64..30, 0.0..60.0_f64), 1..6),
        more in (0_u64..30, 0.0..60.0_f64),
    ) {
        let mut field = field(&rains);
        let note = |field: &mut Field, (day, mm): (u64, f64)| {
            let amount = Millimetres::new(mm).unwrap();
            field.note(date(5, 2) + Days::new(day), Event::Rain { amount });
        };
        for rain in &told {
            note(&mut field, *rain);
        }
        let before = field.on(date(6, 10));
        note(&mut field, more);
        let after = field.on(date(6, 10));
        for (day, _) in told {
            let on = date(5, 2) + Days::new(day);
            let rain = |season: &Season| {
                season.days.iter().find(|row| row.date == on).and_then(|row| row.rain_in).unwrap()
            };
            prop_assert!(rain(&after) >= rain(&before));
        }
    }

    #[test]
    fn a_mix_never_has_a_later_limit_than_its_strictest_partner(
        mixture in subsequence(Ingredient::ALL, 1..5), rains in rains(), day in 20_u64..45,
    ) {
        let mut field = field(&rains);
        let today = date(5, 1) + Days::new(day);
        let mut closes = |ingredients: &[Ingredient]| {
            field.plan.post = Some(mix(ingredients));
            field.on(today).now.unwrap().post_window.map(|window| window.closes)
        };
        let whole = closes(&mixture);
        for partner in mixture {
            let Some(alone) = closes(&[partner]) else { continue };
            let whole = whole.unwrap();
            prop_assert!(whole.earliest <= alone.earliest, "{partner:?}");
            prop_assert!(whole.likely <= alone.likely && whole.latest <= alone.latest);
        }
    }

    #[test]
    fn missing_temperatures_are_unknown_and_never_a_day_without_heat(
        first in 10_u64..20, length in 3_usize..9, both in any::<bool>(),
    ) {
        let mut field = Field::corn();
        let first = date(5, 1) + Days::new(first);
        for day in first.iter_days().take(length) {
            field.day(day).high = None;
            field.day(day).low = field.day(day).low.filter(|_| !both);
        }
        let season = field.on(first + Days::new(20));
        for row in season.days.iter().filter(|row| row.date >= first) {
            let missing = row.date < first + Days::new(length as u64);
            prop_assert_eq!(row.gdd_f.is_none(), missing, "{}", row.date);
            prop_assert!(row.unknown.contains(&Unknown::Heat), "the total stays a lower bound");
            let lost = row.date >= first + Days::new(2);
            prop_assert_eq!(row.stage.is_none(), lost, "{}", row.date);
        }
    }

    #[test]
    fn a_season_without_rows_finds_the_same(rains in rains(), day in 1_u64..110) {
        let field = field(&rains);
        let cell = field.cell();
        let input = field.input(&cell, date(5, 1) + Days::new(day));
        let (season, found) = (season::run(&input), season::find(&input));
        prop_assert_eq!(season.now, found.now);
        prop_assert_eq!(season.findings, found.findings);
    }

    #[test]
    fn findings_are_within_their_time_and_one_a_topic(rains in rains(), day in 1_u64..70) {
        let today = date(5, 1) + Days::new(day);
        let season = field(&rains).on(today);
        let now = season.now.unwrap();
        let ranges = now.sidedress.map(|window| window.latest);
        for range in ranges.into_iter().chain(now.post_window.map(|window| window.closes)) {
            prop_assert!(range.earliest <= range.likely && range.likely <= range.latest);
        }
        let findings = season.findings;
        for finding in &findings {
            prop_assert!(finding.expires > today);
            prop_assert!(finding.act_by.is_none_or(|by| by >= today));
            prop_assert!(finding.version >= 1);
        }
        let mut topics: Vec<_> = findings.iter().map(Finding::topic).collect();
        topics.sort_unstable();
        topics.dedup();
        prop_assert_eq!(topics.len(), findings.len());
    }

    #[test]
    fn every_range_is_in_order_whatever_was_seen(
        heat in prop::collection::vec(4.0..34.0_f64, 100), day in 1_u64..100,
        seen in prop::collection::vec((5_u64..90, 0_u8..=12), 0..4), beans in any::<bool>(),
    ) {
        let mut field = if beans { Field::soybean() } else { Field::corn() };
        for (on, celsius) in date(5, 1).iter_days().zip(heat) {
            let day = field.day(on);
            day.high = day.high.map(|it| Sourced { value: Celsius::new(celsius + 6.0).unwrap(), ..it });
            day.low = day.low.map(|it| Sourced { value: Celsius::new(celsius - 6.0).unwrap(), ..it });
        }
        for (after, nodes) in seen {
            let stage = if nodes == 0 { Stage::Emerged } else { Stage::Vegetative(nodes) };
            field.note(date(5, 1) + Days::new(after), Event::StageSeen { stage });
        }
        let now = field.on(date(5, 1) + Days::new(day)).now.unwrap();
        let feed = now.sidedress.map(|window| [window.opens, window.latest]);
        let post = now.post_window.map(|window| window.closes);
        for range in feed.into_iter().flatten().chain(post) {
            prop_assert!(range.earliest <= range.likely && range.likely <= range.latest);
        }
    }

    #[test]
    fn entries_after_today_change_nothing(rains in rains(), late in 1_u64..30) {
        let mut field = field(&rains);
        let today = date(5, 20);
        let before = bytes(&field.on(today));
        field.journal.push(Entry {
            date: today + Days::new(late),
            event: Event::PostApplied { ingredients: Vec::new() },
        });
        prop_assert_eq!(before, bytes(&field.on(today)));
    }

    #[test]
    fn a_renewed_residual_never_ends_before_the_one_it_renews(
        rains in rains(), pre in subsequence(Ingredient::ALL, 1..4),
        post in subsequence(Ingredient::ALL, 1..4), after in 5_u64..35,
        weeds in subsequence(Weed::ALL, 0..4), beans in any::<bool>(),
    ) {
        let mut field = field(&rains);
        if beans {
            field.plan.crop = Field::soybean().plan.crop;
        }
        field.plan.pre = Some(mix(&pre));
        field.plan.weeds = weeds;
        let today = date(6, 15);
        let ends = |field: &Field| field.on(today).now.unwrap().residual_ends;
        let alone = ends(&field);
        field.note(date(5, 2) + Days::new(after), Event::PostApplied { ingredients: post });
        if let Some(alone) = alone {
            let renewed = ends(&field).unwrap();
            prop_assert!(renewed.earliest >= alone.earliest, "{renewed:?} {alone:?}");
            prop_assert!(renewed.likely >= alone.likely && renewed.latest >= alone.latest);
        }
    }

    #[test]
    fn a_weed_more_never_makes_a_window_later(
        rains in rains(), few in subsequence(Weed::ALL, 1..4), more in subsequence(Weed::ALL, 1..3),
        pre in subsequence(Ingredient::ALL, 1..4), day in 12_u64..70, sprayed in any::<bool>(),
    ) {
        let mut field = field(&rains);
        field.plan.pre = Some(mix(&pre));
        if sprayed {
            let mix = vec![Ingredient::SMetolachlor, Ingredient::Mesotrione];
            field.note(date(5, 20), Event::PostApplied { ingredients: mix });
        }
        let today = date(5, 1) + Days::new(day);
        let mut window = |weeds: Vec<Weed>| {
            field.plan.weeds = weeds;
            field.on(today).now.unwrap().post_window
        };
        let plain = window(few.clone());
        let named = window(few.into_iter().chain(more).collect());
        let opens = |window: Option<PostWindow>| window.and_then(|it| it.opening).map(|it| it.on);
        if let Some(plain) = opens(plain) {
            prop_assert!(opens(named).is_some_and(|named| named <= plain), "{named:?} {plain}");
        }
        if let Some((plain, named)) = plain.zip(named) {
            prop_assert!(named.closes.earliest <= plain.closes.earliest);
            prop_assert!(named.closes.likely <= plain.closes.likely);
            prop_assert!(named.closes.latest <= plain.closes.latest);
        }
    }
}
