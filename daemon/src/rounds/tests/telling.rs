//! Who is told what, once, and when.

use super::stage::{FILES, Stage, decide, routine, urgent, utc};
use crate::store::{ConsentState, Handling, Inbound, TextState, testing};
use crate::wire::Outside;
use chrono_tz::America::Chicago;
use furrowbell_config::local::local_day;
use furrowbell_config::people::RouteName;
use furrowbell_engine::findings::{Finding, Urgency};

/// 10:00 CDT.
const MORNING: &str = "2026-05-20T15:00:00Z";
const NEXT_MORNING: &str = "2026-05-21T13:00:00Z";

#[tokio::test(flavor = "multi_thread")]
async fn what_the_budget_does_not_hold_waits_for_the_next_morning() {
    let stage = Stage::set(MORNING).await;
    let pounds = [110.0, 120.0, 130.0, 140.0, 150.0];
    let names = ["North 8", "North 80", "Creek", "Hill", "Slough"];
    let findings: Vec<_> =
        names.into_iter().zip(pounds.map(|lb| routine(lb, "2026-05-25"))).collect();
    stage.decide_one_by_one(&findings).await;
    assert_eq!(stage.send().await.len(), 1, "texts keep apart");
    assert_eq!(stage.send_at("2026-05-20T15:15:00Z").await.len(), 1);
    assert_eq!(stage.send_at("2026-05-20T22:00:00Z").await.len(), 1, "three routine texts a day");
    assert_eq!(stage.send_at("2026-05-21T02:30:00Z").await.len(), 0, "quiet");
    stage.decide(&findings).await;
    assert_eq!(stage.send_at("2026-05-21T12:59:59Z").await.len(), 0, "still quiet at 7:59");
    assert_eq!(stage.send_at(NEXT_MORNING).await.len(), 1, "not lost");
    assert_eq!(stage.send_at("2026-05-21T13:15:00Z").await.len(), 1);
    assert_eq!(stage.texts().await.len(), 5, "and not told anew");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_text_that_would_come_too_late_is_held_back_and_said() {
    let stage = Stage::set(MORNING).await;
    let all = ["North 8", "North 80", "Creek", "Hill"];
    let pounds = [110.0, 120.0, 130.0, 140.0];
    let findings: Vec<_> =
        all.into_iter().zip(pounds.map(|lb| routine(lb, "2026-05-21"))).collect();
    stage.decide_one_by_one(&findings[..3]).await;
    let fields = super::stage::fields(&stage.desk, &findings);
    let composed = stage.desk.compose(&fields, utc(MORNING)).await.unwrap();
    assert_eq!((composed.tellings.len(), composed.held.len()), (0, 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn quiet_hours_hold_all_but_what_may_wake() {
    // 22:00 CDT.
    let night = "2026-05-21T03:00:00Z";
    let findings = [("Creek", urgent(90.0, "2026-05-25"))];
    let stage = Stage::set(night).await;
    stage.decide(&findings).await;
    assert_eq!(stage.text().await.text.due_at, utc(NEXT_MORNING));
    assert_eq!(stage.send().await.len(), 0);
    assert_eq!(stage.send_at(NEXT_MORNING).await.len(), 1);

    let stage = Stage::with(night, FILES, "urgent_at_night = true", Outside::Pretended).await;
    stage.decide(&[("Hill", routine(80.0, "2026-05-25")), findings[0].clone()]).await;
    let sent = stage.send().await;
    assert_eq!(sent.len(), 1);
    assert!(sent[0].contains("Creek"), "{}", sent[0]);
}

#[tokio::test(flavor = "multi_thread")]
async fn urgent_goes_first_and_over_the_budget() {
    let stage = Stage::set(MORNING).await;
    stage
        .decide(&[
            ("North 8", routine(110.0, "2026-05-25")),
            ("North 80", routine(120.0, "2026-05-25")),
            ("Creek", routine(130.0, "2026-05-25")),
            ("Hill", urgent(140.0, "2026-05-25")),
            ("Slough", urgent(150.0, "2026-05-23")),
        ])
        .await;
    let sent = stage.send().await;
    assert_eq!(sent.len(), 1, "one round, one text: {sent:?}");
    assert!(sent[0].contains("STOP"), "the hint is in the first that goes: {sent:?}");
    let places = ["Slough", "Hill", "Creek"].map(|name| sent[0].find(name));
    assert!(places.is_sorted() && places[0].is_some(), "urgent and sooner first: {sent:?}");
    assert_eq!(stage.text().await.text.urgency, Urgency::Urgent);
}

#[tokio::test(flavor = "multi_thread")]
async fn urgent_goes_over_the_budget() {
    let stage = Stage::set(MORNING).await;
    let mut findings: Vec<_> = ["North 8", "North 80", "Creek"]
        .into_iter()
        .map(|name| (name, routine(110.0, "2026-05-25")))
        .collect();
    stage.decide_one_by_one(&findings).await;
    findings.push(("Hill", urgent(140.0, "2026-05-25")));
    stage.decide(&findings).await;
    let sent = stage.send_at("2026-05-20T16:00:00Z").await;
    assert!(sent.len() == 1 && sent[0].contains("Hill"), "{sent:?}");
    for at in ["2026-05-20T16:15:00Z", "2026-05-20T16:30:00Z", "2026-05-20T16:45:00Z"] {
        assert_eq!(stage.send_at(at).await.len(), 1, "the routine ones after it, apart");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_group_names_every_field_and_takes_no_name_for_another() {
    let stage = Stage::set(MORNING).await;
    let same = routine(120.0, "2026-05-25");
    let all = ["North 80", "North 8", "Creek", "Hill", "Slough"].map(|name| (name, same.clone()));
    stage.decide(&all).await;
    let texts = stage.texts().await;
    let mut told = 0;
    for queued in &texts {
        let notices = stage.desk.store.notices_of_text(&queued.text.id).await.unwrap();
        told += notices.len();
        let mut rest = queued.text.body.clone();
        for name in ["North 80", "North 8", "Creek", "Hill", "Slough"] {
            let id = stage.desk.book.find_field(name).unwrap().id.as_str();
            if notices.iter().any(|notice| notice.identity.field == id) {
                assert!(rest.contains(name), "{name} is missing in {}", queued.text.body);
                rest = rest.replacen(name, "", 1);
            }
        }
    }
    assert_eq!(told, 5);
    assert!(texts.len() < 3, "fields that show the same share a text: {}", texts.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn two_rounds_tell_once_and_a_later_version_again() {
    let stage = Stage::set(MORNING).await;
    let finding = routine(120.0, "2026-05-25");
    stage.decide(&[("Creek", finding.clone())]).await;
    stage.decide(&[("Creek", finding.clone())]).await;
    assert_eq!(stage.send().await.len(), 1);
    stage.at(NEXT_MORNING);
    stage.decide(&[("Creek", Finding { version: 2, ..finding })]).await;
    assert_eq!(stage.send().await.len(), 1);
    assert_eq!(stage.texts().await.len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_desks_on_one_record_tell_once() {
    for _ in 0..10 {
        let stage = Stage::set(MORNING).await;
        let twin = stage.twin().await;
        let same = routine(120.0, "2026-05-25");
        let (creek, hill) = (("Creek", same.clone()), ("Hill", same.clone()));
        let few = [creek.clone(), ("Slough", routine(70.0, "2026-05-25"))];
        let more = [creek, hill, ("Slough", routine(70.0, "2026-05-25"))];
        tokio::join!(decide(&stage.desk, &few), decide(&twin, &more));
        let mut told = Vec::new();
        for queued in stage.texts().await {
            let notices = stage.desk.store.notices_of_text(&queued.text.id).await.unwrap();
            told.extend(notices.into_iter().map(|notice| notice.identity.field));
        }
        told.sort();
        let count = |name: &str| {
            let id = &stage.desk.book.find_field(name).unwrap().id;
            told.iter().filter(|field| *field == id).count()
        };
        assert_eq!((count("Creek"), count("Slough")), (1, 1), "{told:?}");
        // The first desk does not see it, and may have taken it back.
        assert!(count("Hill") <= 1, "{told:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_finding_that_vanishes_before_it_goes_is_not_sent() {
    let stage = Stage::set("2026-05-21T03:00:00Z").await;
    stage.decide(&[("Creek", routine(120.0, "2026-05-25"))]).await;
    stage.decide(&[]).await;
    assert_eq!(stage.send_at(NEXT_MORNING).await.len(), 0);
    assert_eq!(stage.state().await, TextState::Held);

    // It has reached nobody, so it is told when it comes back; then it has, and is not.
    let back = ("Creek", routine(120.0, "2026-05-25"));
    stage.decide(std::slice::from_ref(&back)).await;
    assert_eq!(stage.send().await.len(), 1);
    stage.decide(&[]).await;
    stage.decide(&[back]).await;
    assert_eq!(stage.send().await.len(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_stop_finds_waiting_never_goes() {
    let stage = Stage::set("2026-05-21T03:00:00Z").await;
    stage.decide(&[("Creek", routine(120.0, "2026-05-25"))]).await;
    let inbound = Inbound {
        id: "in-1".to_owned(),
        route: RouteName::Sms,
        provider_id: None,
        sender: "+15155550123".to_owned(),
        body: "STOP".to_owned(),
        received_at: utc("2026-05-21T03:10:00Z"),
        handled_at: None,
        outcome: None,
    };
    stage.desk.store.receive(&inbound).await.unwrap();
    stage.at("2026-05-21T03:10:00Z");
    stage.desk.answer_inbound(stage.desk.clock.now()).await.unwrap();
    let goodbye = stage.send().await;
    assert_eq!(goodbye.len(), 1, "the confirmation goes at once");
    assert_eq!(stage.send_at(NEXT_MORNING).await.len(), 0);
    assert_eq!(stage.state().await, TextState::Held);
    stage.decide(&[("Hill", urgent(120.0, "2026-05-25"))]).await;
    assert_eq!(stage.send().await.len(), 0);
    assert_eq!(stage.texts().await.len(), 1, "nothing new is composed either");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stop_between_composing_and_storing_still_holds() {
    let stage = Stage::set(MORNING).await;
    let findings = [("Creek", urgent(120.0, "2026-05-25"))];
    let fields = super::stage::fields(&stage.desk, &findings);
    let composed = stage.desk.compose(&fields, utc(MORNING)).await.unwrap();
    let stop = testing::consent("c-1", ConsentState::Stop, utc(MORNING));
    let handling =
        Handling { consent: Some(stop), outcome: "stopped".to_owned(), ..Handling::default() };
    let inbound = Inbound {
        id: "in-1".to_owned(),
        route: RouteName::Sms,
        provider_id: None,
        sender: "+15155550123".to_owned(),
        body: "STOP".to_owned(),
        received_at: utc(MORNING),
        handled_at: None,
        outcome: None,
    };
    stage.desk.store.receive(&inbound).await.unwrap();
    assert!(stage.desk.store.handle("in-1", &handling, utc(MORNING)).await.unwrap());
    assert_eq!(stage.desk.store.decide(&composed.tellings).await.unwrap(), [true]);
    assert_eq!(stage.send().await.len(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_hint_that_stop_ends_the_texts_comes_first_and_every_thirty_days() {
    let stage = Stage::set(MORNING).await;
    let mut hinted = Vec::new();
    for day in 0..70 {
        let now = utc(MORNING) + chrono::TimeDelta::days(day);
        stage.desk.clock.advance_to(now);
        let finding = furrowbell_engine::findings::Finding {
            occasion: local_day(now, Chicago),
            ..routine(100.0, "2026-09-01")
        };
        stage.decide(&[("Creek", finding)]).await;
        let sent = stage.send().await;
        assert_eq!(sent.len(), 1);
        if sent[0].contains("STOP") {
            hinted.push(day);
        }
    }
    assert_eq!(hinted, [0, 30, 60]);
}
