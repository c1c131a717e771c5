//! A season takes its memory once; the days then run without asking for more.

use crate::field::{Field, date};
use allocation_counter::AllocationInfo;
use chrono::Days;
use furrowbell_engine::journal::Event;
use furrowbell_engine::season;
use furrowbell_engine::weather::Kind;

/// Corn planted on 1 March, sprayed a day later and set by rain, with weather to the end of the
/// year, so that a season of it can be long.
fn field() -> Field {
    let mut field = Field::corn();
    field.weather_over(date(1, 10), date(12, 31));
    field.journal.clear();
    field.note(date(3, 1), Event::Planted);
    field.note(date(3, 2), Event::PreApplied { ingredients: Vec::new() });
    field.rain(date(3, 6), 1.2, Kind::Radar);
    field
}

/// What a season of so many days after planting allocates, with and without rows.
fn allocations(days: u64) -> [AllocationInfo; 2] {
    let (field, today) = (field(), date(3, 1) + Days::new(days));
    let cell = field.cell();
    let input = field.input(&cell, today);
    [
        allocation_counter::measure(|| drop(season::run(&input))),
        allocation_counter::measure(|| drop(season::find(&input))),
    ]
}

#[test]
fn twice_the_days_make_no_more_allocations() {
    let (short, long) = (allocations(149), allocations(298));
    for (short, long) in short.iter().zip(&long) {
        assert!(short.count_total > 0);
        assert_eq!(short.count_total, long.count_total);
        assert!(long.bytes_total < 2 * short.bytes_total);
    }
}

#[test]
fn a_season_makes_few_allocations() {
    let [with_rows, without] = allocations(149);
    assert!(without.count_total <= 32, "{}", without.count_total);
    assert_eq!(with_rows.count_total, without.count_total + 1, "the rows are one piece");
}
