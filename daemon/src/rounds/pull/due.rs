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
use furrowbell_engine::site::Site;
use furrowbell_engine::units::{Latitude, Longitude};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// How long a field keeps its cell before it is asked for anew, and by how much less at most.
const CELL_KEEPS: TimeDelta = TimeDelta::days(7);
const CELL_KEEPS_LESS: TimeDelta = TimeDelta::days(1);
/// The same for a field that lies outside its cell's outline.
const ODD_CELL_KEEPS: TimeDelta = TimeDelta::days(1);
/// A grid older than this has a stand-in fetched beside it.
pub const LATE: TimeDelta = TimeDelta::hours(6);
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

impl Job {
    /// Keys of what is known of its addresses.
    fn urls(&self) -> Vec<String> {
        match self {
            Self::Place { url, .. } => vec![url.clone()],
            Self::Grid(cell) => vec![grid_url(cell)],
            Self::MetNorway(spot) => vec![spot.cell(SourceName::MetNorway)],
            Self::OpenMeteo(spots) => {
                spots.iter().map(|spot| spot.cell(SourceName::OpenMeteo)).collect()
            }
        }
    }
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

impl Ages {
    fn count(&mut self, fetched: Option<DateTime<Utc>>, fields: u64) {
        match fetched {
            Some(fetched) => {
                self.covered += fields;
                self.oldest = self.oldest.into_iter().chain([fetched]).min();
            }
            None => self.late += fields,
        }
    }
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

/// What the record knows of addresses, cells and fields, put in order for one book.
#[derive(Debug)]
pub struct Standing {
    fetches: HashMap<String, Fetch>,
    fields: HashMap<String, FieldCell>,
    outlines: HashMap<String, Polygon>,
    spots: Vec<Placed>,
    grids: BTreeMap<String, Grid>,
}

/// A field with a plan.
#[derive(Debug)]
struct Placed {
    field: String,
    latitude: Latitude,
    longitude: Longitude,
    /// Key of what is known of its place.
    place: String,
    spot: Spot,
    /// Until when its cell is believed; `None` when it is not known or not believed.
    resolved_until: Option<DateTime<Utc>>,
    /// Key of its grid, where one is named.
    grid: Option<String>,
}

/// A cell that fields lie in.
#[derive(Debug)]
struct Grid {
    cell: Cell,
    fields: u64,
}

/// Jobs as they are gathered.
struct Gathered {
    now: DateTime<Utc>,
    jobs: Vec<(DateTime<Utc>, Job)>,
    next: DateTime<Utc>,
}

impl Gathered {
    /// Takes a job up if its address is due and its host awake.
    fn add(
        &mut self,
        due_at: Option<DateTime<Utc>>,
        rest: Option<DateTime<Utc>>,
        job: impl FnOnce() -> Job,
    ) {
        let at = due_at.max(rest).filter(|at| *at > self.now);
        match at {
            Some(at) => self.next = self.next.min(at),
            None => self.jobs.push((due_at.unwrap_or(DateTime::UNIX_EPOCH), job())),
        }
    }
}

impl Standing {
    /// Reads the record.
    pub async fn of(desk: &Desk) -> anyhow::Result<Self> {
        let cells = desk.store.cells().await?.into_iter();
        let outlines = cells.filter_map(|cell| Some((cell.id, outline(cell.polygon)?)));
        let fetches = desk.store.fetches().await?;
        let mut standing = Self {
            outlines: outlines.collect(),
            fetches: fetches.into_iter().map(|fetch| (fetch.url.clone(), fetch)).collect(),
            fields: HashMap::new(),
            spots: Vec::new(),
            grids: BTreeMap::new(),
        };
        standing.place(desk).await?;
        Ok(standing)
    }

    /// Reads again what jobs have touched; `moved` says that fields were given other cells.
    pub async fn heed(&mut self, desk: &Desk, jobs: &[Job], moved: bool) -> anyhow::Result<()> {
        let mut moved = moved;
        for job in jobs {
            for url in job.urls() {
                if let Some(fetch) = desk.store.fetch(&url).await? {
                    self.fetches.insert(url, fetch);
                }
            }
            if let Job::Grid(cell) = job {
                let id = cell.to_string();
                let stored = desk.store.cell(&id).await?;
                if let Some(outline) = stored.and_then(|cell| outline(cell.polygon))
                    && self.outlines.get(&id) != Some(&outline)
                {
                    self.outlines.insert(id, outline);
                    moved = true;
                }
            }
        }
        if moved { self.place(desk).await } else { Ok(()) }
    }

