//! Notices: what was told to whom, once.

use super::error::Result;
use super::row::{Column, Place};
use super::texts::{self, Text};
use super::{Store, Tx};
use chrono::{DateTime, NaiveDate, Utc};
use furrowbell_engine::findings::{Evidence, Topic, Urgency};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// What makes two notices the same.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Identity {
    /// The field.
    pub field: String,
    /// What it is about.
    pub topic: Topic,
    /// Day of the pass or event it hangs on.
    pub occasion: NaiveDate,
    /// 1 for the first telling, more when it got worse.
    pub version: u32,
    /// Who is told.
    pub person: String,
}

/// How a notice came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// Somebody answered it.
    Answered,
    /// Its time passed.
    Expired,
    /// A later version took its place.
    Superseded,
}

/// The end of a notice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closing {
    /// How.
    pub ending: Ending,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom or what: a person, a message, a later notice.
    pub by: Option<String>,
}

/// A finding addressed to somebody.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// Its id.
    pub id: String,
    /// What makes it the one.
    pub identity: Identity,
    /// How soon the person must know.
    pub urgency: Urgency,
    /// Last day on which the action makes sense.
    pub act_by: Option<NaiveDate>,
    /// When telling it loses its sense.
    pub expires_at: DateTime<Utc>,
    /// Whether it rests on forecast or model weather.
    pub provisional: bool,
    /// The numbers behind it.
    pub evidence: Evidence,
    /// When it was raised.
    pub raised_at: DateTime<Utc>,
    /// Its end; `None` while it is open.
    pub closed: Option<Closing>,
}

/// Notices and the one text that carries them. They are stored together or not at all.
#[derive(Debug, Clone, PartialEq)]
pub struct Telling {
    /// What is told, to one person; at least one, all open.
    pub notices: Vec<Notice>,
    /// The text; `None` when the digest alone tells it.
    pub text: Option<Text>,
}

pub(super) struct Row {
    id: String,
    field: String,
    topic: String,
    occasion: NaiveDate,
    version: i64,
    person: String,
    urgency: String,
    act_by: Option<NaiveDate>,
    expires_at: DateTime<Utc>,
    provisional: bool,
    evidence: String,
    raised_at: DateTime<Utc>,
    state: String,
    closed_at: Option<DateTime<Utc>>,
    closed_by: Option<String>,
}

from_row!(Row {
    id,
    field,
    topic,
    occasion,
    version,
    person,
    urgency,
    act_by,
    expires_at,
    provisional,
    evidence,
    raised_at,
    state,
    closed_at,
    closed_by
});

impl Row {
    pub(super) fn read(self) -> Result<Notice> {
        let place = Place { table: "notice", id: &self.id };
        let closed = match self.closed_at {
            None => None,
            Some(at) => {
                Some(Closing { ending: place.word("state", &self.state)?, at, by: self.closed_by })
            }
        };
        Ok(Notice {
            identity: Identity {
                topic: place.word("topic", &self.topic)?,
                version: place.number("version", self.version)?,
                field: self.field,
                occasion: self.occasion,
                person: self.person,
            },
            urgency: place.word("urgency", &self.urgency)?,
            evidence: place.json("evidence", &self.evidence)?,
            id: self.id,
            act_by: self.act_by,
            expires_at: self.expires_at,
            provisional: self.provisional,
            raised_at: self.raised_at,
            closed,
        })
    }
}

struct IdentityRow {
    id: String,
    field: String,
    topic: String,
    occasion: NaiveDate,
    version: i64,
    person: String,
}

from_row!(IdentityRow { id, field, topic, occasion, version, person });

impl IdentityRow {
    fn read(self) -> Result<Identity> {
        let place = Place { table: "notice", id: &self.id };
        Ok(Identity {
            topic: place.word("topic", &self.topic)?,
            version: place.number("version", self.version)?,
            field: self.field,
            occasion: self.occasion,
            person: self.person,
        })
    }
}

