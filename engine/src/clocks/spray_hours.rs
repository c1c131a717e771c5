//! The hours ahead in which the weather would suit a post pass, and why the others would not.
//!
//! An hour is fit when nothing speaks against it and nothing about it is missing. That is said of
//! the weather alone: whether the product may be sprayed is on its label. Wind is forecast at 10 m;
//! it is lighter at boom height.
//!
//! # References
//!
//! Where a number is not a threshold of the book its source stands beside it.

use super::post_window;
use crate::cell::Cell;
use crate::plan::Crop;
use crate::reference::herbicides::{Ingredient, over_the_top, post};
use crate::reference::{Figure, Source};
use crate::site::Site;
use crate::sky::sun::Daylight;
use crate::thresholds::Thresholds;
use crate::units::{Celsius, MetresPerSecond, Millimetres, Percent};
use crate::weather::Hour;
use chrono::{DateTime, Datelike, FixedOffset, NaiveDate, TimeDelta};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

const HOUR: TimeDelta = TimeDelta::hours(1);

const NDSU_INVERSION: Source = Source::published(
    "North Dakota State University, \"Dry soils and low humidity will impact air temperature \
     inversions\", 20 May 2021",
);
const PASQUILL: Source = Source::published(
    "Pasquill 1961 in Turner, Workbook of Atmospheric Dispersion Estimates, US EPA AP-26, 1970, \
     Table 3-1",
);
const ONTARIO: Source = Source::published(
    "Ontario Ministry of Agriculture, \"How weather conditions affect spray applications\"",
);

/// Hours before sunset at which an inversion may begin, at the earliest.
const WATCH_BEFORE_SUNSET: Figure = Figure::new(4.0, NDSU_INVERSION);
/// How much earlier it may begin over dry ground, hours.
const WATCH_EARLIER_WHEN_DRY: Figure = Figure::new(2.0, NDSU_INVERSION);
/// Hours after sunrise by which it has broken, at the latest.
const WATCH_AFTER_SUNRISE: Figure = Figure::new(2.0, NDSU_INVERSION);
/// Wind that breaks an inversion while the sun is up, mph.
const BREAKING_WIND_MPH: Figure = Figure::new(3.0, NDSU_INVERSION);
/// Night as the stability classes count it: so many hours before sunset to after sunrise.
const NIGHT_MARGIN: Figure = Figure::new(1.0, PASQUILL);
/// Wind below which night air is stable under any sky, m/s.
const STABLE_ANY_SKY_MPS: Figure = Figure::new(3.0, PASQUILL);
/// Wind below which night air is stable under a clear sky, m/s.
const STABLE_CLEAR_SKY_MPS: Figure = Figure::new(5.0, PASQUILL);
/// Cloud below which the sky counts as clear: less than four eighths, percent.
const CLEAR_SKY_PERCENT: Figure = Figure::new(50.0, PASQUILL);
/// Humidity below which hot air is too dry, percent, and the temperature from which it is hot, C.
const DRY_AIR_PERCENT: Figure = Figure::new(40.0, ONTARIO);
const HOT_AIR_C: Figure = Figure::new(25.0, ONTARIO);
/// Hours after sunrise and before sunset in which glufosinate lacks sun; the source says 3 to 4.
const LOW_SUN_HOURS: Figure = Figure::new(
    3.0,
    Source::published(
        "Singh, Sarangi, Stahl, Ikley and Peters, University of Minnesota and North Dakota State \
         University, best practices for glufosinate, Minnesota Crop News",
    ),
);
/// Least rain that is rain: a hundredth of an inch, in mm.
const MEASURABLE_RAIN_MM: Figure = Figure::new(
    0.254,
    Source::published("National Weather Service, Glossary, \"measurable precipitation\""),
);
/// Site-of-action group of the growth regulators.
const GROWTH_REGULATORS: u8 = 4;

/// The pass that waits for its hour.
#[derive(Debug, Clone, Copy)]
pub struct Job<'a> {
    /// Place, for the sun.
    pub site: &'a Site,
    /// The crop that is sprayed.
    pub crop: &'a Crop,
    /// What is in the tank.
    pub mix: &'a [Ingredient],
    /// Whether the ground is dry, or may be.
    pub dry: bool,
    /// Days with their forecast highs.
    pub cell: &'a Cell,
    /// The numbers in force.
    pub thresholds: &'a Thresholds,
}

