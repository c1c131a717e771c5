//! Decides who is told what, and when it may go.
//!
//! The decision is pure; [`Desk::decide`] reads what it needs, then writes notices and texts in one
//! transaction. Findings that would read the same to one person become one text that names every
//! field.

use super::Desk;
use super::advance::FieldNow;
use super::timing::{after_quiet, local_day, start_of_day};
use crate::store::notices::{Identity, Notice};
use crate::store::outbox::{Kind, Text};
use crate::wording::{FieldRef, TextInput};
use chrono::{DateTime, Days, TimeDelta, Utc};
use chrono_tz::Tz;
use furrowbell_config::people::Person;
use furrowbell_engine::findings::{Finding, Urgency};
use std::collections::{BTreeMap, HashMap, HashSet};

/// Why something that a season shows was not sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeldBack {
    /// The person has not agreed to texts.
    NoConsent,
    /// The person sent STOP.
    Stopped,
    /// The budget leaves no room before the advice loses its sense.
    NoRoom,
}

/// A finding that could not be sent to a person.
#[derive(Debug)]
pub struct Held<'a> {
    /// Who.
    pub person: &'a Person,
    /// About which field.
    pub now: &'a FieldNow<'a>,
    /// What.
    pub finding: &'a Finding,
    /// Why not.
    pub why: HeldBack,
}
