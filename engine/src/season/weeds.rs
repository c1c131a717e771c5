//! When the weeds of the field come up: by published heat, and not while anything holds them back.

use crate::clocks::canopy;
use crate::clocks::weeds::{self, HeatDay, NoDate, SeedDay};
use crate::clocks::{DateRange, Stage};
use crate::plan::Crop;
use crate::reference::weeds::{GROWTH_BASE_C, Weed};
use crate::season::Input;
use crate::season::crop::CropCourse;
use crate::season::timeline::{SoilRow, Timeline};
use crate::units::{Inches, fahrenheit};
use chrono::{Datelike, Days, NaiveDate};
use serde::Serialize;

/// Days past the weather over which weeds are grown on with usual heat.
const AHEAD_DAYS: i64 = 45;
/// The weed that stands in where the field names none: the commonest of the Corn Belt that outgrows
/// a pass (common practice, no source).
const UNNAMED: [Weed; 1] = [Weed::Waterhemp];
/// Water potential at which plants wilt, `MPa`, by convention: the driest that the water of the
/// topsoil is told, and above what giant ragweed needs.
const WILTING_MPA: f64 = -1.5;

/// When one named weed of the field comes up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WeedUp {
    /// The weed.
    pub weed: Weed,
    /// Day from which it is taken to be up; `None` while a pre waits for rain.
    pub from: Option<NaiveDate>,
    /// Day by which half of the year's seedlings are up (six in ten of giant ragweed), where
    /// published.
    pub half_on: Option<NaiveDate>,
    /// Why no published heat dates it. It is then taken to be up as soon as nothing holds it back.
    pub undated: Option<NoDate>,
}

/// When nothing holds weeds back.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Unheld {
    /// Weeds may come up from this day on.
    pub from: NaiveDate,
    /// Rain that set a pre too late for what was up: its day, and the day from which nothing holds
    /// back the weeds that were not.
    pub again: Option<(NaiveDate, NaiveDate)>,
}

impl Unheld {
    /// Nothing holds weeds back from a day on.
    pub const fn from(from: NaiveDate) -> Self {
        Self { from, again: None }
    }

    /// The day that counts for one weed, which comes up by heat from there.
    fn for_weed(self, weed: Weed, days: &[SeedDay]) -> NaiveDate {
        let up = weeds::tenth_up_from(weed, days, Some(self.from)).unwrap_or(self.from);
        match self.again {
            Some((set_on, again)) if up > set_on => again,
            _ => self.from,
        }
    }
}

/// Dates every named weed, or the one that stands in.
pub(crate) fn come_up(
    input: &Input<'_>,
    timeline: &Timeline,
    unheld: Option<Unheld>,
) -> Vec<WeedUp> {
    let days = seed_days(input, timeline);
    let named = if input.plan.weeds.is_empty() { &UNNAMED[..] } else { &input.plan.weeds };
    let dated = |&weed: &Weed| {
        let held_until = unheld.map(|unheld| unheld.for_weed(weed, &days));
        let up = weeds::tenth_up_from(weed, &days, held_until);
        WeedUp {
            weed,
            from: held_until.map(|held| up.unwrap_or(held)),
            half_on: half_on(weed, &days, held_until),
            undated: up.err(),
        }
    };
    named.iter().map(dated).collect()
}

fn half_on(weed: Weed, days: &[SeedDay], held_until: Option<NaiveDate>) -> Option<NaiveDate> {
    if weed == Weed::GiantRagweed {
        let march = days.partition_point(|day| day.date.month() < 3);
        return Some(weeds::giant_ragweed_up(&days[march..], held_until).ok()?.0);
    }
    weeds::half_up_on(weed, days, held_until).ok()
}

/// When the first of the weeds outgrows a height, those that come up under a closed canopy left
/// out; `None` when no growth is published for any of them.
pub(crate) fn outgrow(
    input: &Input<'_>,
    timeline: &Timeline,
    ups: &[WeedUp],
    closed_from: Option<NaiveDate>,
    target: Inches,
) -> Option<DateRange> {
    let seedling = Inches::new(0.0).ok()?;
    let light = |from: &NaiveDate| closed_from.is_none_or(|closed| *from <= closed);
    let ups = ups.iter().filter_map(|up| Some((up.weed, up.from.filter(light)?)));
    let first = ups.clone().map(|(_, from)| from).min()?;
    let heat = heat_from(input, timeline, first);
    ups.filter_map(|(weed, from)| {
        weeds::reaches(weed, from, seedling, target, &heat).ok().flatten()
    })
    .reduce(DateRange::earlier)
}

