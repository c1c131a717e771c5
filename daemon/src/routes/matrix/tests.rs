//! Answers and events are those of the Matrix Client-Server API, v1.11 (spec.matrix.org); each
//! section is named beside its check.

use super::api::Fault;
use super::*;
use crate::clock::Clock;
use crate::inbox::{Bookmarked, InboundMessage, Inbox};
use crate::routes::samples;
use crate::store::{Position, Receipt};
use furrowbell_config::people::RouteName;
use std::sync::Arc;
use tokio_util::sync::CancellationToken;
use wiremock::matchers::{body_json, header, method, path, query_param, query_param_is_missing};
use wiremock::{Mock, MockServer, ResponseTemplate};

const ROOM: &str = "!spring:farm.test";
const V3: &str = "/_matrix/client/v3";

fn chat(server: &MockServer, more: &str) -> Matrix {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let policy = reqwest::redirect::Policy::none();
    let client = reqwest::Client::builder().redirect(policy).no_proxy().build().unwrap();
    let text = format!(
        "homeserver = \"{}\"\ntoken = {{ env = \"NONE\" }}\ntimeout_s = 1\n{more}",
        server.uri()
    );
    let settings: service::Matrix = toml::from_str(&text).unwrap();
    Matrix::new(&settings, &Secret::from("syt_hush"), client).unwrap()
}

fn text() -> Outgoing {
    Outgoing { to: ROOM.to_owned(), ..samples::text() }
}

fn put_path() -> String {
    format!("{V3}/rooms/{ROOM}/send/m.room.message/{}", samples::text().id)
}

fn state_path() -> String {
    format!("{V3}/rooms/{ROOM}/state/m.room.encryption/")
}

fn json_answer(status: u16, body: serde_json::Value) -> ResponseTemplate {
    ResponseTemplate::new(status).set_body_json(body)
}

async fn mount(server: &MockServer, verb: &str, at: &str, answer: ResponseTemplate, times: u64) {
    let mock =
        Mock::given(method(verb)).and(path(at)).and(header("Authorization", "Bearer syt_hush"));
    mock.respond_with(answer).expect(times).mount(server).await;
}

/// A server that knows the desk, and a room without encryption.
async fn plain_room() -> MockServer {
    let server = MockServer::start().await;
    let account = json!({ "user_id": "@desk:farm.test", "device_id": "FIELDS" });
    mount(&server, "GET", &format!("{V3}/account/whoami"), json_answer(200, account), 1).await;
    let none = json!({ "errcode": "M_NOT_FOUND", "error": "Event not found." });
    mount(&server, "GET", &state_path(), json_answer(404, none), 1).await;
    server
}

async fn outcome_of(answer: ResponseTemplate) -> Outcome {
    let server = plain_room().await;
    mount(&server, "PUT", &put_path(), answer, 1).await;
    chat(&server, "").send(&text()).await
}

#[tokio::test]
async fn a_text_is_one_event_under_its_own_id() {
    let server = plain_room().await;
    let content = json!({ "msgtype": "m.notice", "body": text().body });
    let answer = json_answer(200, json!({ "event_id": "$YUwRidLecu:farm.test" }));
    Mock::given(method("PUT"))
        .and(path(put_path()))
        .and(body_json(content))
        .respond_with(answer)
        .expect(2)
        .mount(&server)
        .await;
    let matrix = chat(&server, "user = \"@desk:farm.test\"\ndevice = \"FIELDS\"");
    let accepted = Outcome::Accepted { provider_ids: vec!["$YUwRidLecu:farm.test".to_owned()] };
    // The second time it may have gone already: the same id again, the room not asked after.
    let again = Outgoing { maybe_since: Some(text().now), ..text() };
    assert_eq!(matrix.send(&text()).await, accepted);
    assert_eq!(matrix.send(&again).await, accepted);
}

