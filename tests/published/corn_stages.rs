//! Corn's leaves, height and later stages against the published record, source beside each check.

use chrono::{Datelike, NaiveDate};
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::clocks::corn::{self, Corn, LeafRate, Rating};
use furrowbell_engine::clocks::growth::{HEAT_SPREAD, Pace};
use furrowbell_engine::clocks::heat::{self, SoilGdd, Warmth, gdd_f};
use furrowbell_engine::reference::crops;
use furrowbell_engine::units::{Celsius, Latitude};
use furrowbell_published::{AMES, Row, close, mean, number, rows};
use std::collections::BTreeMap;

/// The source of the weather alone moves a season's sum by 6 % on average, so nothing that real
/// weather decides may be held to less than 5 %.
const WEATHER_TOLERANCE: f64 = 0.06;

fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

/// Corn of 115 GDD to emergence after so much heat.
fn grown(pace: Pace, gdd: f64) -> Corn {
    let mut corn = Corn::planted(115.0, 112.0, date(2026, 5, 1)).paced(pace);
    corn.advance(gdd);
    corn
}

/// GDD from planting at which V`n` begins, 115 to emerge: by 82 and 50 (Nielsen, Use thermal time
/// to predict leaf stage development, Purdue Univ., 2019), by 84 and 56 (Abendroth et al., PMR
/// 1009, Iowa State Univ., 2011). Worked from the published rates.
const STAGES: [(u8, f64, f64); 16] = [
    (1, 197.0, 199.0),
    (2, 279.0, 283.0),
    (3, 361.0, 367.0),
    (4, 443.0, 451.0),
    (5, 525.0, 535.0),
    (6, 607.0, 619.0),
    (7, 689.0, 703.0),
    (8, 771.0, 787.0),
    (9, 853.0, 871.0),
    (10, 935.0, 955.0),
    (11, 985.0, 1011.0),
    (12, 1035.0, 1067.0),
    (14, 1135.0, 1179.0),
    (16, 1235.0, 1291.0),
    (18, 1335.0, 1403.0),
    (20, 1435.0, 1515.0),
];

#[test]
fn the_likely_clock_follows_purdue() {
    for (collar, purdue, _) in STAGES {
        close(115.0 + LeafRate::PURDUE.gdd(f64::from(collar)), purdue, 1e-9);
        close(grown(Pace::Likely, purdue).collars(), f64::from(collar), 1e-9);
    }
}

#[test]
fn the_slow_clock_follows_iowa_state() {
    for (collar, _, iowa) in STAGES {
        close(115.0 + LeafRate::IOWA.gdd(f64::from(collar)), iowa, 1e-9);
        close(grown(Pace::Slow, iowa).collars(), f64::from(collar), 1e-9);
    }
}

#[test]
fn the_two_tables_of_one_school_agree_to_half_a_stage() {
    // To V10 in stages; after it, where the two count 50 against 56 a collar, in heat.
    for (collar, purdue, iowa) in STAGES {
        if collar <= 10 {
            close(grown(Pace::Likely, iowa).collars(), f64::from(collar), 0.5);
        } else {
            close(purdue / iowa, 1.0, WEATHER_TOLERANCE);
        }
    }
}

#[test]
fn the_stage_turns_at_the_collar_and_not_before() {
    for (collar, purdue, _) in STAGES.into_iter().filter(|(collar, ..)| *collar <= 16) {
        assert_eq!(grown(Pace::Likely, purdue + 0.01).stage(), Stage::Vegetative(collar));
        assert!(grown(Pace::Likely, purdue - 0.01).stage() < Stage::Vegetative(collar));
    }
}

#[test]
fn the_hail_example_gives_v8() {
    // Staging corn with severe leaf damage early in the season, C.O.R.N. newsletter 2018-15, Ohio
    // State Univ.: (785 - 120) / 82 = 8.1, V8.
    close(LeafRate::PURDUE.collars(785.0 - 120.0), 8.1, 0.05);
    let mut clock = Corn::planted(120.0, 108.0, date(2018, 5, 1));
    clock.advance(785.0);
    assert_eq!(clock.stage(), Stage::Vegetative(8));
}

