//! Where typical labels of post-emergence herbicides end, by ingredient and crop.
//!
//! A row is the typical label of an ingredient broadcast, alone or with the partners it names;
//! single products may end earlier or later. Where sources disagree the stricter one stands. What
//! drop nozzles stretch a limit to is held apart and never used for a broadcast pass.

mod publications;

use super::Ingredient;
use crate::clocks::Stage;
use crate::plan::Crop;
use crate::reference::Source;
use chrono::NaiveDate;
use publications::{
    DELAWARE, Dated, GLUFOSINATE, HARTZLER, ILLINOIS_2002, ILLINOIS_2009, ILLINOIS_2012, IOWA_2005,
    LABEL_WORDING, MARYLAND, MICHIGAN, MINNESOTA, NDSU_2006, NDSU_2021, NEBRASKA_RAINFAST,
    PENN_POST, PNW_CORN_POST, PNW_CORN_RESIDUAL, SDSU_DICAMBA,
};
use serde::Serialize;

/// Where a typical label draws the line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "bound", content = "at", rename_all = "kebab-case")]
pub enum Bound {
    /// Crop height up to and with this many inches.
    HeightUpTo(f64),
    /// Crop height below this many inches.
    HeightUnder(f64),
    /// Through this stage.
    ThroughStage(Stage),
    /// Before this stage.
    BeforeStage(Stage),
    /// At least this many days before grain harvest.
    DaysToHarvest(u32),
    /// At least this many days before forage or silage harvest.
    DaysToForage(u32),
    /// Up to and with this day. No typical row has one: such dates hang on the state and the year.
    Until(NaiveDate),
}

/// One limit of one ingredient.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limit {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// Partners that must be in the mix for the row to hold; empty for a row that always does.
    pub with: &'static [Ingredient],
    /// The line.
    pub bound: Bound,
    /// Year in which the source came out, where it gives one.
    pub year: Option<u16>,
    /// Where the line comes from.
    pub source: Source,
}

/// The size that corn must have reached: the height or the stage, either is enough.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SmallestCorn {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// Partners that must be in the mix for the row to hold.
    pub with: &'static [Ingredient],
    /// Height, inches.
    pub height_in: f64,
    /// Stage.
    pub stage: Stage,
    /// Year in which the source came out, where it gives one.
    pub year: Option<u16>,
    /// Where it comes from.
    pub source: Source,
}

/// A number with its source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct IngredientFigure {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// The number; the table says its unit.
    pub value: f64,
    /// Year in which the source came out, where it gives one.
    pub year: Option<u16>,
    /// Where it comes from.
    pub source: Source,
}

/// Every limit of an ingredient in a crop.
pub fn limits(crop: &Crop, ingredient: Ingredient) -> impl Iterator<Item = &'static Limit> {
    let table = if crop.is_corn() { CORN } else { SOYBEAN };
    table.iter().filter(move |limit| limit.ingredient == ingredient)
}

/// Tallest weed that an ingredient is meant for, inches.
pub fn weed_size(ingredient: Ingredient) -> Option<&'static IngredientFigure> {
    find(WEED_SIZE_IN, ingredient)
}

/// Rain-free hours that an ingredient wants after the pass, in good growing weather.
pub fn rainfast(ingredient: Ingredient) -> Option<&'static IngredientFigure> {
    find(RAINFAST_HOURS, ingredient)
}

/// Restricted-entry interval of an ingredient, hours; the longest where labels differ.
pub fn reentry(ingredient: Ingredient) -> Option<&'static IngredientFigure> {
    find(REENTRY_HOURS, ingredient)
}

/// Days between two passes of an ingredient.
pub fn spacing(ingredient: Ingredient) -> Option<&'static IngredientFigure> {
    find(SPACING_DAYS, ingredient)
}

/// How far an ingredient may go in corn with drop nozzles, for showing beside the broadcast limits.
pub fn with_drop_nozzles(
    crop: &Crop,
    ingredient: Ingredient,
) -> impl Iterator<Item = &'static Limit> {
    let table = if crop.is_corn() { CORN_WITH_DROP_NOZZLES } else { &[] };
    table.iter().filter(move |limit| limit.ingredient == ingredient)
}

