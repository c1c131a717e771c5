//! A record laid out for people and programs: a row for each product.

use super::{Item, Origin, Sheet, SheetPart};
use crate::store::ItemRow;
use furrowbell_config::Book;
use furrowbell_engine::reference::Standing;
use serde::Serialize;

/// One product of one pass. What is not known is absent, never zero.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Id of the record.
    pub record: String,
    /// Name of the farm.
    pub farm: String,
    /// Name of the field.
    pub field: String,
    /// Day of the pass, year first.
    pub date: String,
    /// Time of day at which it began.
    pub start: Option<String>,
    /// Time of day at which it ended.
    pub stop: Option<String>,
    /// `pre` or `post`.
    pub pass: &'static str,
    /// The crop.
    pub crop: Option<String>,
    /// Where, in words.
    pub location: Option<String>,
    /// Size of the area treated.
    pub acres: Option<String>,
    /// Whether the shorter record of a spot application will do.
    pub spot: bool,
    /// Brand or product name.
    pub product: Option<String>,
    /// EPA registration number.
    pub epa_reg: Option<String>,
    /// Active ingredients that the book knows of.
    pub ingredients: String,
    /// Whether it is of restricted use, and how far that is to be trusted.
    pub restricted: String,
    /// Total amount of product.
    pub amount: Option<String>,
    /// What the book means for an acre.
    pub planned_rate_per_acre: Option<String>,
    /// Name of the certified applicator.
    pub applicator: Option<String>,
    /// Certification number of the certified applicator.
    pub certification: Option<String>,
    /// What the record lacks.
    pub missing: String,
    /// What nobody has said of this pass: it stands in the book or in an earlier record.
    pub not_said: String,
    /// Day 14.
    pub due: String,
    /// Whether the pass was taken back.
    pub withdrawn: bool,
    /// Who reported the pass.
    pub reported_by: String,
}

/// The rows of a record. One that knows of no product has one all the same.
pub fn rows(sheet: &Sheet, book: &Book) -> Vec<Row> {
    if sheet.parts.is_empty() {
        return vec![row(sheet, None, book)];
    }
    sheet.parts.iter().map(|part| row(sheet, Some(part), book)).collect()
}

fn row(sheet: &Sheet, part: Option<&SheetPart>, book: &Book) -> Row {
    let application = &sheet.application;
    let field = book.field(&application.field);
    let farm = field.and_then(|field| book.farm(&field.farm));
    let of_pass = |item| sheet.value(item).map(str::to_owned);
    let of_part = |item| part.and_then(|part| part.items.get(&item)).map(|row| row.value.clone());
    let said = sheet.items.values().chain(part.iter().flat_map(|part| part.items.values()));
    let unsaid = |row: &&ItemRow| matches!(row.origin, Origin::Book | Origin::EarlierRecord);
    let reporter = book.person(&application.by).map(|person| person.name.clone());
    Row {
        record: application.id.clone(),
        farm: farm.map(|farm| farm.name.clone()).unwrap_or_default(),
        field: field.map_or_else(|| application.field.clone(), |field| field.name.clone()),
        date: application.applied_on.to_string(),
        start: of_pass(Item::Start),
        stop: of_pass(Item::Stop),
        pass: application.pass.name(),
        crop: of_pass(Item::Crop),
        location: of_pass(Item::Location),
        acres: of_pass(Item::Acres),
        spot: sheet.is_spot(),
        product: of_part(Item::Product),
        epa_reg: of_part(Item::Epa),
        ingredients: part.map(SheetPart::ingredients).unwrap_or_default(),
        restricted: restricted(part.and_then(|part| part.part.restricted)),
        amount: of_part(Item::Amount),
        planned_rate_per_acre: part.and_then(|part| part.part.rate).map(|rate| rate.to_string()),
        applicator: of_pass(Item::Applicator),
        certification: of_pass(Item::Certification),
        missing: missing(sheet, part),
        not_said: listed(said.filter(unsaid).map(|row| row.item)),
        due: sheet.due().to_string(),
        withdrawn: sheet.withdrawn,
        reported_by: reporter.unwrap_or_else(|| application.by.clone()),
    }
}

/// What the row lacks of its own product and of the whole pass.
fn missing(sheet: &Sheet, part: Option<&SheetPart>) -> String {
    let own = part.map(|part| part.part.key.as_str()).unwrap_or_default();
    let is_restricted = part.is_some_and(|part| part.part.restricted.is_some());
    let missing = sheet.missing().into_iter();
    listed(
        missing.filter(|(key, _)| is_restricted && (key.is_empty() || key == own)).map(|it| it.1),
    )
}

fn listed(items: impl Iterator<Item = Item>) -> String {
    items.map(Item::name).collect::<Vec<_>>().join("; ")
}

fn restricted(standing: Option<Standing>) -> String {
    match standing {
        None => "no".to_owned(),
        Some(Standing::Confirmed) => "yes, by its label".to_owned(),
        Some(standing) => format!("usually ({standing}); check the label"),
    }
}
