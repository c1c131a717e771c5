//! Broken books: each fault is told at its place, all of them at once, and nothing panics.

use furrowbell_config::{Book, Faults};
use proptest::prelude::*;
use std::path::Path;
use tempfile::TempDir;

const SERVICE: &str = r#"name = "Prairie Desk"
contact = "desk@prairie-desk.example"
zone = "America/Chicago"
[weather.nws]
[routes.sms]
url = "http://127.0.0.1:8471/messages"
[routes.console]
"#;

const PEOPLE: &str = r#"[[person]]
id = "ida"
name = "Ida"
role = "advisor"
routes = ["console"]

[[person]]
id = "orrin"
name = "Orrin"
role = "grower"
phone = "+15155550121"
routes = ["sms"]
consent = { date = 2026-03-01, wording = "field texts" }
"#;

const FARM: &str = r#"[farm]
name = "Ridge"
growers = ["orrin"]
advisors = ["ida"]

[[field]]
name = "North"
latitude = 42.1
longitude = -93.6
acres = 80
texture = "loam"
organic_matter_percent = 3.5

[field.plan]
crop = "corn"
relative_maturity_days = 105
depth_in = 2
row_spacing_in = 30

[field.plan.pre]
name = "corn pre"
ingredients = ["acetochlor", "atrazine"]

[field.plan.nitrogen]
starter_lb_per_acre = 30
sidedress_lb_per_acre = 120
source = "uan32"

[field.done]
planted = 2026-05-01
"#;

struct Sample {
    folder: TempDir,
}

impl Sample {
    fn new() -> Self {
        let sample = Self { folder: tempfile::tempdir().unwrap() };
        sample
            .with("service.toml", SERVICE)
            .with("people.toml", PEOPLE)
            .with("farms/ridge.toml", FARM)
    }

    fn with(self, file: &str, text: impl AsRef<[u8]>) -> Self {
        let path = self.folder.path().join(file);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
        self
    }

    fn load(&self) -> Result<Book, Faults> {
        Book::load(self.folder.path())
    }

    /// The faults as printed, without the folder.
    fn faults(&self) -> String {
        let faults = self.load().expect_err("the book is broken");
        let folder = format!("{}/", self.folder.path().display());
        faults.list().iter().map(|fault| format!("{fault}\n").replace(&folder, "")).collect()
    }
}

/// A book whole but for one change in one file.
fn changed(file: &str, text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from}");
    Sample::new().with(file, text.replacen(from, to, 1)).faults()
}

/// Declares one test a broken book: `name: file, "found" => "written instead", "faults";`.
macro_rules! broken {
    ($($name:ident: $file:ident, $from:literal => $to:literal, $faults:literal;)+) => {
        $(#[test]
        fn $name() {
            let (file, text) = $file();
            assert_eq!(changed(file, text, $from, $to).trim_end(), $faults);
        })+
    };
}

fn service() -> (&'static str, &'static str) {
    ("service.toml", SERVICE)
}
fn people() -> (&'static str, &'static str) {
    ("people.toml", PEOPLE)
}
fn farm() -> (&'static str, &'static str) {
    ("farms/ridge.toml", FARM)
}

const LABELS: &str = r#"[[label]]
crop = "corn"
ingredient = "mesotrione"
with = ["atrazine"]
label_date = 2026-01-10
confirmed_by = "ida"
height_under_in = 12
through_stage = "V8"
"#;

fn labels() -> (&'static str, &'static str) {
    ("labels.toml", LABELS)
}

#[test]
fn each_limit_of_a_label_becomes_a_fact() {
    let book = Sample::new().with("labels.toml", LABELS).load().unwrap();
    assert_eq!(book.labels.len(), 2);
    assert!(book.labels.iter().all(|fact| fact.confirmed_by == "ida"));
}

#[test]
fn two_labels_cannot_limit_the_same_thing() {
    let twice = format!("{LABELS}\n{LABELS}").replace("height_under_in", "height_up_to_in");
    let twice = twice.replacen("height_up_to_in", "height_under_in", 1);
    assert_eq!(
        Sample::new().with("labels.toml", twice).faults(),
        "labels.toml:16:19: height_up_to_in: a label before it limits the same ingredient in the \
         same way; want one of them\n\
         labels.toml:17:17: through_stage: a label before it limits the same ingredient in the \
         same way; want one of them\n"
    );
}

