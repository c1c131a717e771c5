//! Weeds by common name: what they are, when they come up and how fast they grow.

use crate::reference::{Source, Standing};
use serde::{Deserialize, Serialize};

macro_rules! weeds {
    ($($variant:ident => $name:literal),+ $(,)?) => {
        /// A weed, by its common name.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum Weed {
            $(#[doc = concat!("The weed ", $name, ".")] #[serde(rename = $name)] $variant,)+
        }

        impl Weed {
            /// Every weed the tables know.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// Common name, in lower case.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name),+ }
            }
        }
    };
}

weeds! {
    Waterhemp => "waterhemp",
    PalmerAmaranth => "palmer amaranth",
    RedrootPigweed => "redroot pigweed",
    GiantRagweed => "giant ragweed",
    CommonRagweed => "common ragweed",
    Lambsquarters => "common lambsquarters",
    Velvetleaf => "velvetleaf",
    GiantFoxtail => "giant foxtail",
    GreenFoxtail => "green foxtail",
    YellowFoxtail => "yellow foxtail",
    Smartweed => "pennsylvania smartweed",
    WildProsoMillet => "wild proso millet",
    Kochia => "kochia",
    WoollyCupgrass => "woolly cupgrass",
    FallPanicum => "fall panicum",
    Morningglory => "tall morningglory",
    Cocklebur => "common cocklebur",
    BlackNightshade => "black nightshade",
    TumblePigweed => "tumble pigweed",
    WildBuckwheat => "wild buckwheat",
    RussianThistle => "russian thistle",
    Tansymustard => "tansymustard",
    PricklySida => "prickly sida",
    Sunflower => "common sunflower",
    Crabgrass => "large crabgrass",
}

/// How herbicide guides group weeds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kin {
    /// Annual grass.
    Grass,
    /// Small-seeded broadleaf.
    SmallBroadleaf,
    /// Large-seeded broadleaf.
    LargeBroadleaf,
}

/// Air heat at which a tenth of a weed has come up, base 48 F, counted in Fahrenheit degree-days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TenthUp {
    /// Earliest.
    pub from_gdd_f48: f64,
    /// Latest; `None` when the source gives no end.
    pub to_gdd_f48: Option<f64>,
    /// Where it comes from.
    pub source: Source,
}

/// Soil heat at which half of a weed has come up, base 4.4 C, counted in Celsius degree-days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HalfUp {
    /// That heat.
    pub gdd_c4_4: f64,
    /// Where it comes from.
    pub source: Source,
}

/// Height gained per Celsius degree-day, cm, slowest and fastest year of the trials.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growth {
    /// Slowest year.
    pub slow_cm: f64,
    /// Fastest year.
    pub fast_cm: f64,
    /// Where it comes from.
    pub source: Source,
}

/// Emergence of giant ragweed over hydrothermal time of the seed layer: Celsius degree-days above
/// the base, summed from 1 March over days on which the soil is wetter than the base potential.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HydrothermalUp {
    /// Base temperature, C.
    pub base_c: f64,
    /// Base water potential, `MPa`; drier soil adds nothing.
    pub base_mpa: f64,
    /// Sum at which six in ten of the year's seedlings are up.
    pub six_tenths: f64,
    /// Sum at which emergence is over.
    pub over: f64,
    /// Where it comes from.
    pub source: Source,
}

/// The late-emerging giant ragweed of Ohio crop fields. The paper fits two Weibull curves one after
/// the other; only these two points of them are held here.
pub const GIANT_RAGWEED: HydrothermalUp = HydrothermalUp {
    base_c: 2.0,
    base_mpa: -10.0,
    six_tenths: 400.0,
    over: 2300.0,
    source: Source::published("Schutte et al., Weed Sci. 56:555, 2008 (Ohio)"),
};

/// Base of the heat that [`HalfUp`] counts, C.
pub const HALF_UP_BASE_C: f64 = 4.4;
/// Base of the heat that [`TenthUp`] counts, F.
pub const TENTH_UP_BASE_F: f64 = 48.0;
/// Base of the heat that [`Growth`] counts, C (from memory of the paper).
pub const GROWTH_BASE_C: f64 = 10.0;

