//! What `farms/FARM.toml` says, as it is written.

use crate::schema::{
    FieldAcres, GroupNumber, IngredientName, InhibitorName, LatitudeDegrees, LongitudeDegrees,
    NitrogenPounds, NitrogenSourceName, OverridesSchema, PlacementName, TextureName, WeedName,
    Zone,
};
use chrono::NaiveDate;
use chrono_tz::Tz;
use furrowbell_engine::plan::{Inhibitor, NitrogenSource, Placement};
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;
use furrowbell_engine::site::Texture;
use furrowbell_engine::thresholds::Overrides;
use furrowbell_engine::units::{Acres, Inches, Latitude, Longitude, Percent, PoundsPerAcre};
use schemars::JsonSchema;
use serde::Deserialize;
use std::path::PathBuf;

/// Organic matter that a mineral topsoil can hold (20 % is where organic soils begin; from memory).
pub(crate) const ORGANIC_MATTER_PERCENT: (f64, f64) = (0.1, 20.0);

/// Elevation of ground that is farmed, feet; within what the engine takes.
pub(crate) const ELEVATION_FT: (f64, f64) = (-300.0, 9800.0);

/// One farm with its fields: `farms/FARM.toml`.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FarmFile {
    /// The farm itself.
    pub farm: FarmEntry,
    /// Its fields; with `fields_from`, what is added to the fields of that file.
    #[serde(default)]
    pub field: Vec<FieldEntry>,
}

/// The farm itself.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FarmEntry {
    /// Name as people say it: up to 40 plain letters, digits, spaces and .'&/-
    #[schemars(regex(pattern = r"^[A-Za-z0-9ñÑéÉüÜ][A-Za-z0-9ñÑéÉüÜ .'&/-]{0,39}$"))]
    pub name: String,
    /// Ids of the people who get the texts about its fields.
    #[schemars(length(min = 1), extend("uniqueItems" = true))]
    pub growers: Vec<String>,
    /// Ids of the people who advise it.
    #[schemars(length(min = 1), extend("uniqueItems" = true))]
    pub advisors: Vec<String>,
    /// IANA time zone, when it is not the desk's.
    #[schemars(with = "Option<Zone>")]
    pub zone: Option<Tz>,
    /// CSV or `GeoJSON` file with fields; relative paths start at the book.
    pub fields_from: Option<PathBuf>,
    /// Thresholds of this farm.
    #[serde(default)]
    #[schemars(with = "OverridesSchema")]
    pub thresholds: Overrides,
}

/// One field.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FieldEntry {
    /// Name as people say it: up to 24 plain letters, digits, spaces and .'&/-
    #[schemars(regex(pattern = r"^[A-Za-z0-9ñÑéÉüÜ][A-Za-z0-9ñÑéÉüÜ .'&/-]{0,23}$"))]
    pub name: String,
    /// Latitude of its middle, decimal degrees, north positive.
    #[schemars(with = "Option<LatitudeDegrees>")]
    pub latitude: Option<Latitude>,
    /// Longitude of its middle, decimal degrees, east positive (so negative in America).
    #[schemars(with = "Option<LongitudeDegrees>")]
    pub longitude: Option<Longitude>,
    /// Size.
    #[schemars(with = "Option<FieldAcres>")]
    pub acres: Option<Acres>,
    /// Texture of the topsoil.
    #[schemars(with = "Option<TextureName>")]
    pub texture: Option<Texture>,
    /// Organic matter of the topsoil, by weight.
    #[schemars(
        with = "Option<f64>",
        range(min = ORGANIC_MATTER_PERCENT.0, max = ORGANIC_MATTER_PERCENT.1)
    )]
    pub organic_matter_percent: Option<Percent>,
    /// Sand of the topsoil by weight, from a laboratory; together with clay.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub sand_percent: Option<Percent>,
    /// Clay of the topsoil by weight, from a laboratory; together with sand.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub clay_percent: Option<Percent>,
    /// Height above the sea.
    #[schemars(range(min = ELEVATION_FT.0, max = ELEVATION_FT.1))]
    pub elevation_ft: Option<f64>,
    /// What is meant for it this season; without a plan it has no clocks.
    pub plan: Option<PlanEntry>,
    /// What has happened already.
    #[serde(default)]
    pub done: DoneEntry,
    /// Thresholds of this field.
    #[serde(default)]
    #[schemars(with = "OverridesSchema")]
    pub thresholds: Overrides,
}

