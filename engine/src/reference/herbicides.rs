//! Herbicide ingredients by common name, with what is known of each.
//!
//! [`soil`] holds what works through the soil, [`mobility`] how it moves there, [`spectrum`] which
//! weeds each ingredient works on, [`control`] what trials saw, [`post`] where typical labels end.
//! Numbers for one ingredient differ between formulations, states and label years: a row is a
//! typical label, never the label of the product in the tank.

pub mod control;
pub mod decay;
pub mod mobility;
pub mod over_the_top;
pub mod post;
pub mod restricted;
pub mod soil;
mod sources;
pub mod spectrum;

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
    Sethoxydim => "sethoxydim",
    Imazaquin => "imazaquin",
    Imazamox => "imazamox",
    Rimsulfuron => "rimsulfuron",
    Thifensulfuron => "thifensulfuron",
    Thiencarbazone => "thiencarbazone",
    Trifluralin => "trifluralin",
    Ethalfluralin => "ethalfluralin",
    Bromoxynil => "bromoxynil",
    Clomazone => "clomazone",
    Carfentrazone => "carfentrazone",
    Diflufenzopyr => "diflufenzopyr",
    Paraquat => "paraquat",
    Bicyclopyrone => "bicyclopyrone",
    Tolpyralate => "tolpyralate",
}

impl Ingredient {
    /// Site-of-action group: the number that the Weed Science Society of America and the Herbicide
    /// Resistance Action Committee share since 2020 (list from memory).
    pub const fn group(self) -> u8 {
        match self {
            Self::Clethodim | Self::Quizalofop | Self::Sethoxydim => 1,
            Self::CloransulamMethyl
            | Self::Imazethapyr
            | Self::Imazaquin
            | Self::Imazamox
            | Self::ChlorimuronEthyl
            | Self::Flumetsulam
            | Self::Nicosulfuron
            | Self::Rimsulfuron
            | Self::Thifensulfuron
            | Self::Thiencarbazone => 2,
            Self::Pendimethalin | Self::Trifluralin | Self::Ethalfluralin => 3,
            Self::Clopyralid | Self::Dicamba | Self::TwoFourD | Self::TwoFourDCholine => 4,
            Self::Atrazine | Self::Simazine | Self::Metribuzin | Self::Linuron => 5,
            Self::Bentazon | Self::Bromoxynil => 6,
            Self::Glyphosate => 9,
            Self::Glufosinate => 10,
            Self::Clomazone => 13,
            Self::Saflufenacil
            | Self::Flumioxazin
            | Self::Sulfentrazone
            | Self::Fomesafen
            | Self::Lactofen
            | Self::Acifluorfen
            | Self::Fluthiacet
            | Self::Carfentrazone => 14,
            Self::SMetolachlor | Self::Acetochlor | Self::DimethenamidP | Self::Pyroxasulfone => 15,
            Self::Diflufenzopyr => 19,
            Self::Paraquat => 22,
            Self::Mesotrione
            | Self::Isoxaflutole
            | Self::Tembotrione
            | Self::Topramezone
            | Self::Bicyclopyrone
            | Self::Tolpyralate => 27,
        }
    }
}

/// The group number in use since 2020 for one from an older list: ureas 7 became 5, thiocarbamates
/// 8 became 15, and 28 was once written for the pigment inhibitors of group 27. Other numbers stand
/// as they are.
pub const fn current_group(listed: u8) -> u8 {
    match listed {
        7 => 5,
        8 => 15,
        28 => 27,
        other => other,
    }
}
