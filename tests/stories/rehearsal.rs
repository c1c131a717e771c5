//! The demo season through the built binary: every promised text comes, within every limit.

use chrono::{DateTime, FixedOffset, NaiveTime, Timelike};
use furrowbell_config::Book;
use furrowbell_tests::binary;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/demo")
}

async fn rehearsed(further: &[&str]) -> String {
    let demo = demo();
    let demo = demo.to_str().expect("the project's path is UTF-8");
    binary::succeed(&[&["rehearse", demo, "--json"], further].concat()).await
}

fn lines(output: &str) -> Vec<Value> {
    output.lines().map(|line| serde_json::from_str(line).expect("one JSON object a line")).collect()
}

fn of_kind<'a>(lines: &'a [Value], kind: &'a str) -> impl Iterator<Item = &'a Value> {
    lines.iter().filter(move |line| line["kind"] == kind)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}

fn local(value: &Value) -> DateTime<FixedOffset> {
    let at = DateTime::parse_from_rfc3339(text(value)).expect("an instant");
    let zone = chrono_tz::America::Chicago;
    at.with_timezone(&zone).fixed_offset()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_season_keeps_every_promise() {
    let output = rehearsed(&["--daily"]).await;
    let lines = lines(&output);
    let texts: Vec<_> =
        of_kind(&lines, "text").filter(|text| text["topics"] != Value::Array(vec![])).collect();
    let about = |topic: &str| texts.iter().filter(|text| text["topics"][0] == topic).count();
    for topic in [
        "rain-set",
        "rain-needed",
        "residual-ending",
        "post-open",
        "post-closing",
        "sidedress-open",
    ] {
        assert!(about(topic) > 0, "no text about {topic}");
    }
    let early = texts
        .iter()
        .any(|line| line["topics"][0] == "sidedress-open" && text(&line["body"]).contains("early"));
    assert!(early, "one sidedress text says that it is early, and why");
    assert!(of_kind(&lines, "digest").count() > 90);
    assert_eq!(lines.last().map(|line| &line["kind"]), Some(&Value::from("summary")));

    let mut seen = BTreeSet::new();
    for line in &texts {
        let body = text(&line["body"]);
        assert!(body.starts_with("Prairie Desk: "), "{body}");
        assert!(line["segments"].as_u64() <= Some(2), "{body}");
        assert!(seen.insert((text(&line["to"]), body)), "sent twice: {body}");
        assert!(!line["notices"].as_array().is_none_or(Vec::is_empty), "{line}");
    }
    for line in of_kind(&lines, "day") {
        for key in [
            "field",
            "date",
            "crop",
            "gdd_f",
            "stage",
            "rain_in",
            "activation",
            "residual",
            "post_window",
            "sidedress",
        ] {
            assert!(line.get(key).is_some(), "{key} is missing in {line}");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_is_woken_and_nobody_gets_more_than_the_budget() {
    let book = Book::load(&demo()).expect("the demo is sound");
    let output = rehearsed(&[]).await;
    let lines = lines(&output);
    let mut routine: BTreeMap<(String, String), u32> = BTreeMap::new();
    for line in of_kind(&lines, "text").filter(|line| line["topics"] != Value::Array(vec![])) {
        let at = local(&line["at"]);
        let person = book.person(text(&line["to"])).expect("texts go to people of the book");
        let time = NaiveTime::from_hms_opt(at.hour(), at.minute(), at.second()).expect("a time");
        let quiet = time >= person.quiet.from || time < person.quiet.until;
        assert!(!quiet, "{} was texted at {at}", person.id);
        let urgent =
            ["post-closing", "post-open", "rain-needed"].contains(&text(&line["topics"][0]));
        if !urgent {
            let day = at.date_naive().to_string();
            *routine.entry((person.id.clone(), day)).or_default() += 1;
        }
    }
    let most = book.service.sending.routine_texts_per_day;
    for ((person, day), count) in routine {
        assert!(count <= most, "{person} got {count} routine texts on {day}");
    }
}

/// What one person is to know in one round comes as one text, and the next keeps its distance.
#[tokio::test(flavor = "multi_thread")]
async fn one_round_rings_once() {
    let output = rehearsed(&[]).await;
    let lines = lines(&output);
    let mut last: BTreeMap<&str, DateTime<FixedOffset>> = BTreeMap::new();
    let (mut several_fields, mut several_topics) = (0, 0);
    for line in of_kind(&lines, "text").filter(|line| line["notices"] != Value::Array(vec![])) {
        let (to, at) = (text(&line["to"]), local(&line["at"]));
        if let Some(before) = last.insert(to, at) {
            assert!((at - before).num_minutes() >= 15, "two texts at once: {line}");
        }
        let count = |key: &str| line[key].as_array().map_or(0, Vec::len);
        several_fields += usize::from(count("fields") > 1 && count("topics") == 1);
        several_topics += usize::from(count("topics") > 1);
        assert_eq!(count("fields"), count("notices"));
        let body = text(&line["body"]);
        assert!(count("topics") < 2 || body.contains('\n'), "a line each: {body}");
    }
    assert!(several_fields >= 20, "{several_fields} texts of one topic over several fields");
    assert!(several_topics >= 20, "{several_topics} texts of several topics");
    let closing = of_kind(&lines, "text").map(|line| text(&line["body"])).find(|body| {
        body.contains("Finish the post pass by Tue Jun 16: North Eighty and West Forty")
    });
    let closing = closing.expect("what Orrin Vask is told on Jun 11");
    assert!(
        closing.contains("\nHome Place: ") && closing.contains("Check your label."),
        "{closing}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_rehearsal_gives_the_same_bytes() {
    let span = ["--from", "2026-05-10", "--to", "2026-05-24", "--daily"];
    assert_eq!(rehearsed(&span).await, rehearsed(&span).await);
}
