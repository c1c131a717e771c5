//! A small farm, a desk over a record of its own, and findings made to measure.

use crate::clock::Clock;
use crate::rounds::Desk;
use crate::rounds::advance::FieldNow;
use crate::rounds::decide::APART;
use crate::store::{Queued, Settlement, Store, Text, TextFilter, TextKind, TextState, testing};
use crate::wire::{self, Outside};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use furrowbell_config::Book;
use furrowbell_config::farms::Field;
use furrowbell_config::local::local_day;
use furrowbell_engine::clocks::nitrogen::RainSum;
use furrowbell_engine::findings::{Evidence, Finding, LossRule, PoundsRange, Urgency};
use furrowbell_engine::reference::Standing;
use furrowbell_engine::season::Season;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tempfile::TempDir;
use tokio_util::sync::CancellationToken;

/// Names of the farm's fields with the places they lie at.
pub const FIELDS: [(&str, f64, f64); 5] = [
    ("North 8", 41.21, -96.62),
    ("North 80", 41.22, -96.62),
    ("Creek", 41.31, -96.62),
    ("Hill", 41.32, -96.72),
    ("Slough", 41.33, -96.82),
];

/// The farm's weather from files alone.
pub const FILES: &str = "[weather.files]\nfolder = \"weather\"\nforecast_days = 0\n";

pub struct Stage {
    pub desk: Desk,
    url: String,
    _folder: TempDir,
}

pub fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

pub fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

impl Stage {
    /// Texts are taken as sent.
    pub async fn set(start: &str) -> Self {
        Self::with(start, FILES, "", Outside::Pretended).await
    }

    /// Texts go to a real gateway at `url`.
    pub async fn with_gateway(start: &str, url: &str, deduplicates: bool) -> Self {
        let sms = format!(
            "[routes.sms]\nurl = \"{url}/send\"\ndeduplicates = {deduplicates}\ntimeout_s = 1\n\
             [sending]\ntexts_per_s = 100.0\n"
        );
        Self::with(start, &format!("{FILES}{sms}"), "", Outside::Real).await
    }

    /// `service` goes into the settings, `ann` into the grower's entry.
    pub async fn with(start: &str, service: &str, ann: &str, outside: Outside) -> Self {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let folder = tempfile::tempdir().unwrap();
        write_book(folder.path(), service, ann);
        Self::of_book(folder, start, outside).await
    }

    /// The book in that folder.
    pub async fn of_book(folder: TempDir, start: &str, outside: Outside) -> Self {
        let book = Book::load(folder.path()).unwrap_or_else(|faults| panic!("{faults}"));
        let url = format!("sqlite:{}", folder.path().join("record.db").display());
        let store = Store::open(&url).await.unwrap();
        store.migrate().await.unwrap();
        let desk = wire::desk(book, store, Clock::pretended(utc(start)), outside).unwrap();
        desk.looked.store(true, Ordering::Relaxed);
        desk.keep_book_consent(utc(start)).await.unwrap();
        let stage = Self { desk, url, _folder: folder };
        stage.welcomed_long_ago().await;
        stage
    }

    /// Everybody's number has had its first text a month before the story begins.
    async fn welcomed_long_ago(&self) {
        let before = self.desk.clock.now() - TimeDelta::days(31);
        let store = &self.desk.store;
        for person in &self.desk.book.people {
            let Some(phone) = &person.phone else { continue };
            let welcome = Text {
                person: person.id.clone(),
                due_at: before,
                created_at: before,
                expires_at: before + APART,
                ..testing::text(&format!("welcome-{}", person.id))
            };
            assert!(store.greet(&welcome, phone).await.unwrap());
            let lease = store.lease(None, before, before + APART, &welcome.id, 1).await.unwrap();
            assert_eq!(lease.len(), 1);
            let sent = Settlement::Sent { provider_ids: Vec::new() };
            let settled = store.settle(&welcome.id, &welcome.id, before, Duration::ZERO, &sent);
            settled.await.unwrap();
        }
    }

    /// A second instance over the same record.
    pub async fn twin(&self) -> Desk {
        Desk { store: Store::open(&self.url).await.unwrap(), ..self.desk.clone() }
    }

    pub fn at(&self, now: &str) {
        self.desk.clock.advance_to(utc(now));
    }

    /// One round that finds just these.
    pub async fn decide(&self, findings: &[(&str, Finding)]) {
        decide(&self.desk, findings).await;
    }

    /// Each finding in a round of its own, so that each gets a text of its own.
    pub async fn decide_one_by_one(&self, findings: &[(&str, Finding)]) {
        for count in 1..=findings.len() {
            self.decide(&findings[..count]).await;
        }
    }

