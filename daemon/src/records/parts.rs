//! What went on in a pass, product by product, by the book.

use super::{AppliedPass, Part};
use furrowbell_config::Book;
use furrowbell_config::farms::Field;
use furrowbell_config::products::Product;
use furrowbell_engine::plan::CropKind;
use furrowbell_engine::reference::Standing;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::herbicides::restricted::usual_restriction;

/// The parts of a pass: the planned products as far as all they hold went on, then each restricted
/// ingredient that none of them accounts for. `said` is what went on when it was not as planned.
pub fn parts_of(book: &Book, field: &Field, pass: AppliedPass, said: &[Ingredient]) -> Vec<Part> {
    let plan = field.plan.as_ref();
    let planned = plan.and_then(|plan| match pass {
        AppliedPass::Pre => plan.pre.as_ref(),
        AppliedPass::Post => plan.post.as_ref(),
    });
    let planned = planned.map(|plan| plan.ingredients.as_slice()).unwrap_or_default();
    let applied = if said.is_empty() { planned } else { said };
    // Of an unknown crop the one is taken in which more is restricted.
    let crop = plan.map_or(CropKind::Soybean, |plan| plan.crop.kind());
    let names = match pass {
        AppliedPass::Pre => &field.products.pre,
        AppliedPass::Post => &field.products.post,
    };
    let products: Vec<&Product> = names
        .iter()
        .filter_map(|name| book.product(name))
        .filter(|product| product.ingredients.iter().all(|one| applied.contains(one)))
        .collect();
    let accounted =
        |one: &Ingredient| products.iter().any(|product| product.ingredients.contains(one));
    let left = applied.iter().filter(|one| !accounted(one)).map(|one| Part {
        key: one.name().to_owned(),
        ingredients: vec![*one],
        restricted: usual(&[*one], crop),
        rate: None,
    });
    let of_products = products.iter().map(|product| of_product(product, crop));
    of_products.chain(left).collect()
}

fn of_product(product: &Product, crop: CropKind) -> Part {
    Part {
        key: product.name.clone(),
        ingredients: product.ingredients.clone(),
        restricted: match product.restricted {
            Some(restricted) => restricted.then_some(Standing::Confirmed),
            None => usual(&product.ingredients, crop),
        },
        rate: product.rate_per_acre,
    }
}

/// How far a restriction is to be trusted that the ingredients usually bring.
fn usual(ingredients: &[Ingredient], crop: CropKind) -> Option<Standing> {
    ingredients.iter().find_map(|one| usual_restriction(*one, crop)).map(|source| source.standing)
}
