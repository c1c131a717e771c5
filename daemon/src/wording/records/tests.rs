//! What every text about a record must keep, in every language.

use super::super::readability::{grade, sentences, words};
use super::*;
use std::fmt::Write as _;

const BOTH: [Language; 2] = [Language::English, Language::Spanish];
const ASKED: [Item; 5] =
    [Item::Product, Item::Epa, Item::Amount, Item::Applicator, Item::Certification];

/// As long as the book allows.
const LONGEST: [&str; 4] = [
    "Prairie Field Desk 2",
    "Old Schoolhouse Bottom 9",
    "Corn Belt Three Way Premix 5 L",
    "Bartholomew Featherstonehaugh-Quintanilla",
];
const ORDINARY: [&str; 4] = ["Prairie Desk", "North 80", "atrazine", "Ray Holt"];

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn asked([_, field, part, applicator]: [&str; 4], item: Item) -> Asked<'_> {
    let (date, due) = (day("2026-05-12"), day("2026-05-26"));
    Asked { field, part, date, due, item, applicator }
}

/// Every text about every item.
fn each(names: [&str; 4], mut look: impl FnMut(&str, Item, RecordText<'_>)) {
    for item in ASKED {
        let asked = asked(names, item);
        let value = match item {
            Item::Product => "MIX 123-45",
            Item::Epa => "123-45",
            Item::Amount => "24.5 gal",
            Item::Applicator => names[3],
            _ => "IA-123456",
        };
        let again = Some(day("2026-05-15"));
        look("ask", item, RecordText::Ask(asked));
        look("ask again", item, RecordText::AskAgain(asked));
        look("next", item, RecordText::TookNext { value: "24.5 gal", next: asked });
        look("other", item, RecordText::TookOther { value: "IA-123456", next: asked });
        look("all", item, RecordText::TookAll { value, asked, complete: true });
        look("some", item, RecordText::TookAll { value, asked, complete: false });
        look("later", item, RecordText::PutOff { asked, again });
        look("later, last", item, RecordText::PutOff { asked, again: None });
        look("unread", item, RecordText::Unread(asked));
    }
}

#[test]
fn ordinary_texts_fit_one_segment_and_read_easily() {
    let wording = Wording::load().unwrap();
    for language in BOTH {
        each(ORDINARY, |name, item, text| {
            let text = wording.record_text("Prairie Desk", language, &text);
            assert!(text.starts_with("Prairie Desk: "), "{text}");
            assert_eq!(gsm7::segments(&text), 1, "{name}, {item:?}: {text}");
            assert!(!text.contains("  ") && !text.contains(" ."), "{text}");
            let asked = text.matches('?').count();
            assert!(asked <= 1, "more than one question: {text}");
            for sentence in sentences(text.split_once(": ").unwrap().1) {
                assert!(words(sentence).len() <= 16, "long sentence \"{sentence}\" in: {text}");
            }
            if language == Language::English {
                // The name of the trade's own paper has the syllables it has.
                let plain = text.replace("certification", "card").replace("Certification", "Card");
                let plain = plain.replace("certified applicator", "sprayer").replace(':', ".");
                assert!(grade(&plain) <= 6.0, "grade {}: {text}", grade(&plain));
            }
        });
    }
}

#[test]
fn the_widest_texts_stay_within_two_segments() {
    let wording = Wording::load().unwrap();
    for language in BOTH {
        each(LONGEST, |name, item, text| {
            let text = wording.record_text(LONGEST[0], language, &text);
            assert!(gsm7::segments(&text) <= 2, "{name}, {item:?}: {text}");
        });
    }
}

#[test]
fn no_text_permits_anything() {
    let wording = Wording::load().unwrap();
    for language in BOTH {
        each(ORDINARY, |_, _, text| {
            let said = wording.record_text("Prairie Desk", language, &text).to_lowercase();
            for word in ["you may", "can spray", "allowed", "safe to", "legal", "puede", "none"] {
                assert!(!said.contains(word), "\"{word}\" in: {said}");
            }
        });
    }
}

/// The amount is the product's, never the ingredient's.
#[test]
fn the_amount_asked_for_is_the_products() {
    let wording = Wording::load().unwrap();
    let text = wording.record_text(
        "Prairie Desk",
        Language::English,
        &RecordText::Ask(asked(ORDINARY, Item::Amount)),
    );
    assert_eq!(
        text,
        "Prairie Desk: For the record of North 80 (atrazine, Tue May 12): How much product in all? \
         Reply like 24 GAL."
    );
}

#[test]
fn sheet() {
    let wording = Wording::load().unwrap();
    for language in BOTH {
        let mut sheet = String::new();
        each(ORDINARY, |name, item, text| {
            let text = wording.record_text("Prairie Desk", language, &text);
            let septets = gsm7::septets(&text).unwrap();
            writeln!(sheet, "{septets:>3}  {name}, {}: {text}", item.name()).unwrap();
        });
        insta::assert_snapshot!(format!("records_{}", language.code()), sheet);
    }
}
