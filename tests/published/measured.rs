//! Models held against what instruments measured.
//!
//! The records are public; see the library of this package.

use chrono::{Datelike, Days, NaiveDate};
use furrowbell_engine::cell::Cell;
use furrowbell_engine::clocks::heat::gdd;
use furrowbell_engine::clocks::soil_temperature::SoilTemperature;
use furrowbell_engine::clocks::soil_water::{Bucket, WaterDay};
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::{Crop, HerbicidePlan, NitrogenPlan, NitrogenSource, Plan};
use furrowbell_engine::reference::Source;
use furrowbell_engine::reference::crops::WaterUse;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::site::{Site, Texture};
use furrowbell_engine::sky;
use furrowbell_engine::thresholds::Thresholds;
use furrowbell_engine::units::{
    Celsius, Inches, Latitude, Longitude, Millimetres, Percent, PoundsPerAcre,
};
use furrowbell_engine::weather::{Day, Kind, Sourced, Weather};
use furrowbell_published::{
    AMES, Row, correlation, find, number, root_mean_square, rows, stations,
};
use std::collections::BTreeMap;

fn celsius(value: f64) -> Celsius {
    Celsius::new(value).unwrap()
}

#[test]
fn soil_temperature_at_four_inches_through_ten_springs() {
    let Some(stations) = stations() else { return };
    // Horton & Corkrey, Soil Res. 49:305, 2011: models from air temperature err by 1.2 to 1.9 C
    // where they are fitted to the site. Ours is not fitted and takes bare ground for grass, so
    // each station may err by 3.5 C root mean square and all of them together by 2.5 C.
    let mut all = Vec::new();
    for (station, rows) in &stations {
        let mut soil: Option<SoilTemperature> = None;
        let mut errors = Vec::new();
        for (date, row) in rows {
            let Some((high, low)) = number(row, "t_daily_max").zip(number(row, "t_daily_min"))
            else {
                continue;
            };
            let mean = f64::midpoint(high, low);
            let soil = soil.get_or_insert(SoilTemperature::starting(10.0, mean));
            let model = soil.advance(mean, 0.0);
            let measured = number(row, "soil_temp_10_daily");
            if let Some(measured) = measured.filter(|_| date.month() >= 4) {
                errors.push(model - measured);
            }
        }
        if errors.len() < 60 {
            println!("station {station}: only {} days measured", errors.len());
            continue;
        }
        let rmse = root_mean_square(&errors);
        println!("station {station}: {rmse:.2} C");
        assert!(rmse < 3.5, "station {station}: {rmse:.2} C");
        all.push(rmse);
    }
    assert!(all.len() >= 7);
    let rmse = root_mean_square(&all);
    assert!(rmse < 2.5, "{rmse:.2} C");
}

/// Grass that greens up over April.
const GRASS: WaterUse = WaterUse {
    stage_days: [1.0, 30.0, 200.0, 30.0],
    basal: [0.15, 0.90, 0.90],
    height_m: 0.12,
    roots_m: 0.6,
    easy_share: 0.4,
    source: Source::published("FAO-56, Tables 17 and 22, cool-season grass"),
};

