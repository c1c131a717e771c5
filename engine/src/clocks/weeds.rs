//! When weeds come up and how fast they outgrow the post pass.
//!
//! Only species with published numbers are run; for the others the clock says why it cannot.

use crate::clocks::DateRange;
use crate::clocks::recent::Recent;
use crate::reference::weeds::{GIANT_RAGWEED, HALF_UP_BASE_C, TENTH_UP_BASE_F, Weed};
use crate::units::Inches;
use chrono::NaiveDate;
use serde::{Serialize, Serializer};

/// Why a weed's clock cannot be run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotPublished {
    /// No growth rate.
    #[error("no growth rate is published for {}; scout it and report the height seen", .0.name())]
    Growth(Weed),
    /// No emergence heat.
    #[error("no emergence heat is published for {}; scout for it", .0.name())]
    Emergence(Weed),
}

/// Why a weed's emergence has no date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoDate {
    /// The species has no published number.
    #[error(transparent)]
    NotPublished(#[from] NotPublished),
    /// The heat of a day is not known, and so the sum from there on is not.
    #[error("the heat of {0} is not known, so no weed can be dated from it; scout")]
    HeatUnknown(NaiveDate),
    /// The heat known so far does not get there.
    #[error("the weather at hand ends before the weed is due")]
    NotYet,
}

impl Serialize for NoDate {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// One day's heat for weed growth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatDay {
    /// The local day.
    pub date: NaiveDate,
    /// Celsius degree-days above 10 C; `None` when not known.
    pub gdd_c10: Option<f64>,
}

/// One day of the seed layer and the air over it, for emergence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeedDay {
    /// The local day.
    pub date: NaiveDate,
    /// Mean of the topsoil, C.
    pub soil_c: Option<f64>,
    /// Mean of the air, F.
    pub air_f: Option<f64>,
    /// Water potential of the topsoil, `MPa`; at most zero.
    pub soil_mpa: Option<f64>,
}

/// Days past which growth is not foreseen.
const HORIZON_DAYS: usize = 60;

const CM_PER_INCH: f64 = 2.54;

/// Cumulative emergence as a Weibull curve over heat: share = 1 - exp(-(heat / scale)^shape).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    /// Heat at which 63.2 % are up, in the unit of the heat it was fitted to.
    pub scale: f64,
    /// Shape, no unit.
    pub shape: f64,
}

impl Weibull {
    /// The curve through the heats at which a tenth and a half are up; `None` unless both are
    /// positive and the half comes later.
    ///
    /// Dividing the curve at both points gives shape = ln(ln 2 / -ln 0.9) / ln(half / tenth).
    pub fn through(tenth: f64, half: f64) -> Option<Self> {
        if !(tenth > 0.0 && half > tenth && half.is_finite()) {
            return None;
        }
        let at_tenth = -(0.9_f64.ln());
        let at_half = std::f64::consts::LN_2;
        let shape = (at_half / at_tenth).ln() / (half / tenth).ln();
        Some(Self { scale: half / at_half.powf(shape.recip()), shape })
    }

    /// Share up at that heat, 0 to 1.
    pub fn share(&self, heat: f64) -> f64 {
        -(-(heat.max(0.0) / self.scale).powf(self.shape)).exp_m1()
    }
}

/// Whether the first tenth of a weed may be up at that air heat since the start of the year, base
/// 48 F, Fahrenheit degree-days.
///
/// Such sums foretell waterhemp poorly in some years (North Dakota State University, 2021): a
/// reason to scout, not a sighting.
pub fn may_be_up(weed: Weed, air_gdd_f48: f64) -> Result<bool, NotPublished> {
    let tenth = weed.tenth_up().ok_or(NotPublished::Emergence(weed))?;
    Ok(air_gdd_f48 >= tenth.from_gdd_f48)
}

