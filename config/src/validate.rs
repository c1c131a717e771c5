//! Holds a value against a schema that `schema` generates, and finds every mismatch at once.
//!
//! Knows the keywords of these schemas and no others: a schema with another one is refused, so
//! nothing in it can go unchecked.

use crate::document::escape;
use crate::schema::{PRIVATE, SOCKET_FORMAT, ZONE_FORMAT, is_socket, is_zone};
use chrono::{DateTime, NaiveDate};
use regex_lite::Regex;
use serde_json::Value;
use std::collections::BTreeMap;

/// Keywords that say something to people and ask nothing of a value.
const REMARKS: [&str; 5] = ["$schema", "default", "description", "title", PRIVATE];
/// Rules that ask one thing of one value.
const LIMITS: [&str; 7] =
    ["enum", "maxLength", "maximum", "minItems", "minLength", "minimum", "uniqueItems"];
const TYPES: [&str; 6] = ["array", "boolean", "integer", "number", "object", "string"];
/// Formats that are checked, then those of numbers, whose bounds stand beside them.
const FORMATS: [&str; 7] =
    ["date", "date-time", ZONE_FORMAT, SOCKET_FORMAT, "double", "uint16", "uint32"];
/// White space beyond ASCII, which the `\s` of JSON Schema takes in and that of `regex-lite` leaves out.
const WIDE_SPACE: &str =
    r"\x{85}\x{A0}\x{1680}\x{2000}-\x{200A}\x{2028}\x{2029}\x{202F}\x{205F}\x{3000}";

/// Why a schema cannot be used.
#[derive(Debug, thiserror::Error)]
pub(crate) enum BrokenSchema {
    /// A keyword, or a use of one, that the walk does not know.
    #[error("{keyword} {rule} is not understood")]
    Unknown {
        /// The keyword.
        keyword: String,
        /// What stands at it.
        rule: Value,
    },
    /// A pattern that is no regular expression.
    #[error("pattern {pattern}: {error}")]
    Pattern {
        /// The pattern.
        pattern: String,
        /// What is wrong with it.
        error: regex_lite::Error,
    },
}

