//! Soil water and evaporative demand against the published record.

use furrowbell_engine::clocks::soil_water;
use furrowbell_engine::reference::crops;
use furrowbell_engine::reference::soils::Soil;
use furrowbell_engine::site::{Particles, Texture};
use furrowbell_engine::units::Percent;
use furrowbell_published::close;

fn percent(value: f64) -> Percent {
    Percent::new(value).unwrap()
}

fn middle(texture: Texture, organic_matter: f64) -> Soil {
    Soil::new(texture, Particles::middle_of(texture), organic_matter)
}

#[test]
fn water_contents_by_texture() {
    // Saxton & Rawls, SSSAJ 70:1569, 2006, at 2.5 % organic matter: wilting point, field capacity,
    // saturation in percent of volume. Sand and loamy sand are also printed in a table of
    // infiltration parameters; the others are worked apart from the paper's equations at the middle
    // of each class. To the printed tenth.
    for (texture, wilting, capacity, saturation) in [
        (Texture::Sand, 5.0, 10.3, 46.2),
        (Texture::LoamySand, 5.1, 12.0, 46.0),
        (Texture::SandyLoam, 8.1, 17.9, 45.0),
        (Texture::Loam, 13.7, 28.0, 45.9),
        (Texture::SiltLoam, 11.0, 30.5, 47.9),
        (Texture::Silt, 5.7, 30.5, 47.9),
        (Texture::SandyClayLoam, 16.6, 26.7, 43.4),
        (Texture::ClayLoam, 21.8, 35.8, 47.7),
        (Texture::SiltyClayLoam, 21.5, 38.2, 51.1),
        (Texture::SiltyClay, 26.8, 40.9, 52.3),
        (Texture::SandyClay, 24.9, 36.1, 44.4),
        (Texture::Clay, 29.8, 42.1, 49.8),
    ] {
        let soil = middle(texture, 2.5);
        close(100.0 * soil.wilting, wilting, 0.051);
        close(100.0 * soil.capacity, capacity, 0.051);
        close(100.0 * soil.saturation, saturation, 0.051);
    }
}

#[test]
fn the_worked_soil_in_full() {
    // Saxton & Rawls 2006 through three open implementations: sand 20 %, clay 20 %, organic matter
    // 2.5 % -> 0.1365448, 0.3208775, 0.482125, Ks 292.2 mm/day. To the last digit; Ks to 0.1 %.
    let particles = Particles::new(percent(20.0), percent(20.0)).unwrap();
    let soil = Soil::new(Texture::SiltLoam, particles, 2.5);
    close(soil.wilting, 0.136_544_8, 5e-8);
    close(soil.capacity, 0.320_877_5, 5e-8);
    close(soil.saturation, 0.482_125, 5e-7);
    close(soil.saturated_conductivity(), 292.2, 0.3);
}

#[test]
fn surveyed_prairie_soils_lie_near_the_equations() {
    // USDA soil survey laboratory, 0 to 15 cm, sand/silt/clay and organic matter in percent, water at
    // 1/3 bar and 15 bar. Saxton & Rawls 2006 runs 1 below to 7 points above on field capacity, high
    // on silty prairie soils, and within 3 on wilting point.
    for (name, texture, [sand, silt, clay], organic, capacity, wilting) in [
        ("Clarion", Texture::Loam, [42.0, 36.0, 22.0], 4.0, 28.4, 14.3),
        ("Taintor", Texture::SiltyClayLoam, [10.0, 64.0, 26.0], 3.8, 29.7, 17.0),
        ("Muscatine", Texture::SiltyClayLoam, [3.0, 67.0, 31.0], 5.8, 34.6, 23.1),
        ("Dodge", Texture::SiltLoam, [12.0, 70.0, 18.0], 2.8, 28.8, 13.9),
        ("Webster", Texture::ClayLoam, [24.0, 43.0, 33.0], 7.6, 32.2, 19.8),
        ("Aksarben", Texture::SiltyClayLoam, [6.0, 68.0, 26.0], 3.3, 31.1, 17.2),
        ("Marlette", Texture::SandyLoam, [56.0, 32.0, 12.0], 2.7, 22.4, 11.3),
        ("Conover", Texture::Loam, [45.0, 38.0, 18.0], 3.0, 27.7, 14.0),
    ] {
        let particles = Particles::surveyed(percent(sand), percent(silt), percent(clay)).unwrap();
        let soil = Soil::new(texture, particles, organic);
        println!(
            "{name}: {:.1} for {capacity}, {:.1} for {wilting}",
            100.0 * soil.capacity,
            100.0 * soil.wilting
        );
        assert!((-1.5..=7.5).contains(&(100.0 * soil.capacity - capacity)), "{name}");
        close(100.0 * soil.wilting, wilting, 3.2);
    }
}

#[test]
fn surveyed_rows_that_do_not_add_to_a_hundred_are_refused() {
    // Surface rows of the soil file of the Genomes to Fields trials, 2018-19, are averaged over
    // missing parts: one adds to 33 %.
    let row = |sand, silt, clay| Particles::surveyed(percent(sand), percent(silt), percent(clay));
    assert!(row(12.0, 15.0, 6.0).is_err());
    assert!(row(50.0, 50.0, 20.0).is_err());
    assert!(row(3.0, 67.0, 31.0).is_ok());
}

#[test]
fn crop_coefficients_run_along_straight_lines() {
    // FAO-56 Table 11 (soybean, central USA: 20/35/60/25 days) and Table 17 (0.15, 1.10, 0.30) with
    // Eq. 66: on day 37, the 17th of 35 development days, 0.15 + 0.95 x 17/35.
    let soybean = &crops::SOYBEAN_WATER;
    close(soil_water::basal_coefficient(soybean, 10.0), 0.15, 1e-12);
    close(soil_water::basal_coefficient(soybean, 37.0), 0.15 + 0.95 * 17.0 / 35.0, 1e-12);
    close(soil_water::basal_coefficient(soybean, 80.0), 1.10, 1e-12);
    close(soil_water::basal_coefficient(soybean, 140.0), 0.30, 1e-12);
    let season: f64 = soybean.stage_days.iter().sum();
    close(season, 140.0, 1e-9);
}
