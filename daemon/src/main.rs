//! Chooses a command, nothing else.

fn main() {}
