//! Checks a file's shape against its schema and says every fault in plain words.

use crate::document::{Document, End, escape};
use crate::faults::{Fault, Notes};
use crate::schema;
use jsonschema::error::{TypeKind, ValidationErrorKind as Kind};
use jsonschema::{ValidationError, Validator};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::path::Path;

/// The shape one kind of file must have.
#[derive(Debug)]
pub(crate) struct Shape {
    schema: Value,
    validator: Validator,
}

impl Shape {
    /// The shape of the file that `T` is read from.
    pub(crate) fn of<T: JsonSchema>() -> Result<Self, ValidationError<'static>> {
        let schema = schema::of::<T>();
        let validator = jsonschema::options()
            .with_format(schema::ZONE_FORMAT, schema::is_zone)
            .with_format(schema::SOCKET_FORMAT, schema::is_socket)
            .should_validate_formats(true)
            .build(&schema)?;
        Ok(Self { schema, validator })
    }

    /// Everything that is wrong with the shape of a value.
    pub(crate) fn complaints(&self, json: &Value) -> Vec<Complaint> {
        let mut complaints = Vec::new();
        for error in self.validator.iter_errors(json) {
            self.describe(&error, &mut complaints);
        }
        complaints
    }

    fn describe(&self, error: &ValidationError<'_>, out: &mut Vec<Complaint>) {
        let pointer = error.instance_path().as_str();
        let node = self.node(error);
        let said = |found: &str, wanted: &str| {
            let message = format!("{}: found {found}, want {wanted}", key_of(pointer));
            Complaint { pointer: pointer.to_owned(), end: End::Value, message }
        };
        match error.kind() {
            Kind::AdditionalProperties { unexpected } => {
                let known = property_names(node);
                out.extend(unexpected.iter().map(|key| unknown_key(pointer, key, &known)));
            }
            Kind::Required { property } => {
                let key = property.as_str().unwrap_or_default();
                let message = match node["properties"][key]["description"].as_str() {
                    Some(meaning) => format!("{key}: missing ({})", clause(meaning)),
                    None => format!("{key}: missing"),
                };
                out.push(Complaint {
                    pointer: format!("{pointer}/{key}"),
                    end: End::Value,
                    message,
                });
            }
            Kind::OneOfNotValid { context } | Kind::AnyOf { context } => {
                match words_of(&node["oneOf"]) {
                    Some(words) => out.push(said(&found(error, node), &word_wanted(error, &words))),
                    None => self.nearest_branch(error, context, out),
                }
            }
            Kind::Enum { options } => {
                let words = words_of(options).unwrap_or_default();
                out.push(said(&found(error, node), &word_wanted(error, &words)));
            }
            Kind::Type { kind } => out.push(said(kind_of(error.instance()), &wanted_type(kind))),
            _ => out.push(said(&found(error, node), &wanted(node))),
        }
    }

    /// A table may have one of several forms: speaks of the form it is nearest to.
    fn nearest_branch(
        &self,
        error: &ValidationError<'_>,
        context: &[Vec<ValidationError<'static>>],
        out: &mut Vec<Complaint>,
    ) {
        let pointer = error.instance_path().as_str();
        let complaint = |pointer: String, message| Complaint { pointer, end: End::Value, message };
        let kinds: Vec<String> = context.iter().filter_map(|branch| other_kind(branch)).collect();
        if kinds.len() == context.len() {
            let found = error.instance().get("kind").map_or("no kind".to_owned(), show);
            let message = format!("kind: found {found}, want {}", choice(&kinds));
            out.push(complaint(format!("{pointer}/kind"), message));
            return;
        }
        let fits_none = |branch: &Vec<ValidationError<'_>>| {
            branch.iter().any(|inner| {
                inner.instance_path() == error.instance_path()
                    && matches!(inner.kind(), Kind::Required { .. } | Kind::Type { .. })
            })
        };
        if kinds.is_empty() && context.iter().all(fits_none) {
            let keys = choice(&first_keys(self.node(error)));
            let message = format!("{}: want a table with {keys}", key_of(pointer));
            out.push(complaint(pointer.to_owned(), message));
            return;
        }
        let nearest = context
            .iter()
            .filter(|branch| !branch.is_empty())
            .min_by_key(|branch| (other_kind(branch).is_some(), branch.len()));
        for error in nearest.into_iter().flatten() {
            self.describe(error, out);
        }
    }

    /// The schema that the failed keyword stands in.
    fn node(&self, error: &ValidationError<'_>) -> &Value {
        let path = error.schema_path().as_str();
        let holder = path.rsplit_once('/').map_or("", |(holder, _)| holder);
        self.schema.pointer(holder).unwrap_or(&Value::Null)
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
        None => format!("{key}: unknown key; known here are {}", known.join(", ")),
    };
    Complaint { pointer: format!("{pointer}/{}", escape(key)), end: End::Key, message }
}

/// The `kind` a branch wants, when the table is of another kind.
fn other_kind(branch: &[ValidationError<'static>]) -> Option<String> {
    branch.iter().find_map(|error| match error.kind() {
        Kind::Constant { expected_value } => expected_value.as_str().map(str::to_owned),
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
pub(crate) fn nearest_word<'w>(word: &str, known: &[&'w str]) -> Option<&'w str> {
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

fn found(error: &ValidationError<'_>, node: &Value) -> String {
    match error.kind() {
        _ if node[schema::PRIVATE] == true => "text of another form".to_owned(),
        Kind::MinItems { .. } => "an empty list".to_owned(),
        Kind::UniqueItems => "the same item twice".to_owned(),
        _ => show(error.instance()),
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

fn wanted_type(kind: &TypeKind) -> String {
    let name = |name: &str| match name {
        "integer" => "a whole number",
        "number" => "a number",
        "string" => "text in quotes",
        "boolean" => "true or false",
        "array" => "a list",
        _ => "a table",
    };
    match kind {
        TypeKind::Single(only) => name(&only.to_string()).to_owned(),
        TypeKind::Multiple(set) => {
            let names: Vec<_> = set.iter().map(|kind| name(&kind.to_string())).collect();
            names.join(" or ")
        }
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
fn word_wanted(error: &ValidationError<'_>, words: &[String]) -> String {
    const FEW: usize = 6;
    let known: Vec<&str> = words.iter().map(String::as_str).collect();
    let near = error.instance().as_str().and_then(|word| nearest_word(word, &known));
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
