//! Checks a file's shape against its schema and says every fault in plain words.

use crate::document::{Document, End, escape};
use crate::faults::{Fault, Notes};
use crate::schema;
use crate::validate::{BrokenSchema, Kind, Mismatch, Validator};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::path::Path;

/// The shape one kind of file must have.
#[derive(Debug)]
pub(crate) struct Shape(Validator);

impl Shape {
    /// The shape of the file that `T` is read from.
    pub(crate) fn of<T: JsonSchema>() -> Result<Self, BrokenSchema> {
        Validator::new(schema::of::<T>()).map(Self)
    }

    /// Everything that is wrong with the shape of a value.
    pub(crate) fn complaints(&self, json: &Value) -> Vec<Complaint> {
        let mut complaints = Vec::new();
        for mismatch in self.0.mismatches(json) {
            describe(&mismatch, &mut complaints);
        }
        complaints
    }
}

fn describe(mismatch: &Mismatch<'_>, out: &mut Vec<Complaint>) {
    let Mismatch { pointer, value, node, kind } = mismatch;
    let said = |found: &str, wanted: &str| {
        let message = format!("{}: found {found}, want {wanted}", key_of(pointer));
        Complaint { pointer: pointer.clone(), end: End::Value, message }
    };
    match kind {
        Kind::UnknownKeys(keys) => {
            let known = property_names(node);
            out.extend(keys.iter().map(|key| unknown_key(pointer, key, &known)));
        }
        Kind::Required(key) => {
            let message = match node["properties"][key]["description"].as_str() {
                Some(meaning) => format!("{key}: missing ({})", clause(meaning)),
                None => format!("{key}: missing"),
            };
            out.push(Complaint { pointer: format!("{pointer}/{key}"), end: End::Value, message });
        }
        Kind::NoForm(forms) => match words_of(&node["oneOf"]) {
            Some(words) => out.push(said(&found(mismatch), &word_wanted(value, &words))),
            None => nearest_form(mismatch, forms, out),
        },
        Kind::Enum => {
            let words = words_of(&node["enum"]).unwrap_or_default();
            out.push(said(&found(mismatch), &word_wanted(value, &words)));
        }
        Kind::Type(name) => out.push(said(kind_of(value), wanted_type(name))),
        _ => out.push(said(&found(mismatch), &wanted(node))),
    }
}

/// A table may have one of several forms: speaks of the form it is nearest to.
fn nearest_form(mismatch: &Mismatch<'_>, forms: &[Vec<Mismatch<'_>>], out: &mut Vec<Complaint>) {
    let Mismatch { pointer, value, node, .. } = mismatch;
    let complaint = |pointer: String, message| Complaint { pointer, end: End::Value, message };
    let kinds: Vec<String> = forms.iter().filter_map(|form| other_kind(form)).collect();
    if kinds.len() == forms.len() {
        let found = value.get("kind").map_or("no kind".to_owned(), show);
        let message = format!("kind: found {found}, want {}", choice(&kinds));
        out.push(complaint(format!("{pointer}/kind"), message));
        return;
    }
    let fits_none = |form: &Vec<Mismatch<'_>>| {
        form.iter().any(|inner| {
            inner.pointer == *pointer && matches!(inner.kind, Kind::Required(_) | Kind::Type(_))
        })
    };
    if kinds.is_empty() && forms.iter().all(fits_none) {
        let keys = choice(&first_keys(node));
        let message = format!("{}: want a table with {keys}", key_of(pointer));
        out.push(complaint(pointer.clone(), message));
        return;
    }
    let nearest = forms.iter().min_by_key(|form| (other_kind(form).is_some(), form.len()));
    for mismatch in nearest.into_iter().flatten() {
        describe(mismatch, out);
    }
}

/// One thing that is wrong with the shape of a value.
#[derive(Debug)]
pub(crate) struct Complaint {
    pub(crate) pointer: String,
    pub(crate) end: End,
    pub(crate) message: String,
}

impl Complaint {
    /// The last step of its pointer.
    pub(crate) fn key(&self) -> &str {
        self.pointer.rsplit('/').next().unwrap_or_default()
    }
}

/// Reads one file; all its faults go to the notes.
pub(crate) fn read<T: DeserializeOwned>(
    shape: &Shape,
    file: &Path,
    notes: &mut Notes,
) -> Option<(Document, T)> {
    match try_read(shape, file) {
        Ok(read) => Some(read),
        Err(faults) => {
            notes.faults.extend(faults);
            None
        }
    }
}

fn try_read<T: DeserializeOwned>(shape: &Shape, file: &Path) -> Result<(Document, T), Vec<Fault>> {
    let text = std::fs::read_to_string(file)
        .map_err(|error| vec![Fault::whole_file(file, format!("cannot be read: {error}"))])?;
    let (document, json) = Document::parse(file, text)?;
    let complaints = shape.complaints(&json);
    if !complaints.is_empty() {
        let fault =
            |Complaint { pointer, end, message }| document.fault_at_end(&pointer, end, message);
        return Err(complaints.into_iter().map(fault).collect());
    }
    match serde_json::from_value(json) {
        Ok(value) => Ok((document, value)),
        Err(error) => Err(vec![document.fault("", format!("cannot be read: {error}"))]),
    }
}

fn unknown_key(pointer: &str, key: &str, known: &[&str]) -> Complaint {
    let message = match nearest_word(key, known) {
        Some(near) => format!("{key}: unknown key; did you mean {near}?"),
        None if known.is_empty() => format!("{key}: unknown key; this table has none"),
        None => format!("{key}: unknown key; known here are {}", known.join(", ")),
    };
    Complaint { pointer: format!("{pointer}/{}", escape(key)), end: End::Key, message }
}

