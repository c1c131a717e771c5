//! Whether the ground is fit for seed: how deep it is moist, how warm it is, what cold lies ahead
//! while the seed drinks.
//!
//! Advice only. One known reason to wait is enough to say so; *ready* needs every number known.

use crate::clocks::seed_zone::{LAYER_IN, LAYERS};
use crate::clocks::soil_temperature::SoilDay;
use crate::reference::seedbeds::{Bed, CHILLING_RAIN_MM, MOIST_SHARE, STEADY_DAYS, WET_SHARE};
use crate::units::fahrenheit;
use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

#[expect(clippy::cast_possible_truncation, reason = "eight layers")]
const BOTTOM: u8 = LAYERS as u8;
/// Step in which a planter's depth is set, inches.
const NOTCH_IN: f64 = 0.25;
const NOTCHES_PER_LAYER: u8 = 2;

/// Weather and soil of one coming day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ahead {
    /// Soil at seed depth, C.
    pub soil: Option<SoilDay>,
    /// Mean of the air, C: near enough the temperature of the rain.
    pub air_c: Option<f64>,
    /// Rain, mm.
    pub rain_mm: Option<f64>,
}

/// What is known of the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground<'a> {
    /// Share of the available water of each layer: 0 wilting point, 1 field capacity.
    pub water: &'a [Option<f64>; LAYERS],
    /// Mean soil temperature at seed depth, C, in order of date; the last day is today.
    pub past_c: &'a [Option<f64>],
    /// The days after today.
    pub ahead: &'a [Ahead],
}

/// Why to wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// Too wet to carry a planter.
    Wet,
    /// Colder than the seed wants.
    Cold,
    /// Warm enough, but cold comes while the seed drinks.
    ColdAhead,
    /// No moist layer within the depths to plant at.
    Dry,
}

/// What the ground says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Moist, warm, and it stays so.
    Ready,
    /// Better to wait.
    Wait(Reason),
}

/// Advice for one crop on one day. Depths in inches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Advice {
    /// Shallowest depth to plant at: in moisture where that is known and within reach.
    pub low_in: f64,
    /// Deepest depth to plant at.
    pub high_in: f64,
    /// Depth at which the moist layers around the seed begin; below the depths to plant at where
    /// only deeper ground is moist.
    pub moist_from_in: Option<f64>,
    /// Mean soil temperature at seed depth today, C.
    pub soil_c: Option<f64>,
    /// First day on which cold threatens seed that is planted today.
    pub cold_on: Option<NaiveDate>,
    /// What the ground says; `None` when nothing known speaks against it but not all is known.
    pub verdict: Option<Verdict>,
}

/// A planting depth against what is usual.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Depth {
    /// Shallower than anybody advises.
    Shallow,
    /// Within what is advised.
    Usual,
    /// Deeper than anybody advises.
    Deep,
}

/// Judges a planting depth, inches.
pub fn judge_depth(bed: &Bed, depth_in: f64) -> Depth {
    if depth_in < bed.warn_outside_in.low {
        Depth::Shallow
    } else if depth_in > bed.warn_outside_in.high {
        Depth::Deep
    } else {
        Depth::Usual
    }
}

/// Advises on planting today.
pub fn advise(bed: &Bed, today: NaiveDate, ground: &Ground<'_>) -> Advice {
    let moisture = moisture(bed, ground.water);
    let (low, high) = match moisture {
        Moisture::Within(low, high) => (low, high),
        Moisture::Dry | Moisture::Unknown => reach(bed),
    };
    let drinking = Drinking { bed, days: ground.ahead };
    Advice {
        low_in: depth_in(low),
        high_in: depth_in(high),
        moist_from_in: moist_from_in(ground.water, low),
        soil_c: ground.past_c.last().copied().flatten(),
        cold_on: drinking.cold_after().and_then(|days| today.checked_add_days(days)),
        verdict: verdict([
            (too_wet(bed, ground.water), Reason::Wet),
            (too_cold(bed, ground.past_c), Reason::Cold),
            (drinking.cold(), Reason::ColdAhead),
            (moisture.is_dry(), Reason::Dry),
        ]),
    }
}

