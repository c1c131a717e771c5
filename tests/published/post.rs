//! Post limits, rain-free hours and re-entry against the published record, source beside each
//! check. Values are exact: they are copied from tables, so no tolerance applies but where said.

use furrowbell_engine::clocks::Stage;
use furrowbell_engine::clocks::post_window::{self, Bound, CropNow, InForce};
use furrowbell_engine::plan::Crop;
use furrowbell_engine::reference::Standing;
use furrowbell_engine::reference::herbicides::Ingredient as I;
use furrowbell_engine::thresholds::Thresholds;

use Bound::{BeforeStage, DaysToForage, DaysToHarvest, HeightUnder, HeightUpTo, ThroughStage};
use Stage::{Emerged, Planted, Reproductive, Tassel, Vegetative};

const CORN: Crop = Crop::Corn { relative_maturity_days: 102.0 };
const SOYBEAN: Crop = Crop::Soybean { maturity_group: 2.1 };

fn corn(height_in: f64, leaves: u8) -> CropNow {
    CropNow { stage: Some(Vegetative(leaves)), height_in: Some(height_in), ..CropNow::default() }
}

fn at_stage(stage: Stage) -> CropNow {
    CropNow { stage: Some(stage), ..CropNow::default() }
}

fn stopped_by(crop: &Crop, mix: &[I], now: &CropNow) -> Vec<I> {
    post_window::passed(&post_window::limits(crop, mix, &[]), now)
        .map(InForce::ingredient)
        .collect()
}

fn stops(crop: &Crop, mix: &[I], now: &CropNow) -> bool {
    !stopped_by(crop, mix, now).is_empty()
}

/// Each row must stand in the table, read in a publication, of that year where the source has one.
#[track_caller]
fn stand(crop: &Crop, cited: &str, year: Option<u16>, rows: &[(&[I], Bound)]) {
    for (mix, bound) in rows {
        let limits = post_window::limits(crop, mix, &[]);
        let mut rows = limits.iter().filter_map(|limit| match limit {
            InForce::Typical(row) if row.ingredient == mix[0] && row.bound == *bound => Some(row),
            _ => None,
        });
        let row = rows
            .find(|row| row.source.cite.contains(cited))
            .unwrap_or_else(|| panic!("{cited} gives {mix:?} no {bound:?}"));
        assert_eq!(row.source.standing, Standing::Published, "{mix:?} {bound:?}");
        assert_eq!(row.year, year, "{mix:?} {bound:?}");
    }
}

// ---- Rows as published -------------------------------------------------------------------------

#[test]
fn corn_rows_of_maryland() {
    // Schug and Vollmer, University of Maryland Extension, "Mind the Height", 2025, Table 1.
    stand(
        &CORN,
        "Schug and Vollmer",
        Some(2025),
        &[
            (&[I::Mesotrione, I::Atrazine], HeightUpTo(12.0)),
            (&[I::Mesotrione], DaysToHarvest(45)),
            (&[I::Tembotrione], HeightUpTo(20.0)),
            (&[I::Tembotrione], ThroughStage(Vegetative(7))),
            (&[I::Tembotrione], DaysToForage(45)),
            (&[I::Topramezone, I::DimethenamidP], HeightUpTo(30.0)),
            (&[I::Topramezone, I::DimethenamidP], ThroughStage(Vegetative(8))),
            (&[I::Topramezone, I::DimethenamidP], DaysToHarvest(45)),
            (&[I::Atrazine], DaysToForage(60)),
            (&[I::Dicamba, I::Diflufenzopyr], DaysToHarvest(72)),
            (&[I::Dicamba, I::Diflufenzopyr], DaysToForage(32)),
            (&[I::TwoFourD], HeightUpTo(8.0)),
            (&[I::TwoFourDCholine], HeightUpTo(30.0)),
            (&[I::TwoFourDCholine], ThroughStage(Vegetative(8))),
            (&[I::TwoFourDCholine], DaysToHarvest(30)),
            (&[I::TwoFourDCholine], DaysToForage(50)),
            (&[I::Nicosulfuron], HeightUpTo(20.0)),
            (&[I::Nicosulfuron], ThroughStage(Vegetative(6))),
            (&[I::Nicosulfuron], DaysToHarvest(70)),
            (&[I::SMetolachlor, I::Glyphosate, I::Mesotrione], HeightUpTo(30.0)),
            (&[I::SMetolachlor, I::Glyphosate, I::Mesotrione], ThroughStage(Vegetative(8))),
            (&[I::SMetolachlor, I::Glyphosate, I::Mesotrione], DaysToHarvest(45)),
        ],
    );
}

