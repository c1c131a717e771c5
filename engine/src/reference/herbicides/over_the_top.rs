//! Dicamba over the top of tolerant soybean: rules that last a season or two and are always dated.

use super::sources::read;
use crate::reference::Source;

/// What stands over some seasons.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OverTheTop {
    /// First year.
    pub first: i32,
    /// Last year.
    pub last: i32,
    /// Heat limits of the label; `None` where no product was registered.
    pub heat: Option<DayHeat>,
    /// Where it comes from.
    pub source: Source,
}

/// Limits by the highest temperature forecast for the day, F.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayHeat {
    /// From here on only a share of the county's untreated acres may be treated that day, and the
    /// count of acres is kept by the county, not here.
    pub county_share_from_f: f64,
    /// From here on nothing is treated.
    pub never_from_f: f64,
}

/// The rule of a year; `None` where none is on hand.
pub fn rule(year: i32) -> Option<&'static OverTheTop> {
    RULES.iter().find(|rule| (rule.first..=rule.last).contains(&year))
}

const RULES: [OverTheTop; 2] = [
    OverTheTop {
        first: 2024,
        last: 2025,
        heat: None,
        source: read(
            "South Dakota State University Extension, \"While Illegal in Tolerant Soybean, Dicamba \
             Can Still Be Applied to Other Crops\"",
        ),
    },
    OverTheTop {
        first: 2026,
        last: 2027,
        heat: Some(DayHeat { county_share_from_f: 85.0, never_from_f: 95.0 }),
        source: read(
            "Illinois Fertilizer & Chemical Association, dicamba training, frequently asked \
             questions on the 2026 registration",
        ),
    },
];
