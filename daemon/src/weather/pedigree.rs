//! The best known value of every element of a day, and what else was said of it.

use super::observed_day::ObservedDay;
use super::source::SourceName;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use furrowbell_engine::units::{
    Celsius, MegajoulesPerSquareMetre, MetresPerSecond, Millimetres, Percent,
};
use furrowbell_engine::weather::{Day, Kind, Sourced};
use serde::Serialize;
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// Rains that differ by more than this share of the larger one disagree (common practice, no
/// source: radar and gauge seldom agree better over one day) ...
const RAIN_SHARE: f64 = 0.5;
/// ... unless they differ by less than a tenth of an inch.
const RAIN_LEAST_MM: f64 = 2.54;
/// Temperatures that differ by more disagree, C (common practice, no source).
const TEMPERATURE_C: f64 = 3.0;

/// Farthest that a network's hand-read gauge speaks for a field before the radar does, km (common
/// practice, no source: a summer shower is a few kilometres across).
const NEAR_GAUGE_KM: f64 = 5.0;

/// What a value is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Element {
    /// Rain and melted snow, mm.
    Rain,
    /// Highest air temperature, C.
    High,
    /// Lowest air temperature, C.
    Low,
    /// Mean relative humidity, percent.
    Humidity,
    /// Mean wind, m/s.
    Wind,
    /// Solar radiation, MJ/m2.
    Solar,
    /// Highest soil temperature at 4 inches (10 cm), C. The clocks work out their own.
    SoilHigh,
    /// Lowest soil temperature there, C.
    SoilLow,
}

/// One value that somebody says, with where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Candidate {
    /// The value, in the element's unit.
    pub value: f64,
    /// How it is known.
    pub kind: Kind,
    /// Who says so.
    pub source: SourceName,
    /// The spot, station or cell it is of; for a gauge, who told it.
    pub place: String,
    /// How far the station stands from the field, km.
    pub distance_km: Option<f64>,
    /// Whether it is a rain gauge that a member of a network reads by hand.
    pub hand_read: bool,
    /// First moment of the period, where it was told; else it is the local day.
    pub starts_at: Option<DateTime<Utc>>,
    /// First moment after it.
    pub ends_at: Option<DateTime<Utc>>,
    /// Whether the period is the local day itself.
    pub whole_day: bool,
    /// Whether it is rain too little to measure.
    pub trace: bool,
    /// When the source made it, where it says so.
    pub issued_at: Option<DateTime<Utc>>,
    /// When it was fetched or told.
    pub fetched_at: Option<DateTime<Utc>>,
}

/// Where a station stands for a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stand {
    /// How far off, km.
    pub distance_km: f64,
    /// Whether it is a rain gauge that a member of a network reads by hand.
    pub hand_read: bool,
}

/// Where local days of one source come from.
#[derive(Debug, Clone, Copy)]
pub struct Origin<'a> {
    /// Who says so.
    pub source: SourceName,
    /// The cell or file.
    pub place: &'a str,
    /// How far its station stands from the field, km.
    pub distance_km: Option<f64>,
    /// When it was made, where that is known.
    pub issued_at: Option<DateTime<Utc>>,
}

/// All that is said of one field's days.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Pedigree {
    days: BTreeMap<NaiveDate, BTreeMap<Element, Vec<Candidate>>>,
}

impl Element {
    fn disagree(self, one: f64, other: f64) -> bool {
        let apart = (one - other).abs();
        match self {
            Self::Rain => apart >= RAIN_LEAST_MM && apart > RAIN_SHARE * one.max(other),
            Self::High | Self::Low => apart > TEMPERATURE_C,
            Self::Humidity | Self::Wind | Self::Solar | Self::SoilHigh | Self::SoilLow => false,
        }
    }
}

impl Candidate {
    /// The one order of preference: the field's own gauge, a network's gauge close by, radar, a
    /// station, a model, a forecast.
    fn rank(&self, element: Element) -> u8 {
        let near = self.distance_km.is_some_and(|far| far <= NEAR_GAUGE_KM);
        match self.kind {
            Kind::Gauge => 0,
            Kind::Station if element == Element::Rain && self.hand_read && near => 1,
            Kind::Radar => 2,
            Kind::Station => 3,
            Kind::Model => 4,
            Kind::Forecast => 5,
        }
    }

