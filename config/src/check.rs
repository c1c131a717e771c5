//! Checks across keys and files, after the shape of each file has passed.

use crate::document::Document;
use crate::farm_file::{CropName, FarmEntry, FieldEntry, NitrogenEntry, PlanEntry};
use crate::farms::Farm;
use crate::faults::{Fault, Notes};
use crate::people::{Person, Role, RouteName};
use crate::products::Product;
use crate::replies::Reply;
use crate::schedule::Schedule;
use crate::service::{Email, Matrix, Routes, Service, SmtpSecurity, WeatherSources};
use crate::structure::nearest_word;
use furrowbell_engine::plan::{Inhibitor, NitrogenSource, Placement};
use furrowbell_engine::reference::fertilisers;
use furrowbell_engine::reference::herbicides::{Ingredient, current_group};
use furrowbell_engine::thresholds::{Overrides, Thresholds};
use std::path::Path;

/// Planting depth that makes sense for a crop, inches (common practice, no source).
const CORN_DEPTH_IN: (f64, f64) = (1.0, 3.5);
const SOYBEAN_DEPTH_IN: (f64, f64) = (0.5, 2.5);

/// Ingredients that are not used over a crop without a bred tolerance (from memory). A warning, no
/// fault: the label decides.
const UNUSUAL_ON_CORN: [Ingredient; 6] = [
    Ingredient::Fomesafen,
    Ingredient::Lactofen,
    Ingredient::Acifluorfen,
    Ingredient::CloransulamMethyl,
    Ingredient::ChlorimuronEthyl,
    Ingredient::Clethodim,
];
const UNUSUAL_ON_SOYBEAN: [Ingredient; 6] = [
    Ingredient::Atrazine,
    Ingredient::Simazine,
    Ingredient::Nicosulfuron,
    Ingredient::Clopyralid,
    Ingredient::Tembotrione,
    Ingredient::Topramezone,
];

/// The free host of Open-Meteo (its terms of use: non-commercial use only).
const FREE_OPEN_METEO: &str = "api.open-meteo.com";

/// Checks the settings of the service.
pub(crate) fn service(document: &Document, service: &Service, folder: &Path, notes: &mut Notes) {
    let mut refuse = |pointer: &str, message: String| {
        notes.faults.push(document.fault(pointer, message));
    };
    if let Err(error) = Schedule::parse(&service.rounds.digest) {
        refuse("/rounds/digest", format!("digest: {error}"));
    }
    let weather = &service.weather;
    let forecasts =
        [weather.nws.is_some(), weather.met_norway.is_some(), weather.open_meteo.is_some()];
    if !forecasts.contains(&true) && weather.files.is_none() {
        let message = "weather: no source; want [weather.nws], [weather.files] or both";
        refuse("/weather", message.into());
    }
    if let Some(files) = &weather.files
        && !folder.join(&files.folder).is_dir()
    {
        let found = files.folder.display();
        refuse("/weather/files/folder", format!("folder: found no folder \"{found}\" in the book"));
    }
    database(service, &mut refuse);
    if service.public.is_some() && service.listen.is_none() {
        let message = "public: nobody listens; want an address under listen";
        refuse("/public", message.into());
    }
    if let Some(sms) = &service.routes.sms {
        let success = &sms.success;
        if success.status_min > success.status_max {
            let message = "status_min: larger than status_max, so no answer would be a success";
            refuse("/routes/sms/success/status_min", message.into());
        }
        if success.json_pointer.is_some() != success.equals.is_some() {
            refuse("/routes/sms/success", "success: json_pointer and equals go together".into());
        }
        if sms.inbound.is_some() && service.listen.is_none() {
            let message = "inbound: nothing would hear the replies; set listen as well";
            refuse("/routes/sms/inbound", message.into());
        }
    }
    if let Some(mail) = &service.routes.email {
        email(mail, &mut refuse);
    }
    if let Some(chat) = &service.routes.matrix {
        matrix(chat, &mut refuse);
    }
    forecast_hosts(weather, document, notes);
    unobserved(weather, document, notes);
    let order = |key: &str, message: String| document.fault(&format!("/thresholds/{key}"), message);
    let merged = Thresholds::default().with(&service.thresholds);
    threshold_order(&merged, &service.thresholds, notes, order);
}

