//! A soil-applied pass: rain on it, and how long it goes on working; and what a pre and a post pass
//! hold back together.

use crate::cell::Cell;
use crate::clocks::DateRange;
use crate::clocks::activation::{self, Activation, DayState, Partner, RainDay};
use crate::clocks::residual::{self, Residual, SoilDay};
use crate::reference::crops;
use crate::reference::herbicides::Ingredient;
use crate::reference::herbicides::soil;
use crate::season::Input;
use crate::season::record::{Record, Sprayed};
use crate::season::timeline::Timeline;
use crate::units::Celsius;
use chrono::{Datelike, NaiveDate, TimeDelta};

/// The course of one pass that works through the soil: the pre, or what a post mix leaves there.
#[derive(Debug)]
pub(crate) struct PreCourse {
    pub applied_on: NaiveDate,
    pub ingredients: Vec<Ingredient>,
    pub activation: Activation,
    /// When it wears off, once rain has set it.
    pub residual: Option<Residual>,
    today: NaiveDate,
    rain_today_is_measured: bool,
}

/// Whole years of weather that make a usual month.
const USUAL_YEARS: u32 = 10;

impl PreCourse {
    /// Runs the clocks of what a post pass leaves in the soil; `None` where nothing in it works
    /// there, or a pre went on after it.
    pub fn after_post(input: &Input<'_>, timeline: &Timeline, record: &Record) -> Option<Self> {
        let post = record.post.as_ref()?;
        let is_last = record.pre.as_ref().is_none_or(|pre| pre.date <= post.date);
        let works = post.ingredients.iter().any(|&one| soil::row(one).is_some());
        (is_last && works).then(|| Self::run(input, timeline, post))?
    }

    /// Runs the clocks of one pass.
    pub fn run(input: &Input<'_>, timeline: &Timeline, sprayed: &Sprayed) -> Option<Self> {
        let first = timeline.at(sprayed.date)? + 1;
        let rain: Vec<RainDay> = (first..timeline.days.len())
            .map(|at| RainDay {
                date: timeline.days[at].date,
                rain: timeline.days[at].rain,
                topsoil_dry: timeline.soil[at - 1]
                    .water
                    .top_share
                    .is_some_and(|share| share < crops::DRY_SEED_ZONE.value),
            })
            .collect();
        let pass = activation::Pass {
            date: sprayed.date,
            ingredients: &sprayed.ingredients,
            texture: input.site.texture.group(),
        };
        let mut course = Self {
            applied_on: sprayed.date,
            ingredients: sprayed.ingredients.clone(),
            activation: activation::run(&pass, &rain),
            residual: None,
            today: input.today,
            rain_today_is_measured: timeline
                .at(input.today)
                .and_then(|at| timeline.days[at].rain)
                .is_some_and(|rain| rain.kind.is_observed()),
        };
        course.residual = course.set_on().map(|set_on| {
            let days = soil_days(timeline, set_on);
            residual::range(
                Some(set_on),
                sprayed.date,
                &sprayed.ingredients,
                &days,
                input.thresholds,
            )
        });
        Some(course)
    }

    /// The mix as of today; `None` on the day of the pass and where nothing waits for rain.
    pub fn now(&self) -> Option<&DayState> {
        self.activation.on(self.today)
    }

    /// When what rain has set wears off against the field's weeds.
    pub fn ends(&self, input: &Input<'_>) -> Option<DateRange> {
        self.residual
            .as_ref()
            .map(|residual| residual.against(&input.plan.weeds, &input.plan.resistant))
    }

    /// The day from which weeds are taken to be up where the pre was not set.
    pub fn weeds_up_on(&self, input: &Input<'_>) -> NaiveDate {
        self.after(input.thresholds.activation_weeds_up_days)
    }

    /// Whether the pre has waited so long that weeds are taken to be up.
    pub fn never_set(&self, input: &Input<'_>) -> bool {
        self.now().is_some() && self.set_on().is_none() && self.today >= self.weeds_up_on(input)
    }

    /// Whether rain set it only after weeds had come up: what is up grows on.
    pub fn was_set_after(&self, weeds_up_on: NaiveDate) -> bool {
        self.set_on().is_some_and(|set_on| set_on > weeds_up_on)
    }

    /// The day so many days after the pass.
    pub fn after(&self, days: f64) -> NaiveDate {
        #[expect(clippy::cast_possible_truncation, reason = "thresholds of at most 60 days")]
        let days = days.ceil() as i64;
        self.applied_on + TimeDelta::days(days)
    }

    /// Day on which rain had set the mix: measured rain up to today, or any rain on days that are
    /// over. Rain that is only expected today has set nothing yet.
    pub fn set_on(&self) -> Option<NaiveDate> {
        let now = self.now()?;
        now.firm.set_on.or(now.expected.set_on.filter(|date| *date < self.today))
    }

