//! Weeds by common name.

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
}