fn find(
    table: &'static [IngredientFigure],
    ingredient: Ingredient,
) -> Option<&'static IngredientFigure> {
    table.iter().find(|figure| figure.ingredient == ingredient)
}

const fn limit(ingredient: Ingredient, bound: Bound, from: Dated) -> Limit {
    premix(ingredient, &[], bound, from)
}

const fn premix(
    ingredient: Ingredient,
    with: &'static [Ingredient],
    bound: Bound,
    from: Dated,
) -> Limit {
    Limit { ingredient, with, bound, year: from.year, source: from.source }
}

const fn figure(ingredient: Ingredient, value: f64, from: Dated) -> IngredientFigure {
    IngredientFigure { ingredient, value, year: from.year, source: from.source }
}

use Bound::{BeforeStage, DaysToForage, DaysToHarvest, HeightUnder, HeightUpTo, ThroughStage};
use Ingredient as I;
use Stage::{Emerged, Reproductive, Tassel, Vegetative};

/// Limits in corn; glyphosate, glufosinate and 2,4-D choline in corn that tolerates them.
pub const CORN: &[Limit] = &[
    limit(I::Glyphosate, HeightUpTo(30.0), ILLINOIS_2012),
    limit(I::Glyphosate, ThroughStage(Vegetative(8)), ILLINOIS_2012),
    limit(I::Glyphosate, DaysToHarvest(7), LABEL_WORDING),
    limit(I::Glyphosate, DaysToForage(50), LABEL_WORDING),
    limit(I::Glufosinate, HeightUpTo(24.0), LABEL_WORDING),
    limit(I::Glufosinate, ThroughStage(Vegetative(6)), LABEL_WORDING),
    limit(I::Glufosinate, DaysToHarvest(70), LABEL_WORDING),
    limit(I::Glufosinate, DaysToForage(60), LABEL_WORDING),
    limit(I::Mesotrione, HeightUpTo(30.0), PENN_POST),
    limit(I::Mesotrione, ThroughStage(Vegetative(8)), LABEL_WORDING),
    limit(I::Mesotrione, DaysToHarvest(45), MARYLAND),
    premix(I::Mesotrione, &[I::Atrazine], HeightUpTo(12.0), MARYLAND),
    limit(I::Tembotrione, HeightUpTo(20.0), MARYLAND),
    limit(I::Tembotrione, ThroughStage(Vegetative(7)), MARYLAND),
    limit(I::Tembotrione, DaysToForage(45), MARYLAND),
    limit(I::Topramezone, HeightUpTo(30.0), PENN_POST),
    limit(I::Topramezone, ThroughStage(Vegetative(8)), MARYLAND),
    limit(I::Topramezone, DaysToHarvest(45), MARYLAND),
    premix(I::Topramezone, &[I::DimethenamidP], HeightUpTo(30.0), MARYLAND),
    limit(I::Atrazine, HeightUnder(12.0), NDSU_2021),
    limit(I::Atrazine, DaysToForage(60), MARYLAND),
    limit(I::Dicamba, HeightUpTo(8.0), SDSU_DICAMBA),
    limit(I::Dicamba, ThroughStage(Vegetative(5)), ILLINOIS_2002),
    premix(I::Dicamba, &[I::Diflufenzopyr], DaysToHarvest(72), MARYLAND),
    premix(I::Dicamba, &[I::Diflufenzopyr], DaysToForage(32), MARYLAND),
    limit(I::TwoFourD, HeightUpTo(8.0), MARYLAND),
    limit(I::TwoFourD, DaysToForage(7), MARYLAND),
    limit(I::TwoFourDCholine, HeightUpTo(30.0), MARYLAND),
    limit(I::TwoFourDCholine, ThroughStage(Vegetative(8)), MARYLAND),
    limit(I::TwoFourDCholine, DaysToHarvest(30), MARYLAND),
    limit(I::TwoFourDCholine, DaysToForage(50), MARYLAND),
    limit(I::Nicosulfuron, HeightUpTo(20.0), MARYLAND),
    limit(I::Nicosulfuron, ThroughStage(Vegetative(6)), MARYLAND),
    limit(I::Nicosulfuron, DaysToHarvest(70), MARYLAND),
    limit(I::Nicosulfuron, DaysToForage(45), MARYLAND),
    limit(I::Bentazon, BeforeStage(Tassel), MARYLAND),
    limit(I::Bentazon, DaysToForage(30), MARYLAND),
    limit(I::Fluthiacet, HeightUpTo(48.0), MARYLAND),
    limit(I::Fluthiacet, BeforeStage(Tassel), MARYLAND),
    limit(I::Fluthiacet, DaysToHarvest(40), MARYLAND),
    limit(I::Clopyralid, HeightUpTo(24.0), LABEL_WORDING),
    limit(I::SMetolachlor, HeightUpTo(40.0), LABEL_WORDING),
    premix(I::SMetolachlor, GLYPHOSATE_MESOTRIONE, HeightUpTo(30.0), MARYLAND),
    premix(I::SMetolachlor, GLYPHOSATE_MESOTRIONE, ThroughStage(Vegetative(8)), MARYLAND),
    limit(I::SMetolachlor, DaysToHarvest(45), MARYLAND),
    limit(I::Acetochlor, HeightUpTo(11.0), NDSU_2021),
    limit(I::DimethenamidP, HeightUpTo(12.0), PNW_CORN_RESIDUAL),
    limit(I::DimethenamidP, DaysToHarvest(50), PNW_CORN_RESIDUAL),
    limit(I::Pyroxasulfone, ThroughStage(Vegetative(4)), PNW_CORN_RESIDUAL),
    limit(I::Pyroxasulfone, DaysToHarvest(37), PNW_CORN_RESIDUAL),
    limit(I::Pendimethalin, HeightUpTo(20.0), PNW_CORN_RESIDUAL),
    limit(I::Pendimethalin, ThroughStage(Vegetative(8)), PNW_CORN_RESIDUAL),
    limit(I::Isoxaflutole, BeforeStage(Emerged), IOWA_2005),
    limit(I::Simazine, BeforeStage(Emerged), LABEL_WORDING),
    limit(I::Saflufenacil, BeforeStage(Emerged), LABEL_WORDING),
    limit(I::Flumioxazin, BeforeStage(Emerged), LABEL_WORDING),
];

