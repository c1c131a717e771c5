//! Which weeds each ingredient works on, through the soil and on the leaf.
//!
//! From memory of the response tables of university weed guides: a weed counts where guides rate
//! the ingredient good by itself. Weeds that have grown resistant are not in here; a field says so
//! in its plan.

use super::Ingredient;
use super::sources::recalled;
use crate::reference::Source;
use crate::reference::weeds::{Kin, Weed};

/// Where the table comes from.
pub const SOURCE: Source =
    recalled("herbicide response tables of Midwestern university weed control guides");

/// How an ingredient meets the weed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Through the soil, before the weed is up.
    Soil,
    /// On the leaf of a weed that is up and small enough.
    Leaf,
}

/// Whether an ingredient works on a weed that is not resistant to it.
pub const fn works_on(ingredient: Ingredient, weed: Weed, way: Way) -> bool {
    match way {
        Way::Soil => through_soil(ingredient).has(weed),
        Way::Leaf => on_leaf(ingredient).has(weed),
    }
}

/// A set of weeds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Weeds(u64);

impl Weeds {
    const NONE: Self = Self(0);

    const fn of(kin: Kin) -> Self {
        let mut set = Self::NONE;
        let mut at = 0;
        while at < Weed::ALL.len() {
            if Weed::ALL[at].kin() as u8 == kin as u8 {
                set = set.and(&[Weed::ALL[at]]);
            }
            at += 1;
        }
        set
    }

    const fn has(self, weed: Weed) -> bool {
        self.0 & (1 << weed as u32) != 0
    }

    const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    const fn and(self, weeds: &[Weed]) -> Self {
        let mut set = self;
        let mut at = 0;
        while at < weeds.len() {
            set.0 |= 1 << weeds[at] as u32;
            at += 1;
        }
        set
    }

    const fn but(self, weeds: &[Weed]) -> Self {
        Self(self.0 & !Self::NONE.and(weeds).0)
    }
}

const GRASSES: Weeds = Weeds::of(Kin::Grass);
const SMALL: Weeds = Weeds::of(Kin::SmallBroadleaf);
const LARGE: Weeds = Weeds::of(Kin::LargeBroadleaf);
const BROADLEAVES: Weeds = SMALL.or(LARGE);
const ALL: Weeds = GRASSES.or(BROADLEAVES);
const PIGWEEDS: Weeds = Weeds::NONE.and(&[
    Weed::Waterhemp,
    Weed::PalmerAmaranth,
    Weed::RedrootPigweed,
    Weed::TumblePigweed,
]);

const fn through_soil(ingredient: Ingredient) -> Weeds {
    use Ingredient as I;
    match ingredient {
        I::SMetolachlor | I::DimethenamidP => GRASSES.or(PIGWEEDS).and(&[Weed::BlackNightshade]),
        I::Acetochlor | I::Pyroxasulfone => {
            GRASSES.or(PIGWEEDS).and(&[Weed::BlackNightshade, Weed::Lambsquarters])
        }
        I::Pendimethalin | I::Trifluralin | I::Ethalfluralin => {
            GRASSES.or(PIGWEEDS).and(&[Weed::Lambsquarters, Weed::Kochia])
        }
        I::Clomazone => GRASSES.and(&[Weed::Velvetleaf, Weed::Lambsquarters, Weed::Smartweed]),
        I::Atrazine
        | I::Simazine
        | I::Saflufenacil
        | I::CloransulamMethyl
        | I::Imazethapyr
        | I::Imazaquin
        | I::ChlorimuronEthyl
        | I::Flumetsulam => BROADLEAVES,
        I::Metribuzin => SMALL.but(&[Weed::BlackNightshade]).and(&[
            Weed::Velvetleaf,
            Weed::Smartweed,
            Weed::CommonRagweed,
        ]),
        I::Linuron | I::Flumioxazin => SMALL,
        I::Mesotrione => SMALL.and(&[Weed::Velvetleaf, Weed::Smartweed]),
        I::Isoxaflutole => GRASSES.or(SMALL).and(&[Weed::Velvetleaf]),
        I::Sulfentrazone => SMALL.and(&[Weed::Morningglory]),
        I::Fomesafen => PIGWEEDS.and(&[Weed::BlackNightshade, Weed::Lambsquarters]),
        I::Clopyralid => {
            Weeds::NONE.and(&[Weed::GiantRagweed, Weed::CommonRagweed, Weed::Cocklebur])
        }
        I::Thiencarbazone => {
            GRASSES.or(PIGWEEDS).and(&[Weed::Lambsquarters, Weed::Velvetleaf, Weed::Smartweed])
        }
        I::Bicyclopyrone => SMALL.and(&[Weed::Velvetleaf, Weed::GiantRagweed, Weed::CommonRagweed]),
        I::Glyphosate
        | I::Glufosinate
        | I::Paraquat
        | I::Tembotrione
        | I::Topramezone
        | I::Tolpyralate
        | I::Dicamba
        | I::TwoFourD
        | I::TwoFourDCholine
        | I::Nicosulfuron
        | I::Rimsulfuron
        | I::Thifensulfuron
        | I::Imazamox
        | I::Lactofen
        | I::Acifluorfen
        | I::Clethodim
        | I::Quizalofop
        | I::Sethoxydim
        | I::Bentazon
        | I::Bromoxynil
        | I::Fluthiacet
        | I::Carfentrazone
        | I::Diflufenzopyr => Weeds::NONE,
    }
}