broken! {
    label_by_nobody: labels, "\"ida\"" => "\"idaa\"", "labels.toml:6:16: found \"idaa\", no person in people.toml has that id; did you mean \"ida\"?";
    label_without_limit: labels, "height_under_in = 12\nthrough_stage = \"V8\"\n" => "", "labels.toml:1:1: label: no limit; want one, such as through_stage";
    label_with_itself: labels, "[\"atrazine\"]" => "[\"mesotrione\"]", "labels.toml:4:9: with: the ingredient itself; want its partners";
    label_of_a_foreign_stage: labels, "V8" => "VC", "labels.toml:8:17: through_stage: found VC, no stage of corn";
    label_of_no_stage: labels, "V8" => "V21", "labels.toml:8:17: through_stage: found \"V21\", want last stage on the label: VE, VC, V1 to V20, VT or R1 to R8";
    label_of_an_unknown_ingredient: labels, "\"mesotrione\"" => "\"mesotrion\"", "labels.toml:3:14: ingredient: found \"mesotrion\", want perhaps mesotrione (one of 49)";
    label_too_tall: labels, "= 12" => "= 400", "labels.toml:7:19: height_under_in: found 400, want 1 to 120";
    label_undated: labels, "label_date = 2026-01-10\n" => "", "labels.toml:1:1: label_date: missing (date of the label)";
}

const PRODUCT: &str = r#"[[product]]
name = "Mix 3"
epa_reg = "123-45"
ingredients = ["acetochlor"]
restricted = true
rate_per_acre = { amount = 1.5, unit = "qt" }
label_date = 2026-01-10
confirmed_by = "ida"
"#;

fn product() -> (&'static str, &'static str) {
    ("labels.toml", PRODUCT)
}

broken! {
    product_by_nobody: product, "\"ida\"" => "\"idaa\"", "labels.toml:8:16: found \"idaa\", no person in people.toml has that id; did you mean \"ida\"?";
    product_of_no_unit: product, "\"qt\"" => "\"cup\"", "labels.toml:6:40: unit: found \"cup\", want gal, qt, pt, fl-oz, oz or lb";
}

#[test]
fn a_registration_number_must_have_the_form_of_one() {
    let faults = changed("labels.toml", PRODUCT, "123-45", "0123-45");
    assert!(faults.starts_with("labels.toml:3:11: epa_reg: found \"0123-45\""), "{faults}");
}

#[test]
fn a_product_stands_once_and_only_in_a_pass_that_holds_it() {
    let twice = format!("{PRODUCT}{PRODUCT}");
    let faults = Sample::new().with("labels.toml", twice).faults();
    assert_eq!(faults, "labels.toml:10:8: name: \"Mix 3\" stands above already\n");
    let planned = |names: &str| {
        let pass = "ingredients = [\"acetochlor\", \"atrazine\"]\n";
        let farm = FARM.replace(pass, &format!("{pass}products = {names}\n"));
        Sample::new().with("labels.toml", PRODUCT).with("farms/ridge.toml", farm)
    };
    let book = planned("[\"Mix 3\"]").load().unwrap();
    assert_eq!(book.fields[0].products.pre, ["Mix 3"]);
    assert!(book.product("Mix 3").unwrap().rate_per_acre.is_some());
    let faults = planned("[\"Mix 4\"]").faults();
    assert!(
        faults.contains("found \"Mix 4\", labels.toml has no product of that name"),
        "{faults}"
    );
    let other = PRODUCT.replace("[\"acetochlor\"]", "[\"acetochlor\", \"paraquat\"]");
    let faults = planned("[\"Mix 3\"]").with("labels.toml", other).faults();
    assert!(faults.contains("\"Mix 3\" holds paraquat, which the pass does not"), "{faults}");
}

#[test]
fn the_whole_sample_loads() {
    let book = observed().load().unwrap();
    assert_eq!(book.warnings, []);
    assert_eq!(book.fields[0].id, "ridge/north");
}

