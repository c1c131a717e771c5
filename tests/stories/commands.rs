//! Every subcommand as a person at a terminal meets it: help, answers, faults, exit codes.

use furrowbell_tests::binary::{self, Service};
use furrowbell_tests::books::{self, Points};
use furrowbell_tests::gateway::Gateway;
use furrowbell_tests::weather_service::WeatherService;
use furrowbell_tests::{install_tls, wait_for};
use std::path::Path;
use std::time::Duration;
use tempfile::TempDir;

const COMMANDS: [&str; 13] = [
    "run",
    "check",
    "rehearse",
    "show",
    "why",
    "record",
    "digest",
    "texts",
    "people",
    "send-test",
    "weather",
    "wording",
    "schema",
];

fn book(gateway: &str) -> TempDir {
    book_over(gateway, "http://127.0.0.1:9")
}

fn book_over(gateway: &str, weather: &str) -> TempDir {
    books::write(&Points {
        database: "sqlite:story.db",
        weather,
        gateway,
        deduplicates: true,
        port: 0,
    })
}

fn path(book: &TempDir) -> &str {
    book.path().to_str().expect("paths of tests are UTF-8")
}

async fn failing(args: &[&str], code: i32) -> String {
    let output = binary::run(args).await;
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(code), "{args:?}: {told}");
    assert!(!told.contains("panicked"), "{told}");
    told
}

fn spoil(book: &Path, file: &str, from: &str, to: &str) {
    let path = book.join(file);
    let text = std::fs::read_to_string(&path).expect("the book can be read");
    assert!(text.contains(from), "{file} holds no {from}");
    std::fs::write(&path, text.replacen(from, to, 1)).expect("the book can be written");
}

#[tokio::test]
async fn every_command_explains_itself() {
    let help = binary::succeed(&["--help"]).await;
    assert!(help.contains("Exit codes"), "{help}");
    for command in COMMANDS {
        assert!(help.contains(command), "{command} is not in the help");
        let own = binary::succeed(&[command, "--help"]).await;
        assert!(own.contains("Usage: furrowbell"), "{own}");
    }
    failing(&["no-such-command"], 2).await;
}

#[tokio::test]
async fn a_broken_book_is_told_whole_and_with_its_places() {
    let book = book("http://127.0.0.1:9/send");
    let sound = binary::succeed(&["check", path(&book)]).await;
    assert!(sound.contains("3 fields"), "{sound}");
    spoil(book.path(), "service.toml", "every_minutes = 30", "every_minuts = 30");
    spoil(book.path(), "people.toml", "role = \"grower\"", "role = \"farmer\"");
    spoil(book.path(), "farms/story.toml", "depth_in = 2.0", "depth_in = 20");
    let told = failing(&["check", path(&book)], 1).await;
    for place in ["service.toml:7:", "people.toml:11:", "farms/story.toml:"] {
        assert!(told.contains(place), "no fault at {place} in\n{told}");
    }
    assert!(told.contains("every_minutes"), "it says what was meant\n{told}");
    assert!(!told.contains(books::GROWER), "{told}");
    failing(&["rehearse", path(&book)], 1).await;
    failing(&["run", path(&book)], 1).await;
    failing(&["check", "no/such/folder"], 1).await;
}