/// The `kind` a form wants, when the table is of another kind.
fn other_kind(form: &[Mismatch<'_>]) -> Option<String> {
    form.iter().find_map(|mismatch| match mismatch.kind {
        Kind::Constant(wanted) => wanted.as_str().map(str::to_owned),
        _ => None,
    })
}

/// The first needed key of every form a table may have, each once.
fn first_keys(node: &Value) -> Vec<String> {
    let forms = node["oneOf"].as_array().into_iter().flatten();
    let keys = forms.filter_map(|form| form["required"][0].as_str().map(str::to_owned));
    let mut keys: Vec<String> = keys.collect();
    keys.dedup();
    keys
}

/// The first sentence of a description, to go on within another one.
fn clause(text: &str) -> String {
    let sentence = text.split_once(". ").map_or(text, |(first, _)| first).trim_end_matches('.');
    let mut letters = sentence.chars();
    let (first, second) = (letters.next(), letters.next());
    match (first, second) {
        (Some(first), Some(second)) if second.is_lowercase() || second == ' ' => {
            format!("{}{}", first.to_lowercase(), &sentence[first.len_utf8()..])
        }
        _ => sentence.to_owned(),
    }
}

/// The word that a slip of the keyboard most likely meant.
pub fn nearest_word<'w>(word: &str, known: &[&'w str]) -> Option<&'w str> {
    const LIKENESS: f64 = 0.8;
    let scored = known.iter().map(|other| (strsim::jaro_winkler(word, other), *other));
    let (score, nearest) = scored.max_by(|(a, _), (b, _)| a.total_cmp(b))?;
    (score >= LIKENESS).then_some(nearest)
}

fn property_names(node: &Value) -> Vec<&str> {
    node["properties"].as_object().into_iter().flatten().map(|(name, _)| name.as_str()).collect()
}

/// The last named step of a pointer, with the number of the item where it names one.
fn key_of(pointer: &str) -> String {
    let mut steps = pointer.rsplit('/');
    let last = steps.next().unwrap_or_default();
    match (last.parse::<usize>(), steps.next()) {
        (Ok(at), Some(holder)) => format!("{holder}, item {}", at + 1),
        _ if last.is_empty() => "file".to_owned(),
        _ => last.to_owned(),
    }
}

fn found(mismatch: &Mismatch<'_>) -> String {
    match mismatch.kind {
        _ if mismatch.node[schema::PRIVATE] == true => "text of another form".to_owned(),
        Kind::TooFewItems => "an empty list".to_owned(),
        Kind::RepeatedItem => "the same item twice".to_owned(),
        _ => show(mismatch.value),
    }
}

fn show(value: &Value) -> String {
    match value {
        Value::Array(items) => format!("a list of {}", items.len()),
        Value::Object(_) => "a table".to_owned(),
        plain => plain.to_string(),
    }
}

fn kind_of(value: &Value) -> &'static str {
    match value {
        Value::Null => "nothing",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "text",
        Value::Array(_) => "a list",
        Value::Object(_) => "a table",
    }
}

fn wanted_type(name: &str) -> &'static str {
    match name {
        "integer" => "a whole number",
        "number" => "a number",
        "string" => "text in quotes",
        "boolean" => "true or false",
        "array" => "a list",
        _ => "a table",
    }
}

/// What a schema node allows, in words.
fn wanted(node: &Value) -> String {
    match (node["minimum"].as_f64(), node["maximum"].as_f64()) {
        (Some(min), Some(max)) => return format!("{min} to {max}"),
        (Some(min), None) => return format!("{min} or more"),
        _ => {}
    }
    match (node["format"].as_str(), node["description"].as_str()) {
        (Some("date"), _) => "a date such as 2026-05-01".to_owned(),
        (Some("date-time"), _) => "a moment such as 2026-05-01T06:30:00-05:00".to_owned(),
        (Some(schema::ZONE_FORMAT), _) => "an IANA time zone such as America/Chicago".to_owned(),
        (Some(schema::SOCKET_FORMAT), _) => "an address such as 127.0.0.1:8470".to_owned(),
        _ if node["type"] == "array" && node["minItems"] == 1 => {
            "at least one item and none twice".to_owned()
        }
        _ if node["type"] == "array" => "each item once".to_owned(),
        (_, Some(description)) => clause(description),
        _ => "another value".to_owned(),
    }
}

/// The words of an `enum`, or of a `oneOf` in which each branch is one word.
fn words_of(list: &Value) -> Option<Vec<String>> {
    let word = |item: &Value| item.as_str().or_else(|| item["const"].as_str()).map(str::to_owned);
    list.as_array()?.iter().map(word).collect()
}

/// The words allowed; of many, only the one that was likely meant.
fn word_wanted(value: &Value, words: &[String]) -> String {
    const FEW: usize = 6;
    let known: Vec<&str> = words.iter().map(String::as_str).collect();
    let near = value.as_str().and_then(|word| nearest_word(word, &known));
    match near {
        Some(near) if words.len() > FEW => format!("perhaps {near} (one of {})", words.len()),
        _ => choice(words),
    }
}

fn choice(words: &[String]) -> String {
    match words {
        [] => "nothing".to_owned(),
        [only] => only.clone(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::service::Service;
    use serde_json::json;

    #[test]
    fn a_table_without_keys_refuses_each_key_by_name() {
        let shape = Shape::of::<Service>().unwrap();
        let complaints = shape.complaints(&json!({ "routes": { "console": { "colour": 1 } } }));
        let said = complaints.iter().find(|one| one.pointer == "/routes/console/colour").unwrap();
        assert_eq!(said.message, "colour: unknown key; this table has none");
    }
}
