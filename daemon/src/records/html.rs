//! Records as a page to print: a table for each field, each on a sheet of its own. No scripts and
//! nothing from elsewhere.

use super::row::rows;
use super::{Item, Origin, RESPONSIBLE, Sheet, SheetPart};
use crate::store::ItemRow;
use chrono::NaiveDate;
use furrowbell_config::Book;
use minijinja::value::Serde;
use minijinja::{Environment, UndefinedBehavior, Value};
use serde::Serialize;

/// The layout; what goes into it is escaped.
const LAYOUT: (&str, &str) = ("records.html", include_str!("../../../config/wording/records.html"));

/// What the page is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Paper {
    /// 8.5 by 11 inches.
    Letter,
    /// 210 by 297 mm.
    A4,
}

/// What the page is of.
#[derive(Debug, Clone, Copy)]
pub struct Page<'a> {
    /// The book.
    pub book: &'a Book,
    /// First day asked for, if any.
    pub from: Option<NaiveDate>,
    /// Last day asked for, if any.
    pub to: Option<NaiveDate>,
    /// The day on which it is made.
    pub printed: NaiveDate,
    /// The paper.
    pub paper: Paper,
}

#[derive(Debug, Serialize)]
struct View {
    title: String,
    desk: String,
    contact: String,
    span: String,
    printed: String,
    paper: &'static str,
    responsible: &'static str,
    fields: Vec<FieldView>,
}

#[derive(Debug, Serialize)]
struct FieldView {
    name: String,
    farm: String,
    location: String,
    rows: Vec<RowView>,
}

#[derive(Debug, Serialize)]
struct RowView {
    date: String,
    time: String,
    withdrawn: bool,
    cells: Vec<Cell>,
    notes: Vec<String>,
}

#[derive(Debug, Default, Serialize)]
struct Cell {
    text: String,
    more: String,
    /// Whether it is wanted and not known.
    blank: bool,
    /// Whether nobody has said it of this pass.
    mark: bool,
}

/// The page of these records, which come by field.
pub fn write(sheets: &[Sheet], page: &Page<'_>) -> anyhow::Result<String> {
    let mut fields: Vec<(&str, FieldView)> = Vec::new();
    for sheet in sheets {
        let id = sheet.application.field.as_str();
        let own = views(sheet, page.book);
        match fields.last_mut().filter(|(last, _)| *last == id) {
            Some((_, view)) => view.rows.extend(own),
            None => fields.push((id, FieldView { rows: own, ..heading(sheet, page.book) })),
        }
    }
    let service = &page.book.service;
    let view = View {
        title: format!("{}, herbicide application records", service.name),
        desk: service.name.clone(),
        contact: service.contact.clone(),
        span: span(page.from, page.to),
        printed: long(page.printed),
        paper: match page.paper {
            Paper::Letter => "letter",
            Paper::A4 => "A4",
        },
        responsible: RESPONSIBLE,
        fields: fields.into_iter().map(|(_, view)| view).collect(),
    };
    let mut layouts = Environment::new();
    layouts.set_undefined_behavior(UndefinedBehavior::Strict);
    layouts.add_template(LAYOUT.0, LAYOUT.1)?;
    Ok(layouts.get_template(LAYOUT.0)?.render(Value::from(Serde(view)))?)
}

fn heading(sheet: &Sheet, book: &Book) -> FieldView {
    let field = book.field(&sheet.application.field);
    let farm = field.and_then(|field| book.farm(&field.farm));
    FieldView {
        name: field.map_or_else(|| sheet.application.field.clone(), |field| field.name.clone()),
        farm: farm.map(|farm| farm.name.clone()).unwrap_or_default(),
        location: sheet.value(Item::Location).unwrap_or_default().to_owned(),
        rows: Vec::new(),
    }
}

fn views(sheet: &Sheet, book: &Book) -> Vec<RowView> {
    let time = match (sheet.value(Item::Start), sheet.value(Item::Stop)) {
        (None, None) => String::new(),
        (start, stop) => format!("{} to {}", start.unwrap_or("?"), stop.unwrap_or("?")),
    };
    let parts: Vec<Option<&SheetPart>> = match sheet.parts.as_slice() {
        [] => vec![None],
        parts => parts.iter().map(Some).collect(),
    };
    let laid_out = rows(sheet, book);
    let view = |(part, row): (Option<&SheetPart>, &super::row::Row)| RowView {
        date: long(sheet.application.applied_on),
        time: time.clone(),
        withdrawn: sheet.withdrawn,
        cells: cells(sheet, part, row),
        notes: notes(sheet, part, row),
    };
    parts.into_iter().zip(&laid_out).map(view).collect()
}

fn cells(sheet: &Sheet, part: Option<&SheetPart>, row: &super::row::Row) -> Vec<Cell> {
    let missing = sheet.missing();
    let is_restricted = part.is_some_and(|part| part.part.restricted.is_some());
    let key = part.map(|part| part.part.key.as_str()).unwrap_or_default();
    let cell = |item: Item, found: Option<&ItemRow>| Cell {
        text: found.map(|row| row.value.clone()).unwrap_or_default(),
        more: String::new(),
        blank: is_restricted
            && missing.iter().any(|(of, one)| *one == item && (of.is_empty() || of == key)),
        mark: found.is_some_and(|row| matches!(row.origin, Origin::Book | Origin::EarlierRecord)),
    };
    let of_part = |item| cell(item, part.and_then(|part| part.items.get(&item)));
    let of_pass = |item| cell(item, sheet.items.get(&item));
    vec![
        Cell { more: row.ingredients.clone(), ..of_part(Item::Product) },
        of_part(Item::Epa),
        of_part(Item::Amount),
        of_pass(Item::Acres),
        of_pass(Item::Crop),
        Cell { text: row.restricted.clone(), ..Cell::default() },
        of_pass(Item::Applicator),
        of_pass(Item::Certification),
    ]
}

fn notes(sheet: &Sheet, part: Option<&SheetPart>, row: &super::row::Row) -> Vec<String> {
    let mut notes = vec![format!("{} pass, reported by {}", row.pass, row.reported_by)];
    if sheet.withdrawn {
        notes.push("Withdrawn: the report of the pass was taken back.".to_owned());
    }
    if row.spot {
        notes.push("Spot application.".to_owned());
    }
    if let Some(rate) = part.and_then(|part| part.part.rate) {
        notes.push(format!("planned {rate} an acre"));
    }
    if !row.missing.is_empty() {
        notes.push(format!("Day 14 is {}.", long(sheet.due())));
    }
    notes
}

fn span(from: Option<NaiveDate>, to: Option<NaiveDate>) -> String {
    match (from, to) {
        (None, None) => "All passes on record".to_owned(),
        (Some(from), None) => format!("Passes from {} on", long(from)),
        (None, Some(to)) => format!("Passes to {}", long(to)),
        (Some(from), Some(to)) => format!("Passes from {} to {}", long(from), long(to)),
    }
}

fn long(day: NaiveDate) -> String {
    day.format("%b %-d, %Y").to_string()
}

#[cfg(test)]
mod tests;
