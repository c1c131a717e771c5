//! A text that did not arrive goes the person's next way; when there is none, the advisor is told.

use super::Desk;
use crate::store::{Cause, Notice, Stranded, Text, TextKind};
use crate::wording::answers::Answer;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::people::{Person, RouteName};
use furrowbell_engine::findings::Urgency;

/// How long an urgent text may be without a receipt on a route that gives them.
const RECEIPT_WAIT: TimeDelta = TimeDelta::minutes(10);

impl Desk {
    /// Sends what did not arrive another way.
    ///
    /// A routine text whose answers were lost may have arrived and is left alone; the digest names
    /// it. No notice goes twice on one route.
    pub async fn fall_back(&self, now: DateTime<Utc>) -> anyhow::Result<()> {
        let reporting: Vec<RouteName> = self
            .routes
            .iter()
            .filter(|(_, route)| route.gives_receipts())
            .map(|(name, _)| *name)
            .collect();
        for stranded in self.store.stranded(now, now - RECEIPT_WAIT, &reporting).await? {
            let text = &stranded.queued.text;
            let urgent = text.urgency == Urgency::Urgent;
            if stranded.queued.possibly_twice && stranded.cause == Cause::Refused && !urgent {
                continue;
            }
            let notices = self.store.notices_of_text(&text.id).await?;
            if self.is_settled(&text.id, &notices).await? {
                continue;
            }
            let next = self.next_way(&stranded, &notices, now).await?;
            let carries_notices = next.is_some();
            let next = next.or_else(|| {
                urgent.then(|| self.word_to_advisor(&stranded, &notices, now)).flatten()
            });
            if self.store.fall_back(&stranded, next.as_ref(), carries_notices, now).await? {
                self.to_send.ring_all();
                let next = next.map(|next| next.route.name());
                tracing::warn!(text = text.id, cause = ?stranded.cause, next, "did not arrive");
            }
        }
        Ok(())
    }

    /// The same words on the person's next route that has not carried them.
    async fn next_way(
        &self,
        stranded: &Stranded,
        notices: &[Notice],
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<Text>> {
        let text = &stranded.queued.text;
        let Some(person) = self.book.person(&text.person) else { return Ok(None) };
        let mut used = vec![text.route];
        for notice in notices {
            let earlier = self.store.texts_of_notice(&notice.id).await?;
            used.extend(earlier.into_iter().map(|queued| queued.text.route));
        }
        let ready = |route: &&RouteName| {
            !used.contains(route)
                && self.routes.contains_key(route)
                && self.address(&person.id, **route).is_some()
        };
        let next = person.routes.iter().find(ready);
        Ok(next.map(|route| Text {
            id: self.ids.make(),
            route: *route,
            created_at: now,
            due_at: now,
            ..text.clone()
        }))
    }

    /// Tells the first advisor of the farm, by the advisor's own route, whom to call.
    fn word_to_advisor(
        &self,
        stranded: &Stranded,
        notices: &[Notice],
        now: DateTime<Utc>,
    ) -> Option<Text> {
        let lost = &stranded.queued.text;
        let first = notices.first()?;
        let farm = self.book.farm(&self.book.field(&first.identity.field)?.farm)?;
        let advisor = farm.advisors.iter().find_map(|id| self.book.person(id))?;
        let names: Vec<&str> = notices
            .iter()
            .filter_map(|notice| self.book.field(&notice.identity.field))
            .map(|field| field.name.as_str())
            .collect();
        let topic = self.wording.topic_name(advisor.language, first.identity.topic);
        let said = Answer::NotArrived {
            name: self.book.person(&lost.person).map_or(&lost.person, |person| &person.name),
            topic: &topic,
            fields: &names,
        };
        let body = self.wording.answer(&self.book.service.name, advisor.language, &said);
        Some(self.text_to_advisor(advisor, body, lost, now))
    }

    fn text_to_advisor(
        &self,
        advisor: &Person,
        body: String,
        lost: &Text,
        now: DateTime<Utc>,
    ) -> Text {
        Text {
            id: self.ids.make(),
            kind: TextKind::Digest,
            person: advisor.id.clone(),
            route: self.route_of(advisor),
            language: advisor.language,
            subject: Some(body.clone()),
            body,
            html: None,
            urgency: Urgency::Urgent,
            act_by: lost.act_by,
            created_at: now,
            due_at: now,
            expires_at: lost.expires_at,
        }
    }
}
