//! Whole springs of real weather through the built binary, without foreknowledge: no text may say
//! that rain set a pre before the rain was on record.
//!
//! The pre is s-metolachlor, whose rain need by the engine's table is at least 0.5 in on any soil.
//! Each story adds up the rain of its own file, by itself, and holds the texts to that sum.
//! Weather: Ames 8 WSW, Iowa (NOAA cooperative station) and Milwaukee, Wisconsin (GHCN-Daily
//! USW00014839), both public domain.

use chrono::{DateTime, Datelike as _, Days, NaiveDate};
use furrowbell_tests::{binary, books};
use serde_json::Value;
use std::path::Path;

/// Least rain that could set the pre, inches.
const LEAST_IN: f64 = 0.5;

/// A date with its high and low (F) and rain (in); a trace is 0, M and NA are missing.
struct Row {
    date: NaiveDate,
    cells: [Option<f64>; 3],
}

fn number(text: &str) -> Option<f64> {
    if text == "T" { Some(0.0) } else { text.parse().ok() }
}

/// Rows of a file from the columns of that name, `None` where the file is not at hand.
fn rows(file: &str, columns: [&str; 4]) -> Option<Vec<Row>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/data/daily").join(file);
    let Ok(text) = std::fs::read_to_string(path) else {
        println!("SKIP no {file} in ../shared/data/daily");
        return None;
    };
    let mut lines = text.lines();
    let head: Vec<_> = lines.next()?.split(',').collect();
    let at = columns.map(|name| head.iter().position(|column| *column == name).expect(name));
    let row = |line: &str| {
        let cells: Vec<_> = line.split(',').collect();
        let cell = |which: usize| number(cells[at[which]]);
        Row { date: cells[at[0]].parse().expect("a date"), cells: [cell(1), cell(2), cell(3)] }
    };
    Some(lines.map(row).collect())
}

fn ames() -> Option<Vec<Row>> {
    let file = "ames_8wsw_ia_apr-aug_2012_2013_2021_2022_2023.csv";
    rows(file, ["date", "high_f", "low_f", "precip_in"])
}

fn milwaukee() -> Option<Vec<Row>> {
    let file = "milwaukee_wi_USW00014839_2012-2013_2018-2022.csv";
    rows(file, ["date", "TMAX", "TMIN", "PRCP"])
}

/// First day by which so much rain has fallen after the pass, as the file labels its days.
fn fallen(rows: &[Row], sprayed: NaiveDate, inches: f64) -> NaiveDate {
    let mut sum = 0.0;
    let after = rows.iter().filter(|row| row.date > sprayed);
    let mut reached = after.filter(|row| {
        sum += row.cells[2].unwrap_or(0.0);
        sum >= inches
    });
    reached.next().expect("it rains in the end").date
}

/// A text, on its local day.
#[derive(Debug)]
struct Told {
    day: NaiveDate,
    topics: Vec<String>,
    body: String,
}

impl Told {
    fn is_about(&self, topic: &str) -> bool {
        self.topics.iter().any(|about| about == topic)
    }
}

