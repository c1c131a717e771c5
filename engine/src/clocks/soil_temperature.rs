//! Daily soil temperature at a depth: its mean from the air's mean, its low and high by a daily
//! wave that dies out as it sinks.
//!
//! # References
//!
//! Kätterer & Andrén, Predicting daily soil temperature profiles in arable soils in cold temperate
//! regions from air temperature and leaf area index, Acta Agric. Scand. B 59:77-86, 2009. Hillel,
//! Introduction to Soil Physics, 1982, for the wave. Models of this kind err by 1.2 to 1.9 C in the
//! mean and by 2.5 to 3.4 C in the daily high at 5 to 10 cm (Horton & Corkrey, Soil Res. 49:305,
//! 2011), so a date read off them may be a few days out.

use crate::reference::{Figure, Source};
use std::f64::consts::TAU;

/// Share of the green area that counts as leaf area.
pub const LEAF_SHARE: f64 = 0.8;

/// How fast heat spreads through moist loam, mm2/s.
pub const DIFFUSIVITY_MM2_S: Figure = Figure::new(
    0.5,
    Source::published("Hillel, Introduction to Soil Physics, 1982: 0.3 dry to 0.7 wet, the middle"),
);

const SECONDS_PER_DAY: f64 = 86_400.0;

/// Mean temperature of the soil's surface, C, under so much leaf area (m2/m2).
pub fn surface(air: f64, leaf_area: f64) -> f64 {
    if air < 0.0 { 0.20 * air } else { air * (0.95 + 0.05 * (-0.4 * (leaf_area - 3.0)).exp()) }
}

/// Share of the gap to the surface that one day closes at a depth (cm) under so much green area.
pub fn daily_gain(depth_cm: f64, green_area: f64) -> f64 {
    bare_gain(depth_cm) * shading(green_area)
}

fn bare_gain(depth_cm: f64) -> f64 {
    0.24 * (-0.017 * depth_cm).exp()
}

fn shading(green_area: f64) -> f64 {
    (-0.15 * green_area).exp()
}

/// Depth, cm, at which a wave of so many days has shrunk to 1/e of its swing at the surface, in
/// soil of that diffusivity (mm2/s).
pub fn damping_depth_cm(diffusivity_mm2_s: f64, period_days: f64) -> f64 {
    const MM_PER_CM: f64 = 10.0;
    (diffusivity_mm2_s * period_days * SECONDS_PER_DAY / (TAU / 2.0)).sqrt() / MM_PER_CM
}

/// Share of the surface's swing that is left at a depth.
pub fn swing_left(depth_cm: f64, damping_cm: f64) -> f64 {
    (-depth_cm / damping_cm).exp()
}

/// Hours by which the daily wave comes later at a depth than at the surface.
pub fn lag_hours(depth_cm: f64, damping_cm: f64) -> f64 {
    depth_cm / damping_cm * 24.0 / TAU
}

/// A daily wave at the surface: its mean (C), half the way from low to high (C), and the hour at
/// which it passes the mean on its way up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wave {
    /// Mean, C.
    pub mean: f64,
    /// Half the way from low to high, C.
    pub swing: f64,
    /// Hour of the day, 0 to 24.
    pub rises_at: f64,
}

impl Wave {
    /// Temperature, C, at an hour of the day and a depth.
    pub fn at(&self, hour: f64, depth_cm: f64, damping_cm: f64) -> f64 {
        let later = self.rises_at + lag_hours(depth_cm, damping_cm);
        let turn = TAU / 24.0 * (hour - later);
        self.mean + self.swing * swing_left(depth_cm, damping_cm) * turn.sin()
    }
}

/// One day's soil temperature at one depth, C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilDay {
    /// Coldest.
    pub low: f64,
    /// Mean.
    pub mean: f64,
    /// Warmest.
    pub high: f64,
}

/// Soil temperature at one depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilTemperature {
    celsius: f64,
    /// Share of the gap to the surface that a day closes when bare.
    gain: f64,
    /// Share of the surface's daily swing that is left.
    swing_left: f64,
}

