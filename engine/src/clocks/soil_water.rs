//! Water in the soil by a daily balance of three layers.
//!
//! Rain falls early in the day and fills the layers from the top; what stands above field capacity
//! drains on, faster in coarse soil; the surface and the crop take out what the air demands. There
//! is no run-off: rain beyond what the layers hold leaves through the bottom.
//!
//! # References
//!
//! Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, chapter 7 (dual crop
//! coefficient, Eqs. 69 to 76, standard climate), chapter 8 (water stress, Eq. 84).

use crate::reference::crops::WaterUse;
use crate::reference::soils::Soil;
use crate::reference::{Figure, Source};
use serde::Serialize;

/// Thickness of the layers from the top, mm: the seed zone and herbicide layer (4 in), the rest of
/// the plough layer, the deeper root zone.
pub const LAYERS_MM: [f64; 3] = [100.0, 200.0, 700.0];
/// Greatest crop coefficient just after wetting, standard climate (FAO-56 Eq. 72).
const MOST_DEMAND: f64 = 1.20;
/// Share of the room above field capacity in the plough layer that must be full at the day's
/// wettest for the day to count as saturated.
pub const SATURATED_SHARE: Figure =
    Figure::new(0.5, Source::common_practice("half of the large pores full, common practice"));

/// Share of the difference in water content between the layer below and the top layer that one day
/// draws up into the top layer.
///
/// Fitted by hand to the daily soil moisture of nine Corn Belt stations of the US Climate Reference
/// Network (NOAA, spring 2020): the content at 20 cm falls half to two thirds as fast as at 5 and
/// 10 cm in dry spells, and rates from 0.2 to 0.6 follow the measured course about equally well.
pub const DRAWN_UP: Figure =
    Figure::new(0.4, Source::common_practice("fitted to NOAA USCRN soil moisture, spring 2020"));

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
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
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
}

/// The three layers of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bucket {
    soil: Soil,
    drainage: f64,
    water: [f64; 3],
    /// Water that the surface has lost to the air since it was last wet, mm (FAO-56, De).
    surface_loss: f64,
    known: [bool; 3],
    crop: WaterUse,
}

impl Bucket {
    /// Starts at field capacity, as most Corn Belt soils do in early spring (common practice).
    pub fn at_capacity(soil: Soil, crop: WaterUse) -> Self {
        Self {
            soil,
            drainage: soil.daily_drainage(),
            water: LAYERS_MM.map(|depth| depth * soil.capacity),
            surface_loss: 0.0,
            known: [true; 3],
            crop,
        }
    }

    /// Takes in one day and gives the reading at its end.
    pub fn advance(&mut self, day: &WaterDay) -> Reading {
        self.wet(day.rain_mm);
        let saturated = self.plough_room_filled() >= SATURATED_SHARE.value;
        self.drain();
        self.dry(day);
        Reading {
            top_share: self.share(1),
            top_over_pf_2: self.known[0]
                .then(|| self.water[0] / LAYERS_MM[0] / self.soil.content_at_pf_2()),
            plough_share: self.share(2),
            root_share: self.share(3),
            saturated,
        }
    }

    /// Rain fills each layer to saturation; the rest is lost at the bottom. A layer that reaches
    /// field capacity on the rain that is known has forgotten whatever was missing before.
    fn wet(&mut self, rain_mm: Option<f64>) {
        if rain_mm.is_none() {
            self.known = [false; 3];
        }
        let mut left = rain_mm.unwrap_or_default();
        self.surface_loss = (self.surface_loss - left).max(0.0);
        for (at, depth) in LAYERS_MM.iter().enumerate() {
            let taken = left.min((depth * self.soil.saturation - self.water[at]).max(0.0));
            self.water[at] += taken;
            left -= taken;
            self.known[at] |= self.water[at] >= depth * self.soil.capacity && rain_mm.is_some();
        }
    }

    /// What stands above field capacity moves down, bottom first, as far as there is room.
    fn drain(&mut self) {
        let room = self.soil.saturation - self.soil.capacity;
        for at in (0..LAYERS_MM.len()).rev() {
            let excess = self.water[at] / LAYERS_MM[at] - self.soil.capacity;
            if excess <= 0.0 {
                continue;
            }
            let share = self.drainage * room * excess.exp_m1() / room.exp_m1();
            let mut moved = share.min(excess) * LAYERS_MM[at];
            if let Some(below) = LAYERS_MM.get(at + 1) {
                moved = moved.min((below * self.soil.saturation - self.water[at + 1]).max(0.0));
                self.water[at + 1] += moved;
                self.known[at + 1] |=
                    self.known[at] && self.water[at + 1] >= below * self.soil.capacity;
            }
            self.water[at] -= moved;
        }
    }

