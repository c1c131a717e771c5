//! `furrowbell run`: the service.

use super::Failure;
use crate::clock::Clock;
use crate::inbox::Recorded;
use crate::lifecycle::{self, End, Signals, Wish};
use crate::pages::{self, Hook, Pages, ReceiptHook};
use crate::rounds::Desk;
use crate::routes::Route;
use crate::wire::{self, Outside};
use clap::{Args, ValueEnum};
use furrowbell_config::Book;
use furrowbell_config::people::RouteName;
use sd_notify::NotifyState;
use std::path::PathBuf;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

/// Arguments of `run`.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Folder of the book.
    #[arg(env = "FURROWBELL_BOOK")]
    book: PathBuf,
    /// Form of the log on standard error; `FURROWBELL_LOG` sets what is logged.
    #[arg(long, value_enum, default_value_t = LogForm::Text)]
    log: LogForm,
    /// A clock that starts elsewhere and runs faster, for tests of the service.
    #[arg(long, hide = true, value_parser = Clock::fast)]
    test_clock: Option<Clock>,
}

/// Form of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogForm {
    /// Lines for people.
    Text,
    /// One JSON object a line.
    Json,
}

/// Longest wait between two looks at the clock, so that a stepped clock is noticed.
const LONGEST_SLEEP: Duration = Duration::from_secs(30);
/// Longest wait of the first round for the first pull.
const FIRST_PULL: Duration = Duration::from_mins(1);
/// Wait after a round that failed as a whole, such as when the database was away.
const AFTER_TROUBLE: chrono::TimeDelta = chrono::TimeDelta::seconds(30);
/// Wait after replies could not be read.
const AFTER_A_MISS: Duration = Duration::from_secs(1);

/// Shortest time between two rounds that new forecasts start.
const GATHER: chrono::TimeDelta = chrono::TimeDelta::minutes(5);

/// Runs until told to stop.
pub async fn run(args: RunArgs) -> Result<(), Failure> {
    start_log(args.log);
    let book = super::load(&args.book)?;
    let clock = args.test_clock.unwrap_or(Clock::System);
    let store = wire::store(&book).await?;
    let listener = match book.service.listen {
        Some(address) => Some(TcpListener::bind(address).await?),
        None => None,
    };
    let desk = wire::desk(book, store, clock, Outside::Real)?;
    let hook = hook(&desk)?;
    let receipts = receipt_hook(&desk)?;

    let mut signals = Signals::listen()?;
    let stop = CancellationToken::new();
    let mut tasks = JoinSet::new();
    for route in desk.routes.keys() {
        tasks.spawn(listen(desk.clone(), *route, stop.clone()));
    }
    let own = pages::router(pages(&desk, hook, receipts));
    let (reloaded, desks) = watch::channel(desk);
    if let Some(listener) = listener {
        let router = own.merge(pages::public::router(desks.clone()));
        tasks.spawn(serve(listener, router, stop.clone()));
    }
    tasks.spawn(keep_pulling(desks.clone(), stop.clone()));
    tasks.spawn(keep_observing(desks.clone(), stop.clone()));
    tasks.spawn(keep_answering(desks.clone(), stop.clone()));
    tasks.spawn(keep_turning(desks.clone(), stop.clone()));
    for route in RouteName::ALL {
        let window = desks.borrow().routes.get(&route).map_or(1, Route::window);
        for _ in 0..window {
            tasks.spawn(keep_sending(desks.clone(), route, stop.clone()));
        }
    }
    tasks.spawn(keep_falling_back(desks, stop.clone()));
    lifecycle::notify(NotifyState::Ready);
    tracing::info!("running");

    let broke = loop {
        tokio::select! {
            wish = signals.next() => match wish {
                Wish::Reload => {
                    lifecycle::notify(NotifyState::Reloading);
                    reload(&args.book, &reloaded);
                    lifecycle::notify(NotifyState::Ready);
                }
                Wish::Stop => break false,
            },
            // A service that has lost a part would look well and tell nobody anything.
            _ = tasks.join_next() => break true,
        }
    };
    tracing::info!("stopping");
    let end = lifecycle::wind_down(&mut tasks, &stop, &mut signals).await;
    let why = match (broke, end) {
        (false, End::Clean) => return Ok(()),
        (true, _) => "a part of the service broke; the log above says which",
        (false, End::CutShort) => "stopped before everything was finished",
    };
    Err(Failure::Trouble(anyhow::anyhow!(why)))
}

