//! What went to a person lately, by which the next text is held off at the moment of sending.

use super::Store;
use super::error::Result;
use super::row::Place;
use chrono::{DateTime, Utc};
use furrowbell_config::people::RouteName;
use furrowbell_engine::findings::Topic;
use std::collections::HashSet;

impl Store {
    /// When a notice last went to a person, this text left out.
    pub async fn last_notice_sent(
        &self,
        person: &str,
        except: &str,
    ) -> Result<Option<DateTime<Utc>>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.last_notice_sent
            SELECT MAX(sent_at) FROM outbox
            WHERE person = $1 AND id <> $2 AND kind = 'notice' AND state = 'sent'")
            .bind(person)
            .bind(except)
            .fetch_one(pool)
            .await?))
    }

    /// Whether another worker holds a notice to the person at this moment.
    pub async fn notice_in_flight(
        &self,
        person: &str,
        except: &str,
        now: DateTime<Utc>,
    ) -> Result<bool> {
        let texts: i64 = with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.notice_in_flight
            SELECT COUNT(*) FROM outbox
            WHERE person = $1 AND id <> $2 AND kind = 'notice' AND state = 'sending'
                AND lease_until > $3")
            .bind(person)
            .bind(except)
            .bind(now)
            .fetch_one(pool)
            .await?);
        Ok(texts > 0)
    }

    /// Fields and topics of which a person has heard since, by other notices than this text's.
    pub async fn heard_since(
        &self,
        person: &str,
        since: DateTime<Utc>,
        text: &str,
    ) -> Result<HashSet<(String, Topic)>> {
        let rows: Vec<(String, String)> = with_pool!(self, pool => sqlx::query_as(
            "-- outbox.heard_since
            SELECT DISTINCT notice.field, notice.topic FROM outbox
            JOIN outbox_notice ON outbox_notice.outbox_id = outbox.id
            JOIN notice ON notice.id = outbox_notice.notice_id
            WHERE outbox.person = $1 AND outbox.kind = 'notice' AND outbox.state = 'sent'
                AND outbox.sent_at >= $2
                AND notice.id NOT IN (SELECT notice_id FROM outbox_notice WHERE outbox_id = $3)")
            .bind(person)
            .bind(since)
            .bind(text)
            .fetch_all(pool)
            .await?);
        let place = Place { table: "notice", id: person };
        rows.into_iter().map(|(field, topic)| Ok((field, place.word("topic", &topic)?))).collect()
    }

    /// When the last text that is marked under `name` went, or is to go.
    pub async fn last_marked_text(&self, name: &str) -> Result<Option<DateTime<Utc>>> {
        Ok(with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.last_marked
            SELECT MAX(COALESCE(outbox.sent_at, outbox.due_at)) FROM outbox
            JOIN mark ON mark.key = outbox.id
            WHERE mark.name = $1 AND outbox.state IN ('waiting', 'sending', 'sent')")
            .bind(name)
            .fetch_one(pool)
            .await?))
    }

    /// Whether the route has ever taken a text.
    pub async fn has_taken(&self, route: RouteName) -> Result<bool> {
        let texts: i64 = with_pool!(self, pool => sqlx::query_scalar(
            "-- outbox.has_taken
            SELECT COUNT(*) FROM (
                SELECT 1 FROM outbox WHERE route = $1 AND state = 'sent' LIMIT 1) taken")
            .bind(route.name())
            .fetch_one(pool)
            .await?);
        Ok(texts > 0)
    }
}
