//! What a nitrate test in the top foot says.

use crate::plan::{NitrogenPlan, NitrogenSource};
use crate::reference::{Band, Figure, Source, Standing};
use crate::units::NitratePpm;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

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

/// What a nitrate test makes of the planned sidedress.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TestedRate {
    /// Day on which the soil was taken.
    pub on: NaiveDate,
    /// The test, ppm.
    pub ppm: f64,
    /// The test from which on more N pays nothing, ppm.
    pub critical_ppm: f64,
    /// Nitrate N that the test found in the top foot, lb/acre.
    pub found_lb: f64,
    /// N that was planned, lb/acre.
    pub planned_lb: f64,
    /// N by the rule that gives less, lb/acre.
    pub low_lb: f64,
    /// N by the rule that gives more, lb/acre: the rate that is told, so that the crop does not go
    /// short by the choice of rule.
    pub high_lb: f64,
    /// How far the rules are to be trusted.
    pub standing: Standing,
}

impl TestedRate {
    /// The rate after a test: by [`nitrate_test_rate`] and, where no manure lowers the critical
    /// test, by [`table_rate_by_test`] too. A test never raises a plan.
    ///
    /// The lower critical test of a wet spring is not used: it asks for the normal rain of the
    /// place, which is not known here, and would only take N away.
    pub fn of(on: NaiveDate, ppm: NitratePpm, plan: &NitrogenPlan) -> Self {
        let planned_lb = plan.sidedress.get();
        let manured = [plan.starter_source, plan.source].contains(&NitrogenSource::Manure);
        let critical = if manured { MANURED_CRITICAL_PPM } else { CRITICAL_NITRATE_PPM };
        let ppm = ppm.get();
        let by_line = nitrate_test_rate(critical.value, ppm).min(planned_lb);
        let by_table = if manured { by_line } else { table_rate_by_test(planned_lb, ppm) };
        Self {
            on,
            ppm,
            critical_ppm: critical.value,
            found_lb: nitrate_in_top_foot(ppm),
            planned_lb,
            low_lb: by_line.min(by_table),
            high_lb: by_line.max(by_table),
            standing: critical.source.standing,
        }
    }
}

/// Nitrate N in the top foot by a test, lb/acre.
pub fn nitrate_in_top_foot(test_ppm: f64) -> f64 {
    test_ppm * POUNDS_PER_PPM.value
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Placement;
    use crate::units::PoundsPerAcre;
    use proptest::prelude::*;

    fn rate(ppm: f64, planned_lb: f64, starter_source: NitrogenSource) -> TestedRate {
        let plan = NitrogenPlan {
            starter: PoundsPerAcre::new(30.0).unwrap(),
            sidedress: PoundsPerAcre::new(planned_lb).unwrap(),
            starter_source,
            source: NitrogenSource::Uan32,
            placement: Placement::InSoil,
            inhibitor: None,
            rig_clears: None,
        };
        let on = NaiveDate::from_ymd_opt(2026, 6, 8).unwrap();
        TestedRate::of(on, NitratePpm::new(ppm).unwrap(), &plan)
    }

    /// Ohio State Univ. Extension, 2022: 156 lb planned, 19 ppm found, 111 lb left. Iowa State CROP
    /// 3140: (25 - 19) x 8 = 48 lb.
    #[test]
    fn both_published_rules_stand_and_the_larger_is_told() {
        let tested = rate(19.0, 156.0, NitrogenSource::Uan32);
        assert!((tested.high_lb - 111.0).abs() < 1e-9 && (tested.low_lb - 48.0).abs() < 1e-9);
        // 25 ppm in 12 in of soil are about 90 lb/acre (Ontario Soil and Crop Improvement
        // Association).
        assert!((rate(25.0, 156.0, NitrogenSource::Uan32).found_lb - 90.0).abs() < 1e-9);
    }

    #[test]
    fn past_the_critical_test_nothing_is_left_and_manure_brings_it_sooner() {
        assert!(rate(26.0, 120.0, NitrogenSource::Uan32).high_lb.abs() < 1e-9);
        assert!(rate(16.0, 120.0, NitrogenSource::Uan32).high_lb > 60.0);
        assert!(rate(16.0, 120.0, NitrogenSource::Manure).high_lb.abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn a_richer_test_never_asks_for_more_and_no_test_for_more_than_planned(
            ppm in 0.0..60.0_f64,
            more in 0.0..20.0_f64,
            planned in 0.0..300.0_f64,
            manured in any::<bool>(),
        ) {
            let source = if manured { NitrogenSource::Manure } else { NitrogenSource::Urea };
            let (poor, rich) = (rate(ppm, planned, source), rate(ppm + more, planned, source));
            prop_assert!(rich.high_lb <= poor.high_lb && rich.low_lb <= poor.low_lb);
            prop_assert!(0.0 <= poor.low_lb && poor.low_lb <= poor.high_lb);
            prop_assert!(poor.high_lb <= planned);
        }
    }
}
