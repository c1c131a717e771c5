//! How long a soil-applied mix keeps working.
//!
//! Two rules run side by side and the earlier one ends each partner: the calendar (common
//! practice, as the thresholds set it, within the weeks of control that guides give) and
//! first-order decay in the field's own soil temperature and moisture (see [`decay`]). Where the
//! rise of decay with temperature was measured, it counts, and the range spans the default too.
//! What leaves the surface before rain comes (see [`SurfaceLoss`](soil::SurfaceLoss)) shortens the
//! earliest and the likely end, not the latest: trials do not agree on it.
//!
//! They answer to dryness in opposite ways. In dry soil less is broken down, but less is dissolved
//! where weeds take it up, and control ended after about half the usual time in the drought of
//! 2012 (University of Missouri): a mix that was not set, or lay in dry soil after it was, is
//! counted on for [`Thresholds::residual_dry_days`] only.

use crate::clocks::recent::Recent;
use crate::clocks::{DateRange, effective};
use crate::plan::Resistance;
use crate::reference::herbicides::Ingredient;
use crate::reference::herbicides::decay;
use crate::reference::herbicides::decay::Warmth;
use crate::reference::herbicides::soil::{self, SoilRow};
use crate::reference::herbicides::spectrum::Way;
use crate::reference::weeds::Weed;
use crate::thresholds::Thresholds;
use crate::units::Celsius;
use chrono::{Days, NaiveDate};
use serde::Serialize;

/// Share of the dose below which weeds are taken to break through: two half-lives. A choice of
/// this program, not published; it puts S-metolachlor in a cool spring past its weeks of control
/// and acetochlor in a warm one near the middle of them.
pub const BREAK_SHARE: f64 = 0.25;

/// Mean share of the topsoil's available water below which the soil counts as dry: a choice of this
/// program. It calls May 2012 at Ames, Iowa, dry on loam, and the Mays of 2013, 2021, 2022 and 2023
/// not.
pub const DRY_BELOW: f64 = 0.25;

/// Known days that it takes to call the soil dry.
const DRY_LEAST_DAYS: u32 = 7;

/// Slack that keeps a sum of whole days from ending a day late.
const ROUNDING: f64 = 1e-9;

/// Longest span looked at, days: the longest that thresholds or guides allow.
pub(crate) const HORIZON: usize = 60;

/// One day of topsoil as the residual clock sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilDay {
    /// The local day.
    pub date: NaiveDate,
    /// Mean temperature of the topsoil (or of the air, where the soil's is not known).
    pub mean: Option<Celsius>,
    /// Water content over the water content at pF 2, 0 and up.
    pub relative_moisture: Option<f64>,
    /// Share of the available water: 0 at the wilting point, 1 at field capacity. It tells dry soil
    /// of any texture from moist, which the relative moisture does not.
    pub available_share: Option<f64>,
}

impl SoilDay {
    /// Decay rate over that in wet soil, the same for every partner. Unknown moisture is taken as
    /// moist, which decays fastest.
    fn wetness(&self) -> f64 {
        let moisture = self.relative_moisture.unwrap_or(1.0);
        decay::moisture_factor(moisture, decay::MOISTURE_EXPONENT)
    }
}

/// One partner's end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PartnerEnd {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// When it is expected to have worn off.
    pub ends: DateRange,
}

/// When the residual ends.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Residual {
    /// When the mix as a whole is expected to have worn off: its longest-lasting partner.
    pub ends: DateRange,
    /// Whether dryness shortened the count.
    pub dry: bool,
    /// Each partner that works through the soil.
    pub per_ingredient: Vec<PartnerEnd>,
}

impl Residual {
    /// When the first of the named weeds has nothing left against it that it is not resistant to,
    /// end by end; the mix's end when none is named or none is held by it.
    pub fn against(&self, weeds: &[Weed], resistant: &[Resistance]) -> DateRange {
        weeds
            .iter()
            .filter_map(|&weed| self.against_one(weed, resistant))
            .reduce(DateRange::earlier)
            .unwrap_or(self.ends)
    }

