//! Keeps the records of herbicide passes: begins one for every pass of the journal, fills in what
//! the book knows, and asks whoever reported the pass for the rest, one item at a time.

use super::Desk;
use super::answer::{ANSWER_STANDS, NOT_UNDERSTOOD};
use crate::records::fill::{Filled, fill};
use crate::records::parts::parts_of;
use crate::records::{AppliedPass, Item, Missing, Origin, Sheet};
use crate::replies::grammar::{self, Reply};
use crate::replies::record_item::{self, Reading};
use crate::store::{
    Application, Handling, Inbound, ItemRow, Question, Record, RecordStep, Text, TextKind, Via,
};
use crate::wording::digest::RecordLine;
use crate::wording::records::{Asked, RecordText};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use furrowbell_config::local::{local_day, start_of_day};
use furrowbell_config::people::Person;
use furrowbell_engine::findings::Urgency;
use std::collections::{BTreeSet, HashMap, HashSet};

/// How far back records are kept open: a season, and the one before it for numbers known since.
const LOOK_BACK: Days = Days::new(400);
/// How long a question waits for its answer before it is asked once more, and then is left to the
/// advisor.
const PATIENCE: TimeDelta = TimeDelta::days(3);
/// A first question so soon after the report is part of the answer to it.
const STILL_TALKING: TimeDelta = TimeDelta::hours(1);
/// Whose word the book is.
const BY_THE_BOOK: &str = "book";

/// Outcome of an answer that went on record.
const TOOK_ITEM: &str = "took an item of a record";
/// Outcome of an answer that puts a question off.
const PUT_OFF: &str = "put a question off";

/// Every record with all that was asked for it.
#[derive(Debug, Clone, Default)]
pub struct Ledger {
    /// The records, by field and day.
    pub sheets: Vec<Sheet>,
    /// The questions, in the order they were asked.
    pub questions: Vec<Question>,
}

/// What is to be done next about the records of one person.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Next {
    /// Ask for an item of the sheet.
    Ask(usize, Missing),
    /// Ask once more.
    AskAgain(usize, Question),
    /// Wait, or there is nothing to ask.
    Nothing,
}

impl Ledger {
    fn question(&self, sheet: &Sheet, missing: &Missing) -> Option<&Question> {
        self.questions.iter().find(|question| {
            question.application_id == sheet.application.id
                && question.part == missing.0
                && question.item == missing.1
        })
    }

    /// Sheets whose missing items a person is asked for, the earliest reported first.
    fn of_person<'a>(&'a self, person: &str) -> Vec<(usize, &'a Sheet)> {
        let mine = |sheet: &Sheet| sheet.application.asked.as_deref() == Some(person);
        let mut sheets: Vec<_> =
            self.sheets.iter().enumerate().filter(|(_, sheet)| mine(sheet)).collect();
        sheets.sort_by_key(|(_, sheet)| (sheet.application.created_at, &sheet.application.id));
        sheets
    }

    /// One question at a time: nothing new is asked while one waits for its answer. One that was
    /// asked twice in vain is the advisor's, and the next record has its turn.
    fn next(&self, person: &str, today: NaiveDate, now: DateTime<Utc>) -> Next {
        for (at, sheet) in self.of_person(person) {
            let Some(missing) = sheet.next_asked().filter(|_| today <= sheet.due()) else {
                continue;
            };
            let Some(question) = self.question(sheet, &missing) else {
                return Next::Ask(at, missing);
            };
            match question.reminded_at {
                Some(reminded_at) if now >= reminded_at + PATIENCE => {}
                None if now >= waits_since(question) + PATIENCE => {
                    return Next::AskAgain(at, question.clone());
                }
                _ => return Next::Nothing,
            }
        }
        Next::Nothing
    }

    /// The question that a text of the person may answer: the latest that is still open.
    fn open_question(&self, person: &str) -> Option<(usize, &Question)> {
        let open = self.questions.iter().filter(|question| question.person == person);
        let open = open.filter_map(|question| {
            let of_it = |sheet: &Sheet| sheet.application.id == question.application_id;
            let at = self.sheets.iter().position(of_it)?;
            let missing = (question.part.clone(), question.item);
            self.sheets[at].missing().contains(&missing).then_some((at, question))
        });
        open.max_by_key(|(_, question)| last_said(question))
    }

    /// Whether the record is left to the advisor: nobody is asked for what it lacks any more.
    pub fn is_left_to_advisor(&self, sheet: &Sheet, today: NaiveDate, now: DateTime<Utc>) -> bool {
        let Some(missing) = sheet.missing().into_iter().next() else { return false };
        if sheet.application.asked.is_none() || today > sheet.due() || !missing.1.is_asked() {
            return true;
        }
        let reminded = self.question(sheet, &missing).and_then(|question| question.reminded_at);
        reminded.is_some_and(|at| now >= at + PATIENCE)
    }
}

