//! What shares a text, and what becomes of it when a part of it falls away.

use super::stage::{FIELDS, Stage, date, fields, routine, utc};
use crate::store::TextState;
use crate::wording::gsm7;
use furrowbell_engine::clocks::{DateRange, Stage as Growth};
use furrowbell_engine::findings::{Evidence, Finding, PostLimit, Urgency};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// 22:00 CDT, when nothing may go.
const NIGHT: &str = "2026-05-21T03:00:00Z";
/// 10:00 CDT.
const MORNING: &str = "2026-05-20T15:00:00Z";
const NEXT_MORNING: &str = "2026-05-21T13:00:00Z";

pub(super) fn closing(act_by: &str) -> Finding {
    let likely = date(act_by);
    let closes = DateRange { earliest: likely, likely, latest: likely };
    let limit = PostLimit::WeedHeight { inches: 4.0 };
    let evidence = Evidence::PostClosing { closes, limit, again: false, no_label: None };
    Finding { act_by: Some(likely), evidence, ..routine(0.0, "2026-06-30") }
}

pub(super) fn sidedress(act_by: &str) -> Finding {
    let likely = date(act_by);
    let latest = DateRange { earliest: likely, likely, latest: likely };
    let evidence = Evidence::SidedressClosing {
        stage: Growth::Vegetative(6),
        pounds: 130.0,
        latest,
        tested: None,
    };
    Finding { act_by: Some(likely), evidence, ..routine(0.0, "2026-06-30") }
}

#[tokio::test(flavor = "multi_thread")]
async fn one_action_names_each_field_with_its_deadline() {
    let stage = Stage::set(MORNING).await;
    stage
        .decide(&[
            ("Hill", closing("2026-06-16")),
            ("Creek", closing("2026-06-14")),
            ("Slough", closing("2026-06-16")),
        ])
        .await;
    let text = stage.text().await.text;
    assert_eq!(
        text.body,
        "Test Desk: Finish the post pass: Creek (weeds soon 4 in) by Sun Jun 14, Hill and Slough \
         (weeds soon 4 in) by Tue Jun 16. After that weeds are likely too tall. Reply DONE and \
         the field when sprayed. Follow the label. STOP to end."
    );
    assert_eq!(text.act_by, Some(date("2026-06-14")), "the first deadline is the text's");
}

