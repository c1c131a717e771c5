//! What becomes of a text on its way out.

use super::stage::{FILES, Stage, routine, urgent, utc};
use crate::store::{Settlement, TextState};
use crate::wire::Outside;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_engine::findings::{Finding, Urgency};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;
use wiremock::matchers::method;
use wiremock::{Mock, MockServer, ResponseTemplate};

/// 10:00 CDT.
const MORNING: &str = "2026-05-20T15:00:00Z";
/// A gateway that may have taken the text (RFC 9110, 15.6.5).
const LOST: u16 = 504;

/// Answers the first requests with these, then accepts.
async fn gateway(first: &[u16]) -> MockServer {
    let server = MockServer::start().await;
    for (place, status) in first.iter().enumerate() {
        let mock = Mock::given(method("POST")).respond_with(ResponseTemplate::new(*status));
        let priority = u8::try_from(place + 1).unwrap();
        mock.up_to_n_times(1).with_priority(priority).mount(&server).await;
    }
    let accept = Mock::given(method("POST")).respond_with(ResponseTemplate::new(202));
    accept.with_priority(100).mount(&server).await;
    server
}

async fn requests(server: &MockServer) -> usize {
    server.received_requests().await.unwrap().len()
}

fn after(seconds: i64) -> DateTime<Utc> {
    utc(MORNING) + TimeDelta::seconds(seconds)
}

async fn send_after(stage: &Stage, seconds: i64) -> usize {
    stage.desk.clock.advance_to(after(seconds));
    stage.send().await.len()
}

