//! When the post pass comes too late: weeds too tall, or the crop past a typical label.
//!
//! Nothing here permits a pass. Not being past a limit says nothing about the product in the tank.

use crate::clocks::{DateRange, Stage};
use crate::findings::PostLimit;
use crate::plan::Crop;
use crate::reference::herbicides::{Ingredient, post};
use crate::thresholds::Thresholds;
use chrono::Days;

pub use crate::reference::herbicides::post::{Bound, IngredientFigure, Limit};

/// The crop at one moment, as far as it is known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CropNow {
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
        }
    }
}

impl Limit {
    /// The limit as a finding tells it; `None` for those that hang on the harvest.
    pub const fn as_post_limit(&self) -> Option<PostLimit> {
        let ingredient = self.ingredient;
        match self.bound {
            Bound::HeightUpTo(inches) | Bound::HeightUnder(inches) => {
                Some(PostLimit::CropHeight { inches, ingredient })
            }
            Bound::ThroughStage(stage) => Some(PostLimit::CropStage { stage, ingredient }),
            Bound::BeforeStage(stage) => Some(PostLimit::BeforeStage { stage, ingredient }),
            Bound::DaysToHarvest(_) | Bound::DaysToForage(_) => None,
        }
    }
}

/// Every crop limit of the mix that is known for that crop, in the order of the ingredients.
pub fn limits(crop: &Crop, ingredients: &[Ingredient]) -> Vec<Limit> {
    ingredients.iter().flat_map(|&ingredient| post::limits(crop, ingredient)).copied().collect()
}

/// The limits that the crop is past already. Whichever is passed first counts, and so the most
/// restrictive partner of a mix governs.
pub fn passed<'a>(limits: &'a [Limit], crop: &CropNow) -> impl Iterator<Item = &'a Limit> {
    limits.iter().filter(move |limit| limit.bound.is_past(crop) == Some(true))
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
/// `past` gives the first day on which the crop is past a line, `None` when that is not foreseen.
/// The window closes on the day before. With several limits each end of the range is the earliest
/// of theirs. `None` when nothing closes it within what is foreseen.
pub fn closes(
    limits: &[Limit],
    weeds: Option<(DateRange, f64)>,
    past: impl Fn(Bound) -> Option<DateRange>,
) -> Option<(DateRange, PostLimit)> {
    let by_weeds = weeds.map(|(range, inches)| (range, PostLimit::WeedHeight { inches }));
    let by_crop =
        limits.iter().filter_map(|limit| Some((past(limit.bound)?, limit.as_post_limit()?)));
    by_weeds
        .into_iter()
        .chain(by_crop)
        .reduce(|first, next| {
            let limit = if next.0.likely < first.0.likely { next.1 } else { first.1 };
            (earlier(first.0, next.0), limit)
        })
        .map(|(range, limit)| (day_before(range), limit))
}

fn earlier(a: DateRange, b: DateRange) -> DateRange {
    DateRange {
        earliest: a.earliest.min(b.earliest),
        likely: a.likely.min(b.likely),
        latest: a.latest.min(b.latest),
    }
}

fn day_before(range: DateRange) -> DateRange {
    let back = |date: chrono::NaiveDate| date.checked_sub_days(Days::new(1)).unwrap_or(date);
    DateRange {
        earliest: back(range.earliest),
        likely: back(range.likely),
        latest: back(range.latest),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;
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
        let closing = closes(&limits(&CORN, &[]), Some((range(20), 4.0)), corn);
        assert_eq!(
            closing.map(|(dates, limit)| (dates.likely, limit)),
            Some((day(21), PostLimit::WeedHeight { inches: 4.0 }))
        );
        assert_eq!(closes(&[], None, corn), None);
    }

    #[test]
    fn the_first_limit_passed_gives_its_name_to_the_closing() {
        let closing = closes(&limits(&CORN, &[Ingredient::Glyphosate]), None, corn).unwrap();
        let height = PostLimit::CropHeight { inches: 30.0, ingredient: Ingredient::Glyphosate };
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

    fn mixes() -> impl Strategy<Value = Vec<Ingredient>> {
        subsequence(Ingredient::ALL, 0..6)
    }

    proptest! {
        #[test]
        fn a_mix_never_closes_later_than_its_strictest_partner(mix in mixes(), weeds in 5_u64..60) {
            let weeds = Some((range(weeds), 4.0));
            let (whole, _) = closes(&limits(&CORN, &mix), weeds, corn).unwrap();
            for &partner in &mix {
                let (alone, _) = closes(&limits(&CORN, &[partner]), weeds, corn).unwrap();
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
            let any = mix.iter().any(|&one| passed(&limits(&crop, &[one]), &now).next().is_some());
            prop_assert_eq!(passed(&limits(&crop, &mix), &now).next().is_some(), any);
        }

        #[test]
        fn no_partner_raises_the_weed_height(mix in mixes()) {
            let thresholds = Thresholds::default();
            prop_assert!(weed_height_in(&mix, &thresholds) <= thresholds.weed_height_in);
        }
    }
}
