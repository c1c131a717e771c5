//! Sites of action that work on a weed of the field: counted on the weed, not in the tank.
//!
//! A partner counts when its spectrum holds the weed and the field's plan does not name the weed as
//! resistant to its group. How many are left says what control trials saw on average: a prior with
//! wide ends, never a promise.

use crate::plan::Resistance;
use crate::reference::herbicides::control::{self, Expected};
use crate::reference::herbicides::spectrum::{self, Way};
use crate::reference::herbicides::{Ingredient, current_group};
use crate::reference::weeds::Weed;
use serde::{Serialize, Serializer};

/// Distinct site-of-action groups.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Groups(u64);

impl Groups {
    /// How many.
    pub const fn count(self) -> u32 {
        self.0.count_ones()
    }

    /// Whether a group is among them; an old number is read as the new one.
    pub const fn has(self, group: u8) -> bool {
        let group = current_group(group);
        group < 64 && self.0 & (1 << group) != 0
    }

    /// The group numbers, rising.
    pub fn iter(self) -> impl Iterator<Item = u8> {
        (0..64).filter(move |&group| self.0 & (1 << group) != 0)
    }

    const fn is_only(self, group: u8) -> bool {
        self.0 == 1 << group
    }
}

impl FromIterator<u8> for Groups {
    /// Old numbers are read as the new ones.
    fn from_iter<I: IntoIterator<Item = u8>>(groups: I) -> Self {
        let bits = groups.into_iter().map(current_group).filter(|&group| group < 64);
        Self(bits.fold(0, |set, group| set | 1 << group))
    }
}

impl Serialize for Groups {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.iter())
    }
}

/// Whether one ingredient works on a weed of the field.
pub fn works(ingredient: Ingredient, weed: Weed, way: Way, resistant: &[Resistance]) -> bool {
    spectrum::works_on(ingredient, weed, way)
        && !resistant.iter().any(|known| known.spares(weed, ingredient))
}

/// The groups of a mix that work on a weed of the field.
pub fn groups(mix: &[Ingredient], weed: Weed, way: Way, resistant: &[Resistance]) -> Groups {
    mix.iter()
        .filter(|&&ingredient| works(ingredient, weed, way, resistant))
        .map(|ingredient| ingredient.group())
        .collect()
}

/// What a soil-applied mix may do to one weed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Outlook {
    /// The weed.
    pub weed: Weed,
    /// Groups that work on it.
    pub groups: Groups,
    /// Groups that would, were the weed not resistant.
    pub lost: Groups,
    /// Control that trials saw of as much, once rain has set the mix; `None` when nothing in it is
    /// known to work on the weed.
    pub expected: Option<Expected>,
}

impl Outlook {
    /// The outlook of a mix on one weed.
    pub fn of(mix: &[Ingredient], weed: Weed, resistant: &[Resistance]) -> Self {
        let in_tank = groups(mix, weed, Way::Soil, &[]);
        let groups = groups(mix, weed, Way::Soil, resistant);
        let lost = Groups(in_tank.0 & !groups.0);
        Self { weed, groups, lost, expected: expected(weed, groups, in_tank) }
    }

    /// The outlook on the weed on which fewest groups work; `None` when no weed is named.
    pub fn weakest(mix: &[Ingredient], weeds: &[Weed], resistant: &[Resistance]) -> Option<Self> {
        weeds
            .iter()
            .map(|&weed| Self::of(mix, weed, resistant))
            .min_by_key(|outlook| outlook.groups.count())
    }
}

/// Waterhemp under group 15 alone has been measured by itself, resistant or not; the rest goes by
/// the number of groups.
fn expected(weed: Weed, working: Groups, in_tank: Groups) -> Option<Expected> {
    let measured = weed == Weed::Waterhemp && in_tank.is_only(control::LONG_CHAIN_GROUP);
    match working.count() {
        0 if measured => Some(Expected::of(&control::WATERHEMP_RESISTANT)),
        0 => None,
        _ if measured => Some(Expected::of(&control::WATERHEMP_SENSITIVE)),
        1 => Some(control::BY_GROUPS[0]),
        2 => Some(control::BY_GROUPS[1]),
        _ => Some(control::BY_GROUPS[2]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::sample::{select, subsequence};

    const MIX: [Ingredient; 3] =
        [Ingredient::SMetolachlor, Ingredient::Atrazine, Ingredient::Mesotrione];

    fn resistant(weed: Weed, group: u8) -> Vec<Resistance> {
        vec![Resistance { weed, group }]
    }

    #[test]
    fn groups_are_counted_on_the_weed() {
        let on = |weed| groups(&MIX, weed, Way::Soil, &[]).iter().collect::<Vec<_>>();
        assert_eq!(on(Weed::Waterhemp), [5, 15, 27]);
        assert_eq!(on(Weed::Velvetleaf), [5, 27]);
        assert_eq!(on(Weed::GiantFoxtail), [15]);
    }

    #[test]
    fn a_resistant_weed_loses_the_group_and_no_other_weed_does() {
        let known = resistant(Weed::Waterhemp, 15);
        let outlook = Outlook::of(&MIX, Weed::Waterhemp, &known);
        assert_eq!((outlook.groups.count(), outlook.lost.has(15)), (2, true));
        assert!(Outlook::of(&MIX, Weed::GiantFoxtail, &known).groups.has(15));
        // Thiocarbamates' old number for the same site.
        assert_eq!(Outlook::of(&MIX, Weed::Waterhemp, &resistant(Weed::Waterhemp, 8)), outlook);
    }

    #[test]
    fn the_weakest_weed_speaks_for_the_mix() {
        let weeds = [Weed::Waterhemp, Weed::GiantFoxtail, Weed::Velvetleaf];
        assert_eq!(Outlook::weakest(&MIX, &weeds, &[]).unwrap().weed, Weed::GiantFoxtail);
        assert_eq!(Outlook::weakest(&MIX, &[], &[]), None);
    }

    #[test]
    fn a_mix_that_misses_the_weed_promises_nothing() {
        let outlook = Outlook::of(&[Ingredient::SMetolachlor], Weed::GiantRagweed, &[]);
        assert_eq!((outlook.groups.count(), outlook.expected), (0, None));
    }

    proptest! {
        #[test]
        fn a_partner_more_never_takes_a_group_and_resistance_never_gives_one(
            mix in subsequence(Ingredient::ALL, 0..6),
            more in select(Ingredient::ALL),
            weed in select(Weed::ALL),
            group in 0_u8..64,
        ) {
            for way in [Way::Soil, Way::Leaf] {
                let before = groups(&mix, weed, way, &[]);
                let longer: Vec<_> = mix.iter().copied().chain([more]).collect();
                let after = groups(&longer, weed, way, &[]);
                prop_assert_eq!(before.0 & !after.0, 0);
                let left = groups(&mix, weed, way, &resistant(weed, group));
                prop_assert_eq!(left.0 & !before.0, 0);
                prop_assert!(!left.has(group));
            }
        }
    }
}
