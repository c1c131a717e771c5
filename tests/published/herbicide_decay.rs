//! Decay of soil-applied herbicides against the published record, source beside each check.

use chrono::{Days, NaiveDate};
use furrowbell_engine::clocks::residual::{self, Residual, SoilDay};
use furrowbell_engine::reference::herbicides::{Ingredient, decay, mobility, soil};
use furrowbell_engine::site::Texture;
use furrowbell_engine::thresholds::Thresholds;
use furrowbell_engine::units::Celsius;
use furrowbell_published::close;

fn day(offset: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, 1).unwrap() + Days::new(offset)
}

/// Factor of one study soil: its temperature, its water content and that at pF 2.
fn factor(celsius: f64, content: f64, texture: Texture) -> f64 {
    decay::temperature_factor(celsius, decay::Q10)
        * decay::moisture_factor(content / decay::moistures(texture).pf2, decay::MOISTURE_EXPONENT)
}

#[test]
fn normalises_a_warm_moist_study() {
    // Ranke, R package mkin, test of f_time_norm_focus: 25 C, moisture 20 of 25 -> 1.37.
    close(factor(25.0, 20.0, Texture::Loam), 1.374, 0.001);
}

#[test]
fn normalises_the_soils_of_the_european_2_4_d_file() {
    // Addendum to the Renewal Assessment Report 2,4-D, 2014, pp. 683-687 (soils, temperatures,
    // half of the water at pF 1), and the factors for them in R package mkin, data set D24_2014.
    let half_of_pf1 = |texture| factor(20.0, 0.5 * decay::moistures(texture).pf1, texture);
    close(decay::temperature_factor(25.0, decay::Q10), 1.606, 0.0005);
    close(half_of_pf1(Texture::SiltLoam), 0.712, 0.0005);
    close(half_of_pf1(Texture::Loam), 0.716, 0.0005);
    close(half_of_pf1(Texture::LoamySand), 0.898, 0.0005);
}

#[test]
fn normalises_the_soils_of_the_european_dimethenamid_file() {
    // Renewal Assessment Report Dimethenamid-P, Vol. 3 B.8, 2018: soils and moistures pp. 9-25,
    // factors pp. 45, 51 and 56.
    let pf1 = |texture| decay::moistures(texture).pf1;
    let pf2 = decay::moistures(Texture::SandyLoam).pf2;
    close(factor(20.0, pf2, Texture::SandyLoam), 1.0, 0.0005);
    close(factor(20.0, 0.5 * 23.0, Texture::Sand), 0.971, 0.0005);
    close(factor(23.0, 0.75 * 33.37, Texture::ClayLoam), 1.329 * 0.924, 0.001);
    close(factor(20.0, 0.4 * pf1(Texture::SandyClayLoam), Texture::SandyClayLoam), 0.623, 0.0005);
    close(factor(20.0, 0.4 * pf1(Texture::LoamySand), Texture::LoamySand), 0.768, 0.0005);
    close(factor(20.0, 0.4 * pf1(Texture::SandyLoam), Texture::SandyLoam), 0.673, 0.0005);
}

#[test]
fn texture_classes_hold_the_water_that_focus_gives() {
    // FOCUS, Generic Guidance for Tier 1 FOCUS Ground Water Assessments v2.2, 2014, p. 36: percent
    // by weight at pF 1 and pF 2, coarse to fine in the order of Texture::ALL.
    let published = [
        (24.0, 12.0),
        (24.0, 14.0),
        (27.0, 19.0),
        (31.0, 25.0),
        (32.0, 26.0),
        (31.0, 27.0),
        (28.0, 22.0),
        (32.0, 28.0),
        (34.0, 30.0),
        (41.0, 35.0),
        (44.0, 40.0),
        (53.0, 48.0),
    ];
    for (texture, (pf1, pf2)) in Texture::ALL.into_iter().zip(published) {
        assert_eq!(decay::moistures(texture), decay::Moistures { pf1, pf2 }, "{texture:?}");
    }
}