    fn against_one(&self, weed: Weed, resistant: &[Resistance]) -> Option<DateRange> {
        self.per_ingredient
            .iter()
            .filter(|partner| effective::works(partner.ingredient, weed, Way::Soil, resistant))
            .map(|partner| partner.ends)
            .reduce(DateRange::later)
    }

    /// This residual and that of a later pass, for example of a group 15 partner in the post mix,
    /// taken together. A later pass without a partner that works through the soil changes nothing.
    #[must_use]
    pub fn renewed_by(mut self, next: &Self) -> Self {
        if !next.per_ingredient.is_empty() {
            self.ends = self.ends.later(next.ends);
            self.dry = next.dry;
            self.per_ingredient.extend_from_slice(&next.per_ingredient);
        }
        self
    }
}

/// Runs the clock from the day the mix was set, or from the pass when it was not.
///
/// `days` in order of date. Days not known, and days past the last one, decay at the mean rate of
/// the last seven known days; before any is known, at the reference rate. A mix without a partner
/// that works through the soil is counted by the calendar alone.
pub fn range(
    set_on: Option<NaiveDate>,
    applied_on: NaiveDate,
    ingredients: &[Ingredient],
    days: &[SoilDay],
    thresholds: &Thresholds,
) -> Residual {
    let start = set_on.unwrap_or(applied_on);
    let dry = set_on.is_none() || lay_dry(start, days, thresholds);
    let calendar = Calendar::new(dry, thresholds);
    let wetness: Vec<f64> = days.iter().map(SoilDay::wetness).collect();
    let aged = |q10| normalised_time(start, days, &wetness, q10);
    let usual = aged(decay::Q10);
    let waited_days = u32::try_from((start - applied_on).num_days()).unwrap_or(0);
    let per_ingredient: Vec<_> = ingredients
        .iter()
        .filter_map(|&ingredient| soil::row(ingredient))
        .map(|row| {
            let measured = row.q10.map(|q10| aged(q10.value));
            let wear = Wear { row, measured: measured.as_ref().unwrap_or(&usual), usual: &usual };
            PartnerEnd {
                ingredient: row.ingredient,
                ends: wear.span(waited_days, &calendar).from(start),
            }
        })
        .collect();
    let ends = per_ingredient
        .iter()
        .map(|partner| partner.ends)
        .reduce(DateRange::later)
        .unwrap_or_else(|| calendar.span().from(start));
    Residual { ends, dry, per_ingredient }
}

/// Days from the start to an end.
#[derive(Debug, Clone, Copy)]
struct Span {
    earliest: u64,
    likely: u64,
    latest: u64,
}

impl Span {
    /// Puts the likely day between the others.
    fn new(earliest: u64, likely: u64, latest: u64) -> Self {
        Self { earliest: earliest.min(likely), likely, latest: latest.max(likely) }
    }

    fn from(self, start: NaiveDate) -> DateRange {
        DateRange {
            earliest: start + Days::new(self.earliest),
            likely: start + Days::new(self.likely),
            latest: start + Days::new(self.latest),
        }
    }
}

/// The common-practice count, days.
struct Calendar {
    least: u64,
    likely: u64,
    most: u64,
}

impl Calendar {
    fn new(dry: bool, thresholds: &Thresholds) -> Self {
        let dry_days = whole(thresholds.residual_dry_days);
        let usual_days = whole(thresholds.residual_days);
        let horizon = u64::try_from(HORIZON).unwrap_or(u64::MAX);
        Self {
            least: dry_days.min(usual_days),
            likely: if dry { dry_days.min(usual_days) } else { usual_days },
            most: if dry { usual_days.max(dry_days) } else { horizon },
        }
    }

    fn span(&self) -> Span {
        Span::new(self.least, self.likely, self.likely)
    }
}

/// One partner with the normalised time of its days: by its own measured Q10, and by the default.
struct Wear<'a> {
    row: &'a SoilRow,
    measured: &'a [f64; HORIZON],
    usual: &'a [f64; HORIZON],
}

