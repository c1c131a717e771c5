//! How far a route has read what comes in over a line of its own.

use super::error::Result;
use super::inbound::{self, Inbound};
use super::{Store, Tx};
use chrono::{DateTime, Utc};
use furrowbell_config::people::RouteName;

/// A place in a line that a route reads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Position {
    /// The route.
    pub route: RouteName,
    /// Whose line it is, such as our account there.
    pub line: String,
    /// The place, in the other side's terms.
    pub token: String,
    /// When it was reached.
    pub at: DateTime<Utc>,
}

impl Store {
    /// How far a line was read; none before the first time.
    pub async fn position(&self, route: RouteName, line: &str) -> Result<Option<String>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- route_position.get
            SELECT position FROM route_position WHERE route = $1 AND line = $2")
            .bind(route.name())
            .bind(line)
            .fetch_optional(pool)
            .await?))
    }

    /// Keeps messages and the place after them, all or nothing; gives how many were new.
    pub async fn receive_up_to(&self, messages: &[Inbound], position: &Position) -> Result<usize> {
        let mut tx = self.begin().await?;
        let mut new = 0;
        for message in messages {
            new += usize::from(inbound::insert(&mut tx, message).await?);
        }
        set(&mut tx, position).await?;
        tx.commit().await?;
        Ok(new)
    }
}

async fn set(tx: &mut Tx, position: &Position) -> Result<()> {
    with_tx!(tx, connection => sqlx::query(
        "-- route_position.set
        INSERT INTO route_position (route, line, position, at) VALUES ($1, $2, $3, $4)
        ON CONFLICT (route, line) DO UPDATE SET position = excluded.position, at = excluded.at")
        .bind(position.route.name())
        .bind(&position.line)
        .bind(&position.token)
        .bind(position.at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, on_each};

    fn message(id: &str, provider_id: &str) -> Inbound {
        Inbound {
            id: id.to_owned(),
            route: RouteName::Matrix,
            provider_id: Some(provider_id.to_owned()),
            sender: "@ann:farm.test".to_owned(),
            body: "done".to_owned(),
            received_at: at(0),
            handled_at: None,
            outcome: None,
        }
    }

    fn position(token: &str) -> Position {
        let (line, token) = ("@desk:farm.test".to_owned(), token.to_owned());
        Position { route: RouteName::Matrix, line, token, at: at(1) }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn messages_and_place_are_kept_together_or_not_at_all() {
        on_each(|store| async move {
            let here = |store: Store| async move {
                store.position(RouteName::Matrix, "@desk:farm.test").await.unwrap()
            };
            assert_eq!(here(store.clone()).await, None);
            let first = [message("in1", "$1"), message("in2", "$2")];
            assert_eq!(store.receive_up_to(&first, &position("s2")).await.unwrap(), 2);
            assert_eq!(here(store.clone()).await.as_deref(), Some("s2"));

            // A repeat and a new one; then one that fails on its id after a good one.
            let second = [message("in3", "$2"), message("in4", "$4")];
            assert_eq!(store.receive_up_to(&second, &position("s4")).await.unwrap(), 1);
            let broken = [message("in5", "$5"), message("in1", "$6")];
            assert!(store.receive_up_to(&broken, &position("s6")).await.is_err());
            assert_eq!(here(store.clone()).await.as_deref(), Some("s4"));
            assert_eq!(store.unhandled().await.unwrap().len(), 3);

            let other = store.position(RouteName::Matrix, "@other:farm.test").await.unwrap();
            assert_eq!(other, None, "another account has a place of its own");
        })
        .await;
    }
}
