use super::*;
use crate::weather::Kind;
use chrono::Days;
use proptest::prelude::*;
use proptest::sample::{select, subsequence};

fn day(offset: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, 1).unwrap() + Days::new(offset)
}

/// A run of days after a pass on day 0: rain in inches, `None` for unknown.
fn rain(days: &[Option<f64>], kind: Kind, topsoil_dry: bool) -> Vec<RainDay> {
    days.iter()
        .zip(1..)
        .map(|(inches, offset)| RainDay {
            date: day(offset),
            rain: inches
                .map(|inches| Sourced { value: Millimetres::from_inches(inches).unwrap(), kind }),
            topsoil_dry,
        })
        .collect()
}

fn pass(ingredients: &[Ingredient]) -> Pass<'_> {
    Pass { date: day(0), ingredients, texture: TextureGroup::Medium }
}

fn states(activation: &Activation) -> Vec<MixState> {
    activation.days.iter().map(|day| day.firm.state).collect()
}

#[test]
fn a_mix_goes_from_waiting_to_set() {
    let days = rain(&[Some(0.0), Some(0.3), Some(0.0), Some(0.25)], Kind::Gauge, false);
    let activation = run(&pass(&[Ingredient::Acetochlor]), &days);
    assert_eq!(
        states(&activation),
        [MixState::Waiting, MixState::PartlyActive, MixState::PartlyActive, MixState::Active]
    );
    assert_eq!(activation.partners[0].set_on, Some(day(4)));
}

#[test]
fn rain_on_the_day_of_the_pass_does_not_count() {
    let mut days = rain(&[Some(0.0)], Kind::Gauge, false);
    let wet = RainDay { date: day(0), ..rain(&[Some(3.0)], Kind::Gauge, false)[0] };
    days.insert(0, wet);
    let activation = run(&pass(&[Ingredient::Acetochlor]), &days);
    assert_eq!(states(&activation), [MixState::Waiting]);
}

#[test]
fn drizzle_counts_only_when_two_days_of_it_add_up() {
    let apart = [Some(0.1), Some(0.0), Some(0.1), Some(0.0), Some(0.15)];
    let activation = run(&pass(&[Ingredient::Acetochlor]), &rain(&apart, Kind::Gauge, false));
    assert_eq!(activation.days[4].firm.state, MixState::Waiting);
    assert!(activation.days[4].firm.counted_in.abs() < 1e-9);
    let together = [Some(0.1), Some(0.1), Some(0.1)];
    let activation = run(&pass(&[Ingredient::Acetochlor]), &rain(&together, Kind::Gauge, false));
    assert!((activation.days[2].firm.counted_in - 0.3).abs() < 1e-6);
}

#[test]
fn a_dry_topsoil_wants_half_as_much_again() {
    let days = rain(&[Some(0.6), Some(0.2)], Kind::Gauge, true);
    let activation = run(&pass(&[Ingredient::Acetochlor]), &days);
    assert_eq!(states(&activation), [MixState::PartlyActive, MixState::Active]);
    assert!((activation.days[0].firm.need_in - 0.75).abs() < 1e-6);
}

#[test]
fn unknown_rain_is_missing_and_not_dry() {
    let days = rain(&[None, Some(0.3), None], Kind::Gauge, false);
    let activation = run(&pass(&[Ingredient::Acetochlor]), &days);
    assert_eq!(activation.days[2].firm.missing_days, 2);
    assert!((activation.days[2].firm.rain_in - 0.3).abs() < 1e-6);
    // A date left out altogether is missing as well.
    let activation = run(&pass(&[Ingredient::Acetochlor]), &days[2..]);
    assert_eq!(activation.days[0].firm.missing_days, 3);
}

#[test]
fn forecast_rain_sets_a_mix_only_provisionally() {
    let mut days = rain(&[Some(0.2)], Kind::Radar, false);
    days.extend(rain(&[Some(0.0), Some(0.6)], Kind::Forecast, false).drain(1..));
    let activation = run(&pass(&[Ingredient::Acetochlor]), &days);
    let last = activation.days.last().unwrap();
    assert_eq!(last.firm.state, MixState::PartlyActive);
    assert_eq!((last.expected.state, last.expected.set_on), (MixState::Active, Some(day(2))));
    assert!(last.is_provisional());
    assert!(!activation.days[0].is_provisional());
}

#[test]
fn the_neediest_partner_speaks_for_the_mix() {
    let mix = [Ingredient::Flumioxazin, Ingredient::Pyroxasulfone];
    let activation = run(&pass(&mix), &rain(&[Some(0.4)], Kind::Gauge, false));
    assert_eq!(activation.partners[0].set_on, Some(day(1)));
    assert_eq!(activation.partners[1].set_on, None);
    assert_eq!(activation.days[0].firm.neediest, Ingredient::Pyroxasulfone);
    assert_eq!(activation.days[0].firm.state, MixState::PartlyActive);
}

#[test]
fn after_its_window_rain_comes_late_and_after_its_dry_life_in_vain() {
    let mut weeks = vec![Some(0.0); 30];
    weeks[11] = Some(1.0);
    let late = run(&pass(&[Ingredient::Acetochlor]), &rain(&weeks, Kind::Gauge, false));
    assert_eq!(late.days[10].firm.state, MixState::Waiting);
    assert_eq!(late.days[11].firm.state, MixState::Late);
    weeks[11] = Some(0.0);
    weeks[24] = Some(1.0);
    let missed = run(&pass(&[Ingredient::Acetochlor]), &rain(&weeks, Kind::Gauge, false));
    assert_eq!(missed.days[20].firm.state, MixState::Waiting);
    assert_eq!(missed.days[29].firm.state, MixState::Missed);
}