#[test]
fn four_collars_take_what_illinois_says() {
    // Nafziger, Illinois Bulletin, 27 May 2005: V4 to V8 = 4 x 85 = 340 GDD. Tolerance: 3 GDD a
    // collar, by which that school's tables differ (82, 84, 85).
    for rate in [LeafRate::PURDUE, LeafRate::IOWA] {
        close(rate.gdd(8.0) - rate.gdd(4.0), 340.0, 12.0);
    }
}

/// Seven years of a station in southern Wisconsin, F.
const MILWAUKEE: &str = "daily/milwaukee_wi_USW00014839_2012-2013_2018-2022.csv";

/// Heat of each day of a record with these columns for high and low.
fn record(name: &str, high: &str, low: &str) -> Option<BTreeMap<NaiveDate, f64>> {
    let day = |row: &Row| {
        let heat = gdd_f(number(row, high)?, number(row, low)?);
        Some((row["date"].parse().unwrap(), heat))
    };
    Some(rows(name)?.iter().filter_map(day).collect())
}

fn ames() -> Option<BTreeMap<NaiveDate, f64>> {
    record(AMES, "high_f", "low_f")
}

/// Mean heat of the days of all years from one day of the year to another.
fn mean_heat(record: &BTreeMap<NaiveDate, f64>, from: (u32, u32), to: (u32, u32)) -> f64 {
    let within = |day: &NaiveDate| (from..=to).contains(&(day.month(), day.day()));
    let days: Vec<f64> =
        record.iter().filter(|(day, _)| within(day)).map(|(_, heat)| *heat).collect();
    mean(&days)
}

#[test]
fn leaves_come_as_often_as_illinois_counts_them() {
    // Nafziger, Illinois Bulletin, 27 May 2005: a leaf every 5 to 7 days in late May, about two a
    // week by mid-June (3.5 days; "about": half a day). Ames 8 WSW, Iowa, the mean of five years.
    let Some(record) = ames() else { return };
    let late_may = LeafRate::PURDUE.early / mean_heat(&record, (5, 20), (5, 31));
    assert!((5.0..=7.0).contains(&late_may), "{late_may}");
    close(LeafRate::PURDUE.early / mean_heat(&record, (6, 8), (6, 20)), 3.5, 0.5);
}

#[test]
fn three_collars_at_350() {
    // Karhoff, Corn growing degree days, Ohio State Univ., 2023: about 350 from planting at V3.
    // Tolerance: "about", a quarter of a collar.
    close(grown(Pace::Likely, 350.0).collars(), 3.0, 0.25);
}

// Dos Santos et al., Front. Plant Sci. 13:872738, 2022, abstract: 57.9 +- 7.5 C d a leaf up to leaf
// 9.8 +- 1.2, then 30.9 +- 5.7, n 4694, US Corn Belt 2009-19.

#[test]
fn real_leaves_turn_fast_at_the_same_leaf() {
    close(f64::from(crops::CORN_LEAF_BREAK), 9.8, 1.2);
}

#[test]
fn real_leaves_speed_up_in_the_same_proportion() {
    // The ratio does not hang on the base temperature: 0.53 +- 0.12 (errors added in squares). Iowa
    // State's 56 over 84 = 0.67 lies just outside: it is the slow end.
    close(LeafRate::PURDUE.late / LeafRate::PURDUE.early, 30.9 / 57.9, 0.12);
}

#[test]
fn real_leaves_take_the_same_heat() {
    // Base 8 C from memory. At a steady 20 C a day is 12 C d there and 18 GDD here: 86.9 +- 11.3 a
    // leaf, then 46.4 +- 8.6.
    for rate in [LeafRate::PURDUE, LeafRate::IOWA] {
        close(rate.early, 57.9 / 12.0 * 18.0, 7.5 / 12.0 * 18.0);
    }
    close(LeafRate::PURDUE.late, 30.9 / 12.0 * 18.0, 5.7 / 12.0 * 18.0);
}