async fn serve(listener: TcpListener, router: axum::Router, stop: CancellationToken) {
    if let Err(error) = pages::serve(listener, router, stop).await {
        tracing::error!(%error, "the pages are not served any more");
    }
}

/// The hook that the SMS route's settings describe.
fn hook(desk: &Desk) -> Result<Option<Hook>, Failure> {
    let sms = desk.book.service.routes.sms.as_ref();
    let Some(settings) = sms.and_then(|sms| sms.inbound.clone()) else { return Ok(None) };
    let secret = wire::secret(&desk.book, &settings.secret)?;
    let hook = Hook::new(settings, secret).map_err(|fault| Failure::Fault(fault.to_string()))?;
    Ok(Some(hook))
}

/// The hook for receipts that the SMS route's settings describe.
fn receipt_hook(desk: &Desk) -> Result<Option<ReceiptHook>, Failure> {
    let sms = desk.book.service.routes.sms.as_ref();
    let Some(settings) = sms.and_then(|sms| sms.receipts.clone()) else { return Ok(None) };
    let secret = wire::secret(&desk.book, settings.verify.secret())?;
    let hook = ReceiptHook::new(settings, secret);
    Ok(Some(hook.map_err(|fault| Failure::Fault(fault.to_string()))?))
}

fn inbox(desk: &Desk) -> Recorded {
    Recorded {
        store: desk.store.clone(),
        ids: desk.ids.clone(),
        figures: desk.figures.clone(),
        came_in: desk.reply_came.clone(),
        reported: desk.reported.clone(),
    }
}

fn pages(desk: &Desk, hook: Option<Hook>, receipts: Option<ReceiptHook>) -> Pages<Recorded> {
    Pages {
        inbox: inbox(desk),
        clock: desk.clock.clone(),
        figures: desk.figures.clone(),
        round_every: chrono::TimeDelta::minutes(desk.book.service.rounds.every_minutes.into()),
        hook,
        receipts,
    }
}

fn start_log(form: LogForm) {
    let filter = tracing_subscriber::EnvFilter::try_from_env("FURROWBELL_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    match form {
        LogForm::Text => log.init(),
        LogForm::Json => log.json().init(),
    }
}

/// Puts a changed book in force, or keeps the old one and says why. The database, the routes, the
/// listening address and its hooks stay as they were.
fn reload(folder: &std::path::Path, desks: &watch::Sender<Desk>) {
    let made = Book::load(folder).map_err(anyhow::Error::from).and_then(|book| {
        let old = desks.borrow();
        let desk = wire::desk(book, old.store.clone(), old.clock.clone(), Outside::Real)?;
        Ok(Desk {
            kept: old.kept.clone(),
            routes: old.routes.clone(),
            pace: old.pace.clone(),
            pauses: old.pauses.clone(),
            looked: old.looked.clone(),
            figures: old.figures.clone(),
            came_in: old.came_in.clone(),
            reply_came: old.reply_came.clone(),
            to_send: old.to_send.clone(),
            reported: old.reported.clone(),
            ids: old.ids.clone(),
            ..desk
        })
    });
    match made {
        Ok(desk) => {
            desks.send_replace(desk);
            tracing::info!("the book was read again");
        }
        Err(error) => tracing::error!("the book was not changed:\n{error:#}"),
    }
}

async fn keep_pulling(mut desks: watch::Receiver<Desk>, stop: CancellationToken) {
    // The first look is worth a round; later ones are gathered, as cells come in all day long.
    let mut looked: Option<chrono::DateTime<chrono::Utc>> = None;
    let mut fresh = false;
    loop {
        let desk = desks.borrow_and_update().clone();
        // A pull may be dropped anywhere: each answer is kept whole or not at all.
        let pulled = tokio::select! {
            () = stop.cancelled() => return,
            pulled = desk.pull() => pulled,
        };
        let now = desk.clock.now();
        let next = match pulled {
            Ok(Some(pulled)) => {
                fresh |= pulled.fresh;
                pulled.next
            }
            Ok(None) => now + chrono::TimeDelta::days(1),
            Err(error) => {
                tracing::error!("a pull failed: {error:#}");
                now + AFTER_TROUBLE
            }
        };
        let due = looked.is_none_or(|looked| fresh && now - looked >= GATHER);
        if due && next > now {
            desk.came_in.notify_one();
            (looked, fresh) = (Some(now), false);
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = sleep_until(&desk, next) => {}
            changed = desks.changed() => if changed.is_err() { return },
        }
    }
}

