//! Chooses a command, nothing else.

use clap::Parser;
use furrowbell::commands::{self, Cli};
use std::process::ExitCode;

#[tokio::main]
async fn main() -> ExitCode {
    // The program's own TLS provider: reqwest, sqlx and lettre all ask for the installed one.
    if rustls::crypto::ring::default_provider().install_default().is_err() {
        eprintln!("furrowbell: a TLS provider is already installed");
    }
    match commands::run(Cli::parse()).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("furrowbell: {}", commands::told(&failure));
            failure.exit_code()
        }
    }
}