broken! {
    syntax: service, "zone =" => "zone", "service.toml:3:6: not valid TOML: key with no value, expected `=`";
    unknown_key_near: farm, "depth_in" => "dept_in", "farms/ridge.toml:14:1: depth_in: missing (target planting depth)\nfarms/ridge.toml:17:1: dept_in: unknown key; did you mean depth_in?";
    unknown_key_far: people, "name = \"Ida\"" => "name = \"Ida\"\nhobby = \"x\"", "people.toml:4:1: hobby: unknown key; known here are certification, consent, email, id, language, matrix, name, phone, quiet, role, routes, urgent_at_night, zone";
    wrong_type: farm, "acres = 80" => "acres = \"80\"", "farms/ridge.toml:10:9: acres: found text, want a number";
    out_of_range: farm, "latitude = 42.1" => "latitude = 421", "farms/ridge.toml:8:12: latitude: found 421, want -90 to 90";
    no_number: farm, "acres = 80" => "acres = nan", "farms/ridge.toml:10:9: found no plain number, want one";
    unknown_word: farm, "crop = \"corn\"" => "crop = \"maize\"", "farms/ridge.toml:15:8: crop: found \"maize\", want corn or soybean";
    unknown_role: people, "\"advisor\"" => "\"boss\"", "people.toml:4:8: role: found \"boss\", want grower, advisor or manager";
    unknown_texture: farm, "\"loam\"" => "\"loamy\"", "farms/ridge.toml:11:11: texture: found \"loamy\", want perhaps loam (one of 12)";
    unknown_group: farm, "[field.plan.pre]" => "[[field.plan.resistant]]\nweed = \"waterhemp\"\ngroup = 12\n\n[field.plan.pre]",
        "farms/ridge.toml:22:9: group: no known ingredient is in group 12";
    unknown_ingredient: farm, "\"atrazine\"" => "\"atrazin\"", "farms/ridge.toml:22:30: ingredients, item 2: found \"atrazin\", want perhaps atrazine (one of 49)";
    ingredient_twice: farm, "\"atrazine\"" => "\"acetochlor\"", "farms/ridge.toml:22:15: ingredients: found the same item twice, want at least one item and none twice";
    no_ingredient: farm, "[\"acetochlor\", \"atrazine\"]" => "[]", "farms/ridge.toml:22:15: ingredients: found an empty list, want at least one item and none twice";
    phone_with_spaces: people, "+15155550121" => "515 555 0121", "people.toml:11:9: phone: found text of another form, want mobile number, E.164: a plus sign, then country code and number in digits only";
    phone_as_number: people, "\"+15155550121\"" => "15155550121", "people.toml:11:9: phone: found a number, want text in quotes";
    no_such_date: people, "date = 2026-03-01" => "date = \"2026-02-30\"", "people.toml:13:20: date: found \"2026-02-30\", want a date such as 2026-05-01";
    no_such_zone: service, "America/Chicago" => "America/Chicagoo", "service.toml:3:8: zone: found \"America/Chicagoo\", want an IANA time zone such as America/Chicago";
    no_such_address: service, "[weather.nws]" => "listen = \"localhost\"\n[weather.nws]", "service.toml:4:10: listen: found \"localhost\", want an address such as 127.0.0.1:8470";
    no_weather: service, "[weather.nws]" => "[weather]", "service.toml:4:1: weather: no source; want [weather.nws], [weather.files] or both";
    no_weather_folder: service, "[weather.nws]" => "[weather.files]\nfolder = \"rain\"", "service.toml:5:10: folder: found no folder \"rain\" in the book";
    missing_name: farm, "name = \"North\"\n" => "", "farms/ridge.toml:6:1: name: missing (name as people say it: up to 24 plain letters, digits, spaces and .'&/-)";
    missing_table: service, "[weather.nws]\n" => "", "service.toml:1:1: weather: missing (where weather comes from)";
    missing_in_a_list: people, "role = \"grower\"\n" => "", "people.toml:7:1: role: missing (what the person does)";
    long_name: farm, "\"North\"" => "\"North of the old mill pond\"", "farms/ridge.toml:7:8: name: found \"North of the old mill pond\", want name as people say it: up to 24 plain letters, digits, spaces and .'&/-";
    schedule: service, "[weather.nws]" => "[rounds]\ndigest = \"30 5 * * 1\"\n[weather.nws]", "service.toml:5:10: digest: has the weekday \"1\"; want names from Mon to Sun, or *";
    secret_of_no_kind: service, "[routes.console]" => "[routes.sms.auth]\nkind = \"bearer\"\ntoken = { key = \"x\" }\n[routes.console]", "service.toml:9:9: token: want a table with file or env";
    secret_inline: service, "[routes.console]" => "[routes.sms.auth]\nkind = \"bearer\"\ntoken = \"abc\"\n[routes.console]", "service.toml:9:9: token: want a table with file or env";
    no_file_of_fields: farm, "[farm]" => "[farm]\nfields_from = \"fields.xls\"", "fields.xls:1:1: a file of fields must end in .csv or .geojson";
    auth_of_no_kind: service, "[routes.console]" => "[routes.sms.auth]\nkind = \"magic\"\n[routes.console]", "service.toml:8:8: kind: found \"magic\", want none, basic, bearer or header";
    auth_incomplete: service, "[routes.console]" => "[routes.sms.auth]\nkind = \"basic\"\nuser = \"x\"\n[routes.console]", "service.toml:7:1: password: missing (where that user's password is)";
    password_in_the_url: service, "[weather.nws]" => "[database]\nurl = \"postgres://f:pw@db/f\"\n[weather.nws]", "service.toml:5:7: url: holds a password; move the url to a file, with url_from";
    no_database: service, "[weather.nws]" => "[database]\n[weather.nws]", "service.toml:4:1: database: want url or url_from";
    foreign_database: service, "[weather.nws]" => "[database]\nurl = \"other:pw@db\"\n[weather.nws]", "service.toml:5:7: url: found text of another form, want `sqlite:PATH` (relative paths start at the book) or `postgres://USER@HOST/NAME`";
    replies_unheard: service, "[routes.console]" => "[routes.sms.inbound]\nsecret = { env = \"X\" }\n[routes.console]", "service.toml:7:1: inbound: nothing would hear the replies; set listen as well";
    success_never: service, "[routes.console]" => "[routes.sms.success]\nstatus_min = 300\n[routes.console]", "service.toml:8:14: status_min: larger than status_max, so no answer would be a success";
    plain_mail_abroad: service, "[routes.console]" => "[routes.email]\nhost = \"mail.example\"\nfrom = \"a@b\"\nsecurity = \"plain-loopback\"\nuser = \"u\"\n[routes.console]", "service.toml:7:1: email: user and password go together\nservice.toml:10:12: security: plain-loopback is only for a host on this machine; want starttls or implicit";
    thresholds_out_of_order: farm, "[[field]]" => "[farm.thresholds]\nactivation_alert_days = 12\n[[field]]", "farms/ridge.toml:7:25: activation_alert_days is 12, more than activation_escalate_days, 10; want it the other way round";
    id_twice: people, "id = \"orrin\"" => "id = \"ida\"", "farms/ridge.toml:3:12: found \"orrin\", no person in people.toml has that id\npeople.toml:8:6: id: \"ida\" is already taken above";
    phone_twice: people, "routes = [\"console\"]" => "routes = [\"console\"]\nphone = \"+15155550121\"", "people.toml:12:9: phone: also the number of \"ida\"; replies could not be told apart";
    no_phone_for_sms: people, "phone = \"+15155550121\"\n" => "", "people.toml:11:11: routes: sms needs the person's phone";
    route_not_set_up: people, "[\"sms\"]" => "[\"sms\", \"email\"]", "people.toml:12:18: routes: email is not set up; want [routes.email] in service.toml\npeople.toml:12:18: routes: email needs the person's email";
    no_route: people, "[\"console\"]" => "[]", "people.toml:5:10: routes: found an empty list, want at least one item and none twice";
    advisor_by_text_only: people, "[\"console\"]" => "[\"sms\"]\nphone = \"+15155550111\"", "people.toml:5:10: routes: an advisor needs email, matrix, webhook or console, the digest fits no text";
    quiet_for_no_time: people, "routes = [\"sms\"]" => "routes = [\"sms\"]\nquiet = { from = \"21:00\", until = \"21:00\" }", "people.toml:13:35: until: the same as from; want two different times";
    quiet_past_the_clock: people, "routes = [\"sms\"]" => "routes = [\"sms\"]\nquiet = { from = \"21:00\", until = \"24:00\" }", "people.toml:13:35: until: found \"24:00\", want first minute that is not quiet any more, HH:MM on a 24-hour clock";
    no_such_grower: farm, "[\"orrin\"]" => "[\"orin\"]", "farms/ridge.toml:3:12: found \"orin\", no person in people.toml has that id; did you mean \"orrin\"?";
    grower_as_advisor: farm, "[\"ida\"]" => "[\"orrin\"]", "farms/ridge.toml:4:13: advisors: \"orrin\" has another role; want an advisor";
    corn_with_a_group: farm, "relative_maturity_days = 105" => "maturity_group = 2.4", "farms/ridge.toml:14:1: relative_maturity_days: missing; corn needs it\nfarms/ridge.toml:16:18: maturity_group: not for corn; want relative_maturity_days";
    soybean_with_nitrogen: farm, "crop = \"corn\"\nrelative_maturity_days = 105" => "crop = \"soybean\"\nmaturity_group = 2.4", "farms/ridge.toml:24:1: nitrogen: not for soybean, only corn is sidedressed";
    gas_on_the_surface: farm, "source = \"uan32\"" => "source = \"anhydrous-ammonia\"\nplacement = \"surface\"", "farms/ridge.toml:28:13: placement: anhydrous ammonia is a gas, want in-soil";
    urease_without_urea: farm, "source = \"uan32\"" => "source = \"ammonium-nitrate\"\ninhibitor = \"urease\"", "farms/ridge.toml:28:13: inhibitor: urease is for urea and UAN, and neither is in the plan";
    too_shallow_for_corn: farm, "depth_in = 2" => "depth_in = 0.5", "farms/ridge.toml:17:12: depth_in: found 0.5, want 1 to 3.5 for corn";
    post_before_planting: farm, "planted = 2026-05-01" => "planted = 2026-05-01\npost_applied = 2026-04-01", "farms/ridge.toml:31:16: post_applied: found 2026-04-01, before planting on 2026-05-01";
    pounds_without_a_pass: farm, "planted = 2026-05-01" => "sidedressed_lb_per_acre = 90", "farms/ridge.toml:30:27: sidedressed_lb_per_acre: no pass goes with it; want sidedressed as well";
    two_fields_too_like: farm, "[[field]]" => "[[field]]\nname = \"north\"\nlatitude = 42\nlongitude = -93\nacres = 9\ntexture = \"loam\"\norganic_matter_percent = 3\n[[field]]", "farms/ridge.toml:14:8: name: \"North\" is too like \"north\" above";
    field_without_a_place: farm, "latitude = 42.1\n" => "", "farms/ridge.toml:6:1: field \"North\": missing latitude";
    token_in_the_clear: service, "[routes.console]" => "[routes.matrix]\nhomeserver = \"http://chat.example:8008\"\ntoken = { env = \"X\" }\n[routes.console]", "service.toml:8:14: homeserver: http would show the token to everybody on the way; want https, or a server on this machine";
    room_of_two: people, "routes = [\"console\"]\n\n[[person]]\n" => "routes = [\"console\"]\nmatrix = { user = \"@ida:farm.test\", room = \"!a:farm.test\" }\n\n[[person]]\nmatrix = { user = \"@orrin:farm.test\", room = \"!a:farm.test\" }\n", "people.toml:9:10: matrix: also the user or room of \"ida\"; replies could not be told apart";
}

