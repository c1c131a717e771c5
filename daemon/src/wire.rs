//! From a book to a desk that can turn rounds.

use crate::clock::{Clock, Ids};
use crate::pages::Figures;
use crate::rounds::Desk;
use crate::rounds::observe::Observers;
use crate::rounds::record::Kept;
use crate::routes::Route;
use crate::store::Store;
use crate::weather::body::{self, Notes, Reader};
use crate::weather::limiter::Limiter;
use crate::weather::nws;
use crate::weather::source::SourceName;
use crate::weather::sources::{Files, Sources};
use crate::wording::Wording;
use anyhow::Context;
use chrono::TimeDelta;
use furrowbell_config::Book;
use furrowbell_config::people::RouteName;
use furrowbell_config::schedule::Schedule;
use furrowbell_config::service::{Auth, SecretSource, Service};
use secrecy::{ExposeSecret, SecretString};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;

/// Longest time for one weather request, connection included.
const WEATHER_TIMEOUT: Duration = Duration::from_secs(30);
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
    let wording = Wording::load()?;
    let routes = routes(&book, outside)?;
    let mut weather = sources(&book, outside)?;
    if outside == Outside::Real {
        weather.observers = observers(&book, &clock)?;
    }
    let texts_per_s = book.service.sending.texts_per_s;
    Ok(Desk {
        digest_schedule: Arc::new(schedule),
        store,
        ids: Ids::new(clock.clone()),
        wording: Arc::new(wording),
        routes: Arc::new(routes),
        weather: Arc::new(weather),
        kept: Arc::new(Kept::default()),
        pace: (outside == Outside::Real).then(|| Limiter::new(texts_per_s)),
        looked: Arc::default(),
        figures: Arc::new(Figures::new(clock.now())),
        came_in: Arc::new(Notify::new()),
        to_send: Arc::new(Notify::new()),
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
        let names = [RouteName::Sms, RouteName::Email, RouteName::Console];
        return Ok(names.map(|name| (name, Route::Pretended(name))).into());
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
    if let Some(email) = &settings.email {
        let password = email.password.as_ref().map(|source| secret(book, source)).transpose()?;
        routes.insert(RouteName::Email, Route::email(email, password.as_ref())?);
    }
    if settings.console.is_some() {
        routes.insert(RouteName::Console, Route::console());
    }
    Ok(routes)
}

fn sources(book: &Book, outside: Outside) -> anyhow::Result<Sources> {
    let settings = &book.service.weather;
    let nws = match (&settings.nws, outside) {
        (Some(nws), Outside::Real) => {
            let client = http(book, WEATHER_TIMEOUT, reqwest::redirect::Policy::limited(3))?;
            let limiter = Limiter::new(nws.requests_per_s);
            let client =
                nws::Client::new(&nws.base_url, user_agent(&book.service), client, limiter);
            Some((client, TimeDelta::minutes(nws.every_minutes.into())))
        }
        _ => None,
    };
    let files = settings.files.as_ref();
    let files = files.map(|files| Files::new(book.folder.join(&files.folder), files.forecast_days));
    Ok(Sources { nws, files, observers: Observers::default() })
}

fn observers(book: &Book, clock: &Clock) -> anyhow::Result<Observers> {
    let settings = &book.service.weather;
    let reader = |source, base_url: &str| -> anyhow::Result<Reader> {
        let client = http(book, WEATHER_TIMEOUT, body::redirects())?;
        Ok(Reader::new(source, base_url, client, OBSERVER_REQUESTS_PER_S, clock, &Notes::default()))
    };
    let (mesonet, acis, alerts) = (&settings.mesonet, &settings.acis, &settings.alerts);
    Ok(Observers {
        mesonet: mesonet
            .as_ref()
            .map(|one| reader(SourceName::Mesonet, &one.base_url))
            .transpose()?,
        acis: acis.as_ref().map(|one| reader(SourceName::Acis, &one.base_url)).transpose()?,
        alerts: alerts.as_ref().map(|one| reader(SourceName::Nws, &one.base_url)).transpose()?,
    })
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
