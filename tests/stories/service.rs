//! The built binary against a weather service and a gateway: texts arrive, nothing is repeated or
//! lost, a reply changes the record.

use furrowbell_tests::binary::Service;
use furrowbell_tests::books::{self, GROWER, HOOK_SECRET, Points};
use furrowbell_tests::gateway::{Gateway, Seen};
use furrowbell_tests::weather_service::WeatherService;
use furrowbell_tests::{binary, databases, install_tls, wait_for};
use std::collections::BTreeSet;
use std::time::Duration;
use tempfile::TempDir;

const MORNING: &str = "2026-09-02T13:30:00Z";
const LATER: &str = "2026-09-02T16:00:00Z";
const EVEN_LATER: &str = "2026-09-02T19:00:00Z";
const PATIENCE: Duration = Duration::from_secs(30);

struct Stage {
    weather: WeatherService,
    gateway: Gateway,
    book: TempDir,
    port: u16,
}

impl Stage {
    async fn set(database: &str, deduplicates: bool) -> Self {
        install_tls();
        let weather = WeatherService::start().await;
        let gateway = Gateway::start(deduplicates).await;
        let port = free_port();
        let book = books::write(&Points {
            database,
            weather: weather.url(),
            gateway: gateway.url(),
            deduplicates,
            port,
        });
        Self { weather, gateway, book, port }
    }

    fn start(&self, at: &str) -> Service {
        Service::start(self.book.path(), at, 60)
    }

    async fn texts_about(&self, field: &str) -> Vec<Seen> {
        wait_for(field, PATIENCE, async || {
            let found: Vec<_> = self
                .gateway
                .delivered()
                .into_iter()
                .filter(|seen| seen.text.contains(field))
                .collect();
            (!found.is_empty()).then_some(found)
        })
        .await
    }

    /// Waits until no text waits to go or is on its way.
    async fn everything_settled(&self) {
        wait_for("every text settled", PATIENCE, async || {
            let open = self.ask(&["texts", "--state", "waiting", "--json"]).await
                + &self.ask(&["texts", "--state", "sending", "--json"]).await;
            open.is_empty().then_some(())
        })
        .await;
    }

    async fn reply(&self, id: &str, text: &str, secret: &str) -> u16 {
        let client = reqwest::Client::builder().build().expect("a client can be built");
        let form = [("from", GROWER), ("text", text), ("id", id)];
        let url = format!("http://127.0.0.1:{}/hooks/sms", self.port);
        let answer = client.post(url).header("X-Hook-Secret", secret).form(&form).send().await;
        answer.expect("the hook answers").status().as_u16()
    }

    async fn ask(&self, command: &[&str]) -> String {
        let book = self.book.path().to_str().expect("paths of tests are UTF-8");
        binary::succeed(&[command, &["--book", book]].concat()).await
    }
}

fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a loopback port is free");
    listener.local_addr().expect("a bound port").port()
}

fn assert_no_repeat(delivered: &[Seen]) {
    let mut seen = BTreeSet::new();
    for text in delivered {
        assert!(seen.insert((&text.to, &text.text)), "came twice: {}", text.text);
    }
}

async fn texts_arrive_once_whatever_happens(database: &str) {
    let stage = Stage::set(database, true).await;
    let service = stage.start(MORNING);
    wait_for("the first text", PATIENCE, async || stage.gateway.delivered().pop()).await;
    service.kill().await;

    // Killed in the middle of it: what was left is sent, what was sent is not sent again.
    let service = stage.start(LATER);
    for field in ["North 80", "South 40", "Creek 60"] {
        stage.texts_about(field).await;
    }
    stage.everything_settled().await;
    let before = stage.gateway.delivered();
    assert!(before.iter().all(|seen| seen.to == GROWER && seen.text.starts_with("Story Desk: ")));
    assert_no_repeat(&before);
    let sent = stage.ask(&["texts", "--person", "grower", "--state", "sent", "--json"]).await;
    assert_eq!(sent.lines().count(), before.len(), "the record and the phone agree");
    assert!(stage.weather.agents().iter().all(|agent| agent.contains("desk@example.org")));
    service.kill().await;

    let service = stage.start(EVEN_LATER);
    let (_, unchanged) = stage.weather.grid_requests();
    wait_for("two more pulls", PATIENCE, async || {
        let (_, not_modified) = stage.weather.grid_requests();
        (not_modified >= unchanged + 2).then_some(())
    })
    .await;
    assert_eq!(stage.gateway.delivered(), before, "a restart sends nothing again");
    let (asked, unchanged) = stage.weather.grid_requests();
    assert_eq!(asked - unchanged, 1, "three fields in one cell, three starts: one full answer");

    assert_eq!(stage.reply("1", "DONE south 40", "wrong").await, 401);
    assert_eq!(stage.reply("1", "DONE south 40", HOOK_SECRET).await, 204);
    assert_eq!(stage.reply("1", "DONE south 40", HOOK_SECRET).await, 204, "taken again, used once");
    let answer = wait_for("the answer", PATIENCE, async || {
        stage.gateway.delivered().get(before.len()).cloned()
    })
    .await;
    assert!(answer.text.contains("Post on"), "{}", answer.text);
    let shown = stage.ask(&["show", "South 40", "--on", "2026-09-02"]).await;
    assert!(shown.contains("post pass: done 2026-09-02"), "{shown}");
    assert!(!shown.contains("post-overdue"), "the question is closed\n{shown}");
    assert_no_repeat(&stage.gateway.delivered());
    assert_eq!(service.stop().await, Some(0));
}

