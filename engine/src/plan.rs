//! What is meant for one field this season.

use crate::reference::herbicides::Ingredient;
use crate::reference::weeds::Weed;
use crate::units::{Inches, Percent, PoundsPerAcre};
use serde::{Deserialize, Serialize};

/// The crop with its maturity, which sets its later dates.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "crop", rename_all = "kebab-case")]
pub enum Crop {
    /// Corn with its relative maturity in days (80 to 120).
    Corn {
        /// Relative maturity, days.
        relative_maturity_days: f64,
    },
    /// Soybean with its maturity group (0.0 to 4.9).
    Soybean {
        /// Maturity group, decimal.
        maturity_group: f64,
    },
}

/// A crop without its maturity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CropKind {
    /// Corn.
    Corn,
    /// Soybean.
    Soybean,
}

impl Crop {
    /// Which crop it is.
    pub const fn kind(&self) -> CropKind {
        match self {
            Self::Corn { .. } => CropKind::Corn,
            Self::Soybean { .. } => CropKind::Soybean,
        }
    }

    /// Whether it is corn.
    pub const fn is_corn(&self) -> bool {
        matches!(self, Self::Corn { .. })
    }
}

/// A herbicide pass by ingredients; a mixture holds more than one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HerbicidePlan {
    /// What people call the mix, for example "spring pre".
    pub name: String,
    /// The active ingredients in it, by common name.
    pub ingredients: Vec<Ingredient>,
}

/// Form of a nitrogen fertiliser.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NitrogenSource {
    /// Urea ammonium nitrate solution, 28 % N.
    Uan28,
    /// Urea ammonium nitrate solution, 32 % N.
    Uan32,
    /// Dry urea, 46-0-0.
    Urea,
    /// Anhydrous ammonia, 82-0-0.
    AnhydrousAmmonia,
    /// Ammonium nitrate, 34-0-0.
    AmmoniumNitrate,
}

/// What nitrogen is meant for a corn field.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NitrogenPlan {
    /// N put on before or at planting.
    pub starter: PoundsPerAcre,
    /// N meant for the sidedress pass.
    pub sidedress: PoundsPerAcre,
    /// Form of the sidedress.
    pub source: NitrogenSource,
    /// Tallest corn that the field's sidedress rig clears, if the manager has set it.
    pub rig_clears: Option<Inches>,
}

/// The plan of one field for one season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Crop and maturity.
    pub crop: Crop,
    /// Target planting depth.
    pub depth: Inches,
    /// Row width.
    pub row_spacing: Inches,
    /// Crop residue on the surface at planting.
    pub residue_cover: Percent,
    /// Pre-emergence pass, if one is meant.
    pub pre: Option<HerbicidePlan>,
    /// Post-emergence pass, if one is meant.
    pub post: Option<HerbicidePlan>,
    /// Nitrogen; corn only.
    pub nitrogen: Option<NitrogenPlan>,
    /// Weeds known in the field; empty means "not named".
    pub weeds: Vec<Weed>,
}