/// What speaks against an hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Refusal {
    /// The sun is not up the whole hour.
    Dark,
    /// Rain before the mix is rainfast.
    Rain,
    /// Too much wind.
    Wind,
    /// Too strong gusts.
    Gusts,
    /// Too little wind: its direction is not to be relied on, and an inversion may lie below.
    Calm,
    /// The air is likely stable.
    Inversion,
    /// Drops would dry too soon.
    Drying,
    /// Drops would hang in moist air.
    Moist,
    /// Too warm for a growth regulator.
    Heat,
    /// Too cold.
    Cold,
    /// Too little sun for glufosinate.
    LowSun,
    /// The day's high ends dicamba over the top of soybean.
    DicambaHeat,
    /// No dicamba is registered over the top of soybean that year.
    DicambaUnregistered,
}

impl Refusal {
    /// Plain words for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Dark => "no sun",
            Self::Rain => "rain too soon",
            Self::Wind => "wind",
            Self::Gusts => "gusts",
            Self::Calm => "still air",
            Self::Inversion => "inversion likely",
            Self::Drying => "hot, dry air",
            Self::Moist => "moist air",
            Self::Heat => "heat",
            Self::Cold => "cold",
            Self::LowSun => "low sun",
            Self::DicambaHeat => "heat for dicamba",
            Self::DicambaUnregistered => "no dicamba registered over soybean",
        }
    }
}

/// What it would take to tell whether an hour is fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Missing {
    /// Temperature of the hour, or the day's high.
    Temperature,
    /// Humidity.
    Humidity,
    /// Wind.
    Wind,
    /// Gusts.
    Gust,
    /// Cloud.
    Cloud,
    /// Rain until the mix is rainfast.
    Rain,
    /// How long a partner of the mix takes to be rainfast.
    Rainfast,
    /// How much of the county's share of acres is left for the day.
    CountyLedger,
    /// The year's rule for dicamba over the top of soybean.
    DicambaRule,
}

/// One hour with all that is held against it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HourFit {
    /// First moment of the hour.
    pub start: DateTime<FixedOffset>,
    /// Every reason against it.
    pub refused: Vec<Refusal>,
    /// Everything that is not known of it.
    pub missing: Vec<Missing>,
}

impl HourFit {
    /// Whether nothing speaks against it and nothing is missing.
    pub const fn is_fit(&self) -> bool {
        self.refused.is_empty() && self.missing.is_empty()
    }
}

/// Fit hours without a break between them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SprayRun {
    /// First moment.
    pub from: DateTime<FixedOffset>,
    /// Moment after the last.
    pub to: DateTime<FixedOffset>,
}

impl SprayRun {
    /// The local day on which it begins.
    pub fn date(&self) -> NaiveDate {
        self.from.date_naive()
    }
}

/// Wet-bulb temperature at sea level, C.
///
/// # References
///
/// Stull, "Wet-bulb temperature from relative humidity and air temperature", J. Appl. Meteorol.
/// Climatol. 50:2267-2269, 2011, Eq. 1: within 1 C from 5 to 99 % and -20 to 50 C.
pub fn wet_bulb(temperature: Celsius, humidity: Percent) -> f64 {
    let (t, rh) = (temperature.get(), humidity.get());
    t * (0.151_977 * (rh + 8.313_659).sqrt()).atan() + (t + rh).atan() - (rh - 1.676_331).atan()
        + 0.003_918_38 * rh.powf(1.5) * (0.023_101 * rh).atan()
        - 4.686_035
}

/// How fast drops dry: air temperature less wet bulb, C, never below nothing.
pub fn delta_t(temperature: Celsius, humidity: Percent) -> f64 {
    (temperature.get() - wet_bulb(temperature, humidity)).max(0.0)
}

/// Whether an inversion may be there at a moment: late in the day, at night, early in the morning.
/// Where the sun neither rises nor sets it always may.
pub fn inversion_watch(
    moment: DateTime<FixedOffset>,
    daylight: Option<Daylight>,
    dry: bool,
) -> bool {
    let opens = WATCH_BEFORE_SUNSET.value + if dry { WATCH_EARLIER_WHEN_DRY.value } else { 0.0 };
    daylight.is_none_or(|day| {
        day.since_rise(moment) < WATCH_AFTER_SUNRISE.value || day.until_set(moment) <= opens
    })
}