#[tokio::test]
async fn a_room_id_is_one_step_of_the_path() {
    let server = MockServer::start().await;
    let account = json!({ "user_id": "@desk:farm.test" });
    mount(&server, "GET", &format!("{V3}/account/whoami"), json_answer(200, account), 1).await;
    let encoded = format!("{V3}/rooms/!a%2F..%3Fb:farm.test");
    let none = json_answer(404, json!({ "errcode": "M_NOT_FOUND" }));
    mount(&server, "GET", &format!("{encoded}/state/m.room.encryption/"), none, 1).await;
    let put = format!("{encoded}/send/m.room.message/{}", text().id);
    mount(&server, "PUT", &put, json_answer(200, json!({ "event_id": "$1" })), 1).await;
    let odd = Outgoing { to: "!a/..?b:farm.test".to_owned(), ..text() };
    assert!(matches!(chat(&server, "").send(&odd).await, Outcome::Accepted { .. }));
}

/// "Standard error response" and "Rate limiting"; the larger of header and field counts, since
/// `retry_after_ms` is deprecated beside the header and servers round differently.
#[tokio::test]
async fn error_answers_become_outcomes() {
    let limited = json!({ "errcode": "M_LIMIT_EXCEEDED", "retry_after_ms": 2500 });
    let why = || "the homeserver answered 429 M_LIMIT_EXCEEDED".to_owned();
    for (answer, seconds) in [
        (json_answer(429, limited.clone()), 2.5),
        (json_answer(429, limited.clone()).insert_header("Retry-After", "1"), 2.5),
        (json_answer(429, limited).insert_header("Retry-After", "7"), 7.0),
    ] {
        let after = Some(Duration::from_secs_f64(seconds));
        assert_eq!(outcome_of(answer).await, Outcome::Retry { why: why(), after });
    }
    let unknown = json!({ "errcode": "M_UNKNOWN_TOKEN", "error": "Unknown access token: syt_x" });
    let why = "the homeserver answered 401 M_UNKNOWN_TOKEN".to_owned();
    assert_eq!(outcome_of(json_answer(401, unknown)).await, Outcome::SignIn { why });
    for (status, code) in [(403, "M_FORBIDDEN"), (404, "M_NOT_FOUND"), (413, "M_TOO_LARGE")] {
        let error = json!({ "errcode": code, "error": "@desk:farm.test not in room !a:b" });
        let why = format!("the homeserver answered {status} {code}");
        assert_eq!(outcome_of(json_answer(status, error)).await, Outcome::Refused { why });
    }
    // A page of whatever stands before the homeserver says nothing about the text.
    for status in [302, 403, 404, 500, 503] {
        let outcome = outcome_of(ResponseTemplate::new(status).set_body_string("<html>")).await;
        assert!(matches!(outcome, Outcome::Retry { .. }), "{status} {outcome:?}");
    }
    for status in [502, 504] {
        let outcome = outcome_of(ResponseTemplate::new(status)).await;
        assert!(matches!(outcome, Outcome::Unknown { .. }), "{status} {outcome:?}");
    }
    let code = json!({ "errcode": "@ann:farm.test wrote DONE" });
    let outcome = outcome_of(json_answer(400, code)).await;
    assert!(!format!("{outcome:?}").contains("ann"), "{outcome:?}");
}

#[tokio::test]
async fn only_a_lost_answer_to_the_message_itself_leaves_a_doubt() {
    let slow = || json_answer(200, json!({ "event_id": "$1" })).set_delay(Duration::from_secs(3));
    assert!(matches!(outcome_of(slow()).await, Outcome::Unknown { .. }));
    let server = MockServer::start().await;
    mount(&server, "GET", &format!("{V3}/account/whoami"), slow(), 1).await;
    assert!(matches!(chat(&server, "").send(&text()).await, Outcome::Retry { .. }));
}

#[tokio::test]
async fn the_token_must_be_the_books() {
    for (more, what) in [("user = \"@other:farm.test\"", "user"), ("device = \"OTHER\"", "device")]
    {
        let server = MockServer::start().await;
        let account = json!({ "user_id": "@desk:farm.test", "device_id": "FIELDS" });
        mount(&server, "GET", &format!("{V3}/account/whoami"), json_answer(200, account), 1).await;
        let outcome = chat(&server, more).send(&text()).await;
        let Outcome::SignIn { why } = outcome else { panic!("{outcome:?}") };
        assert!(why.contains(what), "{why}");
    }
}