#[test]
fn corn_rows_of_the_other_guides() {
    // Hager, Illinois Bulletin no. 9, 1 June 2012: through 8 collars or 30 in.
    stand(
        &CORN,
        "Illinois",
        Some(2012),
        &[(&[I::Glyphosate], HeightUpTo(30.0)), (&[I::Glyphosate], ThroughStage(Vegetative(8)))],
    );
    // Lingenfelter, Penn State Extension, "Post Herbicide Considerations".
    stand(
        &CORN,
        "Penn State",
        None,
        &[(&[I::Mesotrione], HeightUpTo(30.0)), (&[I::Topramezone], HeightUpTo(30.0))],
    );
    // Ikley, NDSU Crop & Pest Report, 10 June 2021.
    stand(
        &CORN,
        "North Dakota",
        Some(2021),
        &[(&[I::Atrazine], HeightUnder(12.0)), (&[I::Acetochlor], HeightUpTo(11.0))],
    );
    // South Dakota State University Extension: 8 in broadcast; Illinois Bulletin, 31 May 2002: five
    // leaves.
    stand(&CORN, "South Dakota", None, &[(&[I::Dicamba], HeightUpTo(8.0))]);
    stand(&CORN, "Illinois", Some(2002), &[(&[I::Dicamba], ThroughStage(Vegetative(5)))]);
    // Pacific Northwest Weed Management Handbook, Sweet Corn, residuals used postemergence; of
    // 20-24 in for pendimethalin the stricter.
    stand(
        &CORN,
        "Pacific Northwest",
        None,
        &[
            (&[I::DimethenamidP], HeightUpTo(12.0)),
            (&[I::DimethenamidP], DaysToHarvest(50)),
            (&[I::Pyroxasulfone], ThroughStage(Vegetative(4))),
            (&[I::Pyroxasulfone], DaysToHarvest(37)),
            (&[I::Pendimethalin], HeightUpTo(20.0)),
            (&[I::Pendimethalin], ThroughStage(Vegetative(8))),
        ],
    );
}

#[test]
fn soybean_rows() {
    // Michigan State University Extension, soybeans approaching flowering.
    stand(
        &SOYBEAN,
        "Michigan",
        None,
        &[
            (&[I::Glyphosate], ThroughStage(Reproductive(2))),
            (&[I::Glufosinate], BeforeStage(Reproductive(1))),
            (&[I::TwoFourDCholine], ThroughStage(Reproductive(1))),
            (&[I::Fomesafen], DaysToHarvest(45)),
            (&[I::Lactofen], ThroughStage(Reproductive(6))),
            (&[I::DimethenamidP], ThroughStage(Vegetative(5))),
        ],
    );
    // Dhanda, Mathew and Sarangi, University of Minnesota Extension, 2024, Table 1.
    stand(
        &SOYBEAN,
        "Dhanda, Mathew and Sarangi",
        Some(2024),
        &[
            (&[I::Lactofen], DaysToHarvest(45)),
            (&[I::Clethodim], DaysToHarvest(60)),
            (&[I::ChlorimuronEthyl], DaysToHarvest(60)),
            (&[I::Bentazon], DaysToForage(30)),
            (&[I::Quizalofop], DaysToHarvest(80)),
            (&[I::Fluthiacet], ThroughStage(Reproductive(2))),
            (&[I::Fluthiacet, I::Pyroxasulfone], ThroughStage(Vegetative(6))),
            (&[I::Fluthiacet], DaysToHarvest(60)),
            (&[I::SMetolachlor], DaysToHarvest(75)),
        ],
    );
    // NDSU Crop & Pest Report, 29 June 2006; Hager, Illinois Bulletin no. 18, 24 July 2009; Penn
    // State: not past flowering.
    stand(&SOYBEAN, "North Dakota", Some(2006), &[(&[I::Glyphosate], DaysToHarvest(14))]);
    stand(
        &SOYBEAN,
        "Illinois",
        Some(2009),
        &[
            (&[I::Imazethapyr], BeforeStage(Reproductive(1))),
            (&[I::Imazethapyr], DaysToHarvest(85)),
        ],
    );
    stand(
        &SOYBEAN,
        "Penn State",
        None,
        &[(&[I::CloransulamMethyl], ThroughStage(Reproductive(2)))],
    );
    // Hartzler, Iowa State, 2014: groups 3 and 14 of the soil before soybean is up.
    stand(
        &SOYBEAN,
        "Hartzler",
        Some(2014),
        &[
            (&[I::Pendimethalin], BeforeStage(Emerged)),
            (&[I::Flumioxazin], BeforeStage(Emerged)),
            (&[I::Sulfentrazone], BeforeStage(Emerged)),
            (&[I::Saflufenacil], BeforeStage(Emerged)),
        ],
    );
}