/// Whether the air is likely stable in the hour from `start` on: by night as the stability classes
/// have it, else in the watch when it is calm under a clear sky.
pub fn is_stable(
    start: DateTime<FixedOffset>,
    wind: MetresPerSecond,
    cloud: Percent,
    daylight: Option<Daylight>,
    dry: bool,
) -> bool {
    let end = start + HOUR;
    let clear = cloud.get() < CLEAR_SKY_PERCENT.value;
    let night = daylight.is_none_or(|day| {
        day.since_rise(start) < NIGHT_MARGIN.value || day.until_set(end) < NIGHT_MARGIN.value
    });
    if night {
        return wind.get() < STABLE_ANY_SKY_MPS.value
            || (clear && wind.get() < STABLE_CLEAR_SKY_MPS.value);
    }
    let watch = inversion_watch(start, daylight, dry) || inversion_watch(end, daylight, dry);
    watch && clear && wind.mph() < BREAKING_WIND_MPH.value
}

/// Hours without rain that the mix wants on its longest partner's typical label; `None` when that
/// is not known of a partner that works through the leaf, or of any. Partners that lie in the soil
/// want rain and do not count.
pub fn rainfast_hours(mix: &[Ingredient]) -> Option<f64> {
    let leaf: Vec<Ingredient> = mix
        .iter()
        .copied()
        .filter(|one| post::weed_size(*one).is_some() || post::rainfast(*one).is_some())
        .collect();
    Some(post_window::rainfast(&leaf).filter(|_| !leaf.is_empty())?.value)
}

/// Judges every hour, in the order given; `hours` are in order of time.
pub fn judge(job: &Job<'_>, hours: &[Hour]) -> Vec<HourFit> {
    let mut days: BTreeMap<NaiveDate, Option<Daylight>> = BTreeMap::new();
    (0..hours.len())
        .map(|at| {
            let date = hours[at].date();
            let daylight = *days
                .entry(date)
                .or_insert_with(|| Daylight::of(job.site.latitude, job.site.longitude, date));
            let mut fit =
                HourFit { start: hours[at].start, refused: Vec::new(), missing: Vec::new() };
            job.by_sun(&mut fit, daylight);
            job.by_rain(&mut fit, &hours[at..]);
            job.by_air(&mut fit, &hours[at], daylight);
            job.by_dicamba(&mut fit, hours);
            fit
        })
        .collect()
}

/// Fit hours put together into runs, in order of time.
pub fn runs(hours: &[HourFit]) -> Vec<SprayRun> {
    let mut runs: Vec<SprayRun> = Vec::new();
    for hour in hours.iter().filter(|hour| hour.is_fit()) {
        match runs.last_mut().filter(|run| run.to == hour.start) {
            Some(run) => run.to = hour.start + HOUR,
            None => runs.push(SprayRun { from: hour.start, to: hour.start + HOUR }),
        }
    }
    runs
}

/// What speaks against most of the hours of daylight.
pub fn commonest(hours: &[HourFit]) -> Option<Refusal> {
    let mut counts: BTreeMap<Refusal, usize> = BTreeMap::new();
    let by_day = hours.iter().filter(|hour| !hour.refused.contains(&Refusal::Dark));
    for refusal in by_day.flat_map(|hour| &hour.refused) {
        *counts.entry(*refusal).or_default() += 1;
    }
    counts.into_iter().rev().max_by_key(|(_, count)| *count).map(|(refusal, _)| refusal)
}