#[tokio::test]
async fn what_is_recorded_is_shown() {
    let book = book("http://127.0.0.1:9/send");
    let book = ["--book", path(&book)];
    let record = |rest: &[&'static str]| [&["record", "south 40"], rest, &book[..]].concat();
    binary::succeed(&record(&["rain", "0.6", "--on", "2026-08-20"])).await;
    binary::succeed(&record(&["stage", "V4", "--on", "2026-08-22"])).await;
    let shown =
        binary::succeed(&[&["show", "South 40", "--on", "2026-08-23"], &book[..]].concat()).await;
    for words in ["rain 0.60 in", "V4 seen", "bean pre"] {
        assert!(shown.contains(words), "no {words} in\n{shown}");
    }
    let told = failing(&record(&["rain", "999"]), 1).await;
    assert!(told.contains("outside"), "{told}");
    let told = failing(&record(&["post", "--on", "2999-01-01"]), 1).await;
    assert!(told.contains("has not come yet"), "{told}");
    let told = failing(&[&["show", "Suoth 40"], &book[..]].concat(), 1).await;
    assert!(told.contains("did you mean \"South 40\"?"), "{told}");
    failing(&[&["why", "nothing"], &book[..]].concat(), 1).await;
    let people = binary::succeed(&[&["people"], &book[..]].concat()).await;
    assert!(people.contains("Gus Grower") && !people.contains(books::GROWER), "{people}");
    let texts = binary::succeed(&[&["texts"], &book[..]].concat()).await;
    assert_eq!(texts, "No texts.\n");
    let digest = binary::succeed(&[&["digest", "--on", "2026-09-02"], &book[..]].concat()).await;
    assert!(digest.contains("North 80"), "{digest}");
    let html =
        binary::succeed(&[&["digest", "--on", "2026-09-02", "--html"], &book[..]].concat()).await;
    assert!(html.contains("</html>"), "{html}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_test_text_says_what_became_of_it() {
    install_tls();
    let gateway = Gateway::start(true).await;
    let book = book(gateway.url());
    let send = ["send-test", "grower", "--book", path(&book)];
    let told = binary::succeed(&send).await;
    assert!(told.contains("Accepted by sms"), "{told}");
    assert_eq!(gateway.delivered().len(), 1);
    gateway.set_down(true);
    let told = failing(&send, 3).await;
    assert!(told.contains("did not take it") && !told.contains(books::GROWER), "{told}");
    failing(&["send-test", "grower", "--route", "email", "--book", path(&book)], 1).await;
}

const SEPTEMBER: &str = "2026-09-02T13:30:00Z";

async fn status(book: &TempDir, now: &str) -> (String, serde_json::Value) {
    let command = ["weather", "status", "--book", path(book), "--test-now", now];
    let told = binary::succeed(&command).await;
    let json = binary::succeed(&[&command[..], &["--json"]].concat()).await;
    (told, serde_json::from_str(&json).expect("--json prints JSON"))
}

async fn until_asked(book: &TempDir, enough: impl Fn(&serde_json::Value) -> bool) {
    let service = Service::start(book.path(), SEPTEMBER, 60);
    wait_for("requests on record", Duration::from_secs(30), async || {
        let (_, json) = status(book, "2026-09-02T13:45:00Z").await;
        enough(&json["sources"][0]).then_some(())
    })
    .await;
    assert_eq!(service.stop().await, Some(0));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_weather_sources_say_how_they_stand() {
    install_tls();
    let weather = WeatherService::start().await;
    let book = book_over("http://127.0.0.1:9/send", weather.url());
    let (told, json) = status(&book, SEPTEMBER).await;
    assert!(told.contains("no request yet: start the service"), "{told}");
    assert!(told.contains("Daily files: days from 2026-07-25 to 2026-09-01"), "{told}");
    assert_eq!(json["sources"][0]["state"], "not-asked");
    until_asked(&book, |nws| nws["requests_24h"].as_u64() >= Some(2)).await;
    let (told, json) = status(&book, "2026-09-02T14:00:00Z").await;
    let nws = &json["sources"][0];
    assert_eq!((&nws["source"], &nws["state"]), (&"nws".into(), &"ok".into()), "{json}");
    assert_eq!((&nws["served"]["cells"], &nws["served"]["late"]), (&1.into(), &0.into()), "{json}");
    assert!(nws["bytes_24h"].as_u64() > Some(1000) && nws["last_fault"].is_null(), "{json}");
    assert!(nws["median_ms"].is_u64(), "{json}");
    // The forecast was issued at 06:26 UTC.
    for words in ["National Weather Service  ok", "7 h 33 min ago", "newest forecast"] {
        assert!(told.contains(words), "no {words} in\n{told}");
    }
    // The same record a day later, with nobody asking any more.
    let (told, json) = status(&book, "2026-09-03T15:00:00Z").await;
    assert_eq!(json["sources"][0]["state"], "late");
    let late = "office TOP: 1 of 1 cells have no forecast younger than 18 h";
    for words in [late, "is the service running?"] {
        assert!(told.contains(words), "no {words} in\n{told}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_source_that_is_away_is_said_to_be_and_why() {
    // Nobody listens on the discard port.
    let book = book("http://127.0.0.1:9/send");
    until_asked(&book, |nws| nws["failures_in_a_row"].as_u64() >= Some(3)).await;
    let (told, json) = status(&book, "2026-09-02T13:45:00Z").await;
    let nws = &json["sources"][0];
    let state = nws["state"].as_str().expect("a state");
    assert!(["failing", "resting"].contains(&state), "{json}");
    assert_eq!(nws["failures_24h"], nws["requests_24h"], "{json}");
    assert!(nws["last_good_at"].is_null(), "{json}");
    for words in ["failures in a row", "last fault", "no whole answer", "never"] {
        assert!(told.contains(words), "no {words} in\n{told}");
    }
}

/// The story's daily file ends on September 1; its grid is away.
#[tokio::test(flavor = "multi_thread")]
async fn weather_that_is_missing_is_said_to_be_and_heals_when_it_comes() {
    let book = book("http://127.0.0.1:9/send");
    let ask = async |command: &[&str]| {
        binary::succeed(&[command, &["--on", "2026-09-08", "--book", path(&book)]].concat()).await
    };
    let shown = ask(&["show", "North 80"]).await;
    let digest = ask(&["digest"]).await;
    assert!(shown.contains("unknown since 2026-09-02: no weather for 7 days"), "{shown}");
    for words in ["North 80", "South 40", "Creek 60", "Sep 2"] {
        assert!(digest.contains(words), "no {words} in\n{digest}");
    }
    let file = book.path().join("weather/story.csv");
    let mut days = std::fs::read_to_string(&file).expect("the file is there");
    days.extend((2..8).map(|day| format!("2026-09-0{day},80,60,0.0\n")));
    std::fs::write(&file, days).expect("the file can be written");
    let healed = ask(&["show", "North 80"]).await;
    assert!(!healed.contains("unknown since"), "{healed}");
    assert!(healed.contains("2026-09-04"), "{healed}");
}

#[tokio::test]
async fn schemas_are_those_of_the_book() {
    for file in ["service", "people", "farm", "labels", "replies"] {
        let printed = binary::succeed(&["schema", file]).await;
        let committed =
            Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../config/schema/{file}.json"));
        let committed = std::fs::read_to_string(committed).expect("the schema is committed");
        assert_eq!(printed.trim(), committed.trim(), "{file}");
    }
}

#[test]
fn the_readme_lists_every_threshold_as_it_is() {
    let readme = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let readme = std::fs::read_to_string(readme).expect("the project has a README");
    for spec in furrowbell_engine::thresholds::SPECS {
        let (key, default, min, max) = (spec.key, spec.default, spec.min, spec.max);
        let row = format!("| `{key}` | {default} | {min} to {max} | {} |", spec.meaning.trim());
        assert!(readme.contains(&row), "the README has no row\n{row}");
    }
}
