//! The daily water balance of a cropped field: run-off, evaporation from the surface, uptake by the
//! crop. Depths in mm unless a name says otherwise.
//!
//! # References
//!
//! Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, chapter 7 (dual crop
//! coefficient, Eqs. 66 to 79), chapter 8 (water stress, Eqs. 82 to 88), Annex 8 (roots). Jensen &
//! Allen (eds.), Evaporation, Evapotranspiration, and Irrigation Water Requirements, ASCE Manual 70,
//! 2016, Eqs. 14-12 to 14-20 (run-off).

use crate::reference::crops::WaterUse;
use crate::reference::soils::Soil;
use crate::reference::{Figure, Source};
use crate::units::{positive, smaller};

/// Depth that the air dries, mm (FAO-56 Table 19, the lower end).
pub const SURFACE_MM: f64 = 100.0;
/// Depth of the roots of a young crop, m.
pub const START_ROOTS_M: Figure = Figure::new(
    0.2,
    Source::published("FAO Irrigation and Drainage Paper 56, 1998, Annex 8: 0.15 to 0.20 m"),
);
/// Share of the evaporation that residue over the whole ground holds back.
pub const RESIDUE_HOLDS_BACK: Figure = Figure::new(
    0.5,
    Source::from_memory(
        "FAO-56, 1998, chapter 11: 5 % less for each 10 % of the ground under mulch",
    ),
);
/// Height of a crop that has just come up, m.
const START_HEIGHT_M: f64 = 0.01;

/// When on a day its rain falls. FAO-56 leaves it open; the two conventions differ on days with rain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RainTime {
    /// Before the day's evaporation, which then draws on the wetted surface.
    Early,
    /// After it: the day's evaporation draws on the surface as yesterday left it.
    Late,
}

/// Wind and dryness of the air, by which wet ground gives more than grass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Climate {
    /// Mean wind at 2 m, m/s; held within 1 to 6.
    pub wind_2_m: f64,
    /// Least humidity of the day, %; held within 20 to 80.
    pub least_humidity: f64,
}

impl Climate {
    /// Sub-humid, with a moderate wind: that to which FAO-56 gives its coefficients.
    pub const STANDARD: Self = Self { wind_2_m: 2.0, least_humidity: 45.0 };

    /// Greatest crop coefficient, just after wetting (FAO-56 Eq. 72).
    pub fn most_demand(&self, height_m: f64, basal: f64) -> f64 {
        let wind = self.wind_2_m.clamp(1.0, 6.0);
        let humidity = self.least_humidity.clamp(20.0, 80.0);
        let dryness = 0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0);
        let extra = if dryness == 0.0 { 0.0 } else { dryness * (height_m / 3.0).powf(0.3) };
        (1.2 + extra).max(basal + 0.05)
    }
}

/// How the curve number follows the wetness of the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Antecedent {
    /// Not at all.
    Middling,
    /// By what the surface has lost to the air (ASCE Manual 70, Eqs. 14-18 to 14-20).
    BySurface,
}

/// Rain that runs off, by a curve number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveNumber {
    dry: f64,
    middling: f64,
    wet: f64,
    antecedent: Antecedent,
}

impl CurveNumber {
    /// A curve number at middling wetness, 1 to 100.
    pub fn new(middling: f64, antecedent: Antecedent) -> Self {
        Self {
            dry: middling / (2.281 - 0.01281 * middling),
            middling,
            wet: middling / (0.427 + 0.00573 * middling),
            antecedent,
        }
    }

    /// Run-off of a day's rain over a surface.
    pub fn runoff(&self, rain_mm: f64, surface: &Surface) -> f64 {
        if rain_mm <= 0.0 {
            return 0.0;
        }
        let number = match self.antecedent {
            Antecedent::Middling => self.middling,
            Antecedent::BySurface => {
                let (wet_end, dry_end) =
                    (0.5 * surface.easy, 0.7 * surface.easy + 0.3 * surface.total);
                let dryness = ((surface.loss - wet_end) / (dry_end - wet_end)).clamp(0.0, 1.0);
                self.wet + (self.dry - self.wet) * dryness
            }
        };
        let storage = 250.0 * (100.0 / number - 1.0);
        let beyond = rain_mm - 0.2 * storage;
        if beyond <= 0.0 { 0.0 } else { (beyond * beyond / (rain_mm + 0.8 * storage)).min(rain_mm) }
    }
}

