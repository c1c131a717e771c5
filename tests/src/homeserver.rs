//! A real Matrix homeserver on loopback, and its guests.

use crate::peer::{Peer, free_port, installed};
use crate::wait_for;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::process::Stdio;
use std::time::Duration;
use tempfile::TempDir;
use tokio::process::Command;

/// A busy machine may take as long for one answer.
const PATIENCE: Duration = Duration::from_mins(1);

/// Synapse over a file, so that it can be killed and started again.
#[derive(Debug)]
pub struct Homeserver {
    folder: TempDir,
    environment: PathBuf,
    port: u16,
    running: Option<Peer>,
}

/// Somebody with an account and a device.
#[derive(Debug, Clone)]
pub struct Guest {
    client: reqwest::Client,
    base: String,
    /// User id.
    pub user: String,
    /// Access token.
    pub token: String,
    /// Device id.
    pub device: String,
}

/// A message as a guest sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Event id.
    pub id: String,
    /// Who wrote it.
    pub sender: String,
    /// `m.text`, `m.notice` and so on.
    pub kind: String,
    /// What it says.
    pub body: String,
}

impl Homeserver {
    /// Starts one that lets each account send so many messages a second, with so many at once
    /// before that; `None` where it is not installed.
    pub async fn start(per_second: f64, burst: u32) -> Option<Self> {
        let environment = installed("FURROWBELL_PEER_SYNAPSE")?;
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let port = free_port();
        let config = config(port, per_second, burst);
        std::fs::write(folder.path().join("homeserver.yaml"), config).expect("it can be written");
        let mut server = Self { folder, environment, port, running: None };
        let keys = server.command().arg("--generate-keys").stdout(Stdio::null()).output().await;
        let keys = keys.expect("the homeserver's program starts");
        assert!(keys.status.success(), "{}", String::from_utf8_lossy(&keys.stderr));
        server.wake().await;
        Some(server)
    }

    fn command(&self) -> Command {
        let mut command = Command::new(self.environment.join("bin/python"));
        command.args(["-m", "synapse.app.homeserver", "-c", "homeserver.yaml"]);
        command.current_dir(self.folder.path());
        command
    }

    /// Starts it again over what it has kept.
    pub async fn wake(&mut self) {
        let mut peer = Peer::start(&mut self.command(), &self.folder.path().join("server.log"));
        peer.listens(self.port).await;
        self.running = Some(peer);
        let health = format!("{}/health", self.base());
        let client = client();
        wait_for("a healthy homeserver", PATIENCE, async || {
            client.get(&health).send().await.ok().filter(|answer| answer.status().is_success())
        })
        .await;
    }

    /// kill -9.
    pub async fn kill(&mut self) {
        self.running.take().expect("it runs").kill().await;
    }

    /// Its port.
    pub const fn port(&self) -> u16 {
        self.port
    }

    fn base(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Makes an account.
    pub async fn register(&self, name: &str) -> Guest {
        let body = json!({
            "username": name, "password": "only-for-stories", "auth": { "type": "m.login.dummy" },
        });
        let url = format!("{}/_matrix/client/v3/register", self.base());
        let answer = asked(client().post(url).json(&body)).await;
        let text = |key: &str| answer[key].as_str().expect("an account has it").to_owned();
        Guest {
            client: client(),
            base: self.base(),
            user: text("user_id"),
            token: text("access_token"),
            device: text("device_id"),
        }
    }
}

impl Guest {
    /// Makes a room with one other in it.
    pub async fn share_room(&self, other: &Self, encrypted: bool) -> String {
        let encryption = json!({
            "type": "m.room.encryption",
            "content": { "algorithm": "m.megolm.v1.aes-sha2" },
        });
        let state = if encrypted { vec![encryption] } else { Vec::new() };
        let body = json!({
            "preset": "trusted_private_chat", "invite": [other.user], "initial_state": state,
        });
        let made = asked(self.at(reqwest::Method::POST, &["createRoom"]).json(&body)).await;
        let room = made["room_id"].as_str().expect("a room has an id").to_owned();
        asked(other.at(reqwest::Method::POST, &["join", &room]).json(&json!({}))).await;
        room
    }

    /// Writes into a room; gives the event's id.
    pub async fn write(&self, room: &str, id: &str, content: Value) -> String {
        let path = ["rooms", room, "send", "m.room.message", id];
        // As any chat program does, it tries again when it was too fast for the homeserver.
        let sent = wait_for("a message to be taken", PATIENCE, async || {
            let request = self.at(reqwest::Method::PUT, &path).json(&content);
            let answer = request.send().await.expect("the homeserver answers");
            let held = answer.status() == reqwest::StatusCode::TOO_MANY_REQUESTS;
            if held { None } else { Some(judged(answer).await) }
        })
        .await;
        sent["event_id"].as_str().expect("an event has an id").to_owned()
    }

    /// Everything written in a room, oldest first; empty while the homeserver is away.
    pub async fn read(&self, room: &str) -> Vec<Message> {
        let query = [("dir", "f"), ("limit", "500"), ("filter", r#"{"types":["m.room.message"]}"#)];
        let request = self.at(reqwest::Method::GET, &["rooms", room, "messages"]).query(&query);
        let Ok(answer) = request.send().await else { return Vec::new() };
        let page: Value = answer.json().await.unwrap_or_default();
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let events = page["chunk"].as_array().cloned().unwrap_or_default();
        events
            .iter()
            .map(|event| Message {
                id: text(&event["event_id"]),
                sender: text(&event["sender"]),
                kind: text(&event["content"]["msgtype"]),
                body: text(&event["content"]["body"]),
            })
            .collect()
    }

    fn at(&self, method: reqwest::Method, path: &[&str]) -> reqwest::RequestBuilder {
        let mut url = reqwest::Url::parse(&self.base).expect("a loopback address");
        let steps = url.path_segments_mut().expect("http addresses have paths");
        { steps }.pop_if_empty().extend(["_matrix", "client", "v3"]).extend(path);
        self.client.request(method, url).bearer_auth(&self.token)
    }
}

fn client() -> reqwest::Client {
    crate::install_tls();
    let builder = reqwest::Client::builder().no_proxy().timeout(PATIENCE);
    builder.build().expect("a client can be built")
}

async fn asked(request: reqwest::RequestBuilder) -> Value {
    judged(request.send().await.expect("the homeserver answers")).await
}

async fn judged(answer: reqwest::Response) -> Value {
    let status = answer.status();
    let body: Value = answer.json().await.expect("it answers in JSON");
    assert!(status.is_success(), "{status} {body}");
    body
}

/// Loopback only, no federation, no limits but the one on messages.
fn config(port: u16, per_second: f64, burst: u32) -> String {
    format!(
        r#"
server_name: "farm.test"
pid_file: homeserver.pid
listeners:
  - {{port: {port}, bind_addresses: ['127.0.0.1'], type: http, tls: false, resources: [{{names: [client], compress: false}}]}}
database: {{name: sqlite3, args: {{database: "homeserver.db"}}}}
media_store_path: media_store
registration_shared_secret: "only-for-stories"
macaroon_secret_key: "only-for-stories-m"
form_secret: "only-for-stories-f"
signing_key_path: "signing.key"
report_stats: false
trusted_key_servers: []
federation_domain_whitelist: []
suppress_key_server_warning: true
enable_registration: true
enable_registration_without_verification: true
presence: {{enabled: false}}
url_preview_enabled: false
rc_registration: {{per_second: 1000, burst_count: 1000}}
rc_message: {{per_second: {per_second}, burst_count: {burst}}}
"#
    )
}