    /// Puts the book's fields into their cells.
    async fn place(&mut self, desk: &Desk) -> anyhow::Result<()> {
        let rows = desk.store.field_cells().await?;
        self.fields = rows.into_iter().map(|row| (row.field.clone(), row)).collect();
        self.grids.clear();
        self.spots.clear();
        for field in desk.book.fields.iter().filter(|field| field.plan.is_some()) {
            let cell = desk.weather.nws.as_ref().and_then(|_| self.cell(field));
            let grid = cell.as_ref().map(grid_url);
            if let Some((url, cell)) = grid.clone().zip(cell) {
                self.grids.entry(url).or_insert(Grid { cell, fields: 0 }).fields += 1;
            }
            let Site { latitude, longitude, .. } = field.site;
            self.spots.push(Placed {
                field: field.id.clone(),
                latitude,
                longitude,
                place: place_url(field),
                spot: Spot::of(latitude, longitude),
                resolved_until: self.resolved_until(field),
                grid,
            });
        }
        Ok(())
    }

    /// What is due of all that the book's fields need.
    pub fn due(&self, desk: &Desk) -> Due {
        let now = desk.clock.now();
        let mut gathered = Gathered { now, jobs: Vec::new(), next: now + IDLE };
        let mut late_grids = BTreeSet::new();
        if let Some(nws) = &desk.weather.nws {
            let reader = nws.source.reader();
            // A cell's first forecast comes before the next field's cell: at a first start one
            // field after another comes to life, and not all of them at the end.
            self.grids(reader, &mut gathered);
            self.places(reader, &mut gathered);
            late_grids = self.late_grids(reader, now);
        }
        let late: BTreeMap<String, Spot> = self
            .spots
            .iter()
            .filter(|at| match &at.grid {
                Some(url) => late_grids.contains(url.as_str()),
                None => self.place_is_late(desk, at, now),
            })
            .map(|at| (at.spot.id(), at.spot))
            .collect();
        self.stand_ins(desk, late.into_values().collect(), &mut gathered);
        let ages = self.ages(desk, now);
        let Gathered { mut jobs, next, .. } = gathered;
        jobs.sort_by_key(|(due_at, _)| *due_at);
        Due { jobs: jobs.into_iter().map(|(_, job)| job).collect(), next, ages }
    }

    fn places(&self, reader: &Reader, gathered: &mut Gathered) {
        let mut places = BTreeMap::<&str, Vec<&Placed>>::new();
        for at in &self.spots {
            match at.resolved_until {
                Some(until) if until > gathered.now => gathered.next = gathered.next.min(until),
                _ => places.entry(&at.place).or_default().push(at),
            }
        }
        let rest = resting(reader, HOST, gathered.now);
        for (url, fields) in places {
            let due_at = self.fetches.get(url).map(|fetch| fetch.next_due_at);
            gathered.add(due_at, rest, || Job::Place {
                url: url.to_owned(),
                latitude: fields[0].latitude,
                longitude: fields[0].longitude,
                fields: fields.iter().map(|at| at.field.clone()).collect(),
            });
        }
    }

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

    fn grids(&self, reader: &Reader, gathered: &mut Gathered) {
        let host = resting(reader, HOST, gathered.now);
        for (url, Grid { cell, .. }) in &self.grids {
            let due_at = self.fetches.get(url).map(|fetch| fetch.next_due_at);
            let rest = host.max(resting(reader, &cell.office, gathered.now));
            gathered.add(due_at, rest, || Job::Grid(cell.clone()));
        }
    }

    fn cell(&self, field: &Field) -> Option<Cell> {
        self.fields.get(&field.id)?.cell.parse().ok()
    }

    /// Grids that need a stand-in, by their keys.
    fn late_grids(&self, reader: &Reader, now: DateTime<Utc>) -> BTreeSet<&str> {
        let rests = |name: &str| resting(reader, name, now + SOON).is_some();
        let host_rests = rests(HOST);
        let late = |url: &str, grid: &Grid| {
            rests(&grid.cell.office)
                || match self.issued(url) {
                    Some(issued) => now - issued > LATE,
                    None => host_rests || self.given_up(url, now),
                }
        };
        let late = self.grids.iter().filter(|(url, grid)| late(url, grid));
        late.map(|(url, _)| url.as_str()).collect()
    }