const GLYPHOSATE_MESOTRIONE: &[Ingredient] = &[I::Glyphosate, I::Mesotrione];

/// Limits in corn with drop nozzles that keep the spray off the whorl.
const CORN_WITH_DROP_NOZZLES: &[Limit] = &[
    limit(I::Glyphosate, HeightUpTo(48.0), LABEL_WORDING),
    limit(I::Glufosinate, HeightUpTo(36.0), PENN_POST),
    limit(I::Dicamba, HeightUpTo(36.0), SDSU_DICAMBA),
    premix(I::Dicamba, &[I::Diflufenzopyr], HeightUpTo(36.0), MARYLAND),
    limit(I::TwoFourD, BeforeStage(Tassel), MARYLAND),
    limit(I::TwoFourDCholine, HeightUpTo(48.0), MARYLAND),
    limit(I::Nicosulfuron, HeightUpTo(36.0), MARYLAND),
    limit(I::Nicosulfuron, ThroughStage(Vegetative(10)), MARYLAND),
];

/// Sizes that corn must have reached.
pub const SMALLEST_CORN: &[SmallestCorn] = &[SmallestCorn {
    ingredient: I::Dicamba,
    with: &[I::Diflufenzopyr],
    height_in: 4.0,
    stage: Vegetative(2),
    year: DELAWARE.year,
    source: DELAWARE.source,
}];