#[test]
fn first_order_decay_follows_a_measured_soil() {
    // Same report, pp. 19-20, soil Borstel at 20 C: percent of dimethenamid-P left, mean of two.
    // The half-life is taken from the fourth week and must foretell the weeks round it.
    let half_life = 28.0 / (100.05_f64 / 51.4).log2();
    for (days, left) in [(7.0, 91.6 / 100.05), (14.0, 81.95 / 100.05)] {
        // The report's soil starts slowly; first order is the faster of the two here.
        assert!(decay::share_left(days, half_life) < left);
    }
    close(decay::share_left(28.0, half_life), 51.4 / 100.05, 1e-9);
    close(decay::share_left(58.0, half_life), 27.2 / 100.05, 0.03);
    close(decay::share_left(89.0, half_life), 15.5 / 100.05, 0.04);
}

#[test]
fn measured_half_lives_lie_within_the_row() {
    // Same report: share left of dimethenamid at one sampling near the half-life, pp. 10-27, with
    // the factors above. (days, percent at start, percent then, factor)
    let soils = [
        (30.0, 97.25, 39.1, 1.0),
        (28.0, 100.05, 51.4, 0.971),
        (14.0, 99.1, 32.4, 1.329 * 0.924),
        (14.0, 98.3, 33.45, 1.329 * 0.924),
        (7.0, 96.77, 50.97, 0.623),
        (14.0, 98.43, 46.01, 0.768),
        (14.0, 98.39, 45.51, 0.673),
    ];
    let row = soil::row(Ingredient::DimethenamidP).unwrap().half_life;
    for (days, start, then, factor) in soils {
        let half_life = factor * days / f64::log2(start / then);
        assert!((row.low_days..=row.high_days).contains(&half_life), "{half_life}");
    }
}

#[test]
fn acetochlor_row_holds_the_field_half_lives() {
    // Ma, Rahman, Holland, James and McNaughton, J. Environ. Qual. 33:930-938, 2004: DT50 about 9
    // and 18 d in a clay loam at two rates.
    let row = soil::row(Ingredient::Acetochlor).unwrap().half_life;
    for measured in [9.0, 18.0] {
        assert!((row.low_days..=row.high_days).contains(&measured));
    }
    assert!((9.0..=18.0).contains(&row.days));
}

#[test]
fn no_decay_in_frozen_soil_and_no_gain_above_capacity() {
    // FOCUS kinetics guidance 2006/2014, App. 8: no decay at or below 0 C (zero rule from memory);
    // moisture factor at most 1.
    close(decay::temperature_factor(0.0, decay::Q10), 0.0, 0.0);
    close(decay::temperature_factor(-4.0, decay::Q10), 0.0, 0.0);
    assert!(decay::temperature_factor(0.1, decay::Q10) > 0.0);
    close(decay::moisture_factor(1.3, decay::MOISTURE_EXPONENT), 1.0, 0.0);
}

#[test]
fn factors_stand_at_the_equations_values() {
    // FOCUS kinetics guidance 2006/2014: Q10^((T-20)/10) and (theta/theta ref)^0.7, by hand.
    let by_temperature = [
        (5.0, 0.2413, 0.3065),
        (8.0, 0.3207, 0.3882),
        (10.0, 0.3876, 0.4545),
        (12.0, 0.4685, 0.5322),
        (15.0, 0.6226, 0.6742),
        (18.0, 0.8273, 0.8541),
        (20.0, 1.0, 1.0),
        (22.0, 1.2087, 1.1708),
        (25.0, 1.6062, 1.4832),
        (28.0, 2.1345, 1.8790),
        (30.0, 2.58, 2.2),
    ];
    for (celsius, now, before_2007) in by_temperature {
        close(decay::temperature_factor(celsius, 2.58), now, 0.000_06);
        close(decay::temperature_factor(celsius, 2.2), before_2007, 0.000_06);
    }
    let by_moisture = [
        (1.0, 1.0),
        (0.9, 0.9289),
        (0.8, 0.8554),
        (0.7, 0.7791),
        (0.6, 0.6994),
        (0.5, 0.6156),
        (0.4, 0.5266),
        (0.3, 0.4305),
        (0.25, 0.3789),
        (0.2, 0.3241),
    ];
    for (relative, expected) in by_moisture {
        close(decay::moisture_factor(relative, 0.7), expected, 0.000_06);
    }
}

