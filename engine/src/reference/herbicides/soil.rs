//! Ingredients that work through the soil: the rain they want, how long they last, what they hold.

use super::Ingredient;
use super::sources::{
    ARKANSAS_DRY, CLEMSON, DRY_GROUP_14, HAGER_DRY, HANDBOOK, LABEL_WORDING, LANDAU, LONG,
    MCDOWELL, MINNESOTA_NOTES, NDSU_FATE, PENN_REACH, PNW_EDAMAME, PNW_FLAX, PNW_SNAP_BEAN,
    PURDUE_LABELS, PURDUE_RAIN, STEWART, read, recalled,
};
use crate::reference::{Figure, Source, Standing};
use crate::site::TextureGroup;

/// Rain that an ingredient wants before it works, inches, on moist medium soil unless split.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RainNeed {
    /// Least that any source names.
    pub low_in: f64,
    /// The figure counted with, chosen between the other two.
    pub likely_in: f64,
    /// Most that any source names.
    pub high_in: f64,
    /// Need on coarse and on fine soil, where a source gives both.
    pub split_in: Option<(f64, f64)>,
    /// Where the rain comes from.
    pub source: Source,
    /// Days within which it should come.
    pub window_days: u16,
    /// Where the window comes from.
    pub window_source: Source,
    /// Whether trials saw the ingredient fail on little rain (see [`FAILED_RAIN_MM`]).
    pub failed_on_little_rain: bool,
}

/// Rain in the seven days after the pass up to which control was unacceptable, mm.
pub const FAILED_RAIN_MM: f64 = 17.0;

/// Where [`FAILED_RAIN_MM`] comes from.
pub const FAILED_RAIN_SOURCE: Source = STEWART;

/// Rain in the 15 days after the pass within which most pre herbicides worked well, mm.
pub const GOOD_RAIN_MM: (f64, f64) = (50.0, 150.0);

/// Where [`GOOD_RAIN_MM`] comes from.
pub const GOOD_RAIN_SOURCE: Source = LANDAU;

/// The ingredient that held green foxtail less after much rain.
pub const DROWNED: Ingredient = Ingredient::Pendimethalin;

/// Rain in the 14 days after the pass, over the rain of a usual month, at which it did.
pub const DROWNED_SHARE: f64 = 1.64;

/// Where [`DROWNED_SHARE`] comes from.
pub const DROWNED_SOURCE: Source = STEWART;

/// Group that whitens weeds which were up.
pub const WHITENING_GROUP: u8 = 27;

/// Days between the rain and the first signs on weeds that were up (common practice, no source).
pub const WHITENING_DAYS: (u32, u32) = (5, 7);

/// Share of the medium-soil need on other soils: a proposal of this program, not published.
pub const fn texture_factor(texture: TextureGroup) -> f64 {
    match texture {
        TextureGroup::Coarse => 0.75,
        TextureGroup::Medium => 1.0,
        TextureGroup::Fine => 1.25,
    }
}

/// How much more rain a dry topsoil wants: a proposal of this program. Published is only that it
/// wants more, 0.75 to 1 in instead of 0.5 (Goplen, Stahl and Nicolai, University of Minnesota
/// Extension, "Dry weather and weed management: Good news or bad news?", 2021).
pub const DRY_TOPSOIL_FACTOR: f64 = 1.5;

/// Rain within two days below which it is taken to wet the surface only, inches: a proposal of
/// this program.
pub const LEAST_SPELL_IN: f64 = 0.2;

impl RainNeed {
    /// Rain wanted on moist soil of that texture, inches.
    ///
    /// Never less than the rain on which trials saw the ingredient fail.
    pub fn on(&self, texture: TextureGroup) -> f64 {
        let by_label = match (self.split_in, texture) {
            (Some((coarse, _)), TextureGroup::Coarse) => coarse,
            (Some((_, fine)), TextureGroup::Fine) => fine,
            (Some((coarse, fine)), TextureGroup::Medium) => f64::midpoint(coarse, fine),
            (None, texture) => self.likely_in * texture_factor(texture),
        };
        by_label.max(self.failed_up_to_in())
    }

