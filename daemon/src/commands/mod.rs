//! The command line: what can be asked, and the exit codes that answer.

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use chrono_tz::Tz;
use clap::{Args, Parser, Subcommand};
use furrowbell_config::Book;
use furrowbell_config::farms::Field;
use furrowbell_config::people::Person;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Keeps every field's clocks and texts the right person in time to act.
#[derive(Debug, Parser)]
#[command(
    name = "furrowbell",
    version,
    after_help = "Exit codes: 0 done, 1 the book or the request has a fault, 2 wrong use, 3 the \
                  database, the network or a file failed.\n\nThe label, local rules and licensed \
                  applicators decide. furrowbell never says that a spray is allowed."
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The book a command works on, where it is not the main argument.
#[derive(Debug, Args)]
pub struct BookArg {
    /// Folder of the book.
    #[arg(
        long = "book",
        global = true,
        env = "FURROWBELL_BOOK",
        default_value = ".",
        value_name = "BOOK"
    )]
    pub folder: PathBuf,
}

/// Prints a line of a command's answer. A reader that has gone away, as `| head` does, ends the
/// command quietly.
macro_rules! say {
    ($($line:tt)*) => { $crate::commands::print_line(format_args!($($line)*)) };
}

fn print_line(line: std::fmt::Arguments<'_>) {
    let mut out = std::io::stdout().lock();
    if writeln!(out, "{line}").is_err() {
        std::process::exit(0);
    }
}

/// Everything that can be asked.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the service until it is told to stop.
    ///
    /// SIGTERM stops it within ten seconds, SIGHUP makes it read the book again.
    #[command(after_help = "Example: furrowbell run /etc/furrowbell/book")]
    Run(run::RunArgs),
    /// Read the whole book and print every fault in it.
    #[command(after_help = "Example: furrowbell check config/demo")]
    Check(check::CheckArgs),
    /// Run a season fast, over recorded weather and a pretended clock; nothing leaves the machine.
    #[command(after_help = "Examples:\n  furrowbell rehearse config/demo\n  furrowbell rehearse \
                      config/demo --from 2026-05-01 --to 2026-05-31 --json --daily\n  furrowbell \
                      rehearse BOOK --years 2012..2023 --svg alerts.svg")]
    Rehearse(rehearse::RehearseArgs),
    /// Show one field's clocks as of today.
    #[command(
        after_help = "Example: furrowbell show \"North 80\" --book config/demo --on 2026-05-20"
    )]
    Show(show::ShowArgs),
    /// Show the numbers behind one notice.
    #[command(after_help = "Example: furrowbell why 019f0c3e --book config/demo")]
    Why(why::WhyArgs),
    /// Write down what happened to a field.
    #[command(
        after_help = "Examples:\n  furrowbell record \"North 80\" planted --on 2026-05-02\n  \
                      furrowbell record \"North 80\" rain 0.6\n  furrowbell record \"North 80\" stage V4"
    )]
    Record(record::RecordArgs),
    /// Show the records of herbicide passes, export them or put one right.
    #[command(
        after_help = "Examples:\n  furrowbell records --missing\n  furrowbell records --from \
                      2026-04-01 --csv records.csv --html records.html\n  furrowbell records set \
                      \"North 80\" 2026-05-12 amount \"24 gal\""
    )]
    Records(records::RecordsArgs),
    /// Print the digest as it would read now, or one that was sent.
    #[command(after_help = "Example: furrowbell digest --book config/demo --html > digest.html")]
    Digest(digest::DigestArgs),
    /// List texts and what became of them.
    #[command(after_help = "Example: furrowbell texts --person hank --state expired")]
    Texts(texts::TextsArgs),
    /// List people, how they are reached and whether they agreed; decide what a reply left open.
    People(people::PeopleArgs),
    /// Send one short test text to a person over a route.
    #[command(after_help = "Example: furrowbell send-test advisor --route email")]
    SendTest(send_test::SendTestArgs),
    /// How the weather sources stand, and years of daily weather of the book's places.
    Weather(weather::WeatherArgs),
    /// Print every text as it would read on a phone, the book's own beside the shipped ones.
    #[command(after_help = "Examples:\n  furrowbell wording seedbed --language en --book BOOK\n  \
                      furrowbell wording seedbed --language en --templates")]
    Wording(wording::WordingArgs),
    /// Print the JSON Schema of the book's files.
    #[command(after_help = "Example: furrowbell schema service > service.schema.json")]
    Schema(schema::SchemaArgs),
}

