//! Rounds as they run, over a record of their own and a pretended clock.

mod bundling;
mod consenting;
mod correcting;
mod digesting;
mod falling_back;
mod faults;
mod observing;
mod pulling;
mod recording;
mod sending;
mod stage;
mod storming;
mod telling;
