//! Rain on a soil-applied mix: has it been washed to where weed seeds germinate?
//!
//! # Rules
//!
//! - Counting starts on the day after the pass. Daily rain cannot tell whether the rain of the
//!   pass's own day fell before or after it, so that day never counts, whoever reports it.
//! - Rain counts from [`soil::LEAST_SPELL_IN`] in two days on; less wets the surface only. What
//!   counts adds up.
//! - Rain on a dry topsoil counts for less ([`soil::DRY_TOPSOIL_FACTOR`]), since the surface has
//!   to wet first.
//! - A partner is set when what has counted reaches its need on that texture, and is more than the
//!   rain on which trials saw it fail. The mix is set when its neediest partner is.
//! - A day whose rain is not known adds nothing and is counted as missing; the sum is then a lower
//!   bound, never a dry spell.

use crate::clocks::effective;
use crate::findings::ReachBack;
use crate::plan::Resistance;
use crate::reference::Source;
use crate::reference::herbicides::Ingredient;
use crate::reference::herbicides::soil::{self, SoilRow};
use crate::reference::herbicides::spectrum::Way;
use crate::reference::weeds::Weed;
use crate::site::TextureGroup;
use crate::units::{Inches, MM_PER_INCH, Millimetres};
use crate::weather::Sourced;
use chrono::{Days, NaiveDate};
use serde::Serialize;

/// A pass of soil-applied herbicide.
#[derive(Debug, Clone, Copy)]
pub struct Pass<'a> {
    /// The local day of the pass.
    pub date: NaiveDate,
    /// What went on; ingredients that do not wait for rain are passed over.
    pub ingredients: &'a [Ingredient],
    /// Texture of the topsoil.
    pub texture: TextureGroup,
}

/// One day's rain as the activation clock sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RainDay {
    /// The local day.
    pub date: NaiveDate,
    /// Rain of the day; `None` when nobody knows.
    pub rain: Option<Sourced<Millimetres>>,
    /// Whether the top few inches were dry before that rain.
    pub topsoil_dry: bool,
}

/// How far rain has brought a mix, or one partner of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MixState {
    /// No rain has counted yet.
    Waiting,
    /// Some rain has counted, not enough for the neediest partner.
    PartlyActive,
    /// Set by rain within the window.
    Active,
    /// Set by rain after the window: weeds may have come through before.
    Late,
    /// Not set for so long that it is not counted on any more.
    Missed,
}

/// Rain counted for the mix up to and with one day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Tally {
    /// State of the mix: that of its neediest partner, and late when any partner was.
    pub state: MixState,
    /// Day on which the neediest partner had its rain.
    pub set_on: Option<NaiveDate>,
    /// Rain since the pass, inches. A lower bound while `missing_days` is not zero.
    pub rain_in: f64,
    /// The part of it that counted, inches.
    pub counted_in: f64,
    /// What has counted over what the neediest partner wants, at most 1. Even at 1 a partner is not
    /// set on rain that trials saw it fail on.
    pub credit: f64,
    /// Rain since the pass at which the neediest partner is set, were the rest to fall on the
    /// topsoil of this day, inches.
    pub need_in: f64,
    /// The neediest partner.
    pub neediest: Ingredient,
    /// Days since the pass whose rain is not known.
    pub missing_days: u32,
    /// More rain in the first 15 days than the range in which pre herbicides worked well
    /// ([`soil::GOOD_RAIN_MM`]): some may have been washed too deep, first of all on coarse soil.
    pub too_much: bool,
}

/// The mix on one day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DayState {
    /// The local day.
    pub date: NaiveDate,
    /// Whole days since the pass.
    pub waited_days: u32,
    /// By measured rain alone.
    pub firm: Tally,
    /// With rain from models and forecasts added where nothing was measured.
    pub expected: Tally,
}

impl DayState {
    /// Whether the expected state rests on rain that nobody measured.
    pub fn is_provisional(&self) -> bool {
        self.firm.state != self.expected.state
    }
}

/// One partner of the mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Partner {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// Rain it wants on this texture when the topsoil is moist, inches.
    pub need_in: f64,
    /// Days from the pass within which the rain should come.
    pub window_days: u32,
    /// Days on a dry surface after which it is not counted on any more.
    pub dry_life_days: u32,
    /// Day on which measured rain was enough.
    pub set_on: Option<NaiveDate>,
    /// Day on which rain is enough with models and forecasts added.
    pub expected_set_on: Option<NaiveDate>,
    /// Rain that was not enough in trials, inches.
    #[serde(skip)]
    failed_up_to_in: f64,
    /// Last day within the window.
    #[serde(skip)]
    due: NaiveDate,
}

impl Partner {
    fn new(row: &SoilRow, pass: &Pass<'_>) -> Option<Self> {
        let rain = row.rain?;
        Some(Self {
            ingredient: row.ingredient,
            need_in: rain.on(pass.texture),
            window_days: u32::from(rain.window_days),
            dry_life_days: row.dry_life_days,
            set_on: None,
            expected_set_on: None,
            failed_up_to_in: rain.failed_up_to_in(),
            due: pass.date + Days::new(u64::from(rain.window_days)),
        })
    }