#[test]
fn every_fault_of_every_file_comes_at_once() {
    let faults = Sample::new()
        .with("service.toml", SERVICE.replace("Chicago", "Nowhere"))
        .with("people.toml", PEOPLE.replace("advisor", "boss"))
        .with("farms/ridge.toml", FARM.replace("acres = 80", "acres = 0"))
        .with("farms/South Side.toml", FARM)
        .with(
            "replies.toml",
            "[[reply]]\nat = 2026-05-18T18:20:00\nfrom = \"orrin\"\ntext = \"DONE\"\n",
        )
        .faults();
    insta::assert_snapshot!(faults);
}

#[test]
fn a_reply_comes_from_somebody_known() {
    let reply = "[[reply]]\nat = 2026-05-18T18:20:00-05:00\nfrom = \"orinn\"\ntext = \"DONE\"\n";
    assert_eq!(
        Sample::new().with("replies.toml", reply).faults(),
        "replies.toml:3:8: found \"orinn\", no person in people.toml has that id; \
         did you mean \"orrin\"?\n"
    );
}

#[test]
fn whole_numbers_may_be_written_with_a_point() {
    let service = SERVICE.replace("[weather.nws]", "[rounds]\nevery_minutes = 30.0\n[weather.nws]");
    let book = Sample::new().with("service.toml", service).load().unwrap();
    assert_eq!(book.service.rounds.every_minutes, 30);
}

