//! `furrowbell texts`: lists texts and what became of them.

use super::{BookArg, Failure, zoned};
use crate::store::{Queued, TextFilter, TextState};
use crate::wire;
use chrono_tz::Tz;
use clap::Args;
use serde::Serialize;

/// Arguments of `texts`.
#[derive(Debug, Args)]
pub struct TextsArgs {
    #[command(flatten)]
    book: BookArg,
    /// Only texts to this person (id in the book).
    #[arg(long)]
    person: Option<String>,
    /// Only texts in this state: waiting, sending, sent, failed, expired or held.
    #[arg(long, value_parser = state)]
    state: Option<TextState>,
    /// Most texts to list; the latest come first.
    #[arg(long, default_value_t = 50)]
    limit: u32,
    /// One JSON object a line.
    #[arg(long)]
    json: bool,
}

fn state(word: &str) -> Result<TextState, serde_json::Error> {
    serde_json::from_value(word.into())
}

/// One text in JSON.
#[derive(Serialize)]
struct Line<'a> {
    id: &'a str,
    kind: crate::store::TextKind,
    person: &'a str,
    route: &'a str,
    state: TextState,
    created_at: chrono::DateTime<chrono::Utc>,
    due_at: chrono::DateTime<chrono::Utc>,
    expires_at: chrono::DateTime<chrono::Utc>,
    sent_at: Option<chrono::DateTime<chrono::Utc>>,
    act_by: Option<chrono::NaiveDate>,
    attempts: u32,
    possibly_twice: bool,
    last_error: Option<&'a str>,
    notices: Vec<String>,
    body: &'a str,
}

/// Prints the texts.
pub async fn run(args: TextsArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    if let Some(id) = &args.person {
        super::person(&book, id)?;
    }
    let store = wire::store(&book).await?;
    let filter = TextFilter {
        person: args.person,
        states: args.state.into_iter().collect(),
        limit: Some(args.limit),
        ..TextFilter::default()
    };
    let texts = store.texts(&filter).await?;
    for queued in &texts {
        if args.json {
            let notices = store.notices_of_text(&queued.text.id).await?;
            let notices = notices.into_iter().map(|notice| notice.id).collect();
            say!("{}", serde_json::to_string(&line(queued, notices))?);
        } else {
            say!("{}\n", readable(queued, book.service.zone));
        }
    }
    if texts.is_empty() && !args.json {
        say!("No texts.");
    }
    Ok(())
}

fn line(queued: &Queued, notices: Vec<String>) -> Line<'_> {
    let text = &queued.text;
    Line {
        id: &text.id,
        kind: text.kind,
        person: &text.person,
        route: text.route.name(),
        state: queued.state,
        created_at: text.created_at,
        due_at: text.due_at,
        expires_at: text.expires_at,
        sent_at: queued.sent_at,
        act_by: text.act_by,
        attempts: queued.attempts,
        possibly_twice: queued.possibly_twice,
        last_error: queued.last_error.as_deref(),
        notices,
        body: &text.body,
    }
}

fn readable(queued: &Queued, zone: Tz) -> String {
    let text = &queued.text;
    let (word, at) = match queued.state {
        TextState::Waiting | TextState::Sending => ("due", text.due_at),
        TextState::Sent => ("sent", queued.sent_at.unwrap_or(text.due_at)),
        TextState::Failed => ("failed", queued.ended_at.unwrap_or(text.due_at)),
        TextState::Expired => ("expired", queued.ended_at.unwrap_or(text.expires_at)),
        TextState::Held => ("held back", queued.ended_at.unwrap_or(text.due_at)),
    };
    let mut lines = vec![format!(
        "{}  {} by {}, {word} {}",
        text.id,
        text.person,
        text.route.name(),
        zoned(at, zone)
    )];
    if let Some(error) = &queued.last_error {
        lines.push(format!("  {} tries; last: {error}", queued.attempts));
    }
    if queued.possibly_twice {
        lines.push("  possibly sent twice: an answer was lost".to_owned());
    }
    lines.extend(text.body.lines().map(|line| format!("  {line}")));
    lines.join("\n")
}
