//! Daily mean soil temperature from daily mean air temperature.
//!
//! # References
//!
//! Kätterer & Andrén, Predicting daily soil temperature profiles in arable soils in cold temperate
//! regions from air temperature and leaf area index, Acta Agric. Scand. B 59:77-86, 2009.
//! Models of this kind err by 1.2 to 1.9 C (Horton & Corkrey, Soil Res. 49:305, 2011), so a date
//! read off them may be a few days out.

/// Share of the green area that counts as leaf area.
const LEAF_SHARE: f64 = 0.8;

/// Mean temperature of the soil's surface, C, under so much leaf area (m2/m2).
pub fn surface(air: f64, leaf_area: f64) -> f64 {
    if air < 0.0 { 0.20 * air } else { air * (0.95 + 0.05 * (-0.4 * (leaf_area - 3.0)).exp()) }
}

/// Share of the gap to the surface that one day closes at a depth (cm) under so much green area.
pub fn daily_gain(depth_cm: f64, green_area: f64) -> f64 {
    0.24 * (-0.017 * depth_cm).exp() * (-0.15 * green_area).exp()
}

/// Soil temperature at one depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilTemperature {
    depth_cm: f64,
    celsius: f64,
}

impl SoilTemperature {
    /// Starts at a known or assumed temperature, C.
    pub const fn starting(depth_cm: f64, celsius: f64) -> Self {
        Self { depth_cm, celsius }
    }

    /// Takes in one day's mean air temperature, C, over so much green area (m2/m2, 0 when bare);
    /// gives the soil's.
    pub fn advance(&mut self, air: f64, green_area: f64) -> f64 {
        let surface = surface(air, LEAF_SHARE * green_area);
        self.celsius += (surface - self.celsius) * daily_gain(self.depth_cm, green_area);
        self.celsius
    }

    /// The temperature now, C.
    pub const fn celsius(&self) -> f64 {
        self.celsius
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_deeper_layer_follows_more_slowly() {
        let mut shallow = SoilTemperature::starting(5.0, 5.0);
        let mut deep = SoilTemperature::starting(20.0, 5.0);
        assert!(shallow.advance(15.0, 0.0) > deep.advance(15.0, 0.0));
    }
}
