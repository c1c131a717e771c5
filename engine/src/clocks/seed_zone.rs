//! Water in the seed zone: the top 4 in as eight half-inch layers.
//!
//! Rain fills the layers from the top and what stands above field capacity goes down. The air takes
//! from the uppermost water first, so that a dry front moves down, and neighbours even out, ever
//! more slowly as they dry.

use crate::reference::crops::DRY_SEED_ZONE;
use crate::reference::soils::Soil;
use crate::reference::{Figure, Source};
use crate::units::{positive, smaller};
use serde::Serialize;

/// Number of layers.
pub const LAYERS: usize = 8;
/// Thickness of a layer, in.
pub const LAYER_IN: f64 = 0.5;
/// Thickness of a layer, mm.
pub const LAYER_MM: f64 = 12.7;

/// Water that goes from layer to layer in a day at field capacity, as a multiple of the difference
/// between them; it falls with the square of the wetness above air-dry. It comes to a diffusivity
/// of 130 cm2 a day under a wet surface.
///
/// Fitted by hand to the daily soil moisture at 5 cm of Corn Belt stations of the US Climate
/// Reference Network (NOAA, spring 2020). They hardly tell it: the median station correlates at 0.77
/// with 20, 0.79 with 40, 0.81 with 80 and with 160. That the spring of 2022 at Ames, Iowa, must not
/// count as one in which the soil's nitrogen lags, sets it above 40.
pub const DRAWN_UP: Figure =
    Figure::new(80.0, Source::common_practice("fitted to NOAA USCRN soil moisture, spring 2020"));

/// The seed zone at the end of a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Reading {
    /// Share of the available water in each layer, uppermost first: 0 at the wilting point or below,
    /// 1 at field capacity, more while water drains. `None` when rain is missing and nothing has
    /// refilled the layer since.
    pub layers: [Option<f64>; LAYERS],
    /// Shallowest depth from which the soil is moist, in; `None` when it is dry throughout or when a
    /// layer above the first moist one is not known.
    pub moist_from_in: Option<f64>,
}

/// The eight layers of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeedZone {
    /// Water a layer holds, mm: driest in air, at the wilting point, at capacity, full.
    driest: f64,
    wilting: f64,
    capacity: f64,
    full: f64,
    /// One over what a layer at capacity holds above air-dry.
    scale: f64,
    water: [f64; LAYERS],
    known: [bool; LAYERS],
}

impl SeedZone {
    /// Starts at field capacity.
    pub fn at_capacity(soil: &Soil) -> Self {
        let capacity = LAYER_MM * soil.capacity;
        let driest = 0.5 * LAYER_MM * soil.wilting;
        Self {
            driest,
            wilting: LAYER_MM * soil.wilting,
            capacity,
            full: LAYER_MM * soil.saturation,
            scale: 1.0 / (LAYER_MM * (soil.capacity - 0.5 * soil.wilting)),
            water: [capacity; LAYERS],
            known: [true; LAYERS],
        }
    }

    /// Takes in the day's infiltration, mm, and gives what the full layers pass on. A layer that
    /// reaches field capacity on rain that is known has forgotten whatever was missing before.
    pub fn wet(&mut self, infiltration_mm: Option<f64>) -> f64 {
        let Some(mut left) = infiltration_mm else {
            self.known = [false; LAYERS];
            return 0.0;
        };
        if left <= 0.0 && self.known() {
            return 0.0;
        }
        for (water, known) in self.water.iter_mut().zip(&mut self.known) {
            let taken = smaller(left, self.full - *water);
            *water += taken;
            left -= taken;
            *known |= *water >= self.capacity;
        }
        left
    }

    /// Water above field capacity, mm.
    pub fn excess_mm(&self) -> f64 {
        self.water.iter().map(|water| positive(water - self.capacity)).sum()
    }

    /// Sends down a share of what stands above field capacity, at most what there is room for below,
    /// mm; gives what went.
    pub fn drain(&mut self, share: f64, room_mm: f64) -> f64 {
        let excess = self.excess_mm();
        if excess <= 0.0 {
            return 0.0;
        }
        let moved = (share * excess).min(room_mm);
        let part = moved / excess;
        self.water = self.water.map(|water| water - part * positive(water - self.capacity));
        moved
    }

    /// Gives the air what it takes, mm, uppermost water first, and says how much there was.
    pub fn evaporate(&mut self, wanted_mm: f64) -> f64 {
        let mut left = wanted_mm;
        for water in &mut self.water {
            if left <= 0.0 {
                break;
            }
            let taken = smaller(left, positive(*water - self.driest));
            *water -= taken;
            left -= taken;
        }
        wanted_mm - left
    }