// ---- Cases -------------------------------------------------------------------------------------

#[test]
fn atrazine_ends_at_twelve_inches() {
    // Ikley, NDSU, 10 June 2021: before corn reaches 12 in; at 12 or taller leave it out.
    let mix = [I::Glyphosate, I::Atrazine];
    assert_eq!(stopped_by(&CORN, &mix, &corn(12.0, 5)), [I::Atrazine]);
    assert!(!stops(&CORN, &mix, &corn(11.9, 5)));
}

#[test]
fn acetochlor_ends_a_premix_at_eleven_inches() {
    // Same: many premixes end at 11 in because of their acetochlor.
    let mix = [I::Acetochlor, I::Atrazine];
    assert_eq!(stopped_by(&CORN, &mix, &corn(11.5, 5)), [I::Acetochlor]);
    assert!(!stops(&CORN, &mix, &corn(11.0, 5)));
}

#[test]
fn glyphosate_in_corn_ends_after_v8_or_thirty_inches() {
    // Hager, Illinois Bulletin no. 9, 1 June 2012: whichever comes first.
    let glyphosate = |height, leaves| stops(&CORN, &[I::Glyphosate], &corn(height, leaves));
    assert!(!glyphosate(28.0, 8));
    assert!(glyphosate(28.0, 9));
    assert!(glyphosate(30.1, 8));
    assert!(glyphosate(31.0, 7));
}

#[test]
fn atrazine_brings_mesotrione_down_to_twelve_inches() {
    // Schug and Vollmer, 2025, Table 1; the 30 in of mesotrione alone is Lingenfelter's.
    let at = corn(12.5, 5);
    assert!(!stops(&CORN, &[I::Mesotrione], &at));
    let past = stopped_by(&CORN, &[I::Mesotrione, I::Atrazine], &at);
    assert!(past.contains(&I::Mesotrione) && past.contains(&I::Atrazine));
}

#[test]
fn the_strictest_partner_of_a_mix_governs() {
    // Schug and Vollmer, 2025, and Dhanda, Mathew and Sarangi, 2024: the most restrictive partner.
    let now = CropNow { days_to_harvest: Some(60), ..corn(9.0, 5) };
    let mix = [I::Glyphosate, I::TwoFourD, I::Nicosulfuron];
    let mut past = stopped_by(&CORN, &mix, &now);
    past.dedup();
    assert_eq!(past, [I::TwoFourD, I::Nicosulfuron]);
}

#[test]
fn open_flowers_stop_glufosinate_and_not_the_others() {
    // Michigan State University Extension, "Thinking about making a postemergence herbicide
    // application in soybeans approaching flowering?"
    let past = |one, stage| stops(&SOYBEAN, &[one], &at_stage(stage));
    let r1 = Reproductive(1);
    assert!(past(I::Glufosinate, r1) && !past(I::Glufosinate, Vegetative(7)));
    assert!(!past(I::TwoFourDCholine, r1) && past(I::TwoFourDCholine, Reproductive(2)));
    assert!(!past(I::Glyphosate, Reproductive(2)) && past(I::Glyphosate, Reproductive(3)));
    assert!(past(I::Sulfentrazone, Emerged) && !past(I::Sulfentrazone, Planted));
}

#[test]
fn imazethapyr_wants_eighty_five_days_to_harvest() {
    // Hager, Illinois Bulletin no. 18, 24 July 2009: before bloom and 85 days.
    let now = |days| CropNow { days_to_harvest: Some(days), ..at_stage(Vegetative(5)) };
    assert_eq!(stopped_by(&SOYBEAN, &[I::Imazethapyr], &now(80)), [I::Imazethapyr]);
    assert!(!stops(&SOYBEAN, &[I::Imazethapyr], &now(85)));
}

#[test]
fn corn_must_have_some_size_for_dicamba_with_diflufenzopyr() {
    // University of Delaware, Weekly Crop Update: corn of at least 4 in or V2.
    let mix = [I::Dicamba, I::Diflufenzopyr];
    let small = |now| post_window::too_small(&CORN, &mix, &now).next().is_some();
    assert!(small(corn(3.0, 1)));
    assert!(!small(corn(4.0, 1)) && !small(corn(3.0, 2)));
}