    /// Rain that was not enough in trials, inches; zero where no trial says so.
    pub fn failed_up_to_in(&self) -> f64 {
        if self.failed_on_little_rain { FAILED_RAIN_MM / crate::units::MM_PER_INCH } else { 0.0 }
    }
}

/// Half-life at 20 C and pF 2, days. `days` is chosen inside the range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HalfLife {
    /// Shortest.
    pub low_days: f64,
    /// Counted with.
    pub days: f64,
    /// Longest.
    pub high_days: f64,
    /// Where the range comes from.
    pub source: Source,
}

/// How long control usually lasts after activation, weeks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlWeeks {
    /// Short.
    pub low: f64,
    /// Long.
    pub high: f64,
    /// Where it comes from.
    pub source: Source,
}

/// Weeds that were up before the rain and may still be caught.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Tallest broadleaf that may be caught, inches.
    pub weed_in: f64,
    /// Days from the pass to the rain within which it may happen.
    pub within_days: u32,
    /// Where it comes from.
    pub source: Source,
}

/// Dose that leaves a dry or fresh surface before decay in the soil counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SurfaceLoss {
    /// None worth counting.
    None,
    /// This share within the first few days, by vapour and light.
    FirstDays(f64),
    /// A straight line over the dry days, once they are more than [`DRY_FREE_DAYS`].
    DryDays,
}

/// Dry days that group 14 lies on the surface without a discount (common practice).
pub const DRY_FREE_DAYS: u32 = 14;

/// Days on dry soil in which half of a group 14 compound was lost.
pub const DRY_HALF_DAYS: f64 = 17.9;

/// Where [`DRY_HALF_DAYS`] comes from. Fomesafen and flumioxazin did better in other trials.
pub const DRY_LOSS_SOURCE: Source = DRY_GROUP_14;

/// Share of the dose left after so many days on dry soil, by the line through
/// [`DRY_HALF_DAYS`].
pub fn dry_share(days: u32) -> f64 {
    (1.0 - 0.5 * f64::from(days) / DRY_HALF_DAYS).max(0.0)
}

impl SurfaceLoss {
    /// Share of the dose left when it has waited so many days for the rain that set it.
    pub fn share_left(self, waited_days: u32) -> f64 {
        match self {
            Self::FirstDays(lost) => 1.0 - lost,
            Self::DryDays if waited_days > DRY_FREE_DAYS => dry_share(waited_days),
            Self::None | Self::DryDays => 1.0,
        }
    }
}

/// Wait until another crop may be planted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlantBack {
    /// The crop, by its common name.
    pub crop: &'static str,
    /// Months from the pass.
    pub months: u32,
    /// Where it comes from.
    pub source: Source,
}

/// One ingredient in the soil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilRow {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// Rain it wants; `None` when it is mobile or foliar enough not to be waited for.
    pub rain: Option<RainNeed>,
    /// Days on a dry surface after which it is not counted on any more.
    pub dry_life_days: u32,
    /// Where the dry life comes from.
    pub dry_life_source: Source,
    /// Half-life.
    pub half_life: HalfLife,
    /// Usual length of control.
    pub control: ControlWeeks,
    /// Reach back to weeds that are up, if any.
    pub reach: Option<Reach>,
    /// Rise of its decay rate for 10 C more, where measured; else [`decay::Q10`] stands in.
    pub q10: Option<Figure>,
    /// What leaves from the surface.
    pub surface_loss: SurfaceLoss,
    /// Waits for the next crop, where read; no row says that there is none.
    pub plant_back: &'static [PlantBack],
}

/// The row of an ingredient; `None` when it does not work through the soil.
pub fn row(ingredient: Ingredient) -> Option<&'static SoilRow> {
    ROWS.iter().find(|row| row.ingredient == ingredient)
}

