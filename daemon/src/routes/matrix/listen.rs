//! Listens to what people write in the desk's rooms.

use super::Matrix;
use super::api::{Fault, Joined};
use super::events;
use crate::clock::Clock;
use crate::inbox::Bookmarked;
use crate::store::Position;
use furrowbell_config::people::RouteName;
use serde_json::Value;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// First and longest wait after a failure.
const WAITS: (Duration, Duration) = (Duration::from_secs(1), Duration::from_mins(1));
/// Wait after a refused sign-in: a homeserver must not be hammered with a wrong token.
const SIGN_IN_WAIT: Duration = Duration::from_mins(5);
/// Most pages that are fetched of what one answer left out of one room.
const MOST_PAGES: usize = 40;

/// Why nothing was taken in.
enum Trouble {
    Server(Fault),
    Record(String),
}

impl From<Fault> for Trouble {
    fn from(fault: Fault) -> Self {
        Self::Server(fault)
    }
}

impl Matrix {
    /// Takes in what people write, until `stop`. The place in the stream moves with what is kept,
    /// so nothing is lost or taken twice.
    pub(in crate::routes) async fn listen(
        &self,
        inbox: &impl Bookmarked,
        clock: &Clock,
        stop: &CancellationToken,
    ) {
        let mut failures = 0;
        loop {
            // What is dropped here is asked for again: the place has not moved.
            let taken = tokio::select! {
                () = stop.cancelled() => return,
                taken = self.take_in(inbox, clock) => taken,
            };
            let wait = match taken {
                Ok(()) => {
                    failures = 0;
                    continue;
                }
                Err(trouble) => patience(&trouble, failures),
            };
            failures += 1;
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(wait) => {}
            }
        }
    }

    /// One look at the stream, up to half a minute long.
    async fn take_in(&self, inbox: &impl Bookmarked, clock: &Clock) -> Result<(), Trouble> {
        let line = self.account().await?.user.clone();
        let away = |error: &dyn std::error::Error| Trouble::Record(error.to_string());
        let known = inbox.position(RouteName::Matrix, &line).await.map_err(|error| away(&error))?;
        let (sync, since) = match self.server.sync(known.as_deref()).await {
            Err(Fault::Refused { why, .. }) if known.is_some() => {
                tracing::error!(
                    route = "matrix",
                    why,
                    "the homeserver does not know our place any more; what was written meanwhile \
                     is not heard"
                );
                (self.server.sync(None).await?, None)
            }
            answer => (answer?, known),
        };
        let mut messages = Vec::new();
        // Without a place to start from, all of it is history.
        if let Some(since) = &since {
            for (room, joined) in sync.rooms.join {
                let events = events::read(self.whole(&room, joined, since).await?);
                if events::turns_on_encryption(&events) {
                    self.forget(&room);
                }
                messages.extend(events::replies(&events, &line, clock.now()));
            }
        }
        let position =
            Position { route: RouteName::Matrix, line, token: sync.next_batch, at: clock.now() };
        if since.as_ref() == Some(&position.token) && messages.is_empty() {
            return Ok(());
        }
        inbox.store_up_to(messages, position).await.map_err(|error| away(&error))?;
        Ok(())
    }

    /// All that happened in a room since the last place, oldest first.
    async fn whole(&self, room: &str, joined: Joined, since: &str) -> Result<Vec<Value>, Fault> {
        let timeline = joined.timeline;
        let mut from = timeline.prev_batch.filter(|_| timeline.limited);
        let mut earlier = Vec::new();
        for _ in 0..MOST_PAGES {
            let Some(place) = from.take() else { break };
            let page = self.server.messages(room, &place, since).await?;
            from = page.end.filter(|end| *end != place && !page.chunk.is_empty());
            earlier.extend(page.chunk);
        }
        if from.is_some() {
            tracing::error!(route = "matrix", "a room has more new messages than are fetched");
        }
        earlier.reverse();
        earlier.extend(timeline.events);
        Ok(earlier)
    }
}

/// Says what went wrong and how long to leave it alone.
fn patience(trouble: &Trouble, failures: u32) -> Duration {
    let (first, longest) = WAITS;
    let usual = first.saturating_mul(1 << failures.min(16)).min(longest);
    let (why, wait) = match trouble {
        Trouble::Server(Fault::SignIn(why)) => {
            tracing::error!(route = "matrix", why, "the homeserver refuses our sign-in");
            return SIGN_IN_WAIT;
        }
        Trouble::Server(Fault::Later { why, after }) => (why, after.unwrap_or_default().max(usual)),
        Trouble::Server(Fault::Refused { why, .. } | Fault::Unknown(why))
        | Trouble::Record(why) => (why, usual),
    };
    tracing::warn!(route = "matrix", why, "replies are not heard for now; will listen again");
    wait
}
