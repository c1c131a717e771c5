use super::*;
use chrono::DateTime;
use furrowbell_config::products::Unit;

/// A pre pass of 12 May 2026 with these parts, of which nothing is known.
pub(super) fn application(parts: Vec<Part>) -> Application {
    Application {
        id: "a1".to_owned(),
        entry_id: "r1".to_owned(),
        field: "farm/north-80".to_owned(),
        applied_on: NaiveDate::from_ymd_opt(2026, 5, 12).unwrap(),
        pass: AppliedPass::Pre,
        parts,
        by: "ann".to_owned(),
        asked: Some("ann".to_owned()),
        created_at: DateTime::UNIX_EPOCH,
    }
}

pub(super) fn part(key: &str, ingredient: Ingredient, restricted: Option<Standing>) -> Part {
    let rate = Some(Amount { amount: 1.5, unit: Unit::Qt });
    Part { key: key.to_owned(), ingredients: vec![ingredient], restricted, rate }
}

pub(super) fn said(part: &str, item: Item, value: &str, origin: Origin) -> ItemRow {
    ItemRow {
        id: format!("{part}/{item:?}/{value}"),
        application_id: "a1".to_owned(),
        part: part.to_owned(),
        item,
        value: value.to_owned(),
        origin,
        by: "ann".to_owned(),
        at: DateTime::UNIX_EPOCH,
    }
}

/// A record with all that 110.3(a) lists; `restricted` stands for its one product.
pub(super) fn whole(restricted: Option<Standing>) -> Sheet {
    let rows = [
        said("atrazine", Item::Product, "Mix 3", Origin::Reply),
        said("atrazine", Item::Epa, "123-45", Origin::Reply),
        said("atrazine", Item::Amount, "24 gal", Origin::Reply),
        said("", Item::Location, "North 80, Farm, at 41.2, -96.6", Origin::Book),
        said("", Item::Acres, "80", Origin::Book),
        said("", Item::Crop, "corn", Origin::Book),
        said("", Item::Applicator, "Ann", Origin::Reply),
        said("", Item::Certification, "IA-12345", Origin::Reply),
    ];
    let part = part("atrazine", Ingredient::Atrazine, restricted);
    Sheet::of(application(vec![part]), &rows, false)
}

const MEMORY: Option<Standing> = Some(Standing::FromMemory);

fn missing(sheet: &Sheet) -> Vec<Item> {
    sheet.missing().into_iter().map(|(_, item)| item).collect()
}

/// 7 CFR 110.3(a): each of the things it lists is missed when it alone is not known.
#[test]
fn each_thing_the_rule_lists_is_missed() {
    let whole = whole(MEMORY);
    assert_eq!(whole.missing(), []);
    for item in [
        Item::Product,
        Item::Epa,
        Item::Amount,
        Item::Location,
        Item::Acres,
        Item::Crop,
        Item::Applicator,
        Item::Certification,
    ] {
        let mut less = whole.clone();
        less.items.remove(&item);
        less.parts[0].items.remove(&item);
        assert_eq!(missing(&less), [item]);
    }
}

#[test]
fn nothing_is_missed_of_a_pass_without_restricted_products_or_one_taken_back() {
    let open = |restricted, withdrawn| {
        let part = part("glyphosate", Ingredient::Glyphosate, restricted);
        Sheet::of(application(vec![part]), [], withdrawn)
    };
    assert_eq!(open(None, false).missing(), []);
    assert_eq!(open(MEMORY, true).missing(), []);
    assert_eq!(open(MEMORY, false).missing().len(), 8);
}

/// Montana State University Extension, "Pesticide Recordkeeping": within 14 days following the
/// application.
#[test]
fn the_record_is_due_on_the_fourteenth_day() {
    assert_eq!(whole(MEMORY).due(), NaiveDate::from_ymd_opt(2026, 5, 26).unwrap());
}

#[test]
fn a_spot_below_a_tenth_of_an_acre_needs_no_applicator_and_no_crop() {
    let of = |acres: &str| {
        let row = said("", Item::Acres, acres, Origin::Command);
        let part = part("atrazine", Ingredient::Atrazine, MEMORY);
        Sheet::of(application(vec![part]), [&row], false)
    };
    let spot = of("0.09");
    assert!(spot.is_spot());
    assert_eq!(missing(&spot), [Item::Product, Item::Epa, Item::Amount, Item::Location]);
    assert!(!of("0.1").is_spot());
}

#[test]
fn two_ingredients_of_one_registration_are_one_product() {
    let parts = vec![
        part("acetochlor", Ingredient::Acetochlor, MEMORY),
        part("atrazine", Ingredient::Atrazine, MEMORY),
    ];
    let mut sheet = Sheet::of(application(parts), [], false);
    assert_eq!(sheet.missing().iter().filter(|(_, item)| *item == Item::Amount).count(), 2);
    for row in [
        said("acetochlor", Item::Product, "Mix 3", Origin::Reply),
        said("acetochlor", Item::Epa, "123-45", Origin::Reply),
        said("acetochlor", Item::Amount, "24 gal", Origin::Reply),
    ] {
        sheet.take(row);
    }
    assert_eq!(sheet.next_asked(), Some(("atrazine".to_owned(), Item::Product)));
    sheet.take(said("atrazine", Item::Epa, "123-45", Origin::Reply));
    assert_eq!(sheet.parts.len(), 1);
    assert_eq!(sheet.parts[0].ingredients(), "acetochlor, atrazine");
    assert_eq!(sheet.next_asked(), Some((String::new(), Item::Applicator)));
}

#[test]
fn the_last_word_on_an_item_is_in_force() {
    let mut sheet = whole(MEMORY);
    sheet.take(said("atrazine", Item::Amount, "25 gal", Origin::Command));
    let amount = sheet.item("atrazine", Item::Amount).unwrap();
    assert_eq!((amount.value.as_str(), amount.origin), ("25 gal", Origin::Command));
}
