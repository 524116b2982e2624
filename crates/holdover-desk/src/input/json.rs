//! JSON Lines: one object a capture.

use std::sync::Arc;

use holdover::rank::{Doubt, Known};
use serde_json::{Map, Value};

use super::csv::too_many_columns;
use super::headings::{Column, column_of};
use super::words::Words;
use super::{Carried, Entry, pasted};

/// Keys that our own output has, and that say nothing new when it is read again.
const OUR_OUTPUT: [&str; 11] = [
    "given",
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

/// Objects inside one object that are read at most (bounds memory).
const INSIDE_MOST: usize = 1 << 16;

/// Reads one object, or those that a list in it holds.
pub fn entries(text: &str, words: &Words) -> Vec<Result<Entry, String>> {
    match object(text) {
        Ok(object) => {
            inside(object, words).into_iter().map(|object| entry(&object, words)).collect()
        }
        Err(why) => vec![Err(why)],
    }
}

/// The objects that hold captures: the object, or those of a list under one of its
/// keys, or the one under a key, each with the other keys beside it.
fn inside(object: Map<String, Value>, words: &Words) -> Vec<Map<String, Value>> {
    if bits(&object, words).is_ok() || object.contains_key("layout") {
        return vec![object];
    }
    let holds = |value: &Value| value.as_object().is_some_and(|inner| bits(inner, words).is_ok());
    let of_list = |value: &Value| value.as_array().is_some_and(|list| list.iter().any(holds));
    let place = object.iter().find(|(_, value)| of_list(value) || holds(value));
    let Some(key) = place.map(|(key, _)| key.clone()) else { return vec![object] };
    let mut outer = object;
    let inner = match outer.shift_remove(&key) {
        Some(Value::Array(list)) => list,
        value => value.into_iter().collect(),
    };
    let joined = inner.into_iter().take(INSIDE_MOST).map(|inner| {
        let mut joined = outer.clone();
        match inner {
            Value::Object(inner) => joined.extend(inner),
            other => _ = joined.insert("bits".to_owned(), other),
        }
        joined
    });
    joined.collect()
}

fn entry(object: &Map<String, Value>, words: &Words) -> Result<Entry, String> {
    let (of_bits, bits) = bits(object, words)?;
    let text = |key: &str| {
        // The key that holds the capture says nothing beside it.
        let named = object.iter().find(|(own, _)| *own != key && words.means(own) == key);
        let (own, value) = object.get_key_value(key).or(named)?;
        Some(value)
            .filter(|_| *own != of_bits)
            .and_then(plain)
            .map(|t| t.trim().to_owned())
            .filter(|t| !t.is_empty())
    };
    let doubt = doubt(object.get("unsure"));
    let notes = super::doubt_note(&doubt);
    let known = Known { site: text("site"), card: text("card"), printed: text("printed"), doubt };
    let (headings, values): (Vec<_>, Vec<_>) = carried(object, &of_bits).unzip();
    let cells = values.iter().map(cell_of).collect();
    too_many_columns(headings.len()).map_or(Ok(()), Err)?;
    let mut entry = pasted::cell(&bits)?.entry(&bits, known);
    entry.notes.extend(notes);
    entry.leave_out_rounded();
    if let Some(reader) = text("reader") {
        entry.observation.reader = reader;
    }
    entry.state = ["state", "status"].into_iter().find_map(&text);
    entry.carried = Carried { headings: Arc::new(headings), cells, values };
    Ok(entry)
}

/// A row of a table: headings and cells.
pub type Cells = Vec<(String, String)>;

/// Reads one object as rows of a table: one, or those that a list in it holds. The
/// capture is under "bits", unless a layout and numbers say which card it is.
pub fn rows(text: &str) -> Result<Vec<Cells>, String> {
    inside(object(text)?, &Words::default()).into_iter().map(row).collect()
}

fn row(object: Map<String, Value>) -> Result<Cells, String> {
    let of_bits = |key: &String| column_of(key) == Some(Column::Bits);
    let by_numbers = object.contains_key("layout") && !object.keys().any(of_bits);
    let capture = match bits(&object, &Words::default()) {
        _ if by_numbers => None,
        Ok(capture) => Some(capture),
        Err(why) if object.keys().any(of_bits) => return Err(why),
        Err(_) => None,
    };
    let (key, bits) = capture.unzip();
    let unsure = !doubt(object.get("unsure")).is_empty();
    let others = carried(&object, key.as_deref().unwrap_or_default());
    let others = others.filter(|(key, _)| !of_bits(key));
    let others = others.map(|(key, value)| (key, cell_of(&value)));
    let own = bits.map(|bits| ("bits".to_owned(), bits)).into_iter();
    let own = own.chain(unsure.then(|| ("unsure".to_owned(), "yes".to_owned())));
    Ok(own.chain(others).collect())
}

fn object(text: &str) -> Result<Map<String, Value>, String> {
    serde_json::from_str(text)
        .map_err(|error| format!("expected a JSON object: {error}: write one object a line"))
}

/// A value that is text without more ado.
fn plain(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

/// What a value of "unsure" puts in doubt.
fn doubt(unsure: Option<&Value>) -> Doubt {
    let places = |value: Option<&Value>| -> Vec<usize> {
        let list = value.and_then(Value::as_array).into_iter().flatten();
        list.filter_map(Value::as_u64).map(|place| place as usize).collect()
    };
    let mut doubt = Doubt::default();
    match unsure {
        None | Some(Value::Null | Value::Bool(false)) => {}
        Some(Value::Object(map)) => {
            doubt.missing = places(map.get("missing"));
            doubt.suspect = places(map.get("suspect"));
        }
        Some(Value::Array(list)) => doubt.somewhere = !list.is_empty(),
        Some(_) => doubt.somewhere = true,
    }
    doubt
}

/// A value as a cell of a table has it.
fn cell_of(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        value => plain(value).unwrap_or_else(|| value.to_string()),
    }
}

/// What is carried through: key and value of all but the capture, and of what an
/// earlier reading said.
fn carried<'o>(
    object: &'o Map<String, Value>,
    of_bits: &'o str,
) -> impl Iterator<Item = (String, Value)> + 'o {
    let own = |key: &str| key == "unsure" || OUR_OUTPUT.contains(&key);
    let own_value = |(key, value): (&String, &Value)| (key.clone(), value.clone());
    object.iter().flat_map(move |(key, value)| {
        // What an earlier reading carried through is carried on.
        let inner = value.as_object().filter(|_| key == "carried");
        let outer = inner.is_none() && key != of_bits && !own(key);
        let inner = inner.into_iter().flatten();
        inner.chain(outer.then_some((key, value))).map(own_value)
    })
}

