//! The demo book is whole, and what is said of it holds.

use furrowbell_config::people::{Language, Role};
use furrowbell_config::{Book, NoSuchField};
use furrowbell_engine::journal::Event;
use std::path::Path;

fn demo() -> Book {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    Book::load(&folder).unwrap_or_else(|faults| panic!("{faults}"))
}

#[test]
fn it_loads_without_a_word() {
    let book = demo();
    assert_eq!(book.warnings, []);
    assert_eq!((book.farms.len(), book.fields.len()), (4, 17));
    assert!(book.fields.iter().all(|field| field.plan.is_some()));
    let count = |role| book.people.iter().filter(|person| person.role == role).count();
    assert_eq!((count(Role::Advisor), count(Role::Manager), count(Role::Grower)), (1, 1, 4));
    let spanish = book.people.iter().filter(|person| person.language == Language::Spanish);
    assert_eq!(spanish.count(), 1);
    assert!(book.replies.is_sorted_by_key(|reply| reply.at));
    assert_eq!(book.labels.len(), 4);
}

#[test]
fn fields_of_other_files_get_the_plans_of_their_farm() {
    let book = demo();
    let csv = book.field("long-slough/slough-east").unwrap();
    assert!((csv.acres.get() - 118.4).abs() < 1e-9);
    assert!(csv.plan.as_ref().unwrap().crop.is_corn());
    let drawn = book.find_field("hilltop").unwrap();
    assert_eq!(drawn.farm, "sand-hill");
    assert!((drawn.acres.get() - 58.0).abs() < 0.1, "{}", drawn.acres.get());
    assert!((drawn.thresholds.residual_days - 24.0).abs() < f64::EPSILON);
}

#[test]
fn what_the_book_says_is_done_becomes_entries() {
    let book = demo();
    let entries = book.field("kettle-ridge/home-place").unwrap().entries();
    let events: Vec<_> = entries.iter().map(|entry| &entry.event).collect();
    assert_eq!(events, [&Event::Planted, &Event::PreApplied { ingredients: Vec::new() }]);
}

#[test]
fn a_wrong_name_gets_a_hint() {
    let book = demo();
    let error = book.find_field("Hiltop").unwrap_err();
    assert!(matches!(error, NoSuchField::Unknown { .. }));
    assert_eq!(error.to_string(), "no field is called \"Hiltop\"; did you mean \"Hilltop\"?");
}

/// The weather is invented but must be whole: a row a day, and plausible.
#[test]
fn its_weather_has_every_day() {
    let book = demo();
    let folder = book.folder.join(&book.service.weather.files.as_ref().unwrap().folder);
    for farm in &book.farms {
        let text = std::fs::read_to_string(folder.join(format!("{}.csv", farm.id))).unwrap();
        let mut rows = text.lines();
        assert_eq!(rows.next(), Some("date,high_f,low_f,rain_in"));
        let mut date: chrono::NaiveDate = "2026-04-01".parse().unwrap();
        for row in rows {
            let cells: Vec<&str> = row.split(',').collect();
            assert_eq!(cells[0], date.to_string(), "{}", farm.id);
            let numbers: Vec<f64> = cells[1..].iter().map(|cell| cell.parse().unwrap()).collect();
            assert!(numbers[0] > numbers[1] && (0.0..3.0).contains(&numbers[2]), "{row}");
            date = date.succ_opt().unwrap();
        }
        assert_eq!(date.to_string(), "2026-07-16", "{}", farm.id);
    }
}
