//! What is to be done about a reply. Pure: who asked, what is open and which day it is come in,
//! what to record, close and say comes out.

use super::dates::{DateWord, resolve};
use super::fields::match_names;
use super::grammar::{self, Pass, Place, Reply};
use chrono::{DateTime, Days, NaiveDate, Utc};
use furrowbell_engine::findings::Topic;
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::units::{Inches, Millimetres, NitratePpm};

/// A field of the sender's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnField {
    /// Its id.
    pub id: String,
    /// Its name as people say it.
    pub name: String,
}

/// A notice that the sender got and that nothing on record has answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenQuestion {
    /// Its id.
    pub notice_id: String,
    /// Its field.
    pub field_id: String,
    /// What it is about.
    pub topic: Topic,
    /// When it was raised; the same for all notices of one text.
    pub raised_at: DateTime<Utc>,
}

/// What follows from a reply.
#[derive(Debug, Clone, PartialEq)]
pub struct Effects {
    /// What goes into the journal, by field id.
    pub entries: Vec<(String, Entry)>,
    /// Ids of the notices that are answered.
    pub closes: Vec<String>,
    /// What becomes of the sender's consent.
    pub consent: Option<Consent>,
    /// What is said back.
    pub answer: Answer,
}

/// What becomes of the sender's consent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Consent {
    /// Nothing may be sent any more, what waits included.
    Stop,
    /// Texts may be sent again.
    Start,
    /// Nothing may be sent until a person has read the reply.
    HoldForAdvisor,
}

/// What is said back, to be put into words.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// It is on record.
    Recorded {
        /// What was recorded.
        event: Event,
        /// For which day.
        date: NaiveDate,
        /// On which fields, by name.
        fields: Vec<String>,
    },
    /// Which field was meant?
    AskField {
        /// Names to choose from.
        fields: Vec<String>,
    },
    /// Which pass was meant?
    AskPass {
        /// On which fields, by name.
        fields: Vec<String>,
        /// Passes to choose from.
        passes: Vec<Pass>,
    },
    /// Which day was meant? The one named lies ahead or too far back.
    AskDay,
    /// Done with what? Nothing is asked of these fields (or of any, when empty).
    NothingOpen {
        /// The fields, by name.
        fields: Vec<String>,
    },
    /// The reason of the latest notice; none when there was none.
    Why {
        /// Id of that notice.
        notice_id: Option<String>,
    },
    /// The one text that confirms a stop.
    Stopped,
    /// Texts will come again.
    Started,
    /// Who we are and what can be replied.
    Help,
    /// Nothing at all; a person decides whether it was a stop.
    Silence,
    /// It was not understood; the advisor has it.
    NotUnderstood,
}

impl Effects {
    fn only(answer: Answer) -> Self {
        Self { entries: Vec::new(), closes: Vec::new(), consent: None, answer }
    }

    fn consent(consent: Consent, answer: Answer) -> Self {
        Self { consent: Some(consent), ..Self::only(answer) }
    }
}

/// A reply that we asked back for.
#[derive(Debug, Clone, Copy)]
pub struct AskedBack<'a> {
    /// What was written.
    pub text: &'a str,
    /// The sender's local day when it came.
    pub day: NaiveDate,
}

