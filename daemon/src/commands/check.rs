//! `furrowbell check`: reads the whole book and prints every fault in it.

use super::Failure;
use crate::clock::Clock;
use crate::rounds::consent::unproven;
use crate::store::{Consent, ConsentState, Store};
use crate::weather::sources::Files;
use crate::wording::Wording;
use clap::Args;
use furrowbell_config::Book;
use secrecy::ExposeSecret;
use std::path::{Path, PathBuf};

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Folder of the book.
    #[arg(env = "FURROWBELL_BOOK")]
    book: PathBuf,
}

/// Prints what the book holds, or every fault; warns of people who get nothing, and why.
pub async fn run(args: &CheckArgs) -> Result<(), Failure> {
    let book = super::load(&args.book)?;
    let wording =
        Wording::of_book(&book.wording).map_err(|error| Failure::Trouble(error.into()))?;
    super::wording::warn_of_unused(&wording);
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
    for warning in consent_warnings(&book).await {
        eprintln!("warning: {warning}");
    }
    say!("{}", summary(&book));
    if !book.wording.texts.is_empty() {
        let (own, unused) = (wording.own_count(), wording.unused().len());
        say!("{own} texts are in your own words, {unused} are not used.");
    }
    Ok(())
}

/// Whose texts the record holds back. A record that is not there yet holds none.
async fn consent_warnings(book: &Book) -> Vec<String> {
    let now = Clock::System.now();
    let (ledger, blocks) = match record(book).await {
        Ok(Some(record)) => record,
        Ok(None) => (Vec::new(), Vec::new()),
        Err(_) => {
            return vec!["the record could not be read, so nobody's consent was looked up".into()];
        }
    };
    let new_number = unproven(book, &ledger, now).into_iter().map(|person| {
        let id = &person.id;
        format!(
            "consent: \"{id}\" gets no text: no consent stands for the number; one of a new date \
             would"
        )
    });
    let held = blocks.iter().filter(|block| block.state != ConsentState::Stop).map(|block| {
        let (id, state) = (&block.person, block.state.name());
        format!("consent: \"{id}\" gets no text ({state}); see furrowbell people")
    });
    new_number.chain(held).collect()
}

/// The ledger and what stands against texts, as they are; nothing is made or changed.
async fn record(book: &Book) -> anyhow::Result<Option<(Vec<Consent>, Vec<Consent>)>> {
    let url = book.service.database.url(&book.folder)?;
    let url = url.expose_secret();
    let file = url.strip_prefix("sqlite:").and_then(|path| path.split('?').next());
    if file.is_some_and(|file| !Path::new(file).is_file()) {
        return Ok(None);
    }
    let store = Store::open(url).await?;
    Ok(Some((store.ledger().await?, store.consent_blocks().await?)))
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