/// What drives the surface on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// Demand of grass.
    pub demand_mm: f64,
    /// Greatest crop coefficient (Kc max).
    pub most: f64,
    /// Basal crop coefficient (Kcb).
    pub basal: f64,
    /// Share of the ground that is bare and wetted (few).
    pub exposed: f64,
    /// Share of the evaporation that residue lets through.
    pub let_through: f64,
}

/// What the surface gave on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evaporated {
    /// How freely it gave, 0 to 1 (Kr).
    pub reduction: f64,
    /// Share of the demand that it gave (Ke).
    pub coefficient: f64,
    /// Evaporation over the whole field.
    pub mm: f64,
    /// Water that went through the wetted surface (`DPe`).
    pub through_mm: f64,
}

/// The surface that the air dries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    total: f64,
    easy: f64,
    loss: f64,
}

impl Surface {
    /// A surface that can lose `total` (TEW), of it `easy` freely (REW), and has lost `loss` (De).
    pub const fn new(total: f64, easy: f64, loss: f64) -> Self {
        Self { total, easy, loss }
    }

    /// The wet surface of a soil (FAO-56 Eq. 73).
    pub fn of(soil: &Soil) -> Self {
        let total = SURFACE_MM * (soil.capacity - 0.5 * soil.wilting);
        Self::new(total, soil.easy_evaporation_mm.min(0.9 * total), 0.0)
    }

    /// What it has lost to the air since it was last wet (De).
    pub const fn loss_mm(&self) -> f64 {
        self.loss
    }

    /// How freely it gives: 1 while wet, 0 when all it can lose is gone (FAO-56 Eq. 74).
    pub fn reduction(&self) -> f64 {
        ((self.total - self.loss) / (self.total - self.easy)).clamp(0.0, 1.0)
    }

    /// Takes in a day; `wetting_mm` is water on the wetted part (FAO-56 Eqs. 71, 77 to 79).
    pub fn advance(&mut self, pull: &Pull, wetting_mm: f64, when: RainTime) -> Evaporated {
        let through_mm = positive(wetting_mm - self.loss);
        let wetted = positive(self.loss - wetting_mm);
        if when == RainTime::Early {
            self.loss = wetted;
        }
        let reduction = self.reduction();
        let free = smaller(reduction * positive(pull.most - pull.basal), pull.exposed * pull.most);
        let coefficient = pull.let_through * free;
        let taken = smaller(coefficient * pull.demand_mm / pull.exposed, self.total - self.loss);
        self.loss = smaller(wetted + taken, self.total);
        Evaporated { reduction, coefficient, mm: taken * pull.exposed, through_mm }
    }
}

/// What one day brings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BalanceDay {
    /// Rain; `None` when it is not known.
    pub rain_mm: Option<f64>,
    /// Demand of grass.
    pub demand_mm: f64,
    /// Days since the crop was planted; `None` before.
    pub crop_days: Option<f64>,
    /// Wind and dryness of the air.
    pub climate: Climate,
}

/// Where the day's water went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flux {
    /// Rain that ran off.
    pub runoff_mm: f64,
    /// Rain that went into the ground; `None` when it is not known.
    pub infiltration_mm: Option<f64>,
    /// Basal crop coefficient.
    pub basal: f64,
    /// The surface.
    pub surface: Evaporated,
    /// Share of its want that the crop could take (Ks).
    pub stress: f64,
    /// Uptake by the crop.
    pub uptake_mm: f64,
    /// Water that left below the roots.
    pub drained_mm: f64,
}