/// Texts of the spring, with the pre sprayed on the day of planting.
async fn texts(rows: &[Row], sprayed: NaiveDate) -> Vec<Told> {
    let folder = books::write(&books::Points {
        database: "sqlite:story.db",
        weather: "http://127.0.0.1:9",
        gateway: "http://127.0.0.1:9/send",
        deduplicates: true,
        port: 0,
    });
    let write = |name: &str, text: String| {
        std::fs::write(folder.path().join(name), text).expect("the book can be written");
    };
    let cell = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
    let lines = rows.iter().map(|row| format!("{},{}", row.date, row.cells.map(cell).join(",")));
    let csv: Vec<_> =
        std::iter::once("date,high_f,low_f,rain_in".to_owned()).chain(lines).collect();
    write("weather/story.csv", csv.join("\n") + "\n");
    write(
        "farms/story.toml",
        format!(
            "[farm]\nname = \"Story Farm\"\ngrowers = [\"grower\"]\nadvisors = [\"advisor\"]\n\
             [[field]]\nname = \"North 80\"\nlatitude = 42.0\nlongitude = -93.8\nacres = 80\n\
             texture = \"silt-loam\"\norganic_matter_percent = 3.0\n\
             [field.plan]\ncrop = \"corn\"\nrelative_maturity_days = 104\ndepth_in = 2.0\n\
             row_spacing_in = 30\npre = {{ name = \"spring pre\", ingredients = \
             [\"s-metolachlor\"] }}\n[field.done]\nplanted = {sprayed}\npre_applied = {sprayed}\n"
        ),
    );
    let book = folder.path().to_str().expect("paths of tests are UTF-8");
    let year = sprayed.year();
    let (from, to) = (format!("{year}-04-01"), format!("{year}-06-30"));
    let span = ["--from", &from, "--to", &to, "--forecast-days", "0", "--json"];
    let output = binary::succeed(&[&["rehearse", book], &span[..]].concat()).await;
    let lines = output.lines().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    lines
        .filter(|line| line["kind"] == "text")
        .map(|line| {
            let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
            let at = DateTime::parse_from_rfc3339(&text(&line["at"])).expect("an instant");
            let day = at.with_timezone(&chrono_tz::America::Chicago).date_naive();
            let topics = line["topics"].as_array().into_iter().flatten().map(text).collect();
            Told { day, topics, body: text(&line["body"]) }
        })
        .collect()
}

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// Days on which a topic was told.
fn told(texts: &[Told], topic: &str) -> Vec<NaiveDate> {
    texts.iter().filter(|text| text.is_about(topic)).map(|text| text.day).collect()
}

/// In a dry fortnight the wait is told on the days set for it, the fifth, seventh and tenth after
/// the pass; after two weeks weeds are taken to be up and the post window opens. Nothing is claimed
/// of rain before it was on record.
fn hold_to_a_dry_spell(rows: &[Row], sprayed: NaiveDate, texts: &[Told]) {
    let enough = fallen(rows, sprayed, LEAST_IN);
    let after = |days| sprayed + Days::new(days);
    assert!(enough > after(14), "the spell is not dry: {enough}");
    assert_eq!(told(texts, "rain-needed"), [after(5), after(7), after(10)], "{texts:?}");
    let opened = texts.iter().find(|text| text.is_about("post-open")).expect("a text");
    assert_eq!(opened.day, after(14), "{texts:?}");
    assert!(opened.body.contains("missed its rain"), "{}", opened.body);
    for topic in ["rain-set", "rain-late"] {
        for day in told(texts, topic) {
            assert!(day > enough, "{topic} on {day}, but {LEAST_IN} in had not fallen by {enough}");
        }
    }
}

/// From the file: after 28 May 2021 come 0.10 in (9 June), 0.26 (11), 0.09 (17), 0.51 (20), so half
/// an inch has not fallen before 20 June.
#[tokio::test(flavor = "multi_thread")]
async fn ames_in_2021_waits_for_its_rain() {
    let Some(rows) = ames() else { return };
    let sprayed = date("2021-05-28");
    assert_eq!(fallen(&rows, sprayed, LEAST_IN), date("2021-06-20"));
    hold_to_a_dry_spell(&rows, sprayed, &texts(&rows, sprayed).await);
}

/// From the file: after 7 May 2012 come 0.08 in (9 May), 0.07 (15), 0.01 (25), 0.72 (26), so half an
/// inch has not fallen before 26 May.
#[tokio::test(flavor = "multi_thread")]
async fn milwaukee_in_2012_waits_for_its_rain() {
    let Some(rows) = milwaukee() else { return };
    let sprayed = date("2012-05-07");
    assert_eq!(fallen(&rows, sprayed, LEAST_IN), date("2012-05-26"));
    hold_to_a_dry_spell(&rows, sprayed, &texts(&rows, sprayed).await);
}

/// From the file: 1.08 in on 2 May 2013, the day after the pass, so the next morning tells it.
#[tokio::test(flavor = "multi_thread")]
async fn ames_in_2013_is_set_at_once_and_nobody_is_told_to_wait() {
    let Some(rows) = ames() else { return };
    let sprayed = date("2013-05-01");
    assert_eq!(fallen(&rows, sprayed, LEAST_IN), date("2013-05-02"));
    let texts = texts(&rows, sprayed).await;
    assert_eq!(told(&texts, "rain-set"), [date("2013-05-03")], "{texts:?}");
    assert_eq!(told(&texts, "rain-needed"), [], "{texts:?}");
    assert_eq!(told(&texts, "rain-late"), [], "{texts:?}");
}