#[tokio::test]
async fn an_encrypted_room_is_refused_and_asked_after_again() {
    let server = MockServer::start().await;
    let account = json!({ "user_id": "@desk:farm.test" });
    mount(&server, "GET", &format!("{V3}/account/whoami"), json_answer(200, account), 1).await;
    let plain = json_answer(404, json!({ "errcode": "M_NOT_FOUND" }));
    let first = Mock::given(path(state_path())).respond_with(plain).up_to_n_times(1);
    first.mount(&server).await;
    let algorithm = json_answer(200, json!({ "algorithm": "m.megolm.v1.aes-sha2" }));
    mount(&server, "GET", &state_path(), algorithm, 2).await;
    mount(&server, "PUT", &put_path(), json_answer(200, json!({ "event_id": "$1" })), 2).await;

    let matrix = chat(&server, "");
    let after = |minutes| Outgoing { now: text().now + TimeDelta::minutes(minutes), ..text() };
    let went = |outcome| matches!(outcome, Outcome::Accepted { .. });
    assert!(went(matrix.send(&after(0)).await));
    assert!(went(matrix.send(&after(9)).await), "known for ten minutes");
    for minutes in [10, 11] {
        let outcome = matrix.send(&after(minutes)).await;
        assert!(matches!(outcome, Outcome::Refused { .. }), "{minutes} {outcome:?}");
    }
}

#[tokio::test]
async fn after_a_day_in_doubt_nothing_is_asked_again() {
    let server = MockServer::start().await;
    let doubt = |hours| Some(text().now - TimeDelta::hours(hours));
    let old = Outgoing { maybe_since: doubt(24), ..text() };
    assert!(matches!(chat(&server, "").send(&old).await, Outcome::Refused { .. }));
    assert!(server.received_requests().await.unwrap().is_empty());
}

#[test]
fn html_goes_along_where_it_fits() {
    let page = "<!doctype html><html><head><title>T</title></head><body style=\"margin:0\">\
                <p>North 80</p></body></html>";
    let mut digest = Outgoing { html: Some(page.to_owned()), ..text() };
    digest.about.urgency = Urgency::Urgent;
    let expected = json!({
        "msgtype": "m.text",
        "body": text().body,
        "format": "org.matrix.custom.html",
        "formatted_body": "<p>North 80</p>",
    });
    assert_eq!(content(&digest), expected);
    digest.html = Some("x".repeat(MOST_CONTENT));
    assert_eq!(content(&digest), json!({ "msgtype": "m.text", "body": text().body }));
}

fn event(id: &str, sender: &str, content: &Value) -> Value {
    json!({
        "event_id": id, "sender": sender, "type": "m.room.message", "content": content,
        "origin_server_ts": 1_432_735_824_653_u64, "unsigned": { "age": 60_000 },
    })
}

fn heard(values: Vec<Value>) -> Vec<InboundMessage> {
    events::replies(&events::read(values), "@desk:farm.test", text().now)
}

fn texts(messages: &[InboundMessage]) -> Vec<&str> {
    messages.iter().map(|message| message.text.as_str()).collect()
}

