//! Daily weather with its pedigree, and the hours ahead. Missing is `None`, never zero.

use crate::units::{Celsius, MegajoulesPerSquareMetre, MetresPerSecond, Millimetres, Percent};
use chrono::{DateTime, FixedOffset, NaiveDate};
use serde::{Deserialize, Serialize};

/// How a weather value came to be known, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Read off a rain gauge at the field or farm.
    Gauge,
    /// Radar estimate at the field, corrected by gauges.
    Radar,
    /// Measured at the nearest weather station.
    Station,
    /// Computed afterwards by a weather model; nobody measured it.
    Model,
    /// Said before the day was over.
    Forecast,
}

impl Kind {
    /// Whether something was measured. Only a measured value moves a clock for good.
    pub const fn is_observed(self) -> bool {
        matches!(self, Self::Gauge | Self::Radar | Self::Station)
    }
}

/// A value with the way it came to be known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sourced<T> {
    /// The value itself.
    pub value: T,
    /// How it is known.
    pub kind: Kind,
}

/// One local calendar day at one field. Each value stands or is missing on its own.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Day {
    /// The local calendar day.
    pub date: NaiveDate,
    /// Highest air temperature.
    pub high: Option<Sourced<Celsius>>,
    /// Lowest air temperature.
    pub low: Option<Sourced<Celsius>>,
    /// Rain over the day.
    pub rain: Option<Sourced<Millimetres>>,
    /// Mean relative humidity.
    pub humidity: Option<Sourced<Percent>>,
    /// Mean wind speed at 10 m.
    pub wind: Option<Sourced<MetresPerSecond>>,
    /// Solar radiation sum.
    pub solar: Option<Sourced<MegajoulesPerSquareMetre>>,
}

impl Day {
    /// A day of which nothing is known.
    pub const fn unknown(date: NaiveDate) -> Self {
        Self { date, high: None, low: None, rain: None, humidity: None, wind: None, solar: None }
    }
}

/// One hour at one field, as the forecast has it. Each value stands or is missing on its own.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Hour {
    /// First moment of the hour, on the field's own clock.
    pub start: DateTime<FixedOffset>,
    /// Air temperature.
    pub temperature: Option<Celsius>,
    /// Relative humidity.
    pub humidity: Option<Percent>,
    /// Wind at 10 m.
    pub wind: Option<MetresPerSecond>,
    /// Gusts at 10 m.
    pub gust: Option<MetresPerSecond>,
    /// Share of the sky under cloud.
    pub cloud: Option<Percent>,
    /// Rain and melted snow within the hour.
    pub rain: Option<Millimetres>,
}

impl Hour {
    /// An hour of which nothing is known.
    pub const fn unknown(start: DateTime<FixedOffset>) -> Self {
        Self {
            start,
            temperature: None,
            humidity: None,
            wind: None,
            gust: None,
            cloud: None,
            rain: None,
        }
    }

    /// The local day in which it begins.
    pub fn date(&self) -> NaiveDate {
        self.start.date_naive()
    }
}

/// A run of days in order of date, one row a date at most. Gaps are allowed and mean unknown.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Weather {
    days: Vec<Day>,
}

impl Weather {
    /// Sorts the days; of two rows with one date the later row wins.
    pub fn new(mut days: Vec<Day>) -> Self {
        days.reverse();
        days.sort_by_key(|day| day.date);
        days.dedup_by_key(|day| day.date);
        Self { days }
    }

    /// The row of a date, if there is one.
    pub fn get(&self, date: NaiveDate) -> Option<&Day> {
        self.days.binary_search_by_key(&date, |day| day.date).ok().map(|at| &self.days[at])
    }

    /// First and last date; `None` where there is no row.
    pub fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        Some((self.days.first()?.date, self.days.last()?.date))
    }

    /// All rows, in order of date.
    pub fn days(&self) -> &[Day] {
        &self.days
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_later_row_of_a_date_wins() {
        let date = NaiveDate::from_ymd_opt(2026, 5, 1).unwrap();
        let mut second = Day::unknown(date);
        second.rain = Some(Sourced { value: Millimetres::new(3.0).unwrap(), kind: Kind::Gauge });
        let weather = Weather::new(vec![Day::unknown(date), second]);
        assert_eq!(weather.days(), &[second]);
        assert_eq!(weather.get(date), Some(&second));
        assert_eq!(weather.get(date.succ_opt().unwrap()), None);
    }
}
