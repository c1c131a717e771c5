//! Urgent texts that do not arrive.

use super::stage::{FILES, Stage, urgent, utc};
use crate::store::{Receipt, TextFilter, TextKind};
use crate::wire::Outside;
use chrono::TimeDelta;
use furrowbell_config::people::RouteName;
use furrowbell_config::service::ReceiptState;
use tokio_util::sync::CancellationToken;
use wiremock::matchers::method;
use wiremock::{Mock, MockServer, ResponseTemplate};

const MORNING: &str = "2026-05-20T15:00:00Z";

/// A gateway with receipts that answers every text with `status` and the id `gw-1`, and Ann, who
/// has a phone and a console.
async fn stage(status: u16, receipts: bool) -> (MockServer, Stage) {
    let server = MockServer::start().await;
    let answer = ResponseTemplate::new(status).set_body_json(serde_json::json!({ "id": "gw-1" }));
    Mock::given(method("POST")).respond_with(answer).mount(&server).await;
    let receipts = if receipts {
        "receipts.verify = { kind = \"header\", secret = { env = \"HOOK\" } }\n"
    } else {
        ""
    };
    let sms = format!(
        "[routes.sms]\nurl = \"{}/send\"\nsuccess.message_id_pointer = \"/id\"\n{receipts}\
         [sending]\ntexts_per_s = 100.0\n",
        server.uri()
    );
    let stage = Stage::with(MORNING, &format!("{FILES}{sms}"), "", Outside::Real).await;
    (server, stage)
}

async fn turn(stage: &Stage, minutes: i64) {
    stage.desk.clock.advance_to(utc(MORNING) + TimeDelta::minutes(minutes));
    stage.desk.send_due(&CancellationToken::new()).await.unwrap();
}

async fn to_advisor(stage: &Stage) -> Vec<String> {
    let texts = stage.desk.store.texts(&TextFilter::default()).await.unwrap();
    let word = texts.into_iter().filter(|queued| queued.text.kind == TextKind::Digest);
    word.map(|queued| queued.text.body).collect()
}

async fn report(on: &Stage, state: ReceiptState) {
    let at = on.desk.clock.now();
    let provider_id = "gw-1".to_owned();
    let receipt = Receipt { route: RouteName::Sms, provider_id, state, at };
    on.desk.store.record_receipt(&receipt).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_receipt_in_ten_minutes_the_advisor_is_told_once() {
    let (_server, stage) = stage(200, true).await;
    stage.decide(&[("Creek", urgent(120.0, "2026-05-25"))]).await;
    turn(&stage, 0).await;
    turn(&stage, 9).await;
    assert!(to_advisor(&stage).await.is_empty());
    for minutes in [10, 11, 40] {
        turn(&stage, minutes).await;
        let told = to_advisor(&stage).await;
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].contains("Ann") && told[0].contains("Creek"), "{told:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_delivery_ends_the_wait_and_a_route_without_receipts_has_none() {
    let (_server, delivered) = stage(200, true).await;
    delivered.decide(&[("Creek", urgent(120.0, "2026-05-25"))]).await;
    turn(&delivered, 0).await;
    report(&delivered, ReceiptState::Delivered).await;
    let (_server, silent) = stage(200, false).await;
    silent.decide(&[("Creek", urgent(120.0, "2026-05-25"))]).await;
    turn(&silent, 0).await;
    for stage in [&delivered, &silent] {
        turn(stage, 60).await;
        assert!(to_advisor(stage).await.is_empty());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_loss_and_a_refusal_are_told_at_once() {
    let (_server, lost) = stage(200, true).await;
    lost.decide(&[("Creek", urgent(120.0, "2026-05-25"))]).await;
    turn(&lost, 0).await;
    report(&lost, ReceiptState::Expired).await;
    turn(&lost, 1).await;
    assert_eq!(to_advisor(&lost).await.len(), 1);

    let (_server, refused) = stage(422, true).await;
    refused.decide(&[("Creek", urgent(120.0, "2026-05-25"))]).await;
    turn(&refused, 0).await;
    let told = to_advisor(&refused).await;
    assert!(told.iter().any(|body| body.contains("No text reached Ann")), "{told:?}");
    assert!(told.iter().any(|body| body.contains("takes no texts")), "{told:?}");
    assert_eq!(told.len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_next_route_carries_the_same_words_once() {
    let (server, mut stage) = stage(422, true).await;
    let mut book = (*stage.desk.book).clone();
    let ann = book.people.iter_mut().find(|person| person.id == "ann").unwrap();
    ann.routes = vec![RouteName::Sms, RouteName::Console];
    stage.desk.book = std::sync::Arc::new(book);
    stage.decide(&[("Creek", urgent(120.0, "2026-05-25"))]).await;
    for minutes in [0, 1, 30] {
        turn(&stage, minutes).await;
    }
    let texts = stage.texts().await;
    let routes: Vec<_> = texts.iter().map(|queued| queued.text.route).collect();
    assert_eq!(routes, [RouteName::Sms, RouteName::Console]);
    assert_eq!(texts[0].text.body, texts[1].text.body);
    let told = to_advisor(&stage).await;
    assert!(told.len() == 1 && told[0].contains("takes no texts"), "only of the number: {told:?}");
    assert_eq!(server.received_requests().await.unwrap().len(), 1);
}
