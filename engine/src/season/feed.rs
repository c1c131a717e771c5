//! Corn nitrogen over the season: the soil's supply, the loss in wet soil, the sidedress window.

use crate::cell::Air;
use crate::clocks::nitrogen::{
    self, Normal, Pass, RainSum, Supply, SurfaceUrea, TestedRate, UreaLoss, Washed, WetLoss,
};
use crate::clocks::{DateRange, Stage};
use crate::findings::EarlyReason;
use crate::plan::{NitrogenPlan, Placement};
use crate::reference::{Figure, Source, soils};
use crate::season::Input;
use crate::season::crop::CropCourse;
use crate::season::record::{Record, Starter};
use crate::season::timeline::{SoilRow, Timeline, gap_days};
use crate::units::MM_PER_INCH;
use chrono::{Datelike, NaiveDate};
use serde::Serialize;

/// Stage from which sidedress may start early.
pub const EARLY_STAGE: Stage = Stage::Vegetative(3);
/// Stage at which sidedress usually starts, the middle of V4 to V6 (Fiorellino, Univ. of Maryland
/// Extension agronomy news).
pub const USUAL_STAGE: Stage = Stage::Vegetative(5);
/// Stage by which sidedress must be done where the rig's clearance is not set: common practice.
pub const LAST_STAGE: Stage = Stage::Vegetative(8);
/// Stage by which it must be done whatever the rig clears: no lasting loss of yield up to V11
/// (Scharf, Wiebold & Lory, Agron. J. 94:435-441, 2002, 28 trials).
pub const LAST_STAGE_FOR_YIELD: Stage = Stage::Vegetative(11);
/// Weight of nitrogen that a sidedress must have to be a pass at all, lb/acre.
pub(crate) const LEAST_PASS: Figure =
    Figure::new(1.0, Source::common_practice("less than a pound an acre is no pass"));

/// Nitrogen of one field on one day, lb/acre.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct NitrogenRow {
    /// Given by the soil since planting, on the days that are known.
    pub supplied_lb: f64,
    /// Days since planting on which the soil was not known.
    pub unknown_days: u32,
    /// How far that lies behind a normal year, percent; `None` while it cannot be told.
    pub lag_percent: Option<f64>,
    /// Share of the season's N that the crop has taken up by its stage, percent.
    pub uptake_percent: Option<f64>,
    /// Fertiliser N that is nitrate, had none been lost.
    pub nitrate_lb: f64,
    /// Fertiliser nitrate lost in wet soil.
    pub lost_lb: f64,
    /// The least and the most that may be, by the published bands.
    pub lost_range_lb: (f64, f64),
    /// Saturated days.
    pub wet_days: u32,
    /// How far down the water that drained since planting, or since nitrogen went on before it, has
    /// carried nitrate.
    pub washed: Option<Washed>,
    /// Rain of spring.
    pub rain: RainSum,
    /// What a sidedress left on the surface loses to the air.
    pub surface_urea: Option<UreaLoss>,
}

/// The sidedress window of one field as of today.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sidedress {
    /// Why it is wanted early, if it is.
    pub early: Option<EarlyReason>,
    /// When it opens, or opened.
    pub opens: DateRange,
    /// When it closes: the last day by height or stage.
    pub latest: DateRange,
    /// Whether it is open today.
    pub open: bool,
    /// N to put on, lb/acre: by the nitrate test where there is one, else as planned.
    pub pounds: f64,
    /// What a nitrate test makes of the plan.
    pub tested: Option<TestedRate>,
}

/// Nitrogen over the season of one field.
pub(crate) struct Feed {
    /// Row by row of the crop course.
    pub rows: Vec<NitrogenRow>,
    /// The window; `None` once sidedress is done, where none is planned, and where the stage is
    /// not known.
    pub sidedress: Option<Sidedress>,
    /// A sidedress that lies on the surface as of today.
    pub surface: Option<SurfaceUrea>,
}

