//! `furrowbell people`: lists people, how they are reached and whether they agreed; shows the
//! consent ledger and takes down what somebody decided.

mod decide;
mod ledger;

use super::{BookArg, Failure, zoned};
use crate::clock::Clock;
use crate::rounds::consent::unproven;
use crate::store::{Consent, ConsentState, Store};
use crate::wire;
use chrono_tz::Tz;
use clap::{Args, Subcommand};
use furrowbell_config::Book;
use furrowbell_config::people::Person;
use serde_json::json;
use std::collections::HashMap;

/// Arguments of `people`.
#[derive(Debug, Args)]
pub struct PeopleArgs {
    #[command(subcommand)]
    what: Option<What>,
    #[command(flatten)]
    book: BookArg,
    /// One JSON object a line.
    #[arg(long, global = true)]
    json: bool,
}

/// What else can be asked about people.
#[derive(Debug, Subcommand)]
enum What {
    /// Let texts go again that a maybe-STOP, a long silence or a new number holds.
    #[command(
        after_help = "Example: furrowbell people resume hank --said \"on the phone, 2 June: \
                            he meant the rain\""
    )]
    Resume(decide::DecideArgs),
    /// Send a person no more texts.
    #[command(
        after_help = "Example: furrowbell people stop hank --said \"asked me to at the elevator\""
    )]
    Stop(decide::DecideArgs),
    /// Print the consent ledger, every line of it.
    #[command(after_help = "Example: furrowbell people consent --person hank --csv --numbers")]
    Consent(ledger::LedgerArgs),
}

/// Prints the people, or does what was asked. Numbers and addresses stay in the book unless they
/// are asked for.
pub async fn run(args: PeopleArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let store = wire::store(&book).await?;
    match args.what {
        None => list(&book, &store, args.json).await,
        Some(What::Resume(asked)) => decide::resume(&book, &store, &asked).await,
        Some(What::Stop(asked)) => decide::stop(&book, &store, &asked).await,
        Some(What::Consent(asked)) => ledger::print(&book, &store, &asked, args.json).await,
    }
}

async fn list(book: &Book, store: &Store, as_json: bool) -> Result<(), Failure> {
    let consents = by_person(store.consents().await?);
    let blocks = by_person(store.consent_blocks().await?);
    let unproven = unproven(book, &store.ledger().await?, Clock::System.now());
    for person in &book.people {
        let line = blocks.get(&person.id).or(consents.get(&person.id));
        let new_number = unproven.iter().any(|other| other.id == person.id);
        let agreed = standing(person, line, new_number, book.service.zone);
        let last = store.last_sent(&person.id).await?;
        let routes: Vec<_> = person.routes.iter().map(|route| route.name()).collect();
        if as_json {
            say!(
                "{}",
                json!({
                    "id": person.id, "name": person.name, "role": person.role, "routes": routes,
                    "language": person.language, "consent": agreed, "last_sent_at": last,
                })
            );
        } else {
            let last = last.map_or("never".to_owned(), |at| zoned(at, book.service.zone));
            say!("{:<16} {:<24} by {}", person.id, person.name, routes.join(", "));
            say!("{:<16} {agreed}", "");
            say!("{:<16} last text: {last}", "");
        }
    }
    Ok(())
}

/// The last, and so the gravest, line of each person.
fn by_person(lines: Vec<Consent>) -> HashMap<String, Consent> {
    lines.into_iter().map(|line| (line.person.clone(), line)).collect()
}

fn standing(person: &Person, line: Option<&Consent>, new_number: bool, zone: Tz) -> String {
    let Some(consent) = &person.consent else { return "not agreed; gets nothing".to_owned() };
    let agreed = || format!("agreed {}: {}", consent.date, consent.wording);
    let Some(line) = line else { return agreed() };
    let at = zoned(line.at, zone);
    match line.state {
        ConsentState::Stop => format!("STOP since {at}"),
        ConsentState::Hold => format!("held since {at}: may have said STOP; resume or stop?"),
        ConsentState::Asked => format!("held: asked anew on {at}, no YES yet"),
        ConsentState::Gone => format!("held: the number was refused for good on {at}"),
        _ if new_number => {
            "held: the number changed, the consent did not; give it a new date".to_owned()
        }
        ConsentState::Start => format!("START on {at}"),
        ConsentState::Agreed | ConsentState::Unproven => agreed(),
    }
}