/// Observed days are asked for slowly, so they have a task of their own and no forecast waits.
async fn keep_observing(mut desks: watch::Receiver<Desk>, stop: CancellationToken) {
    let mut fresh = false;
    loop {
        let desk = desks.borrow_and_update().clone();
        let observed = tokio::select! {
            () = stop.cancelled() => return,
            observed = desk.observe() => observed,
        };
        let now = desk.clock.now();
        let next = match observed {
            Ok(Some(pulled)) => {
                fresh |= pulled.fresh;
                pulled.next
            }
            Ok(None) => now + chrono::TimeDelta::days(1),
            Err(error) => {
                tracing::error!("what was observed was not kept: {error:#}");
                now + AFTER_TROUBLE
            }
        };
        // While more is due at once, a round would only see a part of it.
        if fresh && next - now > AFTER_TROUBLE {
            desk.came_in.notify_one();
            fresh = false;
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = sleep_until(&desk, next) => {}
            changed = desks.changed() => if changed.is_err() { return },
        }
    }
}

/// Replies have a task of their own: a STOP is in force within a second, whatever a round is at.
async fn keep_answering(desks: watch::Receiver<Desk>, stop: CancellationToken) {
    loop {
        let desk = desks.borrow().clone();
        let wait = match desk.answer_inbound(desk.clock.now()).await {
            Ok(handled) => {
                if handled > 0 {
                    desk.to_send.ring_all();
                    desk.came_in.notify_one();
                }
                LONGEST_SLEEP
            }
            Err(error) => {
                tracing::error!("replies were not handled: {error:#}");
                AFTER_A_MISS
            }
        };
        tokio::select! {
            () = stop.cancelled() => return,
            () = desk.reply_came.notified() => {}
            () = tokio::time::sleep(wait) => {}
        }
    }
}

async fn keep_turning(mut desks: watch::Receiver<Desk>, stop: CancellationToken) {
    // After an outage the stored forecast is old; advice that rests on it can wait for the first
    // pull, though not for ever.
    let desk = desks.borrow().clone();
    let pulled = tokio::time::timeout(FIRST_PULL, desk.came_in.notified());
    tokio::select! {
        () = stop.cancelled() => return,
        _ = pulled => {}
    }
    loop {
        let desk = desks.borrow_and_update().clone();
        let next = match desk.turn().await {
            Ok(()) => {
                lifecycle::notify(NotifyState::Watchdog);
                desk.next_turn(desk.clock.now())
            }
            Err(error) => {
                tracing::error!("a round failed: {error:#}");
                desk.clock.now() + AFTER_TROUBLE
            }
        };
        tokio::select! {
            () = stop.cancelled() => return,
            () = sleep_until(&desk, next) => {}
            () = desk.came_in.notified() => {}
            changed = desks.changed() => if changed.is_err() { return },
        }
    }
}

async fn listen(desk: Desk, route: RouteName, stop: CancellationToken) {
    if let Some(route) = desk.routes.get(&route) {
        route.listen(&inbox(&desk), &desk.clock, &stop).await;
    }
}

async fn keep_sending(mut desks: watch::Receiver<Desk>, route: RouteName, stop: CancellationToken) {
    loop {
        let desk = desks.borrow_and_update().clone();
        if let Err(error) = desk.send_over(route, &stop).await {
            tracing::error!(route = route.name(), "sending failed: {error:#}");
        }
        let next = desk.next_send(route).await.unwrap_or(desk.clock.now() + AFTER_TROUBLE);
        tokio::select! {
            () = stop.cancelled() => return,
            () = sleep_until(&desk, next) => {}
            () = desk.to_send.rung(route) => {}
            changed = desks.changed() => if changed.is_err() { return },
        }
    }
}

/// Looks for texts that did not arrive: when a receipt came, and each minute, since one may stay
/// away.
async fn keep_falling_back(mut desks: watch::Receiver<Desk>, stop: CancellationToken) {
    loop {
        let desk = desks.borrow_and_update().clone();
        let now = desk.clock.now();
        if let Err(error) = desk.fall_back(now).await {
            tracing::error!("texts that did not arrive were not looked for: {error:#}");
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = sleep_until(&desk, now + chrono::TimeDelta::minutes(1)) => {}
            () = desk.reported.notified() => {}
            changed = desks.changed() => if changed.is_err() { return },
        }
    }
}

async fn sleep_until(desk: &Desk, until: chrono::DateTime<chrono::Utc>) {
    loop {
        let wait = desk.clock.wait_until(until);
        if wait.is_zero() {
            return;
        }
        tokio::time::sleep(wait.min(LONGEST_SLEEP)).await;
    }
}
