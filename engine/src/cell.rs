//! The weather of one place, prepared once for every field that lies there.
//!
//! What depends on nothing but weather and latitude is worked out here: heat and evaporative
//! demand day by day, and the usual year. A season borrows it, so the cost is shared by all fields
//! of a cell and by all days on which they are looked at.

use crate::clocks::heat::{self, DayHeat};
use crate::clocks::nitrogen::{self, Normal};
use crate::clocks::soil_temperature::SoilTemperature;
use crate::sky;
use crate::sky::demand::{self, USUAL_ELEVATION_M};
use crate::units::{Celsius, Latitude, Metres, Millimetres};
use crate::weather::{Day, Sourced, Weather};
use chrono::{Datelike, Days, NaiveDate};

/// The part of one day's weather that the clocks run on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// The local calendar day.
    pub date: NaiveDate,
    /// Highest air temperature.
    pub high: Option<Sourced<Celsius>>,
    /// Lowest air temperature.
    pub low: Option<Sourced<Celsius>>,
    /// Rain over the day.
    pub rain: Option<Sourced<Millimetres>>,
}

impl Air {
    /// A day of which nothing is known.
    pub const fn unknown(date: NaiveDate) -> Self {
        Self { date, high: None, low: None, rain: None }
    }

    /// Mean of the highest and the lowest temperature, C; `None` unless both are known.
    pub fn mean_c(&self) -> Option<f64> {
        let (high, low) = self.high.zip(self.low)?;
        Some(f64::midpoint(high.value.get(), low.value.get()))
    }

    const fn of(day: &Day) -> Self {
        Self { date: day.date, high: day.high, low: day.low, rain: day.rain }
    }
}

/// One day at a cell with what follows from its weather alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellDay {
    /// The weather.
    pub day: Air,
    /// Heat, with nothing bridged.
    pub heat: DayHeat,
    /// Evaporative demand of short grass, mm; that of a usual day where temperatures are missing,
    /// whose error is small beside that of a missing rain.
    pub demand_mm: f64,
}

/// A usual day of the year at a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualDay {
    /// Highest air temperature, C.
    pub high_c: f64,
    /// Lowest air temperature, C.
    pub low_c: f64,
    /// Heat, GDD in F.
    pub gdd_f: f64,
    /// Evaporative demand of short grass, mm.
    pub demand_mm: f64,
}

/// Any leap year: the tables have a row for each of its days.
const LEAP_YEAR: i32 = 2024;
/// Rows of those tables.
const DAYS_OF_YEAR: usize = 366;
/// Days before the usual year that its soil is run in on.
const RUN_IN_DAYS: u64 = 60;

/// The weather of one place, prepared.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    first: NaiveDate,
    /// Without a gap; a date that the weather leaves out is a day of which nothing is known.
    days: Vec<CellDay>,
    /// By day of the year, day 1 first.
    usual: Vec<UsualDay>,
    normal: Normal,
}

impl Cell {
    /// Prepares the weather of a place; where its elevation is not known, the usual one of the Corn
    /// Belt stands in.
    pub fn new(latitude: Latitude, elevation: Option<Metres>, weather: &Weather) -> Self {
        let elevation_m = elevation.map_or(USUAL_ELEVATION_M.value, Metres::get);
        let new_year = NaiveDate::from_ymd_opt(LEAP_YEAR, 1, 1).unwrap_or_default();
        let usual: Vec<UsualDay> = new_year
            .iter_days()
            .take_while(|date| date.year() == LEAP_YEAR)
            .map(|date| usual_day(latitude, elevation_m, date))
            .collect();
        let normal = normal_year(&usual);
        let Some((first, last)) = weather.span() else {
            return Self { first: new_year, days: Vec::new(), usual, normal };
        };
        let heat = heat::series(weather, first, last, 0);
        let days = first
            .iter_days()
            .zip(heat)
            .map(|(date, heat)| {
                let day = weather.get(date).copied().unwrap_or(Day::unknown(date));
                let demand_mm = demand::of_day(latitude, elevation_m, &day).mm;
                CellDay { day: Air::of(&day), heat, demand_mm }
            })
            .collect();
        Self { first, days, usual, normal }
    }

    /// This cell with its usual year drawn from past years of the same place: a usual day is the mean
    /// of all that is known within a week on either side of it in every year, where that is at
    /// least [`LEAST_PAST_DAYS`] days; any other stays as stated. The usual soil follows from it.
    #[must_use]
    pub fn with_past(mut self, years: &Self) -> Self {
        let past = Past::of(years);
        for (at, usual) in self.usual.iter_mut().enumerate() {
            *usual = past.about(at).unwrap_or(*usual);
        }
        self.normal = normal_year(&self.usual);
        self
    }

