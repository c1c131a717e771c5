//! Nitrogen fertilisers, their turn to nitrate and their losses against the published record, source
//! beside each check.

use furrowbell_engine::clocks::nitrogen::{self, Pass, SurfaceUrea, UreaLoss, WetLoss};
use furrowbell_engine::plan::{Inhibitor, NitrogenSource};
use furrowbell_engine::reference::fertilisers;
use furrowbell_published::close;

fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

#[test]
fn fertiliser_turns_to_nitrate_as_kentucky_prints() {
    // Nitrogen transformation by source, Univ. of Kentucky, percent nitrate 0, 3 and 6 weeks after a
    // spring application. Exact: the curve runs through the table.
    let held = Some(Inhibitor::Nitrification);
    for (source, inhibitor, shares) in [
        (NitrogenSource::AnhydrousAmmonia, None, [0.0, 20.0, 65.0]),
        (NitrogenSource::AnhydrousAmmonia, held, [0.0, 10.0, 50.0]),
        (NitrogenSource::Urea, None, [0.0, 50.0, 75.0]),
        (NitrogenSource::Urea, held, [0.0, 30.0, 70.0]),
        (NitrogenSource::Uan28, None, [25.0, 60.0, 80.0]),
        (NitrogenSource::Uan32, None, [25.0, 60.0, 80.0]),
        (NitrogenSource::AmmoniumNitrate, None, [50.0, 80.0, 90.0]),
    ] {
        let row = fertilisers::of(source);
        for (days, percent) in [0.0, 21.0, 42.0].into_iter().zip(shares) {
            close(100.0 * row.curve(inhibitor).share(days), percent, 1e-9);
            // The same through the clock, day by day at the warmth that the weeks are taken for.
            let mut pass = Pass::new(source, inhibitor, 100.0);
            let mut left = days;
            while left > 0.0 {
                pass.advance(Some(nitrogen::REFERENCE_C.value));
                left -= 1.0;
            }
            close(pass.nitrate(), percent, 1e-6);
        }
    }
}

#[test]
fn the_table_implies_half_lives_of_about_three_weeks() {
    // Computed from the same table, first order: urea 21 days in both spans, UAN 23 then 21, ammonium
    // nitrate 16 then 21, anhydrous 18 after three weeks of lag. Tolerance: rounding to the day.
    let lives = |source| fertilisers::of(source).nitrate.half_lives();
    for (source, early, late) in [
        (NitrogenSource::Urea, 21.0, 21.0),
        (NitrogenSource::Uan28, 23.0, 21.0),
        (NitrogenSource::AmmoniumNitrate, 16.0, 21.0),
    ] {
        close(lives(source)[0], early, 0.5);
        close(lives(source)[1], late, 0.5);
    }
    let [lag, late] = lives(NitrogenSource::AnhydrousAmmonia);
    close(late, 18.0, 0.5);
    assert!(lag > 3.0 * late, "anhydrous must lag, half-life {lag}");
}

#[test]
fn uan_with_an_inhibitor_is_a_quarter_nitrate_at_a_week() {
    // Quinn, Purdue Univ., 2024: 25 % of UAN with an inhibitor is nitrate at a week; of 150 lb 37.5 lb
    // are at risk. Without one it is more.
    let at_a_week = |inhibitor| {
        let mut pass = Pass::new(NitrogenSource::Uan28, inhibitor, 150.0);
        (0..7).for_each(|_| pass.advance(Some(nitrogen::REFERENCE_C.value)));
        pass.nitrate()
    };
    close(at_a_week(Some(Inhibitor::Nitrification)), 37.5, 1e-6);
    assert!(at_a_week(None) > 45.0);
    // A urease inhibitor does not slow nitrification.
    close(at_a_week(Some(Inhibitor::Urease)), at_a_week(None), 1e-9);
}

#[test]
fn nitrification_slows_in_the_cold_and_goes_on_to_freezing() {
    // Sawyer, Iowa State Univ., 2005: best near 90 F, slows fast below 50 F, goes on down to 32 F.
    let pace = |fahrenheit| nitrogen::nitrification_pace(celsius(fahrenheit));
    assert!(pace(90.0) > pace(70.0) && pace(70.0) > pace(50.0) && pace(50.0) > pace(40.0));
    assert!(pace(104.0) <= pace(90.0) + 1e-9);
    assert!(pace(50.0) < 0.25 * pace(90.0));
    assert!(pace(33.0) > 0.0 && pace(32.0).abs() < 1e-9 && pace(20.0).abs() < 1e-9);
}

