//! What is asked for the record of a restricted-use pass, of whom, and how often.

use super::stage::{Stage, date, utc};
use crate::records::{AppliedPass, Item, Origin};
use crate::rounds::Desk;
use crate::store::{Application, Inbound, Record, Via};
use furrowbell_config::people::RouteName;
use furrowbell_config::products::{Amount, Product, Unit};
use furrowbell_engine::journal::Event;
use furrowbell_engine::plan::HerbicidePlan;
use furrowbell_engine::reference::herbicides::Ingredient;
use std::sync::Arc;
use tokio_util::sync::CancellationToken;

const NOON: &str = "2026-05-12T17:00:00Z";

/// The farm with a pre of atrazine and glyphosate planned for every field.
async fn stage() -> Stage {
    let mut stage = Stage::set(NOON).await;
    let book = Arc::make_mut(&mut stage.desk.book);
    for field in &mut book.fields {
        let ingredients = vec![Ingredient::Atrazine, Ingredient::Glyphosate];
        let pre = HerbicidePlan { name: "corn pre".to_owned(), ingredients };
        field.plan.as_mut().unwrap().pre = Some(pre);
    }
    stage
}

/// The same, and the book knows the product.
async fn stage_with_product() -> Stage {
    let mut stage = stage().await;
    let book = Arc::make_mut(&mut stage.desk.book);
    book.products = vec![Product {
        name: "Mix 3".to_owned(),
        epa_reg: "123-45".parse().ok(),
        ingredients: vec![Ingredient::Atrazine],
        restricted: Some(true),
        rate_per_acre: Some(Amount { amount: 1.2, unit: Unit::Qt }),
        label_date: date("2026-01-10"),
        confirmed_by: "ada".to_owned(),
    }];
    for field in &mut book.fields {
        field.products.pre = vec!["Mix 3".to_owned()];
    }
    stage
}

/// Takes a text of the grower's and answers it; gives what goes out.
async fn writes(stage: &Stage, at: &str, text: &str) -> Vec<String> {
    stage.at(at);
    let now = stage.desk.clock.now();
    let inbound = Inbound {
        id: stage.desk.ids.make(),
        route: RouteName::Sms,
        provider_id: None,
        sender: "+15155550123".to_owned(),
        body: text.to_owned(),
        received_at: now,
        handled_at: None,
        outcome: None,
    };
    assert!(stage.desk.store.receive(&inbound).await.unwrap());
    stage.desk.answer_inbound(now).await.unwrap();
    round(stage, at).await
}

/// A round in which nothing came in; gives what goes out.
async fn round(stage: &Stage, at: &str) -> Vec<String> {
    stage.at(at);
    stage.desk.keep_applications(stage.desk.clock.now()).await.unwrap();
    let sent = stage.desk.send_due(&CancellationToken::new()).await.unwrap();
    sent.into_iter().map(|queued| queued.text.body).collect()
}

async fn missing(desk: &Desk) -> Vec<Item> {
    let ledger = desk.ledger(desk.clock.now()).await.unwrap();
    ledger.sheets.iter().flat_map(crate::records::Sheet::missing).map(|(_, item)| item).collect()
}

async fn value(desk: &Desk, part: &str, item: Item) -> (String, Origin) {
    let ledger = desk.ledger(desk.clock.now()).await.unwrap();
    let row = ledger.sheets[0].item(part, item).unwrap();
    (row.value.clone(), row.origin)
}

async fn digest(stage: &Stage) -> String {
    let now = stage.desk.clock.now();
    let ada = stage.desk.book.person("ada").unwrap();
    stage.desk.compose_digest(ada, &[], now, now).await.unwrap().text
}