/// The first reason known to hold; ready when each is known not to.
fn verdict(reasons: [(Option<bool>, Reason); 4]) -> Option<Verdict> {
    let holding = reasons.iter().find(|(holds, _)| *holds == Some(true));
    if let Some((_, reason)) = holding {
        return Some(Verdict::Wait(*reason));
    }
    reasons.iter().all(|(holds, _)| holds.is_some()).then_some(Verdict::Ready)
}

/// Whether any holds: yes as soon as one is known to, no only when all are known.
fn any(facts: impl IntoIterator<Item = Option<bool>>) -> Option<bool> {
    facts
        .into_iter()
        .try_fold(Some(false), |so_far, fact| match fact {
            Some(true) => Err(()),
            Some(false) => Ok(so_far),
            None => Ok(None),
        })
        .unwrap_or(Some(true))
}

/// Depth of a planter's notch, inches.
fn depth_in(notch: u8) -> f64 {
    NOTCH_IN * f64::from(notch)
}

/// Layer that seed at a notch lies in; on the line between two, the upper.
fn layer_at(notch: u8) -> u8 {
    notch.div_ceil(NOTCHES_PER_LAYER).saturating_sub(1)
}

fn notches(bed: &Bed) -> impl Iterator<Item = u8> {
    let depths = bed.depth_in;
    let all = 1..=BOTTOM * NOTCHES_PER_LAYER;
    all.filter(move |notch| (depths.low..=depths.high).contains(&depth_in(*notch)))
}

/// Shallowest and deepest notch to plant at.
fn reach(bed: &Bed) -> (u8, u8) {
    notches(bed).fold((u8::MAX, 0), |(low, high), notch| (low.min(notch), high.max(notch)))
}

fn is_moist(water: &[Option<f64>; LAYERS], layer: u8) -> Option<bool> {
    water[usize::from(layer)].map(|share| share >= MOIST_SHARE.value)
}

/// Moisture within the depths to plant at.
#[derive(Debug, Clone, Copy)]
enum Moisture {
    /// From one notch to another.
    Within(u8, u8),
    Dry,
    Unknown,
}

impl Moisture {
    const fn is_dry(self) -> Option<bool> {
        match self {
            Self::Within(..) => Some(false),
            Self::Dry => Some(true),
            Self::Unknown => None,
        }
    }
}

fn moisture(bed: &Bed, water: &[Option<f64>; LAYERS]) -> Moisture {
    let moist = |notch: &u8| is_moist(water, layer_at(*notch));
    let Some(low) = notches(bed).find(|notch| moist(notch) == Some(true)) else {
        let known = notches(bed).all(|notch| moist(&notch).is_some());
        return if known { Moisture::Dry } else { Moisture::Unknown };
    };
    let run = notches(bed).skip_while(|notch| *notch < low);
    let high = run.take_while(|notch| moist(notch) == Some(true)).last().unwrap_or(low);
    Moisture::Within(low, high)
}

/// Top of the moist layers around seed at a notch, or of the first moist ones under it.
fn moist_from_in(water: &[Option<f64>; LAYERS], notch: u8) -> Option<f64> {
    let moist = |layer: &u8| is_moist(water, *layer) == Some(true);
    let around = (layer_at(notch)..BOTTOM).find(moist)?;
    let top = (0..=around).rev().take_while(moist).last()?;
    Some(LAYER_IN * f64::from(top))
}

fn too_wet(bed: &Bed, water: &[Option<f64>; LAYERS]) -> Option<bool> {
    let (_, deepest) = reach(bed);
    let above = &water[..=usize::from(layer_at(deepest))];
    let (sum, count) = above
        .iter()
        .try_fold((0.0, 0.0), |(sum, count), share| Some((sum + (*share)?, count + 1.0)))?;
    Some(sum / count > WET_SHARE.value)
}

