//! What the planned mixes work on, weed by weed, and what they keep out of the field afterwards.

use furrowbell_engine::clocks::effective::{Groups, Outlook, groups};
use furrowbell_engine::findings::{Evidence, Topic};
use furrowbell_engine::plan::Plan;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::herbicides::soil;
use furrowbell_engine::reference::herbicides::spectrum::Way;

/// One line a named weed: groups of the pre and of the post that work on it.
pub(super) fn lines(plan: &Plan) -> Vec<String> {
    let mixes = plan.pre.is_some() || plan.post.is_some();
    let mut lines = Vec::new();
    if mixes && !plan.weeds.is_empty() {
        lines.push("Sites of action that work on its weeds (from memory):".to_owned());
    }
    for &weed in plan.weeds.iter().filter(|_| mixes) {
        let pre = plan.pre.as_ref().map(|pre| {
            let outlook = Outlook::of(&pre.ingredients, weed, &plan.resistant);
            let seen = outlook.expected.map_or(String::new(), |seen| {
                let (middle, ends) = (seen.source.standing, seen.ends_source.standing);
                format!(
                    ", about {:.0} % once set ({middle}; {:.0} to {:.0}, {ends}), no promise",
                    seen.likely, seen.low, seen.high
                )
            });
            format!("pre {}{seen}", told(outlook.groups))
        });
        let post = plan.post.as_ref().map(|post| {
            format!("post {}", told(groups(&post.ingredients, weed, Way::Leaf, &plan.resistant)))
        });
        let passes: Vec<_> = pre.into_iter().chain(post).collect();
        lines.push(format!("  {}: {}", weed.name(), passes.join("; ")));
    }
    let plant_back: Vec<_> = plant_back(plan).collect();
    if !plant_back.is_empty() {
        lines.push("Waits before the next crop (check your label):".to_owned());
    }
    lines.extend(plant_back);
    lines
}

/// The weeds on which fewer than two groups of the pass behind a notice work, as it is planned.
pub(super) fn behind(plan: &Plan, evidence: &Evidence) -> Vec<String> {
    let (name, pass, way) = match evidence.topic() {
        Topic::RainNeeded | Topic::RainSet | Topic::RainLate => ("pre", &plan.pre, Way::Soil),
        Topic::PostOpen | Topic::PostClosing | Topic::PostOverdue | Topic::SprayHours => {
            ("post", &plan.post, Way::Leaf)
        }
        _ => return Vec::new(),
    };
    let Some(pass) = pass else { return Vec::new() };
    let few = |weed| {
        let groups = groups(&pass.ingredients, weed, way, &plan.resistant);
        (groups.count() < 2).then(|| {
            let (weed, told) = (weed.name(), told(groups));
            format!("of the planned {name} only {told} works on {weed} (from memory)")
        })
    };
    plan.weeds.iter().filter_map(|&weed| few(weed)).collect()
}

fn told(groups: Groups) -> String {
    numbered(&groups.iter().collect::<Vec<_>>())
}

/// Group numbers as they are shown.
pub(super) fn numbered(groups: &[u8]) -> String {
    let numbers: Vec<_> = groups.iter().map(ToString::to_string).collect();
    if numbers.is_empty() { "none".to_owned() } else { format!("group {}", numbers.join(", ")) }
}

fn plant_back(plan: &Plan) -> impl Iterator<Item = String> {
    let mixes = plan.pre.iter().chain(&plan.post);
    let ingredients: Vec<Ingredient> =
        mixes.flat_map(|mix| mix.ingredients.iter().copied()).collect();
    ingredients.into_iter().filter_map(soil::row).flat_map(|row| {
        row.plant_back.iter().map(|after| {
            let (crop, months) = (after.crop, after.months);
            format!(
                "  plant-back: {crop} {months} months after {}; typical label",
                row.ingredient.name()
            )
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use furrowbell_config::Book;
    use furrowbell_engine::clocks::DateRange;
    use furrowbell_engine::findings::PostLimit;
    use std::path::Path;

    #[test]
    fn a_resistant_weed_is_shown_without_its_group() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/demo");
        let book = Book::load(&demo).unwrap();
        let plan = |id| book.field(id).unwrap().plan.clone().unwrap();
        let mill = lines(&plan("mill-creek/lower-mill")).join("\n");
        assert!(mill.contains("waterhemp: pre group 14, 15, "), "{mill}");
        assert!(mill.contains("; post group 27\n"), "{mill}");
        assert!(mill.contains("giant foxtail: pre group 15, "), "{mill}");
        assert!(mill.ends_with("; post group 9"), "{mill}");
    }

    #[test]
    fn a_notice_of_a_pass_tells_where_too_few_groups_work() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/demo");
        let book = Book::load(&demo).unwrap();
        let plan = book.field("mill-creek/lower-mill").unwrap().plan.clone().unwrap();
        let on = "2026-06-01".parse().unwrap();
        let closed_on = DateRange::on(on);
        let limit = PostLimit::WeedHeight { inches: 4.0 };
        let told = behind(&plan, &Evidence::PostOverdue { closed_on, limit, again: false });
        let waterhemp = "of the planned post only group 27 works on waterhemp (from memory)";
        assert_eq!(told.first().map(String::as_str), Some(waterhemp));
        assert!(behind(&plan, &Evidence::WeatherGap { since: on, days: 3 }).is_empty());
    }

    #[test]
    fn plant_back_is_shown_though_no_weed_is_named() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/demo");
        let book = Book::load(&demo).unwrap();
        let field = book.fields.iter().find(|field| {
            let plan = field.plan.as_ref();
            plan.is_some_and(|plan| lines(plan).iter().any(|line| line.contains("plant-back")))
        });
        let mut plan = field.unwrap().plan.clone().unwrap();
        let named = lines(&plan);
        plan.weeds.clear();
        let waits: Vec<_> = named.iter().filter(|line| line.contains("plant-back")).collect();
        assert!(waits.iter().all(|line| lines(&plan).contains(line)));
    }
}
