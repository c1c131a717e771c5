//! Corn by heat: emergence, collars, tassel to black layer, height.
//!
//! The clock's hand is heat since planting. A stage that somebody saw moves the hand only as far
//! as it must: to the nearer end of that stage, or not at all.

use crate::clocks::Stage;
use crate::clocks::growth::Pace;
use crate::clocks::heat::Warmth;
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

impl Need {
    /// The need at a pace.
    pub const fn at(&self, pace: Pace) -> f64 {
        pace.of(self.low, self.likely, self.high)
    }
}

/// Heat from planting to emergence over `base`, with the published additions for the seedbed.
/// Where nobody knows how dry the seed zone is, only the upper end takes that in.
///
/// # References
///
/// Lauer, Wisconsin Crop Manager W121, 2003.
pub fn emergence_need(base: f64, seedbed: &Seedbed) -> Need {
    let deeper = (seedbed.depth_in - facts::CORN_USUAL_DEPTH_IN.value).max(0.0);
    let depth = deeper * facts::CORN_EMERGENCE_DEPTH_GDD_PER_IN.value;
    let when_dry = facts::CORN_EMERGENCE_DRY_GDD.value;
    let (dry, may_be_dry) = match seedbed.dry {
        Some(true) => (when_dry, 0.0),
        Some(false) => (0.0, 0.0),
        None => (0.0, when_dry),
    };
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
    let at = |added: f64| base + depth + dry + added;
    Need { low: at(low), likely: at(f64::midpoint(low, high)), high: at(high + may_be_dry) }
}

/// Heat from planting to emergence in a seedbed planted on a day, over the whole band of bases in
/// print.
pub fn emergence(seedbed: &Seedbed, planted: NaiveDate) -> Need {
    let over = |base: f64| emergence_need(base, seedbed);
    let early = (planted.month(), planted.day()) < facts::CORN_EARLY_PLANTING_BEFORE;
    let early = if early { facts::CORN_EMERGENCE_EARLY_GDD.value } else { 0.0 };
    Need {
        low: over(facts::CORN_EMERGENCE_BAND_GDD.low).low,
        likely: over(facts::CORN_EMERGENCE_GDD.value).likely,
        high: over(facts::CORN_EMERGENCE_BAND_GDD.high).high + early,
    }
}

/// Heat a collar takes, up to [`facts::CORN_LEAF_BREAK`] and after it. Both numbers come from one
/// table: tables of different schools do not mix.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeafRate {
    /// GDD a collar up to the break.
    pub early: f64,
    /// GDD a collar after it.
    pub late: f64,
}

impl LeafRate {
    /// Nielsen, Use thermal time to predict leaf stage development in corn, Purdue Univ., 2019.
    pub const PURDUE: Self =
        Self { early: facts::CORN_COLLAR_GDD.value, late: facts::CORN_LATE_COLLAR_GDD.value };
    /// Abendroth et al., PMR 1009, Iowa State Univ., 2011.
    pub const IOWA: Self = Self {
        early: facts::CORN_SLOW_COLLAR_GDD.value,
        late: facts::CORN_SLOW_LATE_COLLAR_GDD.value,
    };

    /// The table a pace goes by.
    pub const fn of(pace: Pace) -> Self {
        match pace {
            Pace::Fast | Pace::Likely => Self::PURDUE,
            Pace::Slow => Self::IOWA,
        }
    }

    /// Collars after so much heat since emergence, as a broken number: 4.6 is V4, past its middle.
    pub fn collars(&self, since_emergence_gdd: f64) -> f64 {
        let to_break = self.gdd(f64::from(facts::CORN_LEAF_BREAK));
        if since_emergence_gdd <= to_break {
            since_emergence_gdd.max(0.0) / self.early
        } else {
            f64::from(facts::CORN_LEAF_BREAK) + (since_emergence_gdd - to_break) / self.late
        }
    }

    /// Heat from emergence to so many collars: the inverse of [`Self::collars`].
    pub fn gdd(&self, collars: f64) -> f64 {
        let before = collars.min(f64::from(facts::CORN_LEAF_BREAK));
        before * self.early + (collars - before) * self.late
    }
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

/// A hybrid's heat as its maker rates it: from planting, or from emergence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rating {
    /// Counted from planting, GDD.
    FromPlanting(f64),
    /// Counted from emergence, GDD.
    FromEmergence(f64),
}

