//! Rain on a soil-applied mix: has it been washed to where weed seeds germinate?
//!
//! Counting starts on the day after the pass. Daily rain cannot tell whether the rain of the
//! pass's own day fell before or after it, so that day never counts, whoever reports it.

use crate::findings::ReachBack;
use crate::reference::herbicides::Ingredient;
use crate::site::TextureGroup;
use crate::units::{Inches, Millimetres};
use crate::weather::Sourced;
use chrono::NaiveDate;
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
    /// Some rain has counted, or some partners are set and others not.
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
    /// State of the mix, which is that of its neediest partner.
    pub state: MixState,
    /// Day on which the neediest partner had its rain.
    pub set_on: Option<NaiveDate>,
    /// Rain since the pass, inches. A lower bound while `missing_days` is not zero.
    pub rain_in: f64,
    /// Rain since the pass at which the neediest partner is set, inches.
    pub need_in: f64,
    /// The neediest partner.
    pub neediest: Ingredient,
    /// Days since the pass whose rain is not known.
    pub missing_days: u32,
    /// More rain than the range in which pre herbicides worked well.
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

/// One partner of the mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Partner {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// Rain it wants on this soil when the soil is moist, inches.
    pub need_in: f64,
    /// Day on which measured rain was enough.
    pub set_on: Option<NaiveDate>,
    /// Day on which rain is enough with models and forecasts added.
    pub expected_set_on: Option<NaiveDate>,
}

/// The activation clock over a run of days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Activation {
    /// The partners that wait for rain.
    pub partners: Vec<Partner>,
    /// One state for each day given after the pass; empty when no partner waits for rain.
    pub days: Vec<DayState>,
}

/// Runs the clock. `days` in order of date; a date left out is a day of unknown rain.
pub fn run(pass: &Pass<'_>, days: &[RainDay]) -> Activation {
    let _ = (pass, days);
    Activation { partners: Vec::new(), days: Vec::new() }
}

/// What the mix may still do to weeds that were up before the rain came.
///
/// `waited_days` from the pass to the rain; `tallest` is the tallest weed seen, if anybody looked.
pub fn reach_back(
    ingredients: &[Ingredient],
    waited_days: u32,
    tallest: Option<Inches>,
) -> ReachBack {
    let _ = (ingredients, waited_days, tallest);
    ReachBack::None
}
