//! The built binary and a real Matrix homeserver: texts go out once, replies change the record, and
//! no fault on the way loses or repeats anything.

use furrowbell_tests::binary::{self, Service};
use furrowbell_tests::books::{self, Points};
use furrowbell_tests::homeserver::{Guest, Homeserver, Message};
use furrowbell_tests::peer::free_port;
use furrowbell_tests::weather_service::WeatherService;
use furrowbell_tests::{install_tls, wait_for};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;
use tempfile::TempDir;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

const MORNING: &str = "2026-09-02T13:30:00Z";
const LATER: &str = "2026-09-02T16:00:00Z";
const PATIENCE: Duration = Duration::from_secs(90);
/// Slow enough for a homeserver on a busy machine to answer within a claim.
const SPEED: u32 = 30;

/// Stands between the service and the homeserver, and breaks what it is told to.
#[derive(Debug, Default)]
struct Break {
    requests: AtomicUsize,
    /// Answers to messages that are still to be lost.
    answers_to_lose: AtomicUsize,
    /// Whether no message gets through.
    keeps_messages: AtomicBool,
}

impl Break {
    /// Starts in front of a port and gives its own.
    async fn before(port: u16) -> (Arc<Self>, u16) {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a loopback port is free");
        let own = listener.local_addr().expect("a bound port").port();
        let between = Arc::new(Self::default());
        let shared = Arc::clone(&between);
        tokio::spawn(async move {
            while let Ok((near, _)) = listener.accept().await {
                let shared = Arc::clone(&shared);
                tokio::spawn(async move { shared.carry(near, port).await });
            }
        });
        (between, own)
    }

    /// Carries one connection until one side ends it or it is broken.
    async fn carry(&self, mut near: TcpStream, port: u16) -> Option<()> {
        let mut far = TcpStream::connect(("127.0.0.1", port)).await.ok()?;
        let (mut asked, mut answered) = (vec![0; 65536], vec![0; 65536]);
        let mut is_message = false;
        loop {
            tokio::select! {
                read = near.read(&mut asked) => {
                    let piece = &asked[..read.ok().filter(|read| *read > 0)?];
                    let starts = |method: &[u8]| piece.starts_with(method);
                    if starts(b"PUT ") || starts(b"GET ") {
                        self.requests.fetch_add(1, Ordering::SeqCst);
                        is_message = starts(b"PUT ");
                    }
                    if is_message && self.keeps_messages.load(Ordering::SeqCst) {
                        return None;
                    }
                    far.write_all(piece).await.ok()?;
                }
                read = far.read(&mut answered) => {
                    let piece = &answered[..read.ok().filter(|read| *read > 0)?];
                    let one_less = |left: usize| left.checked_sub(1);
                    let (set, get) = (Ordering::SeqCst, Ordering::SeqCst);
                    if is_message && self.answers_to_lose.fetch_update(set, get, one_less).is_ok() {
                        return None;
                    }
                    near.write_all(piece).await.ok()?;
                }
            }
        }
    }
}

struct Stage {
    _weather: WeatherService,
    book: TempDir,
    server: Homeserver,
    between: Arc<Break>,
    desk: Guest,
    grower: Guest,
    room: String,
}

impl Stage {
    /// A homeserver, a room and a book whose grower is reached there; `None` where no homeserver
    /// is installed.
    async fn set(per_second: f64, burst: u32, encrypted: bool) -> Option<Self> {
        install_tls();
        let server = Homeserver::start(per_second, burst).await?;
        let (between, port) = Break::before(server.port()).await;
        let (desk, grower) = (server.register("desk").await, server.register("gus").await);
        let room = grower.share_room(&desk, encrypted).await;
        let weather = WeatherService::start().await;
        let book = books::write(&Points {
            database: "sqlite:story.db",
            weather: weather.url(),
            gateway: "http://127.0.0.1:9/none",
            deduplicates: true,
            port: free_port(),
        });
        let stage = Self { _weather: weather, book, server, between, desk, grower, room };
        let place =
            format!("matrix = {{ user = \"{}\", room = \"{}\" }}", stage.grower.user, stage.room);
        stage.rewrite("people.toml", |text| {
            text.replace("routes = [\"sms\"]", &format!("routes = [\"matrix\"]\n{place}"))
        });
        stage.rewrite("service.toml", |text| {
            format!(
                "{text}\n[routes.matrix]\nhomeserver = \"http://127.0.0.1:{port}\"\n\
                 token.file = \"matrix.token\"\nuser = \"{}\"\ndevice = \"{}\"\n",
                stage.desk.user, stage.desk.device
            )
        });
        stage.sign_in_with(&stage.desk.token);
        Some(stage)
    }