/// Limits in soybean; glyphosate, glufosinate and 2,4-D choline in soybean that tolerates them.
pub const SOYBEAN: &[Limit] = &[
    limit(I::Glyphosate, ThroughStage(Reproductive(2)), MICHIGAN),
    limit(I::Glyphosate, DaysToHarvest(14), NDSU_2006),
    limit(I::Glufosinate, BeforeStage(Reproductive(1)), MICHIGAN),
    limit(I::Glufosinate, DaysToHarvest(70), LABEL_WORDING),
    limit(I::TwoFourDCholine, ThroughStage(Reproductive(1)), MICHIGAN),
    limit(I::TwoFourDCholine, DaysToHarvest(30), LABEL_WORDING),
    limit(I::Fomesafen, DaysToHarvest(45), MICHIGAN),
    limit(I::Lactofen, ThroughStage(Reproductive(6)), MICHIGAN),
    limit(I::Lactofen, DaysToHarvest(45), MINNESOTA),
    limit(I::Acifluorfen, DaysToHarvest(50), LABEL_WORDING),
    limit(I::Clethodim, DaysToHarvest(60), MINNESOTA),
    limit(I::Quizalofop, DaysToHarvest(80), MINNESOTA),
    limit(I::Imazethapyr, BeforeStage(Reproductive(1)), ILLINOIS_2009),
    limit(I::Imazethapyr, DaysToHarvest(85), ILLINOIS_2009),
    limit(I::CloransulamMethyl, ThroughStage(Reproductive(2)), PENN_POST),
    limit(I::CloransulamMethyl, DaysToHarvest(65), LABEL_WORDING),
    limit(I::ChlorimuronEthyl, DaysToHarvest(60), MINNESOTA),
    limit(I::Bentazon, DaysToForage(30), MINNESOTA),
    limit(I::Fluthiacet, ThroughStage(Reproductive(2)), MINNESOTA),
    premix(I::Fluthiacet, &[I::Pyroxasulfone], ThroughStage(Vegetative(6)), MINNESOTA),
    limit(I::Fluthiacet, DaysToHarvest(60), MINNESOTA),
    limit(I::Pyroxasulfone, ThroughStage(Vegetative(6)), MINNESOTA),
    limit(I::Pyroxasulfone, DaysToHarvest(60), MINNESOTA),
    limit(I::SMetolachlor, DaysToHarvest(75), MINNESOTA),
    limit(I::DimethenamidP, ThroughStage(Vegetative(5)), MICHIGAN),
    limit(I::Acetochlor, BeforeStage(Reproductive(2)), LABEL_WORDING),
    limit(I::Pendimethalin, BeforeStage(Emerged), HARTZLER),
    limit(I::Flumioxazin, BeforeStage(Emerged), HARTZLER),
    limit(I::Sulfentrazone, BeforeStage(Emerged), HARTZLER),
    limit(I::Saflufenacil, BeforeStage(Emerged), HARTZLER),
    limit(I::Metribuzin, BeforeStage(Emerged), LABEL_WORDING),
    limit(I::Linuron, BeforeStage(Emerged), LABEL_WORDING),
];

/// Tallest weed, inches. The larger of a range, since the threshold of the book is held as well.
const WEED_SIZE_IN: &[IngredientFigure] = &[
    figure(I::Glyphosate, 6.0, LABEL_WORDING),
    figure(I::Glufosinate, 3.0, GLUFOSINATE),
    figure(I::Mesotrione, 5.0, LABEL_WORDING),
    figure(I::Tembotrione, 6.0, LABEL_WORDING),
    figure(I::Topramezone, 6.0, LABEL_WORDING),
    figure(I::Atrazine, 6.0, PNW_CORN_POST),
    figure(I::Dicamba, 6.0, LABEL_WORDING),
    figure(I::TwoFourD, 4.0, LABEL_WORDING),
    figure(I::TwoFourDCholine, 6.0, LABEL_WORDING),
    figure(I::Nicosulfuron, 4.0, LABEL_WORDING),
    figure(I::Fomesafen, 4.0, LABEL_WORDING),
    figure(I::Lactofen, 4.0, LABEL_WORDING),
    figure(I::Acifluorfen, 4.0, LABEL_WORDING),
    figure(I::Clethodim, 6.0, LABEL_WORDING),
    figure(I::Imazethapyr, 3.0, LABEL_WORDING),
    figure(I::CloransulamMethyl, 6.0, LABEL_WORDING),
    figure(I::ChlorimuronEthyl, 4.0, LABEL_WORDING),
    figure(I::Bentazon, 4.0, LABEL_WORDING),
    figure(I::Fluthiacet, 4.0, LABEL_WORDING),
];

