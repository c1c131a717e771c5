//! What a nitrate test in the top foot says.

use crate::reference::{Band, Figure, Source};

/// Nitrate in the top foot, ppm, at which more N pays nothing; corn 6 to 12 in tall.
pub const CRITICAL_NITRATE_PPM: Figure = Figure::new(
    25.0,
    Source::published("Blackmer et al., Nitrogen fertilizer recommendations, Iowa State CROP 3140"),
);
/// The same where rain since 1 April is more than a fifth above normal, ppm.
pub const WET_SPRING_CRITICAL_PPM: Band =
    Band::new(20.0, 22.0, Source::published("Iowa State CROP 3140; Lang, Iowa State Univ., 2004"));
/// The same on manured ground, ppm.
pub const MANURED_CRITICAL_PPM: Figure =
    Figure::new(15.0, Source::published("Iowa State CROP 3140; Lang, Iowa State Univ., 2004"));
/// N to put on for each ppm short of the critical one, lb/acre.
pub const POUNDS_PER_PPM_SHORT: Figure =
    Figure::new(8.0, Source::published("Lang, Iowa State Univ., 2004, after CROP 3140"));
/// Nitrate N in the top foot for each ppm, lb/acre: an acre foot weighs 3.6 million lb.
pub const POUNDS_PER_PPM: Figure =
    Figure::new(3.6, Source::published("Ontario Soil and Crop Improvement Association"));
/// Share of the root zone's nitrate that lies in the top foot.
pub const TOP_FOOT_SHARE: Figure =
    Figure::new(0.60, Source::published("Ontario Soil and Crop Improvement Association"));

/// N to put on by the late-spring nitrate test, lb/acre.
pub fn nitrate_test_rate(critical_ppm: f64, test_ppm: f64) -> f64 {
    (critical_ppm - test_ppm).max(0.0) * POUNDS_PER_PPM_SHORT.value
}

/// N to put on by the table of tests to the whole ppm, lb/acre, of the full rate: to 10 ppm all of
/// it, to 15 less 30, to 20 less 45, to 25 less 90, above it none.
///
/// # References
///
/// Ohio State Univ. Extension, Pre-sidedress nitrogen test, 2022, adjustment table.
pub fn table_rate_by_test(full_rate_lb: f64, test_ppm: f64) -> f64 {
    const LESS: [(f64, f64); 4] = [(10.0, 0.0), (15.0, 30.0), (20.0, 45.0), (25.0, 90.0)];
    let row = LESS.iter().find(|(most, _)| test_ppm.round() <= *most);
    row.map_or(0.0, |(_, less)| (full_rate_lb - less).max(0.0))
}

/// Nitrate N in the top foot by a test, lb/acre.
pub fn nitrate_in_top_foot(test_ppm: f64) -> f64 {
    test_ppm * POUNDS_PER_PPM.value
}
