//! `furrowbell weather`: how its sources stand, and years of daily weather of the book's places.

use super::{BookArg, Failure, weather_status};
use crate::weather::files::{self, FileDay, Reading};
use crate::weather::history::{self, Change, History, Place};
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use furrowbell_config::Book;
use furrowbell_engine::units::{Latitude, Longitude};
use std::path::{Path, PathBuf};

/// Arguments of `weather`.
#[derive(Debug, Args)]
pub struct WeatherArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Take years of daily weather into the book's folder `history`.
    ///
    /// Reads plain daily rows with units in the column names, and GHCN-Daily by station (.csv,
    /// .dly) or for access. Importing the same rows again changes nothing.
    #[command(
        after_help = "Examples:\n  furrowbell weather import USW00014839.dly --book BOOK --farm \
                            mill-creek\n  furrowbell weather import a.csv b.csv --book BOOK --place \
                            42.02,-93.77 --dry-run"
    )]
    Import(ImportArgs),
    /// Show how each weather source stands; nothing is asked of it.
    ///
    /// ok: it answers and every cell is young enough. late: some cells are too old to be used.
    /// failing: its last answers were faults. resting: left alone after failures in a row. Cells are
    /// those that fields of the book rest on now; a stand-in serves the places whose grid is late.
    #[command(
        after_help = "Examples:\n  furrowbell weather status --book BOOK\n  furrowbell weather \
                            status --book BOOK --json\n\n--json prints one object: now, zone, files \
                            (first_day, last_day; null without any) and sources, each with source, \
                            state, last_good_at, requests_24h, failures_24h, bytes_24h, median_ms, \
                            failures_in_a_row, last_fault (at, what, correlation_id), late_after_h, \
                            served (cells, late, newest_issue) and the same by office. Times are UTC."
    )]
    Status(weather_status::StatusArgs),
}

/// Arguments of `weather import`.
#[derive(Debug, Args)]
#[group(id = "whose", required = true, multiple = false, args = ["farm", "field", "place"])]
pub struct ImportArgs {
    /// Files of one place, of any of the forms.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    #[command(flatten)]
    book: BookArg,
    /// Id of the farm whose weather it is.
    #[arg(long)]
    farm: Option<String>,
    /// Name or id of the field whose weather it is.
    #[arg(long)]
    field: Option<String>,
    /// Place of the station, in degrees; it serves fields within 40 km that have no nearer file.
    #[arg(long, value_name = "LAT,LON", value_parser = spot, allow_hyphen_values = true)]
    place: Option<(Latitude, Longitude)>,
    /// The station is read in the morning: rain and high belong to the day before. Taken for
    /// granted where the file gives the hour and it is before noon.
    #[arg(long)]
    morning: bool,
    /// Say what would be done and write nothing.
    #[arg(long)]
    dry_run: bool,
}

fn spot(text: &str) -> Result<(Latitude, Longitude), String> {
    let parts = text.split_once(',').and_then(|(latitude, longitude)| {
        let parse = |part: &str| part.trim().parse::<f64>().ok();
        Some((parse(latitude)?, parse(longitude)?))
    });
    let (latitude, longitude) = parts.ok_or("write a place as 42.02,-93.77")?;
    let latitude = Latitude::new(latitude).map_err(|error| error.to_string())?;
    let longitude = Longitude::new(longitude).map_err(|error| error.to_string())?;
    Ok((latitude, longitude))
}

/// Does what is asked.
pub async fn run(args: WeatherArgs) -> Result<(), Failure> {
    match args.what {
        What::Import(args) => import(&args),
        What::Status(args) => weather_status::run(args).await,
    }
}