    fn is_enough(&self, counted_in: f64) -> bool {
        counted_in >= self.need_in - ROUNDING_IN && counted_in > self.failed_up_to_in + ROUNDING_IN
    }
}

/// The activation clock over a run of days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Activation {
    /// Day of the pass.
    pub applied_on: NaiveDate,
    /// The partners that wait for rain; empty when none does.
    pub partners: Vec<Partner>,
    /// One state for each day given after the pass; empty when no partner waits for rain.
    pub days: Vec<DayState>,
}

impl Activation {
    /// The state on a day, if that day was given.
    pub fn on(&self, date: NaiveDate) -> Option<&DayState> {
        self.days.binary_search_by_key(&date, |day| day.date).ok().map(|at| &self.days[at])
    }

    /// Whether so much rain came in the first 14 days that pendimethalin held green foxtail less in
    /// trials; `usual_month_mm` is the rain of a usual month.
    ///
    /// `None` where nothing is published of the mix, or not all of the 14 days are known and what
    /// is known is not enough to tell.
    pub fn drowned(&self, usual_month_mm: f64) -> Option<bool> {
        self.partners.iter().find(|partner| partner.ingredient == soil::DROWNED)?;
        let early = self.days.iter().take_while(|day| day.waited_days <= DROWNED_DAYS).last()?;
        let over = early.firm.rain_in * MM_PER_INCH >= soil::DROWNED_SHARE * usual_month_mm;
        let complete = early.waited_days == DROWNED_DAYS && early.firm.missing_days == 0;
        (over || complete).then_some(over)
    }
}

/// Days after the pass over which [`Activation::drowned`] looks.
const DROWNED_DAYS: u32 = 14;

/// Slack that keeps a sum of rounded rain from falling short of a round need, inches.
const ROUNDING_IN: f64 = 1e-6;

/// Days after the pass over which too much rain is looked for.
const EARLY_DAYS: u32 = 15;

/// Runs the clock. `days` in order of date; a date left out is a day of unknown rain.
pub fn run(pass: &Pass<'_>, days: &[RainDay]) -> Activation {
    let mut partners: Vec<Partner> = pass
        .ingredients
        .iter()
        .filter_map(|&ingredient| Partner::new(soil::row(ingredient)?, pass))
        .collect();
    let days = match index_of_neediest(&partners) {
        Some(neediest) => advance(pass.date, &mut partners, neediest, days),
        None => Vec::new(),
    };
    Activation { applied_on: pass.date, partners, days }
}

/// What counts is the same for all partners, so the one that wants most is always set last.
fn index_of_neediest(partners: &[Partner]) -> Option<usize> {
    (0..partners.len()).max_by(|&a, &b| partners[a].need_in.total_cmp(&partners[b].need_in))
}

fn advance(
    applied_on: NaiveDate,
    partners: &mut [Partner],
    neediest: usize,
    days: &[RainDay],
) -> Vec<DayState> {
    let first = days.partition_point(|day| day.date <= applied_on);
    let mut states = Vec::with_capacity(days.len() - first);
    let mut firm = Gauge::default();
    // One and the same until a day's rain was not measured.
    let mut expected: Option<Gauge> = None;
    for day in &days[first..] {
        let waited_days = whole_days(applied_on, day.date);
        let rain_in = day.rain.map(|rain| rain.value.inches());
        let measured_in = rain_in.filter(|_| day.rain.is_some_and(|rain| rain.kind.is_observed()));
        if rain_in != measured_in {
            expected = expected.or(Some(firm));
        }
        firm.add(waited_days, measured_in, day.topsoil_dry);
        if let Some(expected) = &mut expected {
            expected.add(waited_days, rain_in, day.topsoil_dry);
        }
        for partner in partners.iter_mut() {
            let in_life = waited_days <= partner.dry_life_days;
            if in_life && partner.set_on.is_none() && partner.is_enough(firm.counted_in) {
                partner.set_on = Some(day.date);
            }
            let counted_in = expected.as_ref().unwrap_or(&firm).counted_in;
            if in_life && partner.expected_set_on.is_none() && partner.is_enough(counted_in) {
                partner.expected_set_on = Some(day.date);
            }
        }
        let tally = |gauge: &Gauge, set_on: fn(&Partner) -> Option<NaiveDate>| {
            let mix = Mix { partners, neediest, set_on };
            gauge.tally(&mix, waited_days, day.topsoil_dry)
        };
        let measured = tally(&firm, |partner| partner.set_on);
        states.push(DayState {
            date: day.date,
            waited_days,
            firm: measured,
            expected: expected
                .as_ref()
                .map_or(measured, |expected| tally(expected, |partner| partner.expected_set_on)),
        });
    }
    states
}

/// The partners as one kind of rain has set them.
struct Mix<'a> {
    partners: &'a [Partner],
    neediest: usize,
    set_on: fn(&Partner) -> Option<NaiveDate>,
}