/// The balance of one field. On a day without known rain it goes on as if dry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    crop: WaterUse,
    curve: CurveNumber,
    when: RainTime,
    held: f64,
    let_through: f64,
    surface: Surface,
    height_m: f64,
    roots_m: f64,
    depletion: f64,
    cover: Cover,
}

/// Share of the ground under leaves, with what it was worked out from: it stands still for weeks.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cover {
    basal: f64,
    most: f64,
    height_m: f64,
    share: f64,
}

impl Cover {
    const BARE: Self = Self { basal: 0.0, most: 0.0, height_m: 0.0, share: 0.0 };
}

impl Balance {
    /// Starts with the root zone at field capacity.
    pub fn starting(
        soil: &Soil,
        crop: WaterUse,
        surface: Surface,
        curve: CurveNumber,
        when: RainTime,
    ) -> Self {
        Self {
            crop,
            curve,
            when,
            held: 1000.0 * (soil.capacity - soil.wilting),
            let_through: 1.0,
            surface,
            height_m: START_HEIGHT_M,
            roots_m: START_ROOTS_M.value,
            depletion: 0.0,
            cover: Cover::BARE,
        }
    }

    /// The same with residue over this share of the ground, 0 to 1.
    #[must_use]
    pub fn under_residue(self, cover: f64) -> Self {
        Self { let_through: 1.0 - RESIDUE_HOLDS_BACK.value * cover, ..self }
    }

    /// The surface.
    pub const fn surface(&self) -> &Surface {
        &self.surface
    }

    /// Depth of the roots, m.
    pub const fn roots_m(&self) -> f64 {
        self.roots_m
    }

    /// Water that the root zone lacks to field capacity (Dr).
    pub const fn depletion_mm(&self) -> f64 {
        self.depletion
    }

    /// All that the root zone holds for the crop (TAW, FAO-56 Eq. 82).
    pub fn available_mm(&self) -> f64 {
        self.held * self.roots_m
    }

    /// Takes in one day.
    pub fn advance(&mut self, day: &BalanceDay) -> Flux {
        let basal = day.crop_days.map_or(0.0, |days| basal_coefficient(&self.crop, days));
        self.grow(basal);
        let rain = day.rain_mm.unwrap_or_default();
        let runoff_mm = self.curve.runoff(rain, &self.surface);
        let most = day.climate.most_demand(self.height_m, basal);
        let exposed = 1.0 - self.cover(basal, most);
        let let_through = self.let_through;
        let pull = Pull { demand_mm: day.demand_mm, most, basal, exposed, let_through };
        let surface = self.surface.advance(&pull, rain - runoff_mm, self.when);
        let stress = self.stress((surface.coefficient + basal) * day.demand_mm);
        let uptake_mm = stress * basal * day.demand_mm;
        let drained_mm = self.settle(rain - runoff_mm, surface.mm + uptake_mm);
        let infiltration_mm = day.rain_mm.map(|rain| rain - runoff_mm);
        Flux { runoff_mm, infiltration_mm, basal, surface, stress, uptake_mm, drained_mm }
    }

    /// Counts what the roots took out of the surface layer as lost to the air too (FAO-56 Eq. 77, the
    /// transpiration from the exposed soil). FAO-56 leaves it out for deep roots; those of a young
    /// crop are shallow.
    pub fn roots_took_from_surface(&mut self, mm: f64) {
        self.surface.loss = (self.surface.loss + mm).min(self.surface.total);
    }

    /// Height and roots follow the basal coefficient up and stay (FAO-56 Annex 8).
    fn grow(&mut self, basal: f64) {
        let [start, peak, _] = self.crop.basal;
        if basal <= start {
            return;
        }
        let grown = (basal - start) / (peak - start);
        let line = |from: f64, to: f64| from + (to - from) * grown;
        self.height_m = self.height_m.max(line(START_HEIGHT_M, self.crop.height_m));
        self.roots_m = self.roots_m.max(line(START_ROOTS_M.value, self.crop.roots_m));
    }

