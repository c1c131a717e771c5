//! Evaporative demand: what short green grass with water enough gives to the air in a day, mm.
//!
//! Rival methods are tried in order, best first; an estimate says which one it came by.
//!
//! # References
//!
//! Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, chapters 2 to 4.

use crate::reference::{Figure, Source};
use crate::sky::normal_temperatures;
use crate::sky::radiation::{
    MM_PER_MEGAJOULE, clear_sky, extraterrestrial_radiation, from_span, net_longwave, net_shortwave,
};
use crate::sky::vapour::{
    from_mean_humidity, mean_saturation, pressure, psychrometric_constant, slope, wind_at_2_m,
};
use crate::units::Latitude;
use crate::weather::Day;
use chrono::Datelike;
use serde::Serialize;

/// Height at which [`Day`] has its wind, m.
const WIND_HEIGHT_M: f64 = 10.0;

/// Elevation of a field whose own is not known, m. Most corn ground lies between 150 and 450 m; 200
/// m more or less move a summer day's demand by about 1 %.
pub const USUAL_ELEVATION_M: Figure =
    Figure::new(250.0, Source::common_practice("middle of the Corn Belt, common practice"));

/// One day's air, as the methods want it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sky {
    /// High, C.
    pub high_c: f64,
    /// Low, C.
    pub low_c: f64,
    /// Sunshine above the air, MJ m-2 d-1.
    pub above: f64,
    /// Height above the sea, m.
    pub elevation_m: f64,
    /// Actual vapour pressure, kPa.
    pub vapour_kpa: Option<f64>,
    /// Mean wind at 2 m, m/s.
    pub wind_2_m: Option<f64>,
    /// Sunshine at the ground, MJ m-2 d-1.
    pub solar: Option<f64>,
}

impl Sky {
    /// The air of a day at a place; `None` without high and low.
    pub fn of(latitude: Latitude, elevation_m: f64, day: &Day) -> Option<Self> {
        let (high_c, low_c) = (day.high?.value.get(), day.low?.value.get());
        let humidity = day.humidity.map(|humidity| humidity.value.get());
        Some(Self {
            high_c,
            low_c,
            above: extraterrestrial_radiation(latitude, day.date.ordinal()),
            elevation_m,
            vapour_kpa: humidity.map(|mean| from_mean_humidity(high_c, low_c, mean)),
            wind_2_m: day.wind.map(|wind| wind_at_2_m(wind.value.get(), WIND_HEIGHT_M)),
            solar: day.solar.map(|solar| solar.value.get()),
        })
    }

    fn mean_c(&self) -> f64 {
        f64::midpoint(self.high_c, self.low_c)
    }
}

/// How a demand was found, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Penman-Monteith with the day's own sunshine.
    PenmanMonteith,
    /// Penman-Monteith with sunshine guessed from the span of temperature.
    PenmanMonteithBySpan,
    /// Hargreaves, from temperatures alone.
    Hargreaves,
    /// Hargreaves over the temperatures of a usual year.
    UsualYear,
}

/// A way to find the day's demand.
pub trait Demand {
    /// Its name.
    fn method(&self) -> Method;
    /// Demand, mm; `None` where the day lacks what it needs.
    fn mm(&self, sky: &Sky) -> Option<f64>;
}

/// FAO-56 Penman-Monteith with measured sunshine.
#[derive(Debug, Clone, Copy)]
pub struct PenmanMonteith;

impl Demand for PenmanMonteith {
    fn method(&self) -> Method {
        Method::PenmanMonteith
    }

    fn mm(&self, sky: &Sky) -> Option<f64> {
        Some(daily(sky, sky.solar?, sky.vapour_kpa?, sky.wind_2_m?))
    }
}

/// FAO-56 Penman-Monteith with sunshine from the span of temperature (Eq. 50).
#[derive(Debug, Clone, Copy)]
pub struct PenmanMonteithBySpan;

impl Demand for PenmanMonteithBySpan {
    fn method(&self) -> Method {
        Method::PenmanMonteithBySpan
    }

