use super::*;
use crate::replies::grammar::{self, Reply};
use proptest::prelude::*;

fn given(text: &str, item: Item) -> Option<String> {
    match read(text, item) {
        Reading::Given(items) => match items.as_slice() {
            [(_, value)] => Some(value.clone()),
            _ => None,
        },
        _ => None,
    }
}

#[test]
fn amounts_are_read_as_people_write_them() {
    for (text, kept) in [
        ("24 GAL", "24 gal"),
        ("24gal", "24 gal"),
        ("about 24 gallons.", "24 gal"),
        ("we used 24.5 gal in all", "24.5 gal"),
        ("2 1/2 gal", "2.5 gal"),
        ("1/2 pint", "0.5 pt"),
        ("1,200 oz", "1200 oz"),
        ("24,5 galones", "24.5 gal"),
        ("64 fl oz", "64 fl oz"),
        ("64 fl. oz.", "64 fl oz"),
        ("usamos 30 libras", "30 lb"),
        (".5 qt", "0.5 qt"),
    ] {
        assert_eq!(given(text, Item::Amount).as_deref(), Some(kept), "{text}");
    }
}

#[test]
fn what_is_no_amount_is_not_made_one() {
    for text in [
        "24",
        "gal",
        "24 bags",
        "24 gal 3 qt",
        "-24 gal",
        "0 gal",
        "lots",
        "24 gal per acre",
        "2 oz/ac",
        "24 or 25 gal",
        "1/0 gal",
        "3/2 gal",
        "1.2.3 gal",
        "999999999 gal",
        "",
    ] {
        assert_eq!(read(text, Item::Amount), Reading::Unreadable, "{text}");
    }
}

#[test]
fn numbers_are_checked() {
    for text in ["123-45", "EPA Reg. No. 123-45", "it is #123-45", "123-45."] {
        assert_eq!(given(text, Item::Epa).as_deref(), Some("123-45"), "{text}");
    }
    for text in ["12345", "123-45 or 123-46", "123--45", "12a-45"] {
        assert_eq!(read(text, Item::Epa), Reading::Unreadable, "{text}");
    }
    for (text, kept) in [
        ("IA-12345", "IA-12345"),
        ("my number is pa 004512", "PA 004512"),
        ("#51234", "51234"),
        ("cert no. 51234", "51234"),
    ] {
        assert_eq!(given(text, Item::Certification).as_deref(), Some(kept), "{text}");
    }
    for text in ["24 gal", "I will look", "none", "12", "ask Ray 515 please ok"] {
        assert_eq!(read(text, Item::Certification), Reading::Unreadable, "{text}");
    }
}

#[test]
fn a_product_comes_with_its_number_or_without() {
    let both = vec![(Item::Product, "Corn Mix 3".to_owned()), (Item::Epa, "123-45".to_owned())];
    for text in ["Corn Mix 3, 123-45", "Corn Mix 3 EPA reg no. 123-45", "123-45 Corn Mix 3"] {
        assert_eq!(read(text, Item::Product), Reading::Given(both.clone()), "{text}");
    }
    assert_eq!(given("Corn Mix 3", Item::Product).as_deref(), Some("Corn Mix 3"));
    assert_eq!(given("123-45", Item::Product).as_deref(), Some("123-45"));
    for text in
        ["not sure, call me", "24", "A 123-45 and B 123-46", "=HYPERLINK(1)", "what do you mean"]
    {
        assert_eq!(read(text, Item::Product), Reading::Unreadable, "{text}");
    }
}

#[test]
fn an_applicator_is_the_writer_or_a_name() {
    for text in ["ME", "me.", "I did", "YO", "fui yo"] {
        assert_eq!(read(text, Item::Applicator), Reading::Me, "{text}");
    }
    for (text, kept) in [("ray holt", "Ray Holt"), ("José Ángel Peña", "José Ángel Peña")] {
        assert_eq!(given(text, Item::Applicator).as_deref(), Some(kept));
    }
    for text in ["Ray", "call me please", "the coop guys", "who knows", "Ray Holt 2"] {
        assert_eq!(read(text, Item::Applicator), Reading::Unreadable, "{text}");
    }
}

#[test]
fn any_question_can_be_put_off() {
    for item in [Item::Product, Item::Epa, Item::Amount, Item::Applicator, Item::Certification] {
        for text in ["LATER", "later!", "not now", "Luego", "más tarde"] {
            assert_eq!(read(text, item), Reading::Later, "{text}");
        }
    }
}

/// An answer reaches this reader only when the grammar of replies does not know it.
#[test]
fn the_answers_that_are_asked_for_are_no_commands() {
    for text in [
        "24 GAL",
        "LATER",
        "ME",
        "123-45",
        "IA-12345",
        "Ray Holt",
        "Corn Mix 3 123-45",
        "YO",
        "LUEGO",
    ] {
        assert_eq!(grammar::parse(text), Reply::Unclear, "{text}");
    }
}

proptest! {
    #[test]
    fn what_an_amount_says_is_read_again_alike(tenths in 1u32..999_999, unit in 0usize..6) {
        let unit = ["gal", "qt", "pt", "fl oz", "oz", "lb"][unit];
        let text = format!("{} {unit}", f64::from(tenths) / 10.0);
        prop_assert_eq!(value(&text, Item::Amount), Some(text));
    }

    #[test]
    fn no_text_breaks_the_reader(text in "\\PC{0,80}") {
        for item in [Item::Product, Item::Epa, Item::Amount, Item::Acres, Item::Applicator,
            Item::Certification, Item::Start]
        {
            read(&text, item);
        }
    }

    #[test]
    fn what_stands_on_record_begins_no_formula(text in "\\PC{0,40}") {
        for item in [Item::Product, Item::Epa, Item::Amount, Item::Applicator, Item::Certification] {
            if let Some(kept) = value(&text, item) {
                prop_assert!(!kept.starts_with(['=', '+', '-', '@', '\t', '\r']), "{}", kept);
            }
        }
    }
}