#[test]
fn q10_is_the_one_of_the_published_activation_energy() {
    // EFSA Journal (2007) 622: median activation energy 65.4 kJ/mol, Q10 2.58; FOCUS 1997: 2.2.
    let kilojoules = |q10: f64| {
        let kelvin = |celsius: f64| celsius + 273.15;
        8.314_462_618e-3 * q10.ln() / (1.0 / kelvin(10.0) - 1.0 / kelvin(20.0))
    };
    close(kilojoules(decay::Q10), 65.41, 0.02);
    close(kilojoules(2.2), 54.4, 0.05);
}

#[test]
fn a_cool_spring_then_a_dry_then_a_wet_spell() {
    // Worked by hand with the FOCUS equations: silt loam, pF 2 at 26 %, ten days each.
    let spells = [(12.0, 18.0, 0.3622), (18.0, 13.0, 0.5093), (24.0, 26.0, 1.4610)];
    let mut normalised = 0.0;
    for (celsius, content, expected) in spells {
        let factor = factor(celsius, content, Texture::SiltLoam);
        close(factor, expected, 0.000_06);
        normalised += 10.0 * factor;
    }
    close(normalised, 23.324, 0.001);
    close(100.0 * decay::share_left(normalised, 30.0), 58.34, 0.01);
}

#[test]
fn share_left_after_four_weeks_in_reference_soil() {
    // First-order decay, by hand.
    for (half_life, percent) in [(14.0, 25.0), (30.0, 52.4), (60.0, 72.4)] {
        close(100.0 * decay::share_left(28.0, half_life), percent, 0.05);
    }
}

#[test]
fn a_warm_wet_spring_ends_mesotrione_first() {
    // Kaczynski et al., 2016: field half-life of mesotrione 2.9 to 6.0 d, against weeks for
    // S-metolachlor (Westra et al., Weed Technol. 28:72-81, 2014: 39 to 63 d).
    let row = |ingredient| soil::row(ingredient).unwrap().half_life;
    assert!(row(Ingredient::Mesotrione).low_days <= 6.0);
    assert!(row(Ingredient::SMetolachlor).high_days >= 63.0);
    let mix = [Ingredient::SMetolachlor, Ingredient::Mesotrione];
    let warm: Vec<_> = (0..60)
        .map(|offset| SoilDay {
            date: day(offset),
            mean: Some(Celsius::new(24.0).unwrap()),
            relative_moisture: Some(1.0),
            available_share: Some(1.0),
        })
        .collect();
    let residual = residual::range(Some(day(0)), day(0), &mix, &warm, &Thresholds::default());
    let ends = residual.per_ingredient.iter().map(|one| one.ends.likely).collect::<Vec<_>>();
    assert!(ends[1] < ends[0]);
}

/// Q10 of two half-lives at two temperatures.
fn q10((cool_c, cool_days): (f64, f64), (warm_c, warm_days): (f64, f64)) -> f64 {
    (cool_days / warm_days).powf(10.0 / (warm_c - cool_c))
}

/// Activation energy in kJ/mol of two half-lives at two temperatures.
fn activation_energy((cool_c, cool_days): (f64, f64), (warm_c, warm_days): (f64, f64)) -> f64 {
    let kelvin = |celsius: f64| celsius + 273.15;
    8.314_462_618e-3 * (cool_days / warm_days).ln() / (1.0 / kelvin(cool_c) - 1.0 / kelvin(warm_c))
}

