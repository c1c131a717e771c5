//! How far water carries an ingredient through the soil.

use super::Ingredient;
use super::sources::{CLEMSON, HANDBOOK, SHANER, USGS, WESTRA_2015};
use crate::reference::{Figure, Source};

/// Sorption and solubility of one ingredient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mobility {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// Sorption to organic carbon, mL/g.
    pub koc: Figure,
    /// Solubility in water near 20 to 25 C, mg/L.
    pub solubility: Figure,
}

/// Bulk density of a ploughed topsoil, g/cm3 (common practice).
pub const BULK_DENSITY: f64 = 1.3;

/// Where the two equations come from.
pub const SOURCE: Source = Source::published(
    "Gustafson, \"Groundwater ubiquity score: a simple method for assessing pesticide \
     leachability\", Environ. Toxicol. Chem. 8:339-357, 1989; linear retardation as in textbooks",
);

impl Mobility {
    /// How many times slower than water the ingredient travels.
    ///
    /// `water` is the water content, a share of the soil's volume; `organic_carbon` a share of its
    /// weight.
    pub fn retardation(&self, water: f64, organic_carbon: f64) -> f64 {
        1.0 + BULK_DENSITY * self.koc.value * organic_carbon / water
    }

    /// Depth by which the middle of the dose moves with so much water through the soil, mm.
    pub fn travel_mm(&self, drained_mm: f64, water: f64, organic_carbon: f64) -> f64 {
        drained_mm / water / self.retardation(water, organic_carbon)
    }

    /// Gustafson's score: below 1.8 hardly leaches, above 2.8 leaches.
    pub fn leaching_score(&self, half_life_days: f64) -> f64 {
        half_life_days.log10() * (4.0 - self.koc.value.log10())
    }
}

/// The row of an ingredient, if it has one.
pub fn of(ingredient: Ingredient) -> Option<&'static Mobility> {
    ROWS.iter().find(|row| row.ingredient == ingredient)
}

const fn row(
    ingredient: Ingredient,
    koc: f64,
    koc_source: Source,
    solubility: f64,
    solubility_source: Source,
) -> Mobility {
    Mobility {
        ingredient,
        koc: Figure::new(koc, koc_source),
        solubility: Figure::new(solubility, solubility_source),
    }
}

/// Ingredients that work through the soil. Where a property hangs on acidity, the value near a pH
/// of 6.5 stands.
pub const ROWS: &[Mobility] = &[
    row(Ingredient::SMetolachlor, 182.0, USGS, 530.0, WESTRA_2015),
    row(Ingredient::Acetochlor, 175.0, HANDBOOK, 223.0, CLEMSON),
    row(Ingredient::DimethenamidP, 140.0, HANDBOOK, 1450.0, WESTRA_2015),
    row(Ingredient::Pyroxasulfone, 90.0, HANDBOOK, 3.49, WESTRA_2015),
    row(Ingredient::Pendimethalin, 17_200.0, SHANER, 0.3, CLEMSON),
    row(Ingredient::Atrazine, 100.0, USGS, 30.0, USGS),
    row(Ingredient::Simazine, 130.0, HANDBOOK, 5.0, HANDBOOK),
    row(Ingredient::Metribuzin, 60.0, HANDBOOK, 1100.0, HANDBOOK),
    row(Ingredient::Linuron, 400.0, HANDBOOK, 70.0, HANDBOOK),
    row(Ingredient::Mesotrione, 100.0, HANDBOOK, 15_000.0, HANDBOOK),
    row(Ingredient::Isoxaflutole, 110.0, HANDBOOK, 326.0, HANDBOOK),
    row(Ingredient::Saflufenacil, 25.0, HANDBOOK, 2100.0, HANDBOOK),
    row(Ingredient::Flumioxazin, 700.0, HANDBOOK, 1.8, CLEMSON),
    row(Ingredient::Sulfentrazone, 43.0, SHANER, 400.0, HANDBOOK),
    row(Ingredient::Fomesafen, 60.0, HANDBOOK, 600_000.0, HANDBOOK),
    row(Ingredient::CloransulamMethyl, 120.0, HANDBOOK, 184.0, HANDBOOK),
    row(Ingredient::Imazethapyr, 15.0, HANDBOOK, 1400.0, CLEMSON),
    row(Ingredient::ChlorimuronEthyl, 110.0, HANDBOOK, 450.0, HANDBOOK),
    row(Ingredient::Flumetsulam, 50.0, HANDBOOK, 1000.0, HANDBOOK),
    row(Ingredient::Clopyralid, 6.0, HANDBOOK, 100_000.0, HANDBOOK),
    row(Ingredient::Clomazone, 300.0, HANDBOOK, 1100.0, HANDBOOK),
    row(Ingredient::Trifluralin, 7000.0, HANDBOOK, 0.3, HANDBOOK),
];
