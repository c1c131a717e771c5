//! Where a field lies and what its soil is.

use crate::units::{Latitude, Longitude, Metres, Percent};
use serde::{Deserialize, Serialize};

/// Soil texture: the twelve classes of the USDA triangle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Texture {
    /// Sand.
    Sand,
    /// Loamy sand.
    LoamySand,
    /// Sandy loam.
    SandyLoam,
    /// Loam.
    Loam,
    /// Silt loam.
    SiltLoam,
    /// Silt.
    Silt,
    /// Sandy clay loam.
    SandyClayLoam,
    /// Clay loam.
    ClayLoam,
    /// Silty clay loam.
    SiltyClayLoam,
    /// Sandy clay.
    SandyClay,
    /// Silty clay.
    SiltyClay,
    /// Clay.
    Clay,
}

/// The coarse, medium or fine group in which labels speak of soil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TextureGroup {
    /// Sand, loamy sand, sandy loam.
    Coarse,
    /// Loam, silt loam, silt, sandy clay loam.
    Medium,
    /// Clay loam, silty clay loam, and the clays.
    Fine,
}

impl Texture {
    /// All twelve, coarse to fine.
    pub const ALL: [Self; 12] = [
        Self::Sand,
        Self::LoamySand,
        Self::SandyLoam,
        Self::Loam,
        Self::SiltLoam,
        Self::Silt,
        Self::SandyClayLoam,
        Self::ClayLoam,
        Self::SiltyClayLoam,
        Self::SandyClay,
        Self::SiltyClay,
        Self::Clay,
    ];

    /// The group in which labels speak of it (grouping from memory of label wording).
    pub const fn group(self) -> TextureGroup {
        match self {
            Self::Sand | Self::LoamySand | Self::SandyLoam => TextureGroup::Coarse,
            Self::Loam | Self::SiltLoam | Self::Silt | Self::SandyClayLoam => TextureGroup::Medium,
            Self::ClayLoam
            | Self::SiltyClayLoam
            | Self::SandyClay
            | Self::SiltyClay
            | Self::Clay => TextureGroup::Fine,
        }
    }
}

/// One field's place and soil.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Site {
    /// Latitude of the field's middle.
    pub latitude: Latitude,
    /// Longitude of the field's middle.
    pub longitude: Longitude,
    /// Texture of the topsoil.
    pub texture: Texture,
    /// Organic matter of the topsoil, by weight.
    pub organic_matter: Percent,
    /// Sand and clay of the topsoil, where a laboratory found them.
    #[serde(default)]
    pub particles: Option<Particles>,
    /// Height above the sea.
    #[serde(default)]
    pub elevation: Option<Metres>,
}

/// Sand and clay in the mineral part of a soil, % by weight; the rest is silt.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "(Percent, Percent)", into = "(f64, f64)")]
pub struct Particles {
    sand: f64,
    clay: f64,
}

impl TryFrom<(Percent, Percent)> for Particles {
    type Error = NotASoil;
    fn try_from((sand, clay): (Percent, Percent)) -> Result<Self, NotASoil> {
        Self::new(sand, clay)
    }
}

impl From<Particles> for (f64, f64) {
    fn from(particles: Particles) -> Self {
        (particles.sand, particles.clay)
    }
}

/// Particles that are no whole soil.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NotASoil {
    /// Sand and clay alone exceed the whole.
    #[error("sand and clay add to {0} %; want at most 100")]
    TooMuch(f64),
    /// A surveyed row whose parts do not make the whole, as where one was not measured.
    #[error("sand, silt and clay add to {0} %; want 95 to 105")]
    PartMissing(f64),
}

impl Particles {
    /// Takes sand and clay; refuses more than the whole.
    pub fn new(sand: Percent, clay: Percent) -> Result<Self, NotASoil> {
        let (sand, clay) = (sand.get(), clay.get());
        if sand + clay > 100.0 {
            return Err(NotASoil::TooMuch(sand + clay));
        }
        Ok(Self { sand, clay })
    }

    /// Takes a surveyed row and brings it to the whole; refuses one whose three parts do not add to
    /// 95 to 105 %: a part is missing or was averaged over rows that lack it.
    pub fn surveyed(sand: Percent, silt: Percent, clay: Percent) -> Result<Self, NotASoil> {
        let sum = sand.get() + silt.get() + clay.get();
        if !(95.0..=105.0).contains(&sum) {
            return Err(NotASoil::PartMissing(sum));
        }
        Ok(Self { sand: 100.0 * sand.get() / sum, clay: 100.0 * clay.get() / sum })
    }

    /// The middle of a texture class, by the USDA triangle.
    pub const fn middle_of(texture: Texture) -> Self {
        let (sand, clay) = match texture {
            Texture::Sand => (88.0, 5.0),
            Texture::LoamySand => (80.0, 5.0),
            Texture::SandyLoam => (65.0, 10.0),
            Texture::Loam => (40.0, 20.0),
            Texture::SiltLoam => (20.0, 15.0),
            Texture::Silt => (10.0, 5.0),
            Texture::SandyClayLoam => (60.0, 25.0),
            Texture::ClayLoam => (30.0, 35.0),
            Texture::SiltyClayLoam => (10.0, 35.0),
            Texture::SandyClay => (50.0, 40.0),
            Texture::SiltyClay => (10.0, 45.0),
            Texture::Clay => (25.0, 50.0),
        };
        Self { sand, clay }
    }

    /// Sand, %.
    pub const fn sand(self) -> f64 {
        self.sand
    }

    /// Clay, %.
    pub const fn clay(self) -> f64 {
        self.clay
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_surveyed_row_that_lacks_a_part_is_no_soil() {
        let percent = |value| Percent::new(value).unwrap();
        let row =
            |sand, silt, clay| Particles::surveyed(percent(sand), percent(silt), percent(clay));
        assert_eq!(row(11.0, 14.0, 8.0), Err(NotASoil::PartMissing(33.0)));
        let whole = row(42.0, 36.0, 22.0).unwrap();
        assert_eq!((whole.sand(), whole.clay()), (42.0, 22.0));
        assert!(Particles::new(percent(70.0), percent(31.0)).is_err());
        let text = serde_json::to_string(&whole).unwrap();
        assert_eq!(serde_json::from_str::<Particles>(&text).unwrap(), whole);
    }
}