#[test]
fn top_layer_dries_and_wets_with_the_measured_one() {
    let Some(stations) = stations() else { return };
    // No published bound: the stations' textures are not in the record, so only the course is
    // compared. Correlation of the model's share of available water in the top 4 in, under grass on
    // silt loam, with the mean of the moisture measured at 5 and 10 cm: above 0.5 at every station,
    // above 0.65 at half of them.
    let mut good = 0;
    let mut tried = 0;
    for (station, rows) in &stations {
        let mut bucket = Bucket::at_capacity(Texture::SiltLoam, GRASS);
        let mut pairs = Vec::new();
        for (date, row) in rows.iter().filter(|(date, _)| date.month() >= 3) {
            let latitude = Latitude::new(number(row, "latitude").unwrap()).unwrap();
            let ends = number(row, "t_daily_max").zip(number(row, "t_daily_min"));
            let demand_mm = ends.map_or(2.0, |(high, low)| {
                let radiation = sky::extraterrestrial_radiation(latitude, date.ordinal());
                sky::hargreaves(celsius(high), celsius(low), radiation)
            });
            let rain_mm = number(row, "p_daily_calc");
            let crop_days = date.ordinal().checked_sub(91).map(f64::from);
            let reading = bucket.advance(&WaterDay { rain_mm, demand_mm, crop_days });
            let shallow = number(row, "soil_moisture_5_daily")
                .zip(number(row, "soil_moisture_10_daily"))
                .map(|(five, ten)| f64::midpoint(five, ten));
            if let Some(pair) = reading.top_share.zip(shallow).filter(|_| date.month() >= 5) {
                pairs.push(pair);
            }
        }
        if pairs.len() < 50 {
            println!("station {station}: only {} days to compare", pairs.len());
            continue;
        }
        let found = correlation(&pairs);
        println!("station {station}: {found:.2}");
        assert!(found > 0.5, "station {station}: {found:.2}");
        tried += 1;
        good += usize::from(found > 0.65);
    }
    assert!(tried >= 6 && 2 * good >= tried, "{good} of {tried}");
}

#[test]
fn the_usual_year_at_ames() {
    let Some(rows) = rows(AMES) else { return };
    // The curve of usual temperatures is from memory. Five years' means of high and low over a
    // month wander by about 1.5 C about the normal; tolerance 2.5 C.
    let mut months: BTreeMap<u32, Vec<(f64, f64)>> = BTreeMap::new();
    for row in rows {
        let date: NaiveDate = row["date"].parse().unwrap();
        let Some((high, low)) = number(&row, "high_f").zip(number(&row, "low_f")) else { continue };
        let usual = sky::normal_temperatures(Latitude::new(42.0).unwrap(), date);
        let real = ((high - 32.0) / 1.8, (low - 32.0) / 1.8);
        months.entry(date.month()).or_default().push((real.0 - usual.0, real.1 - usual.1));
    }
    for (month, gaps) in months {
        #[expect(clippy::cast_precision_loss, reason = "some hundred days")]
        let count = gaps.len() as f64;
        let high = gaps.iter().map(|gap| gap.0).sum::<f64>() / count;
        let low = gaps.iter().map(|gap| gap.1).sum::<f64>() / count;
        println!("month {month}: high {high:+.1} C, low {low:+.1} C off the usual");
        assert!(high.abs() < 2.5 && low.abs() < 2.5, "month {month}: {high:.1} {low:.1}");
    }
}

/// Corn on a field at Ames, planted 1 May with a pre on the same day, as of five weeks later.
fn ames(rows: &[Row], year: i32, texture: Texture) -> Season {
    let planted = NaiveDate::from_ymd_opt(year, 5, 1).unwrap();
    let station = Kind::Station;
    let days = rows
        .iter()
        .filter(|row| row["date"].starts_with(&year.to_string()))
        .map(|row| {
            let temperature = |key| {
                let value = Celsius::from_fahrenheit(number(row, key)?).unwrap();
                Some(Sourced { value, kind: station })
            };
            // A trace is written as T.
            let inches = if row["precip_in"] == "T" { Some(0.0) } else { number(row, "precip_in") };
            let rain = |inches| Millimetres::from_inches(inches).unwrap();
            Day {
                high: temperature("high_f"),
                low: temperature("low_f"),
                rain: inches.map(|inches| Sourced { value: rain(inches), kind: station }),
                ..Day::unknown(row["date"].parse().unwrap())
            }
        })
        .collect();
    let pounds = |value| PoundsPerAcre::new(value).unwrap();
    let nitrogen = NitrogenPlan {
        starter: pounds(60.0),
        sidedress: pounds(120.0),
        source: NitrogenSource::Uan32,
        rig_clears: None,
    };
    let pre = HerbicidePlan {
        name: "pre".to_owned(),
        ingredients: vec![Ingredient::SMetolachlor, Ingredient::Atrazine],
    };
    let plan = Plan {
        crop: Crop::Corn { relative_maturity_days: 106.0 },
        depth: Inches::new(2.0).unwrap(),
        row_spacing: Inches::new(30.0).unwrap(),
        residue_cover: Percent::new(20.0).unwrap(),
        pre: Some(pre),
        post: None,
        nitrogen: Some(nitrogen),
        weeds: Vec::new(),
    };
    let site = Site {
        latitude: Latitude::new(42.0).unwrap(),
        longitude: Longitude::new(-93.8).unwrap(),
        texture,
        organic_matter: Percent::new(4.0).unwrap(),
    };
    let entry = |event| Entry { date: planted, event };
    season::run(&Input {
        site: &site,
        plan: &plan,
        journal: &[entry(Event::Planted), entry(Event::PreApplied { ingredients: Vec::new() })],
        cell: &Cell::new(site.latitude, &Weather::new(days)),
        thresholds: &Thresholds::default(),
        today: planted + Days::new(35),
    })
}