const fn rain(low_in: f64, likely_in: f64, high_in: f64, source: Source) -> RainNeed {
    RainNeed {
        low_in,
        likely_in,
        high_in,
        split_in: None,
        source,
        window_days: 10,
        window_source: PURDUE_RAIN,
        failed_on_little_rain: false,
    }
}

const fn window(need: RainNeed, window_days: u16, window_source: Source) -> RainNeed {
    RainNeed { window_days, window_source, ..need }
}

const fn failed(need: RainNeed) -> RainNeed {
    RainNeed { failed_on_little_rain: true, ..need }
}

const fn half_life(low_days: f64, days: f64, high_days: f64, source: Source) -> HalfLife {
    HalfLife { low_days, days, high_days, source }
}

const fn weeks(low: f64, high: f64) -> ControlWeeks {
    ControlWeeks { low, high, source: HANDBOOK }
}

const fn reach(source: Source) -> Reach {
    Reach { weed_in: 1.0, within_days: 21, source }
}

/// Dry life of those that no trial names: three weeks, as the tested ones of the same groups.
const DRY_LIFE_ASSUMED: Source = Source {
    cite: "three weeks on a dry surface, as for the ingredients that were tried",
    standing: Standing::CommonPractice,
};

/// A row with the defaults that most share; the exceptions override them.
const fn plain(
    ingredient: Ingredient,
    rain: RainNeed,
    half_life: HalfLife,
    control: ControlWeeks,
) -> SoilRow {
    SoilRow {
        ingredient,
        rain: Some(rain),
        dry_life_days: 21,
        dry_life_source: DRY_LIFE_ASSUMED,
        half_life,
        control,
        reach: None,
        q10: None,
        surface_loss: SurfaceLoss::None,
        plant_back: &[],
    }
}

/// Share of pendimethalin that the fast first days take: a choice of this program. Published is
/// that three to five fast days come first (Shaner, Weed Technol. 26:633, 2012).
pub const PENDIMETHALIN_FAST_SHARE: f64 = 0.25;

const GROUP_2_RAIN: RainNeed = window(rain(0.25, 0.5, 0.5, LABEL_WORDING), 14, LABEL_WORDING);

