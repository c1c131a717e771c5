//! `furrowbell records`: what is on record of herbicide passes, for the lawful record.

use super::{BookArg, Failure};
use crate::clock::{Clock, Ids};
use crate::records::html::{self, Page, Paper};
use crate::records::row::{Row, rows};
use crate::records::{Item, Origin, RESPONSIBLE, Sheet, csv};
use crate::replies::record_item;
use crate::store::{ItemRow, Store};
use crate::wire::{self, Outside};
use anyhow::Context;
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use furrowbell_config::Book;
use furrowbell_config::local::local_day;
use std::path::{Path, PathBuf};

/// Arguments of `records`.
#[derive(Debug, Args)]
pub struct RecordsArgs {
    #[command(flatten)]
    book: BookArg,
    #[command(subcommand)]
    change: Option<Change>,
    #[command(flatten)]
    show: Show,
}

/// What to show and how.
#[derive(Debug, Args)]
struct Show {
    /// Only fields of this farm (its id or name).
    #[arg(long)]
    farm: Option<String>,
    /// First day.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    from: Option<NaiveDate>,
    /// Last day.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    to: Option<NaiveDate>,
    /// Only records that lack something.
    #[arg(long)]
    missing: bool,
    /// One JSON object a line.
    #[arg(long)]
    json: bool,
    /// Writes comma-separated values to this file.
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Writes a page to print to this file.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// The paper of that page.
    #[arg(long, value_enum, default_value = "letter")]
    paper: Paper,
}

/// What to change.
#[derive(Debug, Subcommand)]
enum Change {
    /// Put an item of a record right. What stood before stays on record.
    Set(SetArgs),
}

/// Arguments of `records set`.
#[derive(Debug, Args)]
struct SetArgs {
    /// Name or id of the field.
    field: String,
    /// Day of the pass.
    #[arg(value_parser = super::day)]
    date: NaiveDate,
    /// The item.
    #[arg(value_enum)]
    item: Item,
    /// What it is to say, for example "24 gal".
    value: String,
    /// The product it is about, where the pass had several: its name, number or ingredient.
    #[arg(long)]
    product: Option<String>,
    /// Id of the person who says so.
    #[arg(long, default_value = "manager")]
    by: String,
}

/// Shows the records, or changes one.
pub async fn run(args: RecordsArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let store = wire::store(&book).await?;
    let clock = Clock::System;
    let desk = wire::desk(book.clone(), store.clone(), clock.clone(), Outside::Pretended)?;
    desk.begin_applications(clock.now()).await?;
    let ledger = desk.ledger_since(super::day("1900-01-01").map_err(Failure::Fault)?).await?;
    match args.change {
        Some(Change::Set(set)) => change(&book, &store, &ledger.sheets, &set, &clock).await,
        None => show(&book, ledger.sheets, &args.show, local_day(clock.now(), book.service.zone)),
    }
}

fn show(book: &Book, sheets: Vec<Sheet>, show: &Show, today: NaiveDate) -> Result<(), Failure> {
    let farm = show.farm.as_deref().map(|name| farm(book, name)).transpose()?;
    let wanted = |sheet: &Sheet| {
        let on = sheet.application.applied_on;
        let of_farm = |farm: &str| {
            let field = book.field(&sheet.application.field);
            field.is_some_and(|field| field.farm == farm)
        };
        farm.as_deref().is_none_or(of_farm)
            && show.from.is_none_or(|from| on >= from)
            && show.to.is_none_or(|to| on <= to)
            && (!show.missing || !sheet.missing().is_empty())
    };
    let sheets: Vec<Sheet> = sheets.into_iter().filter(wanted).collect();
    let laid_out: Vec<Row> = sheets.iter().flat_map(|sheet| rows(sheet, book)).collect();
    if let Some(file) = &show.csv {
        write(file, &csv::write(&laid_out)?)?;
    }
    if let Some(file) = &show.html {
        let (from, to, paper) = (show.from, show.to, show.paper);
        write(file, &html::write(&sheets, &Page { book, from, to, printed: today, paper })?)?;
    }
    if show.json {
        for row in &laid_out {
            say!("{}", serde_json::to_string(row)?);
        }
    } else if show.csv.is_none() && show.html.is_none() {
        print(&laid_out, today);
    }
    Ok(())
}

