//! What a file of a ruleset may hold, as a JSON Schema for editors and for programs that write one.

use serde_json::{Map, Value, json};

use crate::ruleset::schema::{FILE, Section, Shape, held};
use crate::ruleset::{Confidence, Severity, Stage};

/// The schema (draft 2020-12): the first document of a file, or its second with the cases.
#[must_use]
pub fn json() -> Value {
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A file of an Amperule ruleset",
        "anyOf": [map(&FILE), {
            "type": "object",
            "additionalProperties": false,
            "properties": {"case-base": {"type": "string"}, "cases": {"type": ["object", "null"]}},
        }],
    })
}

fn map(shape: &Shape) -> Value {
    let value = |key: &'static str| match (held(shape, key), key) {
        // A rule by its name alone, or several.
        (Some(cause), "follows-from") => {
            let one = json!({"anyOf": [{"type": "string"}, map(cause.entry)]});
            json!({"anyOf": [one, {"type": "array", "items": one}]})
        }
        (Some(section), _) => entries(section),
        (None, "stage") => json!({"enum": Stage::ALL.map(Stage::word)}),
        (None, "severity") => json!({"enum": Severity::ALL.map(Severity::word)}),
        (None, "confidence") => json!({"enum": Confidence::ALL.map(Confidence::word)}),
        (None, _) => json!(true),
    };
    let properties: Map<String, Value> = shape.keys().map(|k| (k.to_owned(), value(k))).collect();
    json!({"type": "object", "additionalProperties": false, "properties": properties})
}

fn entries(of: &Section) -> Value {
    let entry = map(of.entry);
    if of.by_name {
        json!({"type": ["object", "null"], "additionalProperties": entry})
    } else {
        json!({"type": ["array", "null"], "items": entry})
    }
}