fn of(urgency: Urgency) -> Finding {
    Finding { urgency, ..routine(120.0, "2026-05-25") }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_answer_is_followed_by_one_repeat_after_its_wait() {
    for (urgency, wait) in [(Urgency::Urgent, 120), (Urgency::Routine, 600)] {
        let server = gateway(&[LOST]).await;
        let stage = Stage::with_gateway(MORNING, &server.uri(), false).await;
        stage.decide(&[("Creek", of(urgency))]).await;
        assert_eq!(stage.send().await.len(), 0);
        let waiting = stage.text().await;
        assert_eq!((waiting.state, waiting.possibly_twice), (TextState::Waiting, true));
        assert_eq!(waiting.text.due_at, after(wait));
        assert_eq!(send_after(&stage, wait - 1).await, 0);
        assert_eq!(requests(&server).await, 1, "{urgency:?} repeated too soon");
        assert_eq!(send_after(&stage, wait).await, 1);
        assert_eq!(requests(&server).await, 2);
        let sent = stage.text().await;
        assert_eq!((sent.state, sent.possibly_twice), (TextState::Sent, true));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn two_lost_answers_end_it() {
    for urgency in [Urgency::Urgent, Urgency::Routine] {
        let server = gateway(&[LOST, LOST]).await;
        let stage = Stage::with_gateway(MORNING, &server.uri(), false).await;
        stage.decide(&[("Creek", of(urgency))]).await;
        for seconds in [0, 600] {
            assert_eq!(send_after(&stage, seconds).await, 0);
        }
        assert_eq!(stage.state().await, TextState::Failed, "at the second, not at a third claim");
        assert_eq!(send_after(&stage, 3600).await, 0);
        assert_eq!(requests(&server).await, 2);
        let ended = stage.text().await;
        assert_eq!((ended.state, ended.possibly_twice), (TextState::Failed, true));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_gateway_that_drops_repeats_is_asked_again_until_it_answers() {
    let server = gateway(&[LOST, LOST, LOST, LOST]).await;
    let stage = Stage::with_gateway(MORNING, &server.uri(), true).await;
    stage.decide(&[("Creek", of(Urgency::Routine))]).await;
    let mut sent = 0;
    for seconds in (0..=600).step_by(5) {
        sent += send_after(&stage, seconds).await;
    }
    assert_eq!((sent, requests(&server).await), (1, 5));
    let ids: Vec<_> = server.received_requests().await.unwrap();
    let key = |request: &wiremock::Request| request.headers["Idempotency-Key"].clone();
    assert!(ids.iter().all(|request| key(request) == key(&ids[0])));
}

/// A worker that claims and is never heard of again.
async fn die_with_the_text(stage: &Stage, token: &str) {
    let now = stage.desk.clock.now();
    let claimed = stage.desk.store.lease(None, now, now + TimeDelta::seconds(120), token, 1).await;
    assert_eq!(claimed.unwrap().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_worker_that_died_counts_as_a_lost_answer() {
    for (urgency, wait) in [(Urgency::Urgent, 120), (Urgency::Routine, 600)] {
        let server = gateway(&[]).await;
        let stage = Stage::with_gateway(MORNING, &server.uri(), false).await;
        stage.decide(&[("Creek", of(urgency))]).await;
        die_with_the_text(&stage, "dead").await;
        assert_eq!(send_after(&stage, 119).await, 0);
        if wait > 120 {
            assert_eq!(send_after(&stage, 120).await, 0);
        }
        assert_eq!(send_after(&stage, wait - 1).await, 0);
        assert_eq!(requests(&server).await, 0, "{urgency:?} repeated too soon");
        assert_eq!(send_after(&stage, wait).await, 1);
        let sent = stage.text().await;
        assert_eq!((sent.state, sent.possibly_twice), (TextState::Sent, true));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_worker_that_dies_twice_is_not_given_a_third_copy() {
    for urgency in [Urgency::Urgent, Urgency::Routine] {
        let server = gateway(&[]).await;
        let stage = Stage::with_gateway(MORNING, &server.uri(), false).await;
        stage.decide(&[("Creek", of(urgency))]).await;
        die_with_the_text(&stage, "first").await;
        stage.desk.clock.advance_to(after(121));
        die_with_the_text(&stage, "second").await;
        for seconds in [300, 900, 3600] {
            assert_eq!(send_after(&stage, seconds).await, 0);
        }
        assert_eq!(requests(&server).await, 0);
        assert_eq!(stage.state().await, TextState::Failed);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_answer_and_then_a_dead_worker_end_it_too() {
    let server = gateway(&[LOST]).await;
    let stage = Stage::with_gateway(MORNING, &server.uri(), false).await;
    stage.decide(&[("Creek", of(Urgency::Urgent))]).await;
    assert_eq!(stage.send().await.len(), 0);
    stage.desk.clock.advance_to(after(120));
    die_with_the_text(&stage, "dead").await;
    assert_eq!(send_after(&stage, 600).await, 0);
    assert_eq!(requests(&server).await, 1);
    assert_eq!(stage.state().await, TextState::Failed);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_due_by_day_does_not_go_at_night() {
    let server = gateway(&[503]).await;
    let stage = Stage::with_gateway("2026-05-21T01:59:59Z", &server.uri(), true).await;
    stage.decide(&[("Creek", of(Urgency::Urgent))]).await;
    assert_eq!(stage.send().await.len(), 0, "20:59:59, and the gateway is down");
    assert_eq!(stage.send_at("2026-05-21T02:20:00Z").await.len(), 0, "21:20");
    assert_eq!(requests(&server).await, 1);
    assert_eq!(stage.text().await.text.due_at, utc("2026-05-21T13:00:00Z"));
    assert_eq!(stage.send_at("2026-05-21T13:00:00Z").await.len(), 1);
    assert!(!stage.text().await.possibly_twice);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_an_outage_has_heaped_up_keeps_to_the_budget() {
    let stage = Stage::set(MORNING).await;
    let names = ["North 8", "North 80", "Creek", "Hill", "Slough"];
    let pounds = [110.0, 120.0, 130.0, 140.0, 150.0];
    let findings: Vec<_> =
        names.into_iter().zip(pounds.map(|lb| routine(lb, "2026-05-30"))).collect();
    stage.decide_one_by_one(&findings).await;
    // Nothing was sent on the 20th; by the 22nd all five are due.
    for (at, texts) in [
        ("2026-05-22T15:00:00Z", 1),
        ("2026-05-22T15:14:59Z", 0),
        ("2026-05-22T15:15:00Z", 1),
        ("2026-05-22T18:00:00Z", 1),
        ("2026-05-22T23:00:00Z", 0),
        ("2026-05-23T13:00:00Z", 1),
        ("2026-05-23T13:15:00Z", 1),
    ] {
        assert_eq!(stage.send_at(at).await.len(), texts, "{at}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_composed_before_a_start_goes_before_the_first_round() {
    let stage = Stage::set(MORNING).await;
    stage.decide(&[("Creek", of(Urgency::Urgent))]).await;
    stage.desk.looked.store(false, Ordering::Relaxed);
    assert_eq!(stage.send().await.len(), 0);
    assert_eq!(send_after(&stage, 60).await, 0);
    stage.desk.turn().await.unwrap();
    assert_eq!(send_after(&stage, 120).await, 0, "no field shows it any more");
    assert_eq!(stage.state().await, TextState::Held);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_answered_while_it_was_being_tried_is_not_tried_again() {
    let stage = Stage::set(MORNING).await;
    stage.decide(&[("Creek", of(Urgency::Urgent))]).await;
    die_with_the_text(&stage, "slow").await;
    stage.decide(&[]).await;
    let id = stage.text().await.text.id;
    let retry = Settlement::Retry { due_at: after(1), why: "busy".to_owned() };
    stage.desk.store.settle(&id, "slow", after(0), Duration::ZERO, &retry).await.unwrap();
    assert_eq!(send_after(&stage, 1).await, 0);
    assert_eq!(stage.state().await, TextState::Held);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_lost_its_sense_expires() {
    let stage = Stage::set("2026-05-21T03:00:00Z").await;
    stage.decide(&[("Creek", urgent(120.0, "2026-05-21"))]).await;
    stage.at("2026-05-21T13:00:00Z");
    stage.desk.turn().await.unwrap();
    assert_eq!(stage.send().await.len(), 0);
    assert_eq!(stage.state().await, TextState::Expired);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_is_tried_once_for_all_texts() {
    let server = gateway(&[401]).await;
    let stage = Stage::with_gateway("2026-05-20T14:30:00Z", &server.uri(), true).await;
    stage
        .decide_one_by_one(&[
            ("Creek", of(Urgency::Urgent)),
            ("Hill", urgent(70.0, "2026-05-25")),
            ("Slough", urgent(80.0, "2026-05-25")),
        ])
        .await;
    assert_eq!(stage.send_at(MORNING).await.len(), 0);
    assert_eq!(requests(&server).await, 1);
    assert_eq!(send_after(&stage, 299).await, 0);
    assert_eq!(requests(&server).await, 1);
    assert_eq!(send_after(&stage, 300).await, 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stop_gives_a_hanging_gateway_a_few_seconds_and_writes_what_is_known() {
    let server = MockServer::start().await;
    let slow = ResponseTemplate::new(202).set_delay(Duration::from_mins(1));
    Mock::given(method("POST")).respond_with(slow).mount(&server).await;
    let sms = format!("[routes.sms]\nurl = \"{}/send\"\ntimeout_s = 50\n", server.uri());
    let stage = Stage::with(MORNING, &format!("{FILES}{sms}"), "", Outside::Real).await;
    stage.decide(&[("Creek", of(Urgency::Urgent)), ("Hill", urgent(70.0, "2026-05-25"))]).await;
    let stop = CancellationToken::new();
    stop.cancel();
    let began = Instant::now();
    assert!(stage.desk.send_due(&stop).await.unwrap().is_empty());
    assert_eq!(requests(&server).await, 0, "nothing is begun after a stop");

    let stop = CancellationToken::new();
    let sending = stage.desk.send_due(&stop);
    let stopping = async {
        while requests(&server).await == 0 {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        stop.cancel();
    };
    let (sent, ()) = tokio::join!(sending, stopping);
    assert!(sent.unwrap().is_empty());
    assert!(began.elapsed() < crate::lifecycle::GRACE, "{:?}", began.elapsed());
    let unknown = stage.texts().await.into_iter().filter(|queued| queued.possibly_twice).count();
    assert_eq!((unknown, requests(&server).await), (1, 1));
}
