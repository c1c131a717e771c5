//! What somebody decided about texts to a person, with the words that were said.

use super::super::{Failure, person};
use crate::clock::{Clock, Ids};
use crate::rounds::consent::unproven;
use crate::store::{Consent, ConsentState, Store};
use chrono::TimeDelta;
use clap::Args;
use furrowbell_config::Book;
use furrowbell_config::people::{Person, Role};

/// Arguments of `people resume` and `people stop`.
#[derive(Debug, Args)]
pub(super) struct DecideArgs {
    /// Id of the person.
    person: String,
    /// What the person said, when and how; it stays in the ledger.
    #[arg(long)]
    said: String,
    /// Id of who decides; without it the one advisor of the book.
    #[arg(long)]
    by: Option<String>,
}

/// Lets texts go again that were held; a STOP is only ended by the person.
pub(super) async fn resume(book: &Book, store: &Store, asked: &DecideArgs) -> Result<(), Failure> {
    let about = person(book, &asked.person)?;
    let mut blocks = store.consent_blocks().await?;
    blocks.retain(|block| block.person == about.id);
    if blocks.iter().any(|block| block.state == ConsentState::Stop) {
        return Err(Failure::Fault(format!(
            "{} sent STOP; only START from the person, or a consent of a later day in people.toml, \
             lets texts go again",
            about.id
        )));
    }
    let now = Clock::System.now();
    let ledger = store.ledger().await?;
    if blocks.is_empty() && !unproven(book, &ledger, now).iter().any(|one| one.id == about.id) {
        return Err(Failure::Fault(format!("nothing holds texts to {}", about.id)));
    }
    write(book, store, asked, about, ConsentState::Start).await?;
    say!("{}: texts go again. The ledger has it.", about.name);
    Ok(())
}

/// Ends texts to a person.
pub(super) async fn stop(book: &Book, store: &Store, asked: &DecideArgs) -> Result<(), Failure> {
    let about = person(book, &asked.person)?;
    write(book, store, asked, about, ConsentState::Stop).await?;
    say!("{}: no more texts. The ledger has it.", about.name);
    Ok(())
}

async fn write(
    book: &Book,
    store: &Store,
    asked: &DecideArgs,
    about: &Person,
    state: ConsentState,
) -> Result<(), Failure> {
    if asked.said.trim().is_empty() {
        return Err(Failure::Fault("--said is empty; write what was said, when and how".into()));
    }
    let by_phone = about.routes.iter().find(|route| route.is_by_phone());
    let route = by_phone.or(about.routes.first()).copied();
    let now = Clock::System.now();
    // What is decided comes after what it decides, whichever machine's clock is ahead.
    let ledger = store.ledger().await?;
    let last = ledger.iter().filter(|line| line.person == about.id).map(|line| line.at).max();
    let after = last.map(|last| last + TimeDelta::microseconds(1));
    let line = Consent {
        id: Ids::new(Clock::System).make(),
        person: about.id.clone(),
        state,
        at: after.map_or(now, |after| after.max(now)),
        recorded_at: now,
        how: "command".to_owned(),
        wording: asked.said.clone(),
        route,
        address: route.and_then(|route| about.address(route)).map(str::to_owned),
        decided_by: Some(decider(book, asked)?),
    };
    store.note_consent(&line, &line.id).await?;
    Ok(())
}

fn decider(book: &Book, asked: &DecideArgs) -> Result<String, Failure> {
    if let Some(by) = &asked.by {
        return Ok(person(book, by)?.id.clone());
    }
    let advisors: Vec<_> = book.people.iter().filter(|one| one.role == Role::Advisor).collect();
    match advisors.as_slice() {
        [only] => Ok(only.id.clone()),
        _ => Err(Failure::Fault("say who decides: --by ID".into())),
    }
}