#[test]
fn the_dissenting_leaf_school_is_two_stages_off_and_is_not_mixed_in() {
    // Lauer, Wisconsin Crop Manager W027, 1996, Arlington means: VE 125, V4 380, V8 600, V12 900
    // GDD. By its own emergence our clock stands about two stages behind at V8, which is the
    // schools' distance; every pace keeps both its rates from one table.
    let at = |gdd: f64| LeafRate::PURDUE.collars(gdd - 125.0);
    close(8.0 - at(600.0), 2.0, 0.5);
    assert!(at(380.0) < 4.0 && at(900.0) < 12.0);
    // 50 to 60 GDD a collar there: outside anything a pace goes by.
    for pace in Pace::ALL {
        let rate = LeafRate::of(pace);
        assert!(rate == LeafRate::PURDUE || rate == LeafRate::IOWA);
        assert!(rate.early > 60.0);
    }
}

/// Heat from the day after `from` to `to` in a usual year.
fn usual(latitude: f64, from: NaiveDate, to: NaiveDate) -> f64 {
    let latitude = Latitude::new(latitude).unwrap();
    let days = from.iter_days().skip(1).take_while(|day| *day <= to);
    days.map(|day| heat::normal_gdd(latitude, day)).sum()
}

#[test]
fn the_spread_of_coming_heat_is_that_of_forty_springs() {
    // Lauer, Wisconsin Crop Manager W132, 2003, Arlington, 3 May to 18 June 1963-2003: 591 +- 80
    // GDD, extremes 431 and 772. The outlook's fifth either way holds more than one standard
    // deviation and less than the extremes.
    let spread = HEAT_SPREAD.value;
    assert!(spread > 80.0 / 591.0);
    let [coldest, warmest] = [431.0, 772.0].map(|gdd: f64| (gdd / 591.0 - 1.0).abs());
    assert!(spread < coldest.min(warmest));
}

#[test]
fn the_usual_spring_of_arlington_lies_in_the_spread_of_the_outlook() {
    // The same paper: from 15 April 704 GDD to 18 June, from 3 May 591. Our curve for its latitude,
    // one for the whole Corn Belt, stands warm against that cold place of 1963-2003 and must stay
    // within the spread the outlook allows for.
    let june = date(2026, 6, 18);
    for (from, gdd) in [(date(2026, 4, 15), 704.0), (date(2026, 5, 3), 591.0)] {
        let found = usual(43.3, from, june);
        println!("{from} {found:.0} for {gdd}");
        close(found, gdd, HEAT_SPREAD.value * gdd);
    }
}

#[test]
fn the_usual_months_of_ames_lie_in_the_spread_of_the_outlook() {
    // Ames 8 WSW, Iowa, May to July of the years on record, 42 N.
    let Some(record) = ames() else { return };
    for (month, last) in [(5, 31), (6, 30), (7, 31)] {
        let first = date(2026, month, 1).pred_opt().unwrap();
        let found = usual(42.0, first, date(2026, month, last)) / f64::from(last);
        let seen = mean_heat(&record, (month, 1), (month, last));
        println!("month {month}: {found:.1} for {seen:.1}");
        close(found, seen, HEAT_SPREAD.value * seen);
    }
}

#[test]
fn the_growing_point_rises_at_v6() {
    // Larson, How to determine corn vegetative growth stages, Mississippi State Univ., 2024.
    assert!(!grown(Pace::Likely, 606.9).growing_point_is_above());
    assert!(grown(Pace::Likely, 607.1).growing_point_is_above());
}

#[test]
fn soil_heat_drives_corn_to_v6_and_no_further() {
    // Nielsen, Purdue Univ.: soil temperature foretells growth better than air until about V6. A
    // warm soil under cold air moves young corn and leaves grown corn alone.
    let f = |value: f64| Celsius::from_fahrenheit(value).unwrap();
    let warm = Warmth { air: Some(0.0), soil: Some(SoilGdd::of_day(f(86.0).get(), f(60.0).get())) };
    for (gdd, moves) in [(300.0, true), (600.0, true), (608.0, false), (900.0, false)] {
        let mut corn = grown(Pace::Likely, gdd);
        let before = corn.collars();
        corn.advance(warm);
        assert_eq!(corn.collars() > before, moves, "at {gdd}");
    }
}

