//! Whole seasons over made-up weather.

mod field;
mod laws;
mod rules;
mod spray;
