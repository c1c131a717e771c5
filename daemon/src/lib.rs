//! The furrowbell service as a library; `main.rs` only chooses a command.

pub mod clock;
pub mod commands;
pub mod lifecycle;
pub mod outbox;
pub mod pages;
pub mod replies;
pub mod rounds;
pub mod routes;
pub mod store;
pub mod weather;
pub mod wire;
pub mod wording;
