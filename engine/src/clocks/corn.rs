//! Corn by heat: emergence, collars, tassel to black layer, height.
//!
//! The clock's hand is heat since planting. A stage that somebody saw moves the hand only as far
//! as it must: to the nearer end of that stage, or not at all.

use crate::clocks::Stage;
use crate::reference::crops as facts;
use crate::site::TextureGroup;
use chrono::{Datelike, NaiveDate};

/// What bears on how long the seed takes to come up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seedbed {
    /// Planting depth, inches.
    pub depth_in: f64,
    /// Soil group.
    pub texture: TextureGroup,
    /// Residue cover, percent.
    pub residue_percent: f64,
    /// Whether the seed zone was drier than best; `None` when nobody knows.
    pub dry: Option<bool>,
}

/// A low, likely and high number of GDD.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Need {
    /// Lower end.
    pub low: f64,
    /// Middle.
    pub likely: f64,
    /// Upper end.
    pub high: f64,
}

/// Heat from planting to emergence over `base`, with the published additions for the seedbed.
///
/// # References
///
/// Lauer, Wisconsin Crop Manager W121, 2003.
pub fn emergence_need(base: f64, seedbed: &Seedbed) -> Need {
    let deeper = (seedbed.depth_in - facts::CORN_USUAL_DEPTH_IN.value).max(0.0);
    let mut fixed = deeper * facts::CORN_EMERGENCE_DEPTH_GDD_PER_IN.value;
    if seedbed.dry == Some(true) {
        fixed += facts::CORN_EMERGENCE_DRY_GDD.value;
    }
    let (mut low, mut high) = match seedbed.texture {
        TextureGroup::Medium => (0.0, 0.0),
        TextureGroup::Fine => {
            (facts::CORN_EMERGENCE_TEXTURE_GDD.low, facts::CORN_EMERGENCE_TEXTURE_GDD.high)
        }
        TextureGroup::Coarse => {
            (-facts::CORN_EMERGENCE_TEXTURE_GDD.high, -facts::CORN_EMERGENCE_TEXTURE_GDD.low)
        }
    };
    if seedbed.residue_percent > facts::HEAVY_RESIDUE_PERCENT.value {
        low += facts::CORN_EMERGENCE_RESIDUE_GDD.low;
        high += facts::CORN_EMERGENCE_RESIDUE_GDD.high;
    }
    let at = |added: f64| base + fixed + added;
    Need { low: at(low), likely: at(f64::midpoint(low, high)), high: at(high) }
}

/// Collars after so much heat since emergence, as a broken number: 4.6 is V4, past its middle.
///
/// # References
///
/// Nielsen, Use thermal time to predict leaf stage development in corn, Purdue Univ., 2019.
pub fn collars(since_emergence_gdd: f64) -> f64 {
    let to_break = collar_gdd(f64::from(facts::CORN_LEAF_BREAK));
    if since_emergence_gdd <= to_break {
        since_emergence_gdd.max(0.0) / facts::CORN_COLLAR_GDD.value
    } else {
        f64::from(facts::CORN_LEAF_BREAK)
            + (since_emergence_gdd - to_break) / facts::CORN_LATE_COLLAR_GDD.value
    }
}

/// Heat from emergence to so many collars: the inverse of [`collars`].
pub fn collar_gdd(collars: f64) -> f64 {
    let early = collars.min(f64::from(facts::CORN_LEAF_BREAK));
    early * facts::CORN_COLLAR_GDD.value + (collars - early) * facts::CORN_LATE_COLLAR_GDD.value
}

/// Height at so many collars: shortest and tallest believable, inches. Beyond the last row of the
/// table the plant keeps the growth of its last span.
pub fn height_in(collars: f64) -> (f64, f64) {
    let rows = &facts::CORN_HEIGHTS;
    let at = rows.iter().skip(1).position(|row| collars <= row.collars).unwrap_or(rows.len() - 2);
    let (from, to) = (&rows[at], &rows[at + 1]);
    let share = (collars - from.collars).max(0.0) / (to.collars - from.collars);
    let between = |low: f64, high: f64| low + (high - low) * share;
    (between(from.inches.low, to.inches.low), between(from.inches.high, to.inches.high))
}

/// Heat from planting to silk for a hybrid of so many days (from memory).
pub fn silk_gdd(relative_maturity_days: f64) -> f64 {
    facts::CORN_SILK_GDD_PER_DAY.value * relative_maturity_days + facts::CORN_SILK_GDD.value
}

/// A hybrid's heat to black layer when planted late: less by 6.8 GDD a day after 1 May.
///
/// # References
///
/// Nielsen & Thomison, Hybrid maturities for delayed planting, Purdue and Ohio State Univ.
pub fn late_planted_gdd(rated_gdd: f64, planted: NaiveDate) -> f64 {
    let first = NaiveDate::from_ymd_opt(planted.year(), 5, 1).unwrap_or(planted);
    let late = (planted - first).num_days().max(0);
    #[expect(clippy::cast_precision_loss, reason = "a number of days within one year")]
    let late = late as f64;
    rated_gdd - late * facts::CORN_LATE_PLANTING_GDD_PER_DAY.value
}

