use super::*;
use crate::inbox::InboundMessage;
use crate::store::Receipt;
use furrowbell_config::service::ReceiptState;
use reqwest::{Client, Response, StatusCode};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

#[derive(Debug, thiserror::Error)]
#[error("the database is away")]
struct Away;

/// Keeps replies in memory.
#[derive(Clone, Default)]
struct Kept {
    messages: Arc<Mutex<Vec<InboundMessage>>>,
    receipts: Arc<Mutex<Vec<Receipt>>>,
    away: Arc<AtomicBool>,
}

impl Inbox for Kept {
    type Error = Away;

    async fn store(&self, message: InboundMessage) -> Result<bool, Away> {
        if self.away.load(Ordering::SeqCst) {
            return Err(Away);
        }
        let mut messages = self.messages.lock().unwrap();
        let id = &message.provider_id;
        let known = id.is_some() && messages.iter().any(|other| other.provider_id == *id);
        if !known {
            messages.push(message);
        }
        Ok(!known)
    }

    async fn store_receipt(&self, receipt: Receipt) -> Result<bool, Away> {
        if self.away.load(Ordering::SeqCst) {
            return Err(Away);
        }
        let mut receipts = self.receipts.lock().unwrap();
        let known = receipts.contains(&receipt);
        if !known {
            receipts.push(receipt);
        }
        Ok(!known)
    }

    async fn reachable(&self) -> bool {
        !self.away.load(Ordering::SeqCst)
    }
}

struct Running {
    base: String,
    kept: Kept,
    clock: Clock,
    figures: Arc<Figures>,
    stop: CancellationToken,
    server: tokio::task::JoinHandle<std::io::Result<()>>,
    client: Client,
}

async fn run(inbound: &str) -> Running {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let clock = Clock::pretended("2026-05-20T12:00:00Z".parse().unwrap());
    let figures = Arc::new(Figures::new(clock.now()));
    let kept = Kept::default();
    let settings = toml::from_str(&format!("secret = {{ env = \"HOOK\" }}\n{inbound}")).unwrap();
    let receipts = "verify = { kind = \"header\", secret = { env = \"HOOK\" } }\nid = \"ref\"";
    let receipts = toml::from_str(receipts).unwrap();
    let pages = Pages {
        inbox: kept.clone(),
        clock: clock.clone(),
        figures: Arc::clone(&figures),
        round_every: TimeDelta::minutes(60),
        hook: Some(Hook::new(settings, "hush".into()).unwrap()),
        receipts: Some(ReceiptHook::new(receipts, "hush".into()).unwrap()),
    };
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base = format!("http://{}", listener.local_addr().unwrap());
    let stop = CancellationToken::new();
    let server = tokio::spawn(serve(listener, router(pages), stop.clone()));
    let client = Client::builder().no_proxy().build().unwrap();
    Running { base, kept, clock, figures, stop, server, client }
}

impl Running {
    async fn get(&self, path: &str) -> Response {
        self.client.get(format!("{}{path}", self.base)).send().await.unwrap()
    }

    fn hook(&self) -> reqwest::RequestBuilder {
        self.client.post(format!("{}/hooks/sms", self.base)).header("X-Hook-Secret", "hush")
    }

    fn replies(&self) -> Vec<(String, String, Option<String>)> {
        let messages = self.kept.messages.lock().unwrap();
        let parts = |message: &InboundMessage| {
            (message.from.clone(), message.text.clone(), message.provider_id.clone())
        };
        messages.iter().map(parts).collect()
    }
}

async fn status(request: reqwest::RequestBuilder) -> StatusCode {
    request.send().await.unwrap().status()
}

fn reply(text: &str, id: &str) -> (String, String, Option<String>) {
    ("+15155550123".to_owned(), text.to_owned(), Some(id.to_owned()))
}

