//! Times one corn season over a weather file and prints seconds a season.
//!
//! `season_time FILE PLANTED TODAY`: a line a day of `date high_c low_c rain_mm`, and two dates.

use chrono::NaiveDate;
use furrowbell_engine::cell::Cell;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::{Crop, HerbicidePlan, NitrogenPlan, NitrogenSource, Placement, Plan};
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::season::{self, Input};
use furrowbell_engine::site::{Site, Texture};
use furrowbell_engine::thresholds::Thresholds;
use furrowbell_engine::units::{
    Celsius, Inches, Latitude, Longitude, Millimetres, Percent, PoundsPerAcre,
};
use furrowbell_engine::weather::{Day, Kind, Sourced, Weather};
use std::error::Error;
use std::time::Instant;

/// Seasons run for one time.
const SEASONS: u32 = 20_000;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let mut next =
        || arguments.next().ok_or("give a weather file, a planting date and a last date");
    let (file, planted, today) = (next()?, next()?, next()?);
    let (planted, today): (NaiveDate, NaiveDate) = (planted.parse()?, today.parse()?);
    let days: Result<Vec<Day>, _> = std::fs::read_to_string(file)?.lines().map(day).collect();
    let site = Site {
        latitude: Latitude::new(41.6)?,
        longitude: Longitude::new(-93.6)?,
        texture: Texture::SiltLoam,
        organic_matter: Percent::new(3.5)?,
        particles: None,
        elevation: None,
    };
    let mix = |ingredients: &[Ingredient]| {
        Some(HerbicidePlan { name: "mix".to_owned(), ingredients: ingredients.to_vec() })
    };
    let plan = Plan {
        crop: Crop::Corn { relative_maturity_days: 106.0 },
        depth: Inches::new(2.0)?,
        row_spacing: Inches::new(30.0)?,
        residue_cover: Percent::new(20.0)?,
        pre: mix(&[Ingredient::SMetolachlor, Ingredient::Atrazine, Ingredient::Mesotrione]),
        post: mix(&[Ingredient::Glyphosate, Ingredient::Mesotrione]),
        nitrogen: Some(NitrogenPlan {
            starter: PoundsPerAcre::new(40.0)?,
            sidedress: PoundsPerAcre::new(130.0)?,
            starter_source: NitrogenSource::Uan32,
            source: NitrogenSource::Uan32,
            placement: Placement::InSoil,
            inhibitor: None,
            rig_clears: None,
        }),
        weeds: Vec::new(),
        resistant: Vec::new(),
    };
    let entry = |event| Entry { date: planted, event };
    let journal = [entry(Event::Planted), entry(Event::PreApplied { ingredients: Vec::new() })];
    let thresholds = Thresholds::default();
    let cell = Cell::new(site.latitude, site.elevation, &Weather::new(days?));
    let input = Input {
        site: &site,
        plan: &plan,
        journal: &journal,
        cell: &cell,
        normal: None,
        hours: &[],
        labels: &[],
        thresholds: &thresholds,
        today,
    };
    let begun = Instant::now();
    let rows: usize =
        (0..SEASONS).map(|_| season::run(std::hint::black_box(&input)).days.len()).sum();
    let took = begun.elapsed().as_secs_f64();
    println!("{} {}", took / f64::from(SEASONS), rows / SEASONS as usize);
    Ok(())
}

fn day(line: &str) -> Result<Day, Box<dyn Error>> {
    let mut cells = line.split_whitespace();
    let mut next = || cells.next().ok_or("a line wants date, high, low and rain");
    let date = next()?.parse()?;
    let mut number = || -> Result<f64, Box<dyn Error>> { Ok(next()?.parse()?) };
    let kind = Kind::Station;
    Ok(Day {
        high: Some(Sourced { value: Celsius::new(number()?)?, kind }),
        low: Some(Sourced { value: Celsius::new(number()?)?, kind }),
        rain: Some(Sourced { value: Millimetres::new(number()?)?, kind }),
        ..Day::unknown(date)
    })
}
