//! Between plain columns and typed values.

use super::error::{Error, Result};
use serde::Serialize;
use serde::de::value::{Error as WordError, StrDeserializer};
use serde::de::{DeserializeOwned, IntoDeserializer};
use std::num::TryFromIntError;

/// One stored row, named in errors about what stands in it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place<'a> {
    /// Its table.
    pub table: &'static str,
    /// Its key.
    pub id: &'a str,
}

impl Place<'_> {
    /// The closed choice that a column names.
    pub fn word<T: DeserializeOwned>(&self, column: &'static str, text: &str) -> Result<T> {
        let word: StrDeserializer<'_, WordError> = text.into_deserializer();
        T::deserialize(word).map_err(|source| self.inconsistent(column, source))
    }

    /// The value that a column holds as JSON.
    pub fn json<T: DeserializeOwned>(&self, column: &'static str, text: &str) -> Result<T> {
        serde_json::from_str(text).map_err(|source| self.inconsistent(column, source))
    }

    /// The count that a column holds.
    pub fn number<T>(&self, column: &'static str, number: i64) -> Result<T>
    where
        T: TryFrom<i64, Error = TryFromIntError>,
    {
        T::try_from(number).map_err(|source| self.inconsistent(column, source))
    }

    fn inconsistent(
        &self,
        column: &'static str,
        source: impl std::error::Error + Send + Sync + 'static,
    ) -> Error {
        Error::Inconsistent {
            table: self.table,
            column,
            id: self.id.to_owned(),
            source: Box::new(source),
        }
    }
}

/// A column about to be written, named in errors.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column(pub &'static str, pub &'static str);

impl Column {
    /// The word of a closed choice, the same as in the book and in JSON.
    pub fn word<T: Serialize>(self, value: &T) -> Result<String> {
        let word = serde_json::to_value(value).and_then(serde_json::from_value);
        word.map_err(|source| self.unwritable(source))
    }

    /// The value as JSON.
    pub fn json<T: Serialize>(self, value: &T) -> Result<String> {
        serde_json::to_string(value).map_err(|source| self.unwritable(source))
    }

    fn unwritable(self, source: serde_json::Error) -> Error {
        Error::Unwritable { table: self.0, column: self.1, source }
    }
}