    /// First and last day of the weather; `None` where there is none.
    pub fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        Some((self.days.first()?.day.date, self.days.last()?.day.date))
    }

    /// Every day from `first` to `last`, both included: outside the weather, days of which nothing
    /// is known.
    pub fn days(&self, first: NaiveDate, last: NaiveDate) -> impl Iterator<Item = CellDay> {
        let end = last + Days::new(1);
        let from = self.place(first);
        let known = &self.days[from..self.place(end).max(from)];
        let starts = known.first().map_or(end, |known| known.day.date);
        let ends = known.last().map_or(end, |known| known.day.date + Days::new(1));
        let unknown = |from: NaiveDate, to: NaiveDate| {
            let dates = from.iter_days().take_while(move |date| *date < to);
            dates.map(|date| self.unknown(date))
        };
        unknown(first, starts).chain(known.iter().copied()).chain(unknown(ends, end))
    }

    /// Place of a date among the days, or that of the nearest end.
    fn place(&self, date: NaiveDate) -> usize {
        let place = (date - self.first).num_days();
        usize::try_from(place).map_or(0, |place| place.min(self.days.len()))
    }

    fn unknown(&self, date: NaiveDate) -> CellDay {
        let demand_mm = self.usual(date).demand_mm;
        CellDay { day: Air::unknown(date), heat: DayHeat::Unknown, demand_mm }
    }

    /// The weather of a date, where there is any.
    pub fn day(&self, date: NaiveDate) -> Option<&Air> {
        let at = usize::try_from((date - self.first).num_days()).ok()?;
        self.days.get(at).map(|known| &known.day)
    }

    /// The usual day of a date.
    pub fn usual(&self, date: NaiveDate) -> &UsualDay {
        of(&self.usual, date)
    }

    /// The usual year of the soil.
    pub const fn normal(&self) -> &Normal {
        &self.normal
    }
}

/// The row of a date in a table with one row for each of the 366 days of a leap year.
fn of(usual: &[UsualDay], date: NaiveDate) -> &UsualDay {
    &usual[date.ordinal0() as usize]
}

fn usual_day(latitude: Latitude, elevation_m: f64, date: NaiveDate) -> UsualDay {
    let (high_c, low_c) = sky::normal_temperatures(latitude, date);
    let unknown = Day::unknown(date);
    UsualDay {
        high_c,
        low_c,
        gdd_f: heat::normal_gdd(latitude, date),
        demand_mm: demand::of_day(latitude, elevation_m, &unknown).mm,
    }
}

/// Soil temperature over a usual year: the same model as for the field, over usual air.
fn normal_year(usual: &[UsualDay]) -> Normal {
    let new_year = NaiveDate::from_ymd_opt(LEAP_YEAR, 1, 1).unwrap_or_default();
    let start = new_year - Days::new(RUN_IN_DAYS);
    let mean = |date| {
        let day = of(usual, date);
        f64::midpoint(day.high_c, day.low_c)
    };
    let mut soil = SoilTemperature::starting(nitrogen::DEPTH_CM, mean(start));
    let year = start
        .iter_days()
        .take_while(|date| date.year() <= LEAP_YEAR)
        .map(|date| (date, soil.advance(mean(date), 0.0)))
        .filter_map(|(date, celsius)| (date >= new_year).then_some(celsius))
        .collect();
    Normal::new(year, nitrogen::NORMAL_WATER_SHARE.value)
}

/// Days on either side of a date whose past years speak for it.
const WINDOW_DAYS: usize = 7;
/// Past days that a usual day is drawn from at least: those of five years less a few that are
/// missing, and more than those of four.
pub const LEAST_PAST_DAYS: u32 = 65;

/// What is known of past years, added up by day of the year.
struct Past(Vec<PastSum>);

#[derive(Debug, Clone, Copy, Default)]
struct PastSum {
    days: u32,
    high_c: f64,
    low_c: f64,
    gdd_f: f64,
    demand_mm: f64,
}

impl PastSum {
    fn and(self, other: Self) -> Self {
        Self {
            days: self.days + other.days,
            high_c: self.high_c + other.high_c,
            low_c: self.low_c + other.low_c,
            gdd_f: self.gdd_f + other.gdd_f,
            demand_mm: self.demand_mm + other.demand_mm,
        }
    }
}

impl Past {
    fn of(years: &Cell) -> Self {
        let mut sums = vec![PastSum::default(); DAYS_OF_YEAR];
        for known in &years.days {
            let air = &known.day;
            if let Some(((high, low), gdd_f)) = air.high.zip(air.low).zip(known.heat.gdd()) {
                let sum = &mut sums[air.date.ordinal0() as usize];
                *sum = sum.and(PastSum {
                    days: 1,
                    high_c: high.value.get(),
                    low_c: low.value.get(),
                    gdd_f,
                    demand_mm: known.demand_mm,
                });
            }
        }
        Self(sums)
    }

