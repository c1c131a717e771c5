//! The seed zone against measured soil moisture.
//!
//! NOAA US Climate Reference Network, daily data 2020, ten Corn Belt stations under grass.

use chrono::{Datelike, NaiveDate};
use furrowbell_engine::clocks::soil_water::{Bucket, WaterDay};
use furrowbell_engine::reference::Source;
use furrowbell_engine::reference::crops::WaterUse;
use furrowbell_engine::reference::soils::Soil;
use furrowbell_engine::site::{Particles, Texture};
use furrowbell_engine::sky::demand::{self, USUAL_ELEVATION_M};
use furrowbell_engine::units::{Celsius, Latitude, MegajoulesPerSquareMetre, Percent};
use furrowbell_engine::weather::{Day, Kind, Sourced};
use furrowbell_published::{Row, correlation, mean, median, number, stations};

/// Grass that greens up over April.
const GRASS: WaterUse = WaterUse {
    stage_days: [1.0, 30.0, 200.0, 30.0],
    basal: [0.15, 0.90, 0.90],
    height_m: 0.12,
    roots_m: 0.6,
    easy_share: 0.4,
    source: Source::published("FAO-56, Tables 17 and 22, cool-season grass"),
};
/// Half-inch layers about the sensor at 5 cm: 1.5 to 2.5 in.
const ABOUT_5_CM: std::ops::Range<usize> = 3..5;

const fn measured<T: Copy>(value: T) -> Sourced<T> {
    Sourced { value, kind: Kind::Station }
}

fn day(date: NaiveDate, row: &Row) -> Day {
    let celsius = |key| Celsius::new(number(row, key)?).ok().map(measured);
    let percent = |key| Percent::new(number(row, key)?).ok().map(measured);
    let solar =
        number(row, "solarad_daily").and_then(|sum| MegajoulesPerSquareMetre::new(sum).ok());
    Day {
        high: celsius("t_daily_max"),
        low: celsius("t_daily_min"),
        humidity: percent("rh_daily_avg"),
        solar: solar.map(measured),
        ..Day::unknown(date)
    }
}

/// Modelled content about 5 cm and measured content at 5 cm, April to June.
fn course(rows: &[(NaiveDate, Row)], texture: Texture) -> Vec<(f64, f64)> {
    let soil = Soil::new(texture, Particles::middle_of(texture), 2.5);
    // A sward covers its ground all year, dead or green.
    let mut bucket = Bucket::at_capacity(soil, GRASS).under_residue(1.0);
    let mut start = soil.capacity;
    let mut pairs = Vec::new();
    for (date, row) in rows.iter().filter(|(date, _)| date.month() >= 3) {
        let latitude = Latitude::new(number(row, "latitude").unwrap()).unwrap();
        bucket.advance(&WaterDay {
            rain_mm: number(row, "p_daily_calc"),
            demand_mm: demand::of_day(latitude, USUAL_ELEVATION_M.value, &day(*date, row)).mm,
            crop_days: date.ordinal().checked_sub(91).map(f64::from),
        });
        let end = mean(&bucket.seed_zone().contents()[ABOUT_5_CM]);
        let known = bucket.seed_zone().reading().layers[ABOUT_5_CM].iter().all(Option::is_some);
        // The instrument gives the mean of the day, the model its end.
        let model = known.then_some(f64::midpoint(start, end));
        start = end;
        let five = number(row, "soil_moisture_5_daily").filter(|_| date.month() >= 4);
        pairs.extend(model.zip(five));
    }
    pairs
}

#[test]
fn top_layer_dries_and_wets_with_the_measured_one() {
    let Some(stations) = stations() else { return };
    // No published bound for a model without the site's soil; the median station must reach 0.7. The
    // record gives no textures: silt loam stands for all. Four stations stay below. 04994 and 53974
    // measure up to 0.61 and 0.56, more than the pores of a mineral soil hold, for days after rain;
    // 94079 is a sand that holds 0.03 to 0.11; 54856 keeps its wetness through dry weeks. No other
    // texture of ours mends them (at best 0.43, 0.46, 0.23, 0.50), so a soil under the sward, a water
    // table or the instrument is not as the model has it. 94996 measured nothing.
    let mut found = Vec::new();
    for (station, rows) in &stations {
        let pairs = course(rows, Texture::SiltLoam);
        if pairs.len() < 60 {
            println!("{station}: only {} days measured", pairs.len());
            continue;
        }
        let correlation = correlation(&pairs);
        let least = pairs.iter().map(|pair| pair.1).fold(f64::INFINITY, f64::min);
        let most = pairs.iter().map(|pair| pair.1).fold(0.0, f64::max);
        println!(
            "{station}: {correlation:.2} over {} days, measured {least:.2} to {most:.2}",
            pairs.len()
        );
        found.push(correlation);
    }
    assert!(found.len() >= 7, "{} stations", found.len());
    let median = median(found);
    assert!(median >= 0.7, "{median:.2}");
}
