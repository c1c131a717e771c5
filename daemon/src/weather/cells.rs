//! Grid cells: their names, their outlines, and when each is due.

use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_engine::units::{Latitude, Longitude};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// One cell of the forecast grid, written `OAX/59,58`. Many fields may share it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cell {
    /// Letters of the forecast office.
    pub office: String,
    /// Column.
    pub x: u32,
    /// Row.
    pub y: u32,
}

/// A text that names no cell.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` names no grid cell; allowed is OFFICE/X,Y, as in OAX/59,58")]
pub struct CellFault(pub String);

impl Cell {
    /// A cell of an office; the office is three or four letters or digits.
    pub fn new(office: &str, x: u32, y: u32) -> Result<Self, CellFault> {
        let sound = (3..=4).contains(&office.len())
            && office.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit());
        let printable = || office.chars().take(20).collect::<String>();
        sound
            .then(|| Self { office: office.to_owned(), x, y })
            .ok_or_else(|| CellFault(format!("{}/{x},{y}", printable())))
    }
}

impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{},{}", self.office, self.x, self.y)
    }
}

impl FromStr for Cell {
    type Err = CellFault;

    fn from_str(text: &str) -> Result<Self, CellFault> {
        let read = || {
            let (office, place) = text.split_once('/')?;
            let (x, y) = place.split_once(',')?;
            Self::new(office, x.parse().ok()?, y.parse().ok()?).ok()
        };
        read().ok_or_else(|| CellFault(text.chars().take(40).collect()))
    }
}

/// The next time after `now` at which a cell of that name is due. Cells are spread over the period
/// by their names, and each round is put off by up to a tenth of the period, so that no two rounds
/// press at the same second. The same arguments give the same answer.
pub fn next_due(name: &str, period: TimeDelta, now: DateTime<Utc>) -> DateTime<Utc> {
    let period_s = period.num_seconds().max(1);
    let phase = below(period_s, hash(name.as_bytes()));
    let due = |round: i64| {
        let jitter = below((period_s / 10).max(1), hash(format!("{name} {round}").as_bytes()));
        DateTime::from_timestamp(round * period_s + phase + jitter, 0)
    };
    let round = (now.timestamp() - phase).div_euclid(period_s);
    [due(round), due(round + 1)]
        .into_iter()
        .flatten()
        .find(|time| *time > now)
        .unwrap_or(now + period)
}

/// A part of `span` that a name and a number always get: from nothing up to, not including, all.
pub fn jitter(name: &str, number: u32, span: TimeDelta) -> TimeDelta {
    let share = below(span.num_milliseconds(), hash(format!("{name} {number}").as_bytes()));
    TimeDelta::milliseconds(share)
}

fn below(limit: i64, hash: u64) -> i64 {
    let limit = limit.unsigned_abs().max(1);
    i64::try_from(hash % limit).unwrap_or_default()
}

/// FNV-1a with 64 bits (Fowler, Noll, Vo, 1991), then stirred as in `MurmurHash3`; fixed for all
/// time, unlike the standard library's hasher.
fn hash(bytes: &[u8]) -> u64 {
    let mut hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    hash = (hash ^ (hash >> 33)).wrapping_mul(0xff51_afd7_ed55_8ccd);
    hash ^ (hash >> 33)
}

/// Outline of a cell, as pairs of longitude and latitude in degrees. Four corners or more, closed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Polygon(Vec<[f64; 2]>);

impl Polygon {
    /// Reads the outer ring of a `GeoJSON` polygon (RFC 7946, section 3.1.6); `None` for anything
    /// else.
    pub fn from_geojson(geometry: &serde_json::Value) -> Option<Self> {
        if geometry.get("type")? != "Polygon" {
            return None;
        }
        let ring = geometry.get("coordinates")?.get(0)?.as_array()?;
        let point = |p: &serde_json::Value| Some([p.get(0)?.as_f64()?, p.get(1)?.as_f64()?]);
        let ring = ring.iter().map(point).collect::<Option<Vec<_>>>()?;
        (ring.len() >= 4).then_some(Self(ring))
    }

    /// Whether a place lies inside, by counting crossings on a flat map, which is right for cells
    /// of a few kilometres. A field outside the outline of its cell must be resolved again.
    pub fn contains(&self, latitude: Latitude, longitude: Longitude) -> bool {
        let (x, y) = (longitude.get(), latitude.get());
        let crossings = self.0.windows(2).filter(|edge| {
            let ([x1, y1], [x2, y2]) = (edge[0], edge[1]);
            (y1 > y) != (y2 > y) && x < (x2 - x1) * (y - y1) / (y2 - y1) + x1
        });
        crossings.count() % 2 == 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cell() -> impl Strategy<Value = Cell> {
        (0..200_u32, 0..200_u32).prop_map(|(x, y)| Cell::new("OAX", x, y).unwrap())
    }

    #[test]
    fn a_cell_reads_back_as_written() {
        let cell = Cell::new("OAX", 59, 58).unwrap();
        assert_eq!(cell.to_string(), "OAX/59,58");
        assert_eq!("OAX/59,58".parse(), Ok(cell));
        for text in ["", "OAX", "OAX/59", "oax/1,2", "OAX/-1,2", "../etc/1,2", "OAX/1,2,3"] {
            assert!(text.parse::<Cell>().is_err(), "{text}");
        }
    }

    #[test]
    fn six_hundred_cells_spread_over_the_period() {
        let period = TimeDelta::minutes(90);
        let start = DateTime::from_timestamp(1_780_000_000, 0).unwrap();
        let mut ninths = [0_u32; 9];
        for x in 0..30 {
            for y in 0..20 {
                let due = next_due(&format!("DMX/{x},{y}"), period, start);
                let tenth = (due - start).num_minutes() / 10;
                ninths[usize::try_from(tenth).unwrap().min(8)] += 1;
            }
        }
        assert!(ninths.iter().all(|count| (33..=110).contains(count)), "{ninths:?}");
    }

    /// Outline and place as api.weather.gov answered for one cell in Kansas on 2026-09-02: the
    /// place had moved to the next cell while the old address still answered.
    #[test]
    fn notices_a_place_outside_the_outline() {
        let geometry = serde_json::json!({"type": "Polygon", "coordinates": [[
            [-97.1081, 39.7227], [-97.1085, 39.7448], [-97.1372, 39.7444], [-97.1368, 39.7224],
            [-97.1081, 39.7227]]]});
        let outline = Polygon::from_geojson(&geometry).unwrap();
        let inside =
            |lat, lon| outline.contains(Latitude::new(lat).unwrap(), Longitude::new(lon).unwrap());
        assert!(!inside(39.7456, -97.0892));
        assert!(inside(39.7336, -97.1226));
        assert_eq!(Polygon::from_geojson(&serde_json::Value::Null), None);
    }

    proptest! {
        #[test]
        fn due_times_go_forward_about_one_period_apart(cell in cell(), now in 0..2_000_000_000_i64) {
            let period = TimeDelta::minutes(90);
            let now = DateTime::from_timestamp(now, 0).unwrap();
            let name = cell.to_string();
            let first = next_due(&name, period, now);
            let second = next_due(&name, period, first);
            prop_assert!(now < first && first <= now + period + period / 10);
            prop_assert!((second - first - period).abs() <= period / 10);
        }
    }
}
