//! How each weather source stands, from the record alone: it can be told whether the service runs
//! or not.

use super::pull::{LATE, age_limit, grid_url};
use crate::store::{Fetch, Store};
use crate::weather::body::Asked;
use crate::weather::breaker::{LONGEST_REST, TROUBLE};
use crate::weather::cells::Cell;
use crate::weather::source::{SourceName, Spot};
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::Book;
use furrowbell_config::farms::Field;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// The span that requests are counted over.
const DAY: TimeDelta = TimeDelta::hours(24);
/// Failures in a row that are more than one address in trouble.
const FAILING: usize = 3;

/// What a source is worth now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// The book does not name it.
    Off,
    /// It was not asked yet, or there was no need.
    NotAsked,
    /// It answers, and what it serves is young enough.
    Ok,
    /// It answers, but some of what it serves is too old to be used.
    Late,
    /// Its last answers were faults.
    Failing,
    /// It is left alone for a while after failures in a row.
    Resting,
}

/// The last request that went wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LastFault {
    /// When it was sent.
    pub at: DateTime<Utc>,
    /// What happened and what follows.
    pub what: String,
    /// The service's name for the request, to be quoted to its operators.
    pub correlation_id: Option<String>,
}

/// The cells of one forecast office, or all of a source that has none.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Served {
    /// Cells that fields of the book rest on.
    pub cells: usize,
    /// Those among them without a forecast young enough to be used.
    pub late: usize,
    /// When the newest forecast was issued.
    pub newest_issue: Option<DateTime<Utc>>,
}

/// One source.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SourceNow {
    /// Which.
    pub source: SourceName,
    /// What it is worth.
    pub state: State,
    /// When it last answered well.
    pub last_good_at: Option<DateTime<Utc>>,
    /// Requests of the last 24 hours.
    pub requests_24h: usize,
    /// Those among them that brought no weather.
    pub failures_24h: usize,
    /// Size of their answers, unpacked.
    pub bytes_24h: usize,
    /// Median time they took.
    pub median_ms: Option<u64>,
    /// Failures since the last good answer, within the 24 hours.
    pub failures_in_a_row: usize,
    /// The last request that went wrong.
    pub last_fault: Option<LastFault>,
    /// Hours after which its forecast is not used any more.
    pub late_after_h: i64,
    /// All cells it serves.
    pub served: Served,
    /// The same by forecast office, where it has offices.
    pub offices: BTreeMap<String, Served>,
}

/// Every source that is in the book or was asked, as of `now`.
pub async fn sources_now(
    book: &Book,
    store: &Store,
    now: DateTime<Utc>,
) -> anyhow::Result<Vec<SourceNow>> {
    let mut asked = BTreeMap::<SourceName, Vec<Asked>>::new();
    for request in store.requests_since(now - DAY).await? {
        asked.entry(request.source).or_default().push(request);
    }
    let needs = Needs::of(book, store, now).await?;
    let mut told = Vec::new();
    for source in SourceName::ASKED {
        let of_day = asked.remove(&source).unwrap_or_default();
        let last = store.last_requests(source).await?;
        let in_book = is_on(book, source);
        if in_book || last.iter().any(Option::is_some) {
            told.push(source_now(source, in_book, &of_day, last, &needs, now));
        }
    }
    Ok(told)
}

fn is_on(book: &Book, source: SourceName) -> bool {
    let weather = &book.service.weather;
    match source {
        SourceName::Nws => weather.nws.is_some(),
        SourceName::MetNorway => weather.met_norway.is_some(),
        SourceName::OpenMeteo => weather.open_meteo.is_some(),
        SourceName::Mesonet => weather.mesonet.is_some(),
        SourceName::Acis => weather.acis.is_some(),
        SourceName::History | SourceName::Files | SourceName::Gauge => false,
    }
}

fn source_now(
    source: SourceName,
    in_book: bool,
    of_day: &[Asked],
    [good, bad]: [Option<Asked>; 2],
    needs: &Needs,
    now: DateTime<Utc>,
) -> SourceNow {
    let failures_in_a_row = of_day.iter().rev().take_while(|asked| asked.fault.is_some()).count();
    let offices = needs.by_office(source);
    let served = offices.values().fold(Served::default(), |all, one| Served {
        cells: all.cells + one.cells,
        late: all.late + one.late,
        newest_issue: all.newest_issue.max(one.newest_issue),
    });
    let rests = failures_in_a_row >= TROUBLE as usize
        && bad.as_ref().is_some_and(|bad| now - bad.at < LONGEST_REST);
    let state = if !in_book {
        State::Off
    } else if good.is_none() && bad.is_none() {
        State::NotAsked
    } else if rests {
        State::Resting
    } else if failures_in_a_row >= FAILING || good.is_none() {
        State::Failing
    } else if served.late > 0 {
        State::Late
    } else {
        State::Ok
    };
    let of_good = good.as_ref().and_then(|good| good.issued_at);
    let millis = |asked: &Asked| u64::try_from(asked.took.as_millis()).unwrap_or(u64::MAX);
    let mut took: Vec<u64> = of_day.iter().map(millis).collect();
    took.sort_unstable();
    SourceNow {
        source,
        state,
        last_good_at: good.map(|good| good.at),
        requests_24h: of_day.len(),
        failures_24h: of_day.iter().filter(|asked| asked.fault.is_some()).count(),
        bytes_24h: of_day.iter().map(|asked| asked.bytes).sum(),
        median_ms: took.get(took.len() / 2).copied(),
        failures_in_a_row,
        last_fault: bad.map(|bad| LastFault {
            at: bad.at,
            what: bad.fault.unwrap_or_default(),
            correlation_id: bad.correlation_id,
        }),
        late_after_h: age_limit(source).num_hours(),
        served: Served { newest_issue: served.newest_issue.max(of_good), ..served },
        offices: if source == SourceName::Nws { offices } else { BTreeMap::new() },
    }
}