#[test]
fn measured_half_lives_imply_the_q10_of_the_rows() {
    // Long et al., J. Soil Sci. Plant Nutr. 14, 2014: S-metolachlor. McDowell et al., Weed Res.
    // 37:381, 1997: flumetsulam, 0 to 5 cm. Two figures are stated, so half a unit of the last.
    let metolachlor = ((10.0, 64.8), (35.0, 23.7));
    close(q10(metolachlor.0, metolachlor.1), 1.50, 0.01);
    close(activation_energy(metolachlor.0, metolachlor.1), 29.0, 0.5);
    let flumetsulam = ((15.0, 88.0), (30.0, 30.0));
    close(q10(flumetsulam.0, flumetsulam.1), 2.05, 0.01);
    close(activation_energy(flumetsulam.0, flumetsulam.1), 52.0, 0.5);
    for (ingredient, (cool, warm)) in
        [(Ingredient::SMetolachlor, metolachlor), (Ingredient::Flumetsulam, flumetsulam)]
    {
        let held = soil::row(ingredient).unwrap().q10.unwrap().value;
        close(held, q10(cool, warm), 0.01);
        // The row's rise must carry the cool half-life to the warm one.
        let carried = decay::temperature_factor(cool.0, held) * cool.1
            / decay::temperature_factor(warm.0, held);
        close(carried, warm.1, 0.02 * warm.1);
    }
}

#[test]
fn other_compounds_scatter_round_the_default_rise_and_moisture() {
    // Capri et al., J. Agric. Food Chem. 43:247, 1995: chloridazon and metamitron, 10 and 30 C at
    // 22 % water, 15 and 29 % water at 10 C. Half-lives in whole or half days: 3 % of a Q10.
    close(q10((10.0, 76.0), (30.0, 14.0)), 2.33, 0.01);
    close(q10((10.0, 40.0), (30.0, 7.5)), 2.31, 0.01);
    let exponent = |dry: f64, wet: f64| (dry / wet).ln() / (29.0_f64 / 15.0).ln();
    close(exponent(134.0, 41.0), 1.80, 0.01);
    close(exponent(46.0, 21.0), 1.19, 0.01);
    // So the default exponent is the cautious one: dry soil slows it least.
    assert!(decay::MOISTURE_EXPONENT < exponent(46.0, 21.0));
    // Eason, University of Georgia thesis, 2021: flumioxazin in water, 58.4 kJ/mol; florasulam, 57
    // to 95 kJ/mol. By Arrhenius between 10 and 20 C.
    let rise =
        |kilojoules: f64| (kilojoules / 8.314_462_618e-3 * (1.0 / 283.15 - 1.0 / 293.15)).exp();
    close(rise(58.4), 2.33, 0.01);
    close(rise(57.0), 2.28, 0.01);
    close(rise(95.0), 3.96, 0.01);
    close(rise(71.1), 2.8, 0.01);
}

#[test]
fn half_lives_stretch_in_the_field_as_the_equations_say() {
    // FOCUS equations by hand: 30 d at 20 C and pF 2 (26 %) in silt loam.
    for (celsius, content, field_days) in
        [(12.0, 18.0, 82.8), (18.0, 13.0, 58.9), (24.0, 26.0, 20.5)]
    {
        close(30.0 / factor(celsius, content, Texture::SiltLoam), field_days, 0.06);
    }
}

