//! The built binary and the record of a restricted-use pass: asked for by text, item by item,
//! through a kill, and out again as a file.

use furrowbell_tests::binary::{self, Service};
use furrowbell_tests::books::{self, GROWER, HOOK_SECRET, Points};
use furrowbell_tests::gateway::Gateway;
use furrowbell_tests::weather_service::WeatherService;
use furrowbell_tests::{install_tls, wait_for};
use serde_json::Value;
use std::path::PathBuf;
use std::time::Duration;
use tempfile::TempDir;

const MORNING: &str = "2026-09-02T13:30:00Z";
const LATER: &str = "2026-09-02T16:00:00Z";
const PATIENCE: Duration = Duration::from_mins(1);

const LABELS: &str = r#"
[[product]]
name = "Mix 3"
epa_reg = "999999-3"
ingredients = ["atrazine"]
restricted = true
rate_per_acre = { amount = 1.2, unit = "qt" }
label_date = 2026-01-10
confirmed_by = "advisor"
"#;

const AMOUNT: &str = "How much product in all?";
const APPLICATOR: &str = "Who was the certified applicator?";
const NUMBER: &str = "Certification number of Gus Grower?";

struct Stage {
    _weather: WeatherService,
    gateway: Gateway,
    book: TempDir,
    port: u16,
}

impl Stage {
    async fn set() -> Self {
        install_tls();
        let weather = WeatherService::start().await;
        let gateway = Gateway::start(true).await;
        let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a loopback port is free");
        let port = listener.local_addr().expect("a bound port").port();
        let book = books::write(&Points {
            database: "sqlite:story.db",
            weather: weather.url(),
            gateway: gateway.url(),
            deduplicates: true,
            port,
        });
        let farm = book.path().join("farms/story.toml");
        let text = std::fs::read_to_string(&farm).expect("the farm can be read");
        let pass = "ingredients = [\"s-metolachlor\", \"atrazine\"]";
        let changed = text.replace(pass, &format!("{pass}, products = [\"Mix 3\"]"));
        assert_ne!(changed, text, "the farm holds the pass");
        std::fs::write(farm, changed).expect("the farm can be written");
        std::fs::write(book.path().join("labels.toml"), LABELS).expect("labels can be written");
        Self { _weather: weather, gateway, book, port }
    }

    fn start(&self, at: &str) -> Service {
        Service::start(self.book.path(), at, 60)
    }

    async fn write(&self, id: &str, text: &str) {
        let client = reqwest::Client::builder().build().expect("a client can be built");
        let form = [("from", GROWER), ("text", text), ("id", id)];
        let url = format!("http://127.0.0.1:{}/hooks/sms", self.port);
        wait_for("the hook", PATIENCE, async || {
            let sent = client.post(&url).header("X-Hook-Secret", HOOK_SECRET).form(&form).send();
            sent.await.ok().filter(|answer| answer.status().is_success()).map(|_| ())
        })
        .await;
    }

    fn count(&self, words: &str) -> usize {
        self.gateway.delivered().iter().filter(|seen| seen.text.contains(words)).count()
    }

    async fn hears(&self, words: &str) {
        wait_for(words, PATIENCE, async || (self.count(words) > 0).then_some(())).await;
    }

    async fn records(&self, further: &[&str]) -> String {
        let book = self.book.path().to_str().expect("paths of tests are UTF-8");
        binary::succeed(&[&["records", "--book", book], further].concat()).await
    }

    async fn rows(&self, further: &[&str]) -> Vec<Value> {
        let lines = self.records(&[&["--json"], further].concat()).await;
        lines.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect()
    }

    fn file(&self, name: &str) -> PathBuf {
        self.book.path().join(name)
    }