    /// The better one is the lesser one.
    fn against(&self, other: &Self, element: Element) -> Ordering {
        let of_air = matches!(element, Element::High | Element::Low);
        let off_day = |one: &Self| of_air && !one.whole_day;
        let far = |one: &Self| one.distance_km.unwrap_or(f64::INFINITY);
        (self.rank(element).cmp(&other.rank(element)))
            .then_with(|| off_day(self).cmp(&off_day(other)))
            .then_with(|| far(self).total_cmp(&far(other)))
            .then_with(|| other.fetched_at.cmp(&self.fetched_at))
    }
}

impl Pedigree {
    /// Adds a value; the best of a day comes first: by its rank, then the nearest station (for
    /// temperatures, one whose day is the local day first), then the latest.
    pub fn add(&mut self, date: NaiveDate, element: Element, candidate: Candidate) {
        let all = self.days.entry(date).or_default().entry(element).or_default();
        let at = all.partition_point(|one| one.against(&candidate, element).is_le());
        all.insert(at, candidate);
    }

    /// Adds what an observed day says, each element to the local day it serves; a total of several
    /// days serves none.
    pub fn add_observed(&mut self, day: &ObservedDay, stand: Option<Stand>, zone: Tz) {
        let (Some(date), Some(night)) = (day.local_day(zone), day.day_of_low(zone)) else { return };
        let whole_day = day.is_of_midnight(zone);
        let values = [
            (date, Element::Rain, day.rain_mm),
            (date, Element::High, day.high_c),
            (night, Element::Low, day.low_c),
            (date, Element::Humidity, day.humidity_pct),
            (date, Element::Wind, day.wind_mps),
            (date, Element::Solar, day.solar_mj),
            (date, Element::SoilHigh, day.soil_high_c),
            (date, Element::SoilLow, day.soil_low_c),
        ];
        for (date, element, value) in values {
            let Some(value) = value else { continue };
            let candidate = Candidate {
                value,
                kind: day.kind,
                source: day.source,
                place: day.place.clone(),
                distance_km: stand.map(|stand| stand.distance_km),
                hand_read: stand.is_some_and(|stand| stand.hand_read),
                starts_at: Some(day.starts_at),
                ends_at: Some(day.ends_at),
                whole_day,
                trace: day.trace && element == Element::Rain,
                issued_at: day.issued_at,
                fetched_at: Some(day.fetched_at),
            };
            self.add(date, element, candidate);
        }
    }

    /// Adds a local day whose values are of one source, such as a forecast's or a file's.
    pub fn add_day(&mut self, day: &Day, from: &Origin<'_>) {
        fn plain<T: Into<f64>>(value: Option<Sourced<T>>) -> Option<(f64, Kind)> {
            value.map(|one| (one.value.into(), one.kind))
        }
        let values = [
            (Element::Rain, plain(day.rain)),
            (Element::High, plain(day.high)),
            (Element::Low, plain(day.low)),
            (Element::Humidity, plain(day.humidity)),
            (Element::Wind, plain(day.wind)),
            (Element::Solar, plain(day.solar)),
        ];
        for (element, value) in values {
            let Some((value, kind)) = value else { continue };
            let candidate = Candidate {
                value,
                kind,
                source: from.source,
                place: from.place.to_owned(),
                distance_km: from.distance_km,
                hand_read: false,
                starts_at: None,
                ends_at: None,
                whole_day: true,
                trace: false,
                issued_at: from.issued_at,
                fetched_at: None,
            };
            self.add(day.date, element, candidate);
        }
    }

    /// All that is said of an element of a day, the best first.
    pub fn said(&self, date: NaiveDate, element: Element) -> &[Candidate] {
        let day = self.days.get(&date).and_then(|elements| elements.get(&element));
        day.map(Vec::as_slice).unwrap_or_default()
    }