/// What the book's fields need of each source.
struct Needs {
    now: DateTime<Utc>,
    issued: HashMap<String, DateTime<Utc>>,
    grids: BTreeSet<Cell>,
    spots: BTreeMap<String, Spot>,
}

impl Needs {
    async fn of(book: &Book, store: &Store, now: DateTime<Utc>) -> anyhow::Result<Self> {
        let issued = |fetch: Fetch| Some((fetch.url, fetch.update_time?));
        let issued: HashMap<_, _> = store.fetches().await?.into_iter().filter_map(issued).collect();
        let cells = store.field_cells().await?.into_iter();
        let cells: HashMap<_, Cell> =
            cells.filter_map(|row| Some((row.field, row.cell.parse().ok()?))).collect();
        let cell = |field: &Field| {
            book.service.weather.nws.as_ref().and_then(|_| cells.get(&field.id)).cloned()
        };
        let fields = || book.fields.iter().filter(|field| field.plan.is_some());
        let late = |field: &&Field| {
            let issued = cell(field).and_then(|cell| issued.get(&grid_url(&cell)).copied());
            issued.is_none_or(|issued| now - issued > LATE)
        };
        let spot = |field: &Field| Spot::of(field.site.latitude, field.site.longitude);
        let spots = fields().filter(late).map(spot).map(|spot| (spot.id(), spot)).collect();
        let grids = fields().filter_map(cell).collect();
        Ok(Self { now, issued, grids, spots })
    }

    /// Cells by office; a source without offices has all of them under an empty name.
    fn by_office(&self, source: SourceName) -> BTreeMap<String, Served> {
        let mut offices = BTreeMap::<String, Served>::new();
        let mut count = |office: &str, url: &str| {
            let served = offices.entry(office.to_owned()).or_default();
            let issued = self.issued.get(url).copied();
            let late = issued.is_none_or(|issued| self.now - issued > age_limit(source));
            served.cells += 1;
            served.late += usize::from(late);
            served.newest_issue = served.newest_issue.max(issued);
        };
        match source {
            SourceName::Nws => {
                self.grids.iter().for_each(|cell| count(&cell.office, &grid_url(cell)));
            }
            SourceName::MetNorway | SourceName::OpenMeteo => {
                self.spots.values().for_each(|spot| count("", &spot.cell(source)));
            }
            _ => {}
        }
        offices
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn at(minutes: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_780_000_000, 0).unwrap() + TimeDelta::minutes(minutes)
    }

    fn asked(minute: i64, fault: Option<&str>) -> Asked {
        Asked {
            at: at(minute),
            source: SourceName::Nws,
            path: "/gridpoints/OAX/59,58".to_owned(),
            status: Some(if fault.is_none() { 200 } else { 503 }),
            bytes: 1000,
            issued_at: fault.is_none().then(|| at(minute - 30)),
            took: Duration::from_millis(u64::try_from(100 + minute).unwrap()),
            correlation_id: fault.map(|_| "6eb39977".to_owned()),
            fault: fault.map(str::to_owned),
        }
    }

    /// The source after these requests, with one cell issued at that minute.
    fn after(requests: &[Asked], issued: i64, now: i64) -> SourceNow {
        let cell = Cell::new("OAX", 59, 58).unwrap();
        let needs = Needs {
            now: at(now),
            issued: HashMap::from([(grid_url(&cell), at(issued))]),
            grids: BTreeSet::from([cell]),
            spots: BTreeMap::new(),
        };
        let last = |good| requests.iter().rfind(|asked| asked.fault.is_none() == good).cloned();
        source_now(SourceName::Nws, true, requests, [last(true), last(false)], &needs, at(now))
    }

    #[test]
    fn a_source_is_called_by_what_its_last_requests_and_its_cells_show() {
        let good = |minute| asked(minute, None);
        let bad = |minute| asked(minute, Some("status 503"));
        assert_eq!(after(&[], 0, 60).state, State::NotAsked);
        assert_eq!(after(&[good(0), bad(1), bad(2)], 0, 60).state, State::Ok);
        assert_eq!(after(&[good(0), bad(1), bad(2), bad(3)], 0, 60).state, State::Failing);
        assert_eq!(after(&[bad(1)], 0, 60).state, State::Failing, "it never answered");
        let five: Vec<_> = [good(0)].into_iter().chain((1..6).map(bad)).collect();
        assert_eq!(after(&five, 0, 34).state, State::Resting);
        assert_eq!(after(&five, 0, 35).state, State::Failing, "it should have been tried again");
        let limit = age_limit(SourceName::Nws).num_minutes();
        assert_eq!(after(&[good(0)], 0, limit).state, State::Ok);
        assert_eq!(after(&[good(0)], 0, limit + 1).state, State::Late);
    }

    #[test]
    fn figures_are_those_of_the_requests() {
        let told = after(&[asked(0, None), asked(1, Some("status 503")), asked(2, None)], -30, 5);
        assert_eq!((told.requests_24h, told.failures_24h, told.bytes_24h), (3, 1, 3000));
        assert_eq!((told.median_ms, told.failures_in_a_row), (Some(101), 0));
        assert_eq!(told.last_good_at, Some(at(2)));
        assert_eq!(told.served.newest_issue, Some(at(-28)));
        let fault = told.last_fault.unwrap();
        assert_eq!((fault.at, fault.correlation_id.as_deref()), (at(1), Some("6eb39977")));
        let office = Served { cells: 1, late: 0, newest_issue: Some(at(-30)) };
        assert_eq!(told.offices, BTreeMap::from([("OAX".to_owned(), office)]));
    }
}
