//! The post limits in force for a field, and where each comes from.

use chrono::NaiveDate;
use furrowbell_config::Book;
use furrowbell_engine::clocks::post_window::{self, Bound, InForce, Limit};
use furrowbell_engine::findings::{Evidence, PostLimit, Topic};
use furrowbell_engine::labels::LabelFact;
use furrowbell_engine::plan::Plan;
use furrowbell_engine::reference::herbicides::Ingredient;

/// The limits of the post mix, one a line, typical rows and confirmed ones told apart.
pub(super) fn lines(book: &Book, plan: &Plan) -> Vec<String> {
    let Some(post) = &plan.post else { return Vec::new() };
    let mix = &post.ingredients;
    let mut lines = vec!["Limits of the post mix (check your label):".to_owned()];
    lines.extend(post_window::limits(&plan.crop, mix, &book.labels).iter().map(|limit| {
        let from = match limit {
            InForce::Typical(row) => typical(row),
            InForce::Confirmed(fact) => {
                let corrected =
                    if fact.corrects(&plan.crop) { ", corrects the typical one" } else { "" };
                format!("{}{corrected}", confirmed(book, fact))
            }
        };
        format!("  {} {}; {from}", limit.ingredient().name(), drawn(limit.bound()))
    }));
    lines.extend(post_window::smallest(&plan.crop, mix).map(|row| {
        let (name, height, stage) = (row.ingredient.name(), row.height_in, row.stage);
        let year = row.year.map_or(String::new(), |year| format!(" of {year}"));
        let standing = row.source.standing;
        format!("  {name} from {height} in or {stage} on; typical label{year}, {standing}")
    }));
    lines.extend(post_window::with_drop_nozzles(&plan.crop, mix).into_iter().map(|row| {
        let (name, line) = (row.ingredient.name(), drawn(row.bound));
        format!("  with drop nozzles only: {name} {line}; {}", typical(row))
    }));
    lines
}

/// The limits of the post mix that hang on the day of harvest, which nobody has given: they are told
/// beside a notice of the post window, whose dates do not know them.
pub(super) fn of_harvest(book: &Book, plan: &Plan, evidence: &Evidence) -> Vec<String> {
    let of_window = matches!(evidence.topic(), Topic::PostOpen | Topic::PostClosing);
    let Some(post) = plan.post.as_ref().filter(|_| of_window) else { return Vec::new() };
    let limits = post_window::limits(&plan.crop, &post.ingredients, &book.labels);
    let hangs = |limit: &&InForce<'_>| {
        matches!(limit.bound(), Bound::DaysToHarvest(_) | Bound::DaysToForage(_))
    };
    let line =
        |limit: &InForce<'_>| format!("{} {}", limit.ingredient().name(), drawn(limit.bound()));
    limits.iter().filter(hangs).map(line).collect()
}

/// What stands behind a notice whose limit the book confirms.
pub(super) fn behind(book: &Book, evidence: &Evidence) -> Option<String> {
    let (Evidence::PostOpen { limit, .. }
    | Evidence::PostClosing { limit, .. }
    | Evidence::PostOverdue { limit, .. }) = evidence
    else {
        return None;
    };
    let (ingredient, date) = label_of(limit)?;
    let fact =
        book.labels.iter().find(|fact| (fact.ingredient, fact.label_date) == (ingredient, date));
    Some(fact.map_or_else(|| format!("label of {date}"), |fact| confirmed(book, fact)))
}

const fn label_of(limit: &PostLimit) -> Option<(Ingredient, NaiveDate)> {
    match limit {
        PostLimit::WeedHeight { .. } => None,
        PostLimit::CropStage { ingredient, label, .. }
        | PostLimit::BeforeStage { ingredient, label, .. }
        | PostLimit::CropHeight { ingredient, label, .. }
        | PostLimit::LastDay { ingredient, label, .. } => match label {
            Some(date) => Some((*ingredient, *date)),
            None => None,
        },
    }
}

fn confirmed(book: &Book, fact: &LabelFact) -> String {
    let id = &*fact.confirmed_by;
    let name = book.person(id).map_or(id, |person| &person.name);
    format!("label of {}, confirmed by {name}", fact.label_date)
}

fn typical(row: &Limit) -> String {
    let year = row.year.map_or(String::new(), |year| format!(" of {year}"));
    format!("typical label{year}, {}", row.source.standing)
}

fn drawn(bound: Bound) -> String {
    match bound {
        Bound::HeightUpTo(inches) => format!("up to {inches} in"),
        Bound::HeightUnder(inches) => format!("below {inches} in"),
        Bound::ThroughStage(stage) => format!("through {stage}"),
        Bound::BeforeStage(stage) => format!("before {stage}"),
        Bound::DaysToHarvest(days) => format!("{days} days before harvest: check your date"),
        Bound::DaysToForage(days) => {
            format!("{days} days before forage harvest: check your date")
        }
        Bound::Until(last) => format!("until {last}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn demo() -> Book {
        Book::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/demo")).unwrap()
    }

    fn closing(label: Option<NaiveDate>) -> Evidence {
        let date: NaiveDate = "2026-06-01".parse().unwrap();
        let closes = furrowbell_engine::clocks::DateRange::on(date);
        let ingredient = Ingredient::Glyphosate;
        Evidence::PostClosing {
            closes,
            limit: PostLimit::CropHeight { inches: 30.0, ingredient, label },
            again: false,
            no_label: None,
        }
    }

    #[test]
    fn a_confirmed_limit_names_its_label_and_its_reader() {
        let book = demo();
        let plan = book.field("mill-creek/lower-mill").unwrap().plan.as_ref().unwrap();
        let lines = lines(&book, plan).join("\n");
        let own = "glyphosate up to 30 in; label of 2026-01-10, confirmed by Ida Brandvold";
        assert!(lines.contains(own), "{lines}");
        assert!(lines.contains("mesotrione through V8; typical label, from memory"), "{lines}");
        assert!(lines.contains("with drop nozzles only: glyphosate up to 48 in"), "{lines}");
        let date = Some("2026-01-10".parse().unwrap());
        assert_eq!(
            behind(&book, &closing(date)).as_deref(),
            Some("label of 2026-01-10, confirmed by Ida Brandvold")
        );
    }

    #[test]
    fn a_limit_that_hangs_on_the_harvest_is_told_with_the_post_window() {
        let book = demo();
        let plan = book.field("mill-creek/lower-mill").unwrap().plan.as_ref().unwrap();
        let told = of_harvest(&book, plan, &closing(None));
        let mesotrione = "mesotrione 45 days before harvest: check your date";
        assert!(told.iter().any(|line| line == mesotrione), "{told:?}");
        assert!(lines(&book, plan).join("\n").contains(mesotrione));
        let gap = Evidence::WeatherGap { since: "2026-06-01".parse().unwrap(), days: 3 };
        assert!(of_harvest(&book, plan, &gap).is_empty());
    }

    #[test]
    fn a_label_no_longer_in_the_book_is_told_by_its_date() {
        let book = demo();
        let date = Some("2024-02-01".parse().unwrap());
        assert_eq!(behind(&book, &closing(date)).as_deref(), Some("label of 2024-02-01"));
        assert_eq!(behind(&book, &closing(None)), None);
    }
}