#[test]
fn potential_rates_lie_far_above_the_field_table() {
    // EPIC (after Reddy 1979, Godwin 1984): 1 - exp(-0.041 (T - 5)): 18.5, 33.6, 45.9 % a day at 10, 15,
    // 20 C, computed, to the last digit.
    let potential = |celsius: f64| 100.0 * (1.0 - (-nitrogen::nitrification_factor(celsius)).exp());
    for (celsius, percent) in [(10.0, 18.5), (15.0, 33.6), (20.0, 45.9)] {
        close(potential(celsius), percent, 0.06);
    }
    // An upper bound: the table's urea turns 3.2 % a day.
    let [a_day, none] =
        [1.0, 0.0].map(|days| fertilisers::of(NitrogenSource::Urea).nitrate.share(days));
    close(100.0 * (a_day - none), 3.2, 0.1);
    // Myers, Soil Biol. Biochem. 7:83, 1975, one tropical soil: 4.8 ug/g a day at 35 C, 0.5 at 20 C: nearly
    // tenfold. The line above gives under twofold: a Corn Belt clock must not be fitted to it, only go
    // the same way.
    let ours = nitrogen::nitrification_factor(35.0) / nitrogen::nitrification_factor(20.0);
    assert!(ours > 1.5 && ours < 4.8 / 0.5);
}

#[test]
fn wet_soil_costs_straight_line_percents_and_never_compounds() {
    // Sawyer, Iowa State Univ., ICM News 15 June 2010, worked in Potter 2014: 120 lb as UAN, 95 %
    // nitrate, 4 % a day, 10 days: 45.6, printed 45. Compounded it would be 38.2.
    let nitrate = 120.0 * 0.95;
    let straight = nitrogen::wet_loss(nitrate, 4.0, 10.0);
    close(straight, 45.6, 1e-9);
    let compounded = nitrate * (1.0 - 0.96_f64.powi(10));
    close(compounded, 38.2, 0.05);
    // The clock, with two free days before those ten, in soil above 65 F: its low end is the 4 % of
    // the example, and a spell told day by day adds up to the same.
    let mut loss = WetLoss::default();
    (0..12).for_each(|_| loss.advance(Some(true), nitrate, Some(20.0)));
    close(loss.range().0, 45.6, 1e-9);
    close(loss.range().1, nitrogen::wet_loss(nitrate, 5.0, 10.0), 1e-9);
}

#[test]
fn worked_examples_of_loss_in_saturated_soil() {
    // Nitrogen loss in saturated soils, Univ. of Tennessee: ammonium nitrate 180 lb after three
    // weeks (80 %): 144 lb; 5 days wet of which the first 2 are free, 4 %: 17.3 lb (rounded).
    let nitrate = 180.0 * fertilisers::of(NitrogenSource::AmmoniumNitrate).nitrate.share(21.0);
    close(nitrate, 144.0, 1e-9);
    let days = 5.0 - nitrogen::FREE_WET_DAYS.value;
    close(nitrogen::wet_loss(nitrate, 4.0, days), 17.3, 0.05);
    // Univ. of Kentucky: urea 175 lb after three weeks: 88 lb nitrate (rounded from 87.5); 7 - 2 days at
    // 3 to 4 %: 13 to 17.5 lb, computed.
    let nitrate = 175.0 * fertilisers::of(NitrogenSource::Urea).nitrate.share(21.0);
    close(nitrate, 88.0, 0.5);
    let days = 7.0 - nitrogen::FREE_WET_DAYS.value;
    close(nitrogen::wet_loss(nitrate, 3.0, days), 13.0, 0.2);
    close(nitrogen::wet_loss(nitrate, 4.0, days), 17.5, 0.05);
    // Never more than there was.
    close(nitrogen::wet_loss(50.0, 4.0, 40.0), 50.0, 1e-9);
}

