//! JSON Schema of the book, and the small readers that serde needs.

use chrono::NaiveTime;
use chrono_tz::Tz;
use furrowbell_engine::plan::{Inhibitor, NitrogenSource, Placement};
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;
use furrowbell_engine::site::Texture;
use furrowbell_engine::thresholds::SPECS;
use furrowbell_engine::units::{Acres, Latitude, Longitude, PoundsPerAcre};
use schemars::generate::SchemaSettings;
use schemars::transform::{Transform, transform_subschemas};
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::{Value, json};
use std::borrow::Cow;

/// Marks a value that no message may repeat.
pub(crate) const PRIVATE: &str = "x-private";
/// Format of an IANA time zone name.
pub(crate) const ZONE_FORMAT: &str = "iana-time-zone";
/// Format of an IP address with a port.
pub(crate) const SOCKET_FORMAT: &str = "ip-address-and-port";
/// A stage as [`furrowbell_engine::clocks::Stage`] reads it, planted left out.
const STAGE: &str = "^(VE|VC|V([1-9]|1[0-9]|20)|VT|R[1-8])$";
/// `HH:MM` on a 24-hour clock.
pub(crate) const HOUR_MINUTE: &str = "^([01][0-9]|2[0-3]):[0-5][0-9]$";

/// The schema of each kind of file in a book, under the name it is published by.
pub fn schemas() -> Vec<(&'static str, Value)> {
    vec![
        ("service", of::<crate::service::Service>()),
        ("people", of::<crate::people::PeopleFile>()),
        ("farm", of::<crate::farm_file::FarmFile>()),
        ("labels", of::<crate::labels::LabelsFile>()),
        ("replies", of::<crate::replies::RepliesFile>()),
    ]
}

/// The schema of one kind of file.
pub(crate) fn of<T: JsonSchema>() -> Value {
    let settings = SchemaSettings::draft2020_12().for_deserialize().with_transform(WithoutNull);
    settings.into_generator().into_root_schema_for::<T>().to_value()
}

/// Takes null out of every schema: TOML has none, an absent key says it.
#[derive(Debug, Clone)]
struct WithoutNull;

impl Transform for WithoutNull {
    fn transform(&mut self, schema: &mut Schema) {
        if schema.get("default").is_some_and(Value::is_null) {
            schema.remove("default");
        }
        if let Some(Value::Array(types)) = schema.get_mut("type") {
            types.retain(|name| name != "null");
            if let [only] = types.as_slice() {
                let only = only.clone();
                schema.insert("type".to_owned(), only);
            }
        }
        if let Some(Value::Array(words)) = schema.get_mut("enum") {
            words.retain(|word| !word.is_null());
        }
        if let Some(Value::Array(branches)) = schema.get_mut("anyOf") {
            branches.retain(|branch| branch.get("type").is_none_or(|name| name != "null"));
            if let [Value::Object(only)] = branches.as_slice() {
                let only = only.clone();
                schema.remove("anyOf");
                for (key, value) in only {
                    schema.ensure_object().entry(key).or_insert(value);
                }
            }
        }
        transform_subschemas(self, schema);
    }
}

/// Reads `HH:MM`.
pub(crate) fn hour_minute<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<NaiveTime, D::Error> {
    let text = String::deserialize(deserializer)?;
    NaiveTime::parse_from_str(&text, "%H:%M").map_err(serde::de::Error::custom)
}

/// Declares types that stand in the schema for types of other crates.
macro_rules! stand_ins {
    ($($(#[$doc:meta])* $name:ident = $schema:expr;)+) => {
        $($(#[$doc])*
        #[derive(Debug)]
        pub(crate) struct $name;

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }

            fn inline_schema() -> bool {
                true
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                let schema: Value = $schema;
                Schema::try_from(schema).unwrap_or_default()
            }
        })+
    };
}

stand_ins! {
    /// An IANA time zone.
    Zone = json!({ "type": "string", "format": ZONE_FORMAT });
    /// An IP address with a port.
    Socket = json!({ "type": "string", "format": SOCKET_FORMAT });
    /// A soil texture class.
    TextureName = words(&Texture::ALL);
    /// A herbicide ingredient.
    IngredientName = words(Ingredient::ALL);
    /// A weed.
    WeedName = words(Weed::ALL);
    /// Number of a site-of-action group.
    GroupNumber = json!({ "type": "integer", "minimum": 1, "maximum": 34 });
    /// A crop stage.
    StageName = json!({ "type": "string", "pattern": STAGE });
    /// A form of nitrogen.
    NitrogenSourceName = words(&NitrogenSource::ALL);
    /// Where a fertiliser lies.
    PlacementName = words(&Placement::ALL);
    /// What holds a fertiliser back.
    InhibitorName = words(&Inhibitor::ALL);
    /// Degrees of latitude.
    LatitudeDegrees = number(Latitude::MIN, Latitude::MAX);
    /// Degrees of longitude.
    LongitudeDegrees = number(Longitude::MIN, Longitude::MAX);
    /// Size of a field.
    FieldAcres = number(Acres::MIN, Acres::MAX);
    /// Nitrogen an acre.
    NitrogenPounds = number(PoundsPerAcre::MIN, PoundsPerAcre::MAX);
    /// An EPA registration number.
    EpaNumberText = json!({ "type": "string", "pattern": crate::products::EPA_NUMBER });
    /// Thresholds; every row comes from the engine's own declaration.
    OverridesSchema = thresholds();
}

fn words<T: Serialize>(all: &[T]) -> Value {
    json!({ "type": "string", "enum": all })
}

fn number(min: f64, max: f64) -> Value {
    json!({ "type": "number", "minimum": min, "maximum": max })
}

fn thresholds() -> Value {
    let rows = SPECS.iter().map(|spec| {
        let mut row = number(spec.min, spec.max);
        row["default"] = spec.default.into();
        row["description"] = spec.meaning.trim().into();
        (spec.key.to_owned(), row)
    });
    let properties: serde_json::Map<_, _> = rows.collect();
    json!({ "type": "object", "properties": properties, "additionalProperties": false })
}

/// Whether a text is the name of an IANA time zone.
pub(crate) fn is_zone(text: &str) -> bool {
    text.parse::<Tz>().is_ok()
}

/// Whether a text is an IP address with a port.
pub(crate) fn is_socket(text: &str) -> bool {
    text.parse::<std::net::SocketAddr>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    /// Set `UPDATE_SCHEMA=1` to write the files anew.
    #[test]
    fn the_published_schemas_are_the_generated_ones() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("schema");
        for (name, schema) in schemas() {
            let path = folder.join(format!("{name}.json"));
            let generated = format!("{}\n", serde_json::to_string_pretty(&schema).unwrap());
            if std::env::var_os("UPDATE_SCHEMA").is_some() {
                std::fs::write(&path, &generated).unwrap();
            }
            let published = std::fs::read_to_string(&path).unwrap();
            assert!(published == generated, "{} is stale", path.display());
        }
    }

    #[test]
    fn no_schema_speaks_of_null() {
        for (name, schema) in schemas() {
            assert!(!schema.to_string().contains("null"), "{name}");
        }
    }
}
