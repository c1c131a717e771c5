//! Water in the seed zone: the top 4 in as eight half-inch layers.
//!
//! Rain fills the layers from the top and what stands above field capacity goes down. The air takes
//! from the uppermost water first, so that a dry front moves down, and moist layers send water up
//! into the drier ones above them, less the drier they are themselves.

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

/// Share of the difference in water content between two layers that one day draws up, where the
/// lower is at field capacity.
///
/// Fitted by hand to the daily soil moisture at 5, 10 and 20 cm of Corn Belt stations of the US
/// Climate Reference Network (NOAA, spring 2020).
pub const DRAWN_UP: Figure =
    Figure::new(0.5, Source::common_practice("fitted to NOAA USCRN soil moisture, spring 2020"));

/// The seed zone at the end of a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Reading {
    /// Share of the available water in each layer, uppermost first: 0 at the wilting point or below,
    /// 1 at field capacity or above. `None` when rain is missing and nothing has refilled the layer
    /// since.
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
    /// Part of a difference that is drawn up for each mm the lower layer holds above its driest.
    drawn_per_mm: f64,
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
            drawn_per_mm: DRAWN_UP.value / (capacity - driest),
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
        sum(&self.water.map(|water| positive(water - self.capacity)))
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

    /// Draws water up, lowest layers first; `below` is the water content under the seed zone, a share
    /// of volume. Gives what came up from there, mm.
    pub fn draw_up(&mut self, below: f64) -> f64 {
        // Every layer waits for the one below it, so what waits is kept short: water above the
        // driest, which no layer falls below.
        let held = self.water.map(|water| water - self.driest);
        let rise = |lower: f64, upper: f64| {
            smaller(lower * self.drawn_per_mm, DRAWN_UP.value) * positive(lower - upper)
        };
        let below = below * LAYER_MM - self.driest;
        let risen = rise(below, held[LAYERS - 1]);
        let mut lower = held[LAYERS - 1] + risen;
        for at in (1..LAYERS).rev() {
            let moved = rise(lower, held[at - 1]);
            self.water[at] = self.driest + (lower - moved);
            lower = held[at - 1] + moved;
        }
        self.water[0] = self.driest + lower;
        risen
    }

    /// Water that roots could take from all layers, mm.
    pub fn available_mm(&self) -> f64 {
        sum(&self.water.map(|water| positive(water - self.wilting)))
    }

    /// Takes this share of what roots could take out of every layer.
    pub fn take(&mut self, share: f64) {
        self.water = self.water.map(|water| water - share * positive(water - self.wilting));
    }

    /// Water in all layers, mm.
    pub fn total_mm(&self) -> f64 {
        sum(&self.water)
    }

    /// Whether every layer's water is known.
    pub fn known(&self) -> bool {
        self.known == [true; LAYERS]
    }

    /// Share of the available water by layer, and the depth from which it is moist.
    pub fn reading(&self) -> Reading {
        let scale = 1.0 / (self.capacity - self.wilting);
        let share = |water: f64| ((water - self.wilting) * scale).clamp(0.0, 1.0);
        let layers: [Option<f64>; LAYERS] =
            std::array::from_fn(|at| self.known[at].then(|| share(self.water[at])));
        Reading { layers, moist_from_in: moist_from_in(&layers) }
    }
}

/// Sum over the layers, in pairs: half as many steps wait for one another as in a row.
fn sum(&[a, b, c, d, e, f, g, h]: &[f64; LAYERS]) -> f64 {
    ((a + b) + (c + d)) + ((e + f) + (g + h))
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
