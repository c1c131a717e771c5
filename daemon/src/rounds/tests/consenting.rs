//! Consent: who agreed for which number, what a STOP ends, and how texts begin and come back.

use super::stage::{FILES, Stage, date, routine, urgent, utc};
use crate::rounds::Desk;
use crate::rounds::decide::HeldBack;
use crate::store::TextState;
use crate::store::{Consent, ConsentState, Inbound, Queued, Settlement, TextFilter, TextKind};
use crate::wire::Outside;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::people::{Person, RouteName};
use furrowbell_engine::findings::Finding;
use std::sync::Arc;
use tokio_util::sync::CancellationToken;
use wiremock::matchers::method;
use wiremock::{Mock, MockServer, ResponseTemplate};

/// 10:00 CDT.
const MORNING: &str = "2026-05-20T15:00:00Z";
const NEXT_MORNING: &str = "2026-05-21T13:00:00Z";
/// 22:00 CDT.
const NIGHT: &str = "2026-05-21T03:00:00Z";
const ANN: &str = "+15155550123";

/// Replies that end the texts. The first eight words are those of 47 CFR 64.1200(a)(10) (89 FR
/// 15756, 5 March 2024); STOPALL and the Spanish ones are common practice, no source.
const STOPS: [&str; 18] = [
    "STOP",
    "stop.",
    "Stop!!",
    " sToP ",
    "opt out",
    "opt-out",
    "OPTOUT",
    "unsubscribe please",
    "please stop texting me",
    "quit",
    "END",
    "revoke",
    "cancel",
    "stopall",
    "no more texts",
    "para",
    "alto",
    "no mas",
];
/// Replies that only may ask for it: a person decides, and until then nothing goes.
const MAYBE: [&str; 4] = [
    "stopped raining here",
    "end of field is wet",
    "cancel that, 12 not 21",
    "did you stop the pump?",
];