    fn rewrite(&self, file: &str, change: impl Fn(String) -> String) {
        let path = self.book.path().join(file);
        let text = std::fs::read_to_string(&path).expect("the book can be read");
        let changed = change(text.clone());
        assert_ne!(changed, text, "{file} holds what is to be changed");
        std::fs::write(path, changed).expect("the book can be written");
    }

    fn sign_in_with(&self, token: &str) {
        let path = self.book.path().join("matrix.token");
        std::fs::write(path, token).expect("the token can be written");
    }

    fn start(&self, at: &str) -> Service {
        Service::start(self.book.path(), at, SPEED)
    }

    async fn ask(&self, command: &[&str]) -> String {
        let book = self.book.path().to_str().expect("paths of tests are UTF-8");
        binary::succeed(&[command, &["--book", book]].concat()).await
    }

    async fn texts(&self, state: &str) -> Vec<Value> {
        let lines = self.ask(&["texts", "--state", state, "--person", "grower", "--json"]).await;
        lines.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect()
    }

    /// What the desk has written, as the grower sees it.
    async fn told(&self) -> Vec<Message> {
        let mut told = self.grower.read(&self.room).await;
        told.retain(|message| message.sender == self.desk.user);
        told
    }

    async fn told_about(&self, words: &str) -> Message {
        wait_for(words, PATIENCE, async || {
            self.told().await.into_iter().find(|message| message.body.contains(words))
        })
        .await
    }

    /// Waits until all three fields were told about and nothing is on its way.
    async fn everything_told(&self) -> Vec<Message> {
        for field in ["North 80", "South 40", "Creek 60"] {
            self.told_about(field).await;
        }
        wait_for("every text settled", PATIENCE, async || {
            let open = [self.texts("waiting").await, self.texts("sending").await].concat();
            open.is_empty().then_some(())
        })
        .await;
        let told = self.told().await;
        let bodies: BTreeSet<_> = told.iter().map(|message| &message.body).collect();
        assert_eq!(bodies.len(), told.len(), "nothing came twice: {told:?}");
        assert_eq!(self.texts("sent").await.len(), told.len(), "the record and the room agree");
        told
    }