#[test]
fn missing_files_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let faults = Book::load(folder.path()).unwrap_err();
    let files: Vec<_> = faults.list().iter().map(|fault| fault.file.file_name().unwrap()).collect();
    assert_eq!(files, ["farms", "people.toml", "service.toml"]);
    assert!(faults.to_string().ends_with("3 faults; the book is not used"));
}

#[test]
fn warnings_do_not_stop_the_book() {
    let consent = "consent = { date = 2026-03-01, wording = \"field texts\" }\n";
    let book = observed()
        .with("people.toml", PEOPLE.replace(consent, ""))
        .with("farms/ridge.toml", FARM.replace("\"acetochlor\"", "\"fomesafen\""))
        .load()
        .unwrap();
    let messages: Vec<&str> =
        book.warnings.iter().map(|warning| warning.message.as_str()).collect();
    assert_eq!(
        messages,
        [
            "ingredients: fomesafen is unusual on corn; check your label",
            "consent: \"orrin\" gets no text until consent is on record",
        ]
    );
}

/// The sample with a source of observed days.
fn observed() -> Sample {
    Sample::new().with("service.toml", format!("{SERVICE}[weather.mesonet]\n"))
}

#[test]
fn a_book_that_observes_nothing_is_told_what_it_lacks() {
    let warned = |more: &str| {
        let service = SERVICE.replace("[weather.nws]", more);
        let book = Sample::new().with("service.toml", service).load().unwrap();
        let warnings = book.warnings.into_iter();
        warnings.map(|warning| (warning.line, warning.message)).collect::<Vec<_>>()
    };
    let [(line, message)] = warned("[weather.nws]").try_into().unwrap();
    assert_eq!(line, 4);
    assert!(message.starts_with("weather: no source of observed days, so rain stays \"likely\""));
    assert_eq!(warned("[weather.nws]\n[weather.acis]"), []);
    assert_eq!(warned("[weather.nws]\n[weather.mesonet]\n[weather.alerts]"), []);
    let [(line, message)] =
        warned("[weather.met_norway]\n[weather.acis]\n[weather.alerts]").try_into().unwrap();
    assert_eq!(line, 6);
    assert!(message.starts_with("alerts: many warnings name zones alone"), "{message}");
}