    /// Sends what is due and gives the bodies in order, digests left out.
    pub async fn send(&self) -> Vec<String> {
        let sent = self.desk.send_due(&CancellationToken::new()).await.unwrap();
        let texts = sent.into_iter().filter(|queued| queued.text.kind != TextKind::Digest);
        texts.map(|queued| queued.text.body).collect()
    }

    /// Moves the clock, then sends.
    pub async fn send_at(&self, now: &str) -> Vec<String> {
        self.at(now);
        self.send().await
    }

    /// Every notice text so far, the earliest first.
    pub async fn texts(&self) -> Vec<Queued> {
        let mut texts = self.desk.store.texts(&TextFilter::default()).await.unwrap();
        texts.retain(|queued| {
            queued.text.kind == TextKind::Notice && !queued.text.id.starts_with("welcome-")
        });
        texts.reverse();
        texts
    }

    /// The only notice text there is.
    pub async fn text(&self) -> Queued {
        let mut texts = self.texts().await;
        assert_eq!(texts.len(), 1, "{texts:?}");
        texts.remove(0)
    }

    pub async fn state(&self) -> TextState {
        self.text().await.state
    }
}

pub async fn decide(desk: &Desk, findings: &[(&str, Finding)]) {
    let now = desk.clock.now();
    desk.decide(&fields(desk, findings), now).await.unwrap();
}

/// The farm as of now, showing just these findings by field.
pub fn fields<'a>(desk: &'a Desk, findings: &[(&str, Finding)]) -> Vec<FieldNow<'a>> {
    let of = |name: &str| {
        let own = findings.iter().filter(|(field, _)| *field == name);
        own.map(|(_, finding)| finding.clone()).collect()
    };
    let field_now = |field: &'a Field| FieldNow {
        farm: desk.book.farm(&field.farm).unwrap(),
        field,
        today: local_day(desk.clock.now(), desk.book.farm(&field.farm).unwrap().zone),
        entries: Vec::new(),
        season: Season { days: Vec::new(), now: None, findings: of(&field.name) },
        forecast_issued: None,
        forecast_from: None,
    };
    desk.book.fields.iter().map(field_now).collect()
}

/// A routine finding that is told until the day before `expires`.
pub fn routine(pounds: f64, expires: &str) -> Finding {
    let expires = date(expires);
    Finding {
        occasion: date("2026-05-01"),
        version: 1,
        urgency: Urgency::Routine,
        act_by: Some(expires - Days::new(1)),
        expires,
        provisional: false,
        evidence: Evidence::NitrogenLoss {
            rule: LossRule::SaturatedDays,
            pounds: PoundsRange { low: pounds, likely: pounds, high: pounds },
            standing: Standing::Published,
            wet_days: 3,
            washed: None,
            rain: RainSum::default(),
        },
    }
}

pub fn urgent(pounds: f64, expires: &str) -> Finding {
    Finding { urgency: Urgency::Urgent, ..routine(pounds, expires) }
}

fn write_book(folder: &Path, service: &str, ann: &str) {
    let put = |name: &str, text: &str| {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    };
    let nowhere = "[routes.sms]\nurl = \"http://127.0.0.1:9/send\"\n";
    let sms = if service.contains("[routes.sms]") { "" } else { nowhere };
    put(
        "service.toml",
        &format!(
            "name = \"Test Desk\"\ncontact = \"desk@example.org\"\nzone = \"America/Chicago\"\n\
             [routes.console]\n{sms}{service}"
        ),
    );
    put(
        "people.toml",
        &format!(
            r#"
[[person]]
id = "ada"
name = "Ada"
role = "advisor"
routes = ["console"]
consent = {{ date = 2026-01-02, wording = "asked for it" }}
[[person]]
id = "ann"
name = "Ann"
role = "grower"
phone = "+15155550123"
routes = ["sms"]
consent = {{ date = 2026-01-02, wording = "agreed on paper" }}
{ann}
"#
        ),
    );
    let mut farm =
        "[farm]\nname = \"Farm\"\ngrowers = [\"ann\"]\nadvisors = [\"ada\"]\n".to_owned();
    for (name, latitude, longitude) in FIELDS {
        write!(
            farm,
            r#"
[[field]]
name = "{name}"
latitude = {latitude}
longitude = {longitude}
acres = 80
texture = "silt-loam"
organic_matter_percent = 3.0
[field.plan]
crop = "corn"
relative_maturity_days = 104
depth_in = 2.0
row_spacing_in = 30
"#
        )
        .unwrap();
    }
    put("farms/farm.toml", &farm);
    put("weather/farm.csv", "date,high_f,low_f,rain_in\n2026-01-01,40,20,0\n");
}