/// Reads a reply and decides what follows from it. What says nothing by itself may name the field
/// that an earlier reply lacked; `asked_back` holds those the sender was last asked back for,
/// newest first.
pub fn respond(
    text: &str,
    asked_back: &[AskedBack<'_>],
    own: &[OwnField],
    open: &[OpenQuestion],
    today: NaiveDate,
) -> Effects {
    let reply = grammar::parse(text);
    let completed =
        if reply == Reply::Unclear { complete(text, asked_back, own, open) } else { None };
    completed.unwrap_or_else(|| decide(&reply, own, open, today))
}

/// The effects of an earlier reply together with the field named now, as of the day it came;
/// `None` when no field was asked for or none of the sender's is named.
fn complete(
    text: &str,
    asked_back: &[AskedBack<'_>],
    own: &[OwnField],
    open: &[OpenQuestion],
) -> Option<Effects> {
    let says_something = |earlier: &&AskedBack<'_>| grammar::parse(earlier.text) != Reply::Unclear;
    let earlier = asked_back.iter().find(says_something)?;
    let decided = |text: &str| decide(&grammar::parse(text), own, open, earlier.day);
    let lacks_field = matches!(decided(earlier.text).answer, Answer::AskField { .. });
    let whole = lacks_field.then(|| decided(&format!("{} {text}", earlier.text)))?;
    match &whole.answer {
        Answer::AskField { fields } if fields.len() == own.len() => None,
        Answer::Recorded { .. }
        | Answer::AskField { .. }
        | Answer::AskPass { .. }
        | Answer::AskDay
        | Answer::NothingOpen { .. } => Some(whole),
        _ => None,
    }
}

/// Decides what follows from `reply`. Either everything it says is recorded or nothing is.
pub fn decide(reply: &Reply, own: &[OwnField], open: &[OpenQuestion], today: NaiveDate) -> Effects {
    match reply {
        Reply::Stop => Effects::consent(Consent::Stop, Answer::Stopped),
        Reply::Start => Effects::consent(Consent::Start, Answer::Started),
        Reply::MaybeStop => Effects::consent(Consent::HoldForAdvisor, Answer::Silence),
        Reply::Help => Effects::only(Answer::Help),
        Reply::Why => {
            let latest = open.iter().max_by_key(|question| question.raised_at);
            let notice_id = latest.map(|question| question.notice_id.clone());
            Effects::only(Answer::Why { notice_id })
        }
        Reply::Unclear => Effects::only(Answer::NotUnderstood),
        _ if own.is_empty() => Effects::only(Answer::NotUnderstood),
        report => Desk { own, open, today }.take(report).unwrap_or_else(Effects::only),
    }
}

/// The sender's fields and open questions on one day.
#[derive(Clone, Copy)]
struct Desk<'a> {
    own: &'a [OwnField],
    open: &'a [OpenQuestion],
    today: NaiveDate,
}

impl<'a> Desk<'a> {
    /// Records a report, or says what must be asked first.
    fn take(self, report: &Reply) -> Result<Effects, Answer> {
        let misread = |_| Answer::NotUnderstood;
        let (event, date, place, topics): (_, _, _, &[Topic]) = match report {
            Reply::Done { pass, date, place } => return self.done(*pass, *date, place),
            Reply::Hold { days, place } => return self.hold(*days, place),
            Reply::Rain { inches, date, place } => {
                let amount = Millimetres::from_inches(*inches).map_err(misread)?;
                (Event::Rain { amount }, date, place, &[Topic::RainNeeded, Topic::WeatherGap])
            }
            Reply::Stage { stage, date, place } => {
                let asking = &[Topic::Emergence, Topic::ColdAfterPlanting];
                (Event::StageSeen { stage: *stage }, date, place, asking)
            }
            Reply::Weeds { height_in, date, place } => {
                let height = Inches::new(*height_in).map_err(misread)?;
                let asking = &[
                    Topic::RainLate,
                    Topic::ResidualEnding,
                    Topic::PostOpen,
                    Topic::PostClosing,
                    Topic::PostOverdue,
                ];
                (Event::WeedsSeen { height }, date, place, asking)
            }
            Reply::Nitrate { ppm, date, place } => {
                let ppm = NitratePpm::new(*ppm).map_err(misread)?;
                let asking = &[Topic::SidedressOpen, Topic::SidedressClosing];
                (Event::NitrateTest { ppm }, date, place, asking)
            }
            Reply::Planted { date, place } => (Event::Planted, date, place, &[Topic::Seedbed]),
            _ => return Err(Answer::NotUnderstood),
        };
        let date = self.day(*date)?;
        let asking = self.open.iter().filter(|question| topics.contains(&question.topic)).collect();
        let fields = self.fields(place, &asking, self.own.iter().collect())?;
        Ok(record(&event, date, &fields))
    }

    /// A finished pass: settles every open question of that pass on its fields.
    fn done(
        self,
        pass: Option<Pass>,
        date: Option<DateWord>,
        place: &Place,
    ) -> Result<Effects, Answer> {
        let asking: Vec<&OpenQuestion> = self
            .open
            .iter()
            .filter(|question| settled_by(question.topic).is_some_and(|asked| fits(pass, asked)))
            .collect();
        let named = pass.filter(|pass| *pass != Pass::Spray);
        if asking.is_empty() && named.is_none() && !matches!(place, Place::Named(_)) {
            return Err(Answer::NothingOpen { fields: Vec::new() });
        }
        let asked_about =
            self.own.iter().filter(|field| asking.iter().any(|question| about(question, field)));
        let fields = self.fields(place, &asking, asked_about.collect())?;
        let pass = match named {
            Some(pass) => pass,
            None => one_pass(pass, &asking, &fields)?,
        };
        let date = self.day(date)?;
        let mut effects = record(&event(pass), date, &fields);
        let settled = self.open.iter().filter(|question| {
            settled_by(question.topic) == Some(pass)
                && fields.iter().any(|field| about(question, field))
        });
        effects.closes = settled.map(|question| question.notice_id.clone()).collect();
        Ok(effects)
    }

    /// Holds a field, or, when none is named, only the topic of the latest text.
    fn hold(self, days: u8, place: &Place) -> Result<Effects, Answer> {
        let asking: Vec<&OpenQuestion> = self.open.iter().collect();
        let fields = self.fields(place, &asking, self.own.iter().collect())?;
        let latest = latest(&asking);
        let topic = match latest.as_slice() {
            [first, rest @ ..]
                if *place == Place::Unsaid
                    && rest.iter().all(|question| question.topic == first.topic) =>
            {
                Some(first.topic)
            }
            _ => None,
        };
        let until = self.today.checked_add_days(Days::new(days.into()));
        let until = until.ok_or(Answer::AskDay)?;
        Ok(record(&Event::Hold { topic, until }, self.today, &fields))
    }

    fn day(self, word: Option<DateWord>) -> Result<NaiveDate, Answer> {
        resolve(word.unwrap_or(DateWord::Today), self.today).ok_or(Answer::AskDay)
    }

    /// The fields that `place` means. A place unsaid is the one field that the latest of the
    /// `asking` questions are about, or the only field there is.
    fn fields(
        self,
        place: &Place,
        asking: &Vec<&OpenQuestion>,
        all: Vec<&'a OwnField>,
    ) -> Result<Vec<&'a OwnField>, Answer> {
        let ask = |fields: Vec<&OwnField>| {
            let fields = if fields.is_empty() { self.own.iter().collect() } else { fields };
            Err(Answer::AskField { fields: names(&fields) })
        };
        let with_ids = |ids: &[&str]| {
            self.own.iter().filter(|field| ids.contains(&field.id.as_str())).collect()
        };
        match place {
            Place::All if all.is_empty() => ask(all),
            Place::All => Ok(all),
            Place::Named(query) => {
                let known: Vec<(&str, &str)> =
                    self.own.iter().map(|field| (field.id.as_str(), field.name.as_str())).collect();
                match match_names(query, &known) {
                    Ok(ids) => Ok(with_ids(&ids)),
                    Err(ids) => ask(with_ids(&ids)),
                }
            }
            Place::Unsaid => {
                let latest = latest(asking);
                let ids: Vec<&str> =
                    latest.iter().map(|question| question.field_id.as_str()).collect();
                let fields: Vec<&OwnField> = with_ids(&ids);
                match (fields.len(), self.own) {
                    (1, _) => Ok(fields),
                    (0, [only]) => Ok(vec![only]),
                    _ => ask(fields),
                }
            }
        }
    }
}

