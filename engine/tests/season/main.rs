//! Whole seasons over made-up weather.

mod field;
mod herbicides;
mod laws;
mod memory;
mod nitrogen;
mod own_years;
mod rules;
mod seedbed;
mod spray;
mod trust;
