//! A made-up field and made-up weather for season tests.

use chrono::{Days, NaiveDate};
use furrowbell_engine::cell::Cell;
use furrowbell_engine::clocks::nitrogen::Normal;
use furrowbell_engine::findings::{Finding, Topic};
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::{Crop, HerbicidePlan, NitrogenPlan, NitrogenSource, Placement, Plan};
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::site::{Site, Texture};
use furrowbell_engine::thresholds::Thresholds;
use furrowbell_engine::units::{
    Celsius, Inches, Latitude, Longitude, Millimetres, Percent, PoundsPerAcre,
};
use furrowbell_engine::weather::{Day, Hour, Kind, Sourced, Weather};

/// A day of 2026.
pub fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, month, day).unwrap()
}

/// A field with its year, to be bent by each test.
pub struct Field {
    pub site: Site,
    pub plan: Plan,
    pub journal: Vec<Entry>,
    pub days: Vec<Day>,
    /// The field's own usual year, where its past is known.
    pub normal: Option<Normal>,
    pub hours: Vec<Hour>,
    pub thresholds: Thresholds,
}

impl Field {
    /// Corn on silt loam planted on 1 May and sprayed with a pre on 2 May; measured weather from
    /// 1 April to the end of August, high 24 C, low 12 C, no rain.
    pub fn corn() -> Self {
        Self::of(Plan {
            crop: Crop::Corn { relative_maturity_days: 104.0 },
            depth: Inches::new(2.0).unwrap(),
            row_spacing: Inches::new(30.0).unwrap(),
            residue_cover: Percent::new(20.0).unwrap(),
            pre: Some(mix(&[Ingredient::SMetolachlor, Ingredient::Atrazine])),
            post: Some(mix(&[Ingredient::Glyphosate, Ingredient::Mesotrione])),
            nitrogen: Some(NitrogenPlan {
                starter: PoundsPerAcre::new(60.0).unwrap(),
                sidedress: PoundsPerAcre::new(120.0).unwrap(),
                starter_source: NitrogenSource::Uan32,
                source: NitrogenSource::Uan32,
                placement: Placement::InSoil,
                inhibitor: None,
                rig_clears: None,
            }),
            weeds: vec![Weed::Waterhemp],
            resistant: Vec::new(),
        })
    }

    /// Soybean, otherwise the same.
    pub fn soybean() -> Self {
        Self::of(Plan {
            crop: Crop::Soybean { maturity_group: 2.2 },
            depth: Inches::new(1.5).unwrap(),
            nitrogen: None,
            pre: Some(mix(&[Ingredient::Flumioxazin, Ingredient::Pyroxasulfone])),
            post: Some(mix(&[Ingredient::Glufosinate])),
            ..Self::corn().plan
        })
    }

    fn of(plan: Plan) -> Self {
        let mut field = Self {
            site: Site {
                latitude: Latitude::new(42.0).unwrap(),
                longitude: Longitude::new(-93.5).unwrap(),
                texture: Texture::SiltLoam,
                organic_matter: Percent::new(3.5).unwrap(),
                particles: None,
                elevation: None,
            },
            plan,
            journal: Vec::new(),
            days: Vec::new(),
            normal: None,
            hours: Vec::new(),
            thresholds: Thresholds::default(),
        };
        field.weather_over(date(4, 1), date(8, 31));
        field.note(date(5, 1), Event::Planted);
        field.note(date(5, 2), Event::PreApplied { ingredients: Vec::new() });
        field
    }

    /// Puts the same dry day on every date from `first` to `last`.
    pub fn weather_over(&mut self, first: NaiveDate, last: NaiveDate) {
        self.days.clear();
        for day in first.iter_days().take_while(|day| *day <= last) {
            self.days.push(Day {
                high: Some(Sourced { value: Celsius::new(24.0).unwrap(), kind: Kind::Station }),
                low: Some(Sourced { value: Celsius::new(12.0).unwrap(), kind: Kind::Station }),
                rain: Some(Sourced { value: Millimetres::new(0.0).unwrap(), kind: Kind::Station }),
                ..Day::unknown(day)
            });
        }
    }

    pub fn note(&mut self, date: NaiveDate, event: Event) {
        self.journal.push(Entry { date, event });
    }

    pub fn day(&mut self, date: NaiveDate) -> &mut Day {
        self.days.iter_mut().find(|day| day.date == date).unwrap()
    }

    /// Rain of so many inches known in that way.
    pub fn rain(&mut self, date: NaiveDate, inches: f64, kind: Kind) {
        let value = Millimetres::from_inches(inches).unwrap();
        self.day(date).rain = Some(Sourced { value, kind });
    }

    /// The weather, prepared.
    pub fn cell(&self) -> Cell {
        Cell::new(self.site.latitude, self.site.elevation, &Weather::new(self.days.clone()))
    }

    /// The input of a season over a cell.
    pub fn input<'a>(&'a self, cell: &'a Cell, today: NaiveDate) -> Input<'a> {
        Input {
            site: &self.site,
            plan: &self.plan,
            journal: &self.journal,
            cell,
            normal: self.normal.as_ref(),
            hours: &self.hours,
            labels: &[],
            thresholds: &self.thresholds,
            today,
        }
    }

    /// The season with the weather of today and later left as it is written.
    pub fn on(&self, today: NaiveDate) -> Season {
        season::run(&self.input(&self.cell(), today))
    }

    /// The finding of a topic on a day.
    pub fn find(&self, today: NaiveDate, topic: Topic) -> Option<Finding> {
        self.on(today).findings.into_iter().find(|finding| finding.topic() == topic)
    }

    /// Versions of a topic told over the season, each once.
    pub fn versions(&self, topic: Topic) -> Vec<u32> {
        let told = self.raised(topic, date(5, 1), 100);
        let mut versions: Vec<u32> = told.into_iter().map(|(_, version)| version).collect();
        versions.dedup();
        versions
    }

    /// First day on which a topic is told.
    pub fn first_day(&self, topic: Topic) -> Option<NaiveDate> {
        self.raised(topic, date(5, 1), 100).first().map(|(day, _)| *day)
    }

    /// Every day from `from` on, `count` of them, on which a topic is raised, with its version.
    pub fn raised(&self, topic: Topic, from: NaiveDate, count: u64) -> Vec<(NaiveDate, u32)> {
        (0..count)
            .map(|offset| from + Days::new(offset))
            .filter_map(|today| Some((today, self.find(today, topic)?.version)))
            .collect()
    }
}

/// A mix of those ingredients.
pub fn mix(ingredients: &[Ingredient]) -> HerbicidePlan {
    HerbicidePlan { name: "mix".to_owned(), ingredients: ingredients.to_vec() }
}
