//! What comes in, whichever way: replies and receipts, on record before anybody is told so.

use crate::clock::Ids;
use crate::pages::Figures;
use crate::store::{self, Inbound, Position, Receipt, Store};
use chrono::{DateTime, Utc};
use furrowbell_config::people::RouteName;
use std::future::Future;
use std::sync::Arc;
use tokio::sync::Notify;

/// A reply as it came.
#[derive(Clone, PartialEq, Eq)]
pub struct InboundMessage {
    /// Which way it came.
    pub route: RouteName,
    /// Sender's number, E.164, or address.
    pub from: String,
    /// The text, as it came.
    pub text: String,
    /// The next hop's id, by which a repeat is known.
    pub provider_id: Option<String>,
    /// When it came, by the service's clock.
    pub received_at: DateTime<Utc>,
}

/// Keeps what comes in.
pub trait Inbox: Send + Sync + 'static {
    /// Why it could not be kept. The text of the error holds neither number nor message.
    type Error: std::error::Error + Send;

    /// Keeps a reply for good; false when it was there already.
    fn store(
        &self,
        message: InboundMessage,
    ) -> impl Future<Output = Result<bool, Self::Error>> + Send;

    /// Keeps a receipt for good; false when it was there already.
    fn store_receipt(
        &self,
        receipt: Receipt,
    ) -> impl Future<Output = Result<bool, Self::Error>> + Send;

    /// Whether the database answers.
    fn reachable(&self) -> impl Future<Output = bool> + Send;
}

/// An inbox that also remembers how far a route has read a line of its own.
pub trait Bookmarked: Inbox {
    /// How far a line was read; none before the first time.
    fn position(
        &self,
        route: RouteName,
        line: &str,
    ) -> impl Future<Output = Result<Option<String>, Self::Error>> + Send;

    /// Keeps replies and the place after them for good, all or nothing; gives how many were new.
    fn store_up_to(
        &self,
        messages: Vec<InboundMessage>,
        position: Position,
    ) -> impl Future<Output = Result<usize, Self::Error>> + Send;
}

/// Keeps what comes in in the record and wakes those who wait for it.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// The record.
    pub store: Store,
    /// The source of ids.
    pub ids: Ids,
    /// Counts replies.
    pub figures: Arc<Figures>,
    /// Woken by each new reply.
    pub came_in: Arc<Notify>,
    /// Woken by each new receipt.
    pub reported: Arc<Notify>,
}

impl Recorded {
    fn inbound(&self, message: InboundMessage) -> Inbound {
        Inbound {
            id: self.ids.make(),
            route: message.route,
            provider_id: message.provider_id,
            sender: message.from,
            body: message.text,
            received_at: message.received_at,
            handled_at: None,
            outcome: None,
        }
    }
}

impl Inbox for Recorded {
    type Error = store::Error;

    async fn store(&self, message: InboundMessage) -> Result<bool, Self::Error> {
        let new = self.store.receive(&self.inbound(message)).await?;
        if new {
            self.figures.reply();
            self.came_in.notify_one();
        }
        Ok(new)
    }

    async fn store_receipt(&self, receipt: Receipt) -> Result<bool, Self::Error> {
        let new = self.store.record_receipt(&receipt).await?;
        if new {
            self.reported.notify_one();
        }
        Ok(new)
    }

    async fn reachable(&self) -> bool {
        self.store.ping().await.is_ok()
    }
}

impl Bookmarked for Recorded {
    async fn position(&self, route: RouteName, line: &str) -> Result<Option<String>, Self::Error> {
        self.store.position(route, line).await
    }

    async fn store_up_to(
        &self,
        messages: Vec<InboundMessage>,
        position: Position,
    ) -> Result<usize, Self::Error> {
        let messages: Vec<_> = messages.into_iter().map(|message| self.inbound(message)).collect();
        let new = self.store.receive_up_to(&messages, &position).await?;
        (0..new).for_each(|_| self.figures.reply());
        if new > 0 {
            self.came_in.notify_one();
        }
        Ok(new)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::store::testing::{at, on_each};
    use furrowbell_config::service::ReceiptState;
    use std::time::Duration;

    async fn woken(bell: &Notify) -> bool {
        tokio::time::timeout(Duration::from_millis(20), bell.notified()).await.is_ok()
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn what_is_new_wakes_and_counts_once() {
        on_each(|store| async move {
            let clock = Clock::pretended(at(0));
            let inbox = Recorded {
                store,
                ids: Ids::new(clock),
                figures: Arc::new(Figures::new(at(0))),
                came_in: Arc::default(),
                reported: Arc::default(),
            };
            let message = InboundMessage {
                route: RouteName::Matrix,
                from: "+15155550123".to_owned(),
                text: "done".to_owned(),
                provider_id: Some("a1".to_owned()),
                received_at: at(1),
            };
            assert!(inbox.store(message.clone()).await.unwrap());
            assert!(woken(&inbox.came_in).await);
            assert!(!inbox.store(message.clone()).await.unwrap());
            assert!(!woken(&inbox.came_in).await);
            // The same id over another way is another reply.
            let other = InboundMessage { route: RouteName::Sms, ..message };
            assert!(inbox.store(other).await.unwrap());
            assert!(woken(&inbox.came_in).await);
            assert!(inbox.figures.prometheus(at(2)).contains("furrowbell_replies_total 2\n"));

            let receipt = Receipt {
                route: RouteName::Matrix,
                provider_id: "p1".to_owned(),
                state: ReceiptState::Delivered,
                at: at(3),
            };
            assert!(inbox.store_receipt(receipt.clone()).await.unwrap());
            assert!(woken(&inbox.reported).await);
            assert!(!inbox.store_receipt(receipt).await.unwrap());
            assert!(!woken(&inbox.reported).await);
        })
        .await;
    }
}