#[test]
fn the_round_tipped_leaf_is_counted() {
    // Corn growth and management, NDSU A1173: the leaf-collar method counts the first, round-tipped
    // leaf too. The first collar of the clock is then V1, one rate after emergence, not V0 or V2.
    assert_eq!(grown(Pace::Likely, 115.0 + 81.9).stage(), Stage::Emerged);
    assert_eq!(grown(Pace::Likely, 115.0 + 82.1).stage(), Stage::Vegetative(1));
}

#[test]
fn height_at_v3() {
    // Larson, Mississippi State Univ., 2024: 5 to 7 in.
    assert_eq!(corn::height_in(3.0), (5.0, 7.0));
}

#[test]
fn height_at_v5() {
    // Larson, Mississippi State Univ., 2024: 10 to 14 in.
    assert_eq!(corn::height_in(5.0), (10.0, 14.0));
}

#[test]
fn height_at_v6() {
    // Larson, Mississippi State Univ., 2024: 14 to 20 in.
    assert_eq!(corn::height_in(6.0), (14.0, 20.0));
}

#[test]
fn height_from_memory_at_v4_v7_v8_and_v10() {
    // Extension stage descriptions, from memory: 8 to 10, about 24, 24 to 30, 36 in and over.
    assert_eq!(corn::height_in(4.0), (8.0, 10.0));
    let (low, high) = corn::height_in(7.0);
    assert!(low < 24.0 && 24.0 < high);
    assert_eq!(corn::height_in(8.0), (24.0, 30.0));
    assert!(corn::height_in(10.0).0 >= 36.0);
}

#[test]
fn northern_corn_may_stay_under_the_southern_table() {
    // The table is southern and northern plants tend to be shorter, by how much is from memory:
    // only the slow pace goes under the printed low end, and no pace over the high one.
    let v5 = 115.0 + LeafRate::PURDUE.gdd(5.0);
    close(grown(Pace::Fast, v5).height_in(), 14.0, 1e-9);
    close(grown(Pace::Likely, v5).height_in(), 12.0, 1e-9);
    let slow_v5 = 115.0 + LeafRate::IOWA.gdd(5.0);
    assert!(grown(Pace::Slow, slow_v5).height_in() < 10.0);
}

#[test]
fn a_hybrid_planted_on_31_may_needs_less_than_2500() {
    // Nielsen & Thomison, Hybrid maturities for delayed planting, Purdue and Ohio State Univ.: 2700
    // GDD, 6.8 a day after 1 May. Exact.
    close(corn::late_planted_gdd(Rating::FromPlanting(2700.0), date(2020, 5, 31)), 2496.0, 1e-9);
}

#[test]
fn a_hybrid_planted_on_30_may_needs_just_over_2500() {
    // Karhoff, Corn growing degree days, Ohio State Univ., 2023, the same rule. Exact.
    close(corn::late_planted_gdd(Rating::FromPlanting(2700.0), date(2020, 5, 30)), 2502.8, 1e-9);
}

#[test]
fn early_planting_adds_nothing_to_a_rating() {
    close(corn::late_planted_gdd(Rating::FromPlanting(2700.0), date(2020, 4, 20)), 2700.0, 1e-9);
}

#[test]
fn a_rating_from_emergence_lacks_the_heat_to_emergence() {
    // Indiana corn hybrid maturity decisions for delayed planting, Purdue Univ. Extension, 2022:
    // ratings are counted from planting or from emergence; the difference is about 115.
    let (from_emergence, from_planting) =
        (Rating::FromEmergence(2585.0), Rating::FromPlanting(2700.0));
    close(from_emergence.since_planting(), from_planting.since_planting(), 1e-9);
    let on = date(2020, 5, 31);
    close(corn::late_planted_gdd(from_emergence, on), 2496.0, 1e-9);
}