    /// What was measured or worked out and yet disagrees with the best value; a forecast is no
    /// witness.
    pub fn disagreeing(
        &self,
        date: NaiveDate,
        element: Element,
    ) -> impl Iterator<Item = &Candidate> {
        let said = self.said(date, element);
        let best = said.first().map(|best| best.value);
        said.iter().skip(1).filter(move |one| {
            one.kind != Kind::Forecast && best.is_some_and(|best| element.disagree(best, one.value))
        })
    }

    /// The best values as the clocks take them. The gauge is left out: the clocks read it from the
    /// journal.
    pub fn best_days(&self) -> Vec<Day> {
        let of_air = |of_day: &BTreeMap<Element, _>| {
            of_day.keys().any(|element| *element < Element::SoilHigh)
        };
        let days = self.days.iter().filter(|(_, of_day)| of_air(of_day));
        days.map(|(date, _)| *date)
            .map(|date| Day {
                date,
                high: self.best(date, Element::High, Celsius::new),
                low: self.best(date, Element::Low, Celsius::new),
                rain: self.best(date, Element::Rain, Millimetres::new),
                humidity: self.best(date, Element::Humidity, Percent::new),
                wind: self.best(date, Element::Wind, MetresPerSecond::new),
                solar: self.best(date, Element::Solar, MegajoulesPerSquareMetre::new),
            })
            .collect()
    }