fn waits_since(question: &Question) -> DateTime<Utc> {
    question.put_off_at.map_or(question.asked_at, |at| at.max(question.asked_at))
}

fn last_said(question: &Question) -> DateTime<Utc> {
    question.reminded_at.unwrap_or(question.asked_at)
}

/// The journal entries that stand. An entry that was taken back is not among them, and the record
/// of it is shown as withdrawn.
fn standing(journal: &[Record]) -> HashSet<&str> {
    journal.iter().map(|record| record.id.as_str()).collect()
}

impl Desk {
    /// Every record of the last season or so, as it stands.
    pub async fn ledger(&self, now: DateTime<Utc>) -> anyhow::Result<Ledger> {
        let journal = self.store.journal().await?;
        self.ledger_over(&journal, self.looks_back_to(now)).await
    }

    /// Every record of passes from a day on.
    pub async fn ledger_since(&self, day: NaiveDate) -> anyhow::Result<Ledger> {
        let journal = self.store.journal().await?;
        self.ledger_over(&journal, day).await
    }

    async fn ledger_over(&self, journal: &[Record], since: NaiveDate) -> anyhow::Result<Ledger> {
        let mut said: HashMap<String, Vec<ItemRow>> = HashMap::new();
        for row in self.store.application_items_since(since).await? {
            said.entry(row.application_id.clone()).or_default().push(row);
        }
        let standing = standing(journal);
        let sheet = |application: Application| {
            let said = said.get(&application.id).map(Vec::as_slice).unwrap_or_default();
            let withdrawn = !standing.contains(application.entry_id.as_str());
            Sheet::of(application, said, withdrawn)
        };
        let applications = self.store.applications_since(since).await?;
        Ok(Ledger {
            sheets: applications.into_iter().map(sheet).collect(),
            questions: self.store.application_questions_since(since).await?,
        })
    }

    fn looks_back_to(&self, now: DateTime<Utc>) -> NaiveDate {
        let today = local_day(now, self.book.service.zone);
        today.checked_sub_days(LOOK_BACK).unwrap_or(today)
    }

    /// Begins the records of new passes, fills in what the book has come to know, and asks.
    pub(super) async fn keep_applications(&self, now: DateTime<Utc>) -> anyhow::Result<()> {
        self.begin_applications(now).await?;
        let mut ledger = self.ledger(now).await?;
        self.fill_in(&mut ledger, now).await?;
        let asked: BTreeSet<String> =
            ledger.sheets.iter().filter_map(|sheet| sheet.application.asked.clone()).collect();
        let silenced = self.silenced(now).await?;
        for person in asked.iter().filter(|id| !silenced.contains_key(*id)) {
            let Some(person) = self.book.person(person) else { continue };
            self.ask(person, &ledger, now).await?;
        }
        Ok(())
    }

    /// Begins a record for every pass of the journal, whether or not its entry was replayed.
    pub async fn begin_applications(&self, now: DateTime<Utc>) -> anyhow::Result<()> {
        let journal = self.store.journal().await?;
        let since = self.looks_back_to(now);
        let known: HashSet<String> = self
            .store
            .applications_since(since)
            .await?
            .into_iter()
            .map(|application| application.entry_id)
            .collect();
        let new = journal.iter().filter(|one| one.happened_on >= since && !known.contains(&one.id));
        for record in new {
            if let Some(application) = self.application(record, now) {
                let sheet = Sheet::of(application, [], false);
                let items = self.rows(&sheet, fill(&sheet, &self.book, &[]), now);
                if self.store.begin_application(&sheet.application, &items).await? {
                    tracing::info!(record = sheet.application.id, "began the record of a pass");
                }
            }
        }
        Ok(())
    }