impl SoilTemperature {
    /// Starts at a known or assumed temperature, C. After ten days less than a tenth of an error in
    /// it is left at seed depth.
    pub fn starting(depth_cm: f64, celsius: f64) -> Self {
        let damping = damping_depth_cm(DIFFUSIVITY_MM2_S.value, 1.0);
        Self { celsius, gain: bare_gain(depth_cm), swing_left: swing_left(depth_cm, damping) }
    }

    /// Takes in one day's mean air temperature, C, over so much green area (m2/m2, 0 when bare);
    /// gives the soil's.
    pub fn advance(&mut self, air: f64, green_area: f64) -> f64 {
        let surface = surface(air, LEAF_SHARE * green_area);
        self.celsius += (surface - self.celsius) * self.gain * shading(green_area);
        self.celsius
    }

    /// Takes in one day's low and high of the air, C, over so much green area; gives the soil's
    /// day. On a day without them the soil keeps its temperature inside, and what it was is
    /// unknown.
    ///
    /// The surface is taken to swing as far as the air. Skin temperatures swing up to twice as far
    /// on clear days, so the soil's low may lie lower and its high higher than told.
    pub fn advance_day(&mut self, air: Option<(f64, f64)>, green_area: f64) -> Option<SoilDay> {
        let (low, high) = air?;
        let mean = self.advance(f64::midpoint(low, high), green_area);
        let swing = (high - low).max(0.0) / 2.0 * self.swing_left;
        Some(SoilDay { low: mean - swing, mean, high: mean + swing })
    }

    /// The mean temperature of the last day taken in, C.
    pub const fn celsius(&self) -> f64 {
        self.celsius
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_day_without_weather_is_unknown_and_leaves_the_soil_as_it_was() {
        let mut soil = SoilTemperature::starting(5.0, 8.0);
        assert_eq!(soil.advance_day(None, 0.0), None);
        assert!((soil.celsius() - 8.0).abs() < 1e-12);
        assert!(soil.advance_day(Some((5.0, 15.0)), 0.0).is_some());
    }

    #[test]
    fn an_error_in_the_start_is_forgotten() {
        let mut right = SoilTemperature::starting(5.0, 5.0);
        let mut wrong = SoilTemperature::starting(5.0, 15.0);
        for _ in 0..10 {
            right.advance(12.0, 0.0);
            wrong.advance(12.0, 0.0);
        }
        assert!((wrong.celsius() - right.celsius()).abs() < 1.0);
    }

    proptest! {
        #[test]
        fn deeper_is_calmer(
            low in -10.0..20.0_f64, span in 0.1..25.0_f64, start in 0.0..20.0_f64,
            depth in 0.0..30.0_f64, deeper in 0.1..30.0_f64, green in 0.0..4.0_f64,
        ) {
            let day = |depth| {
                let mut soil = SoilTemperature::starting(depth, start);
                let day = soil.advance_day(Some((low, low + span)), green).unwrap();
                ((day.mean - start).abs(), day.high - day.low)
            };
            let (shallow, deep) = (day(depth), day(depth + deeper));
            prop_assert!(deep.0 <= shallow.0 && deep.1 < shallow.1);
        }

        #[test]
        fn warmer_air_never_cools_the_soil(
            lows in proptest::collection::vec(-20.0..25.0_f64, 1..40), span in 0.0..25.0_f64,
            more in 0.0..10.0_f64, depth in 0.0..30.0_f64, green in 0.0..4.0_f64,
        ) {
            let mut plain = SoilTemperature::starting(depth, 5.0);
            let mut warmer = plain;
            for low in lows {
                let plain = plain.advance_day(Some((low, low + span)), green).unwrap();
                let air = (low + more, low + span + more);
                let warmer = warmer.advance_day(Some(air), green).unwrap();
                prop_assert!(warmer.mean >= plain.mean - 1e-9);
                prop_assert!(warmer.low >= plain.low - 1e-9 && warmer.high >= plain.high - 1e-9);
            }
        }

        #[test]
        fn a_day_runs_from_low_over_mean_to_high(
            low in -20.0..25.0_f64, span in 0.0..25.0_f64, depth in 0.0..30.0_f64,
        ) {
            let mut soil = SoilTemperature::starting(depth, 5.0);
            let day = soil.advance_day(Some((low, low + span)), 0.0).unwrap();
            prop_assert!(day.low <= day.mean && day.mean <= day.high);
        }
    }
}