    /// Whether measured rain alone says the same: that it is set, or that it is not.
    pub fn is_firm(&self) -> bool {
        let Some(now) = self.now() else { return false };
        if let Some(set_on) = self.set_on() {
            return now.firm.set_on == Some(set_on);
        }
        self.unmeasured_days() == 0
    }

    /// Days since the pass whose rain nobody measured; today counts once it is over.
    pub fn unmeasured_days(&self) -> u32 {
        let today = u32::from(!self.rain_today_is_measured);
        self.now().map_or(0, |now| now.firm.missing_days.saturating_sub(today))
    }

    /// Whether so much measured rain came soon after the pass that it may be washed too deep.
    pub fn too_much_rain(&self) -> bool {
        self.now().is_some_and(|now| now.firm.too_much)
    }

    /// Whether so much came for the time of year that trials saw weeds held less; `None` where
    /// nothing is published of the mix, or the usual month is not known.
    pub fn drowned(&self, input: &Input<'_>) -> Option<bool> {
        let waters = |partner: &Partner| partner.ingredient == soil::DROWNED;
        self.activation.partners.iter().find(|partner| waters(partner))?;
        self.activation.drowned(usual_month_mm(input.cell, self.applied_on)?)
    }

    /// Whether either says that rain may have taken some of it.
    pub fn is_washed(&self, input: &Input<'_>) -> bool {
        self.too_much_rain() || self.drowned(input) == Some(true)
    }

    /// Rain fallen since the pass, inches: without today's, unless it was measured.
    pub fn fallen_in(&self) -> f64 {
        let day =
            if self.rain_today_is_measured { Some(self.today) } else { self.today.pred_opt() };
        day.and_then(|day| self.activation.on(day)).map_or(0.0, |day| day.expected.rain_in)
    }

    /// First day from today on by which the forecast brings enough, and the rain it brings.
    pub fn ahead(&self) -> Option<(NaiveDate, f64)> {
        let enough = |day: &&DayState| day.date >= self.today && day.expected.set_on.is_some();
        let day = self.activation.days.iter().find(enough)?;
        Some((day.date, day.expected.rain_in - self.fallen_in()))
    }
}

/// What holds weeds back through the soil.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Holding<'a> {
    pub pre: Option<&'a PreCourse>,
    /// The last post pass, where a partner of it works through the soil.
    pub post: Option<&'a PreCourse>,
}

impl Holding<'_> {
    /// When all of it wears off against the field's weeds.
    pub fn ends(&self, input: &Input<'_>) -> Option<DateRange> {
        self.renewed(input).or_else(|| self.pre?.ends(input))
    }

    /// The same once rain has set the post pass: never sooner than the pre alone would end. `None`
    /// while no post pass holds anything.
    pub fn renewed(&self, input: &Input<'_>) -> Option<DateRange> {
        let post = self.post?.residual.as_ref()?;
        let plan = input.plan;
        let Some(pre) = self.pre.and_then(|pre| pre.residual.clone()) else {
            return Some(post.against(&plan.weeds, &plan.resistant));
        };
        let alone = pre.against(&plan.weeds, &plan.resistant);
        Some(pre.renewed_by(post).against(&plan.weeds, &plan.resistant).later(alone))
    }

    /// The pass that was set last.
    pub fn last_set(&self) -> Option<&PreCourse> {
        self.post.filter(|post| post.set_on().is_some()).or(self.pre)
    }
}

/// Rain of the usual month of a day: the mean of that month in earlier years of the cell's weather,
/// mm, years with a missing day left out. `None` with fewer than ten whole ones.
fn usual_month_mm(cell: &Cell, date: NaiveDate) -> Option<f64> {
    let first_year = cell.span()?.0.year();
    let month = |year: i32| {
        let first = NaiveDate::from_ymd_opt(year, date.month(), 1)?;
        let days = first.iter_days().take_while(|day| day.month() == date.month());
        days.map(|day| Some(cell.day(day)?.rain?.value.get())).sum::<Option<f64>>()
    };
    let whole: Vec<f64> = (first_year..date.year()).filter_map(month).collect();
    let years = u32::try_from(whole.len()).ok().filter(|years| *years >= USUAL_YEARS)?;
    Some(whole.iter().sum::<f64>() / f64::from(years))
}

fn soil_days(timeline: &Timeline, from: NaiveDate) -> Vec<SoilDay> {
    let first = timeline.at(from).unwrap_or(timeline.days.len());
    (first..timeline.days.len())
        .take(1 + residual::HORIZON)
        .map(|at| SoilDay {
            date: timeline.days[at].date,
            mean: timeline.soil[at].temperature_c.and_then(|celsius| Celsius::new(celsius).ok()),
            relative_moisture: timeline.soil[at].water.top_over_pf_2,
            available_share: timeline.soil[at].water.top_share,
        })
        .collect()
}