    fn application(&self, record: &Record, now: DateTime<Utc>) -> Option<Application> {
        let (pass, said) = AppliedPass::of(&record.event)?;
        let field = self.book.field(&record.field)?;
        let wrote = record.via == Via::Sms && self.book.person(&record.by).is_some();
        Some(Application {
            id: self.ids.make(),
            entry_id: record.id.clone(),
            field: record.field.clone(),
            applied_on: record.happened_on,
            pass,
            parts: parts_of(&self.book, field, pass, said),
            by: record.by.clone(),
            asked: wrote.then(|| record.by.clone()),
            created_at: now,
        })
    }

    fn rows(&self, sheet: &Sheet, found: Vec<Filled>, now: DateTime<Utc>) -> Vec<ItemRow> {
        let row = |((part, item), value, origin): Filled| ItemRow {
            id: self.ids.make(),
            application_id: sheet.application.id.clone(),
            part,
            item,
            value,
            origin,
            by: BY_THE_BOOK.to_owned(),
            at: now,
        };
        found.into_iter().map(row).collect()
    }

    /// Adds what the book or another record has come to know of records that lack something.
    async fn fill_in(&self, ledger: &mut Ledger, now: DateTime<Utc>) -> anyhow::Result<()> {
        for at in 0..ledger.sheets.len() {
            let rows = self.take_known(ledger, at, now);
            if !rows.is_empty() {
                self.store.add_items(&rows).await?;
            }
        }
        Ok(())
    }

    /// Puts in force, and gives, what a record lacks and the book or another record knows.
    fn take_known(&self, ledger: &mut Ledger, at: usize, now: DateTime<Utc>) -> Vec<ItemRow> {
        let missing = ledger.sheets[at].missing();
        if missing.is_empty() {
            return Vec::new();
        }
        let mut found = fill(&ledger.sheets[at], &self.book, &ledger.sheets);
        found.retain(|(of, _, _)| missing.contains(of));
        let rows = self.rows(&ledger.sheets[at], found, now);
        for row in &rows {
            ledger.sheets[at].take(row.clone());
        }
        rows
    }

    /// Asks a person the next question that is due, if any is.
    async fn ask(
        &self,
        person: &Person,
        ledger: &Ledger,
        now: DateTime<Utc>,
    ) -> anyhow::Result<()> {
        let today = local_day(now, self.zone_of(person));
        let (at, question, again) = match ledger.next(&person.id, today, now) {
            Next::Ask(at, missing) => {
                (at, new_question(&ledger.sheets[at], missing, person, now), false)
            }
            Next::AskAgain(at, question) => (at, question, true),
            Next::Nothing => return Ok(()),
        };
        let sheet = &ledger.sheets[at];
        let part = part_called(sheet, &question.part);
        let asked = self.asked(sheet, &part, question.item);
        let said = if again { RecordText::AskAgain(asked) } else { RecordText::Ask(asked) };
        let body = self.wording.record_text(&self.book.service.name, person.language, &said);
        let talking = now < sheet.application.created_at + STILL_TALKING;
        let text = self.question_text(person, body, talking && !again, sheet, now);
        let asked = if again {
            self.store.remind_of_item(&question, &text).await?
        } else {
            self.store.ask_for_item(&question, &text).await?
        };
        if asked {
            tracing::info!(record = sheet.application.id, person = person.id, again, "asked");
        }
        Ok(())
    }

    /// A question right after the report goes like an answer; a later one keeps the hours and the
    /// budget of any text.
    fn question_text(
        &self,
        person: &Person,
        body: String,
        talking: bool,
        sheet: &Sheet,
        now: DateTime<Utc>,
    ) -> Text {
        Text {
            id: self.ids.make(),
            kind: if talking { TextKind::Reply } else { TextKind::Notice },
            person: person.id.clone(),
            route: self.route_of(person),
            language: person.language,
            subject: None,
            body,
            html: None,
            urgency: if talking { Urgency::Urgent } else { Urgency::Routine },
            act_by: Some(sheet.due()),
            created_at: now,
            due_at: now,
            expires_at: if talking {
                now + ANSWER_STANDS
            } else {
                let last = sheet.due().checked_add_days(Days::new(1)).unwrap_or(sheet.due());
                start_of_day(last, self.zone_of(person)).max(now + ANSWER_STANDS)
            },
        }
    }