    /// Share of the ground under leaves (FAO-56 Eq. 76).
    fn cover(&mut self, basal: f64, most: f64) -> f64 {
        let [start, _, _] = self.crop.basal;
        if basal <= start {
            return 0.0;
        }
        let last = &self.cover;
        if (last.basal, last.most, last.height_m) != (basal, most, self.height_m) {
            let grown = (basal - start) / (most - start);
            let share = grown.powf(1.0 + 0.5 * self.height_m).min(0.99);
            self.cover = Cover { basal, most, height_m: self.height_m, share };
        }
        self.cover.share
    }

    /// FAO-56 Eqs. 83 and 84; the easy share falls as the crop is asked for more.
    fn stress(&self, wanted_mm: f64) -> f64 {
        let easy = (self.crop.easy_share + 0.04 * (5.0 - wanted_mm)).clamp(0.1, 0.8);
        let available = self.available_mm();
        ((available - self.depletion) / (available * (1.0 - easy))).clamp(0.0, 1.0)
    }

    /// FAO-56 Eqs. 85 to 88; gives the water that leaves below the roots.
    fn settle(&mut self, gained_mm: f64, lost_mm: f64) -> f64 {
        let depletion = self.depletion - gained_mm + lost_mm;
        self.depletion = depletion.clamp(0.0, self.available_mm());
        (-depletion).max(0.0)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::crops::CORN_WATER;
    use crate::site::{Particles, Texture};
    use proptest::prelude::*;

    fn corn(texture: Texture, antecedent: Antecedent, when: RainTime) -> Balance {
        let soil = Soil::new(texture, Particles::middle_of(texture), 3.0);
        let curve = CurveNumber::new(soil.curve_number, antecedent);
        Balance::starting(&soil, CORN_WATER, Surface::of(&soil), curve, when)
    }

    #[test]
    fn residue_holds_back_the_air() {
        let day = BalanceDay {
            rain_mm: Some(0.0),
            demand_mm: 5.0,
            crop_days: None,
            climate: Climate::STANDARD,
        };
        let mut bare = corn(Texture::Loam, Antecedent::Middling, RainTime::Early);
        let covered = bare.under_residue(1.0).advance(&day).surface.mm;
        assert!((covered - 0.5 * bare.advance(&day).surface.mm).abs() < 1e-12);
    }

    #[test]
    fn a_wet_surface_sheds_more_of_a_storm() {
        let curve = CurveNumber::new(75.0, Antecedent::BySurface);
        let runoff = |loss| curve.runoff(40.0, &Surface::new(25.6, 9.0, loss));
        assert!(runoff(0.0) > runoff(9.0) && runoff(9.0) > runoff(25.0));
    }

    proptest! {
        #[test]
        fn the_balance_closes_every_day(
            rains in prop::collection::vec(0.0..80.0_f64, 1..120),
            demand_mm in 0.0..9.0_f64,
            texture in prop::sample::select(Texture::ALL.to_vec()),
            when in prop::sample::select(vec![RainTime::Early, RainTime::Late]),
        ) {
            let mut balance = corn(texture, Antecedent::BySurface, when);
            for (at, rain) in rains.into_iter().enumerate() {
                #[expect(clippy::cast_precision_loss, reason = "at most 120 days")]
                let crop_days = Some(at as f64);
                let climate = Climate::STANDARD;
                let before = balance.depletion_mm();
                let day = BalanceDay { rain_mm: Some(rain), demand_mm, crop_days, climate };
                let flux = balance.advance(&day);
                let gained = before - balance.depletion_mm();
                let out = flux.runoff_mm + flux.drained_mm + flux.surface.mm + flux.uptake_mm;
                // A root zone emptied to the wilting point can give no more.
                let empty = balance.depletion_mm() >= balance.available_mm() - 1e-9;
                prop_assert!(empty || (rain - out - gained).abs() < 1e-9);
                prop_assert!((0.0..=1.0).contains(&flux.stress) && flux.runoff_mm <= rain);
            }
        }
    }
}
