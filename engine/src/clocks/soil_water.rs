//! Water in the soil of one field, by day: the balance says what goes in and out, and the seed zone,
//! the rest of the plough layer and the deeper root zone say where it lies.
//!
//! Rain falls early in the day. What the run-off leaves fills the soil from the top; what finds no
//! room runs off too. Water above field capacity goes down, faster in coarse soil, and leaves at the
//! bottom no faster than the ground below can take it, so that a wet spell fills a fine soil.

pub mod balance;

pub use balance::basal_coefficient;

use crate::clocks::seed_zone::{LAYER_MM, LAYERS, SeedZone};
use crate::reference::crops::WaterUse;
use crate::reference::soils::Soil;
use crate::reference::{Figure, Source};
use crate::units::{positive, smaller};
use balance::{Antecedent, Balance, BalanceDay, Climate, CurveNumber, RainTime, Surface};
use serde::Serialize;

/// Thickness of the layers from the top, mm: the seed zone and herbicide layer (4 in), the rest of
/// the plough layer (to 12 in), the deeper root zone (to 39 in).
pub const LAYERS_MM: [f64; 3] = [SEED_ZONE_MM, 203.2, 695.2];
const SEED_ZONE_MM: f64 = 8.0 * LAYER_MM;
const _: () = assert!(LAYERS == 8);

/// Share of the room above field capacity in the plough layer that must be full at the day's
/// wettest for the day to count as saturated.
pub const SATURATED_SHARE: Figure =
    Figure::new(0.5, Source::common_practice("half of the large pores full, common practice"));

/// What one day brings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaterDay {
    /// Rain, mm; `None` when it is not known.
    pub rain_mm: Option<f64>,
    /// Evaporative demand of short grass, mm.
    pub demand_mm: f64,
    /// Days since the crop was planted; `None` before.
    pub crop_days: Option<f64>,
}

/// The soil's water at the end of a day. Each share is of the available water: 0 at the wilting
/// point, 1 at field capacity. `None` when rain is missing and nothing has refilled the layer
/// since.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Reading {
    /// Top 4 in.
    pub top_share: Option<f64>,
    /// Water content of the top 4 in over that at pF 2.
    pub top_over_pf_2: Option<f64>,
    /// Plough layer, 12 in.
    pub plough_share: Option<f64>,
    /// Root zone, 39 in.
    pub root_share: Option<f64>,
    /// Whether the plough layer was saturated at the day's wettest. Missing rain can hide a
    /// saturated day, never make one.
    pub saturated: bool,
    /// Water that went down out of the plough layer, mm. Missing rain can hide some, never make any.
    pub passed_mm: f64,
}

/// A layer below the seed zone.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Layer {
    depth: f64,
    water: f64,
    known: bool,
}

impl Layer {
    /// Takes in what comes from above, as far as there is room, and gives the rest.
    fn fill(&mut self, mm: f64, soil: &Soil, known: bool) -> f64 {
        let taken = smaller(mm, self.room(soil));
        self.add(taken, soil, known);
        mm - taken
    }

    /// Changes its water. At field capacity, and with all that came from above known, it has
    /// forgotten whatever was missing before.
    fn add(&mut self, mm: f64, soil: &Soil, known: bool) {
        self.water += mm;
        self.known |= known && self.water >= self.depth * soil.capacity;
    }

    /// What would stand above field capacity with so much more water.
    fn excess(&self, more_mm: f64, soil: &Soil) -> f64 {
        positive(self.water + more_mm - self.depth * soil.capacity)
    }

    fn room(&self, soil: &Soil) -> f64 {
        positive(self.depth * soil.saturation - self.water)
    }
}

/// The water of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bucket {
    soil: Soil,
    drainage: f64,
    pf_2_mm: f64,
    balance: Balance,
    seed: SeedZone,
    plough: Layer,
    deep: Layer,
    passed_mm: f64,
}

impl Bucket {
    /// Starts at field capacity, as most Corn Belt soils do in early spring (common practice).
    pub fn at_capacity(soil: Soil, crop: WaterUse) -> Self {
        let [top, plough, deep] = LAYERS_MM;
        let layer = |depth| Layer { depth, water: depth * soil.capacity, known: true };
        // The soil itself tells a wet spell: what finds no room runs off.
        let curve = CurveNumber::new(soil.curve_number, Antecedent::Middling);
        Self {
            drainage: soil.daily_drainage(),
            pf_2_mm: top * soil.content_at_pf_2(),
            balance: Balance::starting(&soil, crop, Surface::of(&soil), curve, RainTime::Early),
            seed: SeedZone::at_capacity(&soil),
            plough: layer(plough),
            deep: layer(deep),
            passed_mm: 0.0,
            soil,
        }
    }

