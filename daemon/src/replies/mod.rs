//! Replies: what a text from a grower means, and what is to be done about it.
//!
//! [`grammar::parse`] reads one text, [`answer::decide`] weighs it against the sender's own fields
//! and open questions. Neither guesses: what could mean two things is asked back or handed on.

pub mod answer;
pub mod dates;
pub mod fields;
pub mod grammar;
mod opt_out;
pub mod record_item;
mod words;