impl Store {
    /// Stores tellings and says of each whether it stands.
    ///
    /// Each telling is one transaction. When any of its notices is on record already, nothing of
    /// it is stored: somebody else told part of it, and the caller must compose it anew. Open
    /// earlier versions of its notices end as superseded, and texts that wait with nothing else
    /// to say are held.
    pub async fn decide(&self, tellings: &[Telling]) -> Result<Vec<bool>> {
        let mut stand = Vec::with_capacity(tellings.len());
        for telling in tellings {
            stand.push(self.tell(telling).await?);
        }
        Ok(stand)
    }

    async fn tell(&self, telling: &Telling) -> Result<bool> {
        let mut notices: Vec<&Notice> = telling.notices.iter().collect();
        // Two instances that insert in one order wait for each other once, never in a ring.
        notices.sort_by(|left, right| left.identity.cmp(&right.identity));
        let mut tx = self.begin().await?;
        for notice in &notices {
            if !insert(&mut tx, notice).await? {
                return Ok(false);
            }
        }
        if let Some(text) = &telling.text {
            texts::insert(&mut tx, text).await?;
            for notice in &notices {
                link(&mut tx, &text.id, &notice.id).await?;
            }
        }
        for notice in &notices {
            supersede(&mut tx, notice).await?;
        }
        tx.commit().await?;
        Ok(true)
    }

