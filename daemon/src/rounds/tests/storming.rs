//! Hundreds of fields that cross in one round: nobody's phone rings all morning.

use super::bundling::{closing, sidedress};
use super::stage::{Stage, decide, fields, routine, utc};
use crate::store::TextState;
use crate::wire::Outside;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::America::Chicago;
use furrowbell_config::local::local_day;
use furrowbell_engine::findings::{Finding, Urgency};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use tempfile::TempDir;

/// 10:00 CDT.
const MORNING: &str = "2026-05-20T15:00:00Z";
/// 20:45 CDT.
const EVENING: &str = "2026-05-21T01:45:00Z";
const NEXT_MORNING: &str = "2026-05-21T13:00:00Z";
const PEOPLE: usize = 60;
const FIELDS: usize = 500;

/// Farms of eight or nine fields; each is told to its grower and to a neighbour who grows there too.
fn book() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    };
    put(
        "service.toml",
        "name = \"Test Desk\"\ncontact = \"desk@example.org\"\nzone = \"America/Chicago\"\n\
         [routes.console]\n[routes.sms]\nurl = \"http://127.0.0.1:9/send\"\n\
         [weather.files]\nfolder = \"weather\"\nforecast_days = 0\n",
    );
    put("weather/farm.csv", "date,high_f,low_f,rain_in\n2026-01-01,40,20,0\n");
    let mut people = "[[person]]\nid = \"ada\"\nname = \"Ada\"\nrole = \"advisor\"\nroutes = \
                      [\"console\"]\nconsent = { date = 2026-01-02, wording = \"asked\" }\n"
        .to_owned();
    for number in 0..PEOPLE {
        let phone = 100 + number;
        let person = format!(
            "[[person]]\nid = \"g{number}\"\nname = \"Grower {number}\"\nrole = \"grower\"\nphone \
             = \"+15155550{phone}\"\nroutes = [\"sms\"]\nconsent = {{ date = 2026-01-02, wording = \
             \"agreed on paper\" }}\n"
        );
        people.push_str(&person);
        let neighbour = (number + 1) % PEOPLE;
        let mut farm = format!(
            "[farm]\nname = \"Farm {number}\"\ngrowers = [\"g{number}\", \
             \"g{neighbour}\"]\nadvisors = [\"ada\"]\n"
        );
        for field in (0..FIELDS).filter(|field| field % PEOPLE == number) {
            write!(
                farm,
                "[[field]]\nname = \"Field {field}\"\nlatitude = 41.2\nlongitude = -96.6\nacres = \
                 80\ntexture = \"silt-loam\"\norganic_matter_percent = 3.0\n[field.plan]\ncrop = \
                 \"corn\"\nrelative_maturity_days = 104\ndepth_in = 2.0\nrow_spacing_in = 30\n"
            )
            .unwrap();
        }
        put(&format!("farms/farm-{number}.toml"), &farm);
    }
    put("people.toml", &people);
    folder
}

/// Three topics, with many deadlines and numbers.
fn crossing(field: usize) -> Finding {
    let farm_field = field / PEOPLE;
    let day = format!("2026-06-{:02}", 10 + farm_field);
    let finding = match (field + farm_field) % 3 {
        0 => closing(&day),
        1 => sidedress(&day),
        _ => routine(40.0 + 10.0 * f64::from(u32::try_from(farm_field).unwrap()), "2026-06-20"),
    };
    Finding { urgency: Urgency::Routine, ..finding }
}

/// When routine notices went, by person.
async fn went(stage: &Stage) -> BTreeMap<String, Vec<DateTime<Utc>>> {
    let mut went: BTreeMap<String, Vec<DateTime<Utc>>> = BTreeMap::new();
    for queued in stage.texts().await {
        if let Some(at) = queued.sent_at {
            assert_eq!(queued.text.urgency, Urgency::Routine);
            went.entry(queued.text.person).or_default().push(at);
        }
    }
    for times in went.values_mut() {
        times.sort();
    }
    went
}

/// Everybody with a text that waits for another day stands in the digest with the reason.
async fn digest_names_what_waits(stage: &Stage, findings: &[(&str, Finding)]) {
    let now = stage.desk.clock.now();
    let ada = stage.desk.book.person("ada").unwrap();
    let now_fields = fields(&stage.desk, findings);
    let digest = stage.desk.compose_digest(ada, &now_fields, now, now).await.unwrap();
    let held = digest.text.split("HELD BACK").nth(1).unwrap();
    let mut waiting = 0;
    for queued in stage.texts().await.iter().filter(|one| one.state == TextState::Waiting) {
        let name = &stage.desk.book.person(&queued.text.person).unwrap().name;
        assert!(held.contains(name.as_str()), "{name} is not in {held}");
        waiting += 1;
    }
    assert!(waiting > 0 && held.contains("Enough texts for one day"), "{held}");
}

async fn a_storm_keeps_its_measure(outage: TimeDelta) {
    let stage = Stage::of_book(book(), MORNING, Outside::Pretended).await;
    let names: Vec<String> = (0..FIELDS).map(|field| format!("Field {field}")).collect();
    let findings: Vec<(&str, Finding)> =
        names.iter().enumerate().map(|(at, name)| (name.as_str(), crossing(at))).collect();
    decide(&stage.desk, &findings).await;
    let start = stage.desk.clock.now() + outage;
    let next_day = utc(NEXT_MORNING);
    for minutes in (0..=120).step_by(5) {
        stage.desk.clock.advance_to(start + TimeDelta::minutes(minutes));
        stage.send().await;
    }
    stage.at(EVENING);
    stage.send().await;
    digest_names_what_waits(&stage, &findings).await;
    for minutes in (0..=120).step_by(5) {
        stage.desk.clock.advance_to(next_day + TimeDelta::minutes(minutes));
        stage.send().await;
    }
    let went = went(&stage).await;
    assert_eq!(went.len(), PEOPLE, "everybody hears");
    for (person, times) in &went {
        for pair in times.windows(2) {
            let gap = (pair[1] - pair[0]).num_minutes();
            assert!(gap >= 15, "{person} got two texts within {gap} minutes");
        }
        let mut a_day: BTreeMap<NaiveDate, usize> = BTreeMap::new();
        for at in times {
            *a_day.entry(local_day(*at, Chicago)).or_default() += 1;
        }
        assert!(a_day.values().all(|count| *count <= 3), "{person}: {a_day:?}");
    }

    // What was not told waits in a text or stands in the digest; nothing is lost.
    let now_fields = fields(&stage.desk, &findings);
    let now = stage.desk.clock.now();
    let composed = stage.desk.compose(&now_fields, now).await.unwrap();
    let mut known = BTreeSet::new();
    for queued in stage.texts().await {
        let notices = stage.desk.store.notices_of_text(&queued.text.id).await.unwrap();
        known.extend(notices.into_iter().map(|notice| notice.identity));
    }
    known.extend(composed.held.iter().map(|(one, _)| one.identity()));
    assert_eq!(known.len(), 2 * FIELDS, "two people hear of each field");
    let told: usize = went.values().map(Vec::len).sum();
    assert!(told <= 2 * 3 * PEOPLE, "three texts a day at most");
}

#[tokio::test(flavor = "multi_thread")]
async fn five_hundred_fields_of_sixty_people_ring_each_phone_once_a_quarter_hour() {
    a_storm_keeps_its_measure(TimeDelta::zero()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backlog_of_six_hours_goes_out_at_the_same_pace() {
    a_storm_keeps_its_measure(TimeDelta::hours(6)).await;
}
