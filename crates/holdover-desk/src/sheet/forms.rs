//! Cards that come as no table: JSON Lines, a capture a line, probe files.

use std::collections::HashMap;
use std::io::Read;

use holdover::bits::CaptureText;
use holdover_signal::{Options, Probe, sniff};

use super::{MAX_TEXT, Sheet, each_block};
use crate::fail::Fail;
use crate::host::Host;
use crate::input::csv::Records;
use crate::input::lines::{Line, Lines};
use crate::input::{Row, Source, captures_text, object_rows};
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
    if is_list(head) {
        return Err(Fail::said(format!(
            "{}: a JSON list, whose cards have no lines to be told by: write one object a line, as \
             `jq -c '.[]'` does",
            plain(path)
        )));
    }
    let Some(form) = form(head, known) else { return Ok(None) };
    let probe = Probe::new(Options::default()).map_err(|error| Fail::said(error.to_string()))?;
    let mut source = Source::new(host, path, &probe);
    let mut sheet = Sheet::default();
    let mut objects = Objects::default();
    let (mut rows, mut lines) = (Vec::new(), Lines::default());
    let mut bytes = 0;
    let beyond = |why: String| Fail::said(format!("{}: {why}: split the file", plain(path)));
    each_block(path, head.as_slice().chain(rest), |block| {
        bytes += block.len();
        match form {
            Form::Objects => lines.feed(block, |line| objects.line(line, &mut sheet)),
            Form::Captures => {
                source.feed(block, &mut rows);
                rows.drain(..).for_each(|row| add(&mut sheet, row));
            }
        }
        // A probe file is long, and its cards are few.
        if bytes > MAX_TEXT && matches!(form, Form::Objects) {
            return Err(beyond(format!("larger than {} MiB", MAX_TEXT >> 20)));
        }
        sheet.excess().map_or(Ok(()), |why| Err(beyond(why)))
    })?;
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
    if let Some(why) = sheet.excess() {
        return Err(beyond(why));
    }
    // Without a row there are no headings to complain of.
    if sheet.rows.is_empty() && !sheet.mistakes.is_empty() {
        return Err(super::refused(path, sheet.mistakes.len(), sheet.mistakes));
    }
    Ok(Some(sheet))
}

/// Whether it begins as a list of objects does.
fn is_list(head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head);
    let inside = text.trim_start_matches('\u{feff}').trim_start().strip_prefix('[');
    inside.is_some_and(|inside| inside.trim_start().starts_with("{"))
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
    fn line(&mut self, line: Line, sheet: &mut Sheet) {
        self.number += 1;
        let number = self.number;
        let text = match super::text(line, number, &mut false) {
            Ok(text) if text.trim().is_empty() => return,
            Ok(text) => text,
            Err(why) => return sheet.mistakes.push((number, why)),
        };
        let rows = match object_rows(&text) {
            Ok(rows) => rows,
            Err(why) => return sheet.mistakes.push((number, why)),
        };
        for row in rows {
            let mut cells = vec![String::new(); sheet.headings.len()];
            for (key, cell) in row {
                let next = sheet.headings.len();
                let place = *self.place.entry(key).or_insert_with_key(|key| {
                    sheet.headings.push(key.clone());
                    cells.push(String::new());
                    next
                });
                cells[place] = cell;
            }
            sheet.rows.push((number, cells));
        }
    }
}