impl Job<'_> {
    fn by_sun(&self, fit: &mut HourFit, daylight: Option<Daylight>) {
        let (start, end) = (fit.start, fit.start + HOUR);
        let sun_for = |hours: f64| {
            daylight
                .is_some_and(|day| day.since_rise(start) >= hours && day.until_set(end) >= hours)
        };
        fit.refuse(!sun_for(0.0), Refusal::Dark);
        let wants_sun = self.mix.contains(&Ingredient::Glufosinate);
        fit.refuse(wants_sun && !sun_for(LOW_SUN_HOURS.value), Refusal::LowSun);
    }

    /// Rain from the hour's first moment until a drop sprayed at its last is rainfast.
    fn by_rain(&self, fit: &mut HourFit, from: &[Hour]) {
        let Some(hours) = rainfast_hours(self.mix) else {
            fit.missing.push(Missing::Rainfast);
            return;
        };
        #[expect(clippy::cast_possible_truncation, reason = "minutes of a day at most")]
        let wait = (hours * self.thresholds.spray_rainfast_percent / 100.0 * 60.0).ceil() as i64;
        let until = fit.start + HOUR + TimeDelta::minutes(wait);
        let (mut next, mut rain, mut known) = (fit.start, 0.0, true);
        for hour in from.iter().take_while(|hour| hour.start < until) {
            known &= hour.start == next && hour.rain.is_some();
            rain += hour.rain.map_or(0.0, Millimetres::get);
            next = hour.start + HOUR;
        }
        let rains = rain >= MEASURABLE_RAIN_MM.value;
        fit.refuse(rains, Refusal::Rain);
        if !rains && (!known || next < until) {
            fit.missing.push(Missing::Rain);
        }
    }

    fn by_air(&self, fit: &mut HourFit, hour: &Hour, daylight: Option<Daylight>) {
        let limits = self.thresholds;
        if let Some(wind) = fit.known(hour.wind, Missing::Wind) {
            fit.refuse(wind.mph() > limits.spray_wind_max_mph, Refusal::Wind);
            fit.refuse(wind.mph() < limits.spray_wind_min_mph, Refusal::Calm);
        }
        if let Some(gust) = fit.known(hour.gust, Missing::Gust) {
            fit.refuse(gust.mph() > limits.spray_gust_max_mph, Refusal::Gusts);
        }
        let cloud = fit.known(hour.cloud, Missing::Cloud);
        if let Some((wind, cloud)) = hour.wind.zip(cloud) {
            let stable = is_stable(hour.start, wind, cloud, daylight, self.dry);
            fit.refuse(stable, Refusal::Inversion);
        }
        let temperature = fit.known(hour.temperature, Missing::Temperature);
        let humidity = fit.known(hour.humidity, Missing::Humidity);
        if let Some(temperature) = temperature {
            let regulator = self.mix.iter().any(|one| one.group() == GROWTH_REGULATORS);
            let degrees = temperature.fahrenheit();
            fit.refuse(regulator && degrees > limits.spray_temperature_max_f, Refusal::Heat);
            fit.refuse(degrees < limits.spray_temperature_min_f, Refusal::Cold);
        }
        if let Some((temperature, humidity)) = temperature.zip(humidity) {
            let spread = delta_t(temperature, humidity);
            let hot_and_dry =
                humidity.get() < DRY_AIR_PERCENT.value && temperature.get() > HOT_AIR_C.value;
            fit.refuse(hot_and_dry || spread > limits.spray_delta_t_max_c, Refusal::Drying);
            fit.refuse(spread < limits.spray_delta_t_min_c, Refusal::Moist);
        }
    }

    /// Dicamba over the top of soybean goes by the year's rule and the day's highest temperature.
    fn by_dicamba(&self, fit: &mut HourFit, hours: &[Hour]) {
        if self.crop.is_corn() || !self.mix.contains(&Ingredient::Dicamba) {
            return;
        }
        let date = fit.start.date_naive();
        let Some(rule) = over_the_top::rule(date.year()) else {
            fit.missing.push(Missing::DicambaRule);
            return;
        };
        fit.refuse(rule.heat.is_none(), Refusal::DicambaUnregistered);
        let Some(heat) = rule.heat else { return };
        let Some(high) = self.day_high(date, hours) else {
            fit.missing.push(Missing::Temperature);
            return;
        };
        fit.refuse(high >= heat.never_from_f, Refusal::DicambaHeat);
        if (heat.county_share_from_f..heat.never_from_f).contains(&high) {
            fit.missing.push(Missing::CountyLedger);
        }
    }

    /// The day's highest temperature, F: that of the day, or of any of its hours where that is more.
    fn day_high(&self, date: NaiveDate, hours: &[Hour]) -> Option<f64> {
        let of_day = self.cell.day(date)?.high?.value.fahrenheit();
        let of_hours = hours
            .iter()
            .filter(|hour| hour.date() == date)
            .filter_map(|hour| Some(hour.temperature?.fahrenheit()));
        Some(of_hours.fold(of_day, f64::max))
    }
}

impl HourFit {
    fn refuse(&mut self, holds: bool, why: Refusal) {
        if holds {
            self.refused.push(why);
        }
    }