/// The plan of one field for one season.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanEntry {
    /// Crop.
    pub crop: CropName,
    /// Relative maturity of corn.
    #[schemars(range(min = 80.0, max = 120.0))]
    pub relative_maturity_days: Option<f64>,
    /// Maturity group of soybean.
    #[schemars(range(min = 0.0, max = 4.9))]
    pub maturity_group: Option<f64>,
    /// Target planting depth.
    #[schemars(with = "f64", range(min = 0.5, max = 4.0))]
    pub depth_in: Inches,
    /// Row width.
    #[schemars(with = "f64", range(min = 6.0, max = 40.0))]
    pub row_spacing_in: Inches,
    /// Crop residue on the surface at planting.
    #[serde(default = "residue_cover")]
    #[schemars(with = "f64", range(min = Percent::MIN, max = Percent::MAX))]
    pub residue_cover_percent: Percent,
    /// Weeds known in the field.
    #[serde(default)]
    #[schemars(with = "Vec<WeedName>", extend("uniqueItems" = true))]
    pub weeds: Vec<Weed>,
    /// Sites of action that no longer work on a weed of the field.
    #[serde(default)]
    #[schemars(extend("uniqueItems" = true))]
    pub resistant: Vec<ResistanceEntry>,
    /// Pre-emergence pass, if one is meant.
    pub pre: Option<PassEntry>,
    /// Post-emergence pass, if one is meant.
    pub post: Option<PassEntry>,
    /// Nitrogen; corn only.
    pub nitrogen: Option<NitrogenEntry>,
}

/// A weed that a site of action no longer works on.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ResistanceEntry {
    /// The weed.
    #[schemars(with = "WeedName")]
    pub weed: Weed,
    /// Number of the site-of-action group, as on the label.
    #[schemars(with = "GroupNumber")]
    pub group: u8,
}

/// A crop by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CropName {
    /// Corn.
    Corn,
    /// Soybean.
    Soybean,
}

/// A herbicide pass.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PassEntry {
    /// What people call the mix.
    pub name: String,
    /// Its active ingredients by common name: at least one, none twice.
    #[schemars(with = "Vec<IngredientName>", length(min = 1), extend("uniqueItems" = true))]
    pub ingredients: Vec<Ingredient>,
    /// Names of the products in it that labels.toml describes.
    #[serde(default)]
    #[schemars(extend("uniqueItems" = true))]
    pub products: Vec<String>,
}

/// Nitrogen meant for a corn field.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NitrogenEntry {
    /// N put on before or at planting.
    #[schemars(with = "NitrogenPounds")]
    pub starter_lb_per_acre: PoundsPerAcre,
    /// N meant for the sidedress pass.
    #[schemars(with = "NitrogenPounds")]
    pub sidedress_lb_per_acre: PoundsPerAcre,
    /// Form of the sidedress.
    #[schemars(with = "NitrogenSourceName")]
    pub source: NitrogenSource,
    /// Form of the starter, when it is not that of the sidedress.
    #[schemars(with = "Option<NitrogenSourceName>")]
    pub starter_source: Option<NitrogenSource>,
    /// Where the sidedress lies: surface (dry urea, when nothing is said) or in-soil (all else).
    #[schemars(with = "Option<PlacementName>")]
    pub placement: Option<Placement>,
    /// What holds back the N of both passes.
    #[schemars(with = "Option<InhibitorName>")]
    pub inhibitor: Option<Inhibitor>,
    /// Tallest corn that the sidedress rig clears.
    #[schemars(with = "Option<f64>", range(min = 6.0, max = 120.0))]
    pub rig_clears_in: Option<Inches>,
}

/// What has happened already.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DoneEntry {
    /// Day of planting.
    pub planted: Option<NaiveDate>,
    /// Day of the pre pass.
    pub pre_applied: Option<NaiveDate>,
    /// Day of the post pass.
    pub post_applied: Option<NaiveDate>,
    /// Day on which the starter went on, where that was before planting, in autumn at the earliest.
    pub starter_applied: Option<NaiveDate>,
    /// Day of the sidedress pass.
    pub sidedressed: Option<NaiveDate>,
    /// N put on in that pass, when it was not as planned.
    #[schemars(with = "Option<NitrogenPounds>")]
    pub sidedressed_lb_per_acre: Option<PoundsPerAcre>,
}

/// Residue cover where the book says none (common practice for reduced tillage, no source).
fn residue_cover() -> Percent {
    Percent::new(30.0).expect("30 lies between 0 and 100 percent")
}