    /// Evens out the water between neighbours, faster the moister they are; `below` is the water
    /// content under the seed zone, a share of volume. `surface` is how freely the surface gives to
    /// the air, 0 to 1: a dried surface conducts no more and shields what lies below. Gives what came
    /// up from under the seed zone, mm, negative where water went down.
    ///
    /// One backward step of a day, so that it neither overshoots nor loses water.
    pub fn draw_up(&mut self, below: f64, surface: f64) -> f64 {
        let below = below * LAYER_MM;
        let top = self.water;
        let flow: [f64; LAYERS] = std::array::from_fn(|at| {
            let lower = if at + 1 < LAYERS { top[at + 1] } else { below };
            surface * self.conductance(if top[at] > lower { top[at] } else { lower })
        });

        // Each layer in terms of the one below it, from the top; then back up. The pivots come as
        // ratios of running products, so that no division waits for another.
        let mut product = [1.0; LAYERS + 1];
        let (mut flow_above, mut product_above) = (0.0, 0.0);
        for at in 0..LAYERS {
            product[at + 1] = (1.0 + flow[at] + flow_above) * product[at]
                - flow_above * flow_above * product_above;
            (flow_above, product_above) = (flow[at], product[at]);
        }
        let scale: [f64; LAYERS] = std::array::from_fn(|at| product[at] / product[at + 1]);
        let mut even = [0.0; LAYERS];
        let (mut flow_above, mut even_above) = (0.0, 0.0);
        for at in 0..LAYERS {
            even[at] = top[at] * scale[at] + flow_above * scale[at] * even_above;
            (flow_above, even_above) = (flow[at], even[at]);
        }
        let mut lower = below;
        for at in (0..LAYERS).rev() {
            lower = even[at] + flow[at] * scale[at] * lower;
            self.water[at] = lower;
        }
        flow[LAYERS - 1] * (below - self.water[LAYERS - 1])
    }

    /// Flow between two neighbours in a day for one of difference, by the wetter of them, mm.
    fn conductance(&self, wetter: f64) -> f64 {
        let moist = ((wetter - self.driest) * self.scale).clamp(0.0, 1.0);
        DRAWN_UP.value * moist * moist
    }

    /// Water that roots could take from all layers, mm.
    pub fn available_mm(&self) -> f64 {
        self.water.iter().map(|water| positive(water - self.wilting)).sum()
    }

    /// Takes this share of what roots could take out of every layer.
    pub fn take(&mut self, share: f64) {
        self.water = self.water.map(|water| water - share * positive(water - self.wilting));
    }

    /// Water content of each layer, a share of volume, uppermost first; a layer that is not known
    /// is held as if the missing days had been dry.
    pub fn contents(&self) -> [f64; LAYERS] {
        self.water.map(|water| water / LAYER_MM)
    }

    /// Water in all layers, mm.
    pub fn total_mm(&self) -> f64 {
        self.water.iter().sum()
    }

    /// Whether every layer's water is known.
    pub fn known(&self) -> bool {
        self.known == [true; LAYERS]
    }

    /// Share of the available water by layer, and the depth from which it is moist.
    pub fn reading(&self) -> Reading {
        let scale = 1.0 / (self.capacity - self.wilting);
        let share = |water: f64| ((water - self.wilting) * scale).max(0.0);
        let layers: [Option<f64>; LAYERS] =
            std::array::from_fn(|at| self.known[at].then(|| share(self.water[at])));
        Reading { layers, moist_from_in: moist_from_in(&layers) }
    }
}

/// Depth of the top of the first layer that is not dry.
fn moist_from_in(layers: &[Option<f64>; LAYERS]) -> Option<f64> {
    let mut depth = 0.0;
    for share in layers {
        if (*share)? >= DRY_SEED_ZONE.value {
            return Some(depth);
        }
        depth += LAYER_IN;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{Particles, Texture};
    use proptest::prelude::*;

    fn zone() -> SeedZone {
        let loam = Particles::middle_of(Texture::Loam);
        SeedZone::at_capacity(&Soil::new(Texture::Loam, loam, 3.0))
    }

    #[test]
    fn a_missing_rain_leaves_every_layer_unknown_until_it_is_refilled() {
        let mut zone = zone();
        zone.evaporate(10.0);
        zone.wet(None);
        assert_eq!(zone.reading(), Reading { layers: [None; LAYERS], moist_from_in: None });
        zone.wet(Some(0.0));
        assert!(zone.reading().layers[0].is_none());
        zone.wet(Some(8.0));
        assert!(zone.reading().layers[0].is_some());
    }

    #[test]
    fn a_dry_front_moves_down_from_the_top() {
        let mut zone = zone();
        zone.evaporate(8.0);
        let reading = zone.reading();
        assert_eq!(reading.layers[0], Some(0.0));
        assert_eq!(reading.layers[LAYERS - 1], Some(1.0));
        let moist = reading.moist_from_in.unwrap();
        assert!(moist > 0.0 && moist < 4.0);
        zone.evaporate(1000.0);
        assert_eq!(zone.reading().moist_from_in, None);
    }

    proptest! {
        #[test]
        fn what_comes_up_is_all_that_is_gained(
            taken in 0.0..40.0_f64, rain in 0.0..40.0_f64, below in 0.1..0.45_f64,
        ) {
            let mut zone = zone();
            zone.evaporate(taken);
            zone.wet(Some(rain));
            let before = zone.total_mm();
            let risen = zone.draw_up(below, 1.0);
            prop_assert!((zone.total_mm() - before - risen).abs() < 1e-9);
            prop_assert!(zone.contents().iter().all(|content| *content > 0.0));
        }
    }
}