#[tokio::test]
async fn a_reply_is_kept_however_it_is_posted() {
    let service = run("").await;
    let pairs = [("from", "+15155550123"), ("text", "Done & dry, 0.6\""), ("id", "a1")];
    assert_eq!(status(service.hook().form(&pairs)).await, StatusCode::NO_CONTENT);
    let pairs = [("from", "15155550123"), ("text", "no más"), ("id", "a2")];
    assert_eq!(status(service.hook().query(&pairs)).await, StatusCode::NO_CONTENT);
    let json = serde_json::json!({ "from": 15_155_550_123_u64, "text": "V4", "id": 3 });
    assert_eq!(status(service.hook().json(&json)).await, StatusCode::NO_CONTENT);
    let expected = [reply("Done & dry, 0.6\"", "a1"), reply("no más", "a2"), reply("V4", "3")];
    assert_eq!(service.replies(), expected);
    assert_eq!(service.kept.messages.lock().unwrap()[0].received_at, service.clock.now());
}

#[tokio::test]
async fn the_settings_name_the_fields_and_the_header() {
    let inbound = "secret_header = \"X-Key\"\nfrom = \"message.sender\"\ntext = \"message.body\"\n\
                   id = \"uuid\"";
    let service = run(inbound).await;
    let json = serde_json::json!({
        "message": { "sender": "+15155550123", "body": "done" }, "uuid": "z9",
    });
    assert_eq!(status(service.hook().json(&json)).await, StatusCode::UNAUTHORIZED);
    let request = service.hook().header("X-Key", "hush").json(&json);
    assert_eq!(status(request).await, StatusCode::NO_CONTENT);
    assert_eq!(service.replies(), [reply("done", "z9")]);
}

#[tokio::test]
async fn a_repeat_is_kept_once() {
    let service = run("").await;
    let pairs = [("from", "+15155550123"), ("text", "done"), ("id", "a1")];
    assert_eq!(status(service.hook().form(&pairs)).await, StatusCode::NO_CONTENT);
    assert_eq!(status(service.hook().form(&pairs)).await, StatusCode::NO_CONTENT);
    assert_eq!(service.replies().len(), 1);
}

#[tokio::test]
async fn what_is_wrong_is_refused_and_not_kept() {
    let service = run("").await;
    let good = [("from", "+15155550123"), ("text", "done"), ("id", "a1")];
    let url = format!("{}/hooks/sms", service.base);
    let none = service.client.post(&url).form(&good);
    assert_eq!(status(none).await, StatusCode::UNAUTHORIZED);
    for wrong in ["", "hus", "hush2", "HUSH"] {
        let request = service.client.post(&url).header("X-Hook-Secret", wrong).form(&good);
        assert_eq!(status(request).await, StatusCode::UNAUTHORIZED, "{wrong}");
    }
    for request in [
        service.hook(),
        service.hook().form(&[("from", "+15155550123")]),
        service.hook().form(&[("from", "desk"), ("text", "done")]),
        service.hook().header("Content-Type", "application/json").body("{\"from\":"),
        service.hook().header("Content-Type", "text/plain").body("from=1&text=done"),
    ] {
        assert_eq!(status(request).await, StatusCode::BAD_REQUEST);
    }
    let long = "x".repeat(16 * 1024);
    let request = service.hook().form(&[("from", "+15155550123"), ("text", &long)]);
    assert_eq!(status(request).await, StatusCode::PAYLOAD_TOO_LARGE);
    let get = service.client.get(&url).header("X-Hook-Secret", "hush").query(&good);
    assert_eq!(status(get).await, StatusCode::METHOD_NOT_ALLOWED);
    assert!(service.replies().is_empty());
}

#[tokio::test]
async fn a_reply_that_cannot_be_stored_is_not_acknowledged() {
    let service = run("").await;
    service.kept.away.store(true, Ordering::SeqCst);
    let pairs = [("from", "+15155550123"), ("text", "done"), ("id", "a1")];
    assert_eq!(status(service.hook().form(&pairs)).await, StatusCode::SERVICE_UNAVAILABLE);
    service.kept.away.store(false, Ordering::SeqCst);
    assert_eq!(status(service.hook().form(&pairs)).await, StatusCode::NO_CONTENT);
    assert_eq!(service.replies(), [reply("done", "a1")]);
}