fn news() -> [(&'static str, Finding); 1] {
    [("Creek", urgent(120.0, "2026-05-25"))]
}

/// Ann writes, and it is handled at once.
async fn writes(stage: &Stage, body: &str) {
    let now = stage.desk.clock.now();
    let inbound = Inbound {
        id: stage.desk.ids.make(),
        route: RouteName::Sms,
        provider_id: None,
        sender: ANN.to_owned(),
        body: body.to_owned(),
        received_at: now,
        handled_at: None,
        outcome: None,
    };
    stage.desk.store.receive(&inbound).await.unwrap();
    assert_eq!(stage.desk.answer_inbound(now).await.unwrap(), 1);
}

fn later(stage: &Stage, minutes: i64) {
    stage.desk.clock.advance_to(stage.desk.clock.now() + TimeDelta::minutes(minutes));
}

async fn blocks(stage: &Stage) -> Vec<ConsentState> {
    let blocks = stage.desk.store.consent_blocks().await.unwrap();
    blocks.into_iter().map(|block| block.state).collect()
}

/// Somebody decides on Ann, as the command does.
async fn decided(stage: &Stage, word: ConsentState) {
    let now = stage.desk.clock.now();
    let line = Consent {
        how: "command".to_owned(),
        decided_by: Some("ada".to_owned()),
        ..crate::store::testing::consent(&stage.desk.ids.make(), word, now)
    };
    assert!(stage.desk.store.note_consent(&line, &line.id).await.unwrap());
}

/// The book with another entry of Ann's.
fn changed(desk: &mut Desk, change: impl FnOnce(&mut Person)) {
    let mut book = (*desk.book).clone();
    change(book.people.iter_mut().find(|person| person.id == "ann").unwrap());
    desk.book = Arc::new(book);
}

async fn all_texts(stage: &Stage) -> Vec<Queued> {
    stage.desk.store.texts(&TextFilter::default()).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn each_way_to_say_stop_ends_the_texts_with_one_confirmation() {
    for words in STOPS {
        let stage = Stage::set(NIGHT).await;
        stage.decide(&news()).await;
        writes(&stage, words).await;
        assert_eq!(blocks(&stage).await, [ConsentState::Stop], "{words}");
        assert_eq!(stage.state().await, TextState::Held, "what waits is held after {words}");
        let goodbye = stage.send().await;
        assert_eq!(goodbye.len(), 1, "{words}: {goodbye:?}");
        assert!(goodbye[0].contains("no more texts"), "{goodbye:?}");
        assert_eq!(stage.send_at(NEXT_MORNING).await.len(), 0, "{words}");
        let ledger = stage.desk.store.ledger().await.unwrap();
        let line = ledger.last().unwrap();
        assert_eq!((line.wording.as_str(), line.address.as_deref()), (words, Some(ANN)));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_may_be_a_stop_holds_everything_until_somebody_decides() {
    for (number, words) in MAYBE.into_iter().enumerate() {
        let stage = Stage::set(NIGHT).await;
        stage.decide(&news()).await;
        writes(&stage, words).await;
        assert_eq!(blocks(&stage).await, [ConsentState::Hold], "{words}");
        assert_eq!(stage.send_at(NEXT_MORNING).await.len(), 0, "held after {words}");
        assert_eq!(stage.state().await, TextState::Waiting, "and not given up");
        let silenced = stage.desk.silenced(stage.desk.clock.now()).await.unwrap();
        assert_eq!(silenced["ann"], HeldBack::MaybeStop);
        let ada = stage.desk.book.person("ada").unwrap();
        let now = stage.desk.clock.now();
        let fields = super::stage::fields(&stage.desk, &news());
        let digest = stage.desk.compose_digest(ada, &fields, now, now).await.unwrap();
        assert!(digest.text.contains("people resume"), "{}", digest.text);
        later(&stage, 1);
        if number % 2 == 0 {
            decided(&stage, ConsentState::Start).await;
            assert_eq!(stage.send().await.len(), 1, "it was about the field");
        } else {
            decided(&stage, ConsentState::Stop).await;
            assert_eq!(stage.send().await.len(), 0, "it was a stop");
            assert_eq!(stage.state().await, TextState::Held);
        }
    }
}

/// 47 CFR 64.1200(a)(12): one confirming text, within five minutes, nothing promotional.
#[tokio::test(flavor = "multi_thread")]
async fn a_second_stop_is_silent_and_start_brings_texts_back() {
    let stage = Stage::set(MORNING).await;
    writes(&stage, "STOP").await;
    assert_eq!(stage.send().await.len(), 1);
    later(&stage, 1);
    writes(&stage, "STOP").await;
    writes(&stage, "HELP").await;
    assert_eq!(stage.send().await.len(), 0, "one confirmation, and no answer after it");
    later(&stage, 1);
    writes(&stage, "UNSTOP").await;
    let back = stage.send().await;
    assert!(back.len() == 1 && back[0].contains("again"), "{back:?}");
    assert_eq!(blocks(&stage).await, []);
    stage.decide(&news()).await;
    assert_eq!(stage.send().await.len(), 1);
    later(&stage, 1);
    writes(&stage, "STOP").await;
    assert_eq!(stage.send().await.len(), 1, "a new STOP has its own confirmation");
    let texts = all_texts(&stage).await;
    let confirms = texts.iter().filter(|one| one.text.kind == TextKind::StopConfirmation);
    for confirmation in confirms {
        let stands = confirmation.text.expires_at - confirmation.text.created_at;
        assert!(stands <= TimeDelta::minutes(5));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_confirmation_that_comes_too_late_does_not_come() {
    let stage = Stage::set(MORNING).await;
    writes(&stage, "STOP").await;
    later(&stage, 5);
    assert_eq!(stage.send().await.len(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_text_claimed_elsewhere_is_kept_back_when_stop_comes() {
    let server = MockServer::start().await;
    Mock::given(method("POST")).respond_with(ResponseTemplate::new(202)).mount(&server).await;
    let stage = Stage::with_gateway(MORNING, &server.uri(), true).await;
    stage.decide(&news()).await;
    let other = stage.twin().await;
    let now = other.clock.now();
    let claimed =
        other.store.lease(None, now, now + TimeDelta::minutes(2), "theirs", 1).await.unwrap();
    writes(&stage, "STOP").await;
    let stop = CancellationToken::new();
    let settlement = other.see_off(&claimed[0], "theirs", &stop).await.unwrap();
    assert!(matches!(settlement, Settlement::Held { .. }), "{settlement:?}");
    assert!(server.received_requests().await.unwrap().is_empty(), "the route was not called");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_finding_that_reverts_before_its_text_goes_is_never_told() {
    let stage = Stage::set(NIGHT).await;
    stage.decide(&news()).await;
    assert_eq!(stage.text().await.text.due_at, utc(NEXT_MORNING));
    stage.at("2026-05-21T09:00:00Z");
    stage.decide(&[]).await;
    assert_eq!(stage.send_at(NEXT_MORNING).await.len(), 0);
    // It reverts while a worker holds the text.
    let stage = Stage::set(MORNING).await;
    stage.decide(&news()).await;
    let now = stage.desk.clock.now();
    let until = now + TimeDelta::minutes(2);
    let claimed = stage.desk.store.lease(None, now, until, "k", 1).await.unwrap();
    stage.decide(&[]).await;
    let stop = CancellationToken::new();
    let settlement = stage.desk.see_off(&claimed[0], "k", &stop).await.unwrap();
    assert!(matches!(settlement, Settlement::Held { .. }), "{settlement:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_book_is_written_into_the_ledger_once() {
    let mut stage = Stage::set(MORNING).await;
    let lines = async |desk: &Desk| {
        desk.keep_book_consent(desk.clock.now()).await.unwrap();
        let ledger = desk.store.ledger().await.unwrap();
        ledger.into_iter().filter(|line| line.person == "ann").collect::<Vec<_>>()
    };
    let first = lines(&stage.desk).await;
    assert_eq!(first.len(), 1);
    let line = &first[0];
    assert_eq!((line.state, line.how.as_str()), (ConsentState::Agreed, "book"));
    assert_eq!((line.wording.as_str(), line.address.as_deref()), ("agreed on paper", Some(ANN)));
    assert_eq!(line.at, utc("2026-01-02T06:00:00Z"), "the day of the book, from midnight CST");
    assert_eq!(lines(&stage.twin().await).await.len(), 1, "whoever looks, however often");

    // A new number with the old consent is written down, and agrees to nothing.
    changed(&mut stage.desk, |ann| ann.phone = Some("+15155550144".to_owned()));
    let second = lines(&stage.desk).await;
    assert_eq!(second.last().unwrap().state, ConsentState::Unproven);
    assert_eq!(lines(&stage.desk).await.len(), 2);
    stage.decide(&news()).await;
    assert_eq!(stage.texts().await.len(), 0, "nothing is composed for it");

    changed(&mut stage.desk, |ann| {
        ann.consent.as_mut().unwrap().date = date("2026-05-19");
    });
    let third = lines(&stage.desk).await;
    assert_eq!(third.len(), 3);
    stage.decide(&news()).await;
    let sent = stage.send().await;
    assert!(sent[0].contains("data rates"), "the new number is welcomed first: {sent:?}");
    stage.desk.clock.advance_to(utc(MORNING) + TimeDelta::seconds(5));
    let sent = stage.send().await;
    assert!(sent.len() == 1 && sent[0].contains("Creek"), "{sent:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waits_for_a_number_that_nobody_agreed_for_is_held() {
    let mut stage = Stage::set(MORNING).await;
    stage.decide(&news()).await;
    changed(&mut stage.desk, |ann| ann.phone = Some("+15155550144".to_owned()));
    assert_eq!(stage.send().await.len(), 0);
    let held = stage.text().await;
    assert_eq!(held.state, TextState::Held);
    assert!(held.last_error.unwrap().contains("not agreed to texts to this number"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_consent_of_a_later_day_ends_a_stop_and_an_older_one_does_not() {
    let mut stage = Stage::set(MORNING).await;
    writes(&stage, "STOP").await;
    let now = utc("2026-05-22T15:00:00Z");
    for (day, stands) in [("2026-05-20", true), ("2026-03-01", true), ("2026-05-21", false)] {
        changed(&mut stage.desk, |ann| ann.consent.as_mut().unwrap().date = date(day));
        stage.desk.keep_book_consent(now).await.unwrap();
        assert_eq!(!blocks(&stage).await.is_empty(), stands, "{day}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_text_to_a_number_is_its_welcome_and_routine_news_keep_away_from_it() {
    let mut stage = Stage::set(MORNING).await;
    changed(&mut stage.desk, |ann| {
        ann.phone = Some("+15155550144".to_owned());
        ann.consent.as_mut().unwrap().date = date("2026-05-19");
    });
    stage.decide(&[("Creek", routine(120.0, "2026-05-25"))]).await;
    let first = stage.send().await;
    assert!(first.len() == 1 && first[0].contains("data rates"), "{first:?}");
    for (minutes, texts) in [(1, 0), (14, 0), (15, 1), (60, 0)] {
        stage.desk.clock.advance_to(utc(MORNING) + TimeDelta::minutes(minutes));
        assert_eq!(stage.send().await.len(), texts, "after {minutes} minutes");
    }
    let ledger = stage.desk.store.welcome("ann", "+15155550144").await.unwrap();
    assert_eq!(ledger.unwrap().state, TextState::Sent);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_hint_is_given_when_its_text_has_gone() {
    let stage = Stage::set(NIGHT).await;
    let hinted = |body: &String| body.ends_with("STOP to end.");
    stage.decide(&news()).await;
    // It loses its sense unsent: the hint that it carried was given to nobody.
    stage.decide(&[]).await;
    stage.at(NEXT_MORNING);
    stage.decide(&[("Hill", urgent(90.0, "2026-05-25"))]).await;
    let sent = stage.send().await;
    assert!(sent.len() == 1 && hinted(&sent[0]), "{sent:?}");
    for (days, due) in [(29, false), (30, true)] {
        stage.desk.clock.advance_to(utc(NEXT_MORNING) + TimeDelta::days(days));
        let field = if due { "Slough" } else { "North 8" };
        stage.decide(&[(field, urgent(90.0, "2026-07-25"))]).await;
        let sent = stage.send().await;
        assert!(sent.len() == 1 && hinted(&sent[0]) == due, "after {days} days: {sent:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn after_a_year_of_silence_consent_is_asked_for_once() {
    let stage = Stage::set("2026-12-31T15:00:00Z").await;
    let now = |stage: &Stage| stage.desk.clock.now();
    stage.desk.ask_the_silent(now(&stage)).await.unwrap();
    assert_eq!(blocks(&stage).await, [], "not a year yet");
    // 8:59 PM, three minutes later it is quiet; a year and more after the consent of the book.
    stage.at("2027-01-03T03:02:00Z");
    for _ in 0..2 {
        stage.desk.ask_the_silent(now(&stage)).await.unwrap();
    }
    assert_eq!(blocks(&stage).await, [ConsentState::Asked]);
    assert_eq!(stage.send().await.len(), 0, "not at night");
    let asked = stage.send_at("2027-01-03T14:00:00Z").await;
    assert!(asked.len() == 1 && asked[0].contains("Reply YES"), "{asked:?}");
    stage.decide(&[("Creek", urgent(120.0, "2027-01-25"))]).await;
    later(&stage, 60);
    assert_eq!(stage.send().await.len(), 0, "held until answered");
    let silenced = stage.desk.silenced(now(&stage)).await.unwrap();
    assert_eq!(silenced["ann"], HeldBack::Unanswered);
    writes(&stage, "HELP").await;
    assert_eq!(stage.send().await.len(), 1, "an answer is no field text");
    for yes in ["Sí", "YES"] {
        later(&stage, 1);
        writes(&stage, yes).await;
        assert_eq!(blocks(&stage).await, [], "{yes}");
    }
    stage.send().await;
    stage.decide(&[("Creek", urgent(120.0, "2027-01-25"))]).await;
    assert_eq!(stage.send().await.len(), 1);
    later(&stage, 364 * 24 * 60);
    stage.desk.ask_the_silent(now(&stage)).await.unwrap();
    assert_eq!(blocks(&stage).await, [], "counted from the YES");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reply_or_a_fresh_consent_ends_the_silence() {
    let mut stage = Stage::set("2026-09-01T15:00:00Z").await;
    writes(&stage, "RAIN 0.4 Creek").await;
    stage.at("2027-08-31T15:00:00Z");
    stage.desk.ask_the_silent(stage.desk.clock.now()).await.unwrap();
    assert_eq!(blocks(&stage).await, []);
    changed(&mut stage.desk, |ann| ann.consent.as_mut().unwrap().date = date("2027-08-30"));
    stage.desk.keep_book_consent(stage.desk.clock.now()).await.unwrap();
    stage.at("2028-08-29T15:00:00Z");
    stage.desk.ask_the_silent(stage.desk.clock.now()).await.unwrap();
    assert_eq!(blocks(&stage).await, []);
    stage.at("2028-08-30T15:00:00Z");
    stage.desk.ask_the_silent(stage.desk.clock.now()).await.unwrap();
    assert_eq!(blocks(&stage).await, [ConsentState::Asked]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_number_that_is_refused_for_good_gets_nothing_more_and_the_advisor_hears_of_it() {
    let server = MockServer::start().await;
    let refuse = Mock::given(method("POST")).respond_with(ResponseTemplate::new(422));
    refuse.mount(&server).await;
    let stage = Stage::with_gateway(MORNING, &server.uri(), true).await;
    stage.decide(&[("Creek", routine(120.0, "2026-05-25"))]).await;
    stage.send().await;
    assert_eq!(blocks(&stage).await, [ConsentState::Gone]);
    let told = |texts: &[Queued]| {
        texts.iter().filter(|one| one.text.body.contains("number of Ann takes no texts")).count()
    };
    assert_eq!(told(&all_texts(&stage).await), 1);
    later(&stage, 60);
    stage.decide(&[("Hill", urgent(120.0, "2026-05-25"))]).await;
    stage.send().await;
    assert_eq!(server.received_requests().await.unwrap().len(), 1, "tried once");
    assert_eq!(told(&all_texts(&stage).await), 1);
    decided(&stage, ConsentState::Start).await;
    assert_eq!(blocks(&stage).await, [], "the number was looked at");
}

/// When each kind of text to a phone goes that is due at 22:00.
#[tokio::test(flavor = "multi_thread")]
async fn quiet_hours_hold_every_kind_but_an_answer() {
    let mut stage = Stage::with(NIGHT, FILES, "", Outside::Pretended).await;
    let mut book = (*stage.desk.book).clone();
    let ada = book.people.iter_mut().find(|person| person.id == "ada").unwrap();
    ada.phone = Some("+15155550145".to_owned());
    ada.routes = vec![RouteName::Sms];
    stage.desk.book = Arc::new(book);
    let now = stage.desk.clock.now();
    let digest = crate::store::Text {
        id: "digest".to_owned(),
        kind: TextKind::Digest,
        person: "ada".to_owned(),
        created_at: now,
        due_at: now,
        expires_at: now + TimeDelta::days(1),
        ..crate::store::testing::text("digest")
    };
    stage.desk.store.tell_advisor(&digest).await.unwrap();
    stage.decide(&news()).await;
    writes(&stage, "HELP").await;
    let sent = stage.desk.send_due(&CancellationToken::new()).await.unwrap();
    let kinds: Vec<_> = sent.iter().map(|queued| queued.text.kind).collect();
    assert_eq!(kinds, [TextKind::Reply], "who has just written is answered");
    stage.at(NEXT_MORNING);
    let sent = stage.desk.send_due(&CancellationToken::new()).await.unwrap();
    let mut kinds: Vec<_> = sent.iter().map(|queued| queued.text.kind).collect();
    kinds.sort_by_key(|kind| format!("{kind:?}"));
    assert_eq!(kinds, [TextKind::Digest, TextKind::Notice]);
}

/// Two workers with a text each to one person: one goes, the other keeps its distance.
#[tokio::test(flavor = "multi_thread")]
async fn two_workers_do_not_ring_one_phone_twice_at_once() {
    let stage = Stage::set(MORNING).await;
    let findings = [("Creek", routine(120.0, "2026-05-25")), ("Hill", routine(90.0, "2026-05-25"))];
    stage.decide_one_by_one(&findings).await;
    stage.at("2026-05-20T16:00:00Z");
    let now: DateTime<Utc> = stage.desk.clock.now();
    let until = now + TimeDelta::minutes(2);
    let store = &stage.desk.store;
    let one = store.lease(None, now, until, "one", 1).await.unwrap();
    let other = store.lease(None, now, until, "other", 1).await.unwrap();
    let stop = CancellationToken::new();
    let mut sent = 0;
    for (claimed, token) in [(&one[0], "one"), (&other[0], "other")] {
        let settlement = stage.desk.see_off(claimed, token, &stop).await.unwrap();
        sent += usize::from(matches!(settlement, Settlement::Sent { .. }));
    }
    assert_eq!(sent, 1);
    assert_eq!(stage.send().await.len(), 0);
    let mut gone = Vec::new();
    for minutes in 1..=40 {
        stage.desk.clock.advance_to(now + TimeDelta::minutes(minutes));
        gone.extend(stage.send().await.iter().map(|_| minutes));
    }
    assert_eq!(gone, [15]);
}
