//! `furrowbell schema`: prints the JSON Schema of the book's files.

use super::Failure;
use clap::{Args, ValueEnum};

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// Which file's schema.
    #[arg(value_enum)]
    file: BookFile,
}

/// The kinds of files in a book.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum BookFile {
    /// service.toml
    Service,
    /// people.toml
    People,
    /// farms/FARM.toml
    Farm,
}