#[test]
fn what_people_write_is_read_and_the_rest_is_not() {
    let said = |content: Value| {
        texts(&heard(vec![event("$1", "@ann:farm.test", &content)]))
            .first()
            .map(|text| (*text).to_owned())
    };
    let plain = |body: &str| json!({ "msgtype": "m.text", "body": body });
    assert_eq!(said(plain("DONE north 80")).as_deref(), Some("DONE north 80"));
    // "Fallbacks for rich replies": the section's own example.
    let mut reply =
        plain("> <@alice:example.org> This is the original body\n\nThis is where the reply goes");
    assert!(said(reply.clone()).unwrap().starts_with("> <@alice"), "no reply, no quote");
    reply["m.relates_to"] = json!({ "m.in_reply_to": { "event_id": "$0" } });
    assert_eq!(said(reply).as_deref(), Some("This is where the reply goes"));
    // "Event replacements".
    let edit = json!({
        "msgtype": "m.text", "body": "* RAIN 0.8",
        "m.new_content": { "msgtype": "m.text", "body": "RAIN 0.8" },
        "m.relates_to": { "rel_type": "m.replace", "event_id": "$0" },
    });
    assert_eq!(said(edit).as_deref(), Some("RAIN 0.8"));
    // "Redactions" leave an empty content.
    assert_eq!(said(json!({})), None);
    assert_eq!(said(json!({ "msgtype": "m.notice", "body": "DONE" })), None);
    let picture = json!({ "msgtype": "m.image", "body": "weeds.jpg", "url": "mxc://a/b" });
    assert_eq!(said(picture).as_deref(), Some("(image)"));
    assert_eq!(said(json!({ "msgtype": 7, "body": ["DONE"] })), None);

    let own = event("$1", "@desk:farm.test", &plain("DONE"));
    let broken = json!({ "event_id": 7 });
    let mut hidden = event("$2", "@ann:farm.test", &json!({ "algorithm": "m.megolm.v1.aes-sha2" }));
    hidden["type"] = "m.room.encrypted".into();
    let heard = heard(vec![own, broken, hidden]);
    assert_eq!(texts(&heard), ["(encrypted)"]);
    assert_eq!(heard[0].provider_id.as_deref(), Some("$2"));
    assert_eq!(heard[0].from, "@ann:farm.test");
    assert_eq!(heard[0].received_at, text().now - TimeDelta::minutes(1), "by its age");
}

#[test]
fn what_was_said_before_we_came_was_not_said_to_us() {
    let member = |before: Value| {
        json!({
            "event_id": "$m", "sender": "@desk:farm.test", "type": "m.room.member",
            "state_key": "@desk:farm.test", "content": { "membership": "join" },
            "unsigned": { "prev_content": before },
        })
    };
    let say = |id: &str, body: &str| {
        event(id, "@ann:farm.test", &json!({ "msgtype": "m.text", "body": body }))
    };
    let joined = member(json!({ "membership": "invite" }));
    assert_eq!(texts(&heard(vec![say("$1", "STOP"), joined, say("$2", "DONE")])), ["DONE"]);
    let renamed = member(json!({ "membership": "join" }));
    assert_eq!(
        texts(&heard(vec![say("$1", "HELP"), renamed, say("$2", "DONE")])),
        ["HELP", "DONE"]
    );
}

#[derive(Debug, thiserror::Error)]
#[error("the database is away")]
struct Away;

/// Keeps what comes in in memory; fails the first time it is to keep replies.
#[derive(Default)]
struct Kept {
    messages: Mutex<Vec<String>>,
    place: Mutex<Option<String>>,
    failed: Mutex<bool>,
}

impl Inbox for Arc<Kept> {
    type Error = Away;

    async fn store(&self, _message: InboundMessage) -> Result<bool, Away> {
        Err(Away)
    }

    async fn store_receipt(&self, _receipt: Receipt) -> Result<bool, Away> {
        Err(Away)
    }

    async fn reachable(&self) -> bool {
        true
    }
}

impl Bookmarked for Arc<Kept> {
    async fn position(&self, _route: RouteName, line: &str) -> Result<Option<String>, Away> {
        assert_eq!(line, "@desk:farm.test");
        Ok(self.place.lock().unwrap().clone())
    }

    async fn store_up_to(
        &self,
        messages: Vec<InboundMessage>,
        position: Position,
    ) -> Result<usize, Away> {
        if !messages.is_empty() && !std::mem::replace(&mut *self.failed.lock().unwrap(), true) {
            return Err(Away);
        }
        *self.place.lock().unwrap() = Some(position.token);
        let new = messages.len();
        self.messages.lock().unwrap().extend(messages.into_iter().map(|message| message.text));
        Ok(new)
    }
}

fn sync(next: &str, timeline: &Value) -> ResponseTemplate {
    let join = json!({ ROOM: { "timeline": timeline } });
    json_answer(200, json!({ "next_batch": next, "rooms": { "join": join } }))
}

