//! What is wrong with a book, and where.

use std::fmt;
use std::path::PathBuf;

/// One thing that is wrong, with its place.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// File, as reached through the book's folder.
    pub file: PathBuf,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// What was found and what is wanted. Never holds a phone number, an address or a secret.
    pub message: String,
}

impl Fault {
    /// A fault of a whole file.
    pub(crate) fn whole_file(file: impl Into<PathBuf>, message: String) -> Self {
        Self { file: file.into(), line: 1, column: 1, message }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}: {}", self.file.display(), self.line, self.column, self.message)
    }
}

/// Everything that is wrong with a book, in order of file and line. Never empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults(Vec<Fault>);

impl Faults {
    /// The faults, in order of file and line.
    pub fn list(&self) -> &[Fault] {
        &self.0
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for fault in &self.0 {
            writeln!(f, "{fault}")?;
        }
        match self.0.len() {
            1 => write!(f, "1 fault; the book is not used"),
            many => write!(f, "{many} faults; the book is not used"),
        }
    }
}

impl std::error::Error for Faults {}

/// Digits in a row that may be a phone number. A slip can put one under any key, so what is told of
/// a book goes through here once more.
const MAY_BE_A_PHONE: usize = 7;

fn keep_private(faults: &mut [Fault]) {
    for fault in faults {
        fault.message = without_long_numbers(&fault.message);
    }
}

pub(crate) fn without_long_numbers(text: &str) -> String {
    let mut kept = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(start) = rest.find(|c: char| c.is_ascii_digit()) {
        let digits = rest[start..].bytes().take_while(u8::is_ascii_digit).count();
        kept.push_str(&rest[..start]);
        let run = &rest[start..start + digits];
        kept.push_str(if digits < MAY_BE_A_PHONE { run } else { "(a long number)" });
        rest = &rest[start + digits..];
    }
    kept.push_str(rest);
    kept
}

/// Faults and warnings as they are gathered.
#[derive(Debug, Default)]
pub(crate) struct Notes {
    pub(crate) faults: Vec<Fault>,
    pub(crate) warnings: Vec<Fault>,
}

impl Notes {
    /// The warnings, in order.
    pub(crate) fn into_warnings(mut self) -> Vec<Fault> {
        keep_private(&mut self.warnings);
        self.warnings.sort();
        self.warnings
    }

    /// The faults, in order and each once.
    pub(crate) fn into_faults(mut self) -> Faults {
        keep_private(&mut self.faults);
        self.faults.sort();
        self.faults.dedup();
        Faults(self.faults)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_number_is_not_told_and_a_date_is() {
        let told = without_long_numbers("body: found \"json=+15155550100\" of 2026-05-01, want 12");
        assert_eq!(told, "body: found \"json=+(a long number)\" of 2026-05-01, want 12");
        assert_eq!(without_long_numbers("515555"), "515555");
        assert_eq!(without_long_numbers("5155550"), "(a long number)");
    }
}