#[test]
fn the_daily_loss_lies_in_the_published_bands() {
    // Mississippi State Univ.: 2 to 3 % a day at 55 to 65 F, 4 to 5 % above 65 F, from 2 to 3 saturated days
    // on; Iowa State Univ., Illinois trials on warm soil: 4 to 5 %. Exact.
    let at = |fahrenheit| nitrogen::daily_loss(celsius(fahrenheit));
    for (fahrenheit, low, high) in
        [(55.5, 2.0, 3.0), (64.5, 2.0, 3.0), (65.5, 4.0, 5.0), (80.0, 4.0, 5.0)]
    {
        close(at(fahrenheit).low, low, 1e-9);
        close(at(fahrenheit).high, high, 1e-9);
    }
    // Univ. of Tennessee: 3 to 4 % whatever the warmth. It lies between the two.
    assert!(at(60.0).low <= 3.0 && at(70.0).low >= 3.0);
    close(at(50.0).high, 0.0, 1e-9);
    assert!((2.0..=3.0).contains(&nitrogen::FREE_WET_DAYS.value));
}

#[test]
fn an_older_table_of_loss_lies_near_in_cool_and_above_in_warm_soil() {
    // Table used in Nebraska and Illinois (from memory): 55 to 60 F 10 % in 5 days and 25 % in 10; above 60 F
    // 25 % and 60 %. With two free days the bands' high end gives 9 and 24 % in cool soil, within 1 point
    // of it; in soil above 65 F 15 and 40 %, some two thirds of it: a rival, not matched.
    let lost = |fahrenheit, days| {
        let mut loss = WetLoss::default();
        (0..days).for_each(|_| loss.advance(Some(true), 100.0, Some(celsius(fahrenheit))));
        loss.range().1
    };
    close(lost(58.0, 5), 10.0, 1.01);
    close(lost(58.0, 10), 25.0, 1.01);
    close(lost(70.0, 5) / 25.0, 0.6, 0.01);
    close(lost(70.0, 10) / 60.0, 0.67, 0.01);
}

#[test]
fn nitrate_goes_as_deep_as_the_water_does() {
    // UNL CropWatch, 31 May 2013: silt loam holds 2 in a foot: 3 in infiltrated reach 18 in, the peak
    // near 12; 6 in reach 3 ft, the peak near 18 in. Sandy loam, 1 in a foot, deeper. Exact.
    let front = |water, held| 12.0 * nitrogen::nitrate_front_ft(water, held).unwrap();
    close(front(3.0, 2.0), 18.0, 1e-9);
    close(front(6.0, 2.0), 36.0, 1e-9);
    close(front(3.0, 1.0), 36.0, 1e-9);
    let peak = nitrogen::NITRATE_PEAK;
    close(peak.high * front(3.0, 2.0), 12.0, 1e-9);
    close(peak.low * front(6.0, 2.0), 18.0, 1e-9);
    assert_eq!(nitrogen::nitrate_front_ft(3.0, 0.0), None);
    // Carlson, Univ. of Minnesota: 6 in for each inch drained, up to 12 in coarse soil: the same rule.
    let drained = nitrogen::INCHES_PER_INCH_DRAINED;
    close(front(1.0, 2.0), drained.low, 1e-9);
    close(front(1.0, 1.0), drained.high, 1e-9);
    // Sawyer 2010: 4 in of excess water in 3 days or 6 in in 8 leached all nitrate from sand. Sand that
    // holds 1 in a foot lets 4 in go to 4 ft, past the roots of corn at V3.
    assert!(front(4.0, 1.0) >= 48.0);
}

#[test]
fn heavy_spring_rain_tells_of_shortage() {
    // Scharf, Univ. of Missouri: over 16 in from April to June, or over 12 in in May and June.
    use nitrogen::rain_tells_of_shortage as told;
    assert_eq!(told(Some(16.5), Some(10.0)), Some(true));
    assert_eq!(told(Some(14.0), Some(12.5)), Some(true));
    assert_eq!(told(Some(16.0), Some(12.0)), Some(false));
    // A month that is missing is no month without rain.
    assert_eq!(told(None, Some(12.5)), Some(true));
    assert_eq!(told(None, Some(8.0)), None);
    assert_eq!(told(Some(10.0), None), None);
}

fn after(source: NitrogenSource, held: Option<Inhibitor>, dry_days: u32, warmth: f64) -> UreaLoss {
    let mut urea = SurfaceUrea::spread(source, held, 100.0).unwrap();
    (0..dry_days).for_each(|_| urea.advance(Some(0.0), Some(warmth)));
    urea.loss()
}

