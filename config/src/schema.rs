//! JSON Schema of the book, and the small readers that serde needs.

use chrono::NaiveTime;
use furrowbell_engine::thresholds::SPECS;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer};

/// Reads `HH:MM`.
pub(crate) fn hour_minute<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<NaiveTime, D::Error> {
    let text = String::deserialize(deserializer)?;
    NaiveTime::parse_from_str(&text, "%H:%M").map_err(serde::de::Error::custom)
}

/// Stands for the thresholds in the schema; every row comes from the engine's own declaration.
#[derive(Debug)]
pub struct OverridesSchema;

impl JsonSchema for OverridesSchema {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Thresholds".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let properties: serde_json::Map<_, _> = SPECS
            .iter()
            .map(|spec| {
                let row = serde_json::json!({
                    "type": "number",
                    "minimum": spec.min,
                    "maximum": spec.max,
                    "default": spec.default,
                    "description": spec.meaning.trim(),
                });
                (spec.key.to_owned(), row)
            })
            .collect();
        json_schema!({
            "type": "object",
            "properties": properties,
            "additionalProperties": false,
        })
    }
}
