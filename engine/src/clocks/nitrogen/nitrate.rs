//! How much of a pass of fertiliser is nitrate, by the warmth it has lain in.

use crate::plan::{Inhibitor, NitrogenSource};
use crate::reference::fertilisers::{self, Turning};
use crate::reference::{Figure, Source};

/// Soil temperature for which the published weeks are taken to hold, C.
pub const REFERENCE_C: Figure =
    Figure::new(15.0, Source::common_practice("soil at 4 in over the weeks after a May pass"));

/// Potential rate of nitrification by temperature: `fraction a day = 1 - exp(-factor)` in soil with
/// enough water and lime. Straight from 41 F up (EPIC), bent below 50 F so that it ends at 32 F, and
/// no faster above 90 F.
///
/// # References
///
/// EPIC, after Reddy 1979 and Godwin 1984: `0.041 (T - 5)`. Sawyer, Iowa State Univ., 2005: best near
/// 90 F, slow below 50 F, goes on down to 32 F.
pub fn nitrification_factor(celsius: f64) -> f64 {
    const PER_DEGREE: f64 = 0.041;
    const STARTS_C: f64 = 5.0;
    const SLOW_BELOW_C: f64 = 10.0;
    const BEST_C: f64 = 32.2;
    if celsius < SLOW_BELOW_C {
        PER_DEGREE * (SLOW_BELOW_C - STARTS_C) * (celsius / SLOW_BELOW_C).max(0.0)
    } else {
        PER_DEGREE * (celsius.min(BEST_C) - STARTS_C)
    }
}

/// Pace at a soil temperature beside that at [`REFERENCE_C`].
pub fn nitrification_pace(celsius: f64) -> f64 {
    nitrification_factor(celsius) / nitrification_factor(REFERENCE_C.value)
}

/// One pass of fertiliser in the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pass {
    pounds: f64,
    turning: Turning,
    days: f64,
}

impl Pass {
    /// A pass as of the day it went on; `pounds` N an acre.
    pub fn new(source: NitrogenSource, inhibitor: Option<Inhibitor>, pounds: f64) -> Self {
        Self { pounds, turning: fertilisers::of(source).curve(inhibitor).turning(), days: 0.0 }
    }

    /// Takes in a day after it. A day of unknown warmth counts as one of the published weeks.
    pub fn advance(&mut self, soil_c: Option<f64>) {
        self.days += soil_c.map_or(1.0, nitrification_pace);
    }

    /// N that is nitrate by now had none been lost, lb/acre.
    pub fn nitrate(&self) -> f64 {
        self.pounds * self.turning.share(self.days)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_day_of_unknown_warmth_counts_as_the_table_has_it() {
        let mut unknown = Pass::new(NitrogenSource::Urea, None, 100.0);
        let mut usual = unknown;
        for _ in 0..21 {
            unknown.advance(None);
            usual.advance(Some(REFERENCE_C.value));
        }
        assert!((unknown.nitrate() - 50.0).abs() < 1e-9);
        assert!((usual.nitrate() - 50.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn warmer_soil_never_makes_less_nitrate(
            celsius in -5.0..40.0_f64,
            more in 0.0..10.0_f64,
            days in 0_u32..80,
            source in prop::sample::select(&NitrogenSource::ALL),
            inhibited in any::<bool>(),
        ) {
            let inhibitor = inhibited.then_some(Inhibitor::Nitrification);
            let after = |celsius: f64| {
                let mut pass = Pass::new(source, inhibitor, 150.0);
                (0..days).for_each(|_| pass.advance(Some(celsius)));
                pass.nitrate()
            };
            prop_assert!(after(celsius + more) >= after(celsius));
            prop_assert!(after(celsius + more) <= 150.0);
        }
    }
}
