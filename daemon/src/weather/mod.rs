//! Where weather comes from: the forecast grid of the US National Weather Service, and daily
//! files. Nothing here knows the store; values come back and the caller keeps them.

pub mod acis;
pub mod alerts;
pub mod body;
pub mod breaker;
pub mod cells;
pub mod days;
pub mod fault;
pub mod files;
pub mod grid;
pub mod interval;
pub mod layers;
pub mod limiter;
pub mod mesonet;
pub mod nws;
pub mod observed_day;
pub mod pedigree;
pub mod source;
pub mod sources;
pub mod stations;

pub use sources::Sources;