/// When the first of the weeds, seen at a height on a day, outgrows another height.
pub(crate) fn seen_outgrow(
    input: &Input<'_>,
    timeline: &Timeline,
    (from, height): (NaiveDate, Inches),
    target: Inches,
) -> Option<DateRange> {
    let heat = heat_from(input, timeline, from);
    let named = if input.plan.weeds.is_empty() { &UNNAMED[..] } else { &input.plan.weeds };
    named
        .iter()
        .filter_map(|weed| weeds::reaches(*weed, from, height, target, &heat).ok().flatten())
        .reduce(DateRange::earlier)
}

/// When the crop shades the ground between its rows; `None` for rows of which no figure is known.
pub(crate) fn closure(input: &Input<'_>, crop: &CropCourse) -> Option<DateRange> {
    let row = input.plan.row_spacing;
    match input.plan.crop {
        Crop::Corn { .. } => {
            canopy::corn_closes(|stage: Stage| crop.when(|reached, _| reached >= stage), row)
        }
        Crop::Soybean { .. } => Some(canopy::soybean_closes(crop.planted, row)),
    }
}

/// One day of the ground in which weeds come up.
struct Ground<'a> {
    date: NaiveDate,
    /// Mean of the air, C; `None` on a day of the season whose temperatures nobody knows.
    air_c: Option<f64>,
    /// `None` outside the season.
    soil: Option<&'a SoilRow>,
}

/// Every day from one to well past the weather. The air is that of the season as far as it is laid
/// out; before it the cell's, or usual where that is not known, and after it usual.
fn ground_from<'a>(
    input: &'a Input<'_>,
    timeline: &'a Timeline,
    from: NaiveDate,
) -> impl Iterator<Item = Ground<'a>> {
    let usual_c = |date| {
        let usual = input.cell.usual(date);
        f64::midpoint(usual.high_c, usual.low_c)
    };
    let before = input.cell.days(from, timeline.first - Days::new(1)).map(move |at| {
        let date = at.day.date;
        Ground { date, air_c: at.day.mean_c().or_else(|| Some(usual_c(date))), soil: None }
    });
    let skipped = usize::try_from((from - timeline.first).num_days()).unwrap_or(0);
    let within = timeline.days.iter().zip(&timeline.soil).skip(skipped);
    let within =
        within.map(|(day, soil)| Ground { date: day.date, air_c: day.mean_c(), soil: Some(soil) });
    let after = from.max(timeline.last() + Days::new(1));
    let after = after.iter_days().take(length(timeline, after));
    let after = after.map(move |date| Ground { date, air_c: Some(usual_c(date)), soil: None });
    before.chain(within).chain(after)
}

/// Number of days from one to well past the weather.
fn length(timeline: &Timeline, from: NaiveDate) -> usize {
    let days = (timeline.last() - from).num_days() + AHEAD_DAYS;
    usize::try_from(days + 1).unwrap_or(0)
}

/// Heat for weed growth from a day to well past the weather.
fn heat_from(input: &Input<'_>, timeline: &Timeline, from: NaiveDate) -> Vec<HeatDay> {
    let mut days = Vec::with_capacity(length(timeline, from));
    ground_from(input, timeline, from).for_each(|Ground { date, air_c, .. }| {
        days.push(HeatDay { date, gdd_c10: air_c.map(|mean| (mean - GROWTH_BASE_C).max(0.0)) });
    });
    days
}

/// The seed layer from New Year to well past the weather; where the season does not reach, the
/// usual soil stands in.
fn seed_days(input: &Input<'_>, timeline: &Timeline) -> Vec<SeedDay> {
    let new_year = input.today.with_ordinal(1).unwrap_or(timeline.first);
    let normal = input.cell.normal();
    let mut days = Vec::with_capacity(length(timeline, new_year));
    ground_from(input, timeline, new_year).for_each(|Ground { date, air_c, soil }| {
        let wet = soil.is_none_or(|soil| soil.water.top_share.is_some());
        days.push(SeedDay {
            date,
            soil_c: soil
                .map_or_else(|| Some(normal.soil_c(date.ordinal())), |soil| soil.temperature_c),
            air_f: air_c.map(fahrenheit),
            soil_mpa: wet.then_some(WILTING_MPA),
        });
    });
    days
}
