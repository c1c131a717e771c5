//! When the post pass comes too late: weeds too tall, or the crop past a typical label.
//!
//! Nothing here permits a pass. Not being past a limit says nothing about the product in the tank.

use crate::clocks::{DateRange, Stage};
use crate::findings::PostLimit;
use crate::plan::Crop;
use crate::reference::Source;
use crate::reference::herbicides::Ingredient;
use crate::thresholds::Thresholds;
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
    /// At least this many days before harvest.
    DaysToHarvest(u16),
}

/// One limit of one partner.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limit {
    /// The partner.
    pub ingredient: Ingredient,
    /// The line.
    pub bound: Bound,
    /// Where the line comes from.
    pub source: Source,
}

/// Every crop limit of the mix that is known for that crop, in the order of the ingredients.
pub fn limits(crop: &Crop, ingredients: &[Ingredient]) -> Vec<Limit> {
    let _ = (crop, ingredients);
    Vec::new()
}

/// Weed height that the pass must beat: the threshold, or less where a partner wants smaller weeds.
pub fn weed_height_in(crop: &Crop, ingredients: &[Ingredient], thresholds: &Thresholds) -> f64 {
    let _ = (crop, ingredients);
    thresholds.weed_height_in
}

/// Which limit closes the window, and when: the one that is expected to be passed first.
///
/// `weeds` is when weeds are expected to pass which height (inches). The closures give the first
/// day on which the crop has left a stage behind (`past_stage`), has reached one (`at_stage`), or
/// is taller than a height in inches (`past_height`); `None` when not foreseen. The window closes
/// on the day before. `None` when nothing closes it within what is foreseen.
pub fn closes(
    limits: &[Limit],
    weeds: Option<(DateRange, f64)>,
    past_stage: impl Fn(Stage) -> Option<DateRange>,
    at_stage: impl Fn(Stage) -> Option<DateRange>,
    past_height: impl Fn(f64) -> Option<DateRange>,
) -> Option<(DateRange, PostLimit)> {
    let _ = (limits, weeds, past_stage, at_stage, past_height);
    None
}