/// Warns of addresses that a service for paying growers may not use.
fn forecast_hosts(weather: &WeatherSources, document: &Document, notes: &mut Notes) {
    let Some(server) = &weather.open_meteo else { return };
    let host = server.base_url.split("://").nth(1).and_then(|rest| rest.split(['/', ':']).next());
    if host.is_some_and(|host| host.eq_ignore_ascii_case(FREE_OPEN_METEO)) {
        let message = format!(
            "base_url: {FREE_OPEN_METEO} is free for non-commercial use only; name your own server, \
             or the customers' host with a key"
        );
        notes.warnings.push(document.fault("/weather/open_meteo/base_url", message));
    }
}

/// Warns where nothing observed would ever come in, and of warnings that would find few fields.
fn unobserved(weather: &WeatherSources, document: &Document, notes: &mut Notes) {
    if weather.mesonet.is_none() && weather.acis.is_none() && weather.files.is_none() {
        let message = "weather: no source of observed days, so rain stays \"likely\" unless a gauge \
                       reading gives it; want [weather.mesonet], [weather.acis] or [weather.files]";
        notes.warnings.push(document.fault("/weather", message));
    }
    if weather.alerts.is_some() && weather.nws.is_none() {
        let message = "alerts: many warnings name zones alone, and only [weather.nws] says which \
                       zones a field lies in";
        notes.warnings.push(document.fault("/weather/alerts", message));
    }
}

fn database(service: &Service, refuse: &mut impl FnMut(&str, String)) {
    let database = &service.database;
    match (&database.url, &database.url_from) {
        (Some(_), Some(_)) => refuse("/database", "database: url and url_from; want one".into()),
        (None, None) => refuse("/database", "database: want url or url_from".into()),
        (Some(url), None) => {
            let authority = url.split_once("://").map_or("", |(_, rest)| rest);
            let user = authority.split(['/', '?']).next().and_then(|part| part.rsplit_once('@'));
            if user.is_some_and(|(user, _)| user.contains(':')) {
                let message = "url: holds a password; move the url to a file, with url_from";
                refuse("/database/url", message.into());
            }
        }
        (None, Some(_)) => {}
    }
}

fn email(email: &Email, refuse: &mut impl FnMut(&str, String)) {
    if email.user.is_some() != email.password.is_some() {
        refuse("/routes/email", "email: user and password go together".into());
    }
    let host = email.host.trim_matches(['[', ']']);
    let address = host.parse::<std::net::IpAddr>();
    let is_loopback = host == "localhost" || address.is_ok_and(|address| address.is_loopback());
    if email.security == SmtpSecurity::PlainLoopback && !is_loopback {
        let message = "security: plain-loopback is only for a host on this machine; want starttls \
                       or implicit";
        refuse("/routes/email/security", message.into());
    }
}

fn matrix(matrix: &Matrix, refuse: &mut impl FnMut(&str, String)) {
    let Some(rest) = matrix.homeserver.strip_prefix("http://") else { return };
    let authority = rest.split(['/', '?', '#']).next().unwrap_or_default();
    let host = authority.trim_end_matches(|letter: char| letter.is_ascii_digit());
    let host = host.strip_suffix(':').unwrap_or(authority).trim_matches(['[', ']']);
    let address = host.parse::<std::net::IpAddr>();
    if host != "localhost" && !address.is_ok_and(|address| address.is_loopback()) {
        let message = "homeserver: http would show the token to everybody on the way; want https, \
                       or a server on this machine";
        refuse("/routes/matrix/homeserver", message.into());
    }
}

