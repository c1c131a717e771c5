//! `furrowbell people`: lists people, how they are reached and whether they agreed.

use super::{BookArg, Failure, zoned};
use crate::store::ConsentState;
use crate::wire;
use clap::Args;
use serde_json::json;
use std::collections::HashMap;

/// Arguments of `people`.
#[derive(Debug, Args)]
pub struct PeopleArgs {
    #[command(flatten)]
    book: BookArg,
    /// One JSON object a line.
    #[arg(long)]
    json: bool,
}

/// Prints the people. Numbers and addresses stay in the book.
pub async fn run(args: PeopleArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let store = wire::store(&book).await?;
    let consents: HashMap<_, _> =
        store.consents().await?.into_iter().map(|line| (line.person.clone(), line)).collect();
    for person in &book.people {
        let agreed = match (consents.get(&person.id), &person.consent) {
            (Some(line), _) if line.state == ConsentState::Stop => {
                format!("STOP since {}", zoned(line.at, book.service.zone))
            }
            (Some(line), _) => format!("START on {}", zoned(line.at, book.service.zone)),
            (None, Some(consent)) => format!("agreed {}: {}", consent.date, consent.wording),
            (None, None) => "not agreed; gets nothing".to_owned(),
        };
        let last = store.last_sent(&person.id).await?;
        let routes: Vec<_> = person.routes.iter().map(|route| route.name()).collect();
        if args.json {
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