#[test]
fn a_mix_without_soil_herbicide_waits_for_nothing() {
    let activation = run(
        &pass(&[Ingredient::Glyphosate, Ingredient::Clopyralid]),
        &rain(&[Some(1.0)], Kind::Gauge, false),
    );
    assert!(activation.partners.is_empty() && activation.days.is_empty());
}

fn wet_days() -> impl Strategy<Value = Vec<Option<f64>>> {
    prop::collection::vec(prop::option::weighted(0.9, prop_oneof![Just(0.0), 0.0..1.5_f64]), 40)
}

#[test]
fn credit_grows_with_what_counts_and_ends_at_one() {
    let days = rain(&[Some(0.1), Some(0.25), Some(2.0)], Kind::Gauge, false);
    let activation = run(&pass(&[Ingredient::Acetochlor]), &days);
    let credits: Vec<_> = activation.days.iter().map(|day| day.firm.credit).collect();
    assert!(credits[0].abs() < 1e-9 && (credits[1] - 0.7).abs() < 1e-6);
    assert!((credits[2] - 1.0).abs() < 1e-9);
}

#[test]
fn drowning_is_told_only_when_it_is_known() {
    let month_mm = 100.0;
    let mix = [Ingredient::Pendimethalin];
    let run_of = |days: &[Option<f64>]| run(&pass(&mix), &rain(days, Kind::Gauge, false));
    assert_eq!(run_of(&[Some(0.5); 14]).drowned(month_mm), Some(true));
    assert_eq!(run_of(&[Some(0.4); 14]).drowned(month_mm), Some(false));
    assert_eq!(run_of(&[Some(0.4); 9]).drowned(month_mm), None);
    assert_eq!(run_of(&[Some(1.0); 9]).drowned(month_mm), Some(true));
    let mut gap = [Some(0.4); 14];
    gap[3] = None;
    assert_eq!(run_of(&gap).drowned(month_mm), None);
    let other = run(&pass(&[Ingredient::Acetochlor]), &rain(&gap, Kind::Gauge, false));
    assert_eq!(other.drowned(month_mm), None);
}

proptest! {
    #[test]
    fn a_later_day_never_changes_an_earlier_one(
        days in wet_days(),
        known in 0_usize..40,
        mix in subsequence(Ingredient::ALL, 1..5),
    ) {
        let all = rain(&days, Kind::Gauge, false);
        let (whole, part) = (run(&pass(&mix), &all), run(&pass(&mix), &all[..known]));
        prop_assert_eq!(&whole.days[..part.days.len()], &part.days[..]);
    }

    #[test]
    fn a_partner_more_never_sets_a_mix_sooner(
        days in wet_days(),
        mix in subsequence(Ingredient::ALL, 1..5),
    ) {
        let days = rain(&days, Kind::Gauge, false);
        let whole = run(&pass(&mix), &days);
        for alone in mix.iter().map(|&one| run(&pass(&[one]), &days)) {
            for (mix, alone) in whole.days.iter().zip(&alone.days) {
                if mix.firm.set_on.is_some() {
                    prop_assert!(alone.firm.set_on <= mix.firm.set_on);
                }
            }
        }
    }

    #[test]
    fn more_rain_never_delays_activation(
        days in wet_days(),
        more in prop::collection::vec(0.0..1.0_f64, 40),
        dry in prop::collection::vec(any::<bool>(), 40),
        texture in select(vec![TextureGroup::Coarse, TextureGroup::Medium, TextureGroup::Fine]),
        mix in subsequence(Ingredient::ALL, 1..5),
    ) {
        let pass = Pass { texture, ..pass(&mix) };
        let wetter: Vec<_> = days
            .iter()
            .zip(&more)
            .map(|(rain, more)| rain.map(|rain| rain + more))
            .collect();
        let with_soil = |days: &[Option<f64>]| {
            let mut days = rain(days, Kind::Gauge, false);
            days.iter_mut().zip(&dry).for_each(|(day, &dry)| day.topsoil_dry = dry);
            run(&pass, &days)
        };
        let (less, more) = (with_soil(&days), with_soil(&wetter));
        for (less, more) in less.partners.iter().zip(&more.partners) {
            if let Some(date) = less.set_on {
                prop_assert!(more.set_on.is_some_and(|sooner| sooner <= date));
            }
        }
    }

    #[test]
    fn what_is_measured_is_never_ahead_of_what_is_expected(
        days in wet_days(),
        measured in 0_usize..40,
        mix in subsequence(Ingredient::ALL, 1..5),
    ) {
        let mut all = rain(&days, Kind::Station, false);
        all[measured..].copy_from_slice(&rain(&days, Kind::Forecast, false)[measured..]);
        for day in run(&pass(&mix), &all).days {
            prop_assert!(day.firm.counted_in <= day.expected.counted_in + 1e-9);
            prop_assert!(day.firm.missing_days >= day.expected.missing_days);
            if day.firm.set_on.is_some() {
                prop_assert!(day.expected.set_on <= day.firm.set_on);
            }
        }
    }
}