fn too_cold(bed: &Bed, past_c: &[Option<f64>]) -> Option<bool> {
    let days = (0..STEADY_DAYS).map(|back| past_c.iter().rev().nth(back).copied().flatten());
    any(days.map(|celsius| Some(fahrenheit(celsius?) < bed.soil_f.value)))
}

/// The days in which seed planted today takes up its first water.
struct Drinking<'a> {
    bed: &'a Bed,
    days: &'a [Ahead],
}

impl Drinking<'_> {
    fn facts(&self) -> impl Iterator<Item = Option<bool>> {
        let hours = self.bed.drink_hours.value;
        let needed = (0_u8..).take_while(move |day| f64::from(*day) * 24.0 < hours);
        needed.map(|day| self.days.get(usize::from(day)).and_then(|day| self.is_cold(day)))
    }

    fn cold(&self) -> Option<bool> {
        any(self.facts())
    }

    /// Days from today to the first that is known to be cold.
    fn cold_after(&self) -> Option<Days> {
        let at = self.facts().position(|fact| fact == Some(true))?;
        Some(Days::new(u64::try_from(at).ok()? + 1))
    }

    fn is_cold(&self, day: &Ahead) -> Option<bool> {
        let soil = day.soil.map(|soil| {
            fahrenheit(soil.mean) < self.bed.soil_f.value
                || fahrenheit(soil.low) <= self.bed.chill_soil_f.value
        });
        any([soil, self.is_chilling_rain(day)])
    }

    /// Rain that is much and cold; one of both known not to hold is enough to deny it.
    fn is_chilling_rain(&self, day: &Ahead) -> Option<bool> {
        let much = day.rain_mm.map(|rain| rain >= CHILLING_RAIN_MM.value);
        let cold = day.air_c.map(|air| fahrenheit(air) < self.bed.chill_water_f.value);
        match (much, cold) {
            (Some(false), _) | (_, Some(false)) => Some(false),
            (Some(true), Some(true)) => Some(true),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::seedbeds::{CORN, SOYBEAN};
    use proptest::prelude::*;

    const MOIST: [Option<f64>; LAYERS] = [Some(0.8); LAYERS];
    const WARM: [Option<f64>; 3] = [Some(13.0); 3];
    const MILD: Ahead = Ahead {
        soil: Some(SoilDay { low: 10.0, mean: 14.0, high: 18.0 }),
        air_c: Some(14.0),
        rain_mm: Some(0.0),
    };

    fn today() -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 4, 25).unwrap()
    }

    fn on(bed: &Bed, water: &[Option<f64>; LAYERS]) -> Advice {
        advise(bed, today(), &Ground { water, past_c: &WARM, ahead: &[MILD; 3] })
    }

    fn dry_down_to(layers: usize) -> [Option<f64>; LAYERS] {
        std::array::from_fn(|layer| Some(if layer < layers { 0.2 } else { 0.8 }))
    }

    #[test]
    fn warm_moist_ground_with_mild_days_ahead_is_ready_at_the_usual_depths() {
        let corn = on(&CORN, &MOIST);
        assert_eq!((corn.low_in, corn.high_in), (1.75, 2.5));
        assert_eq!((corn.moist_from_in, corn.cold_on), (Some(0.0), None));
        assert_eq!(corn.verdict, Some(Verdict::Ready));
        assert_eq!((on(&SOYBEAN, &MOIST).low_in, on(&SOYBEAN, &MOIST).high_in), (1.0, 1.75));
    }

    #[test]
    fn seed_goes_down_to_moisture_but_not_beyond_its_reach() {
        let soybean = on(&SOYBEAN, &dry_down_to(2));
        assert_eq!(
            (soybean.low_in, soybean.high_in, soybean.moist_from_in),
            (1.25, 1.75, Some(1.0))
        );
        assert_eq!(soybean.verdict, Some(Verdict::Ready));

        let soybean = on(&SOYBEAN, &dry_down_to(5));
        assert_eq!(
            (soybean.low_in, soybean.high_in, soybean.moist_from_in),
            (1.0, 1.75, Some(2.5))
        );
        assert_eq!(soybean.verdict, Some(Verdict::Wait(Reason::Dry)));

        // Rain has wetted an inch over dry ground.
        let mut wetted = [Some(0.2); LAYERS];
        wetted[..2].fill(Some(0.9));
        let soybean = on(&SOYBEAN, &wetted);
        assert_eq!((soybean.low_in, soybean.high_in, soybean.moist_from_in), (1.0, 1.0, Some(0.0)));
        assert_eq!(on(&CORN, &wetted).verdict, Some(Verdict::Wait(Reason::Dry)));
    }

    #[test]
    fn one_known_reason_to_wait_is_enough_and_ready_needs_everything_known() {
        let no_water = [None; LAYERS];
        assert_eq!(on(&CORN, &no_water).verdict, None);
        let cold = Ground { water: &no_water, past_c: &[Some(8.0)], ahead: &[] };
        assert_eq!(advise(&CORN, today(), &cold).verdict, Some(Verdict::Wait(Reason::Cold)));
        for missing in
            [Ahead { soil: None, ..MILD }, Ahead { rain_mm: None, air_c: Some(2.0), ..MILD }]
        {
            let ground = Ground { water: &MOIST, past_c: &WARM, ahead: &[missing, MILD] };
            assert_eq!(advise(&CORN, today(), &ground).verdict, None);
        }
        let short = Ground { water: &MOIST, past_c: &WARM[..2], ahead: &[MILD; 2] };
        assert_eq!(advise(&CORN, today(), &short).verdict, None);
        let unseen = Ground { water: &MOIST, past_c: &WARM, ahead: &[MILD] };
        assert_eq!(advise(&CORN, today(), &unseen).verdict, None, "corn drinks for two days");
        assert_eq!(advise(&SOYBEAN, today(), &unseen).verdict, Some(Verdict::Ready));
    }

    #[test]
    fn ground_wetter_than_it_can_hold_waits_first() {
        let ground = Ground { water: &[Some(1.1); LAYERS], past_c: &[Some(5.0); 3], ahead: &[] };
        assert_eq!(advise(&CORN, today(), &ground).verdict, Some(Verdict::Wait(Reason::Wet)));
    }

    fn share() -> impl Strategy<Value = Option<f64>> {
        proptest::option::of(0.0..1.3_f64)
    }

    proptest! {
        #[test]
        fn depths_stay_within_reach_and_ready_means_moist(
            water in proptest::array::uniform8(share()),
        ) {
            for bed in [&CORN, &SOYBEAN] {
                let advice = on(bed, &water);
                prop_assert!(bed.depth_in.low <= advice.low_in);
                prop_assert!(advice.low_in <= advice.high_in);
                prop_assert!(advice.high_in <= bed.depth_in.high);
                prop_assert_eq!(judge_depth(bed, advice.low_in), Depth::Usual);
                if advice.verdict == Some(Verdict::Ready) {
                    prop_assert!(advice.moist_from_in.is_some_and(|from| from < advice.low_in));
                }
            }
        }

        #[test]
        fn colder_days_ahead_never_make_it_ready(
            low in 0.0..15.0_f64, rise in 0.0..8.0_f64, colder in 0.0..8.0_f64,
        ) {
            let verdict = |colder: f64| {
                let soil = SoilDay {
                    low: low - colder,
                    mean: low + rise - colder,
                    high: low + 2.0 * rise - colder,
                };
                let day = Ahead { soil: Some(soil), ..MILD };
                let ground = Ground { water: &MOIST, past_c: &WARM, ahead: &[day; 2] };
                advise(&CORN, today(), &ground).verdict
            };
            if verdict(colder) == Some(Verdict::Ready) {
                prop_assert_eq!(verdict(0.0), Some(Verdict::Ready));
            }
        }
    }
}
