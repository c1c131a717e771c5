//! Keeps what the clocks showed, a row a field and day, so that it can be looked up later.

use super::Desk;
use super::advance::FieldNow;
use crate::store::SeasonRows;
use chrono::{DateTime, Datelike, Days, NaiveDate, Utc};
use furrowbell_engine::season::DayRow;
use std::collections::{BTreeMap, HashMap};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::{Mutex, PoisonError};

/// Fingerprints of one season's rows.
type Prints = BTreeMap<NaiveDate, u64>;

/// What this process has written, so that a round writes only what changed. A new process begins
/// with nothing and goes over every season once.
#[derive(Debug, Default)]
pub struct Kept(Mutex<HashMap<String, Prints>>);

impl Desk {
    /// Writes the rows that changed since the last round and drops those that fell out.
    pub(super) async fn keep_seasons(
        &self,
        fields: &[FieldNow<'_>],
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        let prints: Vec<_> =
            fields.iter().map(|at| prints(&at.season.days)).collect::<Result<_, _>>()?;
        let seasons = self.kept.changes(fields, &prints);
        if seasons.is_empty() {
            return Ok(());
        }
        self.store.keep_seasons(&seasons, now).await?;
        self.kept.note(fields, prints);
        Ok(())
    }
}

impl Kept {
    /// The seasons that are not kept as they stand.
    fn changes<'a>(&self, fields: &'a [FieldNow<'_>], prints: &[Prints]) -> Vec<SeasonRows<'a>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let stale = fields.iter().zip(prints).filter_map(|(at, prints)| {
            let known = kept.get(&at.field.id);
            (known != Some(prints)).then(|| season_rows(at, prints, known))
        });
        stale.collect()
    }

    fn note(&self, fields: &[FieldNow<'_>], prints: Vec<Prints>) {
        let ids = fields.iter().map(|at| at.field.id.clone());
        self.0.lock().unwrap_or_else(PoisonError::into_inner).extend(ids.zip(prints));
    }
}

fn season_rows<'a>(
    at: &'a FieldNow<'_>,
    prints: &Prints,
    known: Option<&Prints>,
) -> SeasonRows<'a> {
    let days = &at.season.days;
    let began = days.first().map_or(at.today, |row| row.date);
    let year_start = began.with_ordinal(1).unwrap_or(began);
    let is_kept = |date| known.is_some_and(|known| known.get(&date) == prints.get(&date));
    SeasonRows {
        field: &at.field.id,
        year_start,
        first: days.first().map_or(year_start, |row| row.date),
        end: days.last().map_or(year_start, |row| row.date + Days::new(1)),
        changed: days.iter().filter(|row| !is_kept(row.date)).collect(),
    }
}

fn prints(days: &[DayRow]) -> serde_json::Result<Prints> {
    let print = |row: &DayRow| {
        let mut hasher = DefaultHasher::new();
        serde_json::to_vec(row)?.hash(&mut hasher);
        Ok((row.date, hasher.finish()))
    };
    days.iter().map(print).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::store::testing::{SeasonDay, season_days};
    use crate::store::{Record, Store, Via};
    use crate::wire::{self, Outside};
    use chrono::TimeDelta;
    use furrowbell_config::Book;
    use furrowbell_engine::journal::Event;
    use furrowbell_engine::units::Millimetres;
    use std::path::Path;

    /// In the demo book planted on 1 May 2026 and sprayed on the 7th.
    const FIELD: &str = "kettle-ridge/church-quarter";

    async fn desk(folder: &Path) -> Desk {
        let url = format!("sqlite:{}", folder.join("record.db").display());
        let store = Store::open(&url).await.unwrap();
        store.migrate().await.unwrap();
        let book = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/demo");
        let clock = Clock::pretended("2026-05-20T11:00:00Z".parse().unwrap());
        wire::desk(Book::load(&book).unwrap(), store, clock, Outside::Pretended).unwrap()
    }

    fn may(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 5, day).unwrap()
    }

    async fn say(desk: &Desk, day: u32, event: Event) {
        let record = Record {
            id: desk.ids.make(),
            source_key: desk.ids.make(),
            field: FIELD.to_owned(),
            happened_on: may(day),
            event,
            by: "orrin-vask".to_owned(),
            via: Via::Sms,
            note: None,
            created_at: desk.clock.now(),
        };
        assert!(desk.store.append(&record).await.unwrap());
    }

    async fn turned(desk: &Desk) -> Vec<SeasonDay> {
        let now = desk.clock.now();
        desk.clock.advance_to(now + TimeDelta::minutes(30));
        desk.turn().await.unwrap();
        season_days(&desk.store, FIELD).await
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_late_rain_reading_changes_the_kept_rows_from_its_day_on() {
        let folder = tempfile::tempdir().unwrap();
        let desk = desk(folder.path()).await;
        let before = turned(&desk).await;
        let shown = desk.advance(desk.clock.now()).await.unwrap();
        let shown = shown.iter().find(|at| at.field.id == FIELD).unwrap();
        let bodies: Vec<_> =
            shown.season.days.iter().map(|row| serde_json::to_string(row).unwrap()).collect();
        assert!(before.iter().map(|row| &row.body).eq(&bodies));
        assert_eq!(turned(&desk).await, before);

        say(&desk, 12, Event::Rain { amount: Millimetres::new(38.0).unwrap() }).await;
        let after = turned(&desk).await;
        assert_eq!(after.len(), before.len());
        for (new, old) in after.iter().zip(&before) {
            if new.day < may(12) {
                assert_eq!(new, old);
            } else if new.day <= may(20) {
                assert_ne!(new.body, old.body, "{}", new.day);
                assert!(new.computed_at > old.computed_at);
            }
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn days_before_a_replanting_are_kept_no_longer() {
        let folder = tempfile::tempdir().unwrap();
        let desk = desk(folder.path()).await;
        let before = turned(&desk).await;
        assert_eq!(before[0].day, may(1));
        say(&desk, 14, Event::Planted).await;
        let after = turned(&desk).await;
        assert!(after[0].day > before[0].day, "{}", after[0].day);
        assert_eq!(after.last().map(|row| row.day), before.last().map(|row| row.day));

        // A process that starts later finds the record as it left it.
        let next = Desk { kept: std::sync::Arc::default(), ..desk };
        assert_eq!(turned(&next).await, after);
    }
}