    async fn exported(&self, option: &str, name: &str) -> String {
        let file = self.file(name);
        self.records(&[option, file.to_str().expect("paths of tests are UTF-8")]).await;
        std::fs::read_to_string(file).expect("the file was written")
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restricted_pass_is_asked_about_until_its_record_is_whole_through_a_kill() {
    let stage = Stage::set().await;
    let service = stage.start(MORNING);
    stage.write("m1", "PRE DONE North 80").await;
    stage.hears("For the record of North 80").await;
    let order: Vec<_> = stage.gateway.delivered().into_iter().map(|seen| seen.text).collect();
    let at = |words: &str| order.iter().position(|text| text.contains(words));
    assert!(at("Got it. Pre on Wed Sep 2: North 80") < at(AMOUNT), "{order:?}");
    stage.write("m2", "plenty").await;
    stage.hears("Sorry, we could not read that.").await;
    stage.write("m3", "24 gallons").await;
    stage.hears(APPLICATOR).await;
    let missing = stage.rows(&["--missing"]).await;
    assert_eq!(missing[0]["missing"], "certified applicator; certification number");

    // Killed between two questions: nothing is lost, nothing is asked again.
    service.kill().await;
    let service = stage.start(LATER);
    stage.write("m4", "ME").await;
    stage.hears(NUMBER).await;
    service.kill().await;
    let service = stage.start("2026-09-02T18:00:00Z");
    stage.write("m5", "IA-12345").await;
    stage.hears("The record of North 80, Wed Sep 2, is filled in.").await;
    let first = format!("For the record of North 80 (Mix 3, Wed Sep 2): {AMOUNT}");
    for words in [first.as_str(), APPLICATOR, NUMBER, "is filled in", "we could not read"] {
        assert_eq!(stage.count(words), 1, "{words}: {:?}", stage.gateway.delivered());
    }
    assert_eq!(service.stop().await, Some(0));

    assert!(stage.rows(&["--missing"]).await.is_empty());
    let csv = stage.exported("--csv", "records.csv").await;
    let restricted = csv.lines().find(|line| line.contains("Mix 3")).expect("a row of the product");
    assert!(
        restricted.contains(
            "Mix 3,999999-3,atrazine,\"yes, by its label\",24 gal,1.2 qt,Gus Grower,IA-12345,,"
        ),
        "{restricted}"
    );
    assert!(csv.contains("\r\n") && csv.starts_with("record,farm,field,date,"), "{csv}");

    // Put right by hand; what stood before stays on record behind it.
    let set = ["set", "North 80", "2026-09-02", "amount", "26 gal", "--by", "advisor"];
    stage.records(&set).await;
    let rows = stage.rows(&[]).await;
    let row = rows.iter().find(|row| row["product"] == "Mix 3").expect("a row of the product");
    assert_eq!((&row["amount"], &row["acres"]), (&Value::from("26 gal"), &Value::from("80")));
    assert_eq!(row["not_said"], "location; acres; crop; product name; EPA number");
    let html = stage.exported("--html", "records.html").await;
    assert!(html.contains("26 gal") && html.contains("The certified applicator is responsible"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_set_is_refused_with_a_reason() {
    let stage = Stage::set().await;
    let book = stage.book.path().to_str().expect("paths of tests are UTF-8");
    binary::succeed(&["record", "North 80", "pre", "--on", "2026-05-12", "--book", book]).await;
    for (item, value, reason) in [
        ("amount", "a lot", "is no total amount"),
        ("epa", "12345", "is no EPA number"),
        ("start", "25:00", "is no start"),
    ] {
        let args = ["records", "--book", book, "set", "North 80", "2026-05-12", item, value];
        let output = binary::run(&args).await;
        assert_eq!(output.status.code(), Some(1));
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(said.contains(reason), "{said}");
    }
    let args = ["records", "--book", book, "set", "North 80", "2026-05-13", "amount", "1 gal"];
    assert_eq!(binary::run(&args).await.status.code(), Some(1));
    let rows = stage.rows(&["--from", "2026-05-12", "--to", "2026-05-12"]).await;
    assert!(rows.iter().any(|row| row["reported_by"] == "manager"), "{rows:?}");
}