    fn dry(&mut self, day: &WaterDay) {
        let basal = day.crop_days.map_or(0.0, |days| basal_coefficient(&self.crop, days));
        let grown = growth_share(&self.crop, basal);
        let cover = grown.powf(1.0 + 0.5 * self.crop.height_m * grown);
        let bare = 1.0 - cover;
        let wanted = (self.evaporation_reduction() * (MOST_DEMAND - basal).max(0.0))
            .min(bare * MOST_DEMAND)
            * day.demand_mm;
        self.evaporate(wanted);
        self.draw_up();
        self.transpire(basal * day.demand_mm, grown);
    }

    /// The layer below sends water up to a top layer that is drier than itself, less and less as the
    /// surface dries and conducts no more.
    fn draw_up(&mut self) {
        let content = |at: usize| self.water[at] / LAYERS_MM[at];
        let share = DRAWN_UP.value * self.evaporation_reduction();
        let moved = share * (content(1) - content(0)).max(0.0) * LAYERS_MM[0];
        self.water[1] -= moved;
        self.water[0] += moved;
    }

    /// Takes the surface's evaporation out of the top layer, down to half its wilting point.
    fn evaporate(&mut self, wanted_mm: f64) {
        let floor = 0.5 * self.soil.wilting * LAYERS_MM[0];
        let evaporation = wanted_mm
            .min(self.evaporable_mm() - self.surface_loss)
            .min(self.water[0] - floor)
            .max(0.0);
        self.water[0] -= evaporation;
        self.surface_loss += evaporation;
    }

    /// All that the surface can lose to the air, mm (FAO-56 Eq. 73, over the top layer).
    fn evaporable_mm(&self) -> f64 {
        LAYERS_MM[0] * (self.soil.capacity - 0.5 * self.soil.wilting)
    }

    /// FAO-56 Eq. 74: 1 while the surface is wet, falling to 0 when all it can lose is gone.
    fn evaporation_reduction(&self) -> f64 {
        let total = self.evaporable_mm();
        let easy = self.soil.easy_evaporation_mm.min(0.9 * total);
        ((total - self.surface_loss) / (total - easy)).clamp(0.0, 1.0)
    }

    /// The crop takes its demand from the rooted layers by what each has to give, less when the
    /// rooted zone is past its easy share.
    fn transpire(&mut self, demand_mm: f64, grown: f64) {
        let roots = LAYERS_MM[0] + grown * (1000.0 * self.crop.roots_m - LAYERS_MM[0]);
        let mut above = 0.0;
        let mut reach = [0.0; 3];
        for (at, depth) in LAYERS_MM.iter().enumerate() {
            reach[at] = ((roots - above) / depth).clamp(0.0, 1.0);
            above += depth;
        }
        let give: [f64; 3] = std::array::from_fn(|at| {
            reach[at] * (self.water[at] - LAYERS_MM[at] * self.soil.wilting).max(0.0)
        });
        let available: f64 = give.iter().sum();
        if available <= 0.0 {
            return;
        }
        let whole: f64 = (0..3)
            .map(|at| reach[at] * LAYERS_MM[at] * (self.soil.capacity - self.soil.wilting))
            .sum();
        let stress = (available / whole / (1.0 - self.crop.easy_share)).min(1.0);
        let taken = (demand_mm * stress).min(available);
        for (water, give) in self.water.iter_mut().zip(give) {
            *water -= taken * give / available;
        }
    }

    fn plough_room_filled(&self) -> f64 {
        let depth = LAYERS_MM[0] + LAYERS_MM[1];
        let content = (self.water[0] + self.water[1]) / depth;
        (content - self.soil.capacity) / (self.soil.saturation - self.soil.capacity)
    }

