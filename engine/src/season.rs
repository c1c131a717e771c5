//! One field, one season: all clocks run together over the field's weather and journal.
//!
//! Nothing is carried over from an earlier run. A late rain reading or a corrected entry is put
//! into the input, and every day after it comes out right.

mod crop;
mod feed;
mod own_normal;
mod post;
mod pre;
mod record;
mod timeline;
mod weeds;

pub use feed::{
    EARLY_STAGE, LAST_STAGE, LAST_STAGE_FOR_YIELD, NitrogenRow, Sidedress, USUAL_STAGE,
};
pub use own_normal::own_normal;
pub use post::{Opening, PostWindow};
pub use timeline::SoilRow;
pub use weeds::WeedUp;

pub(crate) use crop::CropCourse;
pub(crate) use feed::{Feed, LEAST_PASS};
pub(crate) use pre::{Holding, PreCourse};
pub(crate) use record::Record;
pub(crate) use timeline::{Timeline, gap_days};

use post::Around;

use crate::cell::{Air, Cell};
use crate::clocks::activation::DayState;
use crate::clocks::heat::DayHeat;
use crate::clocks::nitrogen::{Basis, Normal};
use crate::clocks::residual::PartnerEnd;
use crate::clocks::{DateRange, Stage};
use crate::findings::Finding;
use crate::journal::Entry;
use crate::labels::LabelFact;
use crate::plan::Plan;
use crate::reference::herbicides::Ingredient;
use crate::reference::seedbeds;
use crate::rules;
use crate::site::Site;
use crate::thresholds::Thresholds;
use crate::weather::{Hour, Kind};
use arrayvec::ArrayVec;
use chrono::NaiveDate;
use serde::Serialize;

/// Everything a season is computed from.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// Place and soil.
    pub site: &'a Site,
    /// What is meant for the field.
    pub plan: &'a Plan,
    /// What happened, in any order; entries dated after `today` are ignored.
    pub journal: &'a [Entry],
    /// Weather of the field's place, observed and forecast. What it says of days after `today`
    /// counts as forecast, whatever it calls itself.
    pub cell: &'a Cell,
    /// The field's own usual year, from [`own_normal`]; `None` where its past is not known, and the
    /// cell's stated one stands.
    pub normal: Option<&'a Normal>,
    /// The hours ahead in order of time; empty where no forecast by the hour is at hand.
    pub hours: &'a [Hour],
    /// What the book confirms of the labels in use.
    pub labels: &'a [LabelFact],
    /// The numbers in force for the field.
    pub thresholds: &'a Thresholds,
    /// The local day as of which findings are wanted.
    pub today: NaiveDate,
}

impl<'a> Input<'a> {
    /// The usual year of the field's soil: its own, or the stated one of its cell.
    pub(crate) fn usual_soil(&self) -> &'a Normal {
        self.normal.unwrap_or_else(|| self.cell.normal())
    }
}

/// What a season shows as of its `today`, without its rows.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Found {
    /// Where things stand today; `None` before anything has happened.
    pub now: Option<Now>,
    /// What it shows today.
    pub findings: Vec<Finding>,
}

/// The season as of its `today`.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Season {
    /// One row a day from planting (or the first pass) to the last day of weather, three weeks
    /// past today at most. Empty before anything has happened.
    pub days: Vec<DayRow>,
    /// Where things stand today; `None` before anything has happened.
    pub now: Option<Now>,
    /// What it shows today.
    pub findings: Vec<Finding>,
}

impl Season {
    /// The row of today.
    pub fn today(&self) -> Option<&DayRow> {
        let today = self.now.as_ref()?.date;
        self.days.iter().find(|row| row.date == today)
    }
}

/// Where a field stands today.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Now {
    /// Today.
    pub date: NaiveDate,
    /// Day of planting, once planted.
    pub planted_on: Option<NaiveDate>,
    /// When the crop came up: one day where it was seen, a range by the clock.
    pub emerged_on: Option<DateRange>,
    /// Crop stage; `None` before planting and while missing weather hides it.
    pub stage: Option<Stage>,
    /// Whether the growing point of corn stands above the ground.
    pub growing_point_above: Option<bool>,
    /// The last pre pass.
    pub pre: Option<PreNow>,
    /// What the last post pass left in the soil, where a partner of it works there.
    pub renewal: Option<PreNow>,
    /// When all that rain has set wears off against the field's weeds.
    pub residual_ends: Option<DateRange>,
    /// When each named weed comes up (or the one that stands in); empty before planting.
    pub weeds: Vec<WeedUp>,
    /// When the crop closes its rows; `None` where no figure is known for them.
    pub canopy_closes: Option<DateRange>,
    /// The last post pass since planting.
    pub post_applied_on: Option<NaiveDate>,
    /// The post window, where one is in sight.
    pub post_window: Option<PostWindow>,
    /// The last sidedress since planting.
    pub sidedressed_on: Option<NaiveDate>,
    /// The sidedress window, where one is in sight.
    pub sidedress: Option<Sidedress>,
    /// What the normal that the soil's nitrogen is measured against rests on; corn only.
    pub normal: Option<Basis>,
}