/// How a value departs from one keyword.
#[derive(Debug)]
pub(crate) enum Kind<'a> {
    /// Not of the type this names.
    Type(&'a str),
    /// Not the one value allowed.
    Constant(&'a Value),
    /// None of the words allowed.
    Enum,
    /// A needed key is absent.
    Required(&'a str),
    /// Keys that have no place there.
    UnknownKeys(Vec<&'a str>),
    /// None of the forms allowed, with the mismatches of each.
    NoForm(Vec<Vec<Mismatch<'a>>>),
    /// Fewer items than needed.
    TooFewItems,
    /// An item stands twice.
    RepeatedItem,
    /// Outside its range, or not of its length, format or pattern.
    Other,
}

/// One departure of a value from its schema.
#[derive(Debug)]
pub(crate) struct Mismatch<'a> {
    /// JSON pointer of the value.
    pub(crate) pointer: String,
    /// The value itself.
    pub(crate) value: &'a Value,
    /// The schema that holds the failed keyword.
    pub(crate) node: &'a Value,
    /// What the keyword found.
    pub(crate) kind: Kind<'a>,
}

/// A schema that is understood in full.
#[derive(Debug)]
pub(crate) struct Validator {
    schema: Value,
    patterns: BTreeMap<String, Regex>,
}

impl Validator {
    pub(crate) fn new(schema: Value) -> Result<Self, BrokenSchema> {
        let mut patterns = BTreeMap::new();
        understand(&schema, &schema, &mut patterns)?;
        Ok(Self { schema, patterns })
    }

    /// Every departure of a value from the schema.
    pub(crate) fn mismatches<'a>(&'a self, value: &'a Value) -> Vec<Mismatch<'a>> {
        let mut found = Vec::new();
        self.check(&self.schema, value, "", &mut found);
        found
    }

    fn check<'a>(
        &'a self,
        node: &'a Value,
        value: &'a Value,
        pointer: &str,
        found: &mut Vec<Mismatch<'a>>,
    ) {
        for (keyword, rule) in node.as_object().into_iter().flatten() {
            let kind = match (keyword.as_str(), value) {
                ("$ref", _) => {
                    let target = target(&self.schema, rule).unwrap_or(&Value::Null);
                    self.check(target, value, pointer, found);
                    None
                }
                ("properties", Value::Object(table)) => {
                    for (key, inner) in rule.as_object().into_iter().flatten() {
                        if let Some(value) = table.get(key) {
                            self.check(inner, value, &step(pointer, key), found);
                        }
                    }
                    None
                }
                ("additionalProperties", Value::Object(table)) => {
                    let others = table.iter().filter(|(key, _)| node["properties"][key].is_null());
                    if rule == false {
                        let keys: Vec<_> = others.map(|(key, _)| key.as_str()).collect();
                        (!keys.is_empty()).then_some(Kind::UnknownKeys(keys))
                    } else {
                        for (key, value) in others {
                            self.check(rule, value, &step(pointer, key), found);
                        }
                        None
                    }
                }
                ("required", Value::Object(table)) => {
                    let keys = rule.as_array().into_iter().flatten().filter_map(Value::as_str);
                    found.extend(keys.filter(|key| !table.contains_key(*key)).map(|key| {
                        Mismatch {
                            pointer: pointer.to_owned(),
                            value,
                            node,
                            kind: Kind::Required(key),
                        }
                    }));
                    None
                }
                ("items", Value::Array(items)) => {
                    for (at, item) in items.iter().enumerate() {
                        self.check(rule, item, &format!("{pointer}/{at}"), found);
                    }
                    None
                }
                ("oneOf", _) => self.forms(rule, value, pointer),
                (keyword, _) => self.plain(keyword, rule, value),
            };
            found.extend(kind.map(|kind| Mismatch {
                pointer: pointer.to_owned(),
                value,
                node,
                kind,
            }));
        }
    }

    /// Just one form must fit.
    fn forms<'a>(&'a self, rule: &'a Value, value: &'a Value, pointer: &str) -> Option<Kind<'a>> {
        let form = |form| {
            let mut found = Vec::new();
            self.check(form, value, pointer, &mut found);
            found
        };
        let forms: Vec<_> = rule.as_array()?.iter().map(form).collect();
        match forms.iter().filter(|found| found.is_empty()).count() {
            0 => Some(Kind::NoForm(forms)),
            1 => None,
            _ => Some(Kind::Other),
        }
    }

    /// The keywords that look at one value only.
    fn plain<'a>(&self, keyword: &str, rule: &'a Value, value: &Value) -> Option<Kind<'a>> {
        let (fits, kind) = match (keyword, value) {
            ("type", _) => {
                let name = rule.as_str()?;
                (is_of_type(value, name), Kind::Type(name))
            }
            ("const", _) => (value == rule, Kind::Constant(rule)),
            ("enum", _) => (rule.as_array()?.contains(value), Kind::Enum),
            ("minimum", Value::Number(_)) => (value.as_f64() >= rule.as_f64(), Kind::Other),
            ("maximum", Value::Number(_)) => (value.as_f64() <= rule.as_f64(), Kind::Other),
            ("minLength", Value::String(text)) => (length(text) >= rule.as_u64(), Kind::Other),
            ("maxLength", Value::String(text)) => (length(text) <= rule.as_u64(), Kind::Other),
            ("pattern", Value::String(text)) => {
                (self.patterns.get(rule.as_str()?)?.is_match(text), Kind::Other)
            }
            ("format", Value::String(text)) => (is_of_format(text, rule.as_str()?), Kind::Other),
            ("minItems", Value::Array(items)) => {
                (u64::try_from(items.len()).ok() >= rule.as_u64(), Kind::TooFewItems)
            }
            ("uniqueItems", Value::Array(items)) => {
                let repeats = |(at, item)| items[..at].contains(item);
                (!items.iter().enumerate().any(repeats), Kind::RepeatedItem)
            }
            _ => return None,
        };
        (!fits).then_some(kind)
    }
}

/// Makes sure that every keyword of a schema, and of those inside it, is one the walk checks.
fn understand(
    root: &Value,
    node: &Value,
    patterns: &mut BTreeMap<String, Regex>,
) -> Result<(), BrokenSchema> {
    let unknown = |keyword: &str, rule: &Value| BrokenSchema::Unknown {
        keyword: keyword.to_owned(),
        rule: rule.clone(),
    };
    let keywords = node.as_object().ok_or_else(|| unknown("schema", node))?;
    for (keyword, rule) in keywords {
        let known = match (keyword.as_str(), rule) {
            ("$defs" | "properties" | "items", rule) => rule.is_object(),
            ("oneOf", rule) => rule.is_array(),
            ("additionalProperties", rule) => rule == false || rule.is_object(),
            ("$ref", rule) => target(root, rule).is_some(),
            ("type", Value::String(name)) => TYPES.contains(&name.as_str()),
            ("format", Value::String(name)) => FORMATS.contains(&name.as_str()),
            ("required", Value::Array(keys)) => keys.iter().all(Value::is_string),
            ("const" | "pattern", rule) => rule.is_string(),
            (other, _) => LIMITS.contains(&other) || REMARKS.contains(&other),
        };
        if !known {
            return Err(unknown(keyword, rule));
        }
        if let ("pattern", Some(pattern)) = (keyword.as_str(), rule.as_str()) {
            patterns.insert(pattern.to_owned(), compile(pattern)?);
        }
        for inner in inner_schemas(keyword, rule) {
            understand(root, inner, patterns)?;
        }
    }
    Ok(())
}