    /// Whether a field without a grid needs a stand-in for it.
    fn place_is_late(&self, desk: &Desk, at: &Placed, now: DateTime<Utc>) -> bool {
        desk.weather.nws.as_ref().is_none_or(|nws| {
            resting(nws.source.reader(), HOST, now + SOON).is_some()
                || self.given_up(&at.place, now)
        })
    }

    /// The stand-ins for the spots whose grid is late; the second where the first is late too.
    fn stand_ins(&self, desk: &Desk, spots: Vec<Spot>, gathered: &mut Gathered) {
        let now = gathered.now;
        let mut without = spots;
        if let Some(met) = &desk.weather.met_norway {
            let rest = resting(met.source.reader(), HOST, now);
            for spot in &without {
                let due_at =
                    self.known(SourceName::MetNorway, *spot).map(|fetch| fetch.next_due_at);
                gathered.add(due_at, rest, || Job::MetNorway(*spot));
            }
            let long = resting(met.source.reader(), HOST, now + SOON).is_some();
            without.retain(|spot| {
                let key = spot.cell(SourceName::MetNorway);
                match self.issued(&key) {
                    Some(issued) => now - issued > age_limit(SourceName::MetNorway),
                    None => long || self.given_up(&key, now),
                }
            });
        }
        let Some(open) = &desk.weather.open_meteo else { return };
        let rest = resting(open.source.reader(), HOST, now);
        let due_at = |spot: &Spot| self.known(SourceName::OpenMeteo, *spot).map(|f| f.next_due_at);
        let (due, later): (Vec<_>, Vec<_>) =
            without.into_iter().partition(|spot| due_at(spot).is_none_or(|at| at <= now));
        gathered.next = later.iter().filter_map(due_at).fold(gathered.next, std::cmp::Ord::min);
        for batch in due.chunks(open_meteo::BATCH) {
            gathered.add(None, rest, || Job::OpenMeteo(batch.to_vec()));
        }
    }

    fn known(&self, source: SourceName, spot: Spot) -> Option<&Fetch> {
        self.fetches.get(&spot.cell(source))
    }

    fn issued(&self, url: &str) -> Option<DateTime<Utc>> {
        self.fetches.get(url)?.update_time
    }

    /// Whether an address has failed and is not tried again soon.
    fn given_up(&self, url: &str, now: DateTime<Utc>) -> bool {
        let fetch = self.fetches.get(url);
        fetch.is_some_and(|fetch| fetch.failures > 0 && fetch.next_due_at > now + SOON)
    }

    /// How old the forecasts are that the fields rest on: the grid's, else the first stand-in's
    /// that is young enough.
    fn ages(&self, desk: &Desk, now: DateTime<Utc>) -> Ages {
        let young = |source, url: &str| {
            let fetch = self.fetches.get(url)?;
            (now - fetch.update_time? <= age_limit(source)).then_some(fetch.fetched_at)
        };
        let mut ages = Ages::default();
        let mut old = BTreeSet::new();
        for (url, grid) in &self.grids {
            match young(SourceName::Nws, url) {
                Some(fetched) => ages.count(Some(fetched), grid.fields),
                None => _ = old.insert(url.as_str()),
            }
        }
        let weather = &desk.weather;
        let stand_ins = [
            weather.met_norway.as_ref().map(|_| SourceName::MetNorway),
            weather.open_meteo.as_ref().map(|_| SourceName::OpenMeteo),
        ];
        let rest_on_none =
            |grid: &Option<String>| grid.as_ref().is_none_or(|url| old.contains(url.as_str()));
        for at in self.spots.iter().filter(|at| rest_on_none(&at.grid)) {
            let mut stand_ins = stand_ins.into_iter().flatten();
            ages.count(stand_ins.find_map(|source| young(source, &at.spot.cell(source))), 1);
        }
        ages
    }
}

fn outline(text: Option<String>) -> Option<Polygon> {
    serde_json::from_str(&text?).ok()
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