    async fn reply(&self, id: &str, text: &str) {
        let content = json!({ "msgtype": "m.text", "body": text });
        self.grower.write(&self.room, id, content).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn texts_go_out_once_and_a_reply_changes_the_record() {
    // A message every ten seconds: a confirmation close behind a text is answered with 429.
    let Some(stage) = Stage::set(0.1, 1, false).await else { return };
    // Said before the desk listened for the first time: history, no reply.
    stage.reply("old", "STOP").await;
    let service = stage.start(MORNING);
    let told = stage.everything_told().await;
    assert!(told.iter().all(|message| message.body.starts_with("Story Desk: ")), "{told:?}");
    let kind = |field: &str| {
        told.iter().find(|message| message.body.contains(field)).map(|message| &*message.kind)
    };
    // Urgent ones ring, others do not.
    assert_eq!(kind("South 40"), Some("m.text"));
    assert_eq!(kind("Creek 60"), Some("m.notice"));

    let asked = stage.told_about("South 40").await;
    let lines = asked.body.replace('\n', "\n> ");
    let quoted = format!("> <{}> {lines}\n\nDONE south 40", asked.sender);
    let reply = json!({
        "msgtype": "m.text", "body": quoted,
        "m.relates_to": { "m.in_reply_to": { "event_id": asked.id } },
    });
    stage.grower.write(&stage.room, "r1", reply).await;
    let answer = stage.told_about("Post on").await;
    assert_eq!(answer.kind, "m.text");
    let shown = stage.ask(&["show", "South 40", "--on", "2026-09-02"]).await;
    assert!(shown.contains("post pass: done 2026-09-02"), "{shown}");
    let limited = service.log().contains("answered 429 M_LIMIT_EXCEEDED");
    assert!(limited, "the homeserver has held the desk back\n{}", service.log());
    assert!(!service.log().contains(&stage.grower.user), "no name in the log");
    assert!(!service.log().contains(&stage.room), "no room in the log");
    assert_eq!(service.stop().await, Some(0));

    // The homeserver takes the next message ten seconds after the confirmation.
    tokio::time::sleep(Duration::from_secs(11)).await;
    stage.ask(&["send-test", "grower", "--route", "matrix"]).await;
    stage.told_about("this is a test").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn no_crash_and_no_lost_answer_loses_or_repeats_anything() {
    let Some(mut stage) = Stage::set(1000.0, 1000, false).await else { return };
    // The homeserver takes each text and the answer is lost, twice.
    stage.between.answers_to_lose.store(2, Ordering::SeqCst);
    let service = stage.start(MORNING);
    stage.everything_told().await;
    assert_eq!(stage.between.answers_to_lose.load(Ordering::SeqCst), 0);
    assert!(service.log().contains("asking again under the same id"), "{}", service.log());

    // The homeserver is killed and comes back; what was written meanwhile, to it, is heard.
    stage.server.kill().await;
    stage.server.wake().await;
    stage.between.keeps_messages.store(true, Ordering::SeqCst);
    stage.reply("r1", "DONE south 40").await;
    wait_for("the entry", PATIENCE, async || {
        let shown = stage.ask(&["show", "South 40", "--on", "2026-09-02"]).await;
        shown.contains("post pass: done 2026-09-02").then_some(())
    })
    .await;

    // The service is killed between the reply and its confirmation.
    service.kill().await;
    assert!(!stage.told().await.iter().any(|message| message.body.contains("Post on")));
    stage.between.keeps_messages.store(false, Ordering::SeqCst);
    let service = stage.start(LATER);
    stage.told_about("Post on").await;
    stage.everything_told().await;
    let book = stage.ask(&["show", "South 40", "--on", "2026-09-02", "--json"]).await;
    assert_eq!(book.matches("post-applied").count(), 1, "one entry\n{book}");
    assert_eq!(service.stop().await, Some(0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_token_and_an_encrypted_room_say_what_to_do() {
    let Some(stage) = Stage::set(1000.0, 1000, true).await else { return };
    stage.sign_in_with("syt_of_nobody");
    let service = stage.start(MORNING);
    wait_for("a refusal", PATIENCE, async || {
        service.log().contains("refuses our sign-in").then_some(())
    })
    .await;
    wait_for("texts that wait", PATIENCE, async || {
        (!stage.texts("waiting").await.is_empty()).then_some(())
    })
    .await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    // One by the listener and one by the sender; then both wait for minutes.
    let requests = stage.between.requests.load(Ordering::SeqCst);
    assert!((1..=2).contains(&requests), "{requests} requests with a wrong token");
    assert!(service.log().contains("M_UNKNOWN_TOKEN"), "{}", service.log());
    service.kill().await;

    stage.sign_in_with(&stage.desk.token);
    let service = stage.start(LATER);
    wait_for("a refusal of the room", PATIENCE, async || {
        service.log().contains("the room is encrypted").then_some(())
    })
    .await;
    service.kill().await;
    let failed = stage.texts("failed").await;
    assert!(!failed.is_empty());
    assert_eq!(stage.told().await, [], "nothing went into the room in the clear");
}
