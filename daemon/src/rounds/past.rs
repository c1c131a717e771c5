//! What is usual at each place, from its years on file. Worked out once and kept until the book is
//! read again.

use crate::weather::files::FileDay;
use crate::weather::history::History;
use chrono::Datelike;
use furrowbell_config::Book;
use furrowbell_config::farms::{Farm, Field};
use furrowbell_engine::cell::Cell;
use furrowbell_engine::clocks::nitrogen::Normal;
use furrowbell_engine::plan::Plan;
use furrowbell_engine::season;
use furrowbell_engine::site::Site;
use furrowbell_engine::weather::{Kind, Weather};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// Most past years that say what is usual: the length of a climate normal (WMO-No. 1203,
/// Guidelines on the Calculation of Climate Normals, 2017).
const MOST_YEARS: i32 = 30;

/// The days of this year and the one before it that a place has on file.
#[derive(Debug)]
pub struct Lately {
    /// Name of the file.
    pub name: String,
    /// How far off its station stands, km.
    pub distance_km: f64,
    /// The days in order.
    pub days: Arc<[FileDay]>,
}

/// The past of every place of the book.
#[derive(Debug)]
pub struct Past {
    history: History,
    /// A year is not part of what is usual before it is over.
    this_year: i32,
    years: Mutex<HashMap<PathBuf, Option<Arc<Cell>>>>,
    lately: Mutex<HashMap<PathBuf, Arc<[FileDay]>>>,
    normals: Mutex<HashMap<String, Option<Arc<Normal>>>>,
}

impl Past {
    /// The past of a book as of a year; reads nothing yet.
    pub fn of(book: &Book, this_year: i32) -> Self {
        Self {
            history: History::of(book),
            this_year,
            years: Mutex::default(),
            lately: Mutex::default(),
            normals: Mutex::default(),
        }
    }

    /// The past years of a field's place; `None` where there are none on file. Fields of one file
    /// share them: the few miles between them change nothing that is usual.
    pub fn years(&self, farm: &Farm, field: &Field) -> Option<Arc<Cell>> {
        let path = self.history.serving(farm, field)?;
        let mut years = self.years.lock().unwrap_or_else(PoisonError::into_inner);
        years.entry(path).or_insert_with_key(|path| self.read(path, &field.site)).clone()
    }

    /// What is on file of a field's place since last year began, so that an import of this season's
    /// days counts; `None` where nothing is on file.
    pub fn lately(&self, farm: &Farm, field: &Field) -> Option<Lately> {
        let (distance_km, path) = self.history.serving_from(farm, field)?;
        let name = path.file_name()?.to_string_lossy().into_owned();
        let mut lately = self.lately.lock().unwrap_or_else(PoisonError::into_inner);
        let days = lately.entry(path).or_insert_with_key(|path| {
            // A fault is told where the years are read.
            let mut days = crate::weather::files::read(path).unwrap_or_default();
            days.retain(|day| day.date.year() >= self.this_year - 1);
            days.into()
        });
        Some(Lately { name, distance_km, days: Arc::clone(days) })
    }

    fn read(&self, path: &Path, site: &Site) -> Option<Arc<Cell>> {
        match crate::weather::files::read(path) {
            Ok(days) => usual(site, &days, |year| year < self.this_year).map(Arc::new),
            Err(error) => {
                tracing::error!(%error, "a history file has a fault; the stated normal stands in");
                None
            }
        }
    }

    /// The field's own normal; `None` where too few years are on file.
    pub fn normal(&self, field: &Field, plan: &Plan, years: &Cell) -> Option<Arc<Normal>> {
        let mut normals = self.normals.lock().unwrap_or_else(PoisonError::into_inner);
        let work = || season::own_normal(&field.site, plan, years).map(Arc::new);
        normals.entry(field.id.clone()).or_insert_with(work).clone()
    }
}

/// The latest years that `counts` lets in, prepared; `None` where no day is left.
pub fn usual(site: &Site, days: &[FileDay], counts: impl Fn(i32) -> bool) -> Option<Cell> {
    let newest = days.iter().map(|day| day.date.year()).filter(|year| counts(*year)).max()?;
    let oldest = newest - MOST_YEARS;
    let fits = |year: i32| year > oldest && counts(year);
    let past = days.iter().filter(|day| fits(day.date.year()));
    let past = past.map(|day| day.day(Kind::Station)).collect();
    Some(Cell::new(site.latitude, site.elevation, &Weather::new(past)))
}