/// Whether half of a weed's seedlings of the year are up at that soil heat, base 4.4 C, Celsius
/// degree-days.
pub fn half_is_up(weed: Weed, soil_gdd_c4_4: f64) -> Result<bool, NotPublished> {
    let half = weed.half_up().ok_or(NotPublished::Emergence(weed))?;
    Ok(soil_gdd_c4_4 >= half.gdd_c4_4)
}

/// The day from which the first tenth of a weed may be up, by air heat.
///
/// `days` in order from the start of the year without gaps. A residual holds the weed back until
/// `held_until`, the day on which it ends.
pub fn tenth_up_from(
    weed: Weed,
    days: &[SeedDay],
    held_until: Option<NaiveDate>,
) -> Result<NaiveDate, NoDate> {
    let tenth = weed.tenth_up().ok_or(NotPublished::Emergence(weed))?;
    let gdd = |day: &SeedDay| day.air_f.map(|mean| above(mean, TENTH_UP_BASE_F));
    sum_reaches(days, tenth.from_gdd_f48, gdd).map(|up| not_before(up, held_until))
}

/// The day on which half of a weed's seedlings of the year are up, by soil heat.
///
/// `days` and `held_until` as for [`tenth_up_from`].
pub fn half_up_on(
    weed: Weed,
    days: &[SeedDay],
    held_until: Option<NaiveDate>,
) -> Result<NaiveDate, NoDate> {
    let half = weed.half_up().ok_or(NotPublished::Emergence(weed))?;
    let gdd = |day: &SeedDay| day.soil_c.map(|mean| above(mean, HALF_UP_BASE_C));
    sum_reaches(days, half.gdd_c4_4, gdd).map(|up| not_before(up, held_until))
}

/// The days on which six in ten giant ragweeds of the year are up, and on which no more come, by
/// heat of soil that is moist enough.
///
/// `days` in order from 1 March without gaps; `held_until` as for [`tenth_up_from`].
pub fn giant_ragweed_up(
    days: &[SeedDay],
    held_until: Option<NaiveDate>,
) -> Result<(NaiveDate, Option<NaiveDate>), NoDate> {
    let row = GIANT_RAGWEED;
    let gdd = |day: &SeedDay| {
        let moist = day.soil_mpa? > row.base_mpa;
        Some(if moist { above(day.soil_c?, row.base_c) } else { 0.0 })
    };
    let up = not_before(sum_reaches(days, row.six_tenths, gdd)?, held_until);
    Ok((up, sum_reaches(days, row.over, gdd).ok()))
}

fn above(mean: f64, base: f64) -> f64 {
    (mean - base).max(0.0)
}

fn not_before(up: NaiveDate, held_until: Option<NaiveDate>) -> NaiveDate {
    held_until.map_or(up, |held| up.max(held))
}

/// The first day by which the sum of a day's heat is reached.
fn sum_reaches(
    days: &[SeedDay],
    wanted: f64,
    gdd: impl Fn(&SeedDay) -> Option<f64>,
) -> Result<NaiveDate, NoDate> {
    let mut sum = 0.0;
    for day in days {
        sum += gdd(day).ok_or(NoDate::HeatUnknown(day.date))?;
        if sum >= wanted {
            return Ok(day.date);
        }
    }
    Err(NoDate::NotYet)
}

/// Days that a weed takes from one height to another at steady heat (Celsius degree-days above
/// 10 C a day), fastest and slowest published year. Both infinite without heat.
pub fn days_between(
    weed: Weed,
    from: Inches,
    to: Inches,
    gdd_c10_a_day: f64,
) -> Result<(f64, f64), NotPublished> {
    let growth = weed.growth().ok_or(NotPublished::Growth(weed))?;
    let gap_cm = gap_cm(from, to);
    Ok((gap_cm / growth.fast_cm / gdd_c10_a_day, gap_cm / growth.slow_cm / gdd_c10_a_day))
}

