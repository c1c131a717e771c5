//! What is meant for one field this season.

use crate::reference::herbicides::{Ingredient, current_group};
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

/// A weed of the field that has outgrown one site of action.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Resistance {
    /// The weed.
    pub weed: Weed,
    /// Site-of-action group that fails on it; old numbers are read as the new ones.
    pub group: u8,
}

impl Resistance {
    /// Whether it takes an ingredient off a weed.
    pub const fn spares(self, weed: Weed, ingredient: Ingredient) -> bool {
        self.weed as u8 == weed as u8 && current_group(self.group) == ingredient.group()
    }
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
    /// Liquid manure, by the N in it that a crop can use this season.
    Manure,
}

impl NitrogenSource {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Uan28,
        Self::Uan32,
        Self::Urea,
        Self::AnhydrousAmmonia,
        Self::AmmoniumNitrate,
        Self::Manure,
    ];

    /// Where it lies when nobody says: dry urea on top, all else in the soil (common practice).
    pub const fn usual_placement(self) -> Placement {
        match self {
            Self::Urea => Placement::Surface,
            _ => Placement::InSoil,
        }
    }
}

/// What holds a fertiliser back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Inhibitor {
    /// Slows the turn from ammonium to nitrate.
    Nitrification,
    /// Slows the break-up of urea into ammonia.
    Urease,
    /// Both.
    Both,
}

impl Inhibitor {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Nitrification, Self::Urease, Self::Both];

    /// Whether it slows the turn to nitrate.
    pub const fn slows_nitrate(self) -> bool {
        matches!(self, Self::Nitrification | Self::Both)
    }

    /// Whether it slows the break-up of urea.
    pub const fn slows_urea(self) -> bool {
        matches!(self, Self::Urease | Self::Both)
    }
}

/// Where a fertiliser lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Placement {
    /// On the ground or the residue.
    Surface,
    /// Injected or worked in.
    InSoil,
}

impl Placement {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Surface, Self::InSoil];
}

/// What nitrogen is meant for a corn field.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NitrogenPlan {
    /// N put on before or at planting.
    pub starter: PoundsPerAcre,
    /// N meant for the sidedress pass.
    pub sidedress: PoundsPerAcre,
    /// Form of the starter, which lies in the soil.
    pub starter_source: NitrogenSource,
    /// Form of the sidedress.
    pub source: NitrogenSource,
    /// Where the sidedress lies.
    pub placement: Placement,
    /// What holds back the N of both passes, if anything does.
    pub inhibitor: Option<Inhibitor>,
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
    /// Sites of action that no longer work on a weed of this field.
    #[serde(default)]
    pub resistant: Vec<Resistance>,
}