#[test]
fn surface_urea_loses_what_montana_measured() {
    // Engel, Montana State Univ.: up to 22 % in a week, over 30 % in the worst cases, 8 to 15 % common; 21
    // trials 1.1 to 44.1 %, mean 18.1 %, 6.5 % with a urease inhibitor. Exact where printed.
    let urea = |days| after(NitrogenSource::Urea, None, days, 20.0);
    close(urea(7).high_lb, 22.0, 1e-9);
    assert!((8.0..=15.0).contains(&urea(7).likely_lb));
    assert!((8.0..=15.0).contains(&urea(10).likely_lb));
    let all = urea(60);
    close(all.low_lb, 1.1, 1e-9);
    close(all.likely_lb, 18.1, 1e-9);
    close(all.high_lb, 44.1, 1e-9);
    let held = after(NitrogenSource::Urea, Some(Inhibitor::Urease), 60, 20.0);
    close(held.likely_lb, 6.5, 1e-9);
    // 20 soils at 30 C for ten days: mean 14 %, 0 to 65 %: the mean is met, the worst soil lies above
    // our worst field trial.
    close(after(NitrogenSource::Urea, None, 10, 30.0).likely_lb, 14.0, 1e-9);
    // Losses went on in the cold, 26 to 41 F, over more than 42 days.
    assert!(after(NitrogenSource::Urea, None, 42, celsius(34.0)).likely_lb > 10.0);
}

#[test]
fn half_an_inch_in_one_event_takes_urea_in() {
    // Engel: half an inch or more in one event stops it, light scattered rain does not; North Dakota
    // State Univ., ProCrop: half an inch.
    let mut urea = SurfaceUrea::spread(NitrogenSource::Urea, None, 100.0).unwrap();
    (0..6).for_each(|_| urea.advance(Some(0.15), Some(20.0)));
    assert!(!urea.loss().ended);
    let before = urea.loss().likely_lb;
    urea.advance(Some(0.5), Some(20.0));
    (0..20).for_each(|_| urea.advance(Some(0.0), Some(20.0)));
    assert!(urea.loss().ended && before > 0.0);
    close(urea.loss().likely_lb, before, 1e-12);
    // Van Burg et al. 1982, Netherlands: 5 mm within two days kept urea fully effective. Half an inch in
    // two days does so here too; between 5 and 12.7 mm we are the more careful.
    let mut urea = SurfaceUrea::spread(NitrogenSource::Urea, None, 100.0).unwrap();
    urea.advance(Some(0.0), Some(20.0));
    urea.advance(Some(0.5), Some(20.0));
    close(urea.loss().high_lb, 0.0, 1e-12);
}

#[test]
fn urea_must_be_worked_in_within_days() {
    // North Dakota State Univ., ProCrop: work it in within 2 to 3 days where warm, up to 5 where cool;
    // an inhibitor adds up to 10 days. Nothing is lost at the short end, something past the long one.
    let likely = |held, days, warmth| after(NitrogenSource::Urea, held, days, warmth).likely_lb;
    assert!(likely(None, 2, 20.0) < 1e-9 && likely(None, 4, 20.0) > 1.0);
    assert!(likely(None, 4, 5.0) < 1e-9 && likely(None, 6, 5.0) > 0.5);
    let held = Some(Inhibitor::Urease);
    assert!(likely(held, 12, 20.0) < 1e-9 && likely(held, 14, 20.0) > 0.5);
    let mut worked = SurfaceUrea::spread(NitrogenSource::Urea, None, 100.0).unwrap();
    worked.advance(Some(0.0), Some(20.0));
    worked.work_in();
    (0..30).for_each(|_| worked.advance(Some(0.0), Some(20.0)));
    close(worked.loss().high_lb, 0.0, 1e-12);
}

#[test]
fn uan_loses_half_of_what_urea_does() {
    // Half of UAN's N is urea: by the formulas of its grade 50.0 % (28) and 50.9 % (32).
    for source in [NitrogenSource::Uan28, NitrogenSource::Uan32] {
        let uan = after(source, None, 10, 25.0).likely_lb;
        let urea = after(NitrogenSource::Urea, None, 10, 25.0).likely_lb;
        close(uan, 0.5 * urea, 1e-9);
    }
    for source in [NitrogenSource::AnhydrousAmmonia, NitrogenSource::AmmoniumNitrate] {
        assert_eq!(SurfaceUrea::spread(source, None, 100.0), None);
    }
}