    /// Identities of all notices that hang on an occasion since a day.
    pub async fn known_since(&self, occasion: NaiveDate) -> Result<BTreeSet<Identity>> {
        let rows: Vec<IdentityRow> = with_pool!(self, pool => sqlx::query_as(
            "-- notice.known_since
            SELECT id, field, topic, occasion, version, person FROM notice WHERE occasion >= $1")
            .bind(occasion)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(IdentityRow::read).collect()
    }

    /// One notice.
    pub async fn notice(&self, id: &str) -> Result<Option<Notice>> {
        let row: Option<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- notice.get\nSELECT * FROM notice WHERE id = $1")
            .bind(id)
            .fetch_optional(pool)
            .await?);
        row.map(Row::read).transpose()
    }

    /// All open notices, the earliest first.
    pub async fn open_notices(&self) -> Result<Vec<Notice>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- notice.open
            SELECT * FROM notice WHERE state = 'open' ORDER BY raised_at, id")
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Notices raised at or after an instant, open or closed, the earliest first.
    pub async fn notices_since(&self, raised_at: DateTime<Utc>) -> Result<Vec<Notice>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- notice.since
            SELECT * FROM notice WHERE raised_at >= $1 ORDER BY raised_at, id")
            .bind(raised_at)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// The notices that a text carries.
    pub async fn notices_of_text(&self, text: &str) -> Result<Vec<Notice>> {
        let rows: Vec<Row> = with_pool!(self, pool => sqlx::query_as(
            "-- notice.of_text
            SELECT notice.* FROM notice
            JOIN outbox_notice ON outbox_notice.notice_id = notice.id
            WHERE outbox_notice.outbox_id = $1 ORDER BY notice.raised_at, notice.id")
            .bind(text)
            .fetch_all(pool)
            .await?);
        rows.into_iter().map(Row::read).collect()
    }

    /// Ends a notice whose finding is gone, and holds texts that wait with nothing else to say. One
    /// that has reached nobody is forgotten, so that the finding is told when it comes back.
    pub async fn withdraw_notice(&self, id: &str, closing: &Closing) -> Result<()> {
        let mut tx = self.begin().await?;
        if close(&mut tx, id, closing).await? && !may_have_gone(&mut tx, id).await? {
            forget(&mut tx, id).await?;
        }
        tx.commit().await
    }

    /// Ends open notices whose time has passed and says how many.
    pub async fn expire_notices(&self, now: DateTime<Utc>) -> Result<u64> {
        Ok(with_pool!(self, pool => sqlx::query(
            "-- notice.expire
            UPDATE notice SET state = 'expired', closed_at = $1
            WHERE state = 'open' AND expires_at <= $1")
            .bind(now)
            .execute(pool)
            .await?
            .rows_affected()))
    }
}

pub(super) async fn insert(tx: &mut Tx, notice: &Notice) -> Result<bool> {
    let identity = &notice.identity;
    let evidence = Column("notice", "evidence").json(&notice.evidence)?;
    let urgency = Column("notice", "urgency").word(&notice.urgency)?;
    let inserted = with_tx!(tx, connection => sqlx::query(
        "-- notice.insert
        INSERT INTO notice (id, field, topic, occasion, version, person, urgency, act_by,
            expires_at, provisional, evidence, raised_at, state)
        VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, 'open')
        ON CONFLICT (field, topic, occasion, version, person) DO NOTHING")
        .bind(&notice.id)
        .bind(&identity.field)
        .bind(identity.topic.name())
        .bind(identity.occasion)
        .bind(i64::from(identity.version))
        .bind(&identity.person)
        .bind(urgency)
        .bind(notice.act_by)
        .bind(notice.expires_at)
        .bind(notice.provisional)
        .bind(evidence)
        .bind(notice.raised_at)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(inserted == 1)
}

pub(super) async fn link(tx: &mut Tx, text: &str, notice: &str) -> Result<()> {
    with_tx!(tx, connection => sqlx::query(
        "-- outbox_notice.insert
        INSERT INTO outbox_notice (outbox_id, notice_id) VALUES ($1, $2)")
        .bind(text)
        .bind(notice)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(())
}

pub(super) async fn supersede(tx: &mut Tx, notice: &Notice) -> Result<()> {
    let identity = &notice.identity;
    let earlier: Vec<String> = with_tx!(&mut *tx, connection => sqlx::query_scalar(
        "-- notice.earlier
        SELECT id FROM notice
        WHERE field = $1 AND topic = $2 AND occasion = $3 AND person = $4 AND version < $5
            AND state = 'open'
        ORDER BY version")
        .bind(&identity.field)
        .bind(identity.topic.name())
        .bind(identity.occasion)
        .bind(&identity.person)
        .bind(i64::from(identity.version))
        .fetch_all(connection)
        .await?);
    let closing =
        Closing { ending: Ending::Superseded, at: notice.raised_at, by: Some(notice.id.clone()) };
    for id in earlier {
        close(tx, &id, &closing).await?;
    }
    Ok(())
}

pub(super) async fn close(tx: &mut Tx, id: &str, closing: &Closing) -> Result<bool> {
    let state = Column("notice", "state").word(&closing.ending)?;
    let closed = with_tx!(&mut *tx, connection => sqlx::query(
        "-- notice.close
        UPDATE notice SET state = $2, closed_at = $3, closed_by = $4
        WHERE id = $1 AND state = 'open'")
        .bind(id)
        .bind(state)
        .bind(closing.at)
        .bind(&closing.by)
        .execute(connection)
        .await?
        .rows_affected());
    if closed == 0 {
        return Ok(false);
    }
    texts::hold_idle(tx, id, closing.at).await?;
    for text in texts::half_settled(tx, id).await? {
        let why = "a part of it was settled before it went; the rest is told anew";
        if texts::hold(tx, &text, why, closing.at).await? {
            forget_untold(tx, &text, closing.at).await?;
        }
    }
    Ok(true)
}

/// Forgets what a text that will not go was to tell and what still holds, so that the next round
/// tells it.
pub(super) async fn forget_untold(tx: &mut Tx, text: &str, now: DateTime<Utc>) -> Result<()> {
    let open: Vec<String> = with_tx!(&mut *tx, connection => sqlx::query_scalar(
        "-- notice.untold
        SELECT notice.id FROM notice
        JOIN outbox_notice ON outbox_notice.notice_id = notice.id
        WHERE outbox_notice.outbox_id = $1 AND notice.state = 'open' AND notice.expires_at > $2
        ORDER BY notice.id")
        .bind(text)
        .bind(now)
        .fetch_all(connection)
        .await?);
    for id in open {
        if !may_have_gone(tx, &id).await? {
            forget(tx, &id).await?;
        }
    }
    Ok(())
}

/// Whether any text that carries the notice went, may have gone, or is still to go.
async fn may_have_gone(tx: &mut Tx, id: &str) -> Result<bool> {
    let texts: i64 = with_tx!(tx, connection => sqlx::query_scalar(
        "-- notice.may_have_gone
        SELECT COUNT(*) FROM outbox
        JOIN outbox_notice ON outbox_notice.outbox_id = outbox.id
        WHERE outbox_notice.notice_id = $1
            AND (state IN ('waiting', 'sending', 'sent') OR possibly_twice)")
        .bind(id)
        .fetch_one(connection)
        .await?);
    Ok(texts > 0)
}

async fn forget(tx: &mut Tx, id: &str) -> Result<()> {
    with_tx!(&mut *tx, connection => sqlx::query(
        "-- outbox_notice.forget\nDELETE FROM outbox_notice WHERE notice_id = $1")
        .bind(id)
        .execute(connection)
        .await?
        .rows_affected());
    with_tx!(tx, connection => sqlx::query("-- notice.forget\nDELETE FROM notice WHERE id = $1")
        .bind(id)
        .execute(connection)
        .await?
        .rows_affected());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing::{at, may, notice, on_each, text};
    use crate::store::{TextFilter, TextState};

    fn of_field(id: &str, field: &str) -> Notice {
        let mut notice = notice(id, 1);
        notice.identity.field = field.to_owned();
        notice
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_telling_is_stored_whole_and_once() {
        on_each(|store| async move {
            let (north, south) = (of_field("n1", "north-80"), of_field("n2", "south-40"));
            let told =
                Telling { notices: vec![south.clone(), north.clone()], text: Some(text("t1")) };
            assert_eq!(store.decide(std::slice::from_ref(&told)).await.unwrap(), [true]);
            assert_eq!(store.notice("n1").await.unwrap(), Some(north.clone()));
            assert_eq!(store.notices_of_text("t1").await.unwrap(), [north.clone(), south.clone()]);
            let carriers = store.texts_of_notice("n2").await.unwrap();
            assert_eq!(carriers.len(), 1);
            assert_eq!(carriers[0].text, text("t1"));
            let known = store.known_since(may(1)).await.unwrap();
            assert_eq!(known, [north.identity, south.identity].into());
            assert!(store.known_since(may(2)).await.unwrap().is_empty());
            assert_eq!(store.open_notices().await.unwrap().len(), 2);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_telling_known_in_part_leaves_no_trace() {
        on_each(|store| async move {
            let first =
                Telling { notices: vec![of_field("n1", "north-80")], text: Some(text("t1")) };
            // Sorted first, so that it is inserted before the known one is met.
            let mixed = Telling {
                notices: vec![of_field("n2", "north-80"), of_field("n3", "east-20")],
                text: Some(text("t2")),
            };
            let last = Telling { notices: vec![of_field("n4", "west-60")], text: Some(text("t3")) };
            let stand = store.decide(&[first, mixed, last]).await.unwrap();
            assert_eq!(stand, [true, false, true]);
            assert_eq!(store.text("t2").await.unwrap(), None);
            assert_eq!(store.notice("n3").await.unwrap(), None);
            let known = store.known_since(may(1)).await.unwrap();
            assert!(known.iter().all(|identity| identity.field != "east-20"));
            assert!(store.text("t3").await.unwrap().is_some());
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_text_that_cannot_be_stored_takes_its_notices_with_it() {
        on_each(|store| async move {
            store.queue(&text("t1")).await.unwrap();
            let telling = Telling { notices: vec![notice("n1", 1)], text: Some(text("t1")) };
            assert!(store.decide(&[telling]).await.is_err());
            assert_eq!(store.notice("n1").await.unwrap(), None);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn instances_that_race_tell_each_thing_once() {
        on_each(|store| async move {
            let instances: Vec<_> = (0..4)
                .map(|instance| {
                    let store = store.clone();
                    let tellings: Vec<_> = (0..20)
                        .map(|number| {
                            let id = format!("{instance}-{number}");
                            let mut notices = vec![
                                of_field(&format!("{id}a"), &format!("a{number}")),
                                of_field(&format!("{id}b"), &format!("b{number}")),
                            ];
                            notices.rotate_left(instance % 2);
                            Telling { notices, text: Some(text(&id)) }
                        })
                        .collect();
                    tokio::spawn(async move { store.decide(&tellings).await.unwrap() })
                })
                .collect();
            let mut stood = 0;
            for instance in instances {
                stood += instance.await.unwrap().into_iter().filter(|stands| *stands).count();
            }
            assert_eq!(stood, 20);
            assert_eq!(store.open_notices().await.unwrap().len(), 40);
            let texts = store.texts(&TextFilter::default()).await.unwrap();
            assert_eq!(texts.len(), 20);
            for queued in texts {
                assert_eq!(store.notices_of_text(&queued.text.id).await.unwrap().len(), 2);
            }
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_later_version_supersedes_and_holds_the_text_that_still_waits() {
        on_each(|store| async move {
            let first = Telling { notices: vec![notice("n1", 1)], text: Some(text("t1")) };
            let mut worse = notice("n2", 2);
            worse.raised_at = at(60);
            let second = Telling { notices: vec![worse.clone()], text: Some(text("t2")) };
            assert_eq!(store.decide(&[first, second]).await.unwrap(), [true, true]);
            let closing =
                Closing { ending: Ending::Superseded, at: at(60), by: Some("n2".to_owned()) };
            assert_eq!(store.notice("n1").await.unwrap().unwrap().closed, Some(closing));
            assert_eq!(store.text("t1").await.unwrap().unwrap().state, TextState::Held);
            assert_eq!(store.text("t2").await.unwrap().unwrap().state, TextState::Waiting);
            assert_eq!(store.open_notices().await.unwrap(), [worse]);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_part_that_falls_away_frees_the_rest_to_be_told_anew() {
        on_each(|store| async move {
            let notices = vec![of_field("n1", "north-80"), of_field("n2", "south-40")];
            store.decide(&[Telling { notices, text: Some(text("t1")) }]).await.unwrap();
            let closing = Closing { ending: Ending::Expired, at: at(5), by: None };
            store.withdraw_notice("n1", &closing).await.unwrap();
            let held = store.text("t1").await.unwrap().unwrap();
            assert_eq!((held.state, held.ended_at), (TextState::Held, Some(at(5))));
            assert!(store.known_since(may(1)).await.unwrap().is_empty(), "it has reached nobody");
            let rest = Telling { notices: vec![of_field("n3", "south-40")], text: None };
            assert_eq!(store.decide(&[rest]).await.unwrap(), [true]);
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn what_holds_on_after_its_text_has_expired_is_told_anew() {
        on_each(|store| async move {
            let mut long = of_field("n2", "south-40");
            long.expires_at = at(48 * 60);
            let mut told = text("t1");
            told.expires_at = at(24 * 60);
            let notices = vec![notice("n1", 1), long];
            store.decide(&[Telling { notices, text: Some(told) }]).await.unwrap();
            assert_eq!(store.expire_texts(at(24 * 60)).await.unwrap().len(), 1);
            assert!(store.notice("n1").await.unwrap().is_some(), "it came too late, and says so");
            assert!(store.notice("n2").await.unwrap().is_none());
        })
        .await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn open_notices_end_with_their_time() {
        on_each(|store| async move {
            let mut long = of_field("n2", "south-40");
            long.expires_at = at(48 * 60);
            let telling = Telling { notices: vec![notice("n1", 1), long.clone()], text: None };
            store.decide(&[telling]).await.unwrap();
            assert_eq!(store.expire_notices(at(24 * 60 - 1)).await.unwrap(), 0);
            assert_eq!(store.expire_notices(at(24 * 60)).await.unwrap(), 1);
            assert_eq!(store.open_notices().await.unwrap(), [long]);
            assert_eq!(store.notices_since(at(0)).await.unwrap().len(), 2);
            assert!(store.notices_since(at(1)).await.unwrap().is_empty());
        })
        .await;
    }
}
