//! The book: what people edit. Settings, people, farms, fields, plans and thresholds.

pub mod farms;
pub mod people;
pub mod schema;
pub mod service;

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
}