/// Keys that hold a capture where none of the headings of one is there, the
/// better first.
const OTHER_KEYS: [&str; 8] =
    ["card", "data", "card data", "raw data", "hex", "raw hex", "value", "uid"];

/// Keys that count the bits of another one's digits.
const COUNTS: [&str; 6] = ["length", "len", "count", "bit count", "bitcount", "nbits"];

/// The key of the capture, and its text: bits, a list of them, or digits with the
/// count that stands beside them.
fn bits(object: &Map<String, Value>, words: &Words) -> Result<(String, String), String> {
    let none = || "the object has no \"bits\": add \"bits\":\"0110…\"".to_owned();
    let normal = |key: &str| super::headings::normal(key);
    let of_heading = |(key, _): &(&String, &Value)| column_of(key) == Some(Column::Bits);
    let mapped = object.iter().find(|(key, _)| *key != "bits" && words.means(key) == "bits");
    let exact =
        mapped.or_else(|| object.get_key_value("bits")).filter(|(_, value)| !value.is_number());
    let known =
        || object.iter().find(|(key, value)| of_heading(&(key, value)) && !value.is_number());
    let other = || {
        let holds = |(_, value): &(&String, &Value)| {
            text_of(value).is_some_and(|t| pasted::cell(&t).is_ok())
        };
        OTHER_KEYS
            .iter()
            .find_map(|name| object.iter().filter(holds).find(|(key, _)| normal(key) == *name))
    };
    let (key, value) =
        exact.or_else(known).or_else(other).ok_or_else(|| match object.get("bits") {
            Some(_) => "\"bits\" is no text: write it in quotes".to_owned(),
            None => none(),
        })?;
    let text = text_of(value).ok_or("\"bits\" is no text: write it in quotes")?;
    let digits = pasted::cell(&text).is_ok_and(|read| read.digits.is_some());
    // {"bits":26,"hex":"0ECF202"} counts with the key of bits.
    let counts = |(key, value): (&String, &Value)| {
        let count = value.as_u64().filter(|count| (1..=256).contains(count))?;
        (COUNTS.contains(&normal(key).as_str()) || column_of(key) == Some(Column::Bits))
            .then_some(count)
    };
    match object.iter().find_map(counts).filter(|_| digits) {
        Some(count) => Ok((key.clone(), format!("{text} ({count} bits)"))),
        None => Ok((key.clone(), text)),
    }
}

/// The text of a value: as it is, or a list of bits and bytes.
fn text_of(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Array(list) => {
            let parts: Option<Vec<String>> = list
                .iter()
                .map(|part| match part {
                    Value::String(text) => Some(text.clone()),
                    Value::Bool(bit) => Some(u8::from(*bit).to_string()),
                    Value::Number(number) => Some(number.to_string()),
                    _ => None,
                })
                .collect();
            parts.map(|parts| parts.join(" "))
        }
        _ => None,
    }
}
