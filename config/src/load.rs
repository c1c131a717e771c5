//! Reads the folder of a book into one [`Book`].

use crate::Book;
use crate::check;
use crate::document::Document;
use crate::draft::Draft;
use crate::farm_file::{FarmEntry, FarmFile, FieldEntry};
use crate::farms::{Farm, Field};
use crate::faults::{Fault, Faults, Notes};
use crate::import;
use crate::labels::{self, LabelsFile};
use crate::people::{PeopleFile, Person};
use crate::products::{self, Product};
use crate::replies::{RepliesFile, Reply};
use crate::service::Service;
use crate::structure::{self, Shape};
use crate::wording::Edits;
use furrowbell_engine::labels::LabelFact;
use furrowbell_engine::thresholds::Thresholds;
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};

impl Book {
    /// Reads and checks the book in `folder`: `service.toml`, `people.toml`, `farms/*.toml`, and
    /// `labels.toml`, `replies.toml` and `wording/*.toml` where there are such. Gives every fault
    /// of every file at once.
    pub fn load(folder: &Path) -> Result<Self, Faults> {
        let mut notes = Notes::default();
        match load(folder, &mut notes) {
            Some(book) if notes.faults.is_empty() => {
                Ok(Self { warnings: notes.into_warnings(), ..book })
            }
            _ => Err(notes.into_faults()),
        }
    }
}

fn load(folder: &Path, notes: &mut Notes) -> Option<Book> {
    let service = read_one::<Service>(&folder.join("service.toml"), notes);
    let people = read_one::<PeopleFile>(&folder.join("people.toml"), notes);
    if let Some((document, service)) = &service {
        check::service(document, service, folder, notes);
    }
    let routes = service.as_ref().map(|(_, service)| &service.routes);
    if let Some((document, people)) = &people {
        check::people(document, &people.person, routes, notes);
    }
    let known = Known {
        folder,
        service: service.as_ref().map(|(_, service)| service),
        people: people.as_ref().map(|(_, people)| people.person.as_slice()),
    };
    let (labels, products) = known.labels(notes);
    let (farms, fields) = known.farms(&products, notes);
    let replies = known.replies(notes);
    Some(Book {
        folder: folder.to_owned(),
        service: service?.1,
        people: people?.1.person,
        farms,
        fields,
        labels,
        products,
        replies,
        wording: Edits::read(folder),
        warnings: Vec::new(),
    })
}

fn shape<T: JsonSchema>(file: &Path, notes: &mut Notes) -> Option<Shape> {
    Shape::of::<T>()
        .map_err(|error| {
            let message = format!("cannot be checked, the program's own schema is broken: {error}");
            notes.faults.push(Fault::whole_file(file, message));
        })
        .ok()
}

fn read_one<T: JsonSchema + DeserializeOwned>(
    file: &Path,
    notes: &mut Notes,
) -> Option<(Document, T)> {
    let shape = shape::<T>(file, notes)?;
    structure::read(&shape, file, notes)
}

/// What later files are checked against; a part that could not be read is `None`.
struct Known<'a> {
    folder: &'a Path,
    service: Option<&'a Service>,
    people: Option<&'a [Person]>,
}

impl Known<'_> {
    fn labels(&self, notes: &mut Notes) -> (Vec<LabelFact>, Vec<Product>) {
        let file = self.folder.join("labels.toml");
        if !file.exists() {
            return Default::default();
        }
        let Some((document, labels)) = read_one::<LabelsFile>(&file, notes) else {
            return Default::default();
        };
        products::settle(&document, &labels.product, self.people, notes);
        (labels::settle(&document, &labels.label, self.people, notes), labels.product)
    }

    fn replies(&self, notes: &mut Notes) -> Vec<Reply> {
        let file = self.folder.join("replies.toml");
        if !file.exists() {
            return Vec::new();
        }
        let Some((document, script)) = read_one::<RepliesFile>(&file, notes) else {
            return Vec::new();
        };
        check::replies(&document, &script.reply, self.people, notes);
        let mut replies = script.reply;
        replies.sort_by_key(|reply| reply.at);
        replies
    }

    fn farms(&self, products: &[Product], notes: &mut Notes) -> (Vec<Farm>, Vec<Field>) {
        let (mut farms, mut fields) = (Vec::new(), Vec::new());
        let folder = self.folder.join("farms");
        let files = toml_files(&folder).unwrap_or_else(|error| {
            notes.faults.push(Fault::whole_file(&folder, format!("cannot be read: {error}")));
            Vec::new()
        });
        let shapes = (shape::<FarmFile>(&folder, notes), shape::<FieldEntry>(&folder, notes));
        let (Some(farm_shape), Some(field_shape)) = shapes else { return (farms, fields) };
        for file in files {
            let Some(id) = check::farm_id(&file, notes) else { continue };
            let Some((document, entry)) = structure::read(&farm_shape, &file, notes) else {
                continue;
            };
            let FarmFile { farm, field } = entry;
            check::farm(&document, &farm, self.people, &farms, notes);
            let mut drafts = Draft::of_book(&document, field);
            if let Some(path) = &farm.fields_from {
                let imported = import::read(&self.folder.join(path), &field_shape, notes);
                drafts = Draft::merge(drafts, imported);
            }
            let thresholds = self.farm_thresholds(&document, &farm, notes);
            let mut own: Vec<Field> = Vec::new();
            for draft in drafts {
                own.extend(draft.settle(&id, &thresholds, products, &own, notes));
            }
            fields.append(&mut own);
            farms.push(self.farm(id, farm));
        }
        (farms, fields)
    }

    fn farm_thresholds(
        &self,
        document: &Document,
        farm: &FarmEntry,
        notes: &mut Notes,
    ) -> Thresholds {
        let service = self.service.map(|service| service.thresholds).unwrap_or_default();
        let merged = Thresholds::default().with(&service).with(&farm.thresholds);
        check::threshold_order(&merged, &farm.thresholds, notes, |key, message| {
            document.fault(&format!("/farm/thresholds/{key}"), message)
        });
        merged
    }

    fn farm(&self, id: String, entry: FarmEntry) -> Farm {
        let desk = self.service.map(|service| service.zone);
        Farm {
            id,
            name: entry.name,
            growers: entry.growers,
            advisors: entry.advisors,
            zone: entry.zone.or(desk).unwrap_or_default(),
            thresholds: entry.thresholds,
        }
    }
}

/// The TOML files of a folder, in order of name.
pub(crate) fn toml_files(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.extension().is_some_and(|end| end == "toml") {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}
