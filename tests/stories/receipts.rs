//! The built binary and a gateway that posts receipts: what the gateway calls lost goes another
//! way, once.

use furrowbell_tests::binary::{self, Service};
use furrowbell_tests::books::{self, HOOK_SECRET, Points};
use furrowbell_tests::gateway::Gateway;
use furrowbell_tests::weather_service::WeatherService;
use furrowbell_tests::{install_tls, wait_for};
use serde_json::Value;
use std::time::Duration;
use tempfile::TempDir;

const MORNING: &str = "2026-09-02T13:30:00Z";
const LATER: &str = "2026-09-02T13:45:00Z";
const PATIENCE: Duration = Duration::from_secs(20);

/// Beans whose post pass is due today: the one urgent text of the book.
const URGENT: &str = "South 40";

struct Stage {
    _weather: WeatherService,
    book: TempDir,
    _database: TempDir,
    port: u16,
}

impl Stage {
    /// A gateway with receipts, and a grower who is reached by these routes.
    async fn set(grower_routes: &str) -> Self {
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
        let stage = Self { _weather: weather, book, _database: database, port };
        stage.rewrite("people.toml", |text| {
            text.replace("routes = [\"sms\"]", &format!("routes = {grower_routes}"))
        });
        stage.rewrite("service.toml", |text| {
            text + "[routes.sms.receipts]\n\
                    verify = { kind = \"header\", secret = { file = \"hook.secret\" } }\n"
        });
        stage
    }

    fn rewrite(&self, file: &str, change: impl Fn(String) -> String) {
        let path = self.book.path().join(file);
        let text = std::fs::read_to_string(&path).expect("the book can be read");
        let changed = change(text.clone());
        assert_ne!(changed, text, "{file} holds what is to be changed");
        std::fs::write(path, changed).expect("the book can be written");
    }

    fn start(&self, at: &str) -> Service {
        Service::start(self.book.path(), at, 60)
    }

    async fn texts(&self) -> Vec<Value> {
        let book = self.book.path().to_str().expect("paths of tests are UTF-8");
        let lines = binary::succeed(&["texts", "--limit", "500", "--json", "--book", book]).await;
        lines.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect()
    }

    /// The text that the gateway took about the field, once it is on record as sent.
    async fn sent(&self, field: &str) -> Value {
        wait_for("a text", PATIENCE, async || {
            self.texts()
                .await
                .into_iter()
                .find(|text| text["route"] == "sms" && text["state"] == "sent" && says(text, field))
        })
        .await
    }

    /// What went to the person by the route with the very words of a text.
    async fn again(&self, text: &Value, route: &str) -> usize {
        let same = |other: &Value| other["route"] == route && other["body"] == text["body"];
        self.texts().await.iter().filter(|other| same(other)).count()
    }

    /// Waits until the words have gone by the console.
    async fn other_way(&self, text: &Value) {
        wait_for("the other way", PATIENCE, async || {
            (self.again(text, "console").await > 0).then_some(())
        })
        .await;
    }

    /// Lets the service run on for a while and kills it: the words have gone by the console once.
    async fn goes_another_way_once(&self, text: &Value, service: Service) {
        self.other_way(text).await;
        tokio::time::sleep(Duration::from_secs(2)).await;
        service.kill().await;
        assert_eq!(self.again(text, "console").await, 1);
    }

    async fn report(&self, text: &Value, status: &str, secret: &str) -> u16 {
        let id = text["id"].as_str().expect("every text has an id");
        let client = reqwest::Client::builder().build().expect("a client can be built");
        let url = format!("http://127.0.0.1:{}/hooks/sms/receipts", self.port);
        let form = [("id", id), ("status", status)];
        let answer = client.post(url).header("X-Hook-Secret", secret).form(&form).send().await;
        answer.expect("the hook answers").status().as_u16()
    }
}

fn says(text: &Value, words: &str) -> bool {
    text["body"].as_str().is_some_and(|body| body.contains(words))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_loss_that_the_gateway_proves_sends_the_words_another_way_once() {
    let stage = Stage::set("[\"sms\", \"console\"]").await;
    let service = stage.start(MORNING);
    let lost = stage.sent(URGENT).await;
    assert_eq!(stage.report(&lost, "undelivered", "wrong").await, 401);
    assert_eq!(stage.report(&lost, "undelivered", HOOK_SECRET).await, 204);
    // Killed as soon as the receipt is taken: it is on record, and is used once.
    service.kill().await;
    for _ in 0..2 {
        let service = stage.start(LATER);
        stage.other_way(&lost).await;
        assert_eq!(stage.report(&lost, "undelivered", HOOK_SECRET).await, 204, "taken again");
        stage.goes_another_way_once(&lost, service).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_urgent_text_without_a_receipt_in_ten_minutes_goes_another_way_once() {
    let stage = Stage::set("[\"sms\", \"console\"]").await;
    let service = stage.start(MORNING);
    let silent = stage.sent(URGENT).await;
    service.kill().await;
    for _ in 0..2 {
        let service = stage.start(LATER);
        stage.goes_another_way_once(&silent, service).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_receipt_in_time_keeps_an_urgent_text_on_its_way() {
    let stage = Stage::set("[\"sms\", \"console\"]").await;
    let service = stage.start(MORNING);
    let arrived = stage.sent(URGENT).await;
    assert_eq!(stage.report(&arrived, "delivered", HOOK_SECRET).await, 204);
    service.kill().await;
    let service = stage.start(LATER);
    // What was decided for a quarter to nine has gone by then, and the silence was looked at.
    stage.sent("Creek 60").await;
    tokio::time::sleep(Duration::from_secs(2)).await;
    service.kill().await;
    assert_eq!(stage.again(&arrived, "console").await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn with_no_other_way_the_advisor_is_told_whom_to_call() {
    let stage = Stage::set("[ \"sms\" ]").await;
    let service = stage.start(MORNING);
    stage.sent(URGENT).await;
    service.kill().await;
    let service = stage.start(LATER);
    let word = wait_for("word to the advisor", PATIENCE, async || {
        let told =
            |text: &Value| text["person"] == "advisor" && says(text, "No text reached Gus Grower");
        stage.texts().await.into_iter().find(told)
    })
    .await;
    assert!(says(&word, URGENT), "{word}");
    service.kill().await;
}