fn inner_schemas<'a>(keyword: &str, rule: &'a Value) -> Vec<&'a Value> {
    match (keyword, rule) {
        ("$defs" | "properties", Value::Object(named)) => named.values().collect(),
        ("oneOf", Value::Array(forms)) => forms.iter().collect(),
        ("items" | "additionalProperties", Value::Object(_)) => vec![rule],
        _ => Vec::new(),
    }
}

fn compile(pattern: &str) -> Result<Regex, BrokenSchema> {
    Regex::new(&pattern.replace(r"\s", &format!(r"\s{WIDE_SPACE}")))
        .map_err(|error| BrokenSchema::Pattern { pattern: pattern.to_owned(), error })
}

fn target<'a>(root: &'a Value, reference: &Value) -> Option<&'a Value> {
    root.pointer(reference.as_str()?.strip_prefix('#')?)
}

fn step(pointer: &str, key: &str) -> String {
    format!("{pointer}/{}", escape(key))
}

fn length(text: &str) -> Option<u64> {
    u64::try_from(text.chars().count()).ok()
}

fn is_of_type(value: &Value, name: &str) -> bool {
    match name {
        "array" => value.is_array(),
        "boolean" => value.is_boolean(),
        "integer" => value.as_f64().is_some_and(|number| number.fract() == 0.0),
        "number" => value.is_number(),
        "object" => value.is_object(),
        _ => value.is_string(),
    }
}

fn is_of_format(text: &str, name: &str) -> bool {
    match name {
        "date" => {
            text.len() == 10 && text.parse::<NaiveDate>().is_ok_and(|date| date.to_string() == text)
        }
        "date-time" => text.contains(['T', 't']) && DateTime::parse_from_rfc3339(text).is_ok(),
        ZONE_FORMAT => is_zone(text),
        SOCKET_FORMAT => is_socket(text),
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::schemas;
    use serde_json::json;

    #[test]
    fn every_keyword_of_the_book_is_checked() {
        for (name, schema) in schemas() {
            if let Err(error) = Validator::new(schema) {
                panic!("{name}: {error}");
            }
        }
    }

    #[test]
    fn an_unknown_keyword_is_refused_wherever_it_stands() {
        let odd = json!({ "type": "number", "multipleOf": 2 });
        for schema in [
            odd.clone(),
            json!({ "properties": { "a": odd } }),
            json!({ "$defs": { "A": odd } }),
            json!({ "items": odd }),
            json!({ "oneOf": [odd] }),
            json!({ "additionalProperties": odd }),
            json!({ "format": "ipv4" }),
            json!({ "type": ["string", "number"] }),
            json!({ "$ref": "#/$defs/Absent" }),
        ] {
            assert!(Validator::new(schema.clone()).is_err(), "{schema}");
        }
    }

    /// Draft 2020-12, Validation, sections 6.1 to 6.5 and 7.3; RFC 3339, section 5.6.
    #[test]
    fn a_limit_takes_its_own_bound_and_nothing_beyond() {
        for (schema, fits, breaks) in [
            (json!({ "type": "integer" }), json!(2.0), json!(2.5)),
            (json!({ "minimum": 1 }), json!(1), json!(0.99)),
            (json!({ "maximum": 4.9 }), json!(4.9), json!(5)),
            (json!({ "minLength": 1 }), json!("x"), json!("")),
            (json!({ "maxLength": 2 }), json!("ñé"), json!("abc")),
            (json!({ "minItems": 1 }), json!([0]), json!([])),
            (json!({ "uniqueItems": true }), json!(["a", "b"]), json!(["a", "b", "a"])),
            (json!({ "pattern": "^[^@\\s]+$" }), json!("ida"), json!("i\u{a0}da")),
            (json!({ "format": "date" }), json!("2024-02-29"), json!("2026-02-29")),
            (json!({ "format": "date" }), json!("2026-05-01"), json!("2026-5-1")),
            (
                json!({ "format": "date-time" }),
                json!("2026-05-01T06:30:00-05:00"),
                json!("2026-05-01 06:30:00-05:00"),
            ),
        ] {
            let validator = Validator::new(schema.clone()).unwrap();
            assert!(validator.mismatches(&fits).is_empty(), "{schema} takes {fits}");
            assert_eq!(validator.mismatches(&breaks).len(), 1, "{schema} refuses {breaks}");
        }
    }
}