/// The last pass of a kind that works through the soil, as of today.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PreNow {
    /// Day of the pass.
    pub applied_on: NaiveDate,
    /// Rain on the mix; `None` on the day of the pass and where nothing in it waits for rain.
    pub rain: Option<DayState>,
    /// Days since the pass whose rain nobody measured; today counts once it is over.
    pub unmeasured_days: u32,
    /// When it wears off against the field's weeds, once rain has set it.
    pub ends: Option<DateRange>,
    /// The same for each partner.
    pub partners: Vec<PartnerEnd>,
    /// More measured rain soon after the pass than pre herbicides worked well with.
    pub too_much_rain: bool,
    /// Whether the rain was so far above that of a usual month that trials saw weeds held less;
    /// `None` where nothing is published of the mix or the usual month is not known.
    pub drowned: Option<bool>,
}

impl PreNow {
    fn of(pass: &PreCourse, input: &Input<'_>) -> Self {
        Self {
            applied_on: pass.applied_on,
            rain: pass.now().copied(),
            unmeasured_days: pass.unmeasured_days(),
            ends: pass.ends(input),
            partners: pass
                .residual
                .as_ref()
                .map_or(Vec::new(), |residual| residual.per_ingredient.clone()),
            too_much_rain: pass.too_much_rain(),
            drowned: pass.drowned(input),
        }
    }
}

/// Partners of a mix that the row of a day lists; the clocks run for every partner there is.
pub const LISTED_PARTNERS: usize = 8;

/// Something of each partner of a mix, held in the row itself so that a season of rows is one
/// piece of memory.
pub type PartnerRows<T> = ArrayVec<T, LISTED_PARTNERS>;

/// One day of a season.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DayRow {
    /// The local day.
    pub date: NaiveDate,
    /// Whether any of the day's weather was not measured.
    pub provisional: bool,
    /// Heat of the day, GDD in F.
    pub gdd_f: Option<f64>,
    /// Whether that heat was bridged from its neighbours.
    pub gdd_estimated: bool,
    /// Heat since planting, GDD in F; a lower bound where `unknown` names heat.
    pub gdd_total_f: Option<f64>,
    /// Crop stage.
    pub stage: Option<Stage>,
    /// Rain of the day, inches.
    pub rain_in: Option<f64>,
    /// The soil.
    pub soil: SoilRow,
    /// Each partner of the last pre pass that waits for rain, from the day after the pass on.
    pub activation: PartnerRows<ActivationRow>,
    /// Each partner of the last pre pass that rain has set.
    pub residual: PartnerRows<ResidualRow>,
    /// The post window as it lies over this day.
    pub post_window: Option<WindowRow>,
    /// The sidedress window as it lies over this day.
    pub sidedress: Option<WindowRow>,
    /// Corn nitrogen.
    pub nitrogen: Option<NitrogenRow>,
    /// What is missing.
    pub unknown: ArrayVec<Unknown, { Unknown::KINDS }>,
}

/// One partner of the pre on one day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ActivationRow {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// Rain since the pass, inches; a lower bound where rain is missing.
    pub rain_in: f64,
    /// Rain it wants, inches, on moist soil.
    pub need_in: f64,
    /// Whether rain has set it by that day, measured or not.
    pub set: bool,
}

/// One partner of the pre on one day after rain has set it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ResidualRow {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// How far it has worn off by that day.
    pub state: ResidualState,
}

/// How far a residual has worn off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ResidualState {
    /// Before the earliest believable end.
    Working,
    /// Between the earliest and the latest believable end.
    Fading,
    /// After it.
    WornOff,
}

/// A window on one day, as seen from today.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WindowRow {
    /// How it lies over the day.
    pub state: WindowState,
    /// First day of it; `None` while nothing has opened it.
    pub opens: Option<NaiveDate>,
    /// When it closes.
    pub closes: DateRange,
}

/// How a window lies over a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindowState {
    /// Not open yet.
    Ahead,
    /// Open.
    Open,
    /// Between the earliest and the latest believable close.
    Closing,
    /// Closed.
    Closed,
}

