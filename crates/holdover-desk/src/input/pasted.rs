//! The one way from text to a capture: lines, arguments, cells and keys of every
//! form come to it.

use holdover::bits::{Capture, Digits, Found, What, find, find_in_cell};
use holdover::rank::{Known, Observation};
use holdover_signal::raw_card_data;

use super::Entry;

/// A capture as it was pasted.
#[derive(Debug, Clone)]
pub struct Pasted {
    /// Its bits; of digits of unknown length, as they stand.
    pub capture: Capture,
    /// The digits, where no count is given.
    pub digits: Option<Digits>,
    /// What was taken and assumed.
    pub notes: Vec<String>,
    /// How many more bits were counted than came.
    pub short: i32,
    /// The reader that a reply names.
    reader: String,
}

/// What a line or an argument holds.
pub fn line(text: &str) -> Result<Pasted, String> {
    read(text, find(text).map_err(|error| error.to_string()))
}

/// What the cell or the key of a capture holds.
pub fn cell(text: &str) -> Result<Pasted, String> {
    read(text, find_in_cell(text).map_err(|error| error.to_string()))
}

fn read(text: &str, found: Result<Found, String>) -> Result<Pasted, String> {
    if let Ok(Found { what: What::Bits(capture), notes, short }) = found {
        let notes = notes.iter().map(ToString::to_string).collect();
        return Ok(Pasted { capture, digits: None, notes, short, reader: String::new() });
    }
    if let Some(reply) = card_data(text) {
        return Ok(reply);
    }
    let Found { what, notes, short } = found?;
    let What::Digits(digits) = what else { return Err("no capture".to_owned()) };
    let capture = digits.as_they_stand().ok_or("more than 256 bits")?;
    let notes = notes.iter().map(ToString::to_string).collect();
    Ok(Pasted { capture, digits: Some(digits), notes, short, reader: String::new() })
}

/// The reply of IEC 60839-11-5 with raw card data, whose own count must agree.
fn card_data(text: &str) -> Option<Pasted> {
    let reply = raw_card_data(text).ok()?;
    let mut notes = vec!["taken as a raw card data reply (IEC 60839-11-5)".to_owned()];
    notes.extend(reply.note);
    let reader = reply.reader.to_string();
    Some(Pasted { capture: reply.bits, digits: None, notes, short: 0, reader })
}

impl Pasted {
    /// The entry of a text, with what is known of it.
    pub fn entry(self, text: &str, mut known: Known) -> Entry {
        known.doubt.short = self.short;
        let given = self.digits.as_ref().map(|_| text.trim().to_owned());
        let observation = Observation { capture: self.capture, reader: self.reader, known };
        Entry { notes: self.notes, digits: self.digits, given, ..observation.into() }
    }
}