/// Checks the people among themselves and against the routes.
pub(crate) fn people(
    document: &Document,
    people: &[Person],
    routes: Option<&Routes>,
    notes: &mut Notes,
) {
    for (at, person) in people.iter().enumerate() {
        let base = format!("/person/{at}");
        let mut refuse = |key: &str, message: String| {
            notes.faults.push(document.fault(&format!("{base}{key}"), message));
        };
        let earlier = &people[..at];
        if earlier.iter().any(|other| other.id == person.id) {
            refuse("/id", format!("id: \"{}\" is already taken above", person.id));
        }
        if let Some(phone) = &person.phone
            && let Some(other) = earlier.iter().find(|other| other.phone.as_ref() == Some(phone))
        {
            let message = format!(
                "phone: also the number of \"{}\"; replies could not be told apart",
                other.id
            );
            refuse("/phone", message);
        }
        if let Some(place) = &person.matrix {
            let others = earlier.iter().filter_map(|other| Some((other, other.matrix.as_ref()?)));
            for (other, theirs) in others {
                if theirs.user == place.user || theirs.room == place.room {
                    let message = format!(
                        "matrix: also the user or room of \"{}\"; replies could not be told apart",
                        other.id
                    );
                    refuse("/matrix", message);
                }
            }
        }
        for (step, route) in person.routes.iter().enumerate() {
            let pointer = format!("/routes/{step}");
            for problem in route_problems(person, *route, routes) {
                refuse(&pointer, format!("routes: {problem}"));
            }
        }
        if person.role == Role::Advisor && person.routes.iter().all(|route| route.is_by_phone()) {
            let message = "routes: an advisor needs email, matrix, webhook or console, the digest \
                           fits no text";
            refuse("/routes", message.into());
        }
        if person.quiet.from == person.quiet.until {
            refuse("/quiet/until", "until: the same as from; want two different times".into());
        }
        if person.routes.iter().any(|route| route.is_by_phone()) && person.consent.is_none() {
            let message =
                format!("consent: \"{}\" gets no text until consent is on record", person.id);
            notes.warnings.push(document.fault(&base, message));
        }
    }
}

fn route_problems(person: &Person, route: RouteName, routes: Option<&Routes>) -> Vec<String> {
    let wants = match route {
        RouteName::Sms => "phone",
        RouteName::Matrix => "matrix",
        RouteName::Email => "email",
        RouteName::Webhook => "id",
        RouteName::Console => "name",
    };
    let set_up = routes.is_none_or(|routes| match route {
        RouteName::Sms => routes.sms.is_some(),
        RouteName::Matrix => routes.matrix.is_some(),
        RouteName::Email => routes.email.is_some(),
        RouteName::Webhook => routes.webhook.is_some(),
        RouteName::Console => routes.console.is_some(),
    });
    let name = route.name();
    let mut problems = Vec::new();
    if person.address(route).is_none() {
        problems.push(format!("{name} needs the person's {wants}"));
    }
    if !set_up {
        problems.push(format!("{name} is not set up; want [routes.{name}] in service.toml"));
    }
    problems
}

/// Checks scripted replies.
pub(crate) fn replies(
    document: &Document,
    replies: &[Reply],
    people: Option<&[Person]>,
    notes: &mut Notes,
) {
    for (at, reply) in replies.iter().enumerate() {
        known_person(document, &format!("/reply/{at}/from"), &reply.from, people, notes);
    }
}

/// The id of a farm: the name of its file.
pub(crate) fn farm_id(file: &Path, notes: &mut Notes) -> Option<String> {
    let id = file.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if (1..=32).contains(&id.len()) && id.chars().all(allowed) && !id.starts_with('-') {
        return Some(id.to_owned());
    }
    let message = "the name of the file is the farm's id; want up to 32 lower-case letters, digits \
                   and dashes";
    notes.faults.push(Fault::whole_file(file, message.to_owned()));
    None
}

/// Checks a farm against the people and the farms before it.
pub(crate) fn farm(
    document: &Document,
    farm: &FarmEntry,
    people: Option<&[Person]>,
    earlier: &[Farm],
    notes: &mut Notes,
) {
    if let Some(other) = earlier.iter().find(|other| other.name == farm.name) {
        let message = format!("name: also the name of farm \"{}\"", other.id);
        notes.faults.push(document.fault("/farm/name", message));
    }
    for (at, id) in farm.growers.iter().enumerate() {
        known_person(document, &format!("/farm/growers/{at}"), id, people, notes);
    }
    for (at, id) in farm.advisors.iter().enumerate() {
        let pointer = format!("/farm/advisors/{at}");
        let Some(person) = known_person(document, &pointer, id, people, notes) else { continue };
        if person.role != Role::Advisor {
            let message = format!("advisors: \"{id}\" has another role; want an advisor");
            notes.faults.push(document.fault(&pointer, message));
        }
    }
}