fn importing(file: &str, text: &str) -> Sample {
    let head = FARM.split("[[field]]").next().unwrap();
    Sample::new()
        .with(
            "farms/ridge.toml",
            head.replace("[farm]", &format!("[farm]\nfields_from = \"{file}\"")),
        )
        .with(file, text)
}

#[test]
fn faults_in_a_csv_are_placed_at_the_cell() {
    let faults = importing(
        "fields.csv",
        "name,latitude,longitude,acres,texture,organic_matter_percent\n\
         North,42.1,-93.6,80,loam,3.5\n\
         \"Low, wet\",142.1,-93.6,eighty,loam,3.5\n\
         West,42.1,-93.6,80,lome,\n\
         East,42.1,-93.6\n\
         North,42.2,-93.6,40,loam,35\n\
         North,42.2,-93.6,40,loam,3\n",
    );
    insta::assert_snapshot!(faults.faults());
}

#[test]
fn a_csv_must_have_its_columns() {
    let faults = importing("fields.csv", "name,lat,longitude,acres,texture\n").faults();
    insta::assert_snapshot!(faults);
}

#[test]
fn faults_in_geojson_are_placed_at_the_feature() {
    let feature = |name: &str, texture: &str, geometry: &str| {
        format!(
            "{{\"type\":\"Feature\",\"properties\":{{\"name\":\"{name}\",\"texture\":\"{texture}\",\
             \"organic_matter_percent\":3}},\"geometry\":{geometry}}}"
        )
    };
    let square = "{\"type\":\"Polygon\",\"coordinates\":\
                  [[[-93.6,42.1],[-93.59,42.1],[-93.59,42.11],[-93.6,42.11],[-93.6,42.1]]]}";
    let features = [
        feature("North", "loam", square),
        feature("South", "mud", square),
        feature("Well", "loam", "{\"type\":\"Point\",\"coordinates\":[-93.6,42.1]}"),
        feature("Swapped", "loam", &square.replace("-93.6,42.1]", "42.1,-193.6]")),
        feature("Line", "loam", "{\"type\":\"Polygon\",\"coordinates\":[[[0,1],[1,2],[0,1]]]}"),
    ];
    let text =
        format!("{{\"type\":\"FeatureCollection\",\"features\":[\n{}\n]}}\n", features.join(",\n"));
    insta::assert_snapshot!(importing("fields.geojson", &text).faults());
    let torn = importing("fields.geojson", &text[..80]).faults();
    assert!(torn.starts_with("fields.geojson:2:"), "{torn}");
}