    /// Records that lack something and are left to the advisor.
    pub(super) async fn incomplete_records(
        &self,
        advisor: &Person,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Vec<RecordLine>> {
        let today = local_day(now, self.zone_of(advisor));
        let ledger = self.ledger(now).await?;
        let line = |sheet: &Sheet| {
            let field = self.book.field(&sheet.application.field)?;
            let farm = self.book.farm(&field.farm)?;
            let own = farm.advisors.contains(&advisor.id);
            let shown = own && ledger.is_left_to_advisor(sheet, today, now);
            let missing: BTreeSet<Item> =
                sheet.missing().into_iter().map(|(_, item)| item).collect();
            shown.then(|| RecordLine {
                farm: farm.name.clone(),
                field: field.name.clone(),
                pass: sheet.application.pass,
                date: sheet.application.applied_on,
                missing: missing.into_iter().collect(),
                due: sheet.due(),
            })
        };
        Ok(ledger.sheets.iter().filter_map(line).collect())
    }

    fn asked<'a>(&'a self, sheet: &'a Sheet, part: &'a str, item: Item) -> Asked<'a> {
        let field = self.book.field(&sheet.application.field);
        Asked {
            field: field.map_or(sheet.application.field.as_str(), |field| field.name.as_str()),
            part,
            date: sheet.application.applied_on,
            due: sheet.due(),
            item,
            applicator: sheet.value(Item::Applicator).unwrap_or_default(),
        }
    }

    /// What follows from a text that is no command: while a question about a record is open, it may
    /// be the answer. `None` when it is not, and the advisor reads it.
    pub(super) async fn record_answer(
        &self,
        person: &Person,
        inbound: &Inbound,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<Handling>> {
        if grammar::parse(&inbound.body) != Reply::Unclear {
            return Ok(None);
        }
        let ledger = self.ledger(now).await?;
        let Some((at, question)) = ledger.open_question(&person.id) else { return Ok(None) };
        let question = question.clone();
        // What may be any words is only taken for an answer while the question is fresh.
        let fresh = inbound.received_at < last_said(&question) + PATIENCE;
        let reading = record_item::read(&inbound.body, question.item);
        Ok(match reading {
            Reading::Given(given) if fresh || has_form(question.item) => {
                Some(self.took(person, inbound, ledger, at, &question, given, now))
            }
            Reading::Me if fresh => {
                let given = vec![(Item::Applicator, person.name.clone())];
                Some(self.took(person, inbound, ledger, at, &question, given, now))
            }
            Reading::Later if fresh => {
                Some(self.put_off(person, inbound, &ledger.sheets[at], question, now))
            }
            Reading::Unreadable if fresh && question.helped_at.is_none() => {
                Some(self.helped(person, inbound, &ledger.sheets[at], question, now))
            }
            _ => None,
        })
    }

    #[expect(clippy::too_many_arguments, reason = "one answer with all that it is an answer to")]
    fn took(
        &self,
        person: &Person,
        inbound: &Inbound,
        mut ledger: Ledger,
        at: usize,
        question: &Question,
        given: Vec<(Item, String)>,
        now: DateTime<Utc>,
    ) -> Handling {
        let value = given.iter().map(|(_, value)| value.as_str()).collect::<Vec<_>>().join(", ");
        let row = |(item, value): (Item, String)| ItemRow {
            id: self.ids.make(),
            application_id: question.application_id.clone(),
            part: if item.is_of_part() { question.part.clone() } else { String::new() },
            item,
            value,
            origin: Origin::Reply,
            by: person.id.clone(),
            at: now,
        };
        let mut items: Vec<ItemRow> = given.into_iter().map(row).collect();
        for row in &items {
            ledger.sheets[at].take(row.clone());
        }
        items.extend(self.take_known(&mut ledger, at, now));
        let (body, asks) = self.after(person, &ledger, at, question, &value, now);
        let step = RecordStep { items, marked: None, asks };
        self.record_handling(person, inbound, body, step, TOOK_ITEM, now)
    }

    /// What is said to an answer, with the next question in the same text where there is one: of the
    /// same record first, in time or not.
    fn after(
        &self,
        person: &Person,
        ledger: &Ledger,
        at: usize,
        question: &Question,
        value: &str,
        now: DateTime<Utc>,
    ) -> (String, Option<Question>) {
        let today = local_day(now, self.zone_of(person));
        let same = ledger.sheets[at].next_asked().map(|missing| Next::Ask(at, missing));
        match same.unwrap_or_else(|| ledger.next(&person.id, today, now)) {
            Next::Ask(next, missing) => {
                let sheet = &ledger.sheets[next];
                let part = part_called(sheet, &missing.0);
                let asked = self.asked(sheet, &part, missing.1);
                let said = if next == at {
                    RecordText::TookNext { value, next: asked }
                } else {
                    RecordText::TookOther { value, next: asked }
                };
                let body = self.record_words(person, &said);
                (body, Some(new_question(sheet, missing, person, now)))
            }
            Next::AskAgain(..) | Next::Nothing => {
                let sheet = &ledger.sheets[at];
                let part = part_called(sheet, &question.part);
                let asked = self.asked(sheet, &part, question.item);
                let complete = sheet.missing().is_empty();
                (self.record_words(person, &RecordText::TookAll { value, asked, complete }), None)
            }
        }
    }

    fn put_off(
        &self,
        person: &Person,
        inbound: &Inbound,
        sheet: &Sheet,
        question: Question,
        now: DateTime<Utc>,
    ) -> Handling {
        let again = question.reminded_at.is_none().then(|| {
            let at = now + PATIENCE;
            local_day(at, self.zone_of(person))
        });
        let part = part_called(sheet, &question.part);
        let asked = self.asked(sheet, &part, question.item);
        let body = self.record_words(person, &RecordText::PutOff { asked, again });
        let marked = Some(Question { put_off_at: Some(now), ..question });
        let step = RecordStep { marked, ..RecordStep::default() };
        self.record_handling(person, inbound, body, step, PUT_OFF, now)
    }

    /// One line of help for each question; the advisor reads what was written as well.
    fn helped(
        &self,
        person: &Person,
        inbound: &Inbound,
        sheet: &Sheet,
        question: Question,
        now: DateTime<Utc>,
    ) -> Handling {
        let part = part_called(sheet, &question.part);
        let asked = self.asked(sheet, &part, question.item);
        let body = self.record_words(person, &RecordText::Unread(asked));
        let marked = Some(Question { helped_at: Some(now), ..question });
        let step = RecordStep { marked, ..RecordStep::default() };
        self.record_handling(person, inbound, body, step, NOT_UNDERSTOOD, now)
    }

    fn record_words(&self, person: &Person, said: &RecordText<'_>) -> String {
        self.wording.record_text(&self.book.service.name, person.language, said)
    }

    fn record_handling(
        &self,
        person: &Person,
        inbound: &Inbound,
        body: String,
        record_step: RecordStep,
        outcome: &str,
        now: DateTime<Utc>,
    ) -> Handling {
        let reply = Text {
            id: self.ids.make(),
            kind: TextKind::Reply,
            person: person.id.clone(),
            route: inbound.route,
            language: person.language,
            subject: None,
            body,
            html: None,
            urgency: Urgency::Urgent,
            act_by: None,
            created_at: now,
            due_at: now,
            expires_at: now + ANSWER_STANDS,
        };
        Handling {
            replies: vec![reply],
            record_step,
            outcome: outcome.to_owned(),
            ..Handling::default()
        }
    }
}

/// Whether an answer is known by its form alone.
const fn has_form(item: Item) -> bool {
    matches!(item, Item::Epa | Item::Amount)
}

fn new_question(
    sheet: &Sheet,
    (part, item): Missing,
    person: &Person,
    now: DateTime<Utc>,
) -> Question {
    Question {
        application_id: sheet.application.id.clone(),
        part,
        item,
        person: person.id.clone(),
        asked_at: now,
        helped_at: None,
        put_off_at: None,
        reminded_at: None,
    }
}

/// What the product is called; of a part that is not known yet, the first restricted one's name.
fn part_called(sheet: &Sheet, part: &str) -> String {
    let restricted = || sheet.parts.iter().find(|one| one.part.restricted.is_some());
    let part = sheet.part(part).or_else(restricted);
    part.map(crate::records::SheetPart::called).unwrap_or_default()
}