const fn on_leaf(ingredient: Ingredient) -> Weeds {
    use Ingredient as I;
    match ingredient {
        I::Glyphosate | I::Glufosinate | I::Paraquat => ALL,
        I::Clethodim | I::Quizalofop | I::Sethoxydim => GRASSES,
        I::Dicamba | I::TwoFourD | I::TwoFourDCholine | I::Saflufenacil | I::Atrazine => {
            BROADLEAVES
        }
        I::Mesotrione | I::Bicyclopyrone => BROADLEAVES.but(&[Weed::Morningglory]),
        I::Tembotrione | I::Topramezone | I::Tolpyralate => {
            BROADLEAVES.but(&[Weed::Morningglory]).and(&[Weed::GiantFoxtail, Weed::GreenFoxtail])
        }
        I::Nicosulfuron | I::Rimsulfuron => GRASSES.and(&[Weed::RedrootPigweed]),
        I::Imazamox => GRASSES.or(PIGWEEDS).and(&[
            Weed::BlackNightshade,
            Weed::Velvetleaf,
            Weed::Smartweed,
            Weed::Lambsquarters,
        ]),
        I::Imazethapyr => PIGWEEDS.and(&[
            Weed::BlackNightshade,
            Weed::Velvetleaf,
            Weed::Smartweed,
            Weed::Cocklebur,
            Weed::GiantFoxtail,
            Weed::GreenFoxtail,
        ]),
        I::Thifensulfuron => {
            PIGWEEDS.and(&[Weed::Lambsquarters, Weed::Velvetleaf, Weed::Smartweed])
        }
        I::ChlorimuronEthyl | I::Imazaquin => PIGWEEDS.or(LARGE),
        I::CloransulamMethyl => LARGE,
        I::Flumetsulam | I::Isoxaflutole => Weeds::NONE.and(&[Weed::Velvetleaf]),
        I::Bentazon => Weeds::NONE.and(&[
            Weed::Velvetleaf,
            Weed::Cocklebur,
            Weed::Smartweed,
            Weed::CommonRagweed,
        ]),
        I::Bromoxynil => BROADLEAVES.but(&[Weed::Waterhemp, Weed::PalmerAmaranth]),
        I::Metribuzin | I::Linuron => PIGWEEDS.and(&[Weed::Lambsquarters, Weed::Smartweed]),
        I::Fomesafen | I::Lactofen | I::Acifluorfen => PIGWEEDS.and(&[
            Weed::BlackNightshade,
            Weed::CommonRagweed,
            Weed::Morningglory,
            Weed::Smartweed,
        ]),
        I::Fluthiacet | I::Carfentrazone => PIGWEEDS.and(&[Weed::Velvetleaf]),
        I::Clopyralid => {
            Weeds::NONE.and(&[Weed::GiantRagweed, Weed::CommonRagweed, Weed::Cocklebur])
        }
        I::Thiencarbazone => GRASSES.or(PIGWEEDS),
        I::SMetolachlor
        | I::Acetochlor
        | I::DimethenamidP
        | I::Pyroxasulfone
        | I::Pendimethalin
        | I::Trifluralin
        | I::Ethalfluralin
        | I::Simazine
        | I::Flumioxazin
        | I::Sulfentrazone
        | I::Clomazone
        | I::Diflufenzopyr => Weeds::NONE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::herbicides::soil;

    #[test]
    fn every_soil_row_has_a_spectrum() {
        for row in soil::ROWS {
            assert_ne!(through_soil(row.ingredient), Weeds::NONE, "{}", row.ingredient.name());
        }
    }

    #[test]
    fn every_ingredient_that_wants_to_stand_alone_works_on_something() {
        for &ingredient in Ingredient::ALL {
            let either = through_soil(ingredient).or(on_leaf(ingredient));
            // Diflufenzopyr is sold with dicamba, which it helps along.
            assert!(either != Weeds::NONE || ingredient == Ingredient::Diflufenzopyr);
        }
    }

    #[test]
    fn kinds_do_not_overlap_and_leave_none_out() {
        assert_eq!(ALL.0.count_ones() as usize, Weed::ALL.len());
        assert_eq!(GRASSES.0 & BROADLEAVES.0, 0);
        assert_eq!(SMALL.0 & LARGE.0, 0);
    }
}
