//! Where weather comes from: forecast services and daily files. Nothing here knows the store;
//! values come back and the caller keeps them.

pub mod acis;
pub mod alerts;
pub mod body;
pub mod breaker;
pub mod cells;
pub mod days;
pub mod fault;
pub mod files;
pub mod grid;
pub mod history;
pub mod interval;
pub mod layers;
pub mod limiter;
pub mod mesonet;
pub mod met_norway;
pub mod nws;
pub mod observed_day;
pub mod open_meteo;
pub mod pedigree;
pub mod source;
pub mod sources;
pub mod stations;

pub use sources::Sources;

#[cfg(test)]
mod body_tests;
#[cfg(test)]
mod local_day_tests;
#[cfg(test)]
mod mutation_tests;
#[cfg(test)]
mod recorded_tests;
