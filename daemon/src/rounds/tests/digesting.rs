//! The digest through both clock changes.

use super::stage::{Stage, utc};
use crate::store::{TextFilter, TextKind};
use chrono::{NaiveDate, TimeDelta};
use chrono_tz::America::Chicago;

/// Local dates and times of the digests from one instant to another.
async fn digests(from: &str, until: &str) -> Vec<String> {
    let stage = Stage::set(from).await;
    let desk = &stage.desk;
    while desk.clock.now() < utc(until) {
        desk.turn().await.unwrap();
        stage.send().await;
        desk.clock.advance_to(desk.next_turn(desk.clock.now()));
    }
    let mut texts = desk.store.texts(&TextFilter::default()).await.unwrap();
    texts.retain(|queued| queued.text.kind == TextKind::Digest);
    texts.sort_by_key(|queued| queued.sent_at);
    let local = |at: chrono::DateTime<chrono::Utc>| at.with_timezone(&Chicago);
    texts
        .into_iter()
        .filter_map(|queued| queued.sent_at)
        .map(|at| local(at).format("%m-%d %H:%M %Z").to_string())
        .collect()
}

/// Offsets of the IANA data, America/Chicago: CDT from 2026-03-08 08:00 UTC to 2026-11-01 07:00 UTC.
#[tokio::test(flavor = "multi_thread")]
async fn it_goes_once_a_local_date_through_both_clock_changes() {
    assert_eq!(
        digests("2026-03-07T06:00:00Z", "2026-03-10T05:00:00Z").await,
        ["03-07 05:30 CST", "03-08 05:30 CDT", "03-09 05:30 CDT"]
    );
    assert_eq!(
        digests("2026-10-31T05:00:00Z", "2026-11-03T06:00:00Z").await,
        ["10-31 05:30 CDT", "11-01 05:30 CST", "11-02 05:30 CST"]
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn after_an_outage_a_late_digest_goes_in_the_morning_and_none_past_noon() {
    let made = async |start: &str| {
        let stage = Stage::set(start).await;
        stage.desk.turn().await.unwrap();
        stage.desk.turn().await.unwrap();
        stage.send().await;
        let last = stage.desk.store.last_digest("ada").await.unwrap();
        last.map(|digest| digest.local_date)
    };
    assert_eq!(made("2026-05-20T10:29:59Z").await, None, "5:29:59 CDT");
    let today = NaiveDate::from_ymd_opt(2026, 5, 20);
    assert_eq!(made("2026-05-20T16:59:59Z").await, today, "11:59:59 CDT");
    assert_eq!(made("2026-05-20T17:00:00Z").await, None, "noon");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_round_comes_no_later_than_the_digest_and_always_later_than_now() {
    let stage = Stage::set("2026-05-20T10:00:00Z").await;
    let desk = &stage.desk;
    assert_eq!(desk.next_turn(utc("2026-05-20T10:00:00Z")), utc("2026-05-20T10:30:00Z"));
    for minutes in 0..3000 {
        let now = utc("2026-10-31T05:00:00Z") + TimeDelta::minutes(minutes);
        let next = desk.next_turn(now);
        assert!(now < next && next <= now + TimeDelta::hours(1), "{now} {next}");
    }
}