/// "Syncing": a limited timeline is filled with `/messages` back to the last place.
#[tokio::test]
async fn history_is_left_alone_and_gaps_are_filled() {
    let say = |id: &str| event(id, "@ann:farm.test", &json!({ "msgtype": "m.text", "body": id }));
    let server = MockServer::start().await;
    let account = json!({ "user_id": "@desk:farm.test" });
    mount(&server, "GET", &format!("{V3}/account/whoami"), json_answer(200, account), 1).await;
    let at = format!("{V3}/sync");
    let first = Mock::given(path(at.clone())).and(query_param_is_missing("since"));
    let history = sync("s1", &json!({ "events": [say("$old")], "limited": true }));
    first.respond_with(history).expect(1).mount(&server).await;
    let second = Mock::given(path(at.clone())).and(query_param("since", "s1"));
    let gap = json!({ "events": [say("$4"), say("$5")], "limited": true, "prev_batch": "p4" });
    // Twice: the first time the database is away.
    second.respond_with(sync("s2", &gap)).expect(2).mount(&server).await;
    let pages = format!("{V3}/rooms/{ROOM}/messages");
    let page = |from: &str| {
        Mock::given(path(pages.clone()))
            .and(query_param("from", from))
            .and(query_param("to", "s1"))
            .and(query_param("dir", "b"))
    };
    let answer = json_answer(200, json!({ "chunk": [say("$3"), say("$2")], "end": "p2" }));
    page("p4").respond_with(answer).expect(2).mount(&server).await;
    let answer = json_answer(200, json!({ "chunk": [say("$1")] }));
    page("p2").respond_with(answer).expect(2).mount(&server).await;
    let third = Mock::given(path(at)).and(query_param("since", "s2"));
    let quiet = sync("s2", &json!({})).set_delay(Duration::from_secs(30));
    third.respond_with(quiet).mount(&server).await;

    let (kept, stop) = (Arc::new(Kept::default()), CancellationToken::new());
    let (inbox, matrix) = (Arc::clone(&kept), chat(&server, ""));
    let clock = Clock::pretended(text().now);
    let ended = stop.clone();
    let listener = tokio::spawn(async move { matrix.listen(&inbox, &clock, &ended).await });
    let place = || kept.place.lock().unwrap().clone();
    while place().as_deref() != Some("s2") {
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    assert_eq!(*kept.messages.lock().unwrap(), ["$1", "$2", "$3", "$4", "$5"]);
    stop.cancel();
    listener.await.unwrap();
}

/// A place that the homeserver has forgotten ends in a new beginning, not in an endless refusal.
#[tokio::test]
async fn a_forgotten_place_is_given_up() {
    let server = MockServer::start().await;
    let account = json!({ "user_id": "@desk:farm.test" });
    mount(&server, "GET", &format!("{V3}/account/whoami"), json_answer(200, account), 1).await;
    let at = format!("{V3}/sync");
    let old = Mock::given(path(at.clone())).and(query_param("since", "gone"));
    let unknown = json_answer(400, json!({ "errcode": "M_UNKNOWN", "error": "Invalid token" }));
    old.respond_with(unknown).expect(1).mount(&server).await;
    let new = Mock::given(path(at)).and(query_param_is_missing("since"));
    new.respond_with(sync("s1", &json!({}))).expect(1).mount(&server).await;
    let kept = Arc::new(Kept::default());
    *kept.place.lock().unwrap() = Some("gone".to_owned());
    let (matrix, clock) = (chat(&server, ""), Clock::pretended(text().now));
    let stop = CancellationToken::new();
    tokio::select! {
        () = matrix.listen(&kept, &clock, &stop) => {}
        () = async {
            while kept.place.lock().unwrap().as_deref() != Some("s1") {
                tokio::time::sleep(Duration::from_millis(10)).await;
            }
        } => {}
    }
}

#[test]
fn a_doubt_before_sending_is_none() {
    let later = Fault::Unknown("x".to_owned()).before_sending();
    assert_eq!(later, Fault::Later { why: "x".to_owned(), after: None });
}