/// Every ingredient that works through the soil.
pub const ROWS: &[SoilRow] = &[
    SoilRow {
        dry_life_source: ARKANSAS_DRY,
        q10: Some(Figure::new(1.5, LONG)),
        ..plain(
            Ingredient::SMetolachlor,
            failed(RainNeed { split_in: Some((0.5, 1.0)), ..rain(0.25, 0.75, 1.0, PURDUE_LABELS) }),
            half_life(
                20.0,
                30.0,
                63.0,
                read(
                    "Long et al., J. Soil Sci. Plant Nutr. 14, 2014 (laboratory); Westra et al., \
                     Weed Technol. 28:72-81, 2014 (field)",
                ),
            ),
            weeks(3.0, 5.0),
        )
    },
    plain(
        Ingredient::Acetochlor,
        window(rain(0.25, 0.5, 0.75, PURDUE_LABELS), 7, PURDUE_LABELS),
        half_life(
            8.0,
            14.0,
            20.0,
            read(
                "Ma, Rahman, Holland, James and McNaughton, J. Environ. Qual. 33:930-938, 2004 \
                 (9 and 18 d, field)",
            ),
        ),
        weeks(2.0, 4.0),
    ),
    plain(
        Ingredient::DimethenamidP,
        failed(rain(0.25, 0.5, 0.5, NDSU_FATE)),
        half_life(
            4.0,
            14.0,
            30.0,
            read(
                "Renewal Assessment Report Dimethenamid-P, Vol. 3 B.8, 2018 (six laboratory \
                 soils); middle raised towards the field half-lives of the Herbicide Handbook",
            ),
        ),
        weeks(2.0, 4.0),
    ),
    plain(
        Ingredient::Pyroxasulfone,
        rain(0.5, 0.75, 1.0, NDSU_FATE),
        half_life(16.0, 30.0, 134.0, read("Westra et al., Weed Technol. 28:72-81, 2014 (field)")),
        weeks(5.0, 8.0),
    ),
    SoilRow {
        dry_life_days: 14,
        dry_life_source: ARKANSAS_DRY,
        surface_loss: SurfaceLoss::FirstDays(PENDIMETHALIN_FAST_SHARE),
        ..plain(
            Ingredient::Pendimethalin,
            window(rain(0.75, 0.75, 0.75, CLEMSON), 7, LABEL_WORDING),
            half_life(30.0, 45.0, 100.0, HANDBOOK),
            weeks(4.0, 8.0),
        )
    },
    SoilRow {
        reach: Some(reach(PENN_REACH)),
        ..plain(
            Ingredient::Atrazine,
            failed(rain(0.5, 0.5, 0.75, LABEL_WORDING)),
            half_life(
                8.0,
                45.0,
                146.0,
                read(
                    "Mueller and Henry, \"Amicarbazone and other Group 5 herbicide behavior in \
                     soil\", 2024 (below 10 d, Tennessee field); US Geological Survey Circular \
                     1291, App. 2 (146 d, laboratory)",
                ),
            ),
            weeks(4.0, 6.0),
        )
    },
    plain(
        Ingredient::Simazine,
        rain(0.5, 0.5, 0.75, LABEL_WORDING),
        half_life(28.0, 60.0, 149.0, HANDBOOK),
        weeks(6.0, 8.0),
    ),
    SoilRow {
        reach: Some(reach(PENN_REACH)),
        ..plain(
            Ingredient::Metribuzin,
            rain(0.25, 0.5, 0.5, LABEL_WORDING),
            half_life(
                8.0,
                25.0,
                60.0,
                read(
                    "Mueller and Henry, \"Amicarbazone and other Group 5 herbicide behavior in \
                     soil\", 2024 (below 10 d, Tennessee field); upper end recalled",
                ),
            ),
            weeks(3.0, 4.0),
        )
    },
    SoilRow {
        reach: Some(reach(HANDBOOK)),
        ..plain(
            Ingredient::Linuron,
            window(rain(0.5, 0.5, 0.5, PNW_EDAMAME), 14, PNW_EDAMAME),
            half_life(30.0, 60.0, 90.0, HANDBOOK),
            weeks(6.0, 8.0),
        )
    },
    SoilRow {
        reach: Some(reach(PENN_REACH)),
        ..plain(
            Ingredient::Mesotrione,
            rain(0.25, 0.5, 0.5, LABEL_WORDING),
            half_life(
                3.0,
                8.0,
                30.0,
                read(
                    "Kaczynski, Lozowicka, Hrynko and Wolejko, Sci. Total Environ. 571:1079-1088, \
                     2016 (2.9 to 6.0 d, field); upper end recalled",
                ),
            ),
            weeks(3.0, 4.0),
        )
    },
    SoilRow {
        reach: Some(reach(HAGER_DRY)),
        ..plain(
            Ingredient::Isoxaflutole,
            failed(window(rain(0.5, 0.5, 0.75, LABEL_WORDING), 14, PURDUE_LABELS)),
            half_life(
                25.0,
                45.0,
                63.0,
                read(
                    "\"Fate of the herbicide isoxaflutole in the soil of corn fields\", Meded. \
                     Rijksuniv. Gent, PubMed 12425096, with the active diketonitrile (45 d sandy \
                     loam, 63 d clay loam and loamy sand); lower end recalled",
                ),
            ),
            weeks(4.0, 6.0),
        )
    },
    SoilRow {
        surface_loss: SurfaceLoss::DryDays,
        ..plain(
            Ingredient::Saflufenacil,
            rain(0.5, 0.5, 0.5, LABEL_WORDING),
            half_life(
                7.0,
                15.0,
                35.0,
                read(
                    "Papiernik, Koskinen and Barber, J. Agric. Food Chem., 2012 (13 d surface \
                     soil)",
                ),
            ),
            weeks(2.0, 3.0),
        )
    },
    SoilRow {
        dry_life_days: 14,
        dry_life_source: ARKANSAS_DRY,
        ..plain(
            Ingredient::Flumioxazin,
            window(rain(0.25, 0.25, 0.5, CLEMSON), 14, ARKANSAS_DRY),
            half_life(12.0, 18.0, 27.0, read("Eason, University of Georgia thesis, 2021 (27 d)")),
            weeks(4.0, 6.0),
        )
    },
    SoilRow {
        surface_loss: SurfaceLoss::DryDays,
        ..plain(
            Ingredient::Sulfentrazone,
            window(rain(0.5, 0.5, 1.0, PNW_FLAX), 10, PNW_FLAX),
            half_life(25.0, 70.0, 150.0, HANDBOOK),
            weeks(4.0, 8.0),
        )
    },
    SoilRow {
        dry_life_source: ARKANSAS_DRY,
        plant_back: &[PlantBack { crop: "corn", months: 10, source: MINNESOTA_NOTES }],
        ..plain(
            Ingredient::Fomesafen,
            rain(0.5, 0.5, 0.5, PNW_SNAP_BEAN),
            half_life(28.0, 60.0, 100.0, HANDBOOK),
            weeks(4.0, 6.0),
        )
    },
    plain(
        Ingredient::CloransulamMethyl,
        GROUP_2_RAIN,
        half_life(8.0, 14.0, 20.0, HANDBOOK),
        weeks(4.0, 8.0),
    ),
    plain(
        Ingredient::Imazethapyr,
        GROUP_2_RAIN,
        half_life(60.0, 75.0, 90.0, HANDBOOK),
        weeks(4.0, 8.0),
    ),
    plain(
        Ingredient::ChlorimuronEthyl,
        GROUP_2_RAIN,
        half_life(7.0, 35.0, 70.0, recalled("review of chlorimuron in soil, pH 5 to 7.8")),
        weeks(4.0, 8.0),
    ),
    SoilRow {
        q10: Some(Figure::new(2.05, MCDOWELL)),
        ..plain(
            Ingredient::Flumetsulam,
            GROUP_2_RAIN,
            half_life(30.0, 60.0, 90.0, MCDOWELL),
            weeks(4.0, 8.0),
        )
    },
    SoilRow {
        rain: None,
        ..plain(
            Ingredient::Clopyralid,
            GROUP_2_RAIN,
            half_life(12.0, 40.0, 70.0, HANDBOOK),
            weeks(2.0, 4.0),
        )
    },
    plain(
        Ingredient::Clomazone,
        rain(0.25, 0.5, 0.5, LABEL_WORDING),
        half_life(10.0, 24.0, 60.0, HANDBOOK),
        weeks(4.0, 6.0),
    ),
    SoilRow {
        // Tilled in at the pass.
        rain: None,
        ..plain(
            Ingredient::Trifluralin,
            GROUP_2_RAIN,
            half_life(30.0, 45.0, 90.0, HANDBOOK),
            weeks(6.0, 8.0),
        )
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_in_order_and_no_ingredient_has_two() {
        for (at, row) in ROWS.iter().enumerate() {
            let name = row.ingredient.name();
            assert!(
                ROWS[at + 1..].iter().all(|other| other.ingredient != row.ingredient),
                "{name}"
            );
            assert!(row.control.low <= row.control.high, "{name}");
            let life = row.half_life;
            assert!(life.low_days < life.days && life.days < life.high_days, "{name}");
            if let Some(rain) = row.rain {
                assert!(rain.low_in <= rain.likely_in && rain.likely_in <= rain.high_in, "{name}");
                assert!(u32::from(rain.window_days) <= row.dry_life_days, "{name}");
            }
        }
    }

    #[test]
    fn finer_soil_never_wants_less() {
        for need in ROWS.iter().filter_map(|row| row.rain) {
            let by_texture = [TextureGroup::Coarse, TextureGroup::Medium, TextureGroup::Fine]
                .map(|t| need.on(t));
            assert!(by_texture.is_sorted());
        }
    }
}
