//! What trials saw of pre-emergence control: priors for what to expect, never a promise.

use super::sources::{SILVA, STROM};
use crate::reference::{Band, Figure, Source};
use serde::Serialize;

/// A believable range of control about four weeks after the pass, percent.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Expected {
    /// Low end.
    pub low: f64,
    /// Counted with.
    pub likely: f64,
    /// High end.
    pub high: f64,
    /// Where the middle comes from.
    pub source: Source,
    /// Where the ends come from.
    pub ends_source: Source,
}

impl Expected {
    /// The middle of a published band, and its ends.
    pub const fn of(band: &Band) -> Self {
        let Band { low, high, source } = *band;
        Self { low, likely: band.middle(), high, source, ends_source: source }
    }
}

/// Site of action whose resistance in waterhemp has been measured in the field.
pub const LONG_CHAIN_GROUP: u8 = 15;

const ENDS: Source = Source::common_practice(
    "width chosen to hold other trials: 54 % with group 15 alone at 63 d and 95 % with premixes \
     (Jha et al. 2015), 88 % with group 15 on sensitive waterhemp (Strom et al. 2022)",
);

/// Control by the number of sites of action that work on the weed: one, two, three and more. A
/// third adds little on average.
pub const BY_GROUPS: [Expected; 3] = [
    Expected { low: 54.0, likely: 68.0, high: 88.0, source: SILVA, ends_source: ENDS },
    Expected { low: 60.0, likely: 78.0, high: 95.0, source: SILVA, ends_source: ENDS },
    Expected { low: 63.0, likely: 81.0, high: 95.0, source: SILVA, ends_source: ENDS },
];

/// Waterhemp 28 d after group 15 alone, where it is sensitive, percent.
pub const WATERHEMP_SENSITIVE: Band = Band::new(81.0, 88.0, STROM);

/// The same where it is resistant. Encapsulated acetochlor did worse than plain.
pub const WATERHEMP_RESISTANT: Band = Band::new(61.0, 76.0, STROM);

/// What people expect of a pre in a dry spring, percent.
pub const DRY_SPRING: Band = Band::new(80.0, 85.0, Source::common_practice(THUMB));

/// What people expect of it when rain comes in time, percent.
pub const USUAL_SPRING: Figure = Figure::new(99.0, Source::common_practice(THUMB));

const THUMB: &str = "rule of thumb of growers; no trial gives these numbers";