#[tokio::test(flavor = "multi_thread")]
async fn topics_take_a_line_each_and_share_the_answer() {
    let stage = Stage::set(MORNING).await;
    stage.decide(&[("Creek", sidedress("2026-06-22")), ("Hill", closing("2026-06-16"))]).await;
    assert_eq!(
        stage.text().await.text.body,
        "Test Desk: Hill. Weeds likely 4 in tall by Tue Jun 16. Finish the post pass by Tue Jun \
         16.\nCreek: Corn is soon too tall to sidedress. Sidedress 130 lb N by Mon Jun 22.\nReply \
         with the field, like POST DONE or SIDEDRESS DONE. Follow the label. STOP to end."
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_left_when_a_part_falls_away_is_told_without_it() {
    let stage = Stage::set(NIGHT).await;
    let both = [("Creek", closing("2026-06-14")), ("Hill", closing("2026-06-16"))];
    stage.decide(&both).await;
    stage.decide(&both[1..]).await;
    let texts = stage.texts().await;
    let states: Vec<_> = texts.iter().map(|queued| queued.state).collect();
    assert_eq!(states, [TextState::Held, TextState::Waiting]);
    let sent = stage.send_at(NEXT_MORNING).await;
    assert_eq!(sent.len(), 1);
    assert!(sent[0].contains("Hill") && !sent[0].contains("Creek"), "{sent:?}");
    // The one that fell away has reached nobody: it is told when it comes back.
    stage.decide(&both).await;
    let back = stage.send_at("2026-05-21T13:15:00Z").await;
    assert!(back.len() == 1 && back[0].contains("Creek"), "{back:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn one_field_and_topic_is_told_once_a_day() {
    let stage = Stage::set(MORNING).await;
    let first = closing("2026-06-14");
    stage.decide(&[("Creek", first.clone())]).await;
    assert_eq!(stage.send().await.len(), 1);
    stage.at("2026-05-20T18:00:00Z");
    let worse = [("Creek", Finding { version: 2, ..first })];
    let now_fields = fields(&stage.desk, &worse);
    let composed = stage.desk.compose(&now_fields, stage.desk.clock.now()).await.unwrap();
    assert_eq!((composed.tellings.len(), composed.held.len()), (0, 1), "held back, and said so");
    stage.at(NEXT_MORNING);
    stage.decide(&worse).await;
    assert_eq!(stage.send().await.len(), 1);
}

fn any_finding() -> impl Strategy<Value = (usize, Finding)> {
    let day = (1_u32..=28).prop_map(|day| format!("2026-06-{day:02}"));
    let urgency = prop_oneof![Just(Urgency::Routine), Just(Urgency::Urgent)];
    (0..FIELDS.len(), 0..3_u8, day, urgency, 10.0..90.0_f64).prop_map(
        |(field, topic, day, urgency, pounds)| {
            let finding = match topic {
                0 => closing(&day),
                1 => sidedress(&day),
                _ => routine((pounds / 5.0).round() * 5.0, "2026-06-29"),
            };
            (field, Finding { urgency, ..finding })
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn every_finding_is_in_one_text_or_held_back_in_any_order(
        findings in prop::collection::vec(any_finding(), 1..15),
        shuffle in any::<prop::sample::Index>(),
    ) {
        let mut of: BTreeMap<_, _> = BTreeMap::new();
        for (field, finding) in findings {
            of.insert((FIELDS[field].0, finding.topic()), finding);
        }
        let findings: Vec<_> =
            of.into_iter().map(|((field, _), finding)| (field, finding)).collect();
        let mut turned = findings.clone();
        turned.rotate_left(shuffle.index(findings.len()));
        let runtime = tokio::runtime::Runtime::new().unwrap();
        let (told, again) = runtime.block_on(async {
            let stage = Stage::set(MORNING).await;
            (told(&stage, &findings, false).await, told(&stage, &turned, true).await)
        });
        prop_assert_eq!(told, again);
    }
}

/// The bodies of one round, after a look at what each of them carries.
async fn told(stage: &Stage, findings: &[(&str, Finding)], backwards: bool) -> Vec<String> {
    let mut at = fields(&stage.desk, findings);
    if backwards {
        at.reverse();
    }
    let composed = stage.desk.compose(&at, utc(MORNING)).await.unwrap();
    let mut seen = BTreeSet::new();
    let mut dues: BTreeSet<chrono::DateTime<chrono::Utc>> = BTreeSet::new();
    let mut routine_texts: BTreeMap<_, usize> = BTreeMap::new();
    for telling in &composed.tellings {
        let text = telling.text.as_ref().unwrap();
        assert!(gsm7::segments(&text.body) <= 2, "{}", text.body);
        assert!(text.due_at < text.expires_at);
        for due in &dues {
            assert!((text.due_at - *due).num_minutes().abs() >= 15, "too close together");
        }
        dues.insert(text.due_at);
        if text.urgency < Urgency::Urgent {
            *routine_texts
                .entry((text.due_at - chrono::TimeDelta::hours(5)).date_naive())
                .or_default() += 1;
        }
        for notice in &telling.notices {
            let field = stage.desk.book.field(&notice.identity.field).unwrap();
            assert!(text.body.contains(&field.name), "{} is not in {}", field.name, text.body);
            assert!(notice.urgency <= text.urgency, "told as soon as its most urgent part");
            assert!(seen.insert(notice.identity.clone()), "told twice");
        }
    }
    assert!(routine_texts.values().all(|count| *count <= 3), "{routine_texts:?}");
    for (one, _reason) in &composed.held {
        assert!(seen.insert(one.identity()), "told and held back");
    }
    assert_eq!(seen.len(), findings.len());
    composed.tellings.into_iter().filter_map(|telling| telling.text).map(|text| text.body).collect()
}
