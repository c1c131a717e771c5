//! Whole seasons over made-up weather.

mod field;
mod laws;
mod memory;
mod rules;
mod seedbed;
mod spray;
mod trust;