    fn known<T>(&mut self, value: Option<T>, what: Missing) -> Option<T> {
        if value.is_none() {
            self.missing.push(what);
        }
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Texture;
    use crate::units::{Latitude, Longitude};
    use crate::weather::{Day, Kind, Sourced, Weather};
    use proptest::prelude::*;

    const MIXES: [&[Ingredient]; 4] = [
        &[Ingredient::Glyphosate, Ingredient::SMetolachlor],
        &[Ingredient::Glufosinate],
        &[Ingredient::Dicamba],
        &[],
    ];

    fn judged(mix: &[Ingredient], hours: &[Hour]) -> Vec<HourFit> {
        let site = Site {
            latitude: Latitude::new(42.0).unwrap(),
            longitude: Longitude::new(-93.5).unwrap(),
            texture: Texture::Loam,
            organic_matter: Percent::new(3.0).unwrap(),
            particles: None,
            elevation: None,
        };
        let high = Sourced { value: Celsius::new(25.0).unwrap(), kind: Kind::Forecast };
        let days = hours.iter().map(|hour| Day { high: Some(high), ..Day::unknown(hour.date()) });
        let job = Job {
            site: &site,
            crop: &Crop::Soybean { maturity_group: 2.0 },
            mix,
            dry: true,
            cell: &Cell::new(site.latitude, None, &Weather::new(days.collect())),
            thresholds: &Thresholds::default(),
        };
        judge(&job, hours)
    }

    fn some_hours() -> impl Strategy<Value = Vec<Hour>> {
        let maybe = |range: std::ops::Range<f64>| prop::option::weighted(0.95, range);
        let hour = (
            maybe(5.0..35.0),
            maybe(20.0..100.0),
            maybe(0.0..8.0),
            maybe(0.0..10.0),
            maybe(0.0..100.0),
            maybe(0.0..0.05),
        );
        prop::collection::vec(hour, 1..36).prop_map(|hours| {
            let first = DateTime::parse_from_rfc3339("2026-06-10T05:00:00-05:00").unwrap();
            let starts = (0..).map(|at| first + TimeDelta::hours(at));
            let known = starts.zip(hours).map(|(start, (t, rh, wind, gust, cloud, rain))| Hour {
                start,
                temperature: t.and_then(|t| Celsius::new(t).ok()),
                humidity: rh.and_then(|rh| Percent::new(rh).ok()),
                wind: wind.and_then(|wind| MetresPerSecond::new(wind).ok()),
                gust: gust.and_then(|gust| MetresPerSecond::new(gust).ok()),
                cloud: cloud.and_then(|cloud| Percent::new(cloud).ok()),
                rain: rain.and_then(|rain| Millimetres::new(rain).ok()),
            });
            known.collect()
        })
    }

    proptest! {
        #[test]
        fn more_wind_never_makes_a_windy_hour_fit(
            hours in some_hours(), mix in 0..4usize, more in 0.0..20.0_f64,
        ) {
            let before = judged(MIXES[mix], &hours);
            let mut windier = hours;
            for hour in &mut windier {
                hour.wind = hour.wind.and_then(|wind| MetresPerSecond::new(wind.get() + more).ok());
            }
            for (before, after) in before.iter().zip(judged(MIXES[mix], &windier)) {
                if before.refused.contains(&Refusal::Wind) {
                    prop_assert!(after.refused.contains(&Refusal::Wind));
                }
            }
        }

        #[test]
        fn an_hour_with_something_missing_is_never_fit(hours in some_hours(), mix in 0..4usize) {
            let fit = judged(MIXES[mix], &hours);
            for (hour, fit) in hours.iter().zip(&fit) {
                let whole = hour.temperature.is_some()
                    && hour.humidity.is_some()
                    && hour.wind.is_some()
                    && hour.gust.is_some()
                    && hour.cloud.is_some()
                    && hour.rain.is_some();
                prop_assert!(whole || !fit.is_fit());
            }
            prop_assert!(!MIXES[mix].is_empty() || runs(&fit).is_empty());
        }

        #[test]
        fn runs_hold_the_fit_hours_and_no_others(hours in some_hours(), mix in 0..4usize) {
            let fit = judged(MIXES[mix], &hours);
            prop_assert_eq!(&fit, &judged(MIXES[mix], &hours));
            let runs = runs(&fit);
            for hour in &fit {
                let within = runs.iter().any(|run| run.from <= hour.start && hour.start < run.to);
                prop_assert_eq!(within, hour.is_fit());
            }
            prop_assert!(runs.windows(2).all(|pair| pair[0].to < pair[1].from));
        }
    }

    #[test]
    fn the_commonest_reason_is_that_of_daylight() {
        let start = DateTime::parse_from_rfc3339("2026-06-10T05:00:00-05:00").unwrap();
        let hour =
            |refused: &[Refusal]| HourFit { start, refused: refused.to_vec(), missing: Vec::new() };
        let night = hour(&[Refusal::Dark, Refusal::Inversion]);
        let hours =
            [night.clone(), night, hour(&[Refusal::Wind, Refusal::Gusts]), hour(&[Refusal::Gusts])];
        assert_eq!(commonest(&hours), Some(Refusal::Gusts));
        assert_eq!(commonest(&hours[..3]), Some(Refusal::Wind));
        assert_eq!(commonest(&hours[..2]), None);
    }
}
