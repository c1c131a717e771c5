//! The book: what people edit. Settings, people, farms, fields, plans and thresholds.
//!
//! [`Book::load`] reads a folder, checks everything in it and gives either the whole book or every
//! fault there is, each with file, line and column.

mod check;
mod document;
mod draft;
mod farm_file;
pub mod farms;
mod faults;
mod geometry;
mod import;
mod labels;
mod load;
pub mod local;
pub mod people;
pub mod products;
mod replies;
pub mod schedule;
pub mod schema;
mod secrets;
pub mod service;
mod structure;
mod validate;
pub mod wording;

pub use faults::{Fault, Faults};
pub use replies::Reply;
pub use secrets::NoSecret;
pub use structure::nearest_word;

use furrowbell_engine::labels::LabelFact;
use std::path::PathBuf;

/// A whole book, read and checked.
#[derive(Debug, Clone)]
pub struct Book {
    /// Folder it was read from; relative paths in it start here.
    pub folder: PathBuf,
    /// Service settings.
    pub service: service::Service,
    /// Everybody, by id.
    pub people: Vec<people::Person>,
    /// Every farm.
    pub farms: Vec<farms::Farm>,
    /// Every field of every farm.
    pub fields: Vec<farms::Field>,
    /// What somebody has read on the labels in use.
    pub labels: Vec<LabelFact>,
    /// Products in use, by their labels.
    pub products: Vec<products::Product>,
    /// Scripted replies for rehearsals, in order of time.
    pub replies: Vec<Reply>,
    /// Texts in the book's own words.
    pub wording: wording::Edits,
    /// What is allowed and yet worth a look.
    pub warnings: Vec<Fault>,
}

/// Why a name does not lead to one field.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoSuchField {
    /// No field has that id or name.
    #[error("no field is called \"{name}\"{}", .nearest.as_ref().map_or(String::new(), |near| format!("; did you mean \"{near}\"?")))]
    Unknown {
        /// What was asked for.
        name: String,
        /// The most similar name there is.
        nearest: Option<String>,
    },
    /// Several farms have a field of that name.
    #[error("several fields are called \"{name}\"; say which: {}", .ids.join(", "))]
    Several {
        /// What was asked for.
        name: String,
        /// Ids of these fields.
        ids: Vec<String>,
    },
}

impl Book {
    /// The field of that id (`FARM/FIELD`).
    pub fn field(&self, id: &str) -> Option<&farms::Field> {
        self.fields.iter().find(|field| field.id == id)
    }

    /// The person of that id.
    pub fn person(&self, id: &str) -> Option<&people::Person> {
        self.people.iter().find(|person| person.id == id)
    }

    /// The farm of that id.
    pub fn farm(&self, id: &str) -> Option<&farms::Farm> {
        self.farms.iter().find(|farm| farm.id == id)
    }

    /// The product of that name.
    pub fn product(&self, name: &str) -> Option<&products::Product> {
        self.products.iter().find(|product| product.name == name)
    }

    /// The fields of a farm, in the order of the book.
    pub fn fields_of<'a>(
        &'a self,
        farm: &'a farms::Farm,
    ) -> impl Iterator<Item = &'a farms::Field> {
        self.fields.iter().filter(|field| field.farm == farm.id)
    }

    /// The one field of that id or, in any case of letters, of that name.
    pub fn find_field(&self, name: &str) -> Result<&farms::Field, NoSuchField> {
        if let Some(field) = self.field(name) {
            return Ok(field);
        }
        let folded = name.trim().to_lowercase();
        let fitting: Vec<_> =
            self.fields.iter().filter(|field| field.name.to_lowercase() == folded).collect();
        match fitting.as_slice() {
            [only] => Ok(only),
            [] => {
                let names: Vec<&str> = self.fields.iter().map(|field| &*field.name).collect();
                let nearest = structure::nearest_word(name, &names).map(str::to_owned);
                Err(NoSuchField::Unknown { name: name.to_owned(), nearest })
            }
            several => {
                let ids = several.iter().map(|field| field.id.clone()).collect();
                Err(NoSuchField::Several { name: name.to_owned(), ids })
            }
        }
    }
}