    fn mm(&self, sky: &Sky) -> Option<f64> {
        let solar = from_span(sky.above, sky.high_c - sky.low_c, sky.elevation_m);
        Some(daily(sky, solar, sky.vapour_kpa?, sky.wind_2_m?))
    }
}

/// Hargreaves. Runs about a tenth above Penman-Monteith in humid places.
#[derive(Debug, Clone, Copy)]
pub struct Hargreaves;

impl Demand for Hargreaves {
    fn method(&self) -> Method {
        Method::Hargreaves
    }

    fn mm(&self, sky: &Sky) -> Option<f64> {
        Some(hargreaves(sky.high_c, sky.low_c, sky.above))
    }
}

/// The methods in the order they are tried.
const CHAIN: [&dyn Demand; 3] = [&PenmanMonteith, &PenmanMonteithBySpan, &Hargreaves];

/// A day's demand and how it was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// Demand, mm.
    pub mm: f64,
    /// How it was found.
    pub method: Method,
}

/// The day's demand by the best method its weather allows. A day without temperatures takes those
/// of a usual year: the error is small beside that of a missing rain.
pub fn of_day(latitude: Latitude, elevation_m: f64, day: &Day) -> Estimate {
    let found = Sky::of(latitude, elevation_m, day).and_then(|sky| {
        CHAIN.iter().find_map(|way| Some(Estimate { mm: way.mm(&sky)?, method: way.method() }))
    });
    found.unwrap_or_else(|| {
        let (high_c, low_c) = normal_temperatures(latitude, day.date);
        let above = extraterrestrial_radiation(latitude, day.date.ordinal());
        Estimate { mm: hargreaves(high_c, low_c, above), method: Method::UsualYear }
    })
}

/// FAO-56 Eq. 52 (Hargreaves), mm; `above` is the sunshine above the air, MJ m-2 d-1.
pub fn hargreaves(high_c: f64, low_c: f64, above: f64) -> f64 {
    let span = (high_c - low_c).max(0.0);
    let mean = f64::midpoint(high_c, low_c);
    (0.0023 * (mean + 17.8) * span.sqrt() * MM_PER_MEGAJOULE * above).max(0.0)
}

/// The terms of Penman-Monteith for grass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Terms {
    /// Mean temperature, C.
    pub mean_c: f64,
    /// Slope of the saturation curve, kPa/C.
    pub slope: f64,
    /// Psychrometric constant, kPa/C.
    pub psychrometric: f64,
    /// Net radiation less the heat that goes into the soil, MJ m-2 d-1.
    pub available: f64,
    /// Mean wind at 2 m, m/s.
    pub wind_2_m: f64,
    /// Vapour pressure deficit, kPa.
    pub deficit: f64,
}

impl Terms {
    fn divisor(&self) -> f64 {
        self.slope + self.psychrometric * (1.0 + 0.34 * self.wind_2_m)
    }

    /// The part that sunshine drives, mm/day.
    pub fn radiation_mm(&self) -> f64 {
        MM_PER_MEGAJOULE * self.slope * self.available / self.divisor()
    }

    /// The part that wind and dry air drive, mm/day.
    pub fn wind_mm(&self) -> f64 {
        self.psychrometric * 900.0 / (self.mean_c + 273.0) * self.wind_2_m * self.deficit
            / self.divisor()
    }

    /// Demand of grass, mm/day (Eq. 6).
    pub fn mm(&self) -> f64 {
        self.radiation_mm() + self.wind_mm()
    }
}

fn daily(sky: &Sky, solar: f64, vapour_kpa: f64, wind_2_m: f64) -> f64 {
    let (high, low) = (sky.high_c, sky.low_c);
    let clear = clear_sky(sky.above, sky.elevation_m);
    let terms = Terms {
        mean_c: sky.mean_c(),
        slope: slope(sky.mean_c()),
        psychrometric: psychrometric_constant(pressure(sky.elevation_m)),
        available: net_shortwave(solar) - net_longwave(high, low, vapour_kpa, solar, clear),
        // Below half a metre a second air still moves as it warms (FAO-56, chapter 3).
        wind_2_m: wind_2_m.max(0.5),
        deficit: (mean_saturation(high, low) - vapour_kpa).max(0.0),
    };
    terms.mm().max(0.0)
}