/// What is missing on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unknown {
    /// The day's temperatures, or those of an earlier day of this crop.
    Heat,
    /// The day's rain.
    Rain,
    /// The crop stage.
    Stage,
    /// Soil temperature.
    SoilTemperature,
    /// Soil water, after missing rain.
    SoilWater,
}

impl Unknown {
    /// How many there are.
    pub const KINDS: usize = 5;
}

/// The clocks of one field after they have run.
pub(crate) struct Course<'a> {
    pub input: &'a Input<'a>,
    pub record: Record,
    /// First day of the season; `None` before anything has happened.
    begun: Option<NaiveDate>,
    pub timeline: Timeline,
    pub crop: Option<CropCourse>,
    pub pre: Option<PreCourse>,
    /// What the last post pass left in the soil.
    pub renewal: Option<PreCourse>,
    /// When the named weeds come up.
    pub ups: Vec<WeedUp>,
    /// When the rows close.
    pub canopy: Option<DateRange>,
    pub post: Option<PostWindow>,
    pub feed: Option<Feed>,
}

/// Runs one season: rows, where things stand, and findings.
pub fn run(input: &Input<'_>) -> Season {
    Course::of(input).map_or_else(Season::default, |course| Season {
        days: course.rows(),
        now: course.now(),
        findings: rules::find(&course),
    })
}

/// The same season without the rows, for a caller that keeps none: it costs less and is smaller.
pub fn find(input: &Input<'_>) -> Found {
    Course::of(input).map_or_else(Found::default, |course| Found {
        now: course.now(),
        findings: rules::find(&course),
    })
}

impl<'a> Course<'a> {
    /// Runs the clocks; `None` when nothing has happened and it is no time to plant.
    fn of(input: &'a Input<'a>) -> Option<Self> {
        let record = Record::read(input.journal, input.plan, input.today);
        let sprayed = record.pre.as_ref().map(|pre| pre.date);
        let begun = record.planted.into_iter().chain(sprayed).min();
        let season = seedbeds::of(input.plan.crop.kind()).season;
        let opened = season.opened(input.today).filter(|_| record.planted.is_none());
        let start = begun.into_iter().chain(opened).min()?;
        let timeline = Timeline::lay(input, &record, start);
        let crop =
            record.planted.and_then(|planted| CropCourse::run(input, &record, &timeline, planted));
        let pre = record.pre.as_ref().and_then(|pre| PreCourse::run(input, &timeline, pre));
        let renewal = PreCourse::after_post(input, &timeline, &record);
        let holding = Holding { pre: pre.as_ref(), post: renewal.as_ref() };
        let canopy = crop.as_ref().and_then(|crop| weeds::closure(input, crop));
        let ups = crop.as_ref().map_or_else(Vec::new, |crop| {
            weeds::come_up(input, &timeline, post::unheld(input, &record, &holding, crop))
        });
        let post = crop.as_ref().and_then(|crop| {
            let (record, timeline, ups) = (&record, &timeline, &*ups);
            Around { record, timeline, crop, holding, ups, canopy }.window(input)
        });
        let feed = crop.as_ref().and_then(|crop| Feed::run(input, &record, &timeline, crop));
        Some(Self { input, record, begun, timeline, crop, pre, renewal, ups, canopy, post, feed })
    }

