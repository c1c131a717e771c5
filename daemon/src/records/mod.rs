//! The record of a herbicide pass, as 7 CFR Part 110 wants it of a restricted-use pesticide.
//!
//! Section 110.3(a), read in the edition of January 1, 2006: brand or product name and EPA
//! registration number; total amount; location, size of area and crop; month, day and year; name
//! and, if applicable, certification number of the certified applicator. That the record is made
//! within 14 days and kept two years was read in Montana State University Extension, "Pesticide
//! Recordkeeping". The shorter record of spots below a tenth of an acre, 110.3(b), is from memory.
//! States may want more and sooner.
//!
//! Pure: passes, what is said of them and the book come in, sheets come out.

pub mod csv;
pub mod fill;
pub mod html;
pub mod parts;
pub mod row;

use crate::store::{Application, ItemRow};
use chrono::{Days, NaiveDate};
use furrowbell_config::products::Amount;
use furrowbell_engine::journal::Event;
use furrowbell_engine::reference::Standing;
use furrowbell_engine::reference::herbicides::Ingredient;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Days within which the record is to be made.
const DUE_DAYS: u64 = 14;
/// Treatments of a smaller area than this are spot applications, acres.
const SPOT_ACRES: f64 = 0.1;
/// Who is responsible, as every export says.
pub const RESPONSIBLE: &str = "The certified applicator is responsible for the record (7 CFR \
    110.3) and for what state law wants beyond it. It says what was reported and permits nothing.";

/// A pass whose record is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AppliedPass {
    /// The pre pass.
    Pre,
    /// The post pass.
    Post,
}

impl AppliedPass {
    /// The pass of an event, with what went on when it was not as planned.
    pub fn of(event: &Event) -> Option<(Self, &[Ingredient])> {
        match event {
            Event::PreApplied { ingredients } => Some((Self::Pre, ingredients)),
            Event::PostApplied { ingredients } => Some((Self::Post, ingredients)),
            _ => None,
        }
    }

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pre => "pre",
            Self::Post => "post",
        }
    }
}

/// One thing that a record says.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, clap::ValueEnum,
)]
#[serde(rename_all = "kebab-case")]
pub enum Item {
    /// Brand or product name.
    Product,
    /// EPA registration number.
    Epa,
    /// Total amount of product.
    Amount,
    /// Where, in words.
    Location,
    /// Size of the area treated, acres.
    Acres,
    /// The crop.
    Crop,
    /// Name of the certified applicator.
    Applicator,
    /// Certification number of the certified applicator.
    Certification,
    /// Time of day at which it began.
    Start,
    /// Time of day at which it ended.
    Stop,
}

impl Item {
    /// What is wanted of every restricted product.
    pub const OF_PART: [Self; 3] = [Self::Product, Self::Epa, Self::Amount];
    /// What is wanted of the whole pass.
    const OF_PASS: [Self; 5] =
        [Self::Location, Self::Acres, Self::Crop, Self::Applicator, Self::Certification];

    /// Whether it belongs to one product, not to the whole pass.
    pub fn is_of_part(self) -> bool {
        Self::OF_PART.contains(&self)
    }

    /// Whether a person is asked for it by text; the book has the others.
    pub fn is_asked(self) -> bool {
        self.is_of_part() || matches!(self, Self::Applicator | Self::Certification)
    }

    /// Its name in lists and exports.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Product => "product name",
            Self::Epa => "EPA number",
            Self::Amount => "total amount",
            Self::Location => "location",
            Self::Acres => "acres",
            Self::Crop => "crop",
            Self::Applicator => "certified applicator",
            Self::Certification => "certification number",
            Self::Start => "start",
            Self::Stop => "stop",
        }
    }
}

/// Where an item comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// From the book; nobody has said it of this pass.
    Book,
    /// From a reply.
    Reply,
    /// From another record of the same applicator.
    EarlierRecord,
    /// Put right by hand.
    Command,
}

/// What went on in one pass, a product or, where the book names none, an ingredient.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Name of the book's product, or of the ingredient.
    pub key: String,
    /// Its ingredients.
    pub ingredients: Vec<Ingredient>,
    /// Whether it is of restricted use, by how far that is to be trusted; `None` when it is not.
    pub restricted: Option<Standing>,
    /// What the book means for an acre.
    pub rate: Option<Amount>,
}

/// A record as it stands, with all that was said of it in force.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// The pass.
    pub application: Application,
    /// Whether its journal entry was taken back.
    pub withdrawn: bool,
    /// What is known of the whole pass.
    pub items: BTreeMap<Item, ItemRow>,
    /// What is known of each product.
    pub parts: Vec<SheetPart>,
}

/// One product of a record.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetPart {
    /// What the book knew of it.
    pub part: Part,
    /// What is known of it now.
    pub items: BTreeMap<Item, ItemRow>,
}

