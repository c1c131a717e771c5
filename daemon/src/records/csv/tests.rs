use super::*;
use crate::records::row::rows;
use crate::records::tests::whole;
use furrowbell_config::Book;
use furrowbell_engine::reference::Standing;
use proptest::prelude::*;
use std::io::Write as _;
use std::process::{Command, Stdio};

fn demo() -> Book {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../config/demo");
    Book::load(folder.as_ref()).unwrap_or_else(|faults| panic!("{faults}"))
}

fn sample() -> Row {
    rows(&whole(Some(Standing::FromMemory)), &demo()).remove(0)
}

fn read(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
    let records = reader
        .records()
        .map(|record| record.unwrap().iter().map(str::to_owned).collect::<Vec<_>>());
    records.collect()
}

/// What would spoil a file that is not written as RFC 4180 has it.
const AWKWARD: [&str; 6] =
    ["a, b", "say \"when\"", "two\r\nlines", "ñandú", "semi;colon", "  spaces  "];

#[test]
fn every_column_is_a_key_of_a_row_and_every_key_a_column() {
    let row = serde_json::to_value(sample()).unwrap();
    let mut keys: Vec<&str> = row.as_object().unwrap().keys().map(String::as_str).collect();
    let mut columns = COLUMNS;
    keys.sort_unstable();
    columns.sort_unstable();
    assert_eq!(keys, columns);
}

#[test]
fn lines_end_and_quotes_stand_as_rfc_4180_has_them() {
    for awkward in AWKWARD {
        let row = Row { location: Some(awkward.to_owned()), ..sample() };
        let text = write(&[row]).unwrap();
        assert!(text.ends_with("\r\n"));
        let parsed = read(&text);
        assert_eq!(parsed.len(), 2);
        assert_eq!(parsed[0], COLUMNS);
        let at = COLUMNS.iter().position(|column| *column == "location").unwrap();
        assert_eq!(parsed[1][at], awkward);
    }
}

/// Python's reader is another program's word on the same file.
#[test]
fn python_reads_the_same_cells() {
    let lines: Vec<Row> = AWKWARD
        .iter()
        .map(|awkward| Row { location: Some((*awkward).to_owned()), ..sample() })
        .collect();
    let text = write(&lines).unwrap();
    let script = "import csv, io, json, sys\n\
                  text = sys.stdin.buffer.read().decode('utf-8')\n\
                  json.dump(list(csv.reader(io.StringIO(text, newline=''), strict=True)), sys.stdout)";
    let python = Command::new("python3")
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn();
    let Ok(mut python) = python else {
        println!("SKIP Python's reader of CSV: there is no python3");
        return;
    };
    python.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let output = python.wait_with_output().unwrap();
    assert!(output.status.success());
    let theirs: Vec<Vec<String>> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(theirs, read(&text));
    assert_eq!(theirs.len(), AWKWARD.len() + 1);
}

#[test]
fn no_cell_begins_a_formula() {
    for evil in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"] {
        let row = Row { product: Some(evil.to_owned()), ..sample() };
        let parsed = read(&write(&[row]).unwrap());
        assert!(parsed[1].iter().all(|cell| !cell.starts_with(FORMULA)), "{evil}");
        assert!(parsed[1].contains(&format!("'{evil}")), "{evil}");
    }
}

proptest! {
    #[test]
    fn whatever_stands_in_a_cell_comes_back(words in "\\PC{0,40}") {
        let row = Row { location: Some(words.clone()), ..sample() };
        let parsed = read(&write(&[row]).unwrap());
        let at = COLUMNS.iter().position(|column| *column == "location").unwrap();
        let guarded = if words.starts_with(FORMULA) { format!("'{words}") } else { words };
        prop_assert_eq!(&parsed[1][at], &guarded);
    }
}
