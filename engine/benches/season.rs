//! How long whole seasons take, and how much they allocate.
//!
//! `cargo bench -p furrowbell-engine`. The weather is invented and the same in every run.

use chrono::{Days, NaiveDate};
use divan::counter::ItemsCount;
use divan::{AllocProfiler, Bencher};
use furrowbell_engine::cell::Cell;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::{Crop, HerbicidePlan, NitrogenPlan, NitrogenSource, Placement, Plan};
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;
use furrowbell_engine::season::{self, Input};
use furrowbell_engine::site::{Site, Texture};
use furrowbell_engine::thresholds::Thresholds;
use furrowbell_engine::units::{
    Celsius, Inches, Latitude, Longitude, Millimetres, Percent, PoundsPerAcre,
};
use furrowbell_engine::weather::{Day, Kind, Sourced, Weather};

#[global_allocator]
static ALLOCATIONS: AllocProfiler = AllocProfiler::system();

/// Days from planting to the day as of which a season is run.
const SEASON_DAYS: u64 = 150;
/// Seasons run over shared weather in one go.
const FIELDS: usize = 100_000;

fn main() {
    divan::main();
}

fn planted() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 4, 28).unwrap_or_default()
}

fn latitude() -> Latitude {
    Latitude::new(42.0).expect("on the globe")
}

fn today() -> NaiveDate {
    planted() + Days::new(SEASON_DAYS)
}

/// A measured year in the middle of the Corn Belt: warmth that rises to July and wavers, a rain
/// every fifth day of 2 to 24 mm.
fn cell() -> Cell {
    let first = planted() - Days::new(60);
    let day = |offset: u32, date: NaiveDate| {
        let turn = f64::from(offset) / 365.0 * std::f64::consts::TAU;
        let waver = 4.0 * (f64::from(offset) * 0.7).sin();
        let mean = 9.0 - 14.0 * (turn + 1.1).cos() + waver;
        let rain = if offset.is_multiple_of(5) { 2.0 + f64::from(offset * 7 % 23) } else { 0.0 };
        let measured = |celsius| {
            let value = Celsius::new(celsius).expect("within the range of temperatures");
            Some(Sourced { value, kind: Kind::Station })
        };
        let rain = Millimetres::new(rain).expect("within the range of rain");
        Day {
            high: measured(mean + 6.0),
            low: measured(mean - 6.0),
            rain: Some(Sourced { value: rain, kind: Kind::Radar }),
            ..Day::unknown(date)
        }
    };
    let last = today() + Days::new(7);
    let dates = first.iter_days().take_while(|date| *date <= last);
    let days = (0..).zip(dates).map(|(offset, date)| day(offset, date)).collect();
    Cell::new(latitude(), None, &Weather::new(days))
}

/// One field with everything a season can hold.
struct Field {
    site: Site,
    plan: Plan,
    journal: Vec<Entry>,
    thresholds: Thresholds,
}

impl Field {
    fn corn() -> Self {
        let mix = |ingredients: &[Ingredient]| {
            Some(HerbicidePlan { name: "mix".to_owned(), ingredients: ingredients.to_vec() })
        };
        let pounds = |value| PoundsPerAcre::new(value).expect("within the range of nitrogen");
        let inches = |value| Inches::new(value).expect("within the range of lengths");
        let percent = |value| Percent::new(value).expect("a share");
        let plan = Plan {
            crop: Crop::Corn { relative_maturity_days: 106.0 },
            depth: inches(2.0),
            row_spacing: inches(30.0),
            residue_cover: percent(20.0),
            pre: mix(&[Ingredient::SMetolachlor, Ingredient::Atrazine, Ingredient::Mesotrione]),
            post: mix(&[Ingredient::Glyphosate, Ingredient::Mesotrione, Ingredient::Atrazine]),
            nitrogen: Some(NitrogenPlan {
                starter: pounds(40.0),
                sidedress: pounds(130.0),
                starter_source: NitrogenSource::Uan32,
                source: NitrogenSource::Uan32,
                placement: Placement::InSoil,
                inhibitor: None,
                rig_clears: Some(inches(24.0)),
            }),
            weeds: vec![Weed::Waterhemp, Weed::GiantFoxtail, Weed::RedrootPigweed],
            resistant: Vec::new(),
        };
        let at = |days, event| Entry { date: planted() + Days::new(days), event };
        Self {
            site: Site {
                latitude: latitude(),
                longitude: Longitude::new(-93.5).expect("on the globe"),
                texture: Texture::SiltLoam,
                organic_matter: percent(3.5),
                particles: None,
                elevation: None,
            },
            plan,
            journal: vec![
                at(0, Event::Planted),
                at(1, Event::PreApplied { ingredients: Vec::new() }),
                at(9, Event::Rain { amount: Millimetres::new(14.0).expect("a rain") }),
            ],
            thresholds: Thresholds::default(),
        }
    }

    fn input<'a>(&'a self, cell: &'a Cell) -> Input<'a> {
        Input {
            site: &self.site,
            plan: &self.plan,
            journal: &self.journal,
            cell,
            normal: None,
            hours: &[],
            labels: &[],
            thresholds: &self.thresholds,
            today: today(),
        }
    }
}

/// All clocks, findings and a row a day.
#[divan::bench]
fn with_rows(bencher: Bencher<'_, '_>) {
    let (field, cell) = (Field::corn(), cell());
    bencher.counter(ItemsCount::new(1_usize)).bench_local(|| season::run(&field.input(&cell)));
}

/// Seasons of many fields over one weather.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn many_fields(bencher: Bencher<'_, '_>) {
    let (field, cell) = (Field::corn(), cell());
    bencher.counter(ItemsCount::new(FIELDS)).bench_local(|| {
        (0..FIELDS).map(|_| season::find(&field.input(&cell)).findings.len()).sum::<usize>()
    });
}

/// All clocks and findings, no rows.
#[divan::bench]
fn without_rows(bencher: Bencher<'_, '_>) {
    let (field, cell) = (Field::corn(), cell());
    bencher.counter(ItemsCount::new(1_usize)).bench_local(|| season::find(&field.input(&cell)));
}

/// What a cell costs before the first of its fields is run.
#[divan::bench]
fn cell_prepared(bencher: Bencher<'_, '_>) {
    bencher.bench_local(cell);
}
