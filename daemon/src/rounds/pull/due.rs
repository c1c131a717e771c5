//! What is due to be asked, and when the next thing will be.

use crate::rounds::Desk;
use crate::rounds::pull::age_limit;
use crate::store::{Fetch, FieldCell};
use crate::weather::body::{HOST, Reader};
use crate::weather::breaker;
use crate::weather::cells::{self, Cell, Polygon};
use crate::weather::open_meteo;
use crate::weather::source::{SourceName, Spot};
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::farms::Field;
use furrowbell_engine::units::{Latitude, Longitude};
use std::collections::{BTreeMap, HashMap};

/// How long a field keeps its cell before it is asked for anew, and by how much less at most.
const CELL_KEEPS: TimeDelta = TimeDelta::days(7);
const CELL_KEEPS_LESS: TimeDelta = TimeDelta::days(1);
/// The same for a field that lies outside its cell's outline.
const ODD_CELL_KEEPS: TimeDelta = TimeDelta::days(1);
/// A grid older than this has a stand-in fetched beside it.
const LATE: TimeDelta = TimeDelta::hours(6);
/// A rest that is longer is not waited for.
const SOON: TimeDelta = TimeDelta::minutes(5);
/// How long nothing need be due.
const IDLE: TimeDelta = TimeDelta::hours(1);

/// Something to ask.
#[derive(Debug, Clone, PartialEq)]
pub enum Job {
    /// Which cell a place lies in.
    Place {
        /// Key of what is known of it.
        url: String,
        /// Degrees north.
        latitude: Latitude,
        /// Degrees east.
        longitude: Longitude,
        /// The fields at it.
        fields: Vec<String>,
    },
    /// The grid of a cell.
    Grid(Cell),
    /// The stand-in for one spot.
    MetNorway(Spot),
    /// The second stand-in, for several spots.
    OpenMeteo(Vec<Spot>),
}

/// How old each source's answers are.
#[derive(Debug, Clone, Default)]
pub struct Ages {
    /// When the cell that is furthest behind last answered.
    pub oldest: Option<DateTime<Utc>>,
    /// Fields that have a forecast young enough to be used.
    pub covered: u64,
    /// Fields that have none.
    pub late: u64,
}

/// What is due now.
#[derive(Debug)]
pub struct Due {
    /// The jobs, those that have waited longest first.
    pub jobs: Vec<Job>,
    /// When something else will be due.
    pub next: DateTime<Utc>,
    /// How the weather stands.
    pub ages: Ages,
}

/// What the record knows of addresses, cells and fields.
#[derive(Debug)]
pub struct Standing {
    now: DateTime<Utc>,
    fetches: HashMap<String, Fetch>,
    fields: HashMap<String, FieldCell>,
    outlines: HashMap<String, Polygon>,
}

/// Jobs as they are gathered.
struct Gathered {
    now: DateTime<Utc>,
    jobs: Vec<(DateTime<Utc>, Job)>,
    next: DateTime<Utc>,
}

impl Gathered {
    /// Takes a job up if its address is due and its host awake; says whether it did.
    fn add(&mut self, due_at: Option<DateTime<Utc>>, rest: Option<DateTime<Utc>>, job: Job) {
        let at = due_at.max(rest).filter(|at| *at > self.now);
        match at {
            Some(at) => self.next = self.next.min(at),
            None => self.jobs.push((due_at.unwrap_or(DateTime::UNIX_EPOCH), job)),
        }
    }
}

impl Standing {
    /// Reads the record.
    pub async fn of(desk: &Desk) -> anyhow::Result<Self> {
        let outline = |text: String| serde_json::from_str(&text).ok();
        let cells = desk.store.cells().await?.into_iter();
        let outlines = cells.filter_map(|cell| Some((cell.id, outline(cell.polygon?)?)));
        let fields = desk.store.field_cells().await?;
        let fetches = desk.store.fetches().await?;
        Ok(Self {
            now: desk.clock.now(),
            outlines: outlines.collect(),
            fields: fields.into_iter().map(|row| (row.field.clone(), row)).collect(),
            fetches: fetches.into_iter().map(|fetch| (fetch.url.clone(), fetch)).collect(),
        })
    }

