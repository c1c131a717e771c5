//! `furrowbell check`: reads the whole book and prints every fault in it.

use super::Failure;
use crate::weather::sources::Files;
use clap::Args;
use furrowbell_config::Book;
use std::path::PathBuf;

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Folder of the book.
    #[arg(env = "FURROWBELL_BOOK")]
    book: PathBuf,
}

/// Prints what the book holds, or every fault.
pub fn run(args: &CheckArgs) -> Result<(), Failure> {
    let book = super::load(&args.book)?;
    let weather = book.service.weather.files.as_ref();
    let faults = weather.map(|files| Files::new(book.folder.join(&files.folder), 0).faults());
    let faults: Vec<_> = faults.unwrap_or_default().iter().map(ToString::to_string).collect();
    if !faults.is_empty() {
        return Err(Failure::Fault(format!(
            "{}\n{} weather files with a fault; the book itself is sound",
            faults.join("\n"),
            faults.len()
        )));
    }
    say!("{}", summary(&book));
    Ok(())
}

fn summary(book: &Book) -> String {
    let planned = book.fields.iter().filter(|field| field.plan.is_some()).count();
    format!(
        "{}: {} people, {} farms, {} fields ({planned} with a plan). No faults.",
        book.service.name,
        book.people.len(),
        book.farms.len(),
        book.fields.len()
    )
}