#[tokio::test(flavor = "multi_thread")]
async fn texts_arrive_once_on_sqlite() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    texts_arrive_once_whatever_happens(&books::sqlite_in(folder.path())).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn texts_arrive_once_on_postgresql() {
    if let Some(database) = databases::fresh_postgres().await {
        texts_arrive_once_whatever_happens(&database).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_gateway_that_was_down_gets_the_texts_later_but_not_the_expired_ones() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let stage = Stage::set(&books::sqlite_in(folder.path()), true).await;
    stage.gateway.set_down(true);
    let service = stage.start(MORNING);
    wait_for("a few tries", PATIENCE, async || (stage.gateway.requests() >= 4).then_some(())).await;
    assert_eq!(stage.gateway.delivered(), []);
    service.kill().await;
    let waiting = stage.ask(&["texts", "--state", "waiting", "--json"]).await;
    let waiting: Vec<serde_json::Value> = waiting
        .lines()
        .map(|line| serde_json::from_str(line).expect("one object a line"))
        .collect();
    assert!(!waiting.is_empty(), "{waiting:?}");

    // Ten days on, whatever was to be done by then is past; the rest goes if it still holds.
    stage.gateway.set_down(false);
    let much_later = "2026-09-12T13:30:00Z";
    let service = stage.start(much_later);
    wait_for("expired texts", PATIENCE, async || {
        stage.ask(&["texts", "--state", "expired", "--json"]).await.lines().next().map(|_| ())
    })
    .await;
    stage.everything_settled().await;
    let all = stage.ask(&["texts", "--limit", "500", "--json"]).await;
    let all: Vec<serde_json::Value> =
        all.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect();
    for old in &waiting {
        let now = all.iter().find(|text| text["id"] == old["id"]).expect("nothing is forgotten");
        let expires = old["expires_at"].as_str().expect("an instant");
        let fate = now["state"].as_str().expect("a state");
        let allowed: &[&str] = if expires > much_later { &["sent", "held"] } else { &["expired"] };
        assert!(allowed.contains(&fate), "{now}");
        let went = stage
            .gateway
            .delivered()
            .iter()
            .any(|seen| Some(seen.text.as_str()) == old["body"].as_str());
        assert_eq!(went, fate == "sent", "{now}");
    }
    service.kill().await;
    let digest = stage.ask(&["digest", "--on", "2026-09-12"]).await;
    assert!(digest.contains("TOO LATE TO SEND"), "{digest}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_answer_is_not_a_lost_text() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let stage = Stage::set(&books::sqlite_in(folder.path()), true).await;
    stage.gateway.hang_after_accepting(1);
    let service = stage.start(MORNING);
    stage.texts_about("North 80").await;
    stage.texts_about("South 40").await;
    stage.texts_about("Creek 60").await;
    stage.everything_settled().await;
    assert_no_repeat(&stage.gateway.delivered());
    service.kill().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broken_forecast_leaves_the_last_good_one() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let stage = Stage::set(&books::sqlite_in(folder.path()), true).await;
    let service = stage.start(MORNING);
    stage.texts_about("North 80").await;
    let before = stage.ask(&["show", "North 80", "--on", "2026-09-02"]).await;
    stage.weather.break_with(r#"{"type":"Feature","properties":{"updateTime":"2026-09"#);
    let (asked, _) = stage.weather.grid_requests();
    wait_for("two broken answers", PATIENCE, async || {
        (stage.weather.grid_requests().0 >= asked + 2).then_some(())
    })
    .await;
    let after = stage.ask(&["show", "North 80", "--on", "2026-09-02"]).await;
    assert!(after.contains("forecast issued"), "{after}");
    assert_eq!(before.lines().count(), after.lines().count(), "{before}\n{after}");
    assert!(!service.log().contains("panicked"));
    assert_eq!(service.stop().await, Some(0));
}

#[tokio::test(flavor = "multi_thread")]
async fn logs_hold_no_number_and_no_text() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let stage = Stage::set(&books::sqlite_in(folder.path()), true).await;
    let service = stage.start(MORNING);
    stage.texts_about("North 80").await;
    assert_eq!(stage.reply("9", "STOP", HOOK_SECRET).await, 204);
    wait_for("the goodbye", PATIENCE, async || {
        let last = stage.gateway.delivered().pop()?;
        last.text.contains("START").then_some(())
    })
    .await;
    let log = service.log();
    let leaks: Vec<_> = log.lines().filter(|line| line.contains("5550123")).collect();
    assert!(leaks.is_empty(), "a phone number is in the log: {leaks:#?}");
    for seen in stage.gateway.delivered() {
        assert!(!log.contains(&seen.text), "a text is in the log");
    }
    assert_eq!(service.stop().await, Some(0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reload_takes_a_sound_book_and_refuses_a_broken_one() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let stage = Stage::set(&books::sqlite_in(folder.path()), true).await;
    let service = stage.start(MORNING);
    stage.texts_about("North 80").await;
    let settings = stage.book.path().join("service.toml");
    let sound = std::fs::read_to_string(&settings).expect("the book can be read");
    std::fs::write(&settings, sound.replace("Story Desk", "St\u{f8}ry\tDesk = ["))
        .expect("written");
    service.signal("HUP").await;
    wait_for("the refusal", PATIENCE, async || {
        service.log().contains("the book was not changed").then_some(())
    })
    .await;
    std::fs::write(&settings, sound.replace("Story Desk", "Prairie Desk")).expect("written");
    service.signal("HUP").await;
    wait_for("the new book", PATIENCE, async || {
        service.log().contains("the book was read again").then_some(())
    })
    .await;
    let before = stage.gateway.delivered().len();
    assert_eq!(stage.reply("7", "HELP", HOOK_SECRET).await, 204);
    let answer = wait_for("the answer", PATIENCE, async || {
        stage.gateway.delivered().into_iter().skip(before).find(|seen| seen.text.contains("STOP"))
    })
    .await;
    assert!(answer.text.starts_with("Prairie Desk: "), "{}", answer.text);
    assert_eq!(service.stop().await, Some(0));
}

/// Beans whose weeds were an inch tall the day before, by an own limit of wind.
fn in_the_window(name: &str, most_wind_mph: u32) -> String {
    format!(
        r#"
[[field]]
name = "{name}"
latitude = 39.7335
longitude = -97.1225
acres = 30
texture = "silt-loam"
organic_matter_percent = 3.0
[field.plan]
crop = "soybean"
maturity_group = 2.4
depth_in = 1.5
row_spacing_in = 15
weeds = ["waterhemp"]
post = {{ name = "bean post", ingredients = ["glufosinate"] }}
[field.thresholds]
spray_wind_max_mph = {most_wind_mph}
spray_gust_max_mph = 20
[field.done]
planted = 2026-08-14
"#
    )
}

/// Wind of the recorded grid by local day and hour, mph, on 2 September: 10.4 at 7, 11.5, 12.7, 13.8
/// (gusts 18.4), 13.8 (19.6), 13.8 at 12 (20.7), and 10.4 or more to 18; the 3rd from 12.7 up with
/// gusts of 16.1 to 26.5. Sunrise is at 7:01, and glufosinate wants two hours of sun before it.
#[tokio::test(flavor = "multi_thread")]
async fn hours_that_suit_a_spray_are_read_from_the_forecast() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let stage = Stage::set(&books::sqlite_in(folder.path()), true).await;
    if !stage.weather.is_recorded() {
        println!("SKIP hours to spray: the hand-made payload tells no wind");
        return;
    }
    let farm = stage.book.path().join("farms/story.toml");
    let mut fields = std::fs::read_to_string(&farm).expect("the book can be read");
    for (name, most_wind_mph) in [("West 30", 10), ("East 30", 15)] {
        fields += &in_the_window(name, most_wind_mph);
    }
    std::fs::write(&farm, fields).expect("written");
    for name in ["West 30", "East 30"] {
        stage.ask(&["record", name, "weeds", "1.0", "--on", "2026-09-01"]).await;
    }
    let service = stage.start(MORNING);
    stage.texts_about("West 30").await;
    stage.everything_settled().await;
    let about = |words: &str| {
        let texts = stage.gateway.delivered().into_iter().map(|seen| seen.text);
        texts.filter(|text| text.contains(words)).collect::<Vec<_>>()
    };
    // The round's texts share room with other topics, so the news may be the short one.
    assert_eq!(about("too windy to spray").len(), 1);
    let windy = &about("too windy to spray")[0];
    assert!(windy.contains("West 30") && windy.contains("Call us today, Wed Sep 2"), "{windy}");
    let best = "Forecast: best spray hours likely Wed 10 AM-12 PM. Plan the post pass today, Wed \
                Sep 2.";
    assert_eq!(about("best spray hours").len(), 1);
    assert!(about("best spray hours")[0].contains(best), "{:?}", about("best spray hours"));
    let shown = stage.ask(&["show", "West 30", "--on", "2026-09-02"]).await;
    assert!(shown.contains("spray-hours, none that suit: wind"), "{shown}");
    service.kill().await;
}