/// The questions of the latest text among `asking`.
fn latest<'q>(asking: &[&'q OpenQuestion]) -> Vec<&'q OpenQuestion> {
    let newest = asking.iter().map(|question| question.raised_at).max();
    asking.iter().copied().filter(|question| Some(question.raised_at) == newest).collect()
}

/// The one pass that the latest questions ask for on every one of the fields.
fn one_pass(
    said: Option<Pass>,
    asking: &[&OpenQuestion],
    fields: &[&OwnField],
) -> Result<Pass, Answer> {
    let mut passes: Vec<Pass> = Vec::new();
    for field in fields {
        let of_field: Vec<&OpenQuestion> =
            asking.iter().copied().filter(|question| about(question, field)).collect();
        let asked: Vec<Pass> =
            latest(&of_field).iter().filter_map(|question| settled_by(question.topic)).collect();
        if asked.is_empty() {
            let fields = names(&[*field]);
            return Err(match said {
                Some(_) => Answer::AskPass { fields, passes: vec![Pass::Pre, Pass::Post] },
                None => Answer::NothingOpen { fields },
            });
        }
        passes.extend(asked);
    }
    passes.sort_unstable();
    passes.dedup();
    match passes.as_slice() {
        [one] => Ok(*one),
        _ => Err(Answer::AskPass { fields: names(fields), passes }),
    }
}

/// The pass that answers a question of that topic.
const fn settled_by(topic: Topic) -> Option<Pass> {
    match topic {
        Topic::RainSet
        | Topic::ResidualEnding
        | Topic::PostOpen
        | Topic::PostClosing
        | Topic::PostOverdue
        | Topic::SprayHours => Some(Pass::Post),
        Topic::SidedressOpen | Topic::SidedressClosing | Topic::NitrogenLoss => {
            Some(Pass::Sidedress)
        }
        Topic::RainNeeded | Topic::SurfaceUrea => Some(Pass::Hoe),
        Topic::Seedbed
        | Topic::Emergence
        | Topic::RainLate
        | Topic::ColdAfterPlanting
        | Topic::FewGroups
        | Topic::WeatherGap => None,
    }
}

fn fits(said: Option<Pass>, asked: Pass) -> bool {
    match said {
        None => true,
        Some(Pass::Spray) => asked == Pass::Post,
        Some(pass) => asked == pass,
    }
}

const fn event(pass: Pass) -> Event {
    match pass {
        Pass::Pre => Event::PreApplied { ingredients: Vec::new() },
        // Questions about spraying are about the post pass; a pre must be named.
        Pass::Post | Pass::Spray => Event::PostApplied { ingredients: Vec::new() },
        Pass::Sidedress => Event::Sidedressed { nitrogen: None },
        Pass::Hoe => Event::Hoed,
    }
}

fn about(question: &OpenQuestion, field: &OwnField) -> bool {
    question.field_id == field.id
}

fn names(fields: &[&OwnField]) -> Vec<String> {
    fields.iter().map(|field| field.name.clone()).collect()
}

fn record(event: &Event, date: NaiveDate, fields: &[&OwnField]) -> Effects {
    let entry = Entry { date, event: event.clone() };
    Effects {
        entries: fields.iter().map(|field| (field.id.clone(), entry.clone())).collect(),
        closes: Vec::new(),
        consent: None,
        answer: Answer::Recorded { event: event.clone(), date, fields: names(fields) },
    }
}

#[cfg(test)]
mod tests;