    fn best<T, E>(
        &self,
        date: NaiveDate,
        element: Element,
        make: fn(f64) -> Result<T, E>,
    ) -> Option<Sourced<T>> {
        let mut said = self.said(date, element).iter().filter(|one| one.kind != Kind::Gauge);
        // A value outside its range is not believed: the next one is.
        said.find_map(|one| Some(Sourced { value: make(one.value).ok()?, kind: one.kind }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::Chicago;

    const NINTH: NaiveDate = NaiveDate::from_ymd_opt(2026, 5, 9).unwrap();

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn observed(kind: Kind, rain_mm: f64, period: (&str, &str)) -> ObservedDay {
        let (from, until) = (at(period.0), at(period.1));
        let place = "acis:1".to_owned();
        let day = ObservedDay::unknown(
            place,
            SourceName::Acis,
            kind,
            until.date_naive(),
            (from, until),
            until,
        );
        ObservedDay { rain_mm: Some(rain_mm), ..day }
    }

    #[expect(clippy::unnecessary_wraps, reason = "as it is passed")]
    fn station(distance_km: f64) -> Option<Stand> {
        Some(Stand { distance_km, hand_read: false })
    }

    fn from(source: SourceName, distance_km: Option<f64>) -> Origin<'static> {
        Origin { source, place: "place", distance_km, issued_at: None }
    }

    const LOCAL: (&str, &str) = ("2026-05-09T05:00:00Z", "2026-05-10T05:00:00Z");
    const MORNING: (&str, &str) = ("2026-05-09T12:00:00Z", "2026-05-10T12:00:00Z");

    #[test]
    fn gauge_radar_station_model_forecast_in_that_order() {
        let mut all = Pedigree::default();
        let mut forecast = Day::unknown(NINTH);
        let value = Millimetres::new(30.0).unwrap();
        forecast.rain = Some(Sourced { value, kind: Kind::Forecast });
        all.add_day(&forecast, &from(SourceName::Nws, None));
        assert_eq!(all.best_days(), [forecast]);
        all.add_observed(&observed(Kind::Model, 9.0, LOCAL), None, Chicago);
        all.add_observed(&observed(Kind::Station, 2.0, LOCAL), station(12.0), Chicago);
        all.add_observed(&observed(Kind::Station, 3.0, MORNING), station(4.0), Chicago);
        let best = |all: &Pedigree| all.best_days()[0].rain.map(|rain| rain.value.get());
        assert_eq!(best(&all), Some(3.0));
        all.add_observed(&observed(Kind::Radar, 5.0, LOCAL), None, Chicago);
        assert_eq!(best(&all), Some(5.0));
        let gauge = Candidate { kind: Kind::Gauge, ..all.said(NINTH, Element::Rain)[0].clone() };
        all.add(NINTH, Element::Rain, Candidate { value: 6.0, ..gauge });
        let kinds: Vec<_> = all.said(NINTH, Element::Rain).iter().map(|one| one.kind).collect();
        let order =
            [Kind::Gauge, Kind::Radar, Kind::Station, Kind::Station, Kind::Model, Kind::Forecast];
        assert_eq!(kinds, order);
        // The clocks read the gauge from the journal.
        assert_eq!(best(&all), Some(5.0));
    }

    #[test]
    fn a_dry_radar_against_a_wet_station_disagrees_and_a_forecast_is_no_witness() {
        let mut all = Pedigree::default();
        all.add_observed(&observed(Kind::Radar, 0.0, LOCAL), None, Chicago);
        all.add_observed(&observed(Kind::Station, 12.0, MORNING), station(4.0), Chicago);
        all.add_observed(&observed(Kind::Station, 2.0, MORNING), station(9.0), Chicago);
        let apart: Vec<_> =
            all.disagreeing(NINTH, Element::Rain).map(|one| one.distance_km.unwrap()).collect();
        assert_eq!(apart, [4.0]);
    }

    #[test]
    fn a_networks_gauge_close_by_goes_before_the_radar_for_rain_alone() {
        let gauge = |distance_km| Some(Stand { distance_km, hand_read: true });
        let day =
            |rain_mm| ObservedDay { high_c: Some(20.0), ..observed(Kind::Station, rain_mm, LOCAL) };
        let radar = ObservedDay { high_c: Some(21.0), ..observed(Kind::Radar, 5.0, LOCAL) };
        let mut all = Pedigree::default();
        all.add_observed(&day(8.0), gauge(5.1), Chicago);
        all.add_observed(&radar, None, Chicago);
        all.add_observed(&day(7.0), station(0.5), Chicago);
        let rain = |all: &Pedigree| all.best_days()[0].rain.map(|rain| rain.value.get());
        assert_eq!(rain(&all), Some(5.0));
        all.add_observed(&day(6.0), gauge(5.0), Chicago);
        assert_eq!(rain(&all), Some(6.0));
        let high = all.said(NINTH, Element::High)[0].kind;
        assert_eq!(high, Kind::Radar, "it says no more of the air than others");
    }

    #[test]
    fn a_gap_never_wins_and_of_two_stations_the_farms_own_file_is_nearest() {
        let mut all = Pedigree::default();
        all.add_observed(&observed(Kind::Station, 2.0, LOCAL), station(0.4), Chicago);
        let file = |mm: f64| Day {
            rain: Some(Sourced { value: Millimetres::new(mm).unwrap(), kind: Kind::Station }),
            ..Day::unknown(NINTH)
        };
        all.add_day(&Day::unknown(NINTH), &from(SourceName::Files, Some(0.0)));
        assert_eq!(all.best_days(), [file(2.0)]);
        all.add_day(&file(3.0), &from(SourceName::Files, Some(0.0)));
        assert_eq!(all.best_days(), [file(3.0)]);
    }

    #[test]
    fn a_total_of_several_days_is_no_days_rain() {
        let mut all = Pedigree::default();
        let period = ("2026-05-07T12:00:00Z", "2026-05-10T12:00:00Z");
        all.add_observed(&observed(Kind::Station, 30.0, period), station(4.0), Chicago);
        assert_eq!(all, Pedigree::default());
    }

    #[test]
    fn a_morning_observers_low_serves_the_morning() {
        let mut all = Pedigree::default();
        let day = ObservedDay { low_c: Some(-1.0), ..observed(Kind::Station, 1.0, MORNING) };
        all.add_observed(&day, station(4.0), Chicago);
        assert_eq!(all.said(NINTH, Element::Low), []);
        let next = NINTH.succ_opt().unwrap();
        assert_eq!(all.said(next, Element::Low)[0].value.to_bits(), (-1.0_f64).to_bits());
        assert_eq!(all.said(NINTH, Element::Rain).len(), 1);
    }
}