#[test]
fn nesting_without_end_is_refused() {
    let deep = format!("a = {}", "[".repeat(100_000));
    assert!(Sample::new().with("service.toml", deep).faults().starts_with("service.toml:1:"));
    let deep = format!("{{\"type\":\"FeatureCollection\",\"features\":{}", "[".repeat(100_000));
    assert!(importing("fields.geojson", &deep).faults().starts_with("fields.geojson:1:"));
}

/// The files of the demo, to be spoiled.
const DEMO: [&str; 7] = [
    "service.toml",
    "people.toml",
    "replies.toml",
    "farms/kettle-ridge.toml",
    "farms/sand-hill.toml",
    "fields/long-slough.csv",
    "fields/sand-hill.geojson",
];

fn demo_file(file: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    std::fs::read(folder.join(file)).unwrap()
}

fn demo_copy() -> Sample {
    let mut sample = Sample { folder: tempfile::tempdir().unwrap() };
    for file in DEMO.into_iter().chain(["farms/long-slough.toml", "weather/README.md"]) {
        sample = sample.with(file, demo_file(file));
    }
    sample
}

/// What is put in place of a stretch of a file.
fn patch() -> impl Strategy<Value = Vec<u8>> {
    let words = [
        "",
        "\n",
        "\"",
        "=",
        "[",
        "]",
        "{",
        "}",
        ",",
        "-",
        "0",
        "1e999",
        "nan",
        "60.0",
        "''",
        "\u{e9}",
        "[[field]]",
        "[farm]",
        "999999999999999999999",
        "2026-13-41",
        "true",
        "name = 1",
        "null",
        "~1/",
    ];
    prop_oneof![
        proptest::sample::select(words.to_vec()).prop_map(|word| word.as_bytes().to_vec()),
        proptest::collection::vec(any::<u8>(), 0..4),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever is done to a file, loading ends in a book or in faults that keep numbers private.
    #[test]
    fn no_spoiled_book_panics_or_tells_a_number(
        file in proptest::sample::select(DEMO.to_vec()),
        patches in proptest::collection::vec((any::<proptest::sample::Index>(), 0_usize..12, patch()), 1..4),
    ) {
        let mut bytes = demo_file(file);
        for (at, length, patch) in patches {
            let start = at.index(bytes.len() + 1);
            let end = (start + length).min(bytes.len());
            bytes.splice(start..end, patch);
        }
        let is_text = std::str::from_utf8(&bytes).is_ok();
        if let Err(faults) = demo_copy().with(file, bytes).load() {
            let told = faults.to_string();
            prop_assert!(!told.contains("515555"), "{told}");
            // A file it names may be spoiled into one that is not there; it is there itself.
            let unread = format!("{file}:1:1: cannot be read: ");
            prop_assert!(!is_text || !told.contains(&unread), "{told}");
        }
    }
}
