//! Books on disk for the stories: one farm inside the cell that the weather service describes.

use crate::weather_service::INSIDE;
use chrono::NaiveDate;
use std::fmt::Write as _;
use std::path::Path;
use tempfile::TempDir;

/// Shared secret of the reply hook.
pub const HOOK_SECRET: &str = "a-secret-for-stories";
/// The grower's number.
pub const GROWER: &str = "+15155550123";

/// What a story's book points at.
#[derive(Debug)]
pub struct Points<'a> {
    /// Database URL.
    pub database: &'a str,
    /// Base address of the weather service.
    pub weather: &'a str,
    /// Address of the gateway.
    pub gateway: &'a str,
    /// Whether the book says that the gateway drops repeats.
    pub deduplicates: bool,
    /// Port for the reply hook.
    pub port: u16,
}

/// Writes the book; the folder goes when the value does.
pub fn write(points: &Points<'_>) -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let files = [
        ("service.toml", service(points)),
        ("hook.secret", HOOK_SECRET.to_owned()),
        ("people.toml", people()),
        ("farms/story.toml", farm()),
        ("weather/story.csv", observed()),
    ];
    for (name, text) in files {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a file lies in a folder"))
            .and_then(|()| std::fs::write(&path, text))
            .expect("the book can be written");
    }
    folder
}

fn service(points: &Points<'_>) -> String {
    let Points { database, weather, gateway, deduplicates, port } = points;
    format!(
        r#"
name = "Story Desk"
contact = "desk@example.org"
zone = "America/Chicago"
listen = "127.0.0.1:{port}"
database.url = "{database}"
rounds.every_minutes = 30
[weather.nws]
base_url = "{weather}"
every_minutes = 30
[weather.files]
folder = "weather"
forecast_days = 0
[routes.console]
[routes.sms]
url = "{gateway}"
deduplicates = {deduplicates}
timeout_s = 2
fields.validity_s = "validity"
[routes.sms.inbound]
secret.file = "hook.secret"
[sending]
routine_texts_per_day = 9
texts_per_s = 50.0
"#
    )
}

fn people() -> String {
    format!(
        r#"
[[person]]
id = "advisor"
name = "Ada Storyteller"
role = "advisor"
routes = ["console"]
consent = {{ date = 2026-03-01, wording = "asked for the digest" }}
[[person]]
id = "grower"
name = "Gus Grower"
role = "grower"
phone = "{GROWER}"
routes = ["sms"]
consent = {{ date = 2026-03-01, wording = "agreed on paper to field texts" }}
"#
    )
}

/// Three fields on one spot: corn whose pre waits, beans whose post is due, corn to sidedress.
fn farm() -> String {
    let (latitude, longitude) = INSIDE;
    let place = format!(
        "latitude = {latitude}\nlongitude = {longitude}\nacres = 80\ntexture = \"silt-loam\"\n\
         organic_matter_percent = 3.0"
    );
    format!(
        r#"
[farm]
name = "Story Farm"
growers = ["grower"]
advisors = ["advisor"]

[[field]]
name = "North 80"
{place}
[field.plan]
crop = "corn"
relative_maturity_days = 104
depth_in = 2.0
row_spacing_in = 30
pre = {{ name = "spring pre", ingredients = ["s-metolachlor", "atrazine"] }}
post = {{ name = "post mix", ingredients = ["glyphosate"] }}
[field.done]
planted = 2026-08-26
pre_applied = 2026-08-26

[[field]]
name = "South 40"
{place}
[field.plan]
crop = "soybean"
maturity_group = 2.4
depth_in = 1.5
row_spacing_in = 15
pre = {{ name = "bean pre", ingredients = ["flumioxazin", "pyroxasulfone"] }}
post = {{ name = "bean post", ingredients = ["glufosinate"] }}
[field.done]
planted = 2026-08-02
pre_applied = 2026-08-02

[[field]]
name = "Creek 60"
{place}
[field.plan]
crop = "corn"
relative_maturity_days = 104
depth_in = 2.0
row_spacing_in = 30
nitrogen = {{ starter_lb_per_acre = 20, sidedress_lb_per_acre = 120, source = "uan32" }}
[field.done]
planted = 2026-08-10
"#
    )
}

/// Hot August days, one good rain on the 4th, dry from the 20th on. Invented.
fn observed() -> String {
    let mut csv = "date,high_f,low_f,rain_in\n".to_owned();
    let first = NaiveDate::from_ymd_opt(2026, 7, 25).expect("a date");
    let rains = [("2026-08-04", 1.1), ("2026-08-12", 0.6), ("2026-08-18", 0.4)];
    for date in first.iter_days().take(39) {
        let rain = rains.iter().find(|(day, _)| *day == date.to_string()).map_or(0.0, |(_, r)| *r);
        writeln!(csv, "{date},91,67,{rain}").expect("a string can be written to");
    }
    csv
}

/// A `sqlite:` URL for a database in the folder.
pub fn sqlite_in(folder: &Path) -> String {
    format!("sqlite:{}", folder.join("story.db").display())
}