/// Rain-free hours. Glyphosate is held at the hour of its slower salts; the potassium salt wants half
/// of it. Dimethenamid-p is given with saflufenacil only.
const RAINFAST_HOURS: &[IngredientFigure] = &[
    figure(I::Glyphosate, 1.0, NEBRASKA_RAINFAST),
    figure(I::Glufosinate, 4.0, NEBRASKA_RAINFAST),
    figure(I::Dicamba, 4.0, NEBRASKA_RAINFAST),
    figure(I::TwoFourD, 1.0, NEBRASKA_RAINFAST),
    figure(I::Imazethapyr, 1.0, NEBRASKA_RAINFAST),
    figure(I::Imazaquin, 2.0, NEBRASKA_RAINFAST),
    figure(I::CloransulamMethyl, 2.0, NEBRASKA_RAINFAST),
    figure(I::Carfentrazone, 1.0, NEBRASKA_RAINFAST),
    figure(I::Paraquat, 0.5, NEBRASKA_RAINFAST),
    figure(I::DimethenamidP, 1.0, NEBRASKA_RAINFAST),
    figure(I::Saflufenacil, 1.0, NEBRASKA_RAINFAST),
    figure(I::Flumioxazin, 1.0, NEBRASKA_RAINFAST),
    figure(I::Bentazon, 4.0, PNW_CORN_POST),
    figure(I::TwoFourDCholine, 1.0, LABEL_WORDING),
    figure(I::Mesotrione, 1.0, LABEL_WORDING),
    figure(I::Tembotrione, 1.0, LABEL_WORDING),
    figure(I::Topramezone, 1.0, LABEL_WORDING),
    figure(I::Atrazine, 2.0, LABEL_WORDING),
    figure(I::Nicosulfuron, 4.0, LABEL_WORDING),
    figure(I::Fomesafen, 1.0, LABEL_WORDING),
    figure(I::Lactofen, 0.5, LABEL_WORDING),
    figure(I::Acifluorfen, 6.0, LABEL_WORDING),
    figure(I::Clethodim, 1.0, LABEL_WORDING),
    figure(I::ChlorimuronEthyl, 1.0, LABEL_WORDING),
    figure(I::Quizalofop, 1.0, LABEL_WORDING),
    figure(I::Fluthiacet, 1.0, LABEL_WORDING),
];

/// Restricted-entry intervals, hours.
const REENTRY_HOURS: &[IngredientFigure] = &[
    figure(I::Glyphosate, 4.0, LABEL_WORDING),
    figure(I::Nicosulfuron, 4.0, LABEL_WORDING),
    figure(I::Imazethapyr, 4.0, LABEL_WORDING),
    figure(I::Mesotrione, 12.0, LABEL_WORDING),
    figure(I::Topramezone, 12.0, LABEL_WORDING),
    figure(I::Tembotrione, 12.0, LABEL_WORDING),
    figure(I::Isoxaflutole, 12.0, LABEL_WORDING),
    figure(I::Atrazine, 12.0, LABEL_WORDING),
    figure(I::Acetochlor, 12.0, LABEL_WORDING),
    figure(I::DimethenamidP, 12.0, LABEL_WORDING),
    figure(I::Pyroxasulfone, 12.0, LABEL_WORDING),
    figure(I::Glufosinate, 12.0, LABEL_WORDING),
    figure(I::Saflufenacil, 12.0, LABEL_WORDING),
    figure(I::Flumioxazin, 12.0, LABEL_WORDING),
    figure(I::Sulfentrazone, 12.0, LABEL_WORDING),
    figure(I::Metribuzin, 12.0, LABEL_WORDING),
    figure(I::Lactofen, 12.0, LABEL_WORDING),
    figure(I::CloransulamMethyl, 12.0, LABEL_WORDING),
    figure(I::Clopyralid, 12.0, LABEL_WORDING),
    figure(I::SMetolachlor, 24.0, LABEL_WORDING),
    figure(I::Dicamba, 24.0, LABEL_WORDING),
    figure(I::Fomesafen, 24.0, LABEL_WORDING),
    figure(I::Clethodim, 24.0, LABEL_WORDING),
    figure(I::Pendimethalin, 24.0, LABEL_WORDING),
    figure(I::TwoFourD, 48.0, LABEL_WORDING),
    figure(I::TwoFourDCholine, 48.0, LABEL_WORDING),
    figure(I::Acifluorfen, 48.0, LABEL_WORDING),
];

/// Days between two passes.
const SPACING_DAYS: &[IngredientFigure] = &[figure(I::TwoFourDCholine, 12.0, LABEL_WORDING)];
