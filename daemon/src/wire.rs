//! From a book to a desk that can turn rounds.

use crate::clock::{Clock, Ids};
use crate::links::Links;
use crate::pages::Figures;
use crate::rounds::Desk;
use crate::rounds::past::Past;
use crate::rounds::record::Kept;
use crate::routes::Route;
use crate::store::Store;
use crate::weather::acis::Acis;
use crate::weather::alerts::Alerts;
use crate::weather::body::{self, Reader};
use crate::weather::limiter::Limiter;
use crate::weather::mesonet::Mesonet;
use crate::weather::met_norway::MetNorway;
use crate::weather::nws::Nws;
use crate::weather::open_meteo::{OpenMeteo, Quota};
use crate::weather::source::SourceName;
use crate::weather::sources::{Files, Observing, Pulled, Sources};
use crate::wording::Wording;
use anyhow::Context;
use chrono::{Datelike, TimeDelta};
use furrowbell_config::Book;
use furrowbell_config::people::RouteName;
use furrowbell_config::schedule::Schedule;
use furrowbell_config::service::{Auth, SecretSource, Service};
use secrecy::{ExposeSecret, SecretString};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;

/// Most requests a second to a host that is asked once a day; both are run by universities.
const OBSERVER_REQUESTS_PER_S: f64 = 0.5;
/// Longest time for a connection to be made.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(5);

/// What leaves the machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outside {
    /// Routes and weather sources are real.
    Real,
    /// Texts are taken as accepted, and weather comes from files only.
    Pretended,
}

/// Makes a desk: routes, weather, wording, all over one record and one clock.
pub fn desk(book: Book, store: Store, clock: Clock, outside: Outside) -> anyhow::Result<Desk> {
    let schedule = Schedule::parse(&book.service.rounds.digest)?;
    let wording = Wording::of_book(&book.wording)?;
    for fault in wording.unused() {
        tracing::warn!("{fault}");
    }
    let routes = routes(&book, outside)?;
    let weather = sources(&book, &clock, outside)?;
    let texts_per_s = book.service.sending.texts_per_s;
    let pace = match outside {
        Outside::Real => routes.keys().map(|name| (*name, Limiter::new(texts_per_s))).collect(),
        Outside::Pretended => BTreeMap::new(),
    };
    let links = links(&book, outside)?;
    Ok(Desk {
        digest_schedule: Arc::new(schedule),
        store,
        ids: Ids::new(clock.clone()),
        wording: Arc::new(wording),
        routes: Arc::new(routes),
        weather: Arc::new(weather),
        agenda: Arc::default(),
        past: Arc::new(Past::of(&book, clock.now().year())),
        kept: Arc::new(Kept::default()),
        pace: Arc::new(pace),
        pauses: Arc::default(),
        looked: Arc::default(),
        figures: Arc::new(Figures::new(clock.now())),
        came_in: Arc::new(Notify::new()),
        reply_came: Arc::default(),
        to_send: Arc::default(),
        reported: Arc::default(),
        links: links.map(Arc::new),
        book: Arc::new(book),
        clock,
    })
}

/// Opens the book's database and brings it up to date.
pub async fn store(book: &Book) -> anyhow::Result<Store> {
    let url = book.service.database.url(&book.folder)?;
    let store = Store::open(url.expose_secret()).await?;
    store.migrate().await?;
    Ok(store)
}

fn routes(book: &Book, outside: Outside) -> anyhow::Result<BTreeMap<RouteName, Route>> {
    let settings = &book.service.routes;
    if outside == Outside::Pretended {
        return Ok(RouteName::ALL.map(|name| (name, Route::Pretended(name))).into());
    }
    let mut routes = BTreeMap::new();
    if let Some(sms) = &settings.sms {
        let secret = match &sms.auth {
            Auth::None => None,
            Auth::Basic { password: source, .. }
            | Auth::Bearer { token: source }
            | Auth::Header { value: source, .. } => Some(secret(book, source)?),
        };
        let timeout = Duration::from_secs(sms.timeout_s.into());
        // A redirected POST would come back as a GET that sends nothing.
        let client = http(book, timeout, reqwest::redirect::Policy::none())?;
        routes.insert(RouteName::Sms, Route::sms(sms, secret.as_ref(), client)?);
    }
    if let Some(matrix) = &settings.matrix {
        let token = secret(book, &matrix.token)?;
        let timeout = Duration::from_secs(matrix.timeout_s.into());
        let client = http(book, timeout, reqwest::redirect::Policy::none())?;
        routes.insert(RouteName::Matrix, Route::matrix(matrix, &token, client)?);
    }
    if let Some(email) = &settings.email {
        let password = email.password.as_ref().map(|source| secret(book, source)).transpose()?;
        routes.insert(RouteName::Email, Route::email(email, password.as_ref())?);
    }
    if let Some(webhook) = &settings.webhook {
        let keys = secret(book, &webhook.secret)?;
        let timeout = Duration::from_secs(webhook.timeout_s.into());
        let client = http(book, timeout, reqwest::redirect::Policy::none())?;
        routes.insert(RouteName::Webhook, Route::webhook(webhook, &keys, client)?);
    }
    if settings.console.is_some() {
        routes.insert(RouteName::Console, Route::console());
    }
    Ok(routes)
}

