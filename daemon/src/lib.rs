//! The furrowbell service as a library; `main.rs` only chooses a command.

pub mod calendar;
pub mod clock;
pub mod commands;
pub mod inbox;
pub mod lifecycle;
pub mod links;
pub mod pages;
pub mod records;
pub mod replies;
pub mod rounds;
pub mod routes;
pub mod store;
pub mod weather;
pub mod wire;
pub mod wording;
