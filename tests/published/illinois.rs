//! Rainfed corn in central Illinois, as pyfao56 (USDA-ARS) has it in its test 08, `par2015.par`.

use furrowbell_engine::clocks::soil_water::balance::{
    Antecedent, Balance, CurveNumber, RainTime, Surface,
};
use furrowbell_engine::reference::Source;
use furrowbell_engine::reference::crops::WaterUse;
use furrowbell_engine::reference::soils::Soil;
use furrowbell_engine::site::{Particles, Texture};

/// Its corn.
pub const CORN: WaterUse = WaterUse {
    stage_days: [24.0, 32.0, 40.0, 41.0],
    basal: [0.15, 1.05, 0.15],
    height_m: 2.0,
    roots_m: 1.2,
    easy_share: 0.55,
    source: Source::published("pyfao56 repository (USDA-ARS), test 08, par2015.par"),
};

/// Its balance on the day of planting: water contents 0.290 and 0.068, a surface that can lose
/// 25.6 mm, 9 of it freely, and starts dry, curve number 75. A day's Kr comes of the surface as the
/// day before left it, so the rain falls late.
pub fn balance() -> Balance {
    // Of the soil only the water contents matter.
    let loam = Soil::new(Texture::Loam, Particles::middle_of(Texture::Loam), 2.5);
    let soil = Soil { capacity: 0.290, wilting: 0.068, ..loam };
    let curve = CurveNumber::new(75.0, Antecedent::BySurface);
    Balance::starting(&soil, CORN, Surface::new(25.6, 9.0, 25.6), curve, RainTime::Late)
}