#[tokio::test]
async fn health_follows_the_database_and_the_rounds() {
    let service = run("").await;
    let ask = async || {
        let answer = service.get("/health").await;
        (answer.status().as_u16(), answer.json::<serde_json::Value>().await.unwrap())
    };
    let start = service.clock.now();
    let page = |ok: bool, database: bool, age: Option<i64>| {
        serde_json::json!({
            "ok": ok, "database_reachable": database, "last_round_age_s": age,
        })
    };
    assert_eq!(ask().await, (200, page(true, true, None)));
    service.clock.advance_to(start + TimeDelta::minutes(181));
    assert_eq!(ask().await, (503, page(false, true, None)));
    service.figures.round_done(service.clock.now());
    service.clock.advance_to(start + TimeDelta::minutes(181 + 180));
    assert_eq!(ask().await, (200, page(true, true, Some(180 * 60))));
    service.kept.away.store(true, Ordering::SeqCst);
    assert_eq!(ask().await, (503, page(false, false, Some(180 * 60))));
    service.kept.away.store(false, Ordering::SeqCst);
    service.clock.advance_to(start + TimeDelta::minutes(181 + 181));
    assert_eq!(ask().await, (503, page(false, true, Some(181 * 60))));
}

#[tokio::test]
async fn without_a_hook_there_is_no_address_for_one() {
    let clock = Clock::pretended("2026-05-20T12:00:00Z".parse().unwrap());
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}/hooks/sms", listener.local_addr().unwrap());
    let pages = Pages {
        inbox: Kept::default(),
        figures: Arc::new(Figures::new(clock.now())),
        clock,
        round_every: TimeDelta::minutes(60),
        hook: None,
        receipts: None,
    };
    let stop = CancellationToken::new();
    let server = tokio::spawn(serve(listener, router(pages), stop.clone()));
    let _ = rustls::crypto::ring::default_provider().install_default();
    let client = Client::builder().no_proxy().build().unwrap();
    assert_eq!(status(client.post(url)).await, StatusCode::NOT_FOUND);
    stop.cancel();
    server.abort();
}

#[tokio::test]
async fn the_listener_closes_when_told() {
    let service = run("").await;
    assert_eq!(service.get("/metrics").await.status(), StatusCode::OK);
    service.stop.cancel();
    let ended = tokio::time::timeout(std::time::Duration::from_secs(5), service.server).await;
    ended.expect("the server did not stop").unwrap().unwrap();
    assert!(
        tokio::net::TcpStream::connect(service.base.trim_start_matches("http://")).await.is_err()
    );
}

#[tokio::test]
async fn a_receipt_is_kept_once_and_only_from_the_gateway() {
    let running = run("").await;
    let url = format!("{}/hooks/sms/receipts", running.base);
    let post = |secret: &str, body: &[(&str, &str)]| {
        running.client.post(&url).header("X-Hook-Secret", secret).form(body)
    };
    let body = [("ref", "gw-1"), ("status", "delivered")];
    assert_eq!(status(post("guess", &body)).await, StatusCode::UNAUTHORIZED);
    assert_eq!(status(running.client.post(&url).form(&body)).await, StatusCode::UNAUTHORIZED);
    assert_eq!(status(post("hush", &[("status", "delivered")])).await, StatusCode::BAD_REQUEST);
    assert!(running.kept.receipts.lock().unwrap().is_empty());
    for _ in 0..2 {
        assert_eq!(status(post("hush", &body)).await, StatusCode::NO_CONTENT);
    }
    let odd = [("ref", "gw-2"), ("status", "DELIVERED?")];
    assert_eq!(status(post("hush", &odd)).await, StatusCode::NO_CONTENT);
    let kept = running.kept.receipts.lock().unwrap().clone();
    let states: Vec<_> = kept.iter().map(|one| (one.provider_id.as_str(), one.state)).collect();
    let wanted = [("gw-1", ReceiptState::Delivered), ("gw-2", ReceiptState::Unknown)];
    assert_eq!(states, wanted);
    running.kept.away.store(true, Ordering::SeqCst);
    assert_eq!(status(post("hush", &body)).await, StatusCode::SERVICE_UNAVAILABLE);
}