impl Wear<'_> {
    fn span(&self, waited_days: u32, calendar: &Calendar) -> Span {
        let life = &self.row.half_life;
        let share = self.row.surface_loss.share_left(waited_days);
        let both = |days, share| [self.measured, self.usual].map(|aged| gone(aged, days, share));
        let [soon, soon_usual] = both(life.low_days, share);
        let [long, long_usual] = both(life.high_days, 1.0);
        let weeks = &self.row.control;
        let (least, most) = (whole(weeks.low * 7.0), whole(weeks.high * 7.0));
        Span::new(
            least.min(calendar.likely).min(soon).min(soon_usual),
            most.min(calendar.likely).min(gone(self.measured, life.days, share)),
            most.min(calendar.most).min(long.max(long_usual)),
        )
    }
}

/// Days after the start on which a share of the dose has fallen to [`BREAK_SHARE`]; the horizon
/// when it has not within it.
fn gone(aged: &[f64; HORIZON], half_life_days: f64, share: f64) -> u64 {
    let lasts = half_life_days * (share / BREAK_SHARE).log2() - ROUNDING;
    let day = aged.partition_point(|&age| age < lasts) + 1;
    u64::try_from(day.min(HORIZON)).unwrap_or(u64::MAX)
}

/// Normalised days that have passed by the end of each day after the start; `wetness` goes with
/// `days`.
fn normalised_time(
    start: NaiveDate,
    days: &[SoilDay],
    wetness: &[f64],
    q10: f64,
) -> [f64; HORIZON] {
    let warmth = Warmth::new(q10);
    let rate = |(day, wetness): (&SoilDay, &f64)| Some(warmth.factor(day.mean?.get()) * wetness);
    let mut aged = [0.0; HORIZON];
    let mut recent = Recent::default();
    let next = days.partition_point(|day| day.date <= start);
    let mut known = days.iter().zip(wetness);
    known.by_ref().take(next).filter_map(rate).for_each(|rate| recent.push(rate));
    let mut known = known.peekable();
    let (mut date, mut age) = (start, 0.0);
    for slot in &mut aged {
        date = date + Days::new(1);
        let rate = known.next_if(|(day, _)| day.date == date).and_then(rate);
        if let Some(rate) = rate {
            recent.push(rate);
        }
        age += rate.or_else(|| recent.mean()).unwrap_or(1.0);
        *slot = age;
    }
    aged
}

/// Whether the soil lay dry from the start over the dry count of days.
fn lay_dry(start: NaiveDate, days: &[SoilDay], thresholds: &Thresholds) -> bool {
    let until = start + Days::new(whole(thresholds.residual_dry_days));
    let (mut sum, mut known) = (0.0, 0_u32);
    for moisture in days
        .iter()
        .filter(|day| start < day.date && day.date <= until)
        .filter_map(|day| day.available_share)
    {
        sum += moisture;
        known += 1;
    }
    known >= DRY_LEAST_DAYS && sum < DRY_BELOW * f64::from(known)
}