/// A request that could not be met, with the exit code that says so.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The book or the request has a fault; the text says where and what to do.
    #[error("{0}")]
    Fault(String),
    /// The database, the network or a file failed.
    #[error(transparent)]
    Trouble(#[from] anyhow::Error),
}

impl Failure {
    /// The exit code for it.
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Self::Fault(_) => ExitCode::from(1),
            Self::Trouble(_) => ExitCode::from(3),
        }
    }
}

/// Turns an operational error into a [`Failure`] by `?`.
macro_rules! trouble_from {
    ($($error:ty),+ $(,)?) => {
        $(impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self::Trouble(error.into())
            }
        })+
    };
}
trouble_from!(std::io::Error, serde_json::Error, crate::store::Error);

/// A failure with its causes, in one line each.
pub fn told(failure: &Failure) -> String {
    let Failure::Trouble(error) = failure else { return failure.to_string() };
    let mut lines: Vec<String> = error.chain().map(ToString::to_string).collect();
    // A cause that its effect already quotes would only be said twice.
    lines.dedup_by(|cause, effect| effect.contains(cause.as_str()));
    lines.join("\n  because: ")
}

/// Reads a book; its warnings go to standard error.
fn load(folder: &Path) -> Result<Book, Failure> {
    let book = Book::load(folder).map_err(|faults| Failure::Fault(faults.to_string()))?;
    for warning in &book.warnings {
        eprintln!("warning: {warning}");
    }
    Ok(book)
}

/// The field that a person names.
fn field<'a>(book: &'a Book, name: &str) -> Result<&'a Field, Failure> {
    book.find_field(name).map_err(|error| Failure::Fault(error.to_string()))
}

/// The person of an id.
fn person<'a>(book: &'a Book, id: &str) -> Result<&'a Person, Failure> {
    book.person(id).ok_or_else(|| {
        let ids: Vec<_> = book.people.iter().map(|person| person.id.as_str()).collect();
        Failure::Fault(format!(
            "nobody in the book has the id \"{id}\"; there are {}",
            ids.join(", ")
        ))
    })
}

/// A day as people write it, far from the ends of what can be reckoned with.
fn day(text: &str) -> Result<NaiveDate, String> {
    let day: NaiveDate = text.parse().map_err(|_| "write a day as 2026-05-20".to_owned())?;
    let known = (1900..3000).contains(&day.year());
    known.then_some(day).ok_or_else(|| "the year must lie between 1900 and 2999".to_owned())
}

/// An instant on a local clock, for people to read.
fn zoned(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).format("%a %b %-d, %-I:%M %p %Z").to_string()
}

/// Runs the chosen command to its end.
pub async fn run(cli: Cli) -> Result<(), Failure> {
    match cli.command {
        Command::Run(args) => run::run(args).await,
        Command::Check(args) => check::run(&args).await,
        Command::Rehearse(args) => rehearse::run(args).await,
        Command::Show(args) => show::run(args).await,
        Command::Why(args) => why::run(args).await,
        Command::Record(args) => record::run(args).await,
        Command::Records(args) => records::run(args).await,
        Command::Digest(args) => digest::run(args).await,
        Command::Texts(args) => texts::run(args).await,
        Command::People(args) => people::run(args).await,
        Command::SendTest(args) => send_test::run(args).await,
        Command::Weather(args) => weather::run(args).await,
        Command::Wording(args) => wording::run(&args),
        Command::Schema(args) => schema::run(&args),
    }
}

mod back_test;
pub mod check;
pub mod digest;
mod limits;
mod on_weeds;
mod pedigree;
pub mod people;
pub mod record;
pub mod records;
pub mod rehearse;
pub mod run;
pub mod schema;
pub mod send_test;
pub mod show;
pub mod texts;
pub mod weather;
mod weather_status;
pub mod why;
pub mod wording;

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }

    #[test]
    fn far_days_are_refused_and_not_reckoned_with() {
        assert_eq!(day("2026-05-20"), Ok(NaiveDate::from_ymd_opt(2026, 5, 20).unwrap()));
        for text in [
            "262142-12-31",
            "+262142-12-31",
            "-0001-01-01",
            "1899-12-31",
            "3000-01-01",
            "2026-02-30",
            "",
        ] {
            assert!(day(text).is_err(), "{text}");
        }
        let asked = ["furrowbell", "show", "North 80", "--days", "4294967295"];
        assert!(Cli::try_parse_from(asked).is_err());
    }
}