#[test]
fn drop_nozzles_stretch_what_is_shown_and_never_the_broadcast_limit() {
    // Schug and Vollmer, 2025, Table 1: 2,4-D choline to 48 in, nicosulfuron to 36 in or V10, 2,4-D
    // before tassel. SDSU Extension: dicamba directed to 36 in. Penn State: glufosinate to 36 in.
    for (one, bound) in [
        (I::TwoFourDCholine, HeightUpTo(48.0)),
        (I::Nicosulfuron, HeightUpTo(36.0)),
        (I::Nicosulfuron, ThroughStage(Vegetative(10))),
        (I::TwoFourD, BeforeStage(Tassel)),
        (I::Dicamba, HeightUpTo(36.0)),
        (I::Glufosinate, HeightUpTo(36.0)),
    ] {
        let shown = post_window::with_drop_nozzles(&CORN, &[one]);
        let row = shown.iter().find(|row| row.bound == bound);
        assert_eq!(row.map(|row| row.source.standing), Some(Standing::Published), "{one:?}");
        let broadcast = post_window::limits(&CORN, &[one], &[]);
        assert!(broadcast.iter().all(|limit| limit.bound() != bound), "{one:?}");
    }
    assert!(stops(&CORN, &[I::TwoFourDCholine], &corn(31.0, 8)));
    // Same table and NDSU, 2021: no drop-nozzle option for atrazine.
    assert!(post_window::with_drop_nozzles(&CORN, &[I::Atrazine]).is_empty());
}

// ---- Rain, re-entry, spacing -------------------------------------------------------------------

#[test]
fn rain_free_hours_stand_as_published() {
    // University of Nebraska-Lincoln, CropWatch, 2016, Table 1, whole; the glyphosate row is that of
    // the salts other than potassium (0.5 h).
    for (one, hours) in [
        (I::TwoFourD, 1.0),
        (I::Carfentrazone, 1.0),
        (I::Dicamba, 4.0),
        (I::Paraquat, 0.5),
        (I::Glyphosate, 1.0),
        (I::Imazethapyr, 1.0),
        (I::Imazaquin, 2.0),
        (I::CloransulamMethyl, 2.0),
        (I::Glufosinate, 4.0),
        (I::Saflufenacil, 1.0),
        (I::Flumioxazin, 1.0),
    ] {
        let row = post_window::rainfast(&[one]).unwrap();
        assert!((row.value - hours).abs() < f64::EPSILON, "{one:?}");
        assert_eq!((row.source.standing, row.year), (Standing::Published, Some(2016)), "{one:?}");
    }
    let premix = post_window::rainfast(&[I::Saflufenacil, I::DimethenamidP]).unwrap();
    assert!((premix.value - 1.0).abs() < f64::EPSILON);
    // Pacific Northwest Weed Management Handbook, Sweet Corn, "Postemergence".
    let bentazon = post_window::rainfast(&[I::Bentazon]).unwrap();
    assert!((bentazon.value - 4.0).abs() < f64::EPSILON);
}

#[test]
fn the_slowest_partner_sets_rainfastness_and_re_entry() {
    // Nebraska, 2016, Table 1: 1, 2 and 4 h, so rain in 3 h is too soon.
    let mix = [I::Glyphosate, I::CloransulamMethyl, I::Glufosinate];
    let rainfast = post_window::rainfast(&mix).unwrap();
    assert_eq!(rainfast.ingredient, I::Glufosinate);
    assert!(rainfast.value > 3.0);
    // From memory of labels: 4 h for glyphosate, 48 h for 2,4-D. 40 CFR 170: the longest holds.
    let reentry = post_window::reentry(&[I::Glyphosate, I::TwoFourD]).unwrap();
    assert!((reentry.value - 48.0).abs() < f64::EPSILON);
    assert_eq!(reentry.source.standing, Standing::FromMemory);
}

#[test]
fn passes_of_2_4_d_choline_stand_twelve_days_apart() {
    // From memory of labels.
    let spacing = post_window::spacing(&[I::Glyphosate, I::TwoFourDCholine]).unwrap();
    assert!((spacing.value - 12.0).abs() < f64::EPSILON);
    assert_eq!(spacing.source.standing, Standing::FromMemory);
    assert!(post_window::spacing(&[I::Glyphosate]).is_none());
}

#[test]
fn the_pass_must_beat_four_inch_weeds_and_three_with_glufosinate() {
    // University of Minnesota Extension, 2022: before 3 to 4 in; Singh et al., best practices for
    // glufosinate: below 3 in; Hager, 2014: Palmer amaranth at most 4 in.
    let height = |mix: &[_]| post_window::weed_height_in(mix, &Thresholds::default());
    assert!((height(&[]) - 4.0).abs() < f64::EPSILON);
    assert!((height(&[I::Glyphosate]) - 4.0).abs() < f64::EPSILON);
    assert!((height(&[I::Glyphosate, I::Glufosinate]) - 3.0).abs() < f64::EPSILON);
}