impl Feed {
    /// Runs the nitrogen of a corn field that has a nitrogen plan.
    pub fn run(
        input: &Input<'_>,
        record: &Record,
        timeline: &Timeline,
        crop: &CropCourse,
    ) -> Option<Self> {
        let plan = input.plan.nitrogen.filter(|_| input.plan.crop.is_corn())?;
        let normal = input.usual_soil();
        let mut supply = Supply::default();
        let Before { mut fertiliser, mut loss, mut drained_in, mut rain } =
            Before::planting(input, record, timeline, crop, &plan);
        fertiliser.take_sidedress(&plan, record, crop.planted);
        let most_unknown = u32::try_from(gap_days(input)).unwrap_or(u32::MAX);
        let mut at_today = Supply::default();
        let mut surface = None;
        let mut rows = Vec::with_capacity(crop.days.len());
        let weather = timeline.days[crop.starts_at..].iter().zip(&timeline.soil[crop.starts_at..]);
        let mut nitrate_lb = fertiliser.nitrate();
        let ground = soils::under(input.site);
        for (day, (weather, soil)) in crop.days.iter().zip(weather) {
            if day.date > crop.planted {
                let ordinal = day.date.ordinal();
                let water = soil.water.plough_share;
                supply.advance(normal, ordinal, soil.temperature_c, water);
                fertiliser.advance(&plan, record, weather, soil.temperature_c);
                nitrate_lb = fertiliser.nitrate();
                drained_in += soil.water.passed_mm / MM_PER_INCH;
                rain.advance(day.date, weather.rain.map(|rain| rain.value.inches()));
                loss.advance(is_wet(soil), nitrate_lb, soil.temperature_c);
            }
            if day.date == input.today {
                at_today = supply;
                surface = fertiliser.surface;
            }
            rows.push(NitrogenRow {
                supplied_lb: supply.pounds(normal, input.site.organic_matter.get()),
                unknown_days: supply.unknown_days(),
                lag_percent: supply.lag(most_unknown).map(|(percent, _)| percent),
                uptake_percent: day.stage().map(nitrogen::uptake_percent),
                nitrate_lb,
                lost_lb: loss.pounds(),
                lost_range_lb: loss.range(),
                wet_days: loss.wet_days,
                washed: Washed::by(drained_in, &ground, input.site.texture.group()),
                rain,
                surface_urea: fertiliser.surface.map(|urea| urea.loss()),
            });
        }
        let starter_lb = fertiliser.starter_lb();
        let early = early(input, starter_lb, at_today.lag(most_unknown));
        Some(Self { rows, sidedress: sidedress(input, record, &plan, crop, early), surface })
    }
}

/// Whether the soil was saturated; missing rain can hide a saturated day, never make one.
fn is_wet(soil: &SoilRow) -> Option<bool> {
    let known = soil.water.saturated || soil.water.plough_share.is_some();
    known.then_some(soil.water.saturated)
}

/// What has come of nitrogen and rain up to and with the day of planting.
struct Before {
    fertiliser: Applied,
    loss: WetLoss,
    drained_in: f64,
    rain: RainSum,
}

impl Before {
    /// Nitrogen that went on before planting turns to nitrate, and loses it, over the days of the
    /// timeline; before those the soil is taken to be as warm as usual, and nothing to be lost.
    fn planting(
        input: &Input<'_>,
        record: &Record,
        timeline: &Timeline,
        crop: &CropCourse,
        plan: &NitrogenPlan,
    ) -> Self {
        let mut fertiliser = Applied::at_planting(plan, record);
        fertiliser.lie_until(timeline.first, input.usual_soil());
        let april = crop.planted.with_day(1).and_then(|first| first.with_month(4));
        let whole = april.is_some_and(|april| timeline.first <= april);
        let mut before = Self {
            fertiliser,
            loss: WetLoss::default(),
            drained_in: 0.0,
            rain: RainSum::starting(whole),
        };
        for (weather, soil) in timeline.days.iter().zip(&timeline.soil).take(crop.starts_at + 1) {
            before.rain.advance(weather.date, weather.rain.map(|rain| rain.value.inches()));
            if before.fertiliser.lies_before(weather.date) {
                before.fertiliser.warm(weather.date, soil.temperature_c);
                before.drained_in += soil.water.passed_mm / MM_PER_INCH;
                let nitrate_lb = before.fertiliser.nitrate();
                before.loss.advance(is_wet(soil), nitrate_lb, soil.temperature_c);
            }
        }
        before
    }
}

/// A pass before or at planting, and the day of it.
struct Early {
    on: NaiveDate,
    pounds: f64,
    pass: Pass,
}

