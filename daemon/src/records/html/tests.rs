use super::*;
use crate::records::tests::{application, part, said, whole};
use furrowbell_engine::reference::Standing;
use furrowbell_engine::reference::herbicides::Ingredient;

fn demo() -> Book {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../config/demo");
    Book::load(folder.as_ref()).unwrap_or_else(|faults| panic!("{faults}"))
}

fn page(sheets: &[Sheet], paper: Paper) -> String {
    let book = demo();
    let day = |text: &str| text.parse().ok();
    let page = Page {
        book: &book,
        from: day("2026-04-01"),
        to: None,
        printed: day("2026-06-01").unwrap(),
        paper,
    };
    write(sheets, &page).unwrap()
}

fn of_field(mut sheet: Sheet, field: &str) -> Sheet {
    field.clone_into(&mut sheet.application.field);
    sheet
}

#[test]
fn each_field_has_a_table_and_a_heading_with_desk_and_dates() {
    let sheet = whole(Some(Standing::Confirmed));
    let sheets = [
        of_field(sheet.clone(), "kettle-ridge/church-quarter"),
        of_field(sheet.clone(), "kettle-ridge/church-quarter"),
        of_field(sheet, "mill-creek/upper-mill"),
    ];
    let html = page(&sheets, Paper::Letter);
    assert_eq!((html.matches("<table>").count(), html.matches("<h1>").count()), (2, 2));
    assert_eq!(html.matches("<td>Mix 3").count(), 3);
    for words in
        ["Prairie Desk", "Passes from Apr 1, 2026 on", "Printed Jun 1, 2026", "size: letter"]
    {
        assert!(html.contains(words), "{words}");
    }
    assert!(page(&sheets, Paper::A4).contains("size: A4"));
    assert!(page(&[], Paper::A4).contains("There is no record"));
}

#[test]
fn what_is_not_known_is_said_to_be_missing_and_what_nobody_said_is_marked() {
    let restricted = part("atrazine", Ingredient::Atrazine, Some(Standing::FromMemory));
    let acres = said("", Item::Acres, "80", Origin::Book);
    let html = page(&[Sheet::of(application(vec![restricted]), [&acres], false)], Paper::Letter);
    assert_eq!(html.matches(">missing<").count(), 6, "{html}");
    assert!(html.contains("80&thinsp;*"));
    assert!(html.contains("usually (from memory); check the label"));
    assert!(html.contains("Day 14 is May 26, 2026."));
}

#[test]
fn a_record_taken_back_stays_and_is_said_to_be() {
    let sheet = Sheet { withdrawn: true, ..whole(Some(Standing::Confirmed)) };
    let html = page(&[sheet], Paper::Letter);
    assert!(html.contains("class=\"withdrawn\"") && html.contains("Withdrawn:"));
}

#[test]
fn nothing_comes_from_elsewhere_and_what_people_write_is_escaped() {
    let mut sheet = whole(Some(Standing::Confirmed));
    sheet.take(said("atrazine", Item::Product, "<script>alert(1)</script>", Origin::Command));
    let html = page(&[sheet], Paper::Letter);
    for part in ["<script", "http:", "https:", "src=", "@import", "url(", "<link"] {
        assert!(!html.contains(part), "{part}");
    }
    assert!(html.contains("&lt;script&gt;"));
    assert!(html.contains("The certified applicator is responsible"));
}
