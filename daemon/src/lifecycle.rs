//! Start, soft stop, hard stop.
//!
//! SIGTERM or SIGINT asks everything to finish what it has begun; after [`GRACE`], or on a second
//! signal, what still runs is dropped. Dropping is safe: every unfinished step is a lease that
//! runs out or a transaction that rolls back.

use sd_notify::NotifyState;
use std::time::Duration;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

/// Longest time between the first stop signal and the end of the process.
pub const GRACE: Duration = Duration::from_secs(10);

/// How the service came to an end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Every task finished in time.
    Clean,
    /// Something was still running when the grace ran out or a second signal came.
    CutShort,
}

/// The signals a service answers to.
#[derive(Debug)]
pub struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hangup: Signal,
}

/// What a signal asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wish {
    /// Stop.
    Stop,
    /// Read the book again.
    Reload,
}

impl Signals {
    /// Starts to listen; must be called inside the runtime.
    pub fn listen() -> std::io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hangup: signal(SignalKind::hangup())?,
        })
    }

    /// The next wish.
    pub async fn next(&mut self) -> Wish {
        tokio::select! {
            _ = self.terminate.recv() => Wish::Stop,
            _ = self.interrupt.recv() => Wish::Stop,
            _ = self.hangup.recv() => Wish::Reload,
        }
    }
}

/// Waits until the tasks are done, the grace is over, or a second stop signal comes.
pub async fn wind_down(
    tasks: &mut JoinSet<()>,
    stop: &CancellationToken,
    signals: &mut Signals,
) -> End {
    notify(NotifyState::Stopping);
    stop.cancel();
    let second_signal = async { while signals.next().await != Wish::Stop {} };
    let every_task = async { while tasks.join_next().await.is_some() {} };
    tokio::select! {
        () = every_task => End::Clean,
        () = tokio::time::sleep(GRACE) => End::CutShort,
        () = second_signal => End::CutShort,
    }
}

/// Tells the service manager; outside of one this does nothing.
pub fn notify(state: NotifyState<'_>) {
    if let Err(error) = sd_notify::notify(&[state]) {
        tracing::warn!(%error, "could not tell the service manager");
    }
}