#[test]
fn rows_hold_the_half_lives_that_were_measured() {
    // Days, at the conditions of each study; the row's range must reach them.
    let measured: &[(Ingredient, &[f64])] = &[
        // Long et al., 2014 (laboratory); Westra et al., Weed Technol. 28:72-81, 2014 (field);
        // Environments 11(1):18, 2024 (field).
        (Ingredient::SMetolachlor, &[26.3, 40.1, 39.0, 63.0, 21.7]),
        // Westra et al., 2014.
        (Ingredient::Pyroxasulfone, &[47.0, 134.0]),
        // US Geological Survey, Circular 1291, App. 2; Environ. Pollut. 66:253-262, 1990 (25 C).
        (Ingredient::Atrazine, &[146.0, 49.0, 34.6, 26.5]),
        // Weed Sci., 1982 (metribuzin at 23 C, 2.6 weeks).
        (Ingredient::Metribuzin, &[18.0]),
        // Kaczynski, Lozowicka, Hrynko and Wolejko, Sci. Total Environ. 571:1079-1088, 2016.
        (Ingredient::Mesotrione, &[3.2, 6.0, 4.4]),
        // Meded. Rijksuniv. Gent, PubMed 12425096: isoxaflutole with its diketonitrile.
        (Ingredient::Isoxaflutole, &[45.0, 63.0]),
        // Papiernik, Koskinen and Barber, 2012.
        (Ingredient::Saflufenacil, &[13.0, 32.0]),
        // Eason, 2021.
        (Ingredient::Flumioxazin, &[27.0]),
        // McDowell et al., 1997.
        (Ingredient::Flumetsulam, &[88.0, 30.0]),
    ];
    for (ingredient, days) in measured {
        let row = soil::row(*ingredient).unwrap().half_life;
        for measured in *days {
            let held = (row.low_days..=row.high_days).contains(measured);
            assert!(held, "{}: {measured}", ingredient.name());
        }
    }
}

fn steady(celsius: f64, moisture: f64) -> Vec<SoilDay> {
    (0..90)
        .map(|offset| SoilDay {
            date: day(offset),
            mean: Some(Celsius::new(celsius).unwrap()),
            relative_moisture: Some(moisture),
            available_share: Some(moisture),
        })
        .collect()
}

fn days_until(date: NaiveDate) -> f64 {
    f64::from(i32::try_from((date - day(0)).num_days()).unwrap())
}

fn set_at_once(mix: &[Ingredient], soil: &[SoilDay]) -> Residual {
    residual::range(Some(day(0)), day(0), mix, soil, &Thresholds::default())
}

#[test]
fn a_residual_lasts_four_to_six_weeks_and_half_as_long_in_drought() {
    // Michigan State University Extension: pre up to four to six weeks, often less. University of
    // Missouri on the drought of 2012: about two weeks, normally about twice that.
    let mix = [Ingredient::SMetolachlor, Ingredient::Atrazine];
    let usual = set_at_once(&mix, &steady(16.0, 0.9)).ends;
    assert!(usual.earliest <= usual.likely && usual.latest <= day(42));
    assert!((day(28)..=day(30)).contains(&usual.likely));
    let drought = set_at_once(&mix, &steady(16.0, 0.15));
    assert!(drought.dry);
    assert_eq!(drought.ends.likely, day(14));
}

#[test]
fn each_partner_keeps_within_the_weeks_that_guides_give() {
    // Weeks, from memory of the Herbicide Handbook and guides; in cool moist soil nothing outlasts
    // them, and none is called gone before a third of the short end even in a hot wet spring.
    for row in soil::ROWS {
        let name = row.ingredient.name();
        let cool = set_at_once(&[row.ingredient], &steady(10.0, 0.9)).ends;
        assert!(days_until(cool.latest) <= row.control.high * 7.0, "{name}");
        let hot = set_at_once(&[row.ingredient], &steady(28.0, 1.0)).ends;
        assert!(days_until(hot.likely) >= row.control.low * 7.0 / 3.0, "{name}");
    }
}

#[test]
fn the_faster_of_two_published_rises_sets_the_earliest_end() {
    // S-metolachlor: 1.5 measured (Long et al., 2014), 2.58 by default (EFSA Journal 622, 2007). In
    // warm soil the default is faster and brings the earliest end forward.
    let warm = steady(28.0, 1.0);
    let ends = set_at_once(&[Ingredient::SMetolachlor], &warm).ends;
    let two_half_lives =
        |half_life: f64, rise| (2.0 * half_life / decay::temperature_factor(28.0, rise)).ceil();
    let life = soil::row(Ingredient::SMetolachlor).unwrap().half_life;
    close(days_until(ends.earliest), two_half_lives(life.low_days, decay::Q10), 0.0);
    assert!(two_half_lives(life.low_days, 1.5) > two_half_lives(life.low_days, decay::Q10));
    // By the measured rise two half-lives outlast the calendar, which is common practice.
    assert!(two_half_lives(life.days, 1.5) > 28.0);
    close(days_until(ends.likely), 28.0, 0.0);
}