/// One item that a record lacks: the key of the part (empty for the whole pass) and the item.
pub type Missing = (String, Item);

impl Sheet {
    /// The record of a pass from all that was said of it, in the order it was said.
    pub fn of<'a>(
        application: Application,
        said: impl IntoIterator<Item = &'a ItemRow>,
        withdrawn: bool,
    ) -> Self {
        let part = |part: &Part| SheetPart { part: part.clone(), items: BTreeMap::new() };
        let parts = application.parts.iter().map(part).collect();
        let mut sheet = Self { application, withdrawn, items: BTreeMap::new(), parts };
        for row in said {
            sheet.put(row.clone());
        }
        sheet.join();
        sheet
    }

    /// Puts one more item in force.
    pub fn take(&mut self, row: ItemRow) {
        self.put(row);
        self.join();
    }

    fn put(&mut self, row: ItemRow) {
        let part = self.parts.iter_mut().find(|one| one.part.key == row.part);
        match part {
            Some(part) => part.items.insert(row.item, row),
            None if row.part.is_empty() => self.items.insert(row.item, row),
            None => None,
        };
    }

    /// Ingredients that came out of one product, by its registration number, are one part.
    fn join(&mut self) {
        let mut joined: Vec<SheetPart> = Vec::new();
        for one in self.parts.drain(..) {
            let number = one.items.get(&Item::Epa).map(|row| &row.value);
            let same = joined.iter_mut().find(|earlier| {
                let earlier = earlier.items.get(&Item::Epa).map(|row| &row.value);
                number.is_some() && earlier == number
            });
            match same {
                Some(earlier) => {
                    earlier.part.ingredients.extend(one.part.ingredients);
                    earlier.part.restricted = earlier.part.restricted.or(one.part.restricted);
                    for (item, row) in one.items {
                        earlier.items.entry(item).or_insert(row);
                    }
                }
                None => joined.push(one),
            }
        }
        self.parts = joined;
    }

    /// The item of a part, or of the whole pass where the key is empty.
    pub fn item(&self, part: &str, item: Item) -> Option<&ItemRow> {
        match self.part(part) {
            Some(part) => part.items.get(&item),
            None => self.items.get(&item),
        }
    }

    /// What an item of the whole pass says.
    pub fn value(&self, item: Item) -> Option<&str> {
        self.items.get(&item).map(|row| row.value.as_str())
    }

    /// The part of that key.
    pub fn part(&self, key: &str) -> Option<&SheetPart> {
        self.parts.iter().find(|one| one.part.key == key)
    }

    /// Whether anything of restricted use went on.
    pub fn is_restricted(&self) -> bool {
        self.parts.iter().any(|one| one.part.restricted.is_some())
    }

    /// Whether the area is so small that the record of a spot application will do.
    pub fn is_spot(&self) -> bool {
        let acres = self.value(Item::Acres).and_then(|acres| acres.parse::<f64>().ok());
        acres.is_some_and(|acres| acres < SPOT_ACRES)
    }

    /// The last day on which the record is in time.
    pub fn due(&self) -> NaiveDate {
        let applied_on = self.application.applied_on;
        applied_on.checked_add_days(Days::new(DUE_DAYS)).unwrap_or(applied_on)
    }

    /// What the record still lacks, in the order it is asked for; nothing for a pass that is not of
    /// restricted use or was taken back.
    pub fn missing(&self) -> Vec<Missing> {
        if self.withdrawn || !self.is_restricted() {
            return Vec::new();
        }
        let restricted = self.parts.iter().filter(|one| one.part.restricted.is_some());
        let of_parts = restricted.flat_map(|one| {
            let lacks = Item::OF_PART.into_iter().filter(|item| !one.items.contains_key(item));
            lacks.map(|item| (one.part.key.clone(), item))
        });
        let wanted: &[Item] = if self.is_spot() { &Item::OF_PASS[..2] } else { &Item::OF_PASS };
        let of_pass = wanted.iter().filter(|item| !self.items.contains_key(item));
        of_parts.chain(of_pass.map(|item| (String::new(), *item))).collect()
    }

    /// The next item to ask a person for.
    pub fn next_asked(&self) -> Option<Missing> {
        self.missing().into_iter().find(|(_, item)| item.is_asked())
    }
}

impl SheetPart {
    /// What people call it: its product once that is known, else its ingredients.
    pub fn called(&self) -> String {
        match self.items.get(&Item::Product) {
            Some(row) => row.value.clone(),
            None => self.ingredients(),
        }
    }

    /// Names of its ingredients.
    pub fn ingredients(&self) -> String {
        let names: Vec<&str> = self.part.ingredients.iter().map(|one| one.name()).collect();
        names.join(", ")
    }
}

#[cfg(test)]
mod tests;
