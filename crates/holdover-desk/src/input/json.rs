//! JSON Lines: one object a capture.

use std::sync::Arc;

use holdover::bits::CaptureText;
use holdover::rank::{Doubt, Known, Observation};
use serde_json::{Map, Value};

use super::csv::too_many_columns;
use super::{Carried, Entry};

/// Keys that our own output has, and that say nothing new when it is read again.
const OUR_OUTPUT: [&str; 10] = [
    "source",
    "line",
    "length",
    "verdict",
    "candidates",
    "none_probability",
    "other_probability",
    "notes",
    "pulses",
    "findings",
];

/// Reads one object.
pub fn entry(text: &str) -> Result<Entry, String> {
    let object: Map<String, Value> = serde_json::from_str(text)
        .map_err(|error| format!("expected a JSON object: {error}: write one object a line"))?;
    let bits = match object.get("bits") {
        Some(Value::String(bits)) => bits,
        Some(_) => return Err("\"bits\" is no text: write it in quotes".to_owned()),
        None => return Err("the object has no \"bits\": add \"bits\":\"0110…\"".to_owned()),
    };
    let read = bits.parse::<CaptureText>().map_err(|error| error.to_string())?;
    let mut notes: Vec<String> = read.note.iter().map(ToString::to_string).collect();
    let plain = |value: &Value| match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    };
    let text = |key: &str| {
        object.get(key).and_then(plain).map(|t| t.trim().to_owned()).filter(|t| !t.is_empty())
    };
    let places = |value: Option<&Value>| -> Vec<usize> {
        let list = value.and_then(Value::as_array).into_iter().flatten();
        list.filter_map(Value::as_u64).map(|place| place as usize).collect()
    };
    let mut doubt = Doubt::default();
    match object.get("unsure") {
        None | Some(Value::Null | Value::Bool(false)) => {}
        Some(Value::Object(map)) => {
            doubt.missing = places(map.get("missing"));
            doubt.suspect = places(map.get("suspect"));
        }
        Some(Value::Array(list)) => doubt.somewhere = !list.is_empty(),
        Some(_) => doubt.somewhere = true,
    }
    notes.extend(super::doubt_note(&doubt));
    let known = Known { site: text("site"), card: text("card"), printed: text("printed"), doubt };
    let (mut headings, mut cells) = (Vec::new(), Vec::new());
    let mut carry = |key: &str, value: &Value| {
        if let Some(cell) = plain(value) {
            headings.push(key.to_owned());
            cells.push(cell);
        }
    };
    for (key, value) in &object {
        match value {
            // What an earlier reading carried through is carried on.
            Value::Object(inner) if key == "carried" => {
                inner.iter().for_each(|(key, value)| carry(key, value));
            }
            _ if key == "bits" || key == "unsure" || OUR_OUTPUT.contains(&key.as_str()) => {}
            value => carry(key, value),
        }
    }
    too_many_columns(headings.len()).map_or(Ok(()), Err)?;
    Ok(Entry {
        observation: Observation {
            capture: read.capture,
            reader: text("reader").unwrap_or_default(),
            known,
        },
        state: ["state", "status"].into_iter().find_map(&text),
        notes,
        carried: Carried { headings: Arc::new(headings), cells },
    })
}
