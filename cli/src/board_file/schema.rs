//! The table of what belongs where -> a JSON Schema (draft 2020-12) for editors.
//!
//! It sees what the table sees: keys, types, bounds, words. What hangs on other places (a designator twice, a photo that is not there)
//! is found by reading the file.

use serde_json::{Map, Value, json};

use super::forms;
use super::shape::{BOARD, Key, Kind};

/// Dates and stretches of them, as far as a pattern can tell.
const DATE: &str = r"^\s*\d{4}(-(\d{2}(-\d{2})?|W\d{2}(-\d)?|Q\d))?(\.\.\d{4}(-(\d{2}(-\d{2})?|W\d{2}(-\d)?|Q\d))?)?\s*$";

/// The schema.
pub(crate) fn schema() -> Value {
    let mut root = of(&BOARD, true);
    let mut schema = Map::new();
    schema.insert(
        "$schema".to_owned(),
        "https://json-schema.org/draft/2020-12/schema".into(),
    );
    schema.insert("title".to_owned(), "Board file of etchlore".into());
    if let Some(root) = root.as_object_mut() {
        schema.append(root);
    }
    Value::Object(schema)
}

fn of(kind: &Kind, required: bool) -> Value {
    // A key without a value says nothing.
    let typed = |types: &[&str]| -> Value {
        let mut types = types.to_vec();
        if !required {
            types.push("null");
        }
        json!(types)
    };
    match kind {
        // As typed: to an editor `104` is a number, here it is a text.
        Kind::Text if required => {
            json!({"type": typed(&["string", "number", "boolean"]), "minLength": 1})
        }
        Kind::Text => json!({"type": typed(&["string", "number", "boolean"])}),
        Kind::Date => json!({"type": typed(&["string", "integer"]), "pattern": DATE}),
        Kind::Count(from, to) => {
            json!({"type": typed(&["integer"]), "minimum": from, "maximum": to})
        }
        Kind::Percent => json!({"type": typed(&["number"]), "minimum": 0, "maximum": 100}),
        Kind::Word(words) => {
            let mut all: Vec<Value> = words.all().into_iter().map(Value::from).collect();
            if !required {
                all.push(Value::Null);
            }
            json!({ "enum": all })
        }
        Kind::List(item, most) => {
            json!({"type": typed(&["array"]), "items": of(item, true), "maxItems": most})
        }
        Kind::Each(item, most) => {
            json!({"anyOf": [of(item, required), {"type": "array", "items": of(item, true), "maxItems": most}]})
        }
        Kind::Map(keys) => {
            let properties: Map<String, Value> = keys.iter().map(property).collect();
            let mut object = json!({
                "type": typed(&["object"]),
                "properties": properties,
                "additionalProperties": false,
            });
            let required: Vec<&str> = keys
                .iter()
                .filter(|key| key.required)
                .map(|key| key.name)
                .collect();
            if !required.is_empty() {
                object["required"] = json!(required);
            }
            let form = |word: &str| keys.iter().any(|key| key.name == word);
            if forms().all(|(word, _)| form(word)) {
                let one: Vec<Value> = forms()
                    .map(|(word, _)| json!({"required": [word]}))
                    .collect();
                object["oneOf"] = Value::Array(one);
            }
            object
        }
    }
}

fn property(key: &Key) -> (String, Value) {
    let mut value = of(&key.kind, key.required);
    value["description"] = key.what.into();
    (key.name.to_owned(), value)
}