/// When a weed seen at a height on a day reaches another height: earliest by the fastest published
/// year, latest by the slowest, likely by their mean.
///
/// `heat` in order of date. Days not known, and days past the last one, take the mean of the last
/// seven known days. `Ok(None)` when it is not foreseen within 60 days, or no heat is known.
pub fn reaches(
    weed: Weed,
    seen_on: NaiveDate,
    seen: Inches,
    target: Inches,
    heat: &[HeatDay],
) -> Result<Option<DateRange>, NotPublished> {
    let growth = weed.growth().ok_or(NotPublished::Growth(weed))?;
    let gap_cm = gap_cm(seen, target);
    let likely_cm = f64::midpoint(growth.slow_cm, growth.fast_cm);
    let wanted = [growth.fast_cm, likely_cm, growth.slow_cm].map(|rate| gap_cm / rate);
    Ok(dates_of_sums(seen_on, wanted, heat).map(|[earliest, likely, latest]| DateRange {
        earliest,
        likely,
        latest,
    }))
}

fn gap_cm(from: Inches, to: Inches) -> f64 {
    (to.get() - from.get()).max(0.0) * CM_PER_INCH
}

/// First days by which each heat sum, counted from the day after `from`, is reached.
fn dates_of_sums(from: NaiveDate, wanted: [f64; 3], heat: &[HeatDay]) -> Option<[NaiveDate; 3]> {
    let mut recent = Recent::default();
    let next = heat.partition_point(|day| day.date <= from);
    heat[..next].iter().filter_map(|day| day.gdd_c10).for_each(|gdd| recent.push(gdd));
    let mut known = heat[next..].iter().peekable();
    let mut reached = wanted.map(|sum| (sum <= 0.0).then_some(from));
    let mut sum = 0.0;
    for date in from.iter_days().skip(1).take(HORIZON_DAYS) {
        if reached.iter().all(Option::is_some) {
            break;
        }
        let today = known.next_if(|day| day.date == date).and_then(|day| day.gdd_c10);
        if let Some(gdd) = today {
            recent.push(gdd);
        }
        sum += today.or_else(|| recent.mean()).unwrap_or(0.0);
        for (reached, wanted) in reached.iter_mut().zip(wanted) {
            if reached.is_none() && sum >= wanted {
                *reached = Some(date);
            }
        }
    }
    let [fast, likely, slow] = reached;
    Some([fast?, likely?, slow?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;
    use proptest::prelude::*;

    fn day(offset: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 6, 1).unwrap() + Days::new(offset)
    }

    fn heat(days: u64, gdd: f64) -> Vec<HeatDay> {
        (0..days).map(|offset| HeatDay { date: day(offset), gdd_c10: Some(gdd) }).collect()
    }

    fn inches(value: f64) -> Inches {
        Inches::new(value).unwrap()
    }

    #[test]
    fn growth_runs_on_past_the_weather() {
        let known = heat(30, 15.0);
        let whole = reaches(Weed::Waterhemp, day(0), inches(1.0), inches(4.0), &known);
        let short = reaches(Weed::Waterhemp, day(0), inches(1.0), inches(4.0), &known[..2]);
        assert_eq!(whole, short);
        let range = whole.unwrap().unwrap();
        assert_eq!((range.earliest, range.latest), (day(4), day(5)));
    }

    #[test]
    fn a_weed_that_is_tall_already_is_there_today() {
        let range = reaches(Weed::Waterhemp, day(3), inches(5.0), inches(4.0), &heat(9, 15.0));
        assert_eq!(range.unwrap().unwrap().latest, day(3));
    }

    #[test]
    fn without_heat_nothing_is_foreseen() {
        let none = reaches(Weed::Waterhemp, day(0), inches(1.0), inches(4.0), &[]);
        assert_eq!(none, Ok(None));
        let cold = reaches(Weed::Waterhemp, day(0), inches(1.0), inches(4.0), &heat(60, 0.0));
        assert_eq!(cold, Ok(None));
    }

    #[test]
    fn a_curve_needs_its_half_after_its_tenth() {
        assert_eq!(Weibull::through(200.0, 200.0), None);
        assert_eq!(Weibull::through(0.0, 200.0), None);
        assert_eq!(Weibull::through(f64::NAN, 200.0), None);
    }

    #[test]
    fn a_weed_without_published_numbers_is_refused_by_name() {
        let refused = reaches(Weed::Velvetleaf, day(0), inches(1.0), inches(4.0), &[]).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "no growth rate is published for velvetleaf; scout it and report the height seen"
        );
        assert_eq!(
            may_be_up(Weed::PalmerAmaranth, 900.0),
            Err(NotPublished::Emergence(Weed::PalmerAmaranth))
        );
    }

    fn spring(soil_c: Option<f64>) -> Vec<SeedDay> {
        (0..90)
            .map(|offset| SeedDay {
                date: day(offset),
                soil_c,
                air_f: Some(58.0),
                soil_mpa: Some(-0.5),
            })
            .collect()
    }

    #[test]
    fn the_residual_holds_weeds_back_and_never_brings_them_sooner() {
        let days = spring(Some(14.4));
        assert_eq!(half_up_on(Weed::Smartweed, &days, None), Ok(day(7)));
        assert_eq!(half_up_on(Weed::Smartweed, &days, Some(day(30))), Ok(day(30)));
        assert_eq!(half_up_on(Weed::Smartweed, &days, Some(day(2))), Ok(day(7)));
        assert_eq!(tenth_up_from(Weed::Waterhemp, &days, Some(day(50))), Ok(day(50)));
    }

    #[test]
    fn an_unknown_day_hides_what_comes_after_it() {
        let mut days = spring(Some(14.4));
        days[3].soil_c = None;
        let hidden = half_up_on(Weed::Smartweed, &days, None);
        assert_eq!(hidden, Err(NoDate::HeatUnknown(day(3))));
        assert_eq!(half_up_on(Weed::Smartweed, &days[..3], None), Err(NoDate::NotYet));
        let refused = half_up_on(Weed::PalmerAmaranth, &days, None).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "no emergence heat is published for palmer amaranth; scout for it"
        );
    }

    #[test]
    fn dry_soil_adds_nothing_for_giant_ragweed() {
        let mut days = spring(Some(22.0));
        assert_eq!(giant_ragweed_up(&days, None), Ok((day(19), None)));
        days.iter_mut().take(10).for_each(|day| day.soil_mpa = Some(-12.0));
        assert_eq!(giant_ragweed_up(&days, None), Ok((day(29), None)));
        days[0].soil_mpa = None;
        assert_eq!(giant_ragweed_up(&days, None), Err(NoDate::HeatUnknown(day(0))));
    }

    proptest! {
        #[test]
        fn a_curve_goes_through_its_two_points(tenth in 1.0..500.0_f64, more in 1.0..2000.0_f64) {
            let curve = Weibull::through(tenth, tenth + more).unwrap();
            prop_assert!((curve.share(tenth) - 0.1).abs() < 1e-9);
            prop_assert!((curve.share(tenth + more) - 0.5).abs() < 1e-9);
            prop_assert!(curve.share(-1.0).abs() < 1e-12);
        }

        #[test]
        fn taller_targets_are_never_reached_sooner(
            gdds in prop::collection::vec(prop::option::weighted(0.9, 0.0..20.0_f64), 0..60),
            low in 0.5..4.0_f64,
            more in 0.0..4.0_f64,
        ) {
            let heat: Vec<_> = gdds
                .iter()
                .zip(0..)
                .map(|(&gdd_c10, offset)| HeatDay { date: day(offset), gdd_c10 })
                .collect();
            let to = |target| reaches(
                Weed::PalmerAmaranth, day(0), inches(0.5), inches(target), &heat,
            ).unwrap();
            if let (Some(low), Some(high)) = (to(low), to(low + more)) {
                prop_assert!(low.earliest <= high.earliest && low.latest <= high.latest);
                prop_assert!(low.earliest <= low.likely && low.likely <= low.latest);
            }
        }
    }
}
