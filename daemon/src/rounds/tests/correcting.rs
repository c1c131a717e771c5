//! What was told on forecast rain and turned out otherwise.

use super::stage::{Stage, date, decide, utc};
use crate::rounds::Desk;
use crate::rounds::decide::Composed;
use crate::store::{Closing, Ending, TextState};
use chrono::{NaiveDate, TimeDelta};
use furrowbell_config::farms::Field;
use furrowbell_engine::cell::Cell;
use furrowbell_engine::findings::Topic;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::HerbicidePlan;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::season::{self, Input, Season};
use furrowbell_engine::units::{Celsius, Millimetres};
use furrowbell_engine::weather::{Day, Kind, Sourced, Weather};

/// 10:00 CDT.
const TUESDAY: &str = "2026-05-12T15:00:00Z";
const WEDNESDAY: &str = "2026-05-13T15:00:00Z";

/// Corn planted and sprayed on 10 May; dry measured weather but for the rain of 11 May.
struct Spring {
    rain_in: Option<(f64, Kind)>,
    later: Vec<(NaiveDate, f64)>,
    notes: Vec<Entry>,
    missing: Vec<NaiveDate>,
}

impl Spring {
    fn with(inches: f64, kind: Kind) -> Self {
        Self {
            rain_in: Some((inches, kind)),
            later: Vec::new(),
            notes: Vec::new(),
            missing: Vec::new(),
        }
    }

    fn season(&self, field: &Field, today: NaiveDate) -> Season {
        let degrees = |value| Sourced { value: Celsius::new(value).unwrap(), kind: Kind::Station };
        let dry = Sourced { value: Millimetres::new(0.0).unwrap(), kind: Kind::Station };
        let mut days: Vec<Day> = date("2026-04-01")
            .iter_days()
            .take_while(|day| *day <= today)
            .filter(|day| !self.missing.contains(day))
            .map(|day| Day {
                high: Some(degrees(24.0)),
                low: Some(degrees(12.0)),
                rain: Some(dry),
                ..Day::unknown(day)
            })
            .collect();
        let monday = self.rain_in.map(|(inches, kind)| (date("2026-05-11"), inches, kind));
        let later = self.later.iter().map(|(day, inches)| (*day, *inches, Kind::Station));
        for (day, inches, kind) in monday.into_iter().chain(later) {
            let value = Millimetres::from_inches(inches).unwrap();
            if let Some(row) = days.iter_mut().find(|row| row.date == day) {
                row.rain = Some(Sourced { value, kind });
            }
        }
        let mut plan = field.plan.clone().unwrap();
        let ingredients = vec![Ingredient::SMetolachlor];
        plan.pre = Some(HerbicidePlan { name: "pre".to_owned(), ingredients });
        let passes = [Event::Planted, Event::PreApplied { ingredients: Vec::new() }];
        let mut journal: Vec<Entry> =
            passes.map(|event| Entry { date: date("2026-05-10"), event }).into();
        journal.extend(self.notes.iter().cloned());
        season::run(&Input {
            site: &field.site,
            plan: &plan,
            journal: &journal,
            cell: &Cell::new(field.site.latitude, None, &Weather::new(days)),
            normal: None,
            hours: &[],
            labels: &[],
            thresholds: &field.thresholds,
            today,
        })
    }
}

/// One round in which Creek shows this spring and the other fields nothing.
async fn round(stage: &Stage, spring: &Spring) {
    round_of(&stage.desk, spring).await;
}

async fn round_of(desk: &Desk, spring: &Spring) {
    let mut fields = super::stage::fields(desk, &[]);
    for at in fields.iter_mut().filter(|at| at.field.name == "Creek") {
        at.season = spring.season(at.field, at.today);
        at.entries.clone_from(&spring.notes);
    }
    desk.decide(&fields, desk.clock.now()).await.unwrap();
}

async fn compose(stage: &Stage, spring: &Spring) -> (usize, usize) {
    let mut fields = super::stage::fields(&stage.desk, &[]);
    for at in fields.iter_mut().filter(|at| at.field.name == "Creek") {
        at.season = spring.season(at.field, at.today);
    }
    let composed: Composed<'_> = stage.desk.compose(&fields, stage.desk.clock.now()).await.unwrap();
    (composed.corrections.len(), composed.tellings.len())
}

/// Tuesday morning: Monday's rain is known from the forecast alone.
async fn told_of_rain() -> Stage {
    let stage = Stage::set(TUESDAY).await;
    round(&stage, &Spring::with(1.4, Kind::Forecast)).await;
    let sent = stage.send().await;
    assert_eq!(sent.len(), 1, "{sent:?}");
    assert!(sent[0].contains("likely set your pre"), "{}", sent[0]);
    stage
}

