//! A million damaged answers over every parser.
//!
//! Each case is made from a number alone, so that one that fails can be made again:
//! `FURROWBELL_MUTATIONS` sets how many, `FURROWBELL_SEED` from which seed.

use super::cells::Cell;
use super::files;
use super::source::{Payload, Spot};
use super::{met_norway, nws, open_meteo};
use crate::weather::body::{Read, Unreadable};
use furrowbell_engine::units::{Celsius, MetresPerSecond, Percent};
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};

const MUTATIONS: usize = 1_000_000;
const SEED: u64 = 20_260_501;
/// Cases taken up at a time by one thread.
const BLOCK: usize = 1000;

/// What numbers are swapped for.
const SWAPS: [&str; 20] = [
    "1e308",
    "-1e308",
    "1e999",
    "1e-308",
    "-9999",
    "9999",
    "null",
    "\"7\"",
    "\"\"",
    "true",
    "[]",
    "{}",
    "NaN",
    "nan",
    "-0",
    "0.1",
    "-1",
    "99999999999999999999",
    "M",
    "T",
];

const GRID: &[u8] = include_bytes!("testdata/small_grid.json");
const POINT: &[u8] = include_bytes!("testdata/forms/nws/point.json");
const PLACES: &[u8] = include_bytes!("testdata/forms/open-meteo/forecast_two_places.json");
const MET: &str = r#"{"properties":{"meta":{"updated_at":"2020-07-20T01:30:57Z","units":{
"air_temperature":"celsius","precipitation_amount":"mm","relative_humidity":"%","wind_speed":"m/s"}},
"timeseries":[{"time":"2020-07-22T17:00:00Z","data":{"instant":{"details":{"air_temperature":29.3,
"relative_humidity":74.4,"wind_speed":2.7}},"next_1_hours":{"details":{"precipitation_amount":0.4}}}},
{"time":"2020-07-22T18:00:00Z","data":{"instant":{"details":{"air_temperature":30.2,"wind_speed":2.3}},
"next_6_hours":{"details":{"precipitation_amount":3.0}}}},
{"time":"2020-07-23T00:00:00Z","data":{"instant":{"details":{"air_temperature":24.7}}}}]}}"#;
const OPEN: &str = r#"{"utc_offset_seconds":-18000,"hourly_units":{"time":"iso8601",
"temperature_2m":"°F","precipitation":"inch","wind_gusts_10m":"mp/h"},"hourly":{
"time":["2026-03-07T00:00","2026-03-07T01:00","2026-03-07T02:00","2026-03-07T03:00"],
"temperature_2m":[55.3,51.3,48.5,44.7],"precipitation":[0.256,1.008,0.016,null],
"wind_gusts_10m":[38.9,32.2,29.3,24.2]}}"#;
const PLAIN: &str = "date,high_f,low_f,precip_in,wind_mps\n2012-05-01,79,54,0.12,3.1\n\
    2012-05-02,M,61,T,\n2012-05-03,88,62,1.4,2\n2012-05-04,81,NA,-9999,5.5\n";
const LONG: &str = "USC00130200,20230501,TMAX,156,,,7,0700\nUSC00130200,20230501,TMIN,28,,,7,0700\n\
    USC00130200,20230501,PRCP,0,T,,7,0700\nUSC00130200,20230502,PRCP,13,,,7,0700\n\
    USC00130200,20230502,TMAX,211,,I,7,0700\nUSC00130200,20230503,PRCP,0,P,,7,0700\n";
const WIDE: &str = "\"STATION\",\"DATE\",\"PRCP\",\"PRCP_ATTRIBUTES\",\"TMAX\",\"TMAX_ATTRIBUTES\"\n\
    \"USW00014839\",\"2018-05-01\",\"   25\",\",,W,2400\",\"  267\",\",,W\"\n\
    \"USW00014839\",\"2018-05-02\",\"    0\",\"T,,W,2400\",\"  278\",\",X,W\"\n";

/// What became of one case.
type Outcome = &'static str;

struct Parser {
    name: &'static str,
    sound: Vec<u8>,
    outcome: fn(&[u8]) -> Outcome,
}

