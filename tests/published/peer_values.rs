//! Prints what the engine makes of a weather table, for a comparison with other programs.
//!
//! `peer_values LATITUDE ELEVATION_M WIND_HEIGHT_M [PLANTED]` reads a CSV table from standard input,
//! a line a day: `date,high_c,low_c,humidity_high,humidity_low,wind,solar,rain_mm`. It prints a line a
//! day with the sunshine above the air, the demand by two methods and, from planting over the 137
//! days of the crop, the balance of rainfed corn in central Illinois.

use chrono::{Datelike, NaiveDate};
use furrowbell_engine::clocks::soil_water::balance::{Balance, BalanceDay, Climate};
use furrowbell_engine::sky::demand::{Demand, Hargreaves, PenmanMonteith, Sky};
use furrowbell_engine::sky::radiation::extraterrestrial_radiation;
use furrowbell_engine::sky::vapour;
use furrowbell_engine::units::Latitude;
use furrowbell_published::{Row, illinois};
use std::error::Error;

/// What a line of the answer holds, in order.
const COLUMNS: [&str; 16] = [
    "date",
    "above",
    "penman_monteith",
    "hargreaves",
    "Kcb",
    "De",
    "Kr",
    "Ke",
    "E",
    "DPe",
    "TAW",
    "Ks",
    "T",
    "DP",
    "Dr",
    "Runoff",
];

struct Place {
    latitude: Latitude,
    elevation_m: f64,
    wind_height_m: f64,
}

struct Today {
    date: NaiveDate,
    sky: Sky,
    climate: Climate,
    rain_mm: f64,
}

impl Place {
    fn day(&self, row: &Row) -> Result<Today, Box<dyn Error>> {
        let text = |key: &str| row.get(key).ok_or_else(|| format!("no column {key}"));
        let number = |key: &str| -> Result<f64, Box<dyn Error>> { Ok(text(key)?.parse()?) };
        let date: NaiveDate = text("date")?.parse()?;
        let (high_c, low_c) = (number("high_c")?, number("low_c")?);
        let (wettest, least_humidity) = (number("humidity_high")?, number("humidity_low")?);
        let wind_2_m = vapour::wind_at_2_m(number("wind")?, self.wind_height_m);
        let sky = Sky {
            high_c,
            low_c,
            above: extraterrestrial_radiation(self.latitude, date.ordinal()),
            elevation_m: self.elevation_m,
            vapour_kpa: Some(vapour::from_humidity_ends(high_c, low_c, wettest, least_humidity)),
            wind_2_m: Some(wind_2_m),
            solar: Some(number("solar")?),
        };
        let climate = Climate { wind_2_m, least_humidity };
        Ok(Today { date, sky, climate, rain_mm: number("rain_mm")? })
    }
}

fn advance(balance: &mut Balance, today: &Today, crop_days: f64, demand_mm: f64) -> [f64; 12] {
    let flux = balance.advance(&BalanceDay {
        rain_mm: Some(today.rain_mm),
        demand_mm,
        crop_days: Some(crop_days),
        climate: today.climate,
    });
    [
        flux.basal,
        balance.surface().loss_mm(),
        flux.surface.reduction,
        flux.surface.coefficient,
        flux.surface.mm,
        flux.surface.through_mm,
        balance.available_mm(),
        flux.stress,
        flux.uptake_mm,
        flux.drained_mm,
        balance.depletion_mm(),
        flux.runoff_mm,
    ]
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let mut number = || -> Result<f64, Box<dyn Error>> {
        Ok(arguments.next().ok_or("give latitude, elevation and height of the wind")?.parse()?)
    };
    let place = Place {
        latitude: Latitude::new(number()?)?,
        elevation_m: number()?,
        wind_height_m: number()?,
    };
    let planted: Option<NaiveDate> = arguments.next().map(|text| text.parse()).transpose()?;
    let season_days: f64 = illinois::CORN.stage_days.iter().sum();
    let mut balance = illinois::balance();
    let mut crop_days = 0.0;
    let mut out = csv::Writer::from_writer(std::io::stdout());
    out.write_record(COLUMNS)?;
    for row in csv::Reader::from_reader(std::io::stdin()).deserialize::<Row>() {
        let today = place.day(&row?)?;
        let demand = PenmanMonteith.mm(&today.sky).ok_or("Penman-Monteith wants all weather")?;
        let plain = Hargreaves.mm(&today.sky).ok_or("Hargreaves wants high and low")?;
        let mut line = vec![today.sky.above, demand, plain];
        if planted.is_some_and(|planted| planted <= today.date) && crop_days < season_days {
            line.extend(advance(&mut balance, &today, crop_days, demand));
            crop_days += 1.0;
        }
        line.resize(COLUMNS.len() - 1, f64::NAN);
        let cells = line.iter().map(f64::to_string);
        out.write_record(std::iter::once(today.date.to_string()).chain(cells))?;
    }
    Ok(out.flush()?)
}