#[test]
fn indiana_ratings_run_from_2500_to_2800() {
    // Nielsen, Purdue Univ.: about 2500 (early) to 2800 (late) from planting. The line, which is
    // from memory, must give that range for hybrids of 105 to 116 days; tolerance 1 %, "about".
    let rating = |days| corn::black_layer_rating(days).since_planting();
    close(rating(105.0), 2500.0, 28.0);
    close(rating(116.0), 2800.0, 28.0);
}

#[test]
fn the_remembered_lines_give_their_remembered_points() {
    // From memory: 95, 105 and 110 days silk at 1189, 1303, 1361 and are ripe at 2280, 2522, 2642
    // GDD.
    for (days, silk, ripe) in
        [(95.0, 1189.0, 2280.0), (105.0, 1303.0, 2522.0), (110.0, 1361.0, 2642.0)]
    {
        close(corn::silk_gdd(days), silk, 1.0);
        close(corn::black_layer_rating(days).since_planting(), ripe, 1.0);
    }
}

// Planting to silk at 14 upper Corn Belt site-years of the Genomes to Fields trials, 2018-19, by
// weather source, worked from the data: 1297 +- 100 (gridded), 1360 +- 75 (stations), 1387 +- 70
// (airports).
const SEEN_SILK: [(f64, f64); 3] = [(1297.0, 100.0), (1360.0, 75.0), (1387.0, 70.0)];

#[test]
fn silk_comes_where_the_trials_saw_it() {
    // Their hybrids are of about 110 days (from memory). Within one standard deviation of each
    // source.
    for (silk, spread) in SEEN_SILK {
        close(corn::silk_gdd(110.0), silk, spread);
    }
}

#[test]
fn the_weather_source_alone_moves_a_season_by_six_percent() {
    // Gridded to airport 0.935: the three sources differ by more than 5 % on the same fields, so no
    // check over real weather may be tighter.
    let [(gridded, _), _, (airports, _)] = SEEN_SILK;
    close(gridded / airports, 0.935, 0.001);
    assert!(1.0 - gridded / airports > 0.05);
    const { assert!(WEATHER_TOLERANCE >= 0.05) };
}

#[test]
fn the_paces_hold_two_thirds_of_the_trials() {
    // One standard deviation by station weather: 1285 to 1435 GDD.
    let silk_of = |pace: Pace| {
        let mut corn = Corn::planted(115.0, 110.0, date(2019, 5, 10)).paced(pace);
        (1..3000).find(|_| {
            corn.advance(1.0);
            corn.stage() >= Stage::Reproductive(1)
        })
    };
    let [fast, likely, slow] = Pace::ALL.map(|pace| f64::from(silk_of(pace).unwrap()));
    close(fast, 1285.0, 0.01 * 1285.0);
    close(likely, 1360.0, 0.01 * 1360.0);
    close(slow, 1435.0, 0.01 * 1435.0);
}

/// Days from planting to emergence, silk and black layer.
fn days_of(
    record: &BTreeMap<NaiveDate, f64>,
    planted: NaiveDate,
    maturity: f64,
) -> Option<[f64; 3]> {
    let mut corn = Corn::planted(115.0, maturity, planted);
    let stages = [Stage::Emerged, Stage::Reproductive(1), Stage::Reproductive(6)];
    let mut reached = [None; 3];
    for (day, heat) in record.range(planted.succ_opt()?..).take(200) {
        corn.advance(*heat);
        for (reached, stage) in reached.iter_mut().zip(stages) {
            let days = i32::try_from((*day - planted).num_days()).ok().map(f64::from);
            *reached = reached.or_else(|| days.filter(|_| corn.stage() >= stage));
        }
    }
    Some([reached[0]?, reached[1]?, reached[2]?])
}