impl Rating {
    /// The rating counted from planting, GDD.
    pub const fn since_planting(self) -> f64 {
        match self {
            Self::FromPlanting(gdd) => gdd,
            Self::FromEmergence(gdd) => gdd + facts::CORN_RATING_FROM_PLANTING_GDD.value,
        }
    }
}

/// A hybrid's rated heat from planting to black layer (from memory).
pub fn black_layer_rating(relative_maturity_days: f64) -> Rating {
    let gdd = facts::CORN_BLACK_LAYER_GDD_PER_DAY.value * relative_maturity_days;
    Rating::FromPlanting(gdd + facts::CORN_BLACK_LAYER_GDD.value)
}

/// A hybrid's heat from planting to black layer when planted late: less by 6.8 GDD a day after 1
/// May.
///
/// # References
///
/// Nielsen & Thomison, Hybrid maturities for delayed planting, Purdue and Ohio State Univ.
pub fn late_planted_gdd(rating: Rating, planted: NaiveDate) -> f64 {
    let first = NaiveDate::from_ymd_opt(planted.year(), 5, 1).unwrap_or(planted);
    let late = (planted - first).num_days().max(0);
    #[expect(clippy::cast_precision_loss, reason = "a number of days within one year")]
    let late = late as f64;
    rating.since_planting() - late * facts::CORN_LATE_PLANTING_GDD_PER_DAY.value
}

/// Corn of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corn {
    planted: NaiveDate,
    pace: Pace,
    /// Heat since planting, by the air.
    heat: f64,
    /// Heat by which stages seen have moved it.
    shift: f64,
    /// Heat at emergence.
    emergence: f64,
    /// Heat at silk.
    silk: f64,
    /// Heat at black layer.
    black_layer: f64,
}

impl Corn {
    /// Corn just planted, at the likely pace. `emergence` is the heat it takes to come up.
    pub fn planted(emergence: f64, relative_maturity_days: f64, on: NaiveDate) -> Self {
        let silk = silk_gdd(relative_maturity_days);
        let rating = black_layer_rating(relative_maturity_days);
        let black_layer = late_planted_gdd(rating, on).max(silk + 1.0);
        Self {
            planted: on,
            pace: Pace::Likely,
            heat: 0.0,
            shift: 0.0,
            emergence,
            silk,
            black_layer,
        }
    }

    /// The same at another pace from emergence on: leaves, silk, black layer and height.
    #[must_use]
    pub fn paced(self, pace: Pace) -> Self {
        let spread = facts::CORN_SILK_SPREAD.value;
        let factor = pace.of(1.0 - spread, 1.0, 1.0 + spread);
        Self { pace, silk: self.silk * factor, black_layer: self.black_layer * factor, ..self }
    }

    /// Day of planting.
    pub const fn planted_on(&self) -> NaiveDate {
        self.planted
    }

    /// Takes in one day's heat; a day without any adds nothing.
    ///
    /// Until the growing point leaves the soil, soil heat counts where it is known, at the rate of
    /// the two sums to emergence (Nielsen: soil temperature foretells growth better until about
    /// V6); from then on, and where no soil heat is known, the air's.
    pub fn advance(&mut self, heat: impl Into<Warmth>) {
        let Warmth { air, soil } = heat.into();
        let soil = soil.filter(|_| !self.growing_point_is_above()).map(|soil| {
            soil.in_air(facts::CORN_EMERGENCE_GDD.value, facts::CORN_EMERGENCE_SOIL_GDD.value)
        });
        self.heat += soil.or(air).unwrap_or_default();
    }

    /// GDD by which the stages seen so far have moved the clock ahead; below zero, back.
    pub const fn shift(&self) -> f64 {
        self.shift
    }

    /// Collars so far, none before emergence.
    pub fn collars(&self) -> f64 {
        LeafRate::of(self.pace).collars(self.heat - self.emergence)
    }

    /// Height at its pace, inches: the tallest believable when fast, the middle of the table when
    /// likely; when slow the shortest, less what northern corn may be shorter.
    pub fn height_in(&self) -> f64 {
        let (low, high) = height_in(self.collars());
        let shortest = low * (1.0 - facts::CORN_NORTHERN_SHORTER.value);
        self.pace.of(high, f64::midpoint(low, high), shortest)
    }

