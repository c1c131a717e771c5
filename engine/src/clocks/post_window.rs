//! When the post pass comes too late: weeds too tall, or the crop past a label's limit.
//!
//! Nothing here permits a pass. Not being past a limit says nothing about the product in the tank.
//! A typical row stands until the book confirms or corrects it from the label itself.

use crate::clocks::{DateRange, Stage};
use crate::findings::PostLimit;
use crate::labels::LabelFact;
use crate::plan::Crop;
use crate::reference::Standing;
use crate::reference::herbicides::{Ingredient, over_the_top, post};
use crate::thresholds::Thresholds;
use chrono::{Datelike, NaiveDate};

pub use crate::reference::herbicides::post::{Bound, IngredientFigure, Limit, SmallestCorn};

/// The crop at one moment, as far as it is known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CropNow {
    /// The local day.
    pub date: Option<NaiveDate>,
    /// Stage.
    pub stage: Option<Stage>,
    /// Height, inches.
    pub height_in: Option<f64>,
    /// Days to grain harvest.
    pub days_to_harvest: Option<u32>,
    /// Days to forage or silage harvest.
    pub days_to_forage: Option<u32>,
}

impl Bound {
    /// Whether the crop is past the line; `None` when what it would take to tell is not known.
    pub fn is_past(self, crop: &CropNow) -> Option<bool> {
        match self {
            Self::HeightUpTo(inches) => crop.height_in.map(|height| height > inches),
            Self::HeightUnder(inches) => crop.height_in.map(|height| height >= inches),
            Self::ThroughStage(last) => crop.stage.map(|stage| stage > last),
            Self::BeforeStage(first) => crop.stage.map(|stage| stage >= first),
            Self::DaysToHarvest(days) => crop.days_to_harvest.map(|left| left < days),
            Self::DaysToForage(days) => crop.days_to_forage.map(|left| left < days),
            Self::Until(last) => crop.date.map(|date| date > last),
        }
    }
}

/// One limit in force for a mix.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum InForce<'a> {
    /// A row of the tables.
    Typical(&'static Limit),
    /// What the book confirms of the label.
    Confirmed(&'a LabelFact),
}

impl<'a> InForce<'a> {
    /// The partner of the mix that sets it.
    pub const fn ingredient(&self) -> Ingredient {
        match self {
            Self::Typical(row) => row.ingredient,
            Self::Confirmed(fact) => fact.ingredient,
        }
    }

    /// The line.
    pub const fn bound(&self) -> Bound {
        match self {
            Self::Typical(row) => row.bound,
            Self::Confirmed(fact) => fact.bound,
        }
    }

    /// How far it is to be trusted.
    pub const fn standing(&self) -> Standing {
        match self {
            Self::Typical(row) => row.source.standing,
            Self::Confirmed(_) => Standing::Confirmed,
        }
    }

    /// The label behind it, where the book confirms it.
    pub const fn label(&self) -> Option<&'a LabelFact> {
        match self {
            Self::Typical(_) => None,
            Self::Confirmed(fact) => Some(fact),
        }
    }

    /// The limit as a finding tells it; `None` for those that hang on the harvest.
    pub fn as_post_limit(&self) -> Option<PostLimit> {
        let ingredient = self.ingredient();
        let label = self.label().map(|fact| fact.label_date);
        match self.bound() {
            Bound::HeightUpTo(inches) | Bound::HeightUnder(inches) => {
                Some(PostLimit::CropHeight { inches, ingredient, label })
            }
            Bound::ThroughStage(stage) => Some(PostLimit::CropStage { stage, ingredient, label }),
            Bound::BeforeStage(stage) => Some(PostLimit::BeforeStage { stage, ingredient, label }),
            Bound::Until(last) => Some(PostLimit::LastDay { last, ingredient, label }),
            Bound::DaysToHarvest(_) | Bound::DaysToForage(_) => None,
        }
    }
}