fn parsers() -> [Parser; 9] {
    let parser = |name, sound: &[u8], outcome| Parser { name, sound: sound.to_vec(), outcome };
    let dly = format!(
        "USC00130200202305TMAX  156  7  211  7{0}\nUSC00130200202305PRCP    0T 7   13  7{0}\n",
        "-9999   ".repeat(2)
    );
    [
        parser("point of the weather service", POINT, |body| match nws::read_point(body) {
            Ok(read) => {
                assert!(read.payload.cell.to_string().parse::<Cell>().is_ok());
                "read whole"
            }
            Err(fault) => refused(&fault),
        }),
        parser("grid of the weather service", GRID, |body| {
            forecast(nws::read_grid(body, &Cell::new("OAX", 59, 58).unwrap()))
        }),
        parser("MET Norway", MET.as_bytes(), |body| forecast(met_norway::read(body, SPOT))),
        parser("Open-Meteo, one place", OPEN.as_bytes(), |body| {
            forecast(open_meteo::read(body, &[SPOT]))
        }),
        parser("Open-Meteo, two places", PLACES, |body| {
            forecast(open_meteo::read(body, &[SPOT, SPOT]))
        }),
        parser("daily rows", PLAIN.as_bytes(), daily),
        parser("GHCN-Daily by station", LONG.as_bytes(), daily),
        parser("GHCN-Daily for access", WIDE.as_bytes(), daily),
        parser("GHCN-Daily .dly", dly.as_bytes(), daily),
    ]
}

const SPOT: Spot = Spot { latitude: 41.21, longitude: -96.62 };

fn refused(fault: &Unreadable) -> Outcome {
    let kinds = [
        ("has no usable value", "refused: no usable value"),
        ("is a refusal", "refused: says that it is a refusal"),
        ("names no grid cell", "refused: names no cell"),
        ("has ", "refused: another number of places"),
    ];
    if fault.cut_short {
        return "refused: cut short";
    }
    let kind = kinds.into_iter().find(|(start, _)| fault.what.starts_with(start));
    kind.map_or("refused: not JSON, or another shape", |(_, kind)| kind)
}

fn forecast(read: Result<Read<Payload>, Unreadable>) -> Outcome {
    let payload = match read {
        Ok(read) => read.payload,
        Err(fault) => return refused(&fault),
    };
    let Payload::Hours(forecasts) = payload else { panic!("days where hours were asked for") };
    for forecast in &forecasts {
        let hours = &forecast.hours;
        assert!(hours.windows(2).all(|pair| pair[0].start < pair[1].start), "out of order");
        for hour in hours {
            assert_eq!(hour.start.timestamp() % 3600, 0, "not on the hour");
            let within = |value: Option<f64>, legal: fn(f64) -> bool| value.is_none_or(legal);
            let air = |c| Celsius::new(c).is_ok();
            let wind = |mps| MetresPerSecond::new(mps).is_ok();
            let share = |percent| Percent::new(percent).is_ok();
            // A whole day's rain may lie within one hour, and no more.
            let depth = |mm: f64| (0.0..=1000.0).contains(&mm);
            assert!(within(hour.temp_c, air) && within(hour.dewpoint_c, air), "{hour:?}");
            assert!(within(hour.wind_mps, wind) && within(hour.gust_mps, wind), "{hour:?}");
            assert!(within(hour.humidity_pct, share) && within(hour.sky_pct, share), "{hour:?}");
            assert!(within(hour.rain_mm, depth) && within(hour.snow_mm, depth), "{hour:?}");
        }
    }
    let whole = forecasts.iter().all(|forecast| forecast.refused.is_empty());
    if whole { "read whole" } else { "read without the layers that are wrong" }
}

/// Ranges of single values are held by their types.
fn daily(body: &[u8]) -> Outcome {
    let Ok(text) = std::str::from_utf8(body) else { return "refused: not text" };
    let Ok(reading) = files::sift_text(text) else { return "refused: first line" };
    assert!(reading.days.windows(2).all(|pair| pair[0].date < pair[1].date), "out of order");
    for day in &reading.days {
        assert!(day.high.zip(day.low).is_none_or(|(high, low)| high >= low), "{day:?}");
    }
    if reading.refused.is_empty() { "read whole" } else { "read without the rows that are wrong" }
}