fn import(args: &ImportArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let place = place(&book, args)?;
    let history = History::of(&book);
    let fault = |error: files::FileFault| Failure::Fault(error.to_string());
    let mut days = history.days(place).map_err(fault)?;
    let mut change = Change::default();
    for path in &args.files {
        let reading = files::sift(path).map_err(fault)?;
        let morning = args.morning || 2 * reading.morning > reading.timed;
        tell_reading(path, &reading, morning);
        if reading.days.is_empty() {
            return Err(Failure::Fault(format!("{}: no sound day in it", path.display())));
        }
        let one;
        (days, one) = history::merge(&days, &history::placed(&reading, morning));
        change = change.and(&one);
    }
    let path = history.path(place);
    let path = path.strip_prefix(&book.folder).unwrap_or(&path);
    say!("{}: {}", path.display(), counted(&days, &change));
    tell_years(&days);
    if args.dry_run {
        say!("A dry run: nothing was written.");
    } else if change == Change::default() {
        say!("Nothing new: the file stays as it was.");
    } else {
        history.write(place, &days)?;
        say!("Written. A running service takes it up when it reads its book again (SIGHUP).");
    }
    Ok(())
}

fn place<'a>(book: &'a Book, args: &ImportArgs) -> Result<Place<'a>, Failure> {
    if let Some((latitude, longitude)) = args.place {
        return Ok(Place::Spot(latitude, longitude));
    }
    if let Some(name) = &args.field {
        return Ok(Place::Field(super::field(book, name)?));
    }
    let id = args.farm.as_deref().unwrap_or_default();
    book.farm(id).map(Place::Farm).ok_or_else(|| {
        let ids: Vec<_> = book.farms.iter().map(|farm| farm.id.as_str()).collect();
        Failure::Fault(format!("no farm has the id \"{id}\"; there are {}", ids.join(", ")))
    })
}

/// Most refusals that are printed of one file.
const MOST_REFUSALS: usize = 20;

fn tell_reading(path: &Path, reading: &Reading, morning: bool) {
    let refused = reading.refused.len();
    say!(
        "{}: {}; {} rows, {refused} refused",
        path.display(),
        reading.form.described(),
        reading.rows
    );
    for (line, column, fault) in reading.refused.iter().take(MOST_REFUSALS) {
        say!("  line {line}, column {column}: {fault}");
    }
    if refused > MOST_REFUSALS {
        say!("  and {} more", refused - MOST_REFUSALS);
    }
    if !reading.flagged.is_empty() {
        let flags: Vec<_> =
            reading.flagged.iter().map(|(flag, count)| format!("{flag} {count}")).collect();
        say!("  values not used, for the source's own quality flag: {}", flags.join(", "));
    }
    if morning {
        say!("  read in the morning: rain and high are given to the day before, the low stays");
    } else if reading.timed == 0 {
        say!("  the file gives no hour of reading; days are taken as named (see --morning)");
    }
}

fn counted(days: &[FileDay], change: &Change) -> String {
    let span = |first: NaiveDate, last: NaiveDate| format!(", {first} to {last}");
    let span = days
        .first()
        .zip(days.last())
        .map_or(String::new(), |(first, last)| span(first.date, last.date));
    let Change { new_days, new_values, changed } = change;
    format!(
        "{} days{span} ({new_days} new; on known days {new_values} values new, {changed} changed)",
        days.len()
    )
}

/// Shortest gap that is named, days.
const NAMED_GAP: i64 = 3;
/// Most gaps that are named.
const MOST_GAPS: usize = 20;

fn tell_years(days: &[FileDay]) {
    say!("  year  days with high and low  days with rain");
    for year in history::coverage(days) {
        say!("  {}  {:>22}  {:>14}", year.year, year.temperatures, year.rains);
    }
    let gaps = history::gaps(days);
    let long: Vec<_> =
        gaps.iter().filter(|(from, to)| (*to - *from).num_days() + 1 >= NAMED_GAP).collect();
    for (from, to) in long.iter().take(MOST_GAPS) {
        say!("  gap: {from} to {to}, {} days", (*to - *from).num_days() + 1);
    }
    if long.len() > MOST_GAPS {
        say!("  and {} longer gaps more", long.len() - MOST_GAPS);
    }
    let short = gaps.len() - long.len();
    if short > 0 {
        say!("  and {short} gaps of one or two days");
    }
}
