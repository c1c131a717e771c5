//! `furrowbell digest`: the digest as it would read now.

use super::rehearse::noon;
use super::{BookArg, Failure};
use crate::clock::Clock;
use crate::wire::{self, Outside};
use chrono::{NaiveDate, TimeDelta};
use clap::Args;
use furrowbell_config::local::local_day;
use furrowbell_config::people::Role;

/// Arguments of `digest`.
#[derive(Debug, Args)]
pub struct DigestArgs {
    #[command(flatten)]
    book: BookArg,
    /// Id of the advisor; without it the first in the book.
    #[arg(long)]
    advisor: Option<String>,
    /// Day as of which it is made, at noon; without it now.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    on: Option<NaiveDate>,
    /// The HTML part in place of the text.
    #[arg(long)]
    html: bool,
    /// The digest that was made that day, from the record, in place of a new one.
    #[arg(long)]
    sent: bool,
}

/// Prints the digest. Nothing is sent or written.
pub async fn run(args: DigestArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let advisor = match &args.advisor {
        Some(id) => super::person(&book, id)?,
        None => book
            .people
            .iter()
            .find(|person| person.role == Role::Advisor)
            .ok_or_else(|| Failure::Fault("the book has no advisor".to_owned()))?,
    };
    let advisor = advisor.clone();
    let zone = advisor.zone.unwrap_or(book.service.zone);
    let store = wire::store(&book).await?;
    let now = args.on.map_or_else(|| Clock::System.now(), |on| noon(on, zone));
    if args.sent {
        let date = local_day(now, zone);
        let digests = store.digests(date).await?;
        let found =
            digests.into_iter().find(|row| row.advisor == advisor.id && row.local_date == date);
        let row = found
            .ok_or_else(|| Failure::Fault(format!("{} got no digest on {date}", advisor.id)))?;
        let part = if args.html { row.html.unwrap_or_default() } else { row.body };
        say!("{part}");
        return Ok(());
    }
    let desk = wire::desk(book, store, Clock::pretended(now), Outside::Pretended)?;
    let fields = desk.advance(now).await?;
    let digest = desk.compose_digest(&advisor, &fields, now - TimeDelta::days(1), now).await?;
    say!(
        "{}",
        if args.html { digest.html } else { format!("{}\n\n{}", digest.subject, digest.text) }
    );
    Ok(())
}