fn print(rows: &[Row], today: NaiveDate) {
    for row in rows {
        let or_blank = |value: &Option<String>| value.clone().unwrap_or_else(|| "?".to_owned());
        let withdrawn = if row.withdrawn { "  WITHDRAWN" } else { "" };
        say!("{}  {} ({}), {} pass{withdrawn}", row.date, row.field, row.farm, row.pass);
        say!(
            "    {}, EPA Reg. No. {}, {} in all; {}; restricted use: {}",
            or_blank(&row.product),
            or_blank(&row.epa_reg),
            or_blank(&row.amount),
            row.ingredients,
            row.restricted
        );
        say!(
            "    {} acres of {}; by {}, {}",
            or_blank(&row.acres),
            or_blank(&row.crop),
            or_blank(&row.applicator),
            or_blank(&row.certification)
        );
        if !row.missing.is_empty() {
            let is_late = row.due < today.to_string();
            let day = if is_late { "day 14 was" } else { "day 14 is" };
            say!("    missing: {}; {day} {}", row.missing, row.due);
        }
    }
    if rows.is_empty() {
        say!("No records.");
    }
    say!("\n{RESPONSIBLE}");
}

fn write(file: &Path, text: &str) -> Result<(), Failure> {
    std::fs::write(file, text).with_context(|| format!("{} cannot be written", file.display()))?;
    say!("Written: {}", file.display());
    Ok(())
}

fn farm(book: &Book, name: &str) -> Result<String, Failure> {
    let same = |farm: &&furrowbell_config::farms::Farm| {
        farm.id == name || farm.name.eq_ignore_ascii_case(name)
    };
    book.farms.iter().find(same).map(|farm| farm.id.clone()).ok_or_else(|| {
        let names: Vec<_> = book.farms.iter().map(|farm| farm.id.as_str()).collect();
        Failure::Fault(format!("no farm is called \"{name}\"; there are {}", names.join(", ")))
    })
}

async fn change(
    book: &Book,
    store: &Store,
    sheets: &[Sheet],
    set: &SetArgs,
    clock: &Clock,
) -> Result<(), Failure> {
    let field = super::field(book, &set.field)?;
    if set.by != "manager" {
        super::person(book, &set.by)?;
    }
    let of_day = sheets.iter().filter(|sheet| {
        sheet.application.field == field.id && sheet.application.applied_on == set.date
    });
    let standing: Vec<&Sheet> = of_day.filter(|sheet| !sheet.withdrawn).collect();
    let [first, rest @ ..] = standing.as_slice() else {
        let message = format!("no pass of {} is on record on {}", field.name, set.date);
        return Err(Failure::Fault(message));
    };
    if !rest.is_empty() {
        let message = format!(
            "{} has {} passes on record on {}; take the wrong one back first",
            field.name,
            standing.len(),
            set.date
        );
        return Err(Failure::Fault(message));
    }
    let Some(value) = record_item::value(&set.value, set.item) else {
        let message = format!("\"{}\" is no {}", set.value, set.item.name());
        return Err(Failure::Fault(message));
    };
    let part = if set.item.is_of_part() { part(first, set)? } else { String::new() };
    let row = ItemRow {
        id: Ids::new(clock.clone()).make(),
        application_id: first.application.id.clone(),
        part,
        item: set.item,
        value,
        origin: Origin::Command,
        by: set.by.clone(),
        at: clock.now(),
    };
    let said = format!("{}, {}: {} is now {}", field.name, set.date, row.item.name(), row.value);
    store.add_items(&[row]).await?;
    say!("{said}.");
    Ok(())
}

/// Key of the part that the item is about.
fn part(sheet: &Sheet, set: &SetArgs) -> Result<String, Failure> {
    let mut restricted = sheet.parts.iter().filter(|one| one.part.restricted.is_some());
    let named = set.product.as_deref().map(|name| {
        let is = |text: &str| text.eq_ignore_ascii_case(name);
        let fits = |one: &&crate::records::SheetPart| {
            is(&one.part.key)
                || one.items.values().any(|row| is(&row.value))
                || one.part.ingredients.iter().any(|ingredient| is(ingredient.name()))
        };
        sheet.parts.iter().find(fits)
    });
    let only = match (restricted.next(), restricted.next(), sheet.parts.as_slice()) {
        (Some(one), None, _) | (None, None, [one]) => Some(one),
        _ => None,
    };
    named.unwrap_or(only).map(|one| one.part.key.clone()).ok_or_else(|| {
        let all: Vec<_> = sheet.parts.iter().map(crate::records::SheetPart::called).collect();
        Failure::Fault(format!("say which with --product; there are {}", all.join(" | ")))
    })
}