    /// Share of the available water in the uppermost `count` layers.
    fn share(&self, count: usize) -> Option<f64> {
        if !self.known[..count].iter().all(|known| *known) {
            return None;
        }
        let depth: f64 = LAYERS_MM[..count].iter().sum();
        let content = self.water[..count].iter().sum::<f64>() / depth;
        let share = (content - self.soil.wilting) / (self.soil.capacity - self.soil.wilting);
        Some(share.clamp(0.0, 1.0))
    }

    /// Water in the layers, mm, for the balance.
    #[cfg(test)]
    fn total_mm(&self) -> f64 {
        self.water.iter().sum()
    }
}

/// Basal crop coefficient so many days after planting: flat, straight line, flat, straight line
/// (FAO-56 Eq. 66).
pub fn basal_coefficient(crop: &WaterUse, days: f64) -> f64 {
    let [initial, development, middle, late] = crop.stage_days;
    let [start, peak, end] = crop.basal;
    let line = |from: f64, to: f64, share: f64| from + (to - from) * share.clamp(0.0, 1.0);
    if days <= initial + development + middle {
        line(start, peak, (days - initial) / development)
    } else {
        line(peak, end, (days - initial - development - middle) / late)
    }
}

/// How far the canopy has grown, 0 to 1, by its coefficient (FAO-56 Eq. 76, inner term).
fn growth_share(crop: &WaterUse, basal: f64) -> f64 {
    let [start, _, _] = crop.basal;
    ((basal - start) / (MOST_DEMAND - start)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::crops;
    use crate::site::{Particles, Texture};
    use proptest::prelude::*;

    fn day(rain_mm: Option<f64>) -> WaterDay {
        WaterDay { rain_mm, demand_mm: 5.0, crop_days: Some(40.0) }
    }

    fn soil(texture: Texture) -> Soil {
        Soil::new(texture, Particles::middle_of(texture), 2.5)
    }

    fn bucket(texture: Texture) -> Bucket {
        Bucket::at_capacity(soil(texture), crops::CORN_WATER)
    }

    #[test]
    fn missing_rain_is_unknown_until_a_rain_refills_the_layer() {
        let mut field = bucket(Texture::Loam);
        for _ in 0..10 {
            field.advance(&day(Some(0.0)));
        }
        assert!(field.advance(&day(None)).top_share.is_none());
        assert!(field.advance(&day(Some(2.0))).top_share.is_none());
        let wet = field.advance(&day(Some(20.0)));
        assert!(wet.top_share.is_some() && wet.root_share.is_none());
        let soaked = field.advance(&day(Some(200.0)));
        assert!(soaked.root_share.is_some());
    }

    #[test]
    fn a_deluge_saturates_and_a_shower_does_not() {
        assert!(bucket(Texture::SiltLoam).advance(&day(Some(60.0))).saturated);
        assert!(!bucket(Texture::SiltLoam).advance(&day(Some(5.0))).saturated);
    }

    proptest! {
        #[test]
        fn water_stays_within_the_soil_and_comes_only_from_rain(
            rains in prop::collection::vec(0.0..60.0_f64, 1..60),
            texture in prop::sample::select(Texture::ALL.to_vec()),
        ) {
            let mut field = bucket(texture);
            let soil = soil(texture);
            for (at, rain) in rains.iter().enumerate() {
                let before = field.total_mm();
                #[expect(clippy::cast_precision_loss, reason = "at most 60 days")]
                let crop_days = Some(at as f64);
                let reading =
                    field.advance(&WaterDay { rain_mm: Some(*rain), demand_mm: 6.0, crop_days });
                prop_assert!(field.total_mm() <= before + rain + 1e-9);
                for (water, depth) in field.water.iter().zip(LAYERS_MM) {
                    prop_assert!(*water >= 0.0 && *water <= depth * soil.saturation + 1e-9);
                }
                prop_assert!((0.0..=1.0).contains(&reading.root_share.unwrap()));
            }
        }

        #[test]
        fn more_rain_never_leaves_less_water(
            rains in prop::collection::vec(0.0..30.0_f64, 2..40), extra in 0.0..20.0_f64,
        ) {
            let mut plain = bucket(Texture::SiltLoam);
            let mut wetter = plain;
            for (at, rain) in rains.iter().enumerate() {
                plain.advance(&day(Some(*rain)));
                let more = if at == 0 { rain + extra } else { *rain };
                wetter.advance(&day(Some(more)));
                prop_assert!(wetter.total_mm() >= plain.total_mm() - 1e-6);
            }
        }
    }
}
