//! Herbicide ingredients by common name.

use serde::{Deserialize, Serialize};

macro_rules! ingredients {
    ($($variant:ident => $name:literal),+ $(,)?) => {
        /// An active ingredient, by its common name.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum Ingredient {
            $(#[doc = concat!("The ingredient ", $name, ".")] #[serde(rename = $name)] $variant,)+
        }

        impl Ingredient {
            /// Every ingredient the tables know.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// Common name, in lower case.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name),+ }
            }
        }
    };
}

ingredients! {
    SMetolachlor => "s-metolachlor",
    Acetochlor => "acetochlor",
    DimethenamidP => "dimethenamid-p",
    Pyroxasulfone => "pyroxasulfone",
    Pendimethalin => "pendimethalin",
    Atrazine => "atrazine",
    Simazine => "simazine",
    Metribuzin => "metribuzin",
    Linuron => "linuron",
    Mesotrione => "mesotrione",
    Isoxaflutole => "isoxaflutole",
    Saflufenacil => "saflufenacil",
    Flumioxazin => "flumioxazin",
    Sulfentrazone => "sulfentrazone",
    Fomesafen => "fomesafen",
    CloransulamMethyl => "cloransulam-methyl",
    Imazethapyr => "imazethapyr",
    ChlorimuronEthyl => "chlorimuron-ethyl",
    Flumetsulam => "flumetsulam",
    Clopyralid => "clopyralid",
    Glyphosate => "glyphosate",
    Glufosinate => "glufosinate",
    Tembotrione => "tembotrione",
    Topramezone => "topramezone",
    Dicamba => "dicamba",
    TwoFourD => "2,4-d",
    TwoFourDCholine => "2,4-d choline",
    Nicosulfuron => "nicosulfuron",
    Lactofen => "lactofen",
    Acifluorfen => "acifluorfen",
    Clethodim => "clethodim",
    Bentazon => "bentazon",
    Quizalofop => "quizalofop",
    Fluthiacet => "fluthiacet",
}
