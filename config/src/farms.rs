//! Farms, fields and plans: `farms/FARM.toml`.

use crate::products::Planned;
use chrono::NaiveDate;
use chrono_tz::Tz;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::Plan;
use furrowbell_engine::site::Site;
use furrowbell_engine::thresholds::{Overrides, Thresholds};
use furrowbell_engine::units::{Acres, PoundsPerAcre};

/// One farm, checked.
#[derive(Debug, Clone)]
pub struct Farm {
    /// Short id; the file's name.
    pub id: String,
    /// Name as people say it.
    pub name: String,
    /// Who gets the texts about its fields (ids of people).
    pub growers: Vec<String>,
    /// Who advises it (ids of people).
    pub advisors: Vec<String>,
    /// Zone of its clocks.
    pub zone: Tz,
    /// Thresholds of this farm.
    pub thresholds: Overrides,
}

/// One field, checked, with its plan and the thresholds in force for it.
#[derive(Debug, Clone)]
pub struct Field {
    /// `FARM/FIELD`, unique in the book.
    pub id: String,
    /// Id of its farm.
    pub farm: String,
    /// Name as people say it; at most 24 characters.
    pub name: String,
    /// Size.
    pub acres: Acres,
    /// Place and soil.
    pub site: Site,
    /// What is meant for it this season; a field without a plan has no clocks.
    pub plan: Option<Plan>,
    /// Products meant for its passes.
    pub products: Planned,
    /// What the book itself says has happened.
    pub done: Done,
    /// Service, farm and field thresholds merged.
    pub thresholds: Thresholds,
}

/// What the book itself says has happened to a field; the journal may say more.
#[derive(Debug, Clone, Default)]
pub struct Done {
    /// Day of planting.
    pub planted: Option<NaiveDate>,
    /// Day of the pre pass.
    pub pre_applied: Option<NaiveDate>,
    /// Day of the post pass.
    pub post_applied: Option<NaiveDate>,
    /// Day on which the starter went on, where that was before planting.
    pub starter_applied: Option<NaiveDate>,
    /// Day of the sidedress pass, with the N put on when it was not as planned.
    pub sidedressed: Option<(NaiveDate, Option<PoundsPerAcre>)>,
}

impl Field {
    /// What the book says has happened, as journal entries in order of date.
    pub fn entries(&self) -> Vec<Entry> {
        let as_planned = Vec::new;
        let done = &self.done;
        let passes = [
            done.starter_applied
                .map(|date| (date, Event::StarterApplied { nitrogen: None, source: None })),
            done.planted.map(|date| (date, Event::Planted)),
            done.pre_applied.map(|date| (date, Event::PreApplied { ingredients: as_planned() })),
            done.post_applied.map(|date| (date, Event::PostApplied { ingredients: as_planned() })),
            done.sidedressed.map(|(date, nitrogen)| (date, Event::Sidedressed { nitrogen })),
        ];
        let mut entries: Vec<Entry> =
            passes.into_iter().flatten().map(|(date, event)| Entry { date, event }).collect();
        entries.sort_by_key(|entry| entry.date);
        entries
    }
}