/// The fertiliser on the field: what went on before or at planting, the sidedress once it is done.
struct Applied {
    starters: Vec<Early>,
    sidedress: Option<Pass>,
    surface: Option<SurfaceUrea>,
}

impl Applied {
    /// As the record has it; where it names no pass, the plan's starter goes on with the seed.
    fn at_planting(plan: &NitrogenPlan, record: &Record) -> Self {
        let early = |on: NaiveDate, source, pounds| {
            let pass = Pass::new(source, plan.inhibitor, pounds);
            Early { on, pounds, pass }
        };
        let of_record = |pass: &Starter| early(pass.date, pass.source, pass.nitrogen.get());
        let mut starters: Vec<Early> = record.starters.iter().map(of_record).collect();
        if let Some(planted) = record.planted.filter(|_| starters.is_empty()) {
            starters.push(early(planted, plan.starter_source, plan.starter.get()));
        }
        Self { starters, sidedress: None, surface: None }
    }

    /// The passes before a day have lain in soil as warm as usual up to it.
    fn lie_until(&mut self, first: NaiveDate, normal: &Normal) {
        for early in &mut self.starters {
            for day in early.on.iter_days().skip(1).take_while(|day| *day < first) {
                early.pass.advance(Some(normal.soil_c(day.ordinal())));
            }
        }
    }

    /// Whether anything had gone on before a day.
    fn lies_before(&self, date: NaiveDate) -> bool {
        self.starters.first().is_some_and(|early| early.on < date)
    }

    /// One more day for the passes that went on before it.
    fn warm(&mut self, date: NaiveDate, soil_c: Option<f64>) {
        for early in self.starters.iter_mut().filter(|early| early.on < date) {
            early.pass.advance(soil_c);
        }
    }

    /// N that went on before or at planting, lb/acre.
    fn starter_lb(&self) -> f64 {
        self.starters.iter().map(|early| early.pounds).sum()
    }

    fn advance(&mut self, plan: &NitrogenPlan, record: &Record, day: &Air, soil_c: Option<f64>) {
        self.warm(day.date, soil_c);
        if let Some(pass) = &mut self.sidedress {
            pass.advance(soil_c);
        }
        if let Some(urea) = &mut self.surface {
            if record.hoed == Some(day.date) {
                urea.work_in();
            }
            urea.advance(day.rain.map(|rain| rain.value.inches()), soil_c);
        }
        self.take_sidedress(plan, record, day.date);
    }

    /// Takes in the sidedress of a day, if there was one.
    fn take_sidedress(&mut self, plan: &NitrogenPlan, record: &Record, date: NaiveDate) {
        if let Some((_, amount)) = record.sidedressed.filter(|(on, _)| *on == date) {
            let pounds = amount.get();
            self.sidedress = Some(Pass::new(plan.source, plan.inhibitor, pounds));
            self.surface = (plan.placement == Placement::Surface)
                .then(|| SurfaceUrea::spread(plan.source, plan.inhibitor, pounds))
                .flatten();
        }
    }

    /// Nitrate had none been lost, lb/acre.
    fn nitrate(&self) -> f64 {
        let starters: f64 = self.starters.iter().map(|early| early.pass.nitrate()).sum();
        starters + self.sidedress.map_or(0.0, |pass| pass.nitrate())
    }
}

fn early(
    input: &Input<'_>,
    pounds: f64,
    lag: Option<(f64, crate::findings::LagCause)>,
) -> Option<EarlyReason> {
    let lags = lag.filter(|(percent, _)| *percent >= input.thresholds.nitrogen_lag_percent);
    if let Some((percent, because)) = lags {
        let normal = input.usual_soil().basis();
        return Some(EarlyReason::SoilLags { percent, because, normal });
    }
    (pounds < input.thresholds.small_starter_lb_per_acre)
        .then_some(EarlyReason::SmallStarter { pounds })
}