    /// The stage.
    pub fn stage(&self) -> Stage {
        if self.heat < self.emergence {
            return Stage::Planted;
        }
        if self.heat >= self.tassel_start() {
            let kernels = facts::CORN_KERNEL_SHARES
                .iter()
                .rposition(|share| self.heat >= self.reproductive_start(share.value));
            #[expect(clippy::cast_possible_truncation, reason = "an index into six stages")]
            return kernels.map_or(Stage::Tassel, |at| Stage::Reproductive(at as u8 + 1));
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
            let seen = self.heat.clamp(from, to.next_down().max(from));
            self.shift += seen - self.heat;
            self.heat = seen;
        }
    }

    /// Heat at which a stage begins and at which the next one does.
    fn bounds(&self, stage: Stage) -> Option<(f64, f64)> {
        let rate = LeafRate::of(self.pace);
        let collar = |count: u8| self.emergence + rate.gdd(f64::from(count));
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
    use crate::clocks::heat::SoilGdd;
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
        assert!((seen.shift() - 82.0 * 1.5).abs() < 1e-9);
        seen.see(Stage::Vegetative(5));
        assert_eq!(seen.stage(), Stage::Vegetative(5));
        seen.advance(1.0);
        assert_eq!(seen.stage(), Stage::Vegetative(6));
    }

    #[test]
    fn soil_heat_counts_until_the_growing_point_leaves_the_soil() {
        let soil = Some(SoilGdd::of_day(25.0, 15.0));
        let mut below = corn();
        below.advance(Warmth { air: Some(2.0), soil });
        assert!((below.heat - 18.0 * 115.0 / 120.0).abs() < 1e-9);
        let mut above = corn();
        above.advance(115.0 + 82.0 * 6.0);
        let before = above.heat;
        above.advance(Warmth { air: Some(2.0), soil });
        assert!((above.heat - before - 2.0).abs() < 1e-9);
        above.advance(None);
        assert!((above.heat - before - 2.0).abs() < 1e-9);
    }

    #[test]
    fn unknown_dryness_widens_the_need_and_leaves_its_likely_number() {
        let known = Seedbed {
            depth_in: 2.0,
            texture: TextureGroup::Medium,
            residue_percent: 0.0,
            dry: Some(false),
        };
        let on = NaiveDate::from_ymd_opt(2026, 5, 1).unwrap();
        let moist = emergence(&known, on);
        let unknown = emergence(&Seedbed { dry: None, ..known }, on);
        assert_eq!((moist.low, moist.likely, moist.high), (90.0, 115.0, 125.0));
        assert_eq!((unknown.low, unknown.likely, unknown.high), (90.0, 115.0, 155.0));
        let early = emergence(&known, NaiveDate::from_ymd_opt(2026, 4, 24).unwrap());
        assert_eq!((early.likely, early.high), (115.0, 150.0));
    }

    proptest! {
        #[test]
        fn every_stage_seen_is_the_stage_shown(heat in 0.0..3500.0_f64, count in 1_u8..=14) {
            for pace in Pace::ALL {
                let mut clock = corn().paced(pace);
                clock.advance(heat);
                for stage in [
                    Stage::Planted,
                    Stage::Emerged,
                    Stage::Vegetative(count),
                    Stage::Tassel,
                    Stage::Reproductive(1 + count % 6),
                ] {
                    let (before, shift) = (clock.heat, clock.shift());
                    clock.see(stage);
                    prop_assert_eq!(clock.stage(), stage);
                    prop_assert!((clock.shift() - shift - (clock.heat - before)).abs() < 1e-9);
                }
            }
        }

        #[test]
        fn taller_with_every_collar(from in 0.0..18.0_f64, more in 0.001..3.0_f64) {
            let (low, high) = height_in(from);
            let (later_low, later_high) = height_in(from + more);
            prop_assert!(low <= high && low < later_low && high < later_high);
        }

        #[test]
        fn collars_and_their_heat_are_inverse(collars in 0.0..20.0_f64) {
            for rate in [LeafRate::PURDUE, LeafRate::IOWA] {
                prop_assert!((rate.collars(rate.gdd(collars)) - collars).abs() < 1e-9);
            }
        }
    }
}
