//! Cards that come as no table: JSON Lines, a capture a line, probe files.

use std::collections::HashMap;
use std::io::Read;

use holdover::bits::CaptureText;
use holdover_signal::{Options, Probe, sniff};
use serde_json::{Map, Value};

use super::Sheet;
use crate::fail::Fail;
use crate::host::Host;
use crate::input::csv::Records;
use crate::input::{Row, Source, captures_text, our_output};
use crate::plain::plain;

/// Bytes that tell the form.
const HEAD: u64 = 4096;

/// The form of a file that is no table.
enum Form {
    /// JSON Lines.
    Objects,
    /// A capture a line, or a probe file.
    Captures,
}

/// The rows of a file that is no table, under the headings of one; `None` of
/// a table. `head` is what is read of it, and grows.
pub fn sheet(
    host: &dyn Host,
    path: &str,
    head: &mut Vec<u8>,
    rest: &mut dyn Read,
    known: &dyn Fn(&[String]) -> bool,
) -> Result<Option<Sheet>, Fail> {
    let failed = |error| Fail::file(path, &error);
    rest.take(HEAD).read_to_end(head).map_err(failed)?;
    let Some(form) = form(head, known) else { return Ok(None) };
    let probe = Probe::new(Options::default()).map_err(|error| Fail::said(error.to_string()))?;
    let mut source = Source::new(host, path, &probe);
    let mut sheet = Sheet::default();
    let mut objects = Objects::default();
    let (mut rows, mut lines) = (Vec::new(), crate::input::lines::Lines::default());
    let mut file = head.as_slice().chain(rest);
    let (mut bytes, mut block) = (0, vec![0; 1 << 16]);
    let beyond = |why: String| Fail::said(format!("{}: {why}: split the file", plain(path)));
    loop {
        let count = match file.read(&mut block) {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(failed(error)),
        };
        bytes += count;
        match form {
            Form::Objects => lines.feed(&block[..count], |line| objects.line(line, &mut sheet)),
            Form::Captures => {
                source.feed(&block[..count], &mut rows);
                rows.drain(..).for_each(|row| add(&mut sheet, row));
            }
        }
        // A probe file is long, and its cards are few.
        if bytes > super::MAX_TEXT && matches!(form, Form::Objects) {
            return Err(beyond(format!("larger than {} MiB", super::MAX_TEXT >> 20)));
        }
        if let Some(why) = sheet.excess() {
            return Err(beyond(why));
        }
    }
    match form {
        Form::Objects => {
            if let Some(line) = lines.end() {
                objects.line(line, &mut sheet);
            }
            let columns = sheet.headings.len();
            sheet.rows.iter_mut().for_each(|(_, cells)| cells.resize(columns, String::new()));
        }
        Form::Captures => {
            sheet.headings = ["bits", "reader", "unsure"].map(str::to_owned).to_vec();
            source.end(&mut rows);
            rows.drain(..).for_each(|row| add(&mut sheet, row));
            leave_out_empty(&mut sheet);
        }
    }
    match sheet.excess() {
        Some(why) => Err(beyond(why)),
        None => Ok(Some(sheet)),
    }
}

/// What the first line that says something tells.
fn form(head: &[u8], known: &dyn Fn(&[String]) -> bool) -> Option<Form> {
    let text = String::from_utf8_lossy(head);
    let says = |line: &&str| !line.trim().is_empty() && !line.trim_start().starts_with('#');
    let first = text.trim_start_matches('\u{feff}').lines().find(says)?.trim();
    if first.starts_with('{') && first.contains('"') {
        return Some(Form::Objects);
    }
    if first.parse::<CaptureText>().is_ok() {
        return Some(Form::Captures);
    }
    let header = |line: &str| Records::of_header(line).is_ok_and(|(headings, _)| known(&headings));
    (!text.lines().any(header) && sniff(head).is_some()).then_some(Form::Captures)
}

/// Leaves out columns without a cell.
fn leave_out_empty(sheet: &mut Sheet) {
    for at in (1..sheet.headings.len()).rev() {
        if sheet.rows.iter().all(|(_, cells)| cells[at].is_empty()) {
            sheet.headings.remove(at);
            sheet.rows.iter_mut().for_each(|(_, cells)| drop(cells.remove(at)));
        }
    }
}

/// Adds a capture as a row.
fn add(sheet: &mut Sheet, row: Row) {
    match row.entry {
        Ok(entry) => {
            let unsure = if entry.observation.known.doubt.is_empty() { "" } else { "yes" };
            let bits = captures_text(&entry);
            let cells = vec![bits, entry.observation.reader, unsure.to_owned()];
            sheet.rows.push((row.line, cells));
        }
        Err(why) => sheet.mistakes.push((row.line, why)),
    }
}

/// JSON Lines being read: a key is a heading.
#[derive(Default)]
struct Objects {
    number: u64,
    place: HashMap<String, usize>,
}

impl Objects {
    fn line(&mut self, line: crate::input::lines::Line, sheet: &mut Sheet) {
        self.number += 1;
        let number = self.number;
        let text = match super::text(line, number, &mut false) {
            Ok(text) if text.trim().is_empty() => return,
            Ok(text) => text,
            Err(why) => return sheet.mistakes.push((number, why)),
        };
        let object: Map<String, Value> = match serde_json::from_str(&text) {
            Ok(object) => object,
            Err(error) => {
                let why = format!("expected a JSON object: {error}: write one object a line");
                return sheet.mistakes.push((number, why));
            }
        };
        let mut cells = vec![String::new(); sheet.headings.len()];
        for (key, value) in object {
            match value {
                Value::Object(inner) if key == "carried" => {
                    inner.iter().for_each(|(key, value)| self.cell(key, value, sheet, &mut cells));
                }
                _ if our_output(&key) => {}
                value => self.cell(&key, &value, sheet, &mut cells),
            }
        }
        sheet.rows.push((number, cells));
    }

    fn cell(&mut self, key: &str, value: &Value, sheet: &mut Sheet, cells: &mut Vec<String>) {
        let text = match value {
            Value::Null => return,
            Value::String(text) => text.clone(),
            value if key == "unsure" => {
                let sure = matches!(value, Value::Bool(false));
                if sure { String::new() } else { "yes".to_owned() }
            }
            Value::Array(list) => {
                let parts =
                    list.iter().map(|part| part.as_str().map_or(part.to_string(), str::to_owned));
                parts.collect::<Vec<_>>().join(" ")
            }
            other => other.to_string(),
        };
        let next = sheet.headings.len();
        let place = *self.place.entry(key.to_owned()).or_insert(next);
        if place == next {
            sheet.headings.push(key.to_owned());
        }
        if cells.len() <= place {
            cells.resize(place + 1, String::new());
        }
        cells[place] = text;
    }
}
