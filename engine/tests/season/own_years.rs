//! A season against the field's own past.

use crate::field::{Field, date};
use chrono::{Datelike, NaiveDate};
use furrowbell_engine::cell::Cell;
use furrowbell_engine::clocks::nitrogen::Basis;
use furrowbell_engine::journal::Event;
use furrowbell_engine::season;
use furrowbell_engine::units::{Celsius, Millimetres};
use furrowbell_engine::weather::{Day, Kind, Sourced, Weather};

/// Years of days as in [`Field::corn`], so many degrees cooler, that go into March full of water,
/// with so many days from rain to rain until July.
fn years(first: i32, last: i32, cooler_c: f64, days_between: u32) -> Cell {
    let kind = Kind::Station;
    let air = |celsius: f64| Some(Sourced { value: Celsius::new(celsius).unwrap(), kind });
    let rain = |mm: f64| Some(Sourced { value: Millimetres::new(mm).unwrap(), kind });
    let wet = |date: NaiveDate| {
        let between = if (3..=6).contains(&date.month()) { days_between } else { 3 };
        date.ordinal().is_multiple_of(between)
    };
    let start = NaiveDate::from_ymd_opt(first, 1, 1).unwrap();
    let days = start.iter_days().take_while(|date| date.year() <= last).map(|date| Day {
        high: air(24.0 - cooler_c),
        low: air(12.0 - cooler_c),
        rain: rain(if wet(date) { 20.0 } else { 0.0 }),
        ..Day::unknown(date)
    });
    let field = Field::corn();
    Cell::new(field.site.latitude, field.site.elevation, &Weather::new(days.collect()))
}

/// How far the supply lags by 5 June, percent.
fn lag(field: &Field) -> f64 {
    let today = date(6, 5);
    field.on(today).today().unwrap().nitrogen.unwrap().lag_percent.unwrap()
}

#[test]
fn four_years_make_no_normal_and_five_do() {
    let Field { site, plan, .. } = Field::corn();
    assert_eq!(season::own_normal(&site, &plan, &years(2021, 2024, 0.0, 4)), None);
    let five = season::own_normal(&site, &plan, &years(2021, 2025, 0.0, 4)).unwrap();
    assert_eq!(five.basis(), Basis::OwnYears(5));
}

#[test]
fn a_spring_like_all_the_others_of_the_field_does_not_lag() {
    let mut field = Field::corn();
    field.weather_over(date(3, 1), date(8, 31));
    field.journal.clear();
    field.note(date(5, 5), Event::Planted);
    let stated = lag(&field);
    field.normal = season::own_normal(&field.site, &field.plan, &years(2016, 2025, 0.0, 400));
    let own = lag(&field);
    assert!(stated > 30.0 && own.abs() < 1.0, "stated {stated}, own {own}");
}

#[test]
fn the_same_spring_lags_on_a_field_that_is_used_to_rain_and_leads_on_one_used_to_cold() {
    let mut field = Field::corn();
    let mut against = |cooler_c, wet_every| {
        let years = years(2016, 2025, cooler_c, wet_every);
        field.normal = season::own_normal(&field.site, &field.plan, &years);
        lag(&field)
    };
    let (rainy, cold) = (against(0.0, 4), against(8.0, 400));
    assert!(rainy > 20.0, "{rainy}");
    assert!(cold < -20.0, "{cold}");
}

#[test]
fn usual_heat_of_past_years_moves_what_is_ahead() {
    let today = date(5, 10);
    let mut short = Field::corn();
    short.days.retain(|day| day.date <= today);
    let stated = short.cell();
    let cold = short.cell().with_past(&years(2016, 2025, 4.0, 4));
    let opens = |cell: &Cell| {
        let season = season::run(&short.input(cell, today));
        season.now.unwrap().sidedress.unwrap().opens.likely
    };
    assert!(opens(&cold) > opens(&stated));
}