#[test]
fn silk_takes_as_many_days_at_ames_as_in_the_trials() {
    // Genomes to Fields 2014-19, 53 Corn Belt site-years: 67.6 +- 7.8 days from planting to silk.
    // Ames 8 WSW, Iowa, planted 10 May, 110 days: the mean of four years within that spread.
    let Some(record) = ames() else { return };
    let took: Vec<f64> = [2012, 2013, 2021, 2023]
        .into_iter()
        .map(|year| {
            let planted = date(year, 5, 10);
            let mut corn = Corn::planted(115.0, 110.0, planted);
            let silk = record.range(date(year, 5, 11)..date(year, 8, 31)).find(|(_, heat)| {
                corn.advance(**heat);
                corn.stage() >= Stage::Reproductive(1)
            });
            f64::from(i32::try_from((*silk.unwrap().0 - planted).num_days()).unwrap())
        })
        .collect();
    println!("{took:?}");
    close(mean(&took), 67.6, 7.8);
}

#[test]
fn a_wisconsin_season_takes_its_days() {
    // Lauer, A016, Univ. of Wisconsin, 1997: silk about 65 days after emergence, maturity about
    // 120, southern Wisconsin. Milwaukee, seven years, planted 5 May, 104 days; tolerance 6 %, by
    // which the weather's source moves the sums.
    let Some(record) = record(MILWAUKEE, "TMAX", "TMIN") else { return };
    let seasons: Vec<[f64; 3]> = [2012, 2013, 2018, 2019, 2020, 2021, 2022]
        .into_iter()
        .map(|year| days_of(&record, date(year, 5, 5), 104.0).unwrap())
        .collect();
    let mean_of = |to: usize| -> f64 {
        mean(&seasons.iter().map(|season| season[to] - season[0]).collect::<Vec<_>>())
    };
    println!("{:.1} {:.1}", mean_of(1), mean_of(2));
    close(mean_of(1), 65.0, WEATHER_TOLERANCE * 65.0);
    close(mean_of(2), 120.0, WEATHER_TOLERANCE * 120.0);
}

#[test]
fn silk_of_three_maturities_lies_on_the_line() {
    // High Plains Regional Climate Center, crop tables for corn: silk at 1143.6, 1200 and 1272.5
    // GDD for three maturity groups, all within the line's span from 90 to 103 days.
    for silk in [1143.6, 1200.0, 1272.5] {
        assert!((corn::silk_gdd(90.0)..=corn::silk_gdd(103.0)).contains(&silk));
    }
}

#[test]
fn kernels_ripen_within_a_stage_of_the_high_plains() {
    // High Plains Regional Climate Center: blister (R2), dough (R4), beginning and full dent (R5)
    // and black layer (R6) at shares of the heat from silk to black layer, middle group: 1200 to
    // 2400. That table and Lauer's, by which ours goes, differ by up to a stage.
    let (silk, ripe) = (corn::silk_gdd(112.0), corn::black_layer_rating(112.0).since_planting());
    for (gdd, stage) in [(1440.0, 2_u8), (1680.0, 4), (1920.0, 5), (2160.0, 5), (2400.0, 6)] {
        let share = (gdd - 1200.0) / (2400.0 - 1200.0);
        let Stage::Reproductive(shown) =
            grown(Pace::Likely, silk + share * (ripe - silk) + 1e-6).stage()
        else {
            panic!("silk is over")
        };
        assert!(shown.abs_diff(stage) <= 1, "R{shown} where R{stage} is printed");
    }
}

/// Lauer, Corn development, Univ. of Wisconsin, hybrids of 95 to 105 days: VT 1200, R3 1550, R4
/// 1900, R5 2200, R6 2400 to 2600 GDD. Ours for 100 days within the tolerance of real weather.
#[test]
fn tassel_to_black_layer_follow_wisconsin() {
    let at = |stage: Stage| {
        let mut corn = Corn::planted(115.0, 100.0, date(2026, 5, 1));
        let gdd = (1..3000).find(|_| {
            corn.advance(1.0);
            corn.stage() >= stage
        });
        f64::from(gdd.unwrap())
    };
    for (stage, gdd) in [
        (Stage::Tassel, 1200.0),
        (Stage::Reproductive(3), 1550.0),
        (Stage::Reproductive(4), 1900.0),
        (Stage::Reproductive(5), 2200.0),
        (Stage::Reproductive(6), 2400.0),
    ] {
        close(at(stage), gdd, WEATHER_TOLERANCE * gdd);
    }
}