#[tokio::test(flavor = "multi_thread")]
async fn one_item_at_a_time_is_asked_until_the_record_is_whole() {
    let stage = stage().await;
    assert_eq!(
        writes(&stage, "2026-05-12T17:00:00Z", "PRE DONE Creek").await,
        [
            "Test Desk: Got it. Pre on Tue May 12: Creek.",
            "Test Desk: For the record of Creek (atrazine, Tue May 12): Which product was it? \
             Reply its name and EPA number, like MIX 123-45.",
        ]
    );
    for (text, answer) in [
        ("Mix 3", "Test Desk: Got it, Mix 3. EPA number of Mix 3? Reply like 123-45."),
        ("123-45", "Test Desk: Got it, 123-45. How much Mix 3 in all? Reply like 24 GAL."),
        (
            "a lot",
            "Test Desk: Sorry, we could not read that. How much Mix 3 in all? Reply like 24 GAL. \
             Or reply LATER.",
        ),
        (
            "24 gallons",
            "Test Desk: Got it, 24 gal. Who was the certified applicator? Reply ME or the full \
             name.",
        ),
        (
            "ray holt",
            "Test Desk: Got it, Ray Holt. Certification number of Ray Holt? Reply the number.",
        ),
        ("IA-12345", "Test Desk: Got it, IA-12345. The record of Creek, Tue May 12, is filled in."),
    ] {
        assert_eq!(writes(&stage, "2026-05-12T17:05:00Z", text).await, [answer], "{text}");
        assert!(round(&stage, "2026-05-12T17:06:00Z").await.is_empty(), "asked twice after {text}");
    }
    assert_eq!(missing(&stage.desk).await, []);
    assert_eq!(value(&stage.desk, "", Item::Acres).await, ("80".to_owned(), Origin::Book));
    assert_eq!(
        value(&stage.desk, "atrazine", Item::Amount).await,
        ("24 gal".to_owned(), Origin::Reply)
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_book_knows_is_not_asked_and_is_marked() {
    let mut stage = stage_with_product().await;
    Arc::make_mut(&mut stage.desk.book).people[1].certification = Some("IA-777".to_owned());
    let asked = writes(&stage, NOON, "PRE DONE Creek").await;
    assert_eq!(
        asked[1],
        "Test Desk: For the record of Creek (Mix 3, Tue May 12): How much product in all? Reply \
         like 24 GAL."
    );
    writes(&stage, "2026-05-12T17:05:00Z", "24 gal").await;
    assert_eq!(missing(&stage.desk).await, []);
    for (part, item, kept) in [
        ("Mix 3", Item::Epa, "123-45"),
        ("", Item::Applicator, "Ann"),
        ("", Item::Certification, "IA-777"),
        ("", Item::Crop, "corn"),
    ] {
        assert_eq!(value(&stage.desk, part, item).await, (kept.to_owned(), Origin::Book));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pass_without_restricted_products_is_kept_and_asks_nothing() {
    let mut stage = stage().await;
    for field in &mut Arc::make_mut(&mut stage.desk.book).fields {
        field.plan.as_mut().unwrap().pre.as_mut().unwrap().ingredients =
            vec![Ingredient::Glyphosate];
    }
    assert_eq!(writes(&stage, NOON, "PRE DONE Creek").await.len(), 1);
    assert_eq!(stage.desk.ledger(utc(NOON)).await.unwrap().sheets.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn silence_is_reminded_of_once_and_then_left_to_the_advisor() {
    let stage = stage_with_product().await;
    writes(&stage, NOON, "PRE DONE Creek").await;
    for (at, count) in [
        ("2026-05-13T17:00:00Z", 0),
        ("2026-05-15T16:59:00Z", 0),
        ("2026-05-15T17:01:00Z", 1),
        ("2026-05-15T18:00:00Z", 0),
        ("2026-05-17T18:00:00Z", 0),
    ] {
        let sent = round(&stage, at).await;
        assert_eq!(sent.len(), count, "{at}: {sent:?}");
        if count == 1 {
            assert!(sent[0].contains("Still open, due Tue May 26: record of Creek"), "{sent:?}");
        }
        assert!(!digest(&stage).await.contains("RECORDS TO COMPLETE"), "{at}");
    }
    for at in ["2026-05-18T18:00:00Z", "2026-05-20T18:00:00Z", "2026-06-20T18:00:00Z"] {
        assert!(round(&stage, at).await.is_empty());
        let digest = digest(&stage).await.replace("\n    ", " ");
        let day = if at < "2026-05-27" { "day 14 is" } else { "day 14 was" };
        let line = format!(
            "Creek, pre Tue May 12: no total amount, certified applicator, certification number \
             yet; {day} Tue May 26"
        );
        assert!(digest.contains(&line), "{digest}");
    }
    // The form alone tells an amount, however late it comes.
    let answer = writes(&stage, "2026-06-20T19:00:00Z", "24 gal").await;
    assert!(answer[0].contains("Got it, 24 gal. Who was"), "{answer:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_question_put_off_comes_again_once() {
    let stage = stage_with_product().await;
    writes(&stage, NOON, "PRE DONE Creek").await;
    let answer = writes(&stage, "2026-05-13T17:00:00Z", "Later").await;
    let said = "Test Desk: OK, we will ask again Sat May 16. The record is due Tue May 26.";
    assert_eq!(answer, [said]);
    assert!(round(&stage, "2026-05-16T16:59:00Z").await.is_empty());
    assert_eq!(round(&stage, "2026-05-16T17:01:00Z").await.len(), 1);
    let answer = writes(&stage, "2026-05-16T17:30:00Z", "LATER").await;
    assert!(answer[0].contains("Your advisor has it."), "{answer:?}");
    assert!(round(&stage, "2026-05-22T17:01:00Z").await.is_empty());
    assert!(digest(&stage).await.contains("Creek, pre Tue May 12"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_stays_a_command_and_what_is_no_answer_reaches_the_advisor() {
    let stage = stage_with_product().await;
    writes(&stage, NOON, "PRE DONE Creek").await;
    let rain = writes(&stage, "2026-05-12T17:10:00Z", "RAIN 0.6 Creek").await;
    assert!(rain[0].contains("0.6 in rain"), "{rain:?}");
    let unread = "the sprayer broke down";
    assert!(writes(&stage, "2026-05-12T17:20:00Z", unread).await[0].contains("Or reply LATER"));
    let second = writes(&stage, "2026-05-12T17:30:00Z", unread).await;
    assert!(second[0].contains("Your advisor has it"), "one line of help: {second:?}");
    assert_eq!(digest(&stage).await.matches(unread).count(), 0, "handled at the digest's hour");
    let now = stage.desk.clock.now();
    let ada = stage.desk.book.person("ada").unwrap();
    let since = utc("2026-05-12T12:00:00Z");
    let digest = stage.desk.compose_digest(ada, &[], since, now).await.unwrap().text;
    assert_eq!(digest.matches(unread).count(), 2, "{digest}");
    assert_eq!(missing(&stage.desk).await.len(), 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn several_fields_are_asked_about_one_after_the_other_and_a_number_once() {
    let stage = stage_with_product().await;
    writes(&stage, NOON, "PRE DONE Creek and Hill").await;
    writes(&stage, "2026-05-12T17:01:00Z", "24 gal").await;
    writes(&stage, "2026-05-12T17:02:00Z", "ME").await;
    let next = writes(&stage, "2026-05-12T17:03:00Z", "IA-12345").await;
    assert_eq!(
        next,
        ["Test Desk: Got it, IA-12345. Next, Hill (Mix 3, Tue May 12): How much product in all? \
          Reply like 24 GAL."]
    );
    writes(&stage, "2026-05-12T17:04:00Z", "25 gal").await;
    let last = writes(&stage, "2026-05-12T17:05:00Z", "me").await;
    assert!(last[0].contains("The record of Hill, Tue May 12, is filled in."), "{last:?}");
    let ledger = stage.desk.ledger(stage.desk.clock.now()).await.unwrap();
    let hill = ledger.sheets.iter().find(|sheet| sheet.application.field == "farm/hill").unwrap();
    let number = &hill.items[&Item::Certification];
    assert_eq!((number.value.as_str(), number.origin), ("IA-12345", Origin::EarlierRecord));
}

#[tokio::test(flavor = "multi_thread")]
async fn two_instances_ask_once() {
    let stage = stage_with_product().await;
    let twin = stage.twin().await;
    let now = utc(NOON);
    let record = pass("r1", Via::Sms);
    stage.desk.store.append(&record).await.unwrap();
    let (one, other) = tokio::join!(stage.desk.keep_applications(now), twin.keep_applications(now));
    one.unwrap();
    other.unwrap();
    assert_eq!(stage.send().await.len(), 1);
    assert_eq!(stage.desk.ledger(now).await.unwrap().sheets.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pass_by_command_asks_nobody_and_stands_in_the_digest() {
    let stage = stage_with_product().await;
    stage.desk.store.append(&pass("r1", Via::Command)).await.unwrap();
    assert!(round(&stage, NOON).await.is_empty());
    assert!(digest(&stage).await.contains("Creek, pre Tue May 12"));
}

/// An entry that was taken back is not in the journal any more: the record stays, withdrawn.
#[tokio::test(flavor = "multi_thread")]
async fn a_record_whose_entry_is_gone_is_withdrawn_and_asks_nothing() {
    let stage = stage_with_product().await;
    let application = Application {
        id: "a1".to_owned(),
        entry_id: "gone".to_owned(),
        field: "farm/creek".to_owned(),
        applied_on: date("2026-05-12"),
        pass: AppliedPass::Pre,
        parts: Vec::new(),
        by: "ann".to_owned(),
        asked: Some("ann".to_owned()),
        created_at: utc(NOON),
    };
    assert!(stage.desk.store.begin_application(&application, &[]).await.unwrap());
    assert!(!stage.desk.store.begin_application(&application, &[]).await.unwrap());
    assert!(round(&stage, NOON).await.is_empty());
    let ledger = stage.desk.ledger(utc(NOON)).await.unwrap();
    assert!(ledger.sheets[0].withdrawn);
    assert!(!digest(&stage).await.contains("RECORDS TO COMPLETE"));
}

fn pass(id: &str, via: Via) -> Record {
    Record {
        id: id.to_owned(),
        source_key: format!("in1/{id}"),
        field: "farm/creek".to_owned(),
        happened_on: date("2026-05-12"),
        event: Event::PreApplied { ingredients: Vec::new() },
        by: "ann".to_owned(),
        via,
        note: None,
        created_at: utc(NOON),
    }
}
