//! `furrowbell send-test`: sends one short text over a route, at once.

use super::{BookArg, Failure};
use crate::clock::{Clock, Ids};
use crate::routes::{About, Outcome, Outgoing};
use crate::wire::{self, Outside};
use chrono::TimeDelta;
use clap::Args;
use furrowbell_config::people::RouteName;

/// Arguments of `send-test`.
#[derive(Debug, Args)]
pub struct SendTestArgs {
    /// Id of the person in the book.
    person: String,
    #[command(flatten)]
    book: BookArg,
    /// Route to try; without it the person's first.
    #[arg(long, value_parser = route)]
    route: Option<RouteName>,
}

fn route(word: &str) -> Result<RouteName, String> {
    let known = RouteName::ALL.map(RouteName::name).join(", ");
    RouteName::from_name(word).ok_or_else(|| format!("the routes are {known}"))
}

/// Sends the text and says what became of it.
pub async fn run(args: SendTestArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let person = super::person(&book, &args.person)?.clone();
    let route = args.route.or(person.routes.first().copied());
    let route = route.ok_or_else(|| Failure::Fault(format!("{} has no route", person.id)))?;
    let store = wire::store(&book).await?;
    let desk = wire::desk(book, store, Clock::System, Outside::Real)?;
    if person.consent.is_none() || desk.silenced(desk.clock.now()).await?.contains_key(&person.id) {
        let why = format!(
            "{} has not agreed to texts, or texts are held; see `furrowbell people`. Nothing was sent",
            person.id
        );
        return Err(Failure::Fault(why));
    }
    let to = desk.address(&person.id, route);
    let to = to.ok_or_else(|| {
        Failure::Fault(format!("{} has no address for {} in the book", person.id, route.name()))
    })?;
    let ready = desk
        .routes
        .get(&route)
        .ok_or_else(|| Failure::Fault(format!("service.toml has no [routes.{}]", route.name())))?;
    let now = desk.clock.now();
    let name = &desk.book.service.name;
    let outcome = ready
        .send(&Outgoing {
            id: Ids::new(Clock::System).make(),
            to,
            subject: Some(format!("{name}: test")),
            body: format!("{name}: this is a test. Nothing to do."),
            html: None,
            expires_at: now + TimeDelta::hours(1),
            now,
            about: About::reply_to(person.id.clone()),
            maybe_since: None,
        })
        .await;
    match outcome {
        Outcome::Accepted { .. } => {
            say!("Accepted by {}. Ask {} whether it came.", route.name(), person.id);
            Ok(())
        }
        Outcome::Retry { why, .. }
        | Outcome::Refused { why }
        | Outcome::SignIn { why }
        | Outcome::Unknown { why } => {
            Err(Failure::Trouble(anyhow::anyhow!("{} did not take it: {why}", route.name())))
        }
    }
}
