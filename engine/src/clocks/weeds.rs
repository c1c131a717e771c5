//! When weeds come up and how fast they outgrow the post pass.
//!
//! Only species with published numbers are run; for the others the clock says why it cannot.

use crate::clocks::DateRange;
use crate::clocks::recent::Recent;
use crate::reference::weeds::Weed;
use crate::units::Inches;
use chrono::{Days, NaiveDate};

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

/// One day's heat for weed growth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatDay {
    /// The local day.
    pub date: NaiveDate,
    /// Celsius degree-days above 10 C; `None` when not known.
    pub gdd_c10: Option<f64>,
}

/// Days past which growth is not foreseen.
const HORIZON_DAYS: u64 = 60;

const CM_PER_INCH: f64 = 2.54;

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
    for date in (1..=HORIZON_DAYS).map(|offset| from + Days::new(offset)) {
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

    proptest! {
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
