//! Texts in the book's own words: `wording/en.toml` and `wording/es.toml`, each with only those
//! texts that are to read otherwise. What is wrong in them never keeps the book from being used.

use crate::document::{Document, End, escape};
use crate::faults::{self, Fault};
use crate::load::toml_files;
use crate::people::Language;
use serde_json::Value;
use std::path::Path;
use std::sync::Arc;

/// All texts of the book's own, and what in their files is no text at all.
#[derive(Debug, Clone, Default)]
pub struct Edits {
    /// The texts, in order of file and key.
    pub texts: Vec<Edit>,
    /// Files that cannot be read and values that are no text.
    pub faults: Vec<Fault>,
}

/// One text of the book's own.
#[derive(Debug, Clone)]
pub struct Edit {
    /// The language it is in.
    pub language: Language,
    /// Its key with dots, such as `topics.seedbed.action`.
    pub key: String,
    /// The template.
    pub text: String,
    document: Arc<Document>,
    pointer: String,
}

impl Edit {
    /// A fault of the text.
    pub fn fault(&self, message: &str) -> Fault {
        self.fault_at_end(End::Value, message)
    }

    /// A fault of its key.
    pub fn fault_of_key(&self, message: &str) -> Fault {
        self.fault_at_end(End::Key, message)
    }

    fn fault_at_end(&self, end: End, message: &str) -> Fault {
        let message = format!("{}: {}", self.key, faults::without_long_numbers(message));
        self.document.fault_at_end(&self.pointer, end, message)
    }
}

impl Edits {
    /// Reads the folder `wording` of a book, if there is one.
    pub(crate) fn read(book: &Path) -> Self {
        let folder = book.join("wording");
        let mut edits = Self::default();
        if !folder.exists() {
            return edits;
        }
        match toml_files(&folder) {
            Ok(files) => files.iter().for_each(|file| edits.read_file(file)),
            Err(error) => edits.refuse(&folder, &format!("cannot be read: {error}")),
        }
        edits
    }

    fn read_file(&mut self, file: &Path) {
        let stem = file.file_stem().and_then(|stem| stem.to_str());
        let language = Language::ALL.into_iter().find(|language| stem == Some(language.code()));
        let Some(language) = language else {
            let codes = Language::ALL.map(|language| format!("{}.toml", language.code()));
            self.refuse(file, &format!("names no language, want {}", codes.join(" or ")));
            return;
        };
        let text = match std::fs::read_to_string(file) {
            Ok(text) => text,
            Err(error) => return self.refuse(file, &format!("cannot be read: {error}")),
        };
        match Document::parse(file, text) {
            Ok((document, json)) => self.gather(language, &Arc::new(document), "", "", &json),
            Err(faults) => self.faults.extend(faults.into_iter().map(|fault| Fault {
                message: faults::without_long_numbers(&format!(
                    "{}; none of this file's texts is used",
                    fault.message
                )),
                ..fault
            })),
        }
    }

    fn refuse(&mut self, file: &Path, why: &str) {
        self.faults.push(Fault::whole_file(file, format!("{why}; the shipped texts are used")));
    }

    fn gather(
        &mut self,
        language: Language,
        document: &Arc<Document>,
        key: &str,
        pointer: &str,
        value: &Value,
    ) {
        match value {
            Value::Object(table) => {
                for (name, inner) in table {
                    let key = if key.is_empty() { name.clone() } else { format!("{key}.{name}") };
                    let pointer = format!("{pointer}/{}", escape(name));
                    self.gather(language, document, &key, &pointer, inner);
                }
            }
            Value::String(text) => self.texts.push(Edit {
                language,
                key: key.to_owned(),
                text: text.clone(),
                document: document.clone(),
                pointer: pointer.to_owned(),
            }),
            _ => {
                let message = format!("{key}: is no text, want text in quotes");
                self.faults.push(document.fault(pointer, message));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(files: &[(&str, &str)]) -> Edits {
        let book = tempfile::tempdir().unwrap();
        std::fs::create_dir(book.path().join("wording")).unwrap();
        for (name, text) in files {
            std::fs::write(book.path().join("wording").join(name), text).unwrap();
        }
        Edits::read(book.path())
    }

    fn told(edits: &Edits) -> Vec<String> {
        let told = |fault: &Fault| {
            let file = fault.file.file_name().unwrap().to_str().unwrap();
            format!("{file}:{}:{}: {}", fault.line, fault.column, fault.message)
        };
        edits.faults.iter().map(told).collect()
    }

    #[test]
    fn a_book_without_own_words_has_no_edits() {
        let edits = Edits::read(tempfile::tempdir().unwrap().path());
        assert!(edits.texts.is_empty() && edits.faults.is_empty());
    }

    #[test]
    fn every_text_is_read_with_its_language_key_and_place() {
        let english = "[topics.seedbed]\nname = \"seed bed\"\n";
        let edits =
            read(&[("en.toml", english), ("es.toml", "frame.stop = \"ALTO\"\n"), ("a.txt", "")]);
        let texts: Vec<_> =
            edits.texts.iter().map(|edit| (edit.language, &*edit.key, &*edit.text)).collect();
        assert_eq!(
            texts,
            [
                (Language::English, "topics.seedbed.name", "seed bed"),
                (Language::Spanish, "frame.stop", "ALTO")
            ]
        );
        let (of_text, of_key) = (edits.texts[0].fault("x"), edits.texts[0].fault_of_key("x"));
        assert_eq!((of_text.line, of_text.column, of_key.column), (2, 8, 1));
        assert_eq!(of_text.message, "topics.seedbed.name: x");
        assert_eq!(edits.faults, []);
    }

    #[test]
    fn what_is_no_text_is_told_and_the_rest_is_read() {
        let edits = read(&[
            ("de.toml", ""),
            ("en.toml", "[frame]\nand = 1\nstop = \"STOP ends it.\"\n"),
            ("es.toml", "[frame\n"),
        ]);
        assert_eq!(edits.texts.len(), 1);
        let told = told(&edits);
        assert_eq!(
            told[0],
            "de.toml:1:1: names no language, want en.toml or es.toml; the shipped texts are used"
        );
        assert_eq!(told[1], "en.toml:2:7: frame.and: is no text, want text in quotes");
        assert!(told[2].starts_with("es.toml:1:7: not valid TOML: "), "{told:?}");
        assert!(told[2].ends_with("; none of this file's texts is used"), "{told:?}");
    }

    #[test]
    fn no_phone_number_is_told() {
        let edits = read(&[("en.toml", "[frame]\nstop = \"x\"\n")]);
        assert_eq!(edits.texts[0].fault("+15155550100").message, "frame.stop: +(a long number)");
    }
}
