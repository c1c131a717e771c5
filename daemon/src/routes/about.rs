//! What a text is about, for routes that file it or hand it to a program.

use crate::store::TextKind;
use chrono::NaiveDate;
use furrowbell_engine::findings::Urgency;

/// What a text is about.
#[derive(Debug, Clone)]
pub struct About {
    /// Id of the receiver in the book.
    pub person: String,
    /// Why it is sent.
    pub kind: TextKind,
    /// How soon the person must know.
    pub urgency: Urgency,
    /// Last day of the action it asks for.
    pub act_by: Option<NaiveDate>,
    /// Ids of the fields in the book, each once.
    pub fields: Vec<String>,
    /// The day's digest, when it is one.
    pub edition: Option<Edition>,
}

impl About {
    /// A reply to a person, about no field.
    pub const fn reply_to(person: String) -> Self {
        Self {
            person,
            kind: TextKind::Reply,
            urgency: Urgency::Routine,
            act_by: None,
            fields: Vec::new(),
            edition: None,
        }
    }
}

/// One day's digest for one advisor.
#[derive(Clone)]
pub struct Edition {
    /// The advisor's local date.
    pub date: NaiveDate,
    /// Windows of the advisor's fields as an iCalendar object (RFC 5545).
    pub calendar: Option<String>,
    /// Address at which the advisor leaves the digest; it holds a secret.
    pub leave: Option<String>,
}

/// Leaves out what it says, and the secret.
impl std::fmt::Debug for Edition {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Edition").field("date", &self.date).finish_non_exhaustive()
    }
}
