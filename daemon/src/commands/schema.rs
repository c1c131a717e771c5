//! `furrowbell schema`: prints the JSON Schema of the book's files.

use super::Failure;
use clap::{Args, ValueEnum};
use furrowbell_config::schema::schemas;

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// Which file's schema; without it, all of them in one object.
    #[arg(value_enum)]
    file: Option<BookFile>,
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
    /// labels.toml
    Labels,
    /// replies.toml
    Replies,
}

/// Prints the schema.
pub fn run(args: &SchemaArgs) -> Result<(), Failure> {
    let wanted = args.file.and_then(|file| file.to_possible_value());
    let wanted = wanted.as_ref().map(clap::builder::PossibleValue::get_name);
    let chosen: serde_json::Map<_, _> = schemas()
        .into_iter()
        .filter(|(name, _)| wanted.is_none_or(|wanted| wanted == *name))
        .map(|(name, schema)| (name.to_owned(), schema))
        .collect();
    let text = match chosen.values().next() {
        Some(only) if wanted.is_some() => serde_json::to_string_pretty(only)?,
        _ => serde_json::to_string_pretty(&chosen)?,
    };
    say!("{text}");
    Ok(())
}