#[tokio::test(flavor = "multi_thread")]
async fn rain_that_fell_short_is_told_once_and_not_again_by_a_twin() {
    let stage = told_of_rain().await;
    stage.at(WEDNESDAY);
    let short = Spring::with(0.05, Kind::Station);
    round(&stage, &short).await;
    let sent = stage.send().await;
    assert_eq!(sent.len(), 1, "{sent:?}");
    assert!(sent[0].starts_with("Test Desk: Update: Creek"), "{}", sent[0]);
    assert!(sent[0].contains("RAIN 0.4") && sent[0].contains("not set"), "{}", sent[0]);
    round(&stage, &short).await;
    round_of(&stage.twin().await, &short).await;
    assert_eq!(stage.send().await.len(), 0, "neither the next round nor another instance");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wait_that_is_due_to_be_told_is_told_as_the_update() {
    let stage = told_of_rain().await;
    stage.at("2026-05-15T15:00:00Z");
    let short = Spring::with(0.05, Kind::Station);
    round(&stage, &short).await;
    let sent = stage.send().await;
    assert_eq!(sent.len(), 1, "one text, not a correction and a first call: {sent:?}");
    assert!(sent[0].contains("Update: Creek. Your pre got 0.1 in rain in 5 days"), "{}", sent[0]);
    let open = stage.desk.store.open_notices().await.unwrap();
    assert_eq!(open.len(), 1);
    assert_eq!(open[0].identity.topic, Topic::RainNeeded);
    round(&stage, &short).await;
    assert_eq!(stage.send().await.len(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_holds_or_cannot_be_known_is_not_corrected() {
    let stage = told_of_rain().await;
    stage.at(WEDNESDAY);
    round(&stage, &Spring::with(1.3, Kind::Station)).await;
    assert_eq!(stage.send().await.len(), 0, "it rained");
    let mut unknown = Spring::with(1.4, Kind::Forecast);
    unknown.missing = vec![date("2026-05-11")];
    round(&stage, &unknown).await;
    assert_eq!(stage.send().await.len(), 0, "nobody knows whether it rained");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_growers_own_gauge_takes_it_back_too() {
    let stage = told_of_rain().await;
    stage.at("2026-05-12T18:00:00Z");
    let mut spring = Spring::with(1.4, Kind::Forecast);
    let amount = Millimetres::from_inches(0.1).unwrap();
    spring.notes.push(Entry { date: date("2026-05-11"), event: Event::Rain { amount } });
    round(&stage, &spring).await;
    let sent = stage.send().await;
    assert_eq!(sent.len(), 1, "{sent:?}");
    assert!(sent[0].contains("Update:"), "{}", sent[0]);
}

#[tokio::test(flavor = "multi_thread")]
async fn measured_rain_after_a_correction_is_told_and_forecast_rain_is_not() {
    let stage = told_of_rain().await;
    stage.at(WEDNESDAY);
    let mut spring = Spring::with(0.05, Kind::Station);
    round(&stage, &spring).await;
    assert_eq!(stage.send().await.len(), 1);
    stage.at("2026-05-15T15:00:00Z");
    let forecast =
        Spring { rain_in: Some((1.4, Kind::Forecast)), ..Spring::with(0.0, Kind::Station) };
    round(&stage, &forecast).await;
    assert_eq!(stage.send().await.len(), 0, "a forecast was wrong about it once");
    spring.later.push((date("2026-05-14"), 1.4));
    round(&stage, &spring).await;
    let sent = stage.send().await;
    assert_eq!(sent.len(), 1, "{sent:?}");
    assert!(sent[0].contains("Update: Creek") && sent[0].contains("set your pre"), "{}", sent[0]);
    round(&stage, &spring).await;
    assert_eq!(stage.send().await.len(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_never_went_is_withdrawn_and_not_corrected() {
    // 22:00 CDT: the text waits for the morning.
    let stage = Stage::set("2026-05-13T03:00:00Z").await;
    round(&stage, &Spring::with(1.4, Kind::Forecast)).await;
    round(&stage, &Spring::with(0.05, Kind::Station)).await;
    assert_eq!(stage.send_at(WEDNESDAY).await.len(), 0);
    assert_eq!(stage.state().await, TextState::Held);
    round(&stage, &Spring::with(0.05, Kind::Station)).await;
    assert_eq!(stage.texts().await.len(), 1, "there is nothing to correct");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_update_waits_for_the_end_of_quiet_hours_and_is_dropped_when_it_turns_back() {
    let stage = told_of_rain().await;
    stage.at("2026-05-13T03:00:00Z");
    let short = Spring::with(0.05, Kind::Station);
    round(&stage, &short).await;
    assert_eq!(stage.texts().await.len(), 1, "quiet");
    stage.at("2026-05-13T05:00:00Z");
    round(&stage, &Spring::with(1.4, Kind::Station)).await;
    stage.at(WEDNESDAY);
    round(&stage, &Spring::with(1.4, Kind::Station)).await;
    assert_eq!(stage.send().await.len(), 0, "it did rain after all, and nobody was woken");
}

#[tokio::test(flavor = "multi_thread")]
async fn done_stop_hold_and_time_end_it() {
    let short = || Spring::with(0.05, Kind::Station);
    let stage = told_of_rain().await;
    stage.at(WEDNESDAY);
    assert_eq!(compose(&stage, &short()).await, (1, 0), "else the rest proves nothing");

    let mut held = short();
    let until = date("2026-05-16");
    held.notes.push(Entry { date: date("2026-05-12"), event: Event::Hold { topic: None, until } });
    round(&stage, &held).await;
    assert_eq!(stage.send().await.len(), 0, "on hold");

    stage.at("2026-05-17T15:00:00Z");
    assert_eq!(compose(&stage, &short()).await.0, 0, "no news any more");

    let stage = told_of_rain().await;
    stage.at(WEDNESDAY);
    let notice = stage.desk.store.open_notices().await.unwrap().remove(0);
    assert_eq!(notice.identity.topic, Topic::RainSet);
    let mut done = short();
    let event = Event::PostApplied { ingredients: Vec::new() };
    done.notes.push(Entry { date: date("2026-05-12"), event });
    assert_eq!(compose(&stage, &done).await.0, 0, "answered");
    let closing = Closing { ending: Ending::Expired, at: utc(WEDNESDAY), by: None };
    stage.desk.store.withdraw_notice(&notice.id, &closing).await.unwrap();
    assert_eq!(compose(&stage, &short()).await.0, 1, "withdrawn, and still to be taken back");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_day_puts_an_update_off_to_the_next() {
    let stage = told_of_rain().await;
    let pounds = [110.0, 130.0].map(|pounds| super::stage::routine(pounds, "2026-05-25"));
    let [north, hill] = pounds;
    let findings = [("North 8", north), ("Hill", hill)];
    for count in 1..=findings.len() {
        let mut fields = super::stage::fields(&stage.desk, &findings[..count]);
        for at in fields.iter_mut().filter(|at| at.field.name == "Creek") {
            at.season = Spring::with(1.4, Kind::Forecast).season(at.field, at.today);
        }
        stage.desk.decide(&fields, stage.desk.clock.now()).await.unwrap();
    }
    for minutes in [15, 30] {
        stage.desk.clock.advance_to(utc(TUESDAY) + TimeDelta::minutes(minutes));
        assert_eq!(stage.send().await.len(), 1, "three routine texts have gone");
    }
    stage.desk.clock.advance_to(utc(TUESDAY) + TimeDelta::hours(4));
    round(&stage, &Spring::with(0.05, Kind::Station)).await;
    assert_eq!(stage.send().await.len(), 0);
    stage.at(WEDNESDAY);
    round(&stage, &Spring::with(0.05, Kind::Station)).await;
    assert_eq!(stage.send().await.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_seedbed_that_hovers_is_told_once_a_week() {
    use furrowbell_engine::findings::{Evidence, Finding, SeedbedVerdict, Urgency};
    let ready = |occasion: &str| Finding {
        occasion: date(occasion),
        expires: date("2026-05-30"),
        act_by: None,
        evidence: Evidence::Seedbed {
            low_in: 1.75,
            high_in: 2.25,
            moist_from_in: Some(1.0),
            soil_f: 50.4,
            verdict: SeedbedVerdict::Ready,
            cold_on: None,
        },
        urgency: Urgency::Routine,
        ..super::stage::routine(1.0, "2026-05-30")
    };
    let stage = Stage::set("2026-05-10T15:00:00Z").await;
    let mut sent = Vec::new();
    for day in ["05-10", "05-12", "05-16", "05-17", "05-20"] {
        stage.at(&format!("2026-{day}T15:00:00Z"));
        decide(&stage.desk, &[("Creek", ready(&format!("2026-{day}")))]).await;
        sent.push(stage.send().await.len());
    }
    assert_eq!(sent, [1, 0, 0, 1, 0], "seven days after the first");
}
