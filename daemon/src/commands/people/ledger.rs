//! The consent ledger as it stands, for whoever asks for proof.

use super::super::{Failure, person};
use crate::store::{Consent, Store};
use clap::Args;
use furrowbell_config::Book;
use serde::Serialize;

/// Arguments of `people consent`.
#[derive(Debug, Args)]
pub(super) struct LedgerArgs {
    /// Only lines of this person (id in the book, or one that was).
    #[arg(long)]
    person: Option<String>,
    /// Comma-separated, with a head line.
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Numbers and addresses whole; without it only their last two signs.
    #[arg(long)]
    numbers: bool,
}

/// One line as it is printed.
#[derive(Serialize)]
struct Line<'a> {
    person: &'a str,
    state: &'static str,
    at: String,
    recorded_at: String,
    how: &'a str,
    route: &'static str,
    address: String,
    wording: &'a str,
    decided_by: &'a str,
}

/// Prints every line, the earliest first.
pub(super) async fn print(
    book: &Book,
    store: &Store,
    asked: &LedgerArgs,
    as_json: bool,
) -> Result<(), Failure> {
    let mut ledger = store.ledger().await?;
    if let Some(id) = &asked.person {
        if !ledger.iter().any(|line| line.person == *id) {
            person(book, id)?;
        }
        ledger.retain(|line| line.person == *id);
    }
    let lines = ledger.iter().map(|line| written(line, asked.numbers));
    if asked.csv {
        let mut csv = csv::Writer::from_writer(Vec::new());
        for line in lines {
            csv.serialize(line).map_err(anyhow::Error::from)?;
        }
        let csv = csv.into_inner().map_err(|error| anyhow::anyhow!(error.to_string()))?;
        say!("{}", String::from_utf8_lossy(&csv).trim_end());
    } else if as_json {
        for line in lines {
            say!("{}", serde_json::to_string(&line)?);
        }
    } else {
        for line in lines {
            let Line { person, state, at, how, route, address, wording, decided_by, .. } = line;
            let by = if decided_by.is_empty() { String::new() } else { format!(", {decided_by}") };
            say!("{at}  {person:<16} {state:<8} by {how}{by}  {route} {address}");
            say!("    {wording}");
        }
    }
    Ok(())
}

fn written(line: &Consent, whole: bool) -> Line<'_> {
    let address = line.address.as_deref().unwrap_or_default();
    let stamp = |at: chrono::DateTime<chrono::Utc>| at.format("%Y-%m-%dT%H:%M:%SZ").to_string();
    Line {
        person: &line.person,
        state: line.state.name(),
        at: stamp(line.at),
        recorded_at: stamp(line.recorded_at),
        how: &line.how,
        route: line.route.map_or("", |route| route.name()),
        address: if whole { address.to_owned() } else { masked(address) },
        wording: &line.wording,
        decided_by: line.decided_by.as_deref().unwrap_or_default(),
    }
}

/// Enough to know it by, too little to use it.
fn masked(address: &str) -> String {
    let hidden = address.chars().count().saturating_sub(2);
    let sign = |(at, sign): (usize, char)| if at < hidden { '*' } else { sign };
    address.chars().enumerate().map(sign).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::ConsentState;
    use crate::store::testing::{at, consent};

    #[test]
    fn a_number_is_told_by_its_end_alone() {
        assert_eq!(masked("+15155550123"), "**********23");
        assert_eq!(masked(""), "");
        let line = consent("c1", ConsentState::Agreed, at(0));
        assert_eq!(written(&line, false).address, "**********23");
        assert_eq!(written(&line, true).address, "+15155550123");
    }
}