fn links(book: &Book, outside: Outside) -> anyhow::Result<Option<Links>> {
    match &book.service.public {
        Some(public) if outside == Outside::Real => {
            Ok(Some(Links::new(&public.url, secret(book, &public.secret)?)))
        }
        _ => Ok(None),
    }
}

fn sources(book: &Book, clock: &Clock, outside: Outside) -> anyhow::Result<Sources> {
    let settings = &book.service.weather;
    let files = settings.files.as_ref();
    let files = files.map(|files| Files::new(book.folder.join(&files.folder), files.forecast_days));
    let mut sources = Sources { files, ..Sources::default() };
    if outside == Outside::Pretended {
        return Ok(sources);
    }
    let notes = sources.notes.clone();
    let reader = |name, base_url: &str, requests_per_s| -> anyhow::Result<Reader> {
        let http = weather_http(book)?;
        Ok(Reader::new(name, base_url, http, requests_per_s, clock, &notes))
    };
    let minutes = |minutes: u32| TimeDelta::minutes(minutes.into());
    if let Some(nws) = &settings.nws {
        let reader = reader(SourceName::Nws, &nws.base_url, nws.requests_per_s)?;
        let period = minutes(nws.every_minutes);
        sources.nws = Some(Pulled { source: Nws::new(reader), period });
    }
    if let Some(met) = &settings.met_norway {
        let reader = reader(SourceName::MetNorway, &met.base_url, met.requests_per_s)?;
        let period = minutes(met.every_minutes);
        sources.met_norway = Some(Pulled { source: MetNorway::new(reader), period });
    }
    if let Some(open) = &settings.open_meteo {
        let reader = reader(SourceName::OpenMeteo, &open.base_url, open.requests_per_s)?;
        let key = open.key.as_ref().map(|source| secret(book, source)).transpose()?;
        let quota = Quota::new(open.places_per_minute, open.places_per_hour, open.places_per_day);
        let period = minutes(open.every_minutes);
        sources.open_meteo = Some(Pulled { source: OpenMeteo::new(reader, key, quota), period });
    }
    if let Some(mesonet) = &settings.mesonet {
        let reader = reader(SourceName::Mesonet, &mesonet.base_url, OBSERVER_REQUESTS_PER_S)?;
        let (source, settings) = (Mesonet::new(reader), mesonet.clone());
        sources.mesonet = Some(Observing { source, settings });
    }
    if let Some(acis) = &settings.acis {
        let reader = reader(SourceName::Acis, &acis.base_url, OBSERVER_REQUESTS_PER_S)?;
        let (source, settings) = (Acis::new(reader, book.service.zone), acis.clone());
        sources.acis = Some(Observing { source, settings });
    }
    if let Some(alerts) = &settings.alerts {
        // One host has one limit.
        let grid = settings.nws.as_ref().zip(sources.nws.as_ref());
        let grid = grid.filter(|(nws, _)| nws.base_url == alerts.base_url);
        let reader = match grid {
            Some((_, pulled)) => pulled.source.reader().clone(),
            None => reader(SourceName::Nws, &alerts.base_url, OBSERVER_REQUESTS_PER_S)?,
        };
        let period = minutes(alerts.every_minutes);
        sources.alerts = Some(Pulled { source: Alerts::new(reader), period });
    }
    Ok(sources)
}

/// A client for one weather service.
fn weather_http(book: &Book) -> anyhow::Result<reqwest::Client> {
    reqwest::Client::builder()
        .user_agent(user_agent(&book.service))
        .connect_timeout(CONNECT_TIMEOUT)
        .read_timeout(body::IDLE)
        .redirect(body::redirects())
        .build()
        .context("an HTTP client cannot be made")
}

fn http(
    book: &Book,
    timeout: Duration,
    redirects: reqwest::redirect::Policy,
) -> anyhow::Result<reqwest::Client> {
    reqwest::Client::builder()
        .user_agent(user_agent(&book.service))
        .connect_timeout(CONNECT_TIMEOUT)
        .timeout(timeout)
        .redirect(redirects)
        .build()
        .context("an HTTP client cannot be made")
}

fn user_agent(service: &Service) -> String {
    format!("furrowbell/{} ({}; {})", env!("CARGO_PKG_VERSION"), service.name, service.contact)
}

/// Reads a secret that the book names.
pub fn secret(book: &Book, source: &SecretSource) -> anyhow::Result<SecretString> {
    Ok(Service::read_secret(source, &book.folder)?)
}