const POSTER: Source = Source {
    cite: "Iowa State University, University of Illinois, University of Minnesota, University of \
           Wisconsin and USDA, weed emergence poster IPM-64, 2000; members of a group recalled",
    standing: Standing::FromMemory,
};

const WATERHEMP_BULLETIN: Source = Source {
    cite: "University of Illinois, Pest Management & Crop Development Bulletin, 2000: waterhemp \
           emerges after corn, above 350 GDD",
    standing: Standing::Published,
};

const FORCELLA: Source = Source {
    cite: "Forcella et al., Weed Science Society of America abstract, 1997 (CO, IA, MN, MO, OH, \
           1993-94)",
    standing: Standing::Published,
};

const HORAK: Source = Source {
    cite: "Horak and Loughin, \"Growth analysis of four Amaranthus species\", Weed Sci. 48:347, \
           2000",
    standing: Standing::Published,
};

impl Weed {
    /// How herbicide guides group it (from memory).
    pub const fn kin(self) -> Kin {
        match self {
            Self::GiantFoxtail
            | Self::GreenFoxtail
            | Self::YellowFoxtail
            | Self::WildProsoMillet
            | Self::WoollyCupgrass
            | Self::FallPanicum
            | Self::Crabgrass => Kin::Grass,
            Self::Waterhemp
            | Self::PalmerAmaranth
            | Self::RedrootPigweed
            | Self::Lambsquarters
            | Self::TumblePigweed
            | Self::Kochia
            | Self::RussianThistle
            | Self::Tansymustard
            | Self::BlackNightshade => Kin::SmallBroadleaf,
            Self::GiantRagweed
            | Self::CommonRagweed
            | Self::Velvetleaf
            | Self::Smartweed
            | Self::Morningglory
            | Self::WildBuckwheat
            | Self::PricklySida
            | Self::Sunflower
            | Self::Cocklebur => Kin::LargeBroadleaf,
        }
    }

    /// Heat to the first tenth, where published.
    pub const fn tenth_up(self) -> Option<TenthUp> {
        let (from, to, source) = match self {
            Self::GiantRagweed | Self::Lambsquarters | Self::Smartweed | Self::Sunflower => {
                (0.0, 150.0, POSTER)
            }
            Self::GiantFoxtail | Self::Velvetleaf | Self::CommonRagweed | Self::WoollyCupgrass => {
                (150.0, 300.0, POSTER)
            }
            Self::YellowFoxtail
            | Self::BlackNightshade
            | Self::Cocklebur
            | Self::WildProsoMillet => (250.0, 400.0, POSTER),
            Self::Waterhemp => {
                let source = WATERHEMP_BULLETIN;
                return Some(TenthUp { from_gdd_f48: 350.0, to_gdd_f48: None, source });
            }
            Self::FallPanicum | Self::Morningglory | Self::Crabgrass => {
                return Some(TenthUp { from_gdd_f48: 350.0, to_gdd_f48: None, source: POSTER });
            }
            _ => return None,
        };
        Some(TenthUp { from_gdd_f48: from, to_gdd_f48: Some(to), source })
    }

    /// Heat to the first half, where published.
    pub const fn half_up(self) -> Option<HalfUp> {
        let gdd_c4_4 = match self {
            Self::Smartweed => 80.0,
            Self::Kochia => 155.0,
            Self::WildBuckwheat => 172.0,
            Self::RussianThistle => 195.0,
            Self::Lambsquarters => 200.0,
            Self::Velvetleaf => 250.0,
            Self::GiantFoxtail => 265.0,
            Self::Tansymustard => 270.0,
            Self::GreenFoxtail => 340.0,
            Self::PricklySida => 510.0,
            Self::WildProsoMillet => 535.0,
            Self::RedrootPigweed => 639.0,
            Self::Morningglory => 725.0,
            _ => return None,
        };
        Some(HalfUp { gdd_c4_4, source: FORCELLA })
    }

    /// Height growth, where published.
    pub const fn growth(self) -> Option<Growth> {
        let (slow_cm, fast_cm) = match self {
            Self::PalmerAmaranth => (0.18, 0.21),
            Self::Waterhemp => (0.11, 0.16),
            Self::RedrootPigweed => (0.09, 0.12),
            Self::TumblePigweed => (0.08, 0.09),
            _ => return None,
        };
        Some(Growth { slow_cm, fast_cm, source: HORAK })
    }
}
