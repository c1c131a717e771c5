//! Pure agronomy for furrowbell: the clocks of one field, run over its weather and journal.
//!
//! Start at [`season::run`]: one field, one season, one call, over a [`cell`] that many fields may
//! share. Everything else is either a plain type it takes ([`site`], [`plan`], [`journal`],
//! [`weather`], [`thresholds`]), a clock it turns
//! ([`clocks`]), a table it reads ([`mod@reference`]) or what it finds ([`findings`]).
//!
//! # What this crate does not do
//!
//! It knows no current time, reads no file, opens no socket, draws no random number and keeps no
//! state between calls. The same input gives the same output, byte for byte. It never says that a
//! spray is allowed: it can only say that a typical label's limit is near or past.

mod rules;

pub mod cell;
pub mod clocks;
pub mod findings;
pub mod journal;
pub mod labels;
pub mod plan;
pub mod reference;
pub mod season;
pub mod site;
pub mod sky;
pub mod thresholds;
pub mod told;
pub mod units;
pub mod weather;