pub(crate) fn known_person<'p>(
    document: &Document,
    pointer: &str,
    id: &str,
    people: Option<&'p [Person]>,
    notes: &mut Notes,
) -> Option<&'p Person> {
    let people = people?;
    let person = people.iter().find(|person| person.id == id);
    if person.is_none() {
        let ids: Vec<&str> = people.iter().map(|person| person.id.as_str()).collect();
        let hint = nearest_word(id, &ids)
            .map_or_else(String::new, |near| format!("; did you mean \"{near}\"?"));
        let message = format!("found \"{id}\", no person in people.toml has that id{hint}");
        notes.faults.push(document.fault(pointer, message));
    }
    person
}

/// Checks that the forms of nitrogen go with what is said of them.
fn nitrogen_forms(nitrogen: &NitrogenEntry, mut refuse: impl FnMut(&str, String)) {
    let gas = nitrogen.source == NitrogenSource::AnhydrousAmmonia;
    if gas && nitrogen.placement == Some(Placement::Surface) {
        let message = "placement: anhydrous ammonia is a gas, want in-soil";
        refuse("/nitrogen/placement", message.into());
    }
    let forms = [nitrogen.source, nitrogen.starter_source.unwrap_or(nitrogen.source)];
    let has_urea = forms.into_iter().any(|form| fertilisers::of(form).urea_share > 0.0);
    if nitrogen.inhibitor.is_some_and(Inhibitor::slows_urea) && !has_urea {
        let message = "inhibitor: urease is for urea and UAN, and neither is in the plan";
        refuse("/nitrogen/inhibitor", message.into());
    }
}

/// Checks a plan's keys against its crop.
pub(crate) fn plan(plan: &PlanEntry, notes: &mut Notes, say: impl Fn(&str, String) -> Fault) {
    let mut refuse =
        |key: &str, message: String| notes.faults.push(say(&format!("/plan{key}"), message));
    let (crop, unusual, wanted, unwanted, depth) = match plan.crop {
        CropName::Corn => (
            "corn",
            UNUSUAL_ON_CORN,
            ("relative_maturity_days", plan.relative_maturity_days),
            ("maturity_group", plan.maturity_group),
            CORN_DEPTH_IN,
        ),
        CropName::Soybean => (
            "soybean",
            UNUSUAL_ON_SOYBEAN,
            ("maturity_group", plan.maturity_group),
            ("relative_maturity_days", plan.relative_maturity_days),
            SOYBEAN_DEPTH_IN,
        ),
    };
    if wanted.1.is_none() {
        refuse("", format!("{}: missing; {crop} needs it", wanted.0));
    }
    if unwanted.1.is_some() {
        let key = unwanted.0;
        refuse(&format!("/{key}"), format!("{key}: not for {crop}; want {}", wanted.0));
    }
    let found = plan.depth_in.get();
    if !(depth.0..=depth.1).contains(&found) {
        let message =
            format!("depth_in: found {found}, want {} to {} for {crop}", depth.0, depth.1);
        refuse("/depth_in", message);
    }
    if plan.nitrogen.is_some() && plan.crop == CropName::Soybean {
        refuse("/nitrogen", "nitrogen: not for soybean, only corn is sidedressed".into());
    }
    for (at, known) in plan.resistant.iter().enumerate() {
        let group = current_group(known.group);
        if Ingredient::ALL.iter().all(|ingredient| ingredient.group() != group) {
            let message = format!("group: no known ingredient is in group {}", known.group);
            refuse(&format!("/resistant/{at}/group"), message);
        }
    }
    if let Some(nitrogen) = &plan.nitrogen {
        nitrogen_forms(nitrogen, &mut refuse);
    }
    for (pass, entry) in [("pre", &plan.pre), ("post", &plan.post)] {
        let ingredients = entry.iter().flat_map(|entry| &entry.ingredients);
        for (at, ingredient) in ingredients.enumerate().filter(|(_, it)| unusual.contains(it)) {
            let pointer = format!("/plan/{pass}/ingredients/{at}");
            let message = format!(
                "ingredients: {} is unusual on {crop}; check your label",
                ingredient.name()
            );
            notes.warnings.push(say(&pointer, message));
        }
    }
}