fn sidedress(
    input: &Input<'_>,
    record: &Record,
    plan: &NitrogenPlan,
    crop: &CropCourse,
    early: Option<EarlyReason>,
) -> Option<Sidedress> {
    if record.sidedressed.is_some() || plan.sidedress.get() < LEAST_PASS.value {
        return None;
    }
    let first = if early.is_some() { EARLY_STAGE } else { USUAL_STAGE };
    let opens = crop.when(|stage, _| stage >= first)?;
    let passed = crop.when(|stage, height| match plan.rig_clears {
        Some(clears) => {
            height.is_some_and(|height| height > clears.get()) || stage >= LAST_STAGE_FOR_YIELD
        }
        None => stage > LAST_STAGE,
    })?;
    let latest = passed.day_before();
    let open = opens.likely <= input.today && input.today <= latest.latest;
    let tested = record.tested.map(|(on, ppm)| TestedRate::of(on, ppm, plan));
    let pounds = tested.map_or(plan.sidedress.get(), |rate| rate.high_lb);
    Some(Sidedress { early, opens, latest, open, pounds, tested })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Inhibitor, NitrogenSource};
    use crate::units::{Millimetres, PoundsPerAcre};
    use crate::weather::{Kind, Sourced};
    use chrono::Days;

    const START: NaiveDate = NaiveDate::from_ymd_opt(2026, 6, 1).unwrap();

    fn plan(placement: Placement, inhibitor: Option<Inhibitor>) -> NitrogenPlan {
        NitrogenPlan {
            starter: PoundsPerAcre::new(40.0).unwrap(),
            sidedress: PoundsPerAcre::new(100.0).unwrap(),
            starter_source: NitrogenSource::Uan28,
            source: NitrogenSource::Urea,
            placement,
            inhibitor,
            rig_clears: None,
        }
    }

    fn planted() -> Record {
        let mut record = Record::default();
        record.planted = Some(START);
        record
    }

    /// Sidedressed on the first of these days of rain (in), warm soil.
    fn after(plan: &NitrogenPlan, rains: &[f64]) -> Applied {
        let mut record = planted();
        record.sidedressed = Some((START, plan.sidedress));
        let mut applied = Applied::at_planting(plan, &record);
        for (date, inches) in START.iter_days().zip(rains) {
            let value = Millimetres::from_inches(*inches).unwrap();
            let rain = Some(Sourced { value, kind: Kind::Gauge });
            applied.advance(plan, &record, &Air { rain, ..Air::unknown(date) }, Some(20.0));
        }
        applied
    }

    #[test]
    fn the_starter_has_its_own_form() {
        let plan = plan(Placement::InSoil, None);
        assert!((Applied::at_planting(&plan, &planted()).nitrate() - 10.0).abs() < 1e-9);
        assert_eq!(after(&plan, &[0.0; 5]).surface, None);
    }

    #[test]
    fn surface_urea_is_lost_until_half_an_inch_of_rain() {
        let plan = plan(Placement::Surface, None);
        let lost = |rains: &[f64]| after(&plan, rains).surface.unwrap().loss();
        let week = lost(&[0.0; 8]);
        assert!(week.likely_lb > 8.0 && !week.ended);
        let rained = lost(&[0.0, 0.6, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        assert!(rained.high_lb.abs() < 1e-9 && rained.ended);
    }

    /// Two weeks at 20 C are three of the published weeks, where the table has 30 beside 50 % for urea.
    #[test]
    fn an_inhibitor_holds_both_passes_back() {
        let nitrate = |inhibitor| after(&plan(Placement::InSoil, inhibitor), &[0.0; 15]).nitrate();
        assert!(nitrate(Some(Inhibitor::Nitrification)) < 0.8 * nitrate(None));
    }

    #[test]
    fn a_sidedress_on_the_day_of_planting_is_in_the_ground() {
        let plan = plan(Placement::InSoil, None);
        let mut record = planted();
        record.sidedressed = Some((START, plan.sidedress));
        let mut applied = Applied::at_planting(&plan, &record);
        applied.take_sidedress(&plan, &record, START);
        assert!(applied.sidedress.is_some());
    }

    #[test]
    fn hoeing_works_surface_urea_in() {
        let plan = plan(Placement::Surface, None);
        let mut applied = after(&plan, &[0.0; 2]);
        let hoed = START + Days::new(2);
        let mut record = Record::default();
        record.hoed = Some(hoed);
        applied.advance(&plan, &record, &Air::unknown(hoed), Some(20.0));
        assert!(applied.surface.unwrap().loss().ended);
    }
}