    /// The mean about a day of the year, counted from 0.
    fn about(&self, at: usize) -> Option<UsualDay> {
        let first = at + DAYS_OF_YEAR - WINDOW_DAYS;
        let window = (first..=first + 2 * WINDOW_DAYS).map(|at| self.0[at % DAYS_OF_YEAR]);
        let sum = window.fold(PastSum::default(), PastSum::and);
        let days = f64::from(sum.days);
        (sum.days >= LEAST_PAST_DAYS).then(|| UsualDay {
            high_c: sum.high_c / days,
            low_c: sum.low_c / days,
            gdd_f: sum.gdd_f / days,
            demand_mm: sum.demand_mm / days,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::Kind;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, month, day).unwrap()
    }

    fn cell(days: Vec<Day>) -> Cell {
        Cell::new(Latitude::new(42.0).unwrap(), None, &Weather::new(days))
    }

    #[test]
    fn a_day_outside_the_weather_or_in_a_gap_is_unknown_and_never_dry_or_cold() {
        let known = |date| Day {
            rain: Some(Sourced { value: Millimetres::new(0.0).unwrap(), kind: Kind::Radar }),
            ..Day::unknown(date)
        };
        let cell = cell(vec![known(date(5, 2)), known(date(5, 4))]);
        assert_eq!(cell.span(), Some((date(5, 2), date(5, 4))));
        let days: Vec<_> = cell.days(date(5, 1), date(5, 5)).collect();
        let rains: Vec<_> = days.iter().map(|day| day.day.rain.is_some()).collect();
        assert_eq!(rains, [false, true, false, true, false]);
        assert!(days.iter().zip(date(5, 1).iter_days()).all(|(day, date)| day.day.date == date));
        assert!(days.iter().all(|day| day.heat == DayHeat::Unknown && day.demand_mm > 1.0));
    }

    #[test]
    fn without_weather_there_is_still_a_usual_year() {
        let cell = cell(Vec::new());
        assert_eq!(cell.span(), None);
        assert!(cell.usual(date(7, 15)).gdd_f > cell.usual(date(4, 15)).gdd_f);
        assert!(cell.usual(NaiveDate::from_ymd_opt(2028, 12, 31).unwrap()).gdd_f.abs() < 1e-9);
    }

    /// Whole years of days with the high and low, C, that `air` gives for a day of the year.
    fn years(first: i32, last: i32, air: impl Fn(u32) -> (f64, f64)) -> Cell {
        let kind = Kind::Station;
        let sourced = |celsius| Some(Sourced { value: Celsius::new(celsius).unwrap(), kind });
        let start = NaiveDate::from_ymd_opt(first, 1, 1).unwrap();
        let days = start.iter_days().take_while(|date| date.year() <= last).map(|date| {
            let (high, low) = air(date.ordinal());
            Day { high: sourced(high), low: sourced(low), ..Day::unknown(date) }
        });
        cell(days.collect())
    }

    #[test]
    fn five_past_years_are_the_usual_year_and_four_are_not() {
        let air = |_| (20.0, 10.0);
        let stated = cell(Vec::new());
        assert_eq!(stated.clone().with_past(&years(2017, 2020, air)), stated);
        let own = stated.with_past(&years(2016, 2020, air));
        for day in [date(1, 1), date(5, 15), date(12, 31)] {
            let usual = own.usual(day);
            assert!((usual.high_c - 20.0).abs() < 1e-9 && (usual.low_c - 10.0).abs() < 1e-9);
            // (68 + 50) / 2 - 50.
            assert!((usual.gdd_f - 9.0).abs() < 1e-9);
        }
        let soil = |day| own.normal().soil_c(day);
        assert!((soil(150) - soil(20)).abs() < 0.1, "a steady year has no seasons");
        let leap_end = NaiveDate::from_ymd_opt(2028, 12, 31).unwrap();
        assert!((own.usual(leap_end).high_c - 20.0).abs() < 1e-9);
    }

    #[test]
    fn usual_heat_is_the_mean_of_heat_and_not_the_heat_of_the_mean() {
        let swing = |day: u32| if day.is_multiple_of(2) { (25.0, 5.0) } else { (5.0, -5.0) };
        let own = cell(Vec::new()).with_past(&years(2016, 2020, swing));
        // (77 + 50) / 2 - 50 every other day.
        assert!((own.usual(date(5, 15)).gdd_f - 6.75).abs() < 0.5);
    }
}