/// Every limit in force for the mix in that crop, by ingredient in the order of the tables; what
/// `labels` confirm or correct takes the place of the typical row.
pub fn limits<'a>(crop: &Crop, mix: &[Ingredient], labels: &'a [LabelFact]) -> Vec<InForce<'a>> {
    let facts: Vec<_> = labels.iter().filter(|fact| fact.holds_for(crop, mix)).collect();
    let typical = mix
        .iter()
        .flat_map(|&ingredient| post::limits(crop, ingredient))
        .filter(|row| all_in(mix, row.with))
        .filter(|row| !facts.iter().any(|fact| fact.replaces(row)))
        .map(InForce::Typical);
    let confirmed = facts.iter().map(|&fact| InForce::Confirmed(fact));
    let mut limits: Vec<_> = typical.chain(confirmed).collect();
    limits.sort_by_key(InForce::ingredient);
    limits
}

fn all_in(mix: &[Ingredient], partners: &[Ingredient]) -> bool {
    partners.iter().all(|partner| mix.contains(partner))
}

/// How far drop nozzles stretch the limits of the mix: to be shown, never for a broadcast pass.
pub fn with_drop_nozzles(crop: &Crop, mix: &[Ingredient]) -> Vec<&'static Limit> {
    mix.iter()
        .flat_map(|&ingredient| post::with_drop_nozzles(crop, ingredient))
        .filter(|row| all_in(mix, row.with))
        .collect()
}

/// The limits that the crop is past already. Whichever is passed first counts, and so the most
/// restrictive partner of a mix governs.
pub fn passed<'a, 'b>(
    limits: &'b [InForce<'a>],
    crop: &CropNow,
) -> impl Iterator<Item = &'b InForce<'a>> {
    limits.iter().filter(move |limit| limit.bound().is_past(crop) == Some(true))
}

/// The sizes that the mix wants corn to have reached.
pub fn smallest(crop: &Crop, mix: &[Ingredient]) -> impl Iterator<Item = &'static SmallestCorn> {
    let table = if crop.is_corn() { post::SMALLEST_CORN } else { &[] };
    table.iter().filter(move |row| mix.contains(&row.ingredient) && all_in(mix, row.with))
}

/// Those of [`smallest`] that the crop is known not to have.
pub fn too_small(
    crop: &Crop,
    mix: &[Ingredient],
    now: &CropNow,
) -> impl Iterator<Item = &'static SmallestCorn> {
    smallest(crop, mix).filter(move |row| {
        let low = now.height_in.is_some_and(|height| height < row.height_in);
        let young = now.stage.is_some_and(|stage| stage < row.stage);
        low && young
    })
}

/// The partner of the mix that has no label on record over that crop in that year: dicamba over
/// soybean, where its rule for the year says that none was registered or no rule is on hand and the
/// book confirms no label of the year. Having a label says nothing of the product in the tank.
pub fn no_label(
    crop: &Crop,
    mix: &[Ingredient],
    labels: &[LabelFact],
    year: i32,
) -> Option<Ingredient> {
    let over_the_top = !crop.is_corn() && mix.contains(&Ingredient::Dicamba);
    let confirmed = |fact: &LabelFact| {
        fact.ingredient == Ingredient::Dicamba
            && fact.label_date.year() == year
            && fact.holds_for(crop, mix)
    };
    let on_record = match over_the_top::rule(year) {
        Some(rule) => rule.heat.is_some(),
        None => labels.iter().any(confirmed),
    };
    (over_the_top && !on_record).then_some(Ingredient::Dicamba)
}

/// The longest wait between two passes that any partner is known to want, days.
pub fn spacing(mix: &[Ingredient]) -> Option<&'static IngredientFigure> {
    mix.iter()
        .filter_map(|&ingredient| post::spacing(ingredient))
        .max_by(|a, b| a.value.total_cmp(&b.value))
}

/// Weed height that the pass must beat, inches: the threshold, or less where a partner of the mix
/// wants smaller weeds.
pub fn weed_height_in(ingredients: &[Ingredient], thresholds: &Thresholds) -> f64 {
    ingredients
        .iter()
        .filter_map(|&ingredient| post::weed_size(ingredient))
        .map(|size| size.value)
        .fold(thresholds.weed_height_in, f64::min)
}

/// The longest rain-free time that any partner wants, hours; `None` when it is not known for all.
pub fn rainfast(ingredients: &[Ingredient]) -> Option<&'static IngredientFigure> {
    longest(ingredients, post::rainfast)
}

/// The longest restricted-entry interval of any partner, hours; `None` when it is not known for
/// all.
pub fn reentry(ingredients: &[Ingredient]) -> Option<&'static IngredientFigure> {
    longest(ingredients, post::reentry)
}