#[test]
fn gallons_and_pounds_of_product() {
    // UAN 28: 10.67 lb/gal -> 2.99 lb N/gal; UAN 32: 11.06 lb/gal -> 3.54 (product chemistry sheet;
    // grades from the table of UAN solutions). 100 lb N as UAN 32 = 28.2 gal; 150 lb as anhydrous
    // (82-0-0) = 183 lb. Tolerance: printed digits.
    let row = fertilisers::of;
    close(row(NitrogenSource::Uan28).pounds_n_per_gallon().unwrap(), 2.99, 0.005);
    close(row(NitrogenSource::Uan32).pounds_n_per_gallon().unwrap(), 3.54, 0.005);
    close(row(NitrogenSource::Uan32).gallons_for(100.0).unwrap(), 28.2, 0.06);
    assert!(row(NitrogenSource::Urea).gallons_for(1.0).is_none());
    close(row(NitrogenSource::AnhydrousAmmonia).pounds_for(150.0), 183.0, 0.1);
    // 100 lb as UAN 32: 25 lb of it nitrate at once.
    close(Pass::new(NitrogenSource::Uan32, None, 100.0).nitrate(), 25.0, 1e-9);
    // The densities at 60 F agree with the specific gravities of the same grades, 1.283 and 1.320 (table of
    // UAN solutions), of 8.34 lb/gal water, to half a percent.
    for (source, gravity) in [(NitrogenSource::Uan28, 1.283), (NitrogenSource::Uan32, 1.320)] {
        let weight = row(source).pounds_per_gallon.unwrap().value;
        close(weight / (8.34 * gravity), 1.0, 0.005);
    }
}

/// Molar masses, g/mol.
const N: f64 = 14.007;
const H: f64 = 1.008;
const C: f64 = 12.011;
const O: f64 = 15.999;

#[test]
fn grades_follow_from_the_formulas() {
    // Computed: pure urea 46.6 % N, anhydrous ammonia 82.2 %, ammonium nitrate 35.0 %, to the last digit.
    // Sold grades lie at or just below.
    let urea = 100.0 * 2.0 * N / (C + O + 2.0 * N + 4.0 * H);
    let ammonia = 100.0 * N / (N + 3.0 * H);
    let nitrate = 100.0 * 2.0 * N / (2.0 * N + 4.0 * H + 3.0 * O);
    for (source, pure, printed) in [
        (NitrogenSource::Urea, urea, 46.6),
        (NitrogenSource::AnhydrousAmmonia, ammonia, 82.2),
        (NitrogenSource::AmmoniumNitrate, nitrate, 35.0),
    ] {
        close(pure, printed, 0.06);
        let sold = fertilisers::of(source).nitrogen_percent.value;
        assert!(sold <= pure && pure - sold <= 1.1, "{source:?}: {sold} of {pure}");
    }
}

#[test]
fn a_quarter_of_uan_is_nitrate_at_once_and_half_is_urea() {
    // By weight (table of UAN solutions): UAN 28 40 % ammonium nitrate and 30 % urea, UAN 32 45 and 35 %. By
    // their formulas 27.99 and 32.07 % N, nitrate .250 and .246 of it, urea .500 and .509. The grade is met
    // to 0.1 point, the shares to the 1 % that the table rounds off.
    for (source, salt, urea, grade) in
        [(NitrogenSource::Uan28, 40.0, 30.0, 27.99), (NitrogenSource::Uan32, 45.0, 35.0, 32.07)]
    {
        let of_salt = salt * 2.0 * N / (2.0 * N + 4.0 * H + 3.0 * O);
        let of_urea = urea * 2.0 * N / (C + O + 2.0 * N + 4.0 * H);
        let total = of_salt + of_urea;
        let row = fertilisers::of(source);
        close(total, grade, 0.01);
        close(row.nitrogen_percent.value, total, 0.1);
        close(row.nitrate.share(0.0), of_salt / 2.0 / total, 0.01);
        close(row.urea_share, of_urea / total, 0.01);
    }
}
