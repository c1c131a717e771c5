//! Values for the answers, by the name of the slot, so that a new answer has them too.

use super::{LONGEST_FIELD, LONGEST_SENDER, SENDER, day};
use crate::wording::answers::Slots;
use crate::wording::dates;
use furrowbell_config::people::Language;
use minijinja::Value;
use std::collections::BTreeMap;

/// What every slot of an answer may hold, ordinary or as wide as can be.
pub fn answer_values(language: Language, widest: bool) -> BTreeMap<String, Value> {
    let slots = serde_json::to_value(Slots::default()).unwrap_or_default();
    let Some(slots) = slots.as_object() else { return BTreeMap::new() };
    let value = |(name, empty): (&String, &serde_json::Value)| {
        let value = match empty {
            serde_json::Value::Bool(_) => Value::from(true),
            serde_json::Value::Number(_) => Value::from(3),
            _ => Value::from(text(name, language, widest)),
        };
        (name.clone(), value)
    };
    slots.iter().map(value).collect()
}

fn text(slot: &str, language: Language, widest: bool) -> String {
    let english = language == Language::English;
    let either = |ordinary: &str, wide: &str| if widest { wide } else { ordinary }.to_owned();
    match slot {
        "sender" => either(SENDER, LONGEST_SENDER),
        "fields" if widest => LONGEST_FIELD.to_owned(),
        "fields" if english => "North 80 and Creek 40".to_owned(),
        "fields" => "North 80 y Creek 40".to_owned(),
        "date" => dates::day(language, day(if widest { 127 } else { -1 })),
        "inches" => either("0.45", "11.94"),
        "ppm" => either("18", "99.75"),
        "stage" => either("V3", "V12"),
        "pounds" => either("110", "333"),
        "topic" if english => either("pre needs rain", "cold after planting"),
        "topic" => either("falta lluvia", "pérdida de nitrógeno"),
        "name" => either("Ray Holt", "Bartholomew Featherstone"),
        "passes" | "before" if english => "PRE DONE, POST DONE".to_owned(),
        "passes" | "before" => "PRE LISTO, POST LISTO".to_owned(),
        "last" if english => "HOED".to_owned(),
        "last" => "RASTREADO".to_owned(),
        "reason" => either(
            "no rain in 5 days",
            "0.7 in rain in 112 days, needs 0.75 in (cloransulam-methyl)",
        ),
        "contact" => either("+15155550142", "office@prairie-field-desk.example"),
        other => other.to_owned(),
    }
}