fn longest(
    ingredients: &[Ingredient],
    figure: fn(Ingredient) -> Option<&'static IngredientFigure>,
) -> Option<&'static IngredientFigure> {
    let figures: Option<Vec<_>> =
        ingredients.iter().map(|&ingredient| figure(ingredient)).collect();
    figures?.into_iter().max_by(|a, b| a.value.total_cmp(&b.value))
}

/// When the window closes, and by which limit: the one that is likely to be passed first.
///
/// `weeds` is when weeds pass the height that the pass must beat, with that height in inches.
/// `past` gives the first day on which the crop is past a line of height or stage, `None` when that
/// is not foreseen.
/// The window closes on the day before. With several limits each end of the range is the earliest
/// of theirs. `None` when nothing closes it within what is foreseen.
pub fn closes(
    limits: &[InForce<'_>],
    weeds: Option<(DateRange, f64)>,
    past: impl Fn(Bound) -> Option<DateRange>,
) -> Option<(DateRange, PostLimit)> {
    let by_weeds = weeds.map(|(range, inches)| (range, PostLimit::WeedHeight { inches }));
    let passes = |bound| match bound {
        Bound::Until(last) => last.succ_opt().map(DateRange::on),
        other => past(other),
    };
    let by_crop =
        limits.iter().filter_map(|limit| Some((passes(limit.bound())?, limit.as_post_limit()?)));
    by_weeds
        .into_iter()
        .chain(by_crop)
        .reduce(|first, next| {
            let limit = if next.0.likely < first.0.likely { next.1 } else { first.1 };
            (first.0.earlier(next.0), limit)
        })
        .map(|(range, limit)| (range.day_before(), limit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::CropKind;
    use chrono::Days;
    use proptest::prelude::*;
    use proptest::sample::{select, subsequence};

    const CORN: Crop = Crop::Corn { relative_maturity_days: 102.0 };
    const SOYBEAN: Crop = Crop::Soybean { maturity_group: 2.1 };

    fn day(offset: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 5, 1).unwrap() + Days::new(offset)
    }

    fn range(offset: u64) -> DateRange {
        DateRange { earliest: day(offset), likely: day(offset + 2), latest: day(offset + 4) }
    }

    /// A corn crop that grows a leaf every three days and two inches a day.
    fn corn(bound: Bound) -> Option<DateRange> {
        (0..90_u32)
            .find(|&offset| {
                let now = CropNow {
                    stage: Some(Stage::Vegetative(u8::try_from(offset / 3).unwrap())),
                    height_in: Some(f64::from(offset) * 1.5),
                    ..CropNow::default()
                };
                bound.is_past(&now) == Some(true)
            })
            .map(|offset| range(u64::from(offset)))
    }

    #[test]
    fn an_unplanned_mix_closes_by_weed_height_alone() {
        let closing = closes(&limits(&CORN, &[], &[]), Some((range(20), 4.0)), corn);
        assert_eq!(
            closing.map(|(dates, limit)| (dates.likely, limit)),
            Some((day(21), PostLimit::WeedHeight { inches: 4.0 }))
        );
        assert_eq!(closes(&[], None, corn), None);
    }

    #[test]
    fn the_first_limit_passed_gives_its_name_to_the_closing() {
        let closing = closes(&limits(&CORN, &[Ingredient::Glyphosate], &[]), None, corn).unwrap();
        let height =
            PostLimit::CropHeight { inches: 30.0, ingredient: Ingredient::Glyphosate, label: None };
        assert_eq!(closing.1, height);
        assert_eq!(closing.0.likely, day(22));
    }

    #[test]
    fn what_is_not_known_is_not_said_to_be_past() {
        for limit in post::CORN.iter().chain(post::SOYBEAN) {
            assert_eq!(limit.bound.is_past(&CropNow::default()), None);
        }
    }

    #[test]
    fn a_partner_without_a_figure_leaves_the_mix_without_one() {
        assert!(reentry(&[Ingredient::Glyphosate]).is_some());
        assert!(reentry(&[Ingredient::Glyphosate, Ingredient::Linuron]).is_none());
        assert!(rainfast(&[]).is_none());
    }

    fn label(ingredient: Ingredient, bound: Bound) -> LabelFact {
        LabelFact {
            crop: CropKind::Corn,
            ingredient,
            with: Vec::new(),
            bound,
            label_date: day(0),
            confirmed_by: "the advisor".to_owned(),
        }
    }

    #[test]
    fn a_confirmed_row_takes_the_place_of_the_typical_one_of_its_kind() {
        let labels = [label(Ingredient::Glyphosate, Bound::HeightUnder(24.0))];
        let limits = limits(&CORN, &[Ingredient::Glyphosate], &labels);
        let heights: Vec<_> =
            limits.iter().filter(|one| one.bound().is_like(Bound::HeightUpTo(0.0))).collect();
        assert_eq!(heights, [&InForce::Confirmed(&labels[0])]);
        assert_eq!(heights[0].standing(), Standing::Confirmed);
        assert!(labels[0].corrects(&CORN));
        let stage = |one: &&InForce<'_>| one.bound() == Bound::ThroughStage(Stage::Vegetative(8));
        assert_eq!(limits.iter().find(stage).and_then(InForce::label), None);
        let closing = closes(&limits, None, corn).unwrap();
        let told = PostLimit::CropHeight {
            inches: 24.0,
            ingredient: Ingredient::Glyphosate,
            label: Some(day(0)),
        };
        assert_eq!(closing.1, told);
    }

    #[test]
    fn a_label_of_another_crop_or_mix_changes_nothing() {
        let mut labels = [label(Ingredient::Glyphosate, Bound::HeightUpTo(10.0))];
        let without = limits(&SOYBEAN, &[Ingredient::Glyphosate], &[]);
        assert_eq!(limits(&SOYBEAN, &[Ingredient::Glyphosate], &labels), without);
        labels[0].with = vec![Ingredient::Atrazine];
        let alone = limits(&CORN, &[Ingredient::Glyphosate], &[]);
        assert_eq!(limits(&CORN, &[Ingredient::Glyphosate], &labels), alone);
    }

    #[test]
    fn a_premix_row_needs_its_partners_and_only_its_own_label_replaces_it() {
        let with_atrazine = |labels: &[LabelFact]| {
            let mix = [Ingredient::Mesotrione, Ingredient::Atrazine];
            let rows = limits(&CORN, &mix, labels);
            let mut own = rows.iter().filter(|one| one.ingredient() == Ingredient::Mesotrione);
            own.any(|one| one.bound() == Bound::HeightUpTo(12.0))
        };
        let alone = limits(&CORN, &[Ingredient::Mesotrione], &[]);
        assert!(alone.iter().all(|one| one.bound() != Bound::HeightUpTo(12.0)));
        let mut labels = [label(Ingredient::Mesotrione, Bound::HeightUpTo(11.0))];
        assert!(with_atrazine(&labels));
        labels[0].with = vec![Ingredient::Atrazine];
        assert!(!with_atrazine(&labels));
    }

    #[test]
    fn the_last_day_of_a_label_closes_the_window_on_that_day() {
        let labels = [label(Ingredient::Atrazine, Bound::Until(day(3)))];
        let limits = limits(&CORN, &[Ingredient::Atrazine], &labels);
        let (dates, limit) = closes(&limits, None, corn).unwrap();
        assert_eq!(dates, DateRange::on(day(3)));
        assert!(matches!(limit, PostLimit::LastDay { last, .. } if last == day(3)));
        let later = CropNow { date: Some(day(4)), ..CropNow::default() };
        assert_eq!(passed(&limits, &later).count(), 1);
    }

    #[test]
    fn corn_is_too_small_only_when_both_height_and_stage_say_so() {
        let mix = [Ingredient::Dicamba, Ingredient::Diflufenzopyr];
        let small = |height_in, leaves: Option<u8>| {
            let stage = leaves.map(Stage::Vegetative);
            let now = CropNow { stage, height_in, ..CropNow::default() };
            too_small(&CORN, &mix, &now).next().is_some()
        };
        assert!(small(Some(3.9), Some(1)));
        assert!(!small(Some(4.0), Some(1)) && !small(Some(3.9), Some(2)));
        assert!(!small(None, Some(1)) && !small(Some(3.9), None));
        let now =
            CropNow { stage: Some(Stage::Emerged), height_in: Some(1.0), ..CropNow::default() };
        assert!(too_small(&CORN, &mix[..1], &now).next().is_none());
        assert!(too_small(&SOYBEAN, &mix, &now).next().is_none());
    }

    fn stricter(bound: Bound, cut: f64) -> Bound {
        match bound {
            Bound::HeightUpTo(inches) | Bound::HeightUnder(inches) => {
                Bound::HeightUnder(inches * cut)
            }
            Bound::ThroughStage(last) => Bound::BeforeStage(last),
            Bound::BeforeStage(_) => Bound::BeforeStage(Stage::Planted),
            Bound::DaysToHarvest(days) => Bound::DaysToHarvest(days + 7),
            Bound::DaysToForage(days) => Bound::DaysToForage(days + 7),
            Bound::Until(last) => Bound::Until(last),
        }
    }

    fn mixes() -> impl Strategy<Value = Vec<Ingredient>> {
        subsequence(Ingredient::ALL, 0..6)
    }

    proptest! {
        #[test]
        fn a_mix_never_closes_later_than_its_strictest_partner(mix in mixes(), weeds in 5_u64..60) {
            let weeds = Some((range(weeds), 4.0));
            let (whole, _) = closes(&limits(&CORN, &mix, &[]), weeds, corn).unwrap();
            for &partner in &mix {
                let (alone, _) = closes(&limits(&CORN, &[partner], &[]), weeds, corn).unwrap();
                prop_assert!(whole.likely <= alone.likely);
                prop_assert!(whole.earliest <= alone.earliest);
                prop_assert!(whole.latest <= alone.latest);
            }
            prop_assert!(whole.earliest <= whole.likely && whole.likely <= whole.latest);
        }

        #[test]
        fn a_mix_is_past_whenever_one_partner_is(
            mix in mixes(),
            crop in select(vec![CORN, SOYBEAN]),
            leaves in 0_u8..12,
            height in 0.0..60.0_f64,
        ) {
            let now = CropNow {
                stage: Some(Stage::Vegetative(leaves)),
                height_in: Some(height),
                ..CropNow::default()
            };
            let any = mix.iter().any(|&one| passed(&limits(&crop, &[one], &[]), &now).next().is_some());
            prop_assert_eq!(passed(&limits(&crop, &mix, &[]), &now).next().is_some(), any);
        }

        #[test]
        fn the_order_of_partners_and_labels_does_not_matter(
            mix in mixes().prop_shuffle(),
            weeds in 5_u64..60,
        ) {
            let labels: Vec<_> =
                mix.iter().map(|&one| label(one, Bound::HeightUpTo(9.0))).collect();
            let (turned, turned_labels): (Vec<_>, Vec<_>) =
                mix.iter().copied().zip(labels.iter().cloned()).rev().unzip();
            let weeds = Some((range(weeds), 4.0));
            prop_assert_eq!(
                closes(&limits(&CORN, &mix, &labels), weeds, corn),
                closes(&limits(&CORN, &turned, &turned_labels), weeds, corn)
            );
            prop_assert_eq!(
                rainfast(&mix).map(|figure| figure.value),
                rainfast(&turned).map(|figure| figure.value)
            );
        }

        #[test]
        fn a_confirmed_stricter_row_never_loosens(
            mix in mixes(),
            at in any::<prop::sample::Index>(),
            cut in 0.0..1.0_f64,
        ) {
            let typical = limits(&CORN, &mix, &[]);
            prop_assume!(!typical.is_empty());
            let row = typical[at.index(typical.len())];
            let InForce::Typical(row) = row else { unreachable!("no label is given") };
            let mut fact = label(row.ingredient, stricter(row.bound, cut));
            fact.with = row.with.to_vec();
            let facts = [fact];
            let confirmed = limits(&CORN, &mix, &facts);
            for offset in 0..90_u32 {
                let now = CropNow {
                    stage: Some(Stage::Vegetative(u8::try_from(offset / 3).unwrap())),
                    height_in: Some(f64::from(offset) * 1.5),
                    days_to_harvest: Some(120 - offset),
                    days_to_forage: Some(90 - offset),
                    date: None,
                };
                if passed(&typical, &now).next().is_some() {
                    prop_assert!(passed(&confirmed, &now).next().is_some());
                }
            }
        }

        #[test]
        fn no_partner_raises_the_weed_height(mix in mixes()) {
            let thresholds = Thresholds::default();
            prop_assert!(weed_height_in(&mix, &thresholds) <= thresholds.weed_height_in);
        }
    }
}