#[test]
fn dry_and_wet_springs_at_ames_are_told_apart() {
    let Some(rows) = rows(AMES) else { return };
    // April to June rain: 2021 5.6 in and cool; 2013 15.9 in, 2022 17.5 in, 2023 9.6 in with a moist
    // May. By the threshold's default of 20 % the soil's nitrogen must lag in the first and not in
    // the others.
    for texture in [Texture::Loam, Texture::SiltLoam, Texture::ClayLoam] {
        for (year, lags) in [(2021, true), (2013, false), (2022, false), (2023, false)] {
            let season = ames(&rows, year, texture);
            let row = season.today().unwrap();
            let lag = row.nitrogen.unwrap().lag_percent.unwrap();
            let now = season.now.as_ref().unwrap();
            let pre = now.pre.as_ref().unwrap();
            println!(
                "{year} {texture:?}: {:?}, up {:?}, set {:?}, ends {:?}, lag {lag:.0} %",
                now.stage,
                now.emerged_on,
                pre.rain.as_ref().and_then(|rain| rain.firm.set_on),
                pre.ends,
            );
            assert_eq!(lag >= 20.0, lags, "{year} {texture:?}: {lag:.0} %");
        }
    }
}

#[test]
fn a_whole_season_of_heat_in_central_illinois() {
    // Rainfed corn, McLean County, Illinois, 2015, weather of the pyfao56 repository (USDA-ARS,
    // CC0). Dates and sums worked apart with the 86/50 rule: planted 28 April, 120 GDD on 6 May, 475
    // on 28 May, 1135 on 28 June, 1400 on 12 July, 2700 on 4 September; 1 May to 30 September 3195.6.
    let Some(path) = find("mclean2015/met2015.wth") else { return };
    let text = std::fs::read_to_string(path).unwrap();
    let day = |month, day| NaiveDate::from_ymd_opt(2015, month, day).unwrap();
    let heat: BTreeMap<NaiveDate, f64> = text
        .lines()
        .filter_map(|line| {
            let cells: Vec<&str> = line.split_whitespace().collect();
            let date = NaiveDate::parse_from_str(cells.first()?, "%Y-%j").ok()?;
            let at = |cell: usize| celsius(cells[cell].parse().unwrap());
            Some((date, gdd(at(2), at(3))))
        })
        .collect();
    assert_eq!(heat.len(), 365);
    for (target, reached) in [
        (120.0, day(5, 6)),
        (475.0, day(5, 28)),
        (1135.0, day(6, 28)),
        (1400.0, day(7, 12)),
        (2700.0, day(9, 4)),
    ] {
        let mut sum = 0.0;
        let found = heat.range(day(4, 29)..).find(|(_, heat)| {
            sum += **heat;
            sum >= target
        });
        assert_eq!(found.map(|(date, _)| *date), Some(reached), "{target} GDD");
    }
    let total: f64 = heat.range(day(5, 1)..=day(9, 30)).map(|(_, heat)| heat).sum();
    assert!((total - 3195.6).abs() < 0.05, "{total}");
}
