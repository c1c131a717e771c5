//! A TOML file with the place of every key and value.

use crate::faults::Fault;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

/// A TOML file, read.
#[derive(Debug)]
pub(crate) struct Document {
    file: PathBuf,
    text: String,
    places: BTreeMap<String, Place>,
}

/// Bytes at which a key and its value start.
#[derive(Debug, Clone, Copy)]
struct Place {
    key: usize,
    value: usize,
}

/// Which end of a `key = value` pair is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    Key,
    Value,
}

impl Document {
    /// Parses the text of `file` into JSON, where dates become their text. Gives every fault of
    /// its syntax, and every number that JSON cannot hold.
    pub(crate) fn parse(file: &Path, text: String) -> Result<(Self, Value), Vec<Fault>> {
        let (root, errors) = DeTable::parse_recoverable(&text);
        let mut reading = Reading { places: BTreeMap::new(), unreadable: Vec::new() };
        let json = reading.table(root.get_ref(), "");
        let Reading { places, unreadable } = reading;
        let syntax = errors.iter().map(|error| {
            let offset = error.span().map_or(0, |span| span.start);
            fault_at(file, &text, offset, format!("not valid TOML: {}", error.message()))
        });
        let numbers = unreadable.iter().map(|offset| {
            fault_at(file, &text, *offset, "found no plain number, want one".to_owned())
        });
        let faults: Vec<Fault> = syntax.chain(numbers).collect();
        if faults.is_empty() {
            Ok((Self { file: file.to_owned(), text, places }, json))
        } else {
            Err(faults)
        }
    }

    /// A fault at the value a JSON pointer names, or at the nearest table around it.
    pub(crate) fn fault(&self, pointer: &str, message: impl Into<String>) -> Fault {
        self.fault_at_end(pointer, End::Value, message)
    }

    /// As [`Self::fault`], at the chosen end of the pair.
    pub(crate) fn fault_at_end(
        &self,
        pointer: &str,
        end: End,
        message: impl Into<String>,
    ) -> Fault {
        let offset = match (self.places.get(pointer), end) {
            (Some(place), End::Key) => place.key,
            (Some(place), End::Value) => place.value,
            (None, _) => self.around(pointer),
        };
        fault_at(&self.file, &self.text, offset, message.into())
    }

    fn around(&self, pointer: &str) -> usize {
        let holders = std::iter::successors(Some(pointer), |inner| {
            inner.rsplit_once('/').map(|(outer, _)| outer)
        });
        holders.skip(1).find_map(|holder| self.places.get(holder)).map_or(0, |place| place.value)
    }
}

/// Walks a parsed file once, noting places on the way.
struct Reading {
    places: BTreeMap<String, Place>,
    unreadable: Vec<usize>,
}

impl Reading {
    fn table(&mut self, table: &DeTable<'_>, pointer: &str) -> Value {
        let mut pairs = Map::new();
        for (key, value) in table {
            let inner = format!("{pointer}/{}", escape(key.get_ref()));
            let place = Place { key: key.span().start, value: value.span().start };
            self.places.insert(inner.clone(), place);
            pairs.insert(key.get_ref().to_string(), self.value(value, &inner));
        }
        Value::Object(pairs)
    }

    fn list(&mut self, items: &DeArray<'_>, pointer: &str) -> Value {
        let mut list = Vec::new();
        for (at, item) in items.iter().enumerate() {
            let inner = format!("{pointer}/{at}");
            let start = item.span().start;
            self.places.insert(inner.clone(), Place { key: start, value: start });
            list.push(self.value(item, &inner));
        }
        Value::Array(list)
    }

    fn value(&mut self, value: &Spanned<DeValue<'_>>, pointer: &str) -> Value {
        let number = match value.get_ref() {
            DeValue::String(text) => return Value::from(text.as_ref()),
            DeValue::Boolean(flag) => return Value::from(*flag),
            DeValue::Datetime(date) => return Value::from(date.to_string()),
            DeValue::Table(table) => return self.table(table, pointer),
            DeValue::Array(items) => return self.list(items, pointer),
            DeValue::Integer(digits) => {
                i64::from_str_radix(digits.as_str(), digits.radix()).ok().map(Into::into)
            }
            DeValue::Float(digits) => digits.as_str().parse().ok().and_then(number),
        };
        number.map_or_else(
            || {
                self.unreadable.push(value.span().start);
                Value::Null
            },
            Value::Number,
        )
    }
}

/// A number as JSON, whole where it is whole, so that `60.0` reads where `60` does.
#[expect(clippy::cast_possible_truncation, reason = "only whole numbers far inside i64 are cast")]
pub(crate) fn number(value: f64) -> Option<serde_json::Number> {
    const EXACT: f64 = 9_007_199_254_740_992.0;
    if value.fract() == 0.0 && value.abs() < EXACT {
        return Some((value as i64).into());
    }
    serde_json::Number::from_f64(value)
}

/// A fault at a byte offset of a text.
pub(crate) fn fault_at(file: &Path, text: &str, offset: usize, message: String) -> Fault {
    let before = text.get(..offset).unwrap_or(text);
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    Fault {
        file: file.to_owned(),
        line: before.matches('\n').count() + 1,
        column: before[line_start..].chars().count() + 1,
        message,
    }
}

/// One step of a JSON pointer (RFC 6901).
pub(crate) fn escape(key: &str) -> String {
    key.replace('~', "~0").replace('/', "~1")
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "a = 1\n[[field]]\nname = \"x\"\n[field.plan]\ndepth_in = 2\n";

    fn place(pointer: &str, end: End) -> (usize, usize) {
        let (document, _) = Document::parse(Path::new("f.toml"), TEXT.to_owned()).unwrap();
        let fault = document.fault_at_end(pointer, end, "");
        (fault.line, fault.column)
    }

    #[test]
    fn finds_keys_and_values() {
        assert_eq!(place("/a", End::Key), (1, 1));
        assert_eq!(place("/a", End::Value), (1, 5));
        assert_eq!(place("/field/0/name", End::Value), (3, 8));
        assert_eq!(place("/field/0/plan/depth_in", End::Key), (5, 1));
    }

    #[test]
    fn what_is_missing_is_placed_at_the_table_around_it() {
        assert_eq!(place("/field/0/acres", End::Value), (2, 1));
        assert_eq!(place("/field/0/plan/crop", End::Value), (4, 1));
        assert_eq!(place("/nothing", End::Value), (1, 1));
    }

    #[test]
    fn columns_count_characters() {
        let text = "name = \"Ñandú\" nonsense";
        let faults = Document::parse(Path::new("f.toml"), text.to_owned()).unwrap_err();
        assert_eq!((faults[0].line, faults[0].column), (1, 16));
    }
}