/// Corn of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corn {
    /// Heat since planting.
    heat: f64,
    /// Heat at emergence.
    emergence: f64,
    /// Heat at silk.
    silk: f64,
    /// Heat at black layer.
    black_layer: f64,
}

impl Corn {
    /// Corn just planted. `emergence` is the heat it takes to come up.
    pub fn planted(emergence: f64, relative_maturity_days: f64, on: NaiveDate) -> Self {
        let black_layer = facts::CORN_BLACK_LAYER_GDD_PER_DAY.value * relative_maturity_days
            + facts::CORN_BLACK_LAYER_GDD.value;
        let silk = silk_gdd(relative_maturity_days);
        let black_layer = late_planted_gdd(black_layer, on).max(silk + 1.0);
        Self { heat: 0.0, emergence, silk, black_layer }
    }

    /// Takes in one day's heat.
    pub fn advance(&mut self, gdd: f64) {
        self.heat += gdd;
    }

    /// Collars so far, none before emergence.
    pub fn collars(&self) -> f64 {
        collars(self.heat - self.emergence)
    }

    /// The stage.
    pub fn stage(&self) -> Stage {
        if self.heat < self.emergence {
            return Stage::Planted;
        }
        let kernels = facts::CORN_KERNEL_SHARES
            .iter()
            .rposition(|share| self.heat >= self.reproductive_start(share.value));
        if let Some(at) = kernels {
            #[expect(clippy::cast_possible_truncation, reason = "an index into six stages")]
            return Stage::Reproductive(at as u8 + 1);
        }
        if self.heat >= self.tassel_start() {
            return Stage::Tassel;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "collars are counted from 0 to 20"
        )]
        match self.collars().min(20.0) as u8 {
            0 => Stage::Emerged,
            count => Stage::Vegetative(count),
        }
    }

    /// Whether the growing point stands above the ground, where frost and hail reach it.
    pub fn growing_point_is_above(&self) -> bool {
        self.collars() >= f64::from(facts::CORN_GROWING_POINT_ABOVE)
    }

    /// Moves the hand so that the clock agrees with a stage seen today. A stage corn does not have
    /// changes nothing.
    pub fn see(&mut self, stage: Stage) {
        if let Some((from, to)) = self.bounds(stage) {
            self.heat = self.heat.clamp(from, to.next_down().max(from));
        }
    }

    /// Heat at which a stage begins and at which the next one does.
    fn bounds(&self, stage: Stage) -> Option<(f64, f64)> {
        let collar = |count: u8| self.emergence + collar_gdd(f64::from(count));
        let start = self.reproductive_start(facts::CORN_KERNEL_SHARES[0].value);
        match stage {
            Stage::Planted => Some((0.0, self.emergence)),
            Stage::Emerged => Some((self.emergence, collar(1))),
            Stage::Vegetative(count) => {
                let end = self.tassel_start();
                Some((collar(count).min(end - 1.0), collar(count + 1).min(end)))
            }
            Stage::Tassel => Some((self.tassel_start(), start)),
            Stage::Reproductive(count) => {
                let shares = &facts::CORN_KERNEL_SHARES;
                let at = usize::from(count).checked_sub(1)?;
                let from = self.reproductive_start(shares.get(at)?.value);
                let to = shares
                    .get(at + 1)
                    .map_or(f64::INFINITY, |share| self.reproductive_start(share.value));
                Some((from, to))
            }
            Stage::Cotyledon => None,
        }
    }

    fn tassel_start(&self) -> f64 {
        self.silk - facts::CORN_TASSEL_LEAD_GDD.value
    }

    fn reproductive_start(&self, share: f64) -> f64 {
        self.silk + share * (self.black_layer - self.silk)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn corn() -> Corn {
        Corn::planted(115.0, 104.0, NaiveDate::from_ymd_opt(2026, 5, 1).unwrap())
    }

    #[test]
    fn a_stage_seen_moves_the_hand_only_as_far_as_it_must() {
        let mut seen = corn();
        seen.advance(115.0 + 82.0 * 4.5);
        let before = seen;
        seen.see(Stage::Vegetative(4));
        assert_eq!(seen, before);
        seen.see(Stage::Vegetative(6));
        assert!((seen.collars() - 6.0).abs() < 1e-9);
        seen.see(Stage::Vegetative(5));
        assert_eq!(seen.stage(), Stage::Vegetative(5));
        seen.advance(1.0);
        assert_eq!(seen.stage(), Stage::Vegetative(6));
    }

    proptest! {
        #[test]
        fn every_stage_seen_is_the_stage_shown(heat in 0.0..3500.0_f64, count in 1_u8..=14) {
            let mut clock = corn();
            clock.advance(heat);
            for stage in [
                Stage::Planted,
                Stage::Emerged,
                Stage::Vegetative(count),
                Stage::Tassel,
                Stage::Reproductive(1 + count % 6),
            ] {
                clock.see(stage);
                prop_assert_eq!(clock.stage(), stage);
            }
        }

        #[test]
        fn taller_with_every_collar(from in 0.0..18.0_f64, more in 0.001..3.0_f64) {
            let (low, high) = height_in(from);
            let (later_low, later_high) = height_in(from + more);
            prop_assert!(low <= high && low < later_low && high < later_high);
        }
    }
}
