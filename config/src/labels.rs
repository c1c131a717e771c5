//! What somebody has read on the labels in use: `labels.toml`.

use crate::check;
use crate::document::Document;
use crate::farm_file::CropName;
use crate::faults::Notes;
use crate::people::Person;
use crate::products::Product;
use crate::schema::{IngredientName, StageName};
use chrono::NaiveDate;
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::labels::LabelFact;
use furrowbell_engine::plan::CropKind;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::herbicides::post::Bound;
use schemars::JsonSchema;
use serde::Deserialize;

/// The whole of `labels.toml`.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct LabelsFile {
    /// The labels.
    #[serde(default)]
    pub label: Vec<LabelEntry>,
    /// Products in use, for the records of restricted-use passes.
    #[serde(default)]
    pub product: Vec<Product>,
}

/// What one label says of one ingredient in one crop: at least one limit. Each takes the place of
/// the typical limit of its kind.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct LabelEntry {
    /// Crop.
    pub crop: CropName,
    /// The ingredient, by common name.
    #[schemars(with = "IngredientName")]
    pub ingredient: Ingredient,
    /// Partners that must be in the mix for these limits to hold.
    #[serde(default)]
    #[schemars(with = "Vec<IngredientName>", extend("uniqueItems" = true))]
    pub with: Vec<Ingredient>,
    /// Date of the label.
    pub label_date: NaiveDate,
    /// Id of the person who has read it.
    pub confirmed_by: String,
    /// Crop height up to and with this many inches.
    #[schemars(range(min = 1.0, max = 120.0))]
    pub height_up_to_in: Option<f64>,
    /// Crop height below this many inches.
    #[schemars(range(min = 1.0, max = 120.0))]
    pub height_under_in: Option<f64>,
    /// Last stage on the label: VE, VC, V1 to V20, VT or R1 to R8.
    #[schemars(with = "Option<StageName>")]
    pub through_stage: Option<Stage>,
    /// First stage past the label: VE, VC, V1 to V20, VT or R1 to R8.
    #[schemars(with = "Option<StageName>")]
    pub before_stage: Option<Stage>,
    /// At least this many days before grain harvest.
    #[schemars(range(min = 0, max = 200))]
    pub days_to_harvest: Option<u32>,
    /// At least this many days before forage or silage harvest.
    #[schemars(range(min = 0, max = 200))]
    pub days_to_forage: Option<u32>,
    /// Up to and with this day.
    pub until: Option<NaiveDate>,
}

impl LabelEntry {
    /// Its limits with the key of each.
    fn bounds(&self) -> Vec<(&'static str, Bound)> {
        let bounds = [
            ("height_up_to_in", self.height_up_to_in.map(Bound::HeightUpTo)),
            ("height_under_in", self.height_under_in.map(Bound::HeightUnder)),
            ("through_stage", self.through_stage.map(Bound::ThroughStage)),
            ("before_stage", self.before_stage.map(Bound::BeforeStage)),
            ("days_to_harvest", self.days_to_harvest.map(Bound::DaysToHarvest)),
            ("days_to_forage", self.days_to_forage.map(Bound::DaysToForage)),
            ("until", self.until.map(Bound::Until)),
        ];
        bounds.into_iter().filter_map(|(key, bound)| Some((key, bound?))).collect()
    }

    fn fact(&self, bound: Bound) -> LabelFact {
        let mut with = self.with.clone();
        with.sort_unstable();
        LabelFact {
            crop: match self.crop {
                CropName::Corn => CropKind::Corn,
                CropName::Soybean => CropKind::Soybean,
            },
            ingredient: self.ingredient,
            with,
            bound,
            label_date: self.label_date,
            confirmed_by: self.confirmed_by.clone(),
        }
    }

    /// Why a stage cannot limit this crop.
    fn stage_fault(&self, bound: Bound) -> Option<String> {
        let (Bound::ThroughStage(stage) | Bound::BeforeStage(stage)) = bound else { return None };
        let (crop, foreign) = match self.crop {
            CropName::Corn => ("corn", Stage::Cotyledon),
            CropName::Soybean => ("soybean", Stage::Tassel),
        };
        (stage == foreign).then(|| format!("found {stage}, no stage of {crop}"))
    }
}

/// Checks the labels and gives what they confirm, one fact a limit.
pub(crate) fn settle(
    document: &Document,
    entries: &[LabelEntry],
    people: Option<&[Person]>,
    notes: &mut Notes,
) -> Vec<LabelFact> {
    let mut facts: Vec<LabelFact> = Vec::new();
    for (at, entry) in entries.iter().enumerate() {
        let here = format!("/label/{at}");
        check::known_person(
            document,
            &format!("{here}/confirmed_by"),
            &entry.confirmed_by,
            people,
            notes,
        );
        let mut refuse = |pointer: String, message: String| {
            notes.faults.push(document.fault(&pointer, message));
        };
        if let Some(partner) = entry.with.iter().position(|partner| *partner == entry.ingredient) {
            let message = "with: the ingredient itself; want its partners".to_owned();
            refuse(format!("{here}/with/{partner}"), message);
        }
        let bounds = entry.bounds();
        if bounds.is_empty() {
            refuse(here.clone(), "label: no limit; want one, such as through_stage".to_owned());
        }
        for (key, bound) in bounds {
            let pointer = format!("{here}/{key}");
            if let Some(message) = entry.stage_fault(bound) {
                refuse(pointer.clone(), format!("{key}: {message}"));
            }
            let fact = entry.fact(bound);
            if facts.iter().any(|earlier| speaks_of_the_same(earlier, &fact)) {
                let message = "a label before it limits the same ingredient in the same way";
                refuse(pointer, format!("{key}: {message}; want one of them"));
            }
            facts.push(fact);
        }
    }
    facts
}

fn speaks_of_the_same(one: &LabelFact, other: &LabelFact) -> bool {
    (one.crop, one.ingredient, &one.with) == (other.crop, other.ingredient, &other.with)
        && one.bound.is_like(other.bound)
}