impl Mix<'_> {
    fn state(&self, waited_days: u32, counted_in: f64) -> MixState {
        let neediest = &self.partners[self.neediest];
        match (self.set_on)(neediest) {
            Some(_) if self.partners.iter().all(|partner| self.was_in_time(partner)) => {
                MixState::Active
            }
            Some(_) => MixState::Late,
            None if waited_days > neediest.dry_life_days => MixState::Missed,
            None if counted_in > 0.0 => MixState::PartlyActive,
            None => MixState::Waiting,
        }
    }

    fn was_in_time(&self, partner: &Partner) -> bool {
        (self.set_on)(partner).is_some_and(|date| date <= partner.due)
    }
}

/// Sums rain since the pass, and the part of it that counts.
#[derive(Debug, Clone, Copy, Default)]
struct Gauge {
    total_in: f64,
    counted_in: f64,
    early_in: f64,
    known_days: u32,
    last: Option<Shower>,
}

/// Rain of the last day that was known.
#[derive(Debug, Clone, Copy)]
struct Shower {
    waited_days: u32,
    rain_in: f64,
    worth_in: f64,
    counted: bool,
}

impl Gauge {
    fn add(&mut self, waited_days: u32, rain_in: Option<f64>, topsoil_dry: bool) {
        let Some(rain_in) = rain_in else { return };
        self.known_days += 1;
        self.total_in += rain_in;
        if waited_days <= EARLY_DAYS {
            self.early_in += rain_in;
        }
        let yesterday = self.last.filter(|last| last.waited_days + 1 == waited_days);
        let spell_in = rain_in + yesterday.map_or(0.0, |last| last.rain_in);
        let worth_in = rain_in / dryness(topsoil_dry);
        let counted = spell_in >= soil::LEAST_SPELL_IN - ROUNDING_IN;
        if counted {
            let held_back = yesterday.filter(|last| !last.counted);
            self.counted_in += worth_in + held_back.map_or(0.0, |last| last.worth_in);
        }
        self.last = Some(Shower { waited_days, rain_in, worth_in, counted });
    }

    fn tally(&self, mix: &Mix<'_>, waited_days: u32, topsoil_dry: bool) -> Tally {
        let neediest = &mix.partners[mix.neediest];
        let set_on = (mix.set_on)(neediest);
        let still_wanted = (neediest.need_in - self.counted_in).max(0.0) * dryness(topsoil_dry);
        let need_in =
            if set_on.is_some() { neediest.need_in } else { self.total_in + still_wanted };
        Tally {
            state: mix.state(waited_days, self.counted_in),
            set_on,
            rain_in: self.total_in,
            counted_in: self.counted_in,
            credit: (self.counted_in / neediest.need_in).min(1.0),
            need_in,
            neediest: neediest.ingredient,
            missing_days: waited_days - self.known_days,
            too_much: self.early_in * MM_PER_INCH > soil::GOOD_RAIN_MM.1,
        }
    }
}

const fn dryness(topsoil_dry: bool) -> f64 {
    if topsoil_dry { soil::DRY_TOPSOIL_FACTOR } else { 1.0 }
}

fn whole_days(from: NaiveDate, to: NaiveDate) -> u32 {
    u32::try_from((to - from).num_days()).unwrap_or(0)
}

/// What the mix may still do to weeds that were up before the rain came.
///
/// `waited_days` from the pass to the rain; `tallest` is the tallest weed seen, if anybody looked.
pub fn reach_back(
    ingredients: &[Ingredient],
    waited_days: u32,
    tallest: Option<Inches>,
) -> ReachBack {
    let reaches = ingredients.iter().filter_map(|&one| soil::row(one)?.reach).any(|reach| {
        waited_days <= reach.within_days
            && tallest.is_none_or(|height| height.get() <= reach.weed_in)
    });
    if reaches { ReachBack::SmallBroadleaves } else { ReachBack::None }
}

/// A partner that may still catch a weed that was up before the rain.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rescue {
    /// The partner.
    pub ingredient: Ingredient,
    /// Whether it shows by whitening the weed.
    pub whitens: bool,
    /// Days after the rain from and to which to look.
    pub look_after_days: (u32, u32),
    /// Where the reach comes from.
    pub source: Source,
}

/// The partner that may still catch one weed of the field, if any: a gamble that calls for a look.
///
/// `waited_days` from the pass to the rain; `tallest` is how tall the weed was seen.
pub fn rescue(
    ingredients: &[Ingredient],
    waited_days: u32,
    weed: Weed,
    tallest: Inches,
    resistant: &[Resistance],
) -> Option<Rescue> {
    ingredients.iter().find_map(|&ingredient| {
        let reach = soil::row(ingredient)?.reach?;
        let reaches = waited_days <= reach.within_days && tallest.get() <= reach.weed_in;
        let catches = reaches && effective::works(ingredient, weed, Way::Leaf, resistant);
        catches.then(|| Rescue {
            ingredient,
            whitens: ingredient.group() == soil::WHITENING_GROUP,
            look_after_days: soil::WHITENING_DAYS,
            source: reach.source,
        })
    })
}

#[cfg(test)]
mod tests;
