//! The crop's course: the growth clock over the days, and when it reaches what is still ahead.

use crate::clocks::corn::Seedbed;
use crate::clocks::growth::{Growth, Outlook, Pace, Planting};
use crate::clocks::heat::DayHeat;
use crate::clocks::{DateRange, Stage};
use crate::reference::crops;
use crate::season::Input;
use crate::season::record::Record;
use crate::season::timeline::{Timeline, gap_days};
use chrono::NaiveDate;

/// The crop on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CropDay {
    pub date: NaiveDate,
    pub growth: Growth,
    /// Heat since planting.
    pub total_gdd: f64,
    /// Whether days without heat make that total a lower bound.
    pub lower_bound: bool,
    /// The stage that the clock shows, lost or not.
    shown: Stage,
    /// Whether so many days are missing that the stage is not known.
    pub lost: bool,
    /// Whether heat that nobody measured, on a day that is over, has moved the stage since it was
    /// last seen.
    pub unmeasured: bool,
}

impl CropDay {
    /// The stage, unless it is lost.
    pub fn stage(&self) -> Option<Stage> {
        (!self.lost).then_some(self.shown)
    }
}

/// The crop from planting to the last day of the timeline.
pub(crate) struct CropCourse {
    pub planted: NaiveDate,
    /// Place of the planting day in the timeline.
    pub starts_at: usize,
    pub days: Vec<CropDay>,
    /// First day of the gap that lost the stage, while it is lost today.
    pub lost_since: Option<NaiveDate>,
    today: usize,
    /// Place of the day from which on no stage was seen until today.
    steady_from: usize,
    /// The days after today; `None` while the stage is lost.
    outlook: Option<Outlook>,
}

impl CropCourse {
    /// Runs the crop planted on `planted`. Heat counts from the day after.
    pub fn run(
        input: &Input<'_>,
        record: &Record,
        timeline: &Timeline,
        planted: NaiveDate,
    ) -> Option<Self> {
        let start = timeline.at(planted)?;
        let growth = plant(input, timeline, start, planted);
        let mut walk = Walk::new(planted, growth, input);
        let mut days = Vec::with_capacity(timeline.days.len() - start);
        days.push(walk.day);
        let mut lost_since = None;
        let mut steady_from = 0;
        for at in start + 1..timeline.days.len() {
            let date = timeline.days[at].date;
            walk.advance(date, timeline.heat[at]);
            if let Some(stage) = record.stages.get(&date) {
                walk.see(*stage);
                steady_from = days.len();
            }
            if date == input.today && walk.day.lost {
                lost_since = Some(walk.missing_since);
            }
            days.push(walk.day);
        }
        let today = timeline.at(input.today)?.checked_sub(start)?;
        let outlook = days.get(today).filter(|day| !day.lost).map(|day| {
            let forecast = &timeline.heat[start + today + 1..];
            let usual = |date| input.cell.usual(date).gdd_f;
            Outlook::lay(day.date, [day.growth; 3], forecast, usual)
        });
        Some(Self { planted, starts_at: start, days, lost_since, today, steady_from, outlook })
    }

    /// The crop today.
    pub fn today(&self) -> &CropDay {
        &self.days[self.today]
    }

    /// Whether the growing point of corn stands above the ground today.
    pub fn growing_point_is_above(&self) -> Option<bool> {
        match self.today().growth {
            Growth::Corn(corn) if !self.today().lost => Some(corn.growing_point_is_above()),
            _ => None,
        }
    }

    /// When the crop first was, or will be, where `reached` says; `None` when its stage is lost
    /// today or the day is not foreseen. `reached` is given a stage and a believable height.
    pub fn when(&self, reached: impl Fn(Stage, Option<f64>) -> bool) -> Option<DateRange> {
        let mut range = self.outlook.as_ref()?.reaching(&reached)?;
        let since = |tall: fn((f64, f64)) -> f64| {
            self.since(|day| reached(day.shown, day.growth.height_in().map(tall)))
        };
        range.earliest = since(|(_, tall)| tall).unwrap_or(range.earliest);
        range.likely = since(|(short, tall)| f64::midpoint(short, tall)).unwrap_or(range.likely);
        range.latest = since(|(short, _)| short).unwrap_or(range.latest);
        Some(range)
    }

    /// First day of the unbroken run up to today on which something holds that, once reached, only
    /// a stage seen can undo.
    fn since(&self, holds: impl Fn(&CropDay) -> bool) -> Option<NaiveDate> {
        let holds = |day: &CropDay| !day.lost && holds(day);
        let (before, steady) = self.days[..=self.today].split_at(self.steady_from);
        if !steady.last().is_some_and(holds) {
            return None;
        }
        let at = steady.partition_point(|day| !holds(day));
        let run_before = before.iter().rev().take_while(|day| at == 0 && holds(day)).last();
        Some(run_before.unwrap_or(&steady[at]).date)
    }

    /// The day the crop came up and the heat it had taken by then.
    pub fn emerged(&self) -> Option<(NaiveDate, f64)> {
        let on = self.since(|day| day.shown >= Stage::Emerged)?;
        let at = usize::try_from((on - self.planted).num_days()).ok()?;
        Some((on, self.days.get(at)?.total_gdd))
    }
}

fn plant(input: &Input<'_>, timeline: &Timeline, at: usize, planted: NaiveDate) -> Growth {
    let dry = timeline.soil[at].water.top_share;
    let planting = Planting {
        crop: input.plan.crop,
        on: planted,
        latitude: input.site.latitude,
        seedbed: Seedbed {
            depth_in: input.plan.depth.get(),
            texture: input.site.texture.group(),
            residue_percent: input.plan.residue_cover.get(),
            dry: dry.map(|share| share < crops::DRY_SEED_ZONE.value),
        },
    };
    Growth::planted(&planting, Pace::Likely)
}

/// The growth clock with what is missing along the way.
struct Walk {
    day: CropDay,
    missing: usize,
    missing_since: NaiveDate,
    bridge: usize,
    today: NaiveDate,
}

impl Walk {
    fn new(planted: NaiveDate, growth: Growth, input: &Input<'_>) -> Self {
        let day = CropDay {
            date: planted,
            growth,
            total_gdd: 0.0,
            lower_bound: false,
            shown: growth.stage(),
            lost: false,
            unmeasured: false,
        };
        let bridge = gap_days(input);
        Self { day, missing: 0, missing_since: planted, bridge, today: input.today }
    }

    fn advance(&mut self, date: NaiveDate, heat: DayHeat) {
        let day = &mut self.day;
        day.date = date;
        day.total_gdd += heat.gdd().unwrap_or_default();
        day.lower_bound |= heat == DayHeat::Unknown;
        if day.growth.runs_on_heat() {
            day.unmeasured |= date < self.today && !heat.is_observed();
            self.count_missing(date, heat);
        }
        self.day.growth.advance(date, heat.gdd());
        self.day.shown = self.day.growth.stage();
    }

    fn count_missing(&mut self, date: NaiveDate, heat: DayHeat) {
        if heat.gdd().is_some() {
            self.missing = 0;
            return;
        }
        if self.missing == 0 && !self.day.lost {
            self.missing_since = date;
        }
        self.missing += 1;
        self.day.lost |= self.missing > self.bridge;
    }

    /// A stage seen finds the stage again.
    fn see(&mut self, stage: Stage) {
        self.day.growth.see(stage);
        self.day.shown = self.day.growth.stage();
        self.day.lost = false;
        self.day.unmeasured = false;
        self.missing = 0;
    }
}
