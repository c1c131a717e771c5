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
    /// Whether so many days are missing that the stage is not known.
    pub lost: bool,
    /// Whether heat that nobody measured, on a day that is over, has moved the stage since it was
    /// last seen.
    pub unmeasured: bool,
}

impl CropDay {
    /// The stage, unless it is lost.
    pub fn stage(&self) -> Option<Stage> {
        (!self.lost).then(|| self.growth.stage())
    }
}

/// The crop from planting to the last day of the timeline.
pub(crate) struct CropCourse {
    pub planted: NaiveDate,
    pub days: Vec<CropDay>,
    /// First day of the gap that lost the stage, while it is lost today.
    pub lost_since: Option<NaiveDate>,
    today: usize,
    forecast: Vec<Option<f64>>,
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
        let mut walk = Walk {
            day: CropDay {
                date: planted,
                growth: plant(input, timeline, start, planted),
                total_gdd: 0.0,
                lower_bound: false,
                lost: false,
                unmeasured: false,
            },
            missing: 0,
            missing_since: planted,
            bridge: gap_days(input),
            today: input.today,
        };
        let mut days = vec![walk.day];
        let mut lost_since = None;
        for at in start + 1..timeline.days.len() {
            let date = timeline.days[at].date;
            walk.advance(date, timeline.heat[at]);
            if let Some(stage) = record.stages.get(&date) {
                walk.see(*stage);
            }
            if date == input.today && walk.day.lost {
                lost_since = Some(walk.missing_since);
            }
            days.push(walk.day);
        }
        let today = days.iter().rposition(|day| day.date <= input.today)?;
        let ahead = timeline.at(input.today)? + 1;
        let forecast = timeline.heat[ahead..].iter().map(|heat| heat.gdd()).collect();
        Some(Self { planted, days, lost_since, today, forecast })
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
    /// today or the day is not foreseen. `reached` is given the crop and a believable height.
    pub fn when(
        &self,
        input: &Input<'_>,
        reached: impl Fn(&Growth, Option<f64>) -> bool,
    ) -> Option<DateRange> {
        let today = self.today();
        if today.lost {
            return None;
        }
        let outlook =
            Outlook { today: today.date, forecast: &self.forecast, latitude: input.site.latitude };
        let mut range = outlook.reaching(today.growth, &reached)?;
        let middle = |growth: &Growth| {
            let height = growth.height_in().map(|(low, high)| f64::midpoint(low, high));
            reached(growth, height)
        };
        let tall = |growth: &Growth| reached(growth, growth.height_in().map(|(_, high)| high));
        let short = |growth: &Growth| reached(growth, growth.height_in().map(|(low, _)| low));
        range.earliest = self.since(tall).unwrap_or(range.earliest);
        range.likely = self.since(middle).unwrap_or(range.likely);
        range.latest = self.since(short).unwrap_or(range.latest);
        Some(range)
    }

    /// First day of the unbroken run up to today on which something holds.
    pub fn since(&self, holds: impl Fn(&Growth) -> bool) -> Option<NaiveDate> {
        let past = &self.days[..=self.today];
        past.iter()
            .rev()
            .take_while(|day| !day.lost && holds(&day.growth))
            .last()
            .map(|day| day.date)
    }

    /// The day the crop came up and the heat it had taken by then.
    pub fn emerged(&self) -> Option<(NaiveDate, f64)> {
        let on = self.since(|growth| growth.stage() >= Stage::Emerged)?;
        let day = self.days.iter().find(|day| day.date == on)?;
        Some((on, day.total_gdd))
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
        self.day.lost = false;
        self.day.unmeasured = false;
        self.missing = 0;
    }
}
