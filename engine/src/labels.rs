//! What somebody has read on the label of a product in use.

use crate::plan::{Crop, CropKind};
use crate::reference::herbicides::Ingredient;
use crate::reference::herbicides::post::{self, Bound, Limit};
use chrono::NaiveDate;
use serde::Serialize;

/// One limit that a named person has read on a label. It takes the place of the typical rows of the
/// same kind, whether it agrees with them or corrects them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LabelFact {
    /// The crop it is for.
    pub crop: CropKind,
    /// The ingredient it limits.
    pub ingredient: Ingredient,
    /// Partners that must be in the mix for it to hold; empty for one that always does.
    pub with: Vec<Ingredient>,
    /// The line.
    pub bound: Bound,
    /// Date of the label.
    pub label_date: NaiveDate,
    /// Who has read it.
    pub confirmed_by: String,
}

impl LabelFact {
    /// Whether it is about that mix in that crop.
    pub fn holds_for(&self, crop: &Crop, mix: &[Ingredient]) -> bool {
        self.crop == crop.kind()
            && mix.contains(&self.ingredient)
            && self.with.iter().all(|partner| mix.contains(partner))
    }

    /// Whether it takes the place of a typical row for the same crop.
    pub fn replaces(&self, typical: &Limit) -> bool {
        self.ingredient == typical.ingredient
            && self.bound.is_like(typical.bound)
            && self.with.len() == typical.with.len()
            && self.with.iter().all(|partner| typical.with.contains(partner))
    }

    /// Whether a typical row that it replaces says otherwise.
    pub fn corrects(&self, crop: &Crop) -> bool {
        post::limits(crop, self.ingredient)
            .any(|typical| self.replaces(typical) && typical.bound != self.bound)
    }
}

impl Bound {
    /// Whether both draw a line through the same thing.
    pub const fn is_like(self, other: Self) -> bool {
        matches!(
            (self, other),
            (
                Self::HeightUpTo(_) | Self::HeightUnder(_),
                Self::HeightUpTo(_) | Self::HeightUnder(_)
            ) | (
                Self::ThroughStage(_) | Self::BeforeStage(_),
                Self::ThroughStage(_) | Self::BeforeStage(_)
            ) | (Self::DaysToHarvest(_), Self::DaysToHarvest(_))
                | (Self::DaysToForage(_), Self::DaysToForage(_))
                | (Self::Until(_), Self::Until(_))
        )
    }
}
