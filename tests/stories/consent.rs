//! The built binary and consent: a number is welcomed, a STOP ends what waits, START brings texts
//! back, what may be a STOP waits for somebody, and the ledger proves it all.

use furrowbell_tests::binary::{self, Service};
use furrowbell_tests::books::{self, GROWER, HOOK_SECRET, Points};
use furrowbell_tests::gateway::{Gateway, Seen};
use furrowbell_tests::weather_service::WeatherService;
use furrowbell_tests::{install_tls, wait_for};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const MORNING: &str = "2026-09-02T13:30:00Z";
const PATIENCE: Duration = Duration::from_secs(30);
/// The service's clock runs so many times as fast: a quarter of an hour is fifteen seconds.
const SPEED: u32 = 60;

struct Stage {
    _weather: WeatherService,
    gateway: Gateway,
    book: TempDir,
    _database: TempDir,
    port: u16,
}

impl Stage {
    async fn set() -> Self {
        install_tls();
        let weather = WeatherService::start().await;
        let gateway = Gateway::start(true).await;
        let database = tempfile::tempdir().expect("a temporary folder can be made");
        let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a loopback port is free");
        let port = listener.local_addr().expect("a bound port").port();
        let book = books::write(&Points {
            database: &books::sqlite_in(database.path()),
            weather: weather.url(),
            gateway: gateway.url(),
            deduplicates: true,
            port,
        });
        Self { _weather: weather, gateway, book, _database: database, port }
    }

    async fn reply(&self, id: &str, text: &str) {
        let client = reqwest::Client::builder().build().expect("a client can be built");
        let form = [("from", GROWER), ("text", text), ("id", id)];
        let url = format!("http://127.0.0.1:{}/hooks/sms", self.port);
        let post = client.post(url).header("X-Hook-Secret", HOOK_SECRET).form(&form);
        let answer = post.send().await.expect("the hook answers");
        assert_eq!(answer.status().as_u16(), 204);
    }

    async fn ask(&self, command: &[&str]) -> String {
        let book = self.book.path().to_str().expect("paths of tests are UTF-8");
        binary::succeed(&[command, &["--book", book]].concat()).await
    }

    /// The text at that place in the order of arrival.
    async fn text(&self, place: usize) -> Seen {
        wait_for("a text", PATIENCE, async || self.gateway.delivered().get(place).cloned()).await
    }

    /// Waits until the list of people says this of somebody; gives when the question was put that
    /// it answered.
    async fn people_say(&self, words: &str) -> Instant {
        wait_for(words, PATIENCE, async || {
            let asked = Instant::now();
            self.ask(&["people"]).await.contains(words).then_some(asked)
        })
        .await
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn consent_from_the_welcome_to_the_proof() {
    let stage = Stage::set().await;
    let service = Service::start(stage.book.path(), MORNING, SPEED);

    let welcome = stage.text(0).await;
    assert_eq!(welcome.to, GROWER);
    assert!(welcome.text.contains("Message and data rates may apply"), "{}", welcome.text);
    assert!(welcome.text.contains("HELP") && welcome.text.contains("STOP"), "{}", welcome.text);
    let urgent = stage.text(1).await;
    assert!(urgent.text.contains("South 40"), "the urgent one follows at once: {}", urgent.text);
    let waiting = stage.ask(&["texts", "--person", "grower", "--state", "waiting", "--json"]).await;
    assert!(!waiting.is_empty(), "something waits for a quarter of an hour");

    // STOP, twice: in force within a second, confirmed once, and what waited does not go.
    stage.reply("1", "Stop!!").await;
    let posted = Instant::now();
    let known = stage.people_say("STOP since").await;
    let took = known.duration_since(posted);
    assert!(took < Duration::from_secs(1), "in force after {took:?}");
    let goodbye = stage.text(2).await;
    assert!(goodbye.text.contains("You will get no more texts"), "{}", goodbye.text);
    stage.reply("2", "STOP").await;
    tokio::time::sleep(Duration::from_secs(20)).await;
    assert_eq!(stage.gateway.delivered().len(), 3, "{:?}", stage.gateway.delivered());
    assert!(stage.ask(&["texts", "--state", "waiting", "--person", "grower"]).await.contains("No"));

    stage.reply("3", "START").await;
    let back = stage.text(3).await;
    assert!(back.text.contains("You will get texts about your fields again"), "{}", back.text);

    // What may be a STOP: no word goes, not even an answer, until somebody decides.
    stage.reply("4", "did you stop the pump?").await;
    stage.people_say("may have said STOP").await;
    let before = stage.gateway.delivered().len();
    stage.reply("5", "HELP").await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    assert_eq!(stage.gateway.delivered().len(), before);
    let digest = stage.ask(&["digest", "--on", "2026-09-02"]).await;
    assert!(digest.contains("TEXTS HELD UNTIL YOU DECIDE"), "{digest}");
    let told = stage.ask(&["people", "resume", "grower", "--said", "on the phone: the pump"]).await;
    assert!(told.contains("texts go again"), "{told}");
    stage.reply("6", "HELP").await;
    let help = stage.text(before).await;
    assert!(help.text.contains("desk@example.org"), "{}", help.text);
    service.kill().await;

    let ledger = stage.ask(&["people", "consent", "--person", "grower", "--json"]).await;
    let lines: Vec<serde_json::Value> =
        ledger.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect();
    let states: Vec<_> = lines.iter().filter_map(|line| line["state"].as_str()).collect();
    assert_eq!(states, ["agreed", "stop", "stop", "start", "hold", "start"]);
    assert_eq!(lines[0]["wording"], "agreed on paper to field texts");
    assert_eq!(lines[1]["wording"], "Stop!!");
    assert_eq!(lines[5]["decided_by"], "advisor");
    assert!(!ledger.contains(GROWER) && ledger.contains("**********23"), "{ledger}");
    let csv = stage.ask(&["people", "consent", "--csv", "--numbers"]).await;
    assert!(csv.starts_with("person,state,at,") && csv.contains(GROWER), "{csv}");
    assert_eq!(csv.lines().count(), 7);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_number_without_consent_is_told_by_check_and_gets_nothing() {
    let stage = Stage::set().await;
    let service = Service::start(stage.book.path(), MORNING, SPEED);
    stage.text(0).await;
    service.kill().await;
    let people = stage.book.path().join("people.toml");
    let written = std::fs::read_to_string(&people).expect("the book can be read");
    std::fs::write(&people, written.replace(GROWER, "+15155550144")).expect("written");
    let book = stage.book.path().to_str().expect("paths of tests are UTF-8");
    let checked = binary::run(&["check", book]).await;
    let warnings = String::from_utf8_lossy(&checked.stderr);
    assert!(checked.status.success(), "{warnings}");
    assert!(warnings.contains("no consent stands for the number"), "{warnings}");

    let service = Service::start(stage.book.path(), "2026-09-02T16:00:00Z", SPEED);
    stage.people_say("the number changed, the consent did not").await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    assert!(stage.gateway.delivered().iter().all(|seen| seen.to == GROWER));
    service.kill().await;
}