/// Numbers from a seed: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number
/// generators", 2014.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, end: usize) -> usize {
        let end = u64::try_from(end).unwrap().max(1);
        usize::try_from(self.next() % end).unwrap()
    }

    /// A short piece of something so long.
    fn piece(&mut self, length: usize) -> Range<usize> {
        let start = self.below(length);
        start..(start + 1 + self.below(40)).min(length)
    }
}

fn damaged(sound: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = sound.to_vec();
    for _ in 0..=dice.below(3) {
        if bytes.is_empty() {
            break;
        }
        let at = dice.below(bytes.len());
        match dice.below(16) {
            0 => bytes[at] ^= 1 << dice.below(8),
            1 => bytes[at] = dice.next().to_le_bytes()[0],
            2 => drop(bytes.drain(dice.piece(sound.len().min(bytes.len())))),
            3 => {
                let piece = dice.piece(bytes.len());
                let copy = bytes[piece.clone()].to_vec();
                drop(bytes.splice(piece.end..piece.end, copy));
            }
            4 => bytes.truncate(at),
            5 => {
                let (piece, to) = (dice.piece(bytes.len()), at);
                let moved: Vec<u8> = bytes.drain(piece).collect();
                let to = to.min(bytes.len());
                drop(bytes.splice(to..to, moved));
            }
            _ => swap_number(&mut bytes, at, SWAPS[dice.below(SWAPS.len())]),
        }
    }
    bytes
}

/// Puts something else in the place of the first number after `at`.
fn swap_number(bytes: &mut Vec<u8>, at: usize, other: &str) {
    let of_number = |byte: &u8| byte.is_ascii_digit() || b"+-.".contains(byte);
    let Some(start) = bytes[at..].iter().position(u8::is_ascii_digit).map(|more| at + more) else {
        return;
    };
    let length = bytes[start..].iter().take_while(|byte| of_number(byte)).count();
    drop(bytes.splice(start..start + length, other.bytes()));
}

fn setting<T: std::str::FromStr>(name: &str, default: T) -> T {
    std::env::var(name).map_or(default, |text| text.parse().ok().expect("a whole number"))
}

#[test]
fn a_million_damaged_answers_neither_panic_nor_leave_the_ranges() {
    let (cases, seed) =
        (setting("FURROWBELL_MUTATIONS", MUTATIONS), setting("FURROWBELL_SEED", SEED));
    let (parsers, next) = (parsers(), AtomicUsize::new(0));
    let work = || {
        let mut counts = BTreeMap::<(&str, Outcome), usize>::new();
        loop {
            let block = next.fetch_add(BLOCK, Ordering::Relaxed);
            if block >= cases {
                return counts;
            }
            for case in block..(block + BLOCK).min(cases) {
                let parser = &parsers[case % parsers.len()];
                let number = u64::try_from(case).unwrap();
                let bytes = damaged(&parser.sound, &mut Dice(seed ^ number << 20));
                let outcome = std::panic::catch_unwind(|| (parser.outcome)(&bytes));
                let outcome = outcome.unwrap_or_else(|_| {
                    let text = String::from_utf8_lossy(&bytes);
                    panic!("{}, seed {seed}, case {case}: {text}", parser.name)
                });
                *counts.entry((parser.name, outcome)).or_default() += 1;
            }
        }
    };
    let mut counts = BTreeMap::<(&str, Outcome), usize>::new();
    std::thread::scope(|scope| {
        let threads = std::thread::available_parallelism().map_or(2, usize::from);
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        for worker in workers {
            for (of, number) in worker.join().unwrap() {
                *counts.entry(of).or_default() += number;
            }
        }
    });
    println!("{cases} damaged answers, seed {seed}");
    for ((parser, outcome), number) in &counts {
        println!("{number:>8}  {parser}: {outcome}");
    }
    assert_eq!(counts.values().sum::<usize>(), cases);
    for Parser { name, sound, outcome } in &parsers {
        assert!(outcome(sound).starts_with("read"), "{name} does not read what is sound");
        let of = |start: &str| {
            let own = counts
                .iter()
                .filter(|((parser, kind), _)| parser == name && kind.starts_with(start));
            own.map(|(_, number)| number).sum::<usize>()
        };
        let (read, refused) = (of("read"), of("refused"));
        assert!(read * 20 > cases / 9 && refused * 20 > cases / 9, "{name}: {read} and {refused}");
    }
}