/// Checks that the products of a pass are known and hold nothing that the pass does not.
pub(crate) fn planned_products(
    plan: &PlanEntry,
    products: &[Product],
    notes: &mut Notes,
    say: impl Fn(&str, String) -> Fault,
) {
    for (pass, entry) in [("pre", &plan.pre), ("post", &plan.post)] {
        let Some(entry) = entry else { continue };
        for (at, name) in entry.products.iter().enumerate() {
            let message = match products.iter().find(|product| product.name == *name) {
                None => Some(format!("found \"{name}\", labels.toml has no product of that name")),
                Some(product) => {
                    let missing = |it: &&Ingredient| !entry.ingredients.contains(it);
                    product.ingredients.iter().find(missing).map(|it| {
                        format!("\"{name}\" holds {}, which the pass does not", it.name())
                    })
                }
            };
            if let Some(message) = message {
                let pointer = format!("/plan/{pass}/products/{at}");
                notes.faults.push(say(&pointer, format!("products: {message}")));
            }
        }
    }
}

/// Checks what is said to be done.
pub(crate) fn done(field: &FieldEntry, notes: &mut Notes, say: impl Fn(&str, String) -> Fault) {
    let done = &field.done;
    let mut refuse =
        |key: &str, message: &str| notes.faults.push(say(&format!("/done/{key}"), message.into()));
    let after_planting = [("post_applied", done.post_applied), ("sidedressed", done.sidedressed)];
    for (key, date) in after_planting {
        if let (Some(date), Some(planted)) = (date, done.planted)
            && date < planted
        {
            refuse(key, &format!("{key}: found {date}, before planting on {planted}"));
        }
    }
    if let (Some(date), Some(planted)) = (done.starter_applied, done.planted)
        && date > planted
    {
        let message = format!("starter_applied: found {date}, after planting on {planted}");
        refuse("starter_applied", &message);
    }
    if done.sidedressed.is_none() && done.sidedressed_lb_per_acre.is_some() {
        let message = "sidedressed_lb_per_acre: no pass goes with it; want sidedressed as well";
        refuse("sidedressed_lb_per_acre", message);
    }
    let is_soybean = field.plan.as_ref().is_some_and(|plan| plan.crop == CropName::Soybean);
    if done.sidedressed.is_some() && is_soybean {
        refuse("sidedressed", "sidedressed: not for soybean, only corn is sidedressed");
    }
    if done.starter_applied.is_some() && is_soybean {
        refuse("starter_applied", "starter_applied: not for soybean, only corn has nitrogen");
    }
    let passes = [done.pre_applied, done.post_applied, done.starter_applied, done.sidedressed];
    let anything = passes.into_iter().chain([done.planted]);
    if field.plan.is_none() && anything.flatten().next().is_some() {
        let message = "done: the field has no plan, so none of its clocks runs".to_owned();
        notes.warnings.push(say("/done", message));
    }
}

/// Checks that thresholds which follow one another in time do so in their numbers. Speaks only of
/// pairs of which this level sets one.
pub(crate) fn threshold_order(
    merged: &Thresholds,
    level: &Overrides,
    notes: &mut Notes,
    say: impl Fn(&str, String) -> Fault,
) {
    macro_rules! in_order {
        ($($first:ident <= $second:ident;)+) => {
            $(if (level.$first.is_some() || level.$second.is_some())
                && merged.$first > merged.$second
            {
                let (first, second) = (stringify!($first), stringify!($second));
                let key = if level.$second.is_some() { second } else { first };
                let message = format!(
                    "{first} is {}, more than {second}, {}; want it the other way round",
                    merged.$first, merged.$second,
                );
                notes.faults.push(say(key, message));
            })+
        };
    }
    in_order! {
        activation_first_call_days <= activation_alert_days;
        activation_alert_days <= activation_escalate_days;
        activation_escalate_days <= activation_weeds_up_days;
        residual_dry_days <= residual_days;
    }
}