    /// What holds weeds back through the soil.
    pub fn holding(&self) -> Holding<'_> {
        Holding { pre: self.pre.as_ref(), post: self.renewal.as_ref() }
    }

    /// The sidedress window, where one is in sight.
    pub fn sidedress(&self) -> Option<Sidedress> {
        self.feed.as_ref()?.sidedress
    }

    fn now(&self) -> Option<Now> {
        self.begun?;
        let input = self.input;
        Some(Now {
            date: input.today,
            planted_on: self.record.planted,
            emerged_on: self.crop.as_ref().and_then(|crop| Some(crop.emerged()?.0)),
            stage: self.crop.as_ref().and_then(|crop| crop.today().stage()),
            growing_point_above: self.crop.as_ref().and_then(CropCourse::growing_point_is_above),
            pre: self.pre.as_ref().map(|pre| PreNow::of(pre, input)),
            renewal: self.renewal.as_ref().map(|post| PreNow::of(post, input)),
            residual_ends: self.holding().ends(input),
            weeds: self.ups.clone(),
            canopy_closes: self.canopy,
            post_applied_on: self.record.sprayed_over_on(),
            post_window: self.post,
            sidedressed_on: self.record.sidedressed.map(|(on, _)| on),
            sidedress: self.sidedress(),
            normal: self.feed.as_ref().map(|_| input.usual_soil().basis()),
        })
    }

    fn rows(&self) -> Vec<DayRow> {
        let first = self.begun.and_then(|begun| self.timeline.at(begun));
        let first = first.unwrap_or(self.timeline.days.len());
        (first..self.timeline.days.len()).map(|at| self.row(at)).collect()
    }

    fn row(&self, at: usize) -> DayRow {
        let day = &self.timeline.days[at];
        let heat = self.timeline.heat[at];
        let crop = self.crop.as_ref().and_then(|course| {
            let at = at.checked_sub(course.starts_at)?;
            Some((at, course.days.get(at)?))
        });
        let nitrogen = crop.and_then(|(at, _)| self.feed.as_ref()?.rows.get(at)).copied();
        let mut row = DayRow {
            date: day.date,
            provisional: !is_measured(day),
            gdd_f: heat.gdd(),
            gdd_estimated: matches!(heat, DayHeat::Bridged { .. }),
            gdd_total_f: crop.map(|(_, crop)| crop.total_gdd),
            stage: crop.and_then(|(_, crop)| crop.stage()),
            rain_in: day.rain.map(|rain| rain.value.inches()),
            soil: self.timeline.soil[at],
            activation: self.activation(day.date),
            residual: self.residual(day.date),
            post_window: self.post_state(day.date),
            sidedress: self.sidedress_state(day.date),
            nitrogen,
            unknown: ArrayVec::new(),
        };
        let heat_unknown = row.gdd_f.is_none() || crop.is_some_and(|(_, crop)| crop.lower_bound);
        row.unknown = [
            (heat_unknown, Unknown::Heat),
            (row.rain_in.is_none(), Unknown::Rain),
            (crop.is_some_and(|(_, crop)| crop.lost), Unknown::Stage),
            (row.soil.temperature_c.is_none(), Unknown::SoilTemperature),
            (row.soil.water.root_share.is_none(), Unknown::SoilWater),
        ]
        .into_iter()
        .filter_map(|(missing, what)| missing.then_some(what))
        .collect();
        row
    }

    fn activation(&self, date: NaiveDate) -> PartnerRows<ActivationRow> {
        let Some((pre, state)) =
            self.pre.as_ref().and_then(|pre| Some((pre, pre.activation.on(date)?)))
        else {
            return PartnerRows::new();
        };
        pre.activation
            .partners
            .iter()
            .take(LISTED_PARTNERS)
            .map(|partner| ActivationRow {
                ingredient: partner.ingredient,
                rain_in: state.expected.rain_in,
                need_in: partner.need_in,
                set: partner.expected_set_on.is_some_and(|set_on| set_on <= date),
            })
            .collect()
    }

    fn residual(&self, date: NaiveDate) -> PartnerRows<ResidualRow> {
        let set = self.pre.as_ref().filter(|pre| pre.set_on().is_some_and(|on| on <= date));
        let Some(residual) = set.and_then(|pre| pre.residual.as_ref()) else {
            return PartnerRows::new();
        };
        residual
            .per_ingredient
            .iter()
            .take(LISTED_PARTNERS)
            .map(|partner| ResidualRow {
                ingredient: partner.ingredient,
                state: if date < partner.ends.earliest {
                    ResidualState::Working
                } else if date <= partner.ends.latest {
                    ResidualState::Fading
                } else {
                    ResidualState::WornOff
                },
            })
            .collect()
    }

    fn post_state(&self, date: NaiveDate) -> Option<WindowRow> {
        let window = self.post?;
        let opens = window.opening.map(|opening| opening.on);
        Some(WindowRow { state: lie(date, opens, &window.closes), opens, closes: window.closes })
    }

    fn sidedress_state(&self, date: NaiveDate) -> Option<WindowRow> {
        let window = self.sidedress()?;
        let opens = Some(window.opens.likely);
        Some(WindowRow { state: lie(date, opens, &window.latest), opens, closes: window.latest })
    }
}

fn lie(date: NaiveDate, opens: Option<NaiveDate>, closes: &DateRange) -> WindowState {
    let open = opens.is_some_and(|opens| opens <= date);
    if date > closes.latest {
        WindowState::Closed
    } else if date >= closes.earliest && open {
        WindowState::Closing
    } else if open {
        WindowState::Open
    } else {
        WindowState::Ahead
    }
}

fn is_measured(day: &Air) -> bool {
    let measured = |kind: Option<Kind>| kind.is_some_and(Kind::is_observed);
    measured(day.high.map(|value| value.kind))
        && measured(day.low.map(|value| value.kind))
        && measured(day.rain.map(|value| value.kind))
}