    /// The same with residue over this share of the ground, 0 to 1: it holds back the air.
    #[must_use]
    pub fn under_residue(self, cover: f64) -> Self {
        Self { balance: self.balance.under_residue(cover), ..self }
    }

    /// Takes in one day and gives the reading at its end.
    pub fn advance(&mut self, day: &WaterDay) -> Reading {
        let flux = self.balance.advance(&BalanceDay {
            rain_mm: day.rain_mm,
            demand_mm: day.demand_mm,
            crop_days: day.crop_days,
            climate: Climate::STANDARD,
        });
        self.wet(flux.infiltration_mm);
        let saturated = self.plough_room_filled() >= SATURATED_SHARE.value;
        self.drain();
        self.seed.evaporate(flux.surface.mm);
        let surface = self.balance.surface().reduction();
        self.plough.water -= self.seed.draw_up(self.plough.water / self.plough.depth, surface);
        self.transpire(flux.uptake_mm);
        self.reading(saturated)
    }

    fn wet(&mut self, infiltration_mm: Option<f64>) {
        let passed = self.seed.wet(infiltration_mm);
        let known = infiltration_mm.is_some();
        self.plough.known &= known;
        self.deep.known &= known;
        let left = self.plough.fill(passed, &self.soil, known);
        self.passed_mm = left - self.deep.fill(left, &self.soil, known);
    }

    /// What stands above field capacity moves down, as far as there is room below.
    fn drain(&mut self) {
        let (soil, share) = (&self.soil, self.drainage);
        let from_seed = share * self.seed.excess_mm();
        let from_plough = share * self.plough.excess(from_seed, soil);
        let from_deep =
            smaller(share * self.deep.excess(from_plough, soil), soil.drain_capacity_mm);

        let from_plough = smaller(from_plough, self.deep.room(soil) + from_deep);
        let from_seed = self.seed.drain(share, self.plough.room(soil) + from_plough);
        let from_plough = smaller(from_plough, self.plough.excess(from_seed, soil));
        let from_deep = smaller(from_deep, self.deep.excess(from_plough, soil));

        self.passed_mm += from_plough;
        self.plough.add(from_seed - from_plough, soil, self.seed.known());
        self.deep.add(from_plough - from_deep, soil, self.plough.known && self.seed.known());
    }

    /// The crop takes what it wants from the rooted layers by what each has to give.
    fn transpire(&mut self, wanted_mm: f64) {
        if wanted_mm <= 0.0 {
            return;
        }
        let roots = 1000.0 * self.balance.roots_m() - SEED_ZONE_MM;
        let wilting = self.soil.wilting;
        let give = |layer: &Layer, above: f64| {
            let reach = ((roots - above) / layer.depth).clamp(0.0, 1.0);
            reach * positive(layer.water - layer.depth * wilting)
        };
        let (plough, deep) = (give(&self.plough, 0.0), give(&self.deep, self.plough.depth));
        let available = self.seed.available_mm() + plough + deep;
        if available <= 0.0 {
            return;
        }
        let share = smaller(wanted_mm / available, 1.0);
        self.balance.roots_took_from_surface(share * self.seed.available_mm());
        self.seed.take(share);
        self.plough.water -= share * plough;
        self.deep.water -= share * deep;
    }

    fn plough_room_filled(&self) -> f64 {
        let depth = SEED_ZONE_MM + self.plough.depth;
        let content = (self.seed.total_mm() + self.plough.water) / depth;
        (content - self.soil.capacity) / (self.soil.saturation - self.soil.capacity)
    }

    fn reading(&self, saturated: bool) -> Reading {
        let (top_mm, plough_mm) = (self.seed.total_mm(), self.plough.water);
        let top_known = self.seed.known();
        let plough_known = top_known && self.plough.known;
        let (wilting, capacity) = (self.soil.wilting, self.soil.capacity);
        let scale = 1.0 / (capacity - wilting);
        let share = |known: bool, water: f64, depth: f64| {
            known.then(|| ((water / depth - wilting) * scale).clamp(0.0, 1.0))
        };
        let plough_depth = SEED_ZONE_MM + self.plough.depth;
        Reading {
            top_share: share(top_known, top_mm, SEED_ZONE_MM),
            top_over_pf_2: top_known.then(|| top_mm / self.pf_2_mm),
            plough_share: share(plough_known, top_mm + plough_mm, plough_depth),
            root_share: share(
                plough_known && self.deep.known,
                top_mm + plough_mm + self.deep.water,
                plough_depth + self.deep.depth,
            ),
            saturated,
            passed_mm: self.passed_mm,
        }
    }

    /// The seed zone.
    pub const fn seed_zone(&self) -> &SeedZone {
        &self.seed
    }

