//! What the planned mixes work on, weed by weed, and what they keep out of the field afterwards.

use furrowbell_engine::clocks::effective::{Groups, Outlook, groups};
use furrowbell_engine::plan::Plan;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::herbicides::soil;
use furrowbell_engine::reference::herbicides::spectrum::Way;

/// One line a named weed: groups of the pre and of the post that work on it.
pub(super) fn lines(plan: &Plan) -> Vec<String> {
    if plan.weeds.is_empty() || (plan.pre.is_none() && plan.post.is_none()) {
        return Vec::new();
    }
    let mut lines = vec!["Sites of action that work on its weeds (from memory):".to_owned()];
    for &weed in &plan.weeds {
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
    lines.extend(plant_back(plan));
    lines
}

fn told(groups: Groups) -> String {
    let numbers: Vec<_> = groups.iter().map(|group| group.to_string()).collect();
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
}
