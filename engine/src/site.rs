//! Where a field lies and what its soil is.

use crate::units::{Latitude, Longitude, Percent};
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
}
