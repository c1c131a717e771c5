//! The crop's course: the growth clock over the days, and when it reaches what is still ahead.
//!
//! Three crops run side by side, one at each pace, and a stage seen sets all three. The stage shown
//! is the likely one's; the other two say how far out a date may be.

use crate::clocks::corn::Seedbed;
use crate::clocks::growth::{Growth, Outlook, Pace, Planting};
use crate::clocks::heat::DayHeat;
use crate::clocks::seed_zone::{LAYER_IN, LAYERS};
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
    /// The crop at its likely pace.
    pub growth: Growth,
    /// The same crop at the ends of what is published.
    fast: Growth,
    slow: Growth,
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

    fn advance(&mut self, date: NaiveDate, heat: DayHeat) {
        for growth in [&mut self.fast, &mut self.growth, &mut self.slow] {
            growth.advance(date, heat.gdd());
        }
        self.shown = self.growth.stage();
    }

    fn see(&mut self, stage: Stage) {
        for growth in [&mut self.fast, &mut self.growth, &mut self.slow] {
            growth.see(stage);
        }
        self.shown = self.growth.stage();
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
    /// Days on which somebody saw the crop come up.
    seen_up: Vec<NaiveDate>,
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
        let planting = planting(input, timeline, start, planted);
        let mut walk = Walk::new(&planting, input);
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
            Outlook::lay(day.date, [day.fast, day.growth, day.slow], forecast, usual)
        });
        let up = record.stages.iter().filter(|(_, stage)| **stage == Stage::Emerged);
        let seen_up = up.map(|(date, _)| *date).collect();
        Some(Self {
            planted,
            starts_at: start,
            days,
            lost_since,
            seen_up,
            today,
            steady_from,
            outlook,
        })
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
        let ahead = self.outlook.as_ref()?;
        let holds = |growth: &Growth| reached(growth.stage(), growth.paced_height_in());
        let slow = self.since(|day| holds(&day.slow)).or_else(|| ahead.first(Pace::Slow, holds))?;
        let likely =
            self.since(|day| holds(&day.growth)).or_else(|| ahead.first(Pace::Likely, holds))?;
        let fast = self.since(|day| holds(&day.fast)).or_else(|| ahead.first(Pace::Fast, holds))?;
        Some(DateRange::about(fast, likely, slow))
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

    /// When the crop came up, and the heat it had taken by the likely day; `None` while it has not. A
    /// single day where somebody saw it come up, else as far as the clocks at the ends of what is
    /// published lie apart.
    pub fn emerged(&self) -> Option<(DateRange, f64)> {
        let likely = self.since(|day| day.shown >= Stage::Emerged)?;
        let at = usize::try_from((likely - self.planted).num_days()).ok()?;
        let seen = self.seen_up.contains(&likely);
        let by_clock = self.when(|stage, _| stage >= Stage::Emerged).filter(|_| !seen);
        let range = by_clock.map_or(DateRange::on(likely), |range| {
            DateRange::about(range.earliest, likely, range.latest)
        });
        Some((range, self.days.get(at)?.total_gdd))
    }
}

fn planting(input: &Input<'_>, timeline: &Timeline, at: usize, planted: NaiveDate) -> Planting {
    let depth_in = input.plan.depth.get();
    let moist = around(depth_in, &timeline.seed_zone[at].layers);
    Planting {
        crop: input.plan.crop,
        on: planted,
        latitude: input.site.latitude,
        seedbed: Seedbed {
            depth_in,
            texture: input.site.texture.group(),
            residue_percent: input.plan.residue_cover.get(),
            dry: moist.map(|share| share < crops::DRY_SEED_ZONE.value),
        },
    }
}

/// Share of the available water around a seed: of the layer it lies in, or of both where it lies on
/// the line between two. `None` when one of them is not known.
fn around(depth_in: f64, layers: &[Option<f64>; LAYERS]) -> Option<f64> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few layers")]
    let layer = |at: f64| (at.max(0.0) as usize).min(LAYERS - 1);
    let seed = depth_in / LAYER_IN;
    let (above, below) = (layer(seed.ceil() - 1.0), layer(seed.floor()));
    Some(f64::midpoint(layers[above]?, layers[below]?))
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
    fn new(planting: &Planting, input: &Input<'_>) -> Self {
        let [fast, growth, slow] = Pace::ALL.map(|pace| Growth::planted(planting, pace));
        let planted = planting.on;
        let day = CropDay {
            date: planted,
            growth,
            fast,
            slow,
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
        self.day.advance(date, heat);
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
        self.day.see(stage);
        self.day.lost = false;
        self.day.unmeasured = false;
        self.missing = 0;
    }
}