    /// Water in all layers, mm.
    pub fn total_mm(&self) -> f64 {
        self.seed.total_mm() + self.plough.water + self.deep.water
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::crops;
    use crate::site::{Particles, Texture};
    use proptest::prelude::*;

    fn soil(texture: Texture) -> Soil {
        Soil::new(texture, Particles::middle_of(texture), 2.5)
    }

    fn bucket(texture: Texture) -> Bucket {
        Bucket::at_capacity(soil(texture), crops::CORN_WATER)
    }

    fn day(rain_mm: Option<f64>) -> WaterDay {
        WaterDay { rain_mm, demand_mm: 5.0, crop_days: Some(40.0) }
    }

    fn saturated_days(texture: Texture, rains: &[f64]) -> usize {
        let mut field = bucket(texture);
        rains.iter().filter(|rain| field.advance(&day(Some(**rain))).saturated).count()
    }

    #[test]
    fn missing_rain_is_unknown_until_a_rain_refills_the_layer() {
        let mut field = bucket(Texture::Loam);
        for _ in 0..10 {
            field.advance(&day(Some(0.0)));
        }
        let missing = field.advance(&day(None));
        assert!(missing.top_share.is_none());
        let zone = field.seed_zone().reading();
        assert!(zone.layers == [None; LAYERS] && zone.moist_from_in.is_none());
        assert!(field.advance(&day(Some(2.0))).top_share.is_none());
        field.advance(&day(Some(14.0)));
        let shower = field.seed_zone().reading();
        assert!(shower.layers[0].is_some() && shower.layers[LAYERS - 1].is_none());
        let wet = field.advance(&day(Some(40.0)));
        assert!(wet.top_share.is_some() && wet.root_share.is_none());
        let soaked = (0..4).map(|_| field.advance(&day(Some(60.0)))).last().unwrap();
        assert!(soaked.root_share.is_some());
    }

    #[test]
    fn a_deluge_saturates_and_a_shower_does_not() {
        assert_eq!(saturated_days(Texture::SiltLoam, &[100.0]), 1);
        assert_eq!(saturated_days(Texture::SiltLoam, &[5.0]), 0);
    }

    #[test]
    fn a_wet_spell_stands_in_a_fine_soil_and_leaves_a_sand() {
        let mut spell = vec![50.0; 6];
        spell.extend([0.0; 4]);
        assert!(saturated_days(Texture::SiltyClayLoam, &spell) >= 6);
        assert!(saturated_days(Texture::Sand, &spell) <= 1);
    }

    #[test]
    fn the_top_dries_first_and_the_moist_soil_lies_deeper() {
        let mut field = Bucket::at_capacity(soil(Texture::SiltLoam), crops::CORN_WATER);
        let bare = WaterDay { rain_mm: Some(0.0), demand_mm: 5.0, crop_days: None };
        let mut deepest: f64 = 0.0;
        for _ in 0..12 {
            field.advance(&bare);
            let zone = field.seed_zone().reading();
            let shares = zone.layers.map(Option::unwrap);
            assert!(shares.is_sorted(), "{shares:?}");
            deepest = deepest.max(zone.moist_from_in.unwrap());
        }
        assert!(deepest >= 1.0, "{deepest}");
    }

    proptest! {
        #[test]
        fn water_stays_within_the_soil_and_comes_only_from_rain(
            rains in prop::collection::vec(0.0..60.0_f64, 1..60),
            texture in prop::sample::select(Texture::ALL.to_vec()),
        ) {
            let mut field = bucket(texture);
            let most = LAYERS_MM.iter().sum::<f64>() * soil(texture).saturation;
            for (at, rain) in rains.iter().enumerate() {
                let before = field.total_mm();
                #[expect(clippy::cast_precision_loss, reason = "at most 60 days")]
                let crop_days = Some(at as f64);
                let reading =
                    field.advance(&WaterDay { rain_mm: Some(*rain), demand_mm: 6.0, crop_days });
                prop_assert!(field.total_mm() <= before + rain + 1e-9);
                prop_assert!((0.0..=most + 1e-9).contains(&field.total_mm()));
                prop_assert!((0.0..=1.0).contains(&reading.root_share.unwrap()));
            }
        }

        /// That evening: in the days after a crop that had more to drink takes more.
        #[test]
        fn more_rain_never_leaves_less_water(
            past in prop::collection::vec(0.0..30.0_f64, 0..40),
            rain in 0.0..30.0_f64, extra in 0.0..20.0_f64,
            texture in prop::sample::select(Texture::ALL.to_vec()),
        ) {
            let mut plain = bucket(texture);
            for rain in past {
                plain.advance(&day(Some(rain)));
            }
            let mut wetter = plain;
            plain.advance(&day(Some(rain)));
            wetter.advance(&day(Some(rain + extra)));
            prop_assert!(wetter.total_mm() >= plain.total_mm() - 1e-6);
        }
    }
}
