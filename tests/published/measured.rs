//! Models held against what instruments measured.
//!
//! The records are public; see the library of this package.

use chrono::{Datelike, Days, NaiveDate};
use furrowbell_engine::cell::Cell;
use furrowbell_engine::clocks::heat::gdd;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::{Crop, HerbicidePlan, NitrogenPlan, NitrogenSource, Placement, Plan};
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::site::{Site, Texture};
use furrowbell_engine::sky;
use furrowbell_engine::thresholds::Thresholds;
use furrowbell_engine::units::{
    Celsius, Inches, Latitude, Longitude, Millimetres, Percent, PoundsPerAcre,
};
use furrowbell_engine::weather::{Day, Kind, Sourced, Weather};
use furrowbell_published::{AMES, Row, find, number, rows};
use std::collections::BTreeMap;

fn celsius(value: f64) -> Celsius {
    Celsius::new(value).unwrap()
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
        starter_source: NitrogenSource::Uan32,
        source: NitrogenSource::Uan32,
        placement: Placement::InSoil,
        inhibitor: None,
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
        resistant: Vec::new(),
    };
    let site = Site {
        latitude: Latitude::new(42.0).unwrap(),
        longitude: Longitude::new(-93.8).unwrap(),
        texture,
        organic_matter: Percent::new(4.0).unwrap(),
        particles: None,
        elevation: None,
    };
    let entry = |event| Entry { date: planted, event };
    season::run(&Input {
        site: &site,
        plan: &plan,
        journal: &[entry(Event::Planted), entry(Event::PreApplied { ingredients: Vec::new() })],
        cell: &Cell::new(site.latitude, site.elevation, &Weather::new(days)),
        normal: None,
        hours: &[],
        labels: &[],
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