/// Whole days of a count that thresholds and tables keep between 0 and 60.
fn whole(days: f64) -> u64 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to 0..=60 first"
    )]
    let whole = days.clamp(0.0, 60.0).round() as u64;
    whole
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::sample::subsequence;

    fn day(offset: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 5, 1).unwrap() + Days::new(offset)
    }

    fn soil(days: u64, celsius: f64, moisture: Option<f64>) -> Vec<SoilDay> {
        (0..days)
            .map(|offset| SoilDay {
                date: day(offset),
                mean: Some(Celsius::new(celsius).unwrap()),
                relative_moisture: moisture,
                available_share: moisture,
            })
            .collect()
    }

    fn ends(mix: &[Ingredient], days: &[SoilDay]) -> Residual {
        range(Some(day(0)), day(0), mix, days, &Thresholds::default())
    }

    #[test]
    fn the_calendar_ends_what_decays_slowly() {
        let residual = ends(&[Ingredient::SMetolachlor], &soil(40, 15.0, Some(0.9)));
        assert_eq!(residual.ends.likely, day(28));
        assert!(!residual.dry);
    }

    #[test]
    fn decay_ends_what_is_gone_before_the_calendar() {
        // Two half-lives of 8 days in reference soil.
        let residual = ends(&[Ingredient::Mesotrione], &soil(40, 20.0, Some(1.0)));
        assert_eq!(residual.ends.likely, day(16));
    }

    #[test]
    fn a_mix_that_was_never_set_is_counted_on_for_the_dry_days() {
        let residual = range(
            None,
            day(3),
            &[Ingredient::SMetolachlor],
            &soil(40, 15.0, Some(0.9)),
            &Thresholds::default(),
        );
        assert_eq!((residual.dry, residual.ends.likely), (true, day(17)));
    }

    #[test]
    fn a_dry_spell_after_setting_shortens_the_count() {
        let residual = ends(&[Ingredient::SMetolachlor], &soil(40, 15.0, Some(0.2)));
        assert_eq!((residual.dry, residual.ends.likely), (true, day(14)));
        let unknown = ends(&[Ingredient::SMetolachlor], &soil(40, 15.0, None));
        assert!(!unknown.dry);
    }

    #[test]
    fn days_past_the_weather_take_the_last_known_mean() {
        let short = ends(&[Ingredient::Acetochlor], &soil(10, 24.0, Some(1.0)));
        let whole = ends(&[Ingredient::Acetochlor], &soil(60, 24.0, Some(1.0)));
        assert_eq!(short, whole);
        assert!(whole.ends.likely < day(28));
    }

    #[test]
    fn without_any_weather_reference_soil_is_taken() {
        let residual = ends(&[Ingredient::Mesotrione], &[]);
        assert_eq!(residual.ends.likely, day(16));
    }

    #[test]
    fn a_mix_nobody_named_is_counted_by_the_calendar() {
        let residual = ends(&[], &soil(40, 15.0, Some(0.9)));
        assert_eq!(residual.ends.likely, day(28));
        assert!(residual.per_ingredient.is_empty());
    }

    #[test]
    fn a_weed_counts_only_the_partners_that_hold_it() {
        let mix = [Ingredient::SMetolachlor, Ingredient::Mesotrione];
        let residual = ends(&mix, &soil(40, 20.0, Some(1.0)));
        assert_eq!(residual.against(&[Weed::Waterhemp], &[]).likely, day(28));
        assert_eq!(residual.against(&[Weed::Velvetleaf], &[]).likely, day(16));
        assert_eq!(residual.against(&[Weed::Waterhemp, Weed::Velvetleaf], &[]).likely, day(16));
        assert_eq!(residual.against(&[], &[]), residual.ends);
    }

    #[test]
    fn a_resistant_weed_is_not_held_by_the_lost_group() {
        let mix = [Ingredient::SMetolachlor, Ingredient::Mesotrione];
        let residual = ends(&mix, &soil(40, 20.0, Some(1.0)));
        let resistant = [Resistance { weed: Weed::Waterhemp, group: 15 }];
        assert_eq!(residual.against(&[Weed::Waterhemp], &resistant).likely, day(16));
        assert_eq!(residual.against(&[Weed::GiantFoxtail], &resistant).likely, day(28));
    }

    #[test]
    fn pendimethalin_loses_its_fast_share_first() {
        // Three quarters of the dose are left for the slow part: log2(3) half-lives to a quarter.
        let days = soil(60, 28.0, Some(1.0));
        let wetness: Vec<f64> = days.iter().map(SoilDay::wetness).collect();
        let aged = normalised_time(day(0), &days, &wetness, decay::Q10);
        let share = soil::row(Ingredient::Pendimethalin).unwrap().surface_loss.share_left(3);
        assert!((share - 0.75).abs() < 1e-9);
        assert!(gone(&aged, 30.0, share) < gone(&aged, 30.0, 1.0));
        assert_eq!(gone(&[1.0; HORIZON], 2.0, 0.2), 1);
    }

    #[test]
    fn a_post_partner_renews_the_residual() {
        let pre = ends(&[Ingredient::Flumioxazin], &soil(60, 20.0, Some(1.0)));
        let thresholds = Thresholds::default();
        let later_pass = |mix: &[Ingredient]| {
            range(Some(day(30)), day(29), mix, &soil(90, 20.0, Some(1.0)), &thresholds)
        };
        let post = later_pass(&[Ingredient::Glyphosate, Ingredient::Acetochlor]);
        let both = pre.clone().renewed_by(&post);
        assert_eq!(both.ends.likely, day(58));
        assert_eq!(both.against(&[Weed::GiantFoxtail], &[]).likely, day(58));
        assert_eq!(pre.clone().renewed_by(&later_pass(&[Ingredient::Glyphosate])), pre);
    }

    fn seasons() -> impl Strategy<Value = Vec<(Option<f64>, Option<f64>)>> {
        prop::collection::vec(
            (
                prop::option::weighted(0.9, -5.0..35.0_f64),
                prop::option::weighted(0.9, 0.0..1.4_f64),
            ),
            0..70,
        )
    }

    fn season(days: &[(Option<f64>, Option<f64>)], warmer: f64) -> Vec<SoilDay> {
        days.iter()
            .zip(0..)
            .map(|(&(celsius, moisture), offset)| SoilDay {
                date: day(offset),
                mean: celsius.map(|celsius| Celsius::new(celsius + warmer).unwrap()),
                relative_moisture: moisture,
                available_share: moisture,
            })
            .collect()
    }

    proptest! {
        #[test]
        fn warmer_soil_never_makes_a_residual_last_longer(
            days in seasons(),
            warmer in 0.0..15.0_f64,
            mix in subsequence(Ingredient::ALL, 1..5),
        ) {
            // The reference rate stands in for days before the first known one, in both alike.
            let cool = ends(&mix, &season(&days, 0.0)).ends;
            let warm = ends(&mix, &season(&days, warmer)).ends;
            prop_assert!(warm.earliest <= cool.earliest);
            prop_assert!(warm.likely <= cool.likely);
            prop_assert!(warm.latest <= cool.latest);
        }

        #[test]
        fn wetter_soil_never_makes_a_residual_last_longer(
            days in seasons(),
            wetter in 0.0..0.8_f64,
            mix in subsequence(Ingredient::ALL, 1..5),
        ) {
            // Decay alone: the dry rule, which asks for the available water, sees both alike.
            let dry = season(&days, 0.0);
            let mut wet = dry.clone();
            for day in &mut wet {
                day.relative_moisture = day.relative_moisture.map(|moisture| moisture + wetter);
            }
            let (dry, wet) = (ends(&mix, &dry).ends, ends(&mix, &wet).ends);
            prop_assert!(wet.earliest <= dry.earliest);
            prop_assert!(wet.likely <= dry.likely);
            prop_assert!(wet.latest <= dry.latest);
        }

        #[test]
        fn a_mix_lasts_as_long_as_its_longest_partner(
            days in seasons(),
            mix in subsequence(Ingredient::ALL, 1..5),
        ) {
            let days = season(&days, 0.0);
            let whole = ends(&mix, &days);
            let alone = mix
                .iter()
                .filter(|&&one| soil::row(one).is_some())
                .map(|&one| ends(&[one], &days).ends)
                .reduce(DateRange::later);
            prop_assert!(alone.is_none_or(|alone| alone == whole.ends));
        }

        #[test]
        fn a_range_is_in_order_and_within_the_horizon(
            days in seasons(),
            set_after in prop::option::of(0_u64..20),
            mix in subsequence(Ingredient::ALL, 0..5),
        ) {
            let set_on = set_after.map(day);
            let residual =
                range(set_on, day(0), &mix, &season(&days, 0.0), &Thresholds::default());
            let ends = residual.ends;
            prop_assert!(ends.earliest <= ends.likely && ends.likely <= ends.latest);
            prop_assert!(ends.latest <= day(set_after.unwrap_or(0) + 60));
            for partner in residual.per_ingredient {
                prop_assert!(partner.ends.likely <= ends.likely);
            }
        }
    }
}
