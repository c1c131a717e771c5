//! An advisor rewords texts: what keeps the rules is said, what breaks them is told and left out.

use furrowbell_tests::binary::{self, Service};
use furrowbell_tests::books::{self, Points};
use furrowbell_tests::wait_for;
use std::path::Path;
use std::time::Duration;
use tempfile::TempDir;

/// One sound text and five that break a rule each: no such variable, no day to act by, no reply
/// word, no caution, and no such key.
const EDITS: &str = r#"[topics.emergence]
news = "{% if ahead %}Forecast: {{ crop }} likely out of the ground {{ on }}{% else %}{{ crop }} {% if provisional %}likely {% endif %}out of the ground {{ on }}{% endif %}."

[topics.seedbed]
line = "{{ verdikt }}"

[topics.weather-gap]
action = "Read your rain gauge."

[topics.sidedress-closing]
reply = "Tell us when it is on."

[topics.post-closing]
label = ""
nwes = "x"
"#;

fn book(edits: &str) -> TempDir {
    let book = books::write(&Points {
        database: "sqlite:story.db",
        weather: "http://127.0.0.1:9",
        gateway: "http://127.0.0.1:9/send",
        deduplicates: true,
        port: 0,
    });
    write(book.path(), edits);
    book
}

fn write(book: &Path, edits: &str) {
    std::fs::create_dir_all(book.join("wording")).expect("a folder can be made");
    std::fs::write(book.join("wording/en.toml"), edits).expect("the wording can be written");
}

fn path(book: &TempDir) -> &str {
    book.path().to_str().expect("paths of tests are UTF-8")
}

/// What is told of each broken edit, at its place.
const TOLD: [&str; 5] = [
    "en.toml:5:8: topics.seedbed.line: uses verdikt, which it is not given; did you mean verdict?; \
     the shipped text is used",
    "en.toml:8:10: topics.weather-gap.action: the day to act by is gone; keep {{ by }}; \
     the shipped text is used",
    "en.toml:11:9: topics.sidedress-closing.reply: the reply word DONE is gone; keep it in \
     capitals; the shipped text is used",
    "en.toml:14:9: topics.post-closing.label: the caution is gone; say it as in \
     \"Check your label.\"; the shipped text is used",
    "en.toml:15:1: topics.post-closing.nwes: unknown key; did you mean topics.post-closing.news?",
];

#[tokio::test]
async fn check_tells_each_broken_text_and_where_and_uses_the_sound_one() {
    let book = book(EDITS);
    let output = binary::run(&["check", path(&book)]).await;
    assert!(output.status.success(), "a broken text keeps no book from being used");
    let told = String::from_utf8_lossy(&output.stderr);
    for line in TOLD {
        assert!(told.contains(line), "{line}\nis not in\n{told}");
    }
    assert_eq!(told.matches("warning: ").count(), TOLD.len(), "{told}");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.contains("1 texts are in your own words, 5 are not used."), "{said}");
}

#[tokio::test]
async fn the_texts_are_shown_side_by_side_before_they_go_out() {
    let book = book(EDITS);
    let shown = |topic: &'static str| {
        let folder = path(&book).to_owned();
        async move {
            let args = ["wording", topic, "--language", "en", "--book", &folder];
            binary::succeed(&args).await
        }
    };
    let emergence = shown("emergence").await;
    assert!(emergence.contains("shipped, ") && emergence.contains("yours, "), "{emergence}");
    assert!(emergence.contains("Heat units say corn"), "{emergence}");
    assert!(emergence.contains("out of the ground"), "{emergence}");
    let gap = shown("weather-gap").await;
    assert!(!gap.contains("yours"), "a broken text is not shown as if it went out: {gap}");
    assert!(gap.lines().all(|line| line.chars().count() <= 84), "{gap}");

    let templates =
        binary::succeed(&["wording", "seedbed", "--language", "en", "--templates"]).await;
    assert!(templates.contains("[topics.seedbed]"), "{templates}");
    assert!(
        templates.contains("#   verdict: ready | cold | dry | wet | cold-ahead"),
        "{templates}"
    );
    assert!(templates.contains("reply_short = \"Reply PLANTED.\""), "{templates}");
    let refused = binary::run(&["wording", "seedbad"]).await;
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("did you mean seedbed?"));
}

#[tokio::test]
async fn the_digest_names_what_is_not_used() {
    let book = book(EDITS);
    let digest = binary::succeed(&["digest", "--book", path(&book)]).await;
    let digest = digest.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        digest.contains("Own wording not used: en.toml:5, en.toml:8, en.toml:11, en.toml:14 and 1"),
        "{digest}"
    );
    write(book.path(), "[topics.seedbed\n");
    let digest = binary::succeed(&["digest", "--book", path(&book)]).await;
    assert!(digest.contains("Own wording not used: en.toml:1."), "{digest}");
}

#[tokio::test]
async fn a_running_service_tells_it_at_start_and_again_when_the_book_is_read_again() {
    let book = book("[frame]\nstop = \"The end.\"\n");
    let service = Service::start(book.path(), "2026-09-01T06:00:00-05:00", 1);
    let told = async |words: &str| {
        wait_for(words, Duration::from_secs(20), async || {
            service.log().contains(words).then_some(())
        })
        .await;
    };
    told("frame.stop: the reply word STOP is gone").await;
    told("running").await;
    write(book.path(), "[frame]\nand = \"{{ before }} with {{ lost }}\"\n");
    service.signal("HUP").await;
    told("frame.and: uses lost, which").await;
    told("the book was read again").await;
    assert_eq!(service.stop().await, Some(0));
}