    /// What is due of all that the book's fields need.
    pub fn due(&self, desk: &Desk) -> Due {
        let now = self.now;
        let mut gathered = Gathered { now, jobs: Vec::new(), next: now + IDLE };
        let fields = || desk.book.fields.iter().filter(|field| field.plan.is_some());
        if let Some(nws) = &desk.weather.nws {
            let reader = nws.source.reader();
            self.places(fields(), reader, &mut gathered);
            self.grids(fields(), reader, &mut gathered);
        }
        let late: BTreeMap<String, Spot> = fields()
            .filter(|field| self.grid_is_late(desk, field))
            .map(|field| Spot::of(field.site.latitude, field.site.longitude))
            .map(|spot| (spot.id(), spot))
            .collect();
        self.stand_ins(desk, late.into_values().collect(), &mut gathered);
        let mut ages = Ages::default();
        fields().for_each(|field| self.age(desk, field, &mut ages));
        let Gathered { mut jobs, next, .. } = gathered;
        jobs.sort_by_key(|(due_at, _)| *due_at);
        Due { jobs: jobs.into_iter().map(|(_, job)| job).collect(), next, ages }
    }

    fn places<'a>(
        &self,
        fields: impl Iterator<Item = &'a Field>,
        reader: &Reader,
        gathered: &mut Gathered,
    ) {
        let mut places = BTreeMap::<String, Vec<&Field>>::new();
        for field in fields {
            match self.resolved_until(field) {
                Some(until) if until > self.now => gathered.next = gathered.next.min(until),
                _ => places.entry(place_url(field)).or_default().push(field),
            }
        }
        let rest = resting(reader, HOST, self.now);
        for (url, fields) in places {
            let site = &fields[0].site;
            let (latitude, longitude) = (site.latitude, site.longitude);
            let due_at = self.fetches.get(&url).map(|fetch| fetch.next_due_at);
            let fields = fields.iter().map(|field| field.id.clone()).collect();
            gathered.add(due_at, rest, Job::Place { url, latitude, longitude, fields });
        }
    }

    /// Until when a field's cell is believed; `None` when it is not known or not believed.
    fn resolved_until(&self, field: &Field) -> Option<DateTime<Utc>> {
        let row = self.fields.get(&field.id)?;
        row.cell.parse::<Cell>().ok()?;
        let site = &field.site;
        let moved = (row.latitude - site.latitude.get()).abs() > 1e-6
            || (row.longitude - site.longitude.get()).abs() > 1e-6;
        let outline = self.outlines.get(&row.cell);
        let outside =
            outline.is_some_and(|outline| !outline.contains(site.latitude, site.longitude));
        let less = cells::jitter(&field.id, 0, CELL_KEEPS_LESS);
        let keeps = if outside { ODD_CELL_KEEPS } else { CELL_KEEPS - less };
        (!moved).then_some(row.resolved_at + keeps)
    }

    fn grids<'a>(
        &self,
        fields: impl Iterator<Item = &'a Field>,
        reader: &Reader,
        gathered: &mut Gathered,
    ) {
        let cells: BTreeMap<_, _> = fields
            .filter_map(|field| self.cell(field))
            .map(|cell| (cell.to_string(), cell))
            .collect();
        let host = resting(reader, HOST, self.now);
        for cell in cells.into_values() {
            let due_at = self.fetches.get(&grid_url(&cell)).map(|fetch| fetch.next_due_at);
            let rest = host.max(resting(reader, &cell.office, self.now));
            gathered.add(due_at, rest, Job::Grid(cell));
        }
    }

    fn cell(&self, field: &Field) -> Option<Cell> {
        self.fields.get(&field.id)?.cell.parse().ok()
    }

    /// Whether a field needs a stand-in for the grid.
    fn grid_is_late(&self, desk: &Desk, field: &Field) -> bool {
        let Some(nws) = &desk.weather.nws else { return true };
        let reader = nws.source.reader();
        let rests = |name: &str| resting(reader, name, self.now + SOON).is_some();
        match self.cell(field) {
            None => rests(HOST) || self.given_up(&place_url(field)),
            Some(cell) => {
                rests(&cell.office)
                    || match self.issued(&grid_url(&cell)) {
                        Some(issued) => self.now - issued > LATE,
                        None => rests(HOST) || self.given_up(&grid_url(&cell)),
                    }
            }
        }
    }

    /// The stand-ins for the spots whose grid is late; the second where the first is late too.
    fn stand_ins(&self, desk: &Desk, spots: Vec<Spot>, gathered: &mut Gathered) {
        let mut without = spots;
        if let Some(met) = &desk.weather.met_norway {
            let rest = resting(met.source.reader(), HOST, self.now);
            for spot in &without {
                let due_at =
                    self.known(SourceName::MetNorway, *spot).map(|fetch| fetch.next_due_at);
                gathered.add(due_at, rest, Job::MetNorway(*spot));
            }
            let long = resting(met.source.reader(), HOST, self.now + SOON).is_some();
            without.retain(|spot| {
                let key = spot.cell(SourceName::MetNorway);
                match self.issued(&key) {
                    Some(issued) => self.now - issued > age_limit(SourceName::MetNorway),
                    None => long || self.given_up(&key),
                }
            });
        }
        let Some(open) = &desk.weather.open_meteo else { return };
        let rest = resting(open.source.reader(), HOST, self.now);
        let due_at = |spot: &Spot| self.known(SourceName::OpenMeteo, *spot).map(|f| f.next_due_at);
        let (due, later): (Vec<_>, Vec<_>) =
            without.into_iter().partition(|spot| due_at(spot).is_none_or(|at| at <= self.now));
        gathered.next = later.iter().filter_map(due_at).fold(gathered.next, std::cmp::Ord::min);
        for batch in due.chunks(open_meteo::BATCH) {
            gathered.add(None, rest, Job::OpenMeteo(batch.to_vec()));
        }
    }

    fn known(&self, source: SourceName, spot: Spot) -> Option<&Fetch> {
        self.fetches.get(&spot.cell(source))
    }

    fn issued(&self, url: &str) -> Option<DateTime<Utc>> {
        self.fetches.get(url)?.update_time
    }

    /// Whether an address has failed and is not tried again soon.
    fn given_up(&self, url: &str) -> bool {
        let fetch = self.fetches.get(url);
        fetch.is_some_and(|fetch| fetch.failures > 0 && fetch.next_due_at > self.now + SOON)
    }

    fn age(&self, desk: &Desk, field: &Field, ages: &mut Ages) {
        let spot = Spot::of(field.site.latitude, field.site.longitude);
        let weather = &desk.weather;
        let grid = self.cell(field).filter(|_| weather.nws.is_some());
        let used = [
            grid.map(|cell| (SourceName::Nws, grid_url(&cell))),
            weather.met_norway.as_ref().map(|_| stand_in(SourceName::MetNorway, spot)),
            weather.open_meteo.as_ref().map(|_| stand_in(SourceName::OpenMeteo, spot)),
        ];
        let young = used.into_iter().flatten().find_map(|(source, url)| {
            let fetch = self.fetches.get(&url)?;
            (self.now - fetch.update_time? <= age_limit(source)).then_some(fetch.fetched_at)
        });
        match young {
            Some(fetched) => {
                ages.covered += 1;
                ages.oldest = ages.oldest.into_iter().chain([fetched]).min();
            }
            None => ages.late += 1,
        }
    }
}

fn stand_in(source: SourceName, spot: Spot) -> (SourceName, String) {
    (source, spot.cell(source))
}

/// Key of what is known of a field's place.
fn place_url(field: &Field) -> String {
    let site = &field.site;
    format!("/points/{:.4},{:.4}", site.latitude.get(), site.longitude.get())
}

/// Key of what is known of a cell's grid.
pub fn grid_url(cell: &Cell) -> String {
    format!("/gridpoints/{cell}")
}

/// Until when a host or office rests, if it does at that time.
pub fn resting(reader: &Reader, name: &str, at: DateTime<Utc>) -> Option<DateTime<Utc>> {
    match reader.breaker().state(name) {
        breaker::State::Open { until } => (until > at).then_some(until),
        breaker::State::Closed => None,
    }
}