#[test]
fn pendimethalin_goes_fast_at_first_and_sulfentrazone_does_not() {
    // Shaner, Weed Technol. 26:633, 2012. How much goes is this program's choice.
    let left = |one| soil::row(one).unwrap().surface_loss.share_left(3);
    assert!((0.5..1.0).contains(&left(Ingredient::Pendimethalin)));
    close(left(Ingredient::Sulfentrazone), 1.0, 0.0);
}

#[test]
fn water_carries_the_mobile_ones_and_leaves_pendimethalin_on_top() {
    // Linear retardation by hand: bulk density 1.3, water 0.26, organic carbon 2 %; an inch of
    // drained water. Koc: US Geological Survey, Circular 1291 (atrazine 100, metolachlor log 2.26);
    // Shaner, 2012 (sulfentrazone 43, pendimethalin 17,200); metribuzin and flumioxazin from memory.
    for (ingredient, retardation, travel_mm) in [
        (Ingredient::Sulfentrazone, 5.3, 18.4),
        (Ingredient::Metribuzin, 7.0, 14.0),
        (Ingredient::Atrazine, 11.0, 8.9),
        (Ingredient::SMetolachlor, 19.2, 5.1),
        (Ingredient::Flumioxazin, 71.0, 1.4),
        (Ingredient::Pendimethalin, 1721.0, 0.06),
    ] {
        let row = mobility::of(ingredient).unwrap();
        close(row.retardation(0.26, 0.02), retardation, 0.005 * retardation);
        close(row.travel_mm(25.4, 0.26, 0.02), travel_mm, 0.06);
    }
}

#[test]
fn leaching_scores_rank_as_gustafson_has_them() {
    // Gustafson, Environ. Toxicol. Chem. 8:339-357, 1989: log10(half-life) * (4 - log10(Koc)).
    // Half-lives of the Herbicide Handbook, from memory: by hand.
    for (ingredient, half_life, score) in [
        (Ingredient::Pendimethalin, 45.0, -0.39),
        (Ingredient::SMetolachlor, 30.0, 2.57),
        (Ingredient::Atrazine, 60.0, 3.56),
        (Ingredient::Imazethapyr, 75.0, 5.30),
        (Ingredient::Clopyralid, 40.0, 5.16),
    ] {
        close(mobility::of(ingredient).unwrap().leaching_score(half_life), score, 0.01);
    }
}

#[test]
fn solubility_alone_does_not_tell_the_binding() {
    // Westra, Shaner, Barbarick and Khosla, 2015: mean sorption pyroxasulfone and dimethenamid-P
    // below S-metolachlor (1.7, 2.3, 4.0 L/kg), though pyroxasulfone dissolves 400 times less.
    let row = |one| mobility::of(one).unwrap();
    let metolachlor = row(Ingredient::SMetolachlor).koc.value;
    let (pyroxasulfone, dimethenamid) =
        (row(Ingredient::Pyroxasulfone), row(Ingredient::DimethenamidP));
    assert!(pyroxasulfone.koc.value < metolachlor && dimethenamid.koc.value < metolachlor);
    close(dimethenamid.solubility.value / pyroxasulfone.solubility.value, 400.0, 20.0);
}

#[test]
fn corn_waits_ten_months_after_fomesafen() {
    // University of Minnesota Extension, Strategic Farming Field Notes: ten months to corn.
    let wait = soil::row(Ingredient::Fomesafen).unwrap().plant_back[0];
    assert_eq!((wait.crop, wait.months), ("corn", 10));
}
