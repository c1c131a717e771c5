//! Which ingredients usually make a product one of restricted use under federal law, so that only a
//! certified applicator, or somebody under one's direct supervision, may use it.

use super::Ingredient;
use super::sources::recalled;
use crate::plan::CropKind;
use crate::reference::Source;

/// Why a product with the ingredient is usually one of restricted use in that crop; `None` for one
/// that usually is not. The front of the label decides; a state may restrict more.
///
/// The list is from memory and unverified: what the U.S. Environmental Protection Agency restricts
/// stands in 40 CFR 152.175 and, since most is restricted product by product, on the labels.
pub const fn usual_restriction(ingredient: Ingredient, crop: CropKind) -> Option<Source> {
    match (ingredient, crop) {
        (Ingredient::Atrazine, _) => Some(WATER),
        (Ingredient::Acetochlor, _) => Some(GROUND_WATER),
        (Ingredient::Isoxaflutole, _) => Some(GROUND_WATER_AND_PLANTS),
        (Ingredient::Paraquat, _) => Some(ACUTE),
        (Ingredient::Dicamba, CropKind::Soybean) => Some(OVER_THE_TOP),
        _ => None,
    }
}

const WATER: Source = recalled(
    "U.S. EPA, Restricted Use Products Report: atrazine, for ground and surface water concerns",
);
const GROUND_WATER: Source =
    recalled("U.S. EPA, Restricted Use Products Report: acetochlor, for ground water concerns");
const GROUND_WATER_AND_PLANTS: Source = recalled(
    "U.S. EPA, Restricted Use Products Report: isoxaflutole, for water and non-target plants",
);
const ACUTE: Source = recalled("40 CFR 152.175: paraquat, for acute toxicity to people");
const OVER_THE_TOP: Source =
    recalled("U.S. EPA, registrations of dicamba for use over the top of tolerant soybean");

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::Standing;

    #[test]
    fn what_is_recalled_is_said_to_be() {
        for ingredient in Ingredient::ALL {
            for crop in [CropKind::Corn, CropKind::Soybean] {
                if let Some(source) = usual_restriction(*ingredient, crop) {
                    assert_eq!(source.standing, Standing::FromMemory, "{}", ingredient.name());
                }
            }
        }
    }

    #[test]
    fn dicamba_is_restricted_over_soybean_alone() {
        assert!(usual_restriction(Ingredient::Dicamba, CropKind::Soybean).is_some());
        assert!(usual_restriction(Ingredient::Dicamba, CropKind::Corn).is_none());
    }
}
