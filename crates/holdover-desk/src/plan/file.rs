//! A plan as a file: what it is a plan of, and whether it is still as it was
//! written.

use std::path::Path;

use hmac_sha256::Hash;
use holdover::plan::{Plan, RosterCard};
use serde_json::{Map, Value};

use crate::answer;
use crate::fail::Fail;
use crate::files;
use crate::host::Host;
use crate::plain::plain;
use crate::roster::Roster;

/// Bytes of a plan file: a million conflicts take 200 MB.
pub const MAX_PLAN_BYTES: usize = 256 << 20;

/// Values of a plan file, counted by what parts them: half a million conflicts.
/// Judgement, no source: they take a gigabyte.
pub const MAX_PLAN_VALUES: usize = 1 << 22;

/// The version of the JSON that goes in and comes out. A change that an older
/// reader would misread raises it; one that only adds does not.
pub const SCHEMA: u32 = 2;

/// Keys that are about the file, not of the plan.
const ABOUT: [&str; 8] =
    ["roster", "to_read", "alternative", "changes", "masked", "schema", "mark", "digest"];

/// A plan's JSON as it is written.
pub struct Written {
    /// The whole object.
    pub json: Value,
    /// What sheets of this plan carry: four characters for what is keyed in,
    /// four for the cards.
    pub mark: String,
}

impl Written {
    /// The plan of a roster, with its marks.
    pub fn new(plan: &Plan, roster: &Roster) -> Result<Written, Fail> {
        let mut json = answer::value(plan)?;
        let Value::Object(object) = &mut json else {
            return Err(Fail::said("cannot write JSON: a plan is an object"));
        };
        object.insert("roster".to_owned(), short(&self::roster(roster), 16).into());
        object.insert("schema".to_owned(), SCHEMA.into());
        let digest = digest(object);
        let mark = format!("{}-{}", settings(object), short(&digest, 4));
        object.insert("mark".to_owned(), mark.clone().into());
        object.insert("digest".to_owned(), digest.into());
        Ok(Written { json, mark })
    }

    /// The mark for a copy that hides cards: what is keyed in, and no more.
    pub fn open_mark(&self) -> String {
        format!("{}-····", self.mark.split('-').next().unwrap_or_default())
    }

    /// The JSON without what would give cards or people away: a copy for
    /// reading, not for proving.
    pub fn copy(&self, hide: bool) -> Value {
        let mut json = self.json.clone();
        if hide {
            hide_numbers(&mut json);
        }
        if let Value::Object(object) = &mut json {
            for key in ["roster", "digest"] {
                object.shift_remove(key);
            }
            object.insert("mark".to_owned(), self.open_mark().into());
            object.insert("masked".to_owned(), true.into());
        }
        json
    }
}

/// Card numbers in a plan's JSON, hidden.
fn hide_numbers(object: &mut Value) {
    for conflict in object["conflicts"].as_array_mut().into_iter().flatten() {
        if let Some(number) = conflict["panel_number"].as_str() {
            conflict["panel_number"] = crate::mask::tail(number).into();
        }
        conflict["what_to_do"] = crate::mask::ADVICE.into();
    }
    for batch in object["batches"].as_array_mut().into_iter().flatten() {
        batch["cards"] = crate::mask::PRINT.into();
    }
}

/// A plan that was read.
pub struct Read {
    pub plan: Plan,
    /// The roster it was made for, told by its digest.
    pub roster: Option<String>,
    /// It is not as it was written.
    pub edited: bool,
}

/// A plan as a file, whole and consistent.
///
/// # Errors
/// No plan, a copy that hides cards, a plan of another form, or one that
/// contradicts itself.
pub fn read(host: &dyn Host, path: &Path) -> Result<Read, Fail> {
    let name = plain(&path.display().to_string());
    let text = files::text(host, &path.display().to_string(), MAX_PLAN_BYTES)?;
    let values = text.bytes().filter(|byte| matches!(byte, b',' | b':' | b'[' | b'{')).count();
    if values > MAX_PLAN_VALUES {
        return Err(Fail::said(format!(
            "{name}: more than {MAX_PLAN_VALUES} values: mend the conflicts, and plan again"
        )));
    }
    // The error quotes the file's own words.
    let none = |error: serde_json::Error| {
        let error = plain(&error.to_string());
        Fail::said(format!("{name}: no plan: {error}: write it with `holdover plan -o`"))
    };
    let mut json: Value = serde_json::from_str(&text).map_err(none)?;
    let Value::Object(object) = &mut json else {
        return Err(Fail::said(format!("{name}: no plan: write it with `holdover plan -o`")));
    };
    if object.contains_key("masked") {
        return Err(Fail::said(format!(
            "{name}: a copy that hides cards or people, for reading only: give the plan itself"
        )));
    }
    if let Some(schema) = object.get("schema").filter(|schema| **schema != SCHEMA) {
        return Err(Fail::said(format!(
            "{name}: a plan of form {schema}, and this holdover reads form {SCHEMA}: plan again"
        )));
    }
    let told = object.get("digest").and_then(Value::as_str).map(str::to_owned);
    let mark = object.get("mark").cloned();
    let roster = object.get("roster").and_then(Value::as_str).map(str::to_owned);
    let digest = digest(object);
    let written = format!("{}-{}", settings(object), short(&digest, 4));
    let whole = told.as_deref() == Some(&digest) && mark.is_some_and(|mark| mark == written);
    let edited = !(whole && object.contains_key("schema"));
    ABOUT.iter().for_each(|key| drop(object.remove(*key)));
    let plan = serde_json::from_value(json).map_err(none)?;
    Ok(Read { plan, roster, edited })
}

/// What a plan's content comes to, in hexadecimal: SHA-256 of its JSON without
/// spaces, keys in order.
fn digest(object: &Map<String, Value>) -> String {
    let mut content = object.clone();
    for key in ["to_read", "alternative", "changes", "mark", "digest"] {
        content.remove(key);
    }
    hash(content)
}

/// What there is to key in, in four characters; nothing of any card is in it.
fn settings(object: &Map<String, Value>) -> String {
    let keyed = ["slots", "panel", "table"];
    let keyed = keyed.iter().filter_map(|key| Some(((*key).to_owned(), object.get(*key)?.clone())));
    short(&hash(keyed.collect()), 4)
}

fn hash(content: Map<String, Value>) -> String {
    let mut content = Value::Object(content);
    content.sort_all_objects();
    hex::encode(Hash::hash(content.to_string().as_bytes()))
}

/// What a roster comes to.
pub fn roster(roster: &Roster) -> String {
    let mut hash = Hash::new();
    for row in &roster.rows {
        let card = match &row.card {
            RosterCard::Card { layout, site, number, bits } => {
                format!("{layout} {site} {number} {bits}")
            }
            RosterCard::Unfit { why, bits } => format!("{why} {bits:?}"),
        };
        let (printed, holder) = (row.printed.as_deref(), row.holder.as_deref());
        let state = row.state.word();
        hash.update(format!("{} {state} {card} {printed:?} {holder:?}\n", row.line));
    }
    for card in roster.to_read.iter().filter(|card| !card.is_counted_on()) {
        let (lines, state) = (&card.lines, card.state.word());
        hash.update(format!("{lines:?} {state} {:?} {:?}\n", card.printed, card.holder));
    }
    hex::encode(hash.finalize())
}

/// The first characters.
pub fn short(digest: &str, length: usize) -> String {
    digest.chars().take(length).collect()
}
