//! One source of captures: which form it has, and its lines one by one.

use std::sync::Arc;

use holdover::bits::CaptureText;
use holdover::rank::{Known, Observation};
use holdover_signal::{Probe, raw_card_data, sniff};

use super::csv::Sheet;
use super::lines::{Line, Lines, MAX_LINE};
use super::probe::ProbeFile;
use super::{Entry, Row, entry, json};
use crate::host::Host;
use crate::plain::plain;
use crate::terminal;

/// The form of a source.
enum Form {
    /// Not known before the first line that says something.
    Open,
    /// One capture a line.
    Text,
    /// A header, then a capture a record.
    Csv(Sheet),
    /// One object a line.
    Json,
    /// A probe file.
    Probe(Box<ProbeFile>),
    /// The header made no sense: the rest cannot either.
    Lost,
}

/// A source being read.
pub struct Source<'a> {
    host: &'a dyn Host,
    name: Arc<str>,
    probe: &'a Probe,
    lines: Lines,
    number: u64,
    form: Form,
    /// The beginning, until there is enough of it to tell a probe file.
    head: Option<Vec<u8>>,
}

/// Bytes enough to tell a probe file by; its header may be long.
const HEAD: usize = 4096;

impl<'a> Source<'a> {
    /// A source of that name, nothing read yet; `probe` reads it if it turns
    /// out to be a probe file.
    pub fn new(host: &'a dyn Host, name: &str, probe: &'a Probe) -> Source<'a> {
        Source {
            host,
            name: name.into(),
            probe,
            lines: Lines::default(),
            number: 0,
            form: Form::Open,
            head: Some(Vec::new()),
        }
    }

    /// Takes a block of bytes; whole lines become rows.
    pub fn feed(&mut self, block: &[u8], rows: &mut Vec<Row>) {
        if let Some(mut head) = self.head.take() {
            head.extend_from_slice(block);
            match head.len() >= HEAD || told_by(&head) {
                true => self.begin(&head, rows),
                false => self.head = Some(head),
            }
            return;
        }
        self.take(block, rows);
    }

    /// Decides what the source is, and reads its beginning.
    fn begin(&mut self, head: &[u8], rows: &mut Vec<Row>) {
        if !told_by(head) && sniff(head).is_some() {
            self.form = Form::Probe(Box::new(ProbeFile::new(&self.name, self.probe)));
        }
        self.take(head, rows);
    }

    fn take(&mut self, block: &[u8], rows: &mut Vec<Row>) {
        if let Form::Probe(file) = &mut self.form {
            return file.feed(block, rows);
        }
        let mut lines = std::mem::take(&mut self.lines);
        lines.feed(block, |line| self.line(line, rows));
        self.lines = lines;
    }

    /// Where the source is lines of captures and stands at the beginning of
    /// one: its name, and how many were before, for who takes the lines whole.
    pub fn whole_lines(&mut self) -> Option<(&Arc<str>, &mut u64)> {
        let whole = matches!(self.form, Form::Text) && self.lines.is_empty();
        whole.then_some((&self.name, &mut self.number))
    }

    /// A live pipe pauses: what is certainly there is handed out.
    pub fn pause(&mut self, rows: &mut Vec<Row>) {
        // A short beginning will not grow soon.
        if self.head.as_ref().is_some_and(|head| head.contains(&b'\n')) {
            let head = self.head.take().unwrap_or_default();
            self.begin(&head, rows);
        }
        if let Form::Probe(file) = &mut self.form {
            file.pause(rows);
        }
    }

    /// Takes what is left at the end; names the readers of whose lines it was
    /// guessed which is which.
    pub fn end(&mut self, rows: &mut Vec<Row>) -> Vec<String> {
        if let Some(head) = self.head.take() {
            self.begin(&head, rows);
        }
        if let Form::Probe(file) = &mut self.form {
            return file.end(rows);
        }
        if let Some(line) = self.lines.end() {
            self.line(line, rows);
        }
        if let Form::Csv(sheet) = &mut self.form {
            for (line, entry) in sheet.end() {
                rows.push(Row { source: self.name.clone(), line, entry });
            }
        }
        Vec::new()
    }

    fn line(&mut self, line: Line, rows: &mut Vec<Row>) {
        self.number += 1;
        let number = self.number;
        let mut push = |line, entry| rows.push(Row { source: self.name.clone(), line, entry });
        let bytes = match line {
            Line::Whole(bytes) => bytes,
            Line::TooLong(length) => return push(number, Err(too_long(length))),
        };
        let text = match text(&bytes, number) {
            Ok(text) => text,
            Err(message) => return push(number, Err(message)),
        };
        if matches!(self.form, Form::Open) {
            let blank = text.trim().is_empty();
            if blank || text.trim_start().starts_with('#') {
                return;
            }
            self.form = match form_of(text) {
                Ok(form) => form,
                Err(message) => {
                    push(number, Err(message));
                    self.form = Form::Lost;
                    return;
                }
            };
            if let Form::Csv(sheet) = &self.form {
                let source = plain(&self.name);
                sheet
                    .near()
                    .iter()
                    .for_each(|n| terminal::remark(self.host, &format!("{source}:{number}: {n}")));
                return;
            }
        }
        match &mut self.form {
            Form::Csv(sheet) => {
                sheet.line(number, text).into_iter().for_each(|(line, entry)| push(line, entry));
            }
            Form::Json if !text.trim().is_empty() => push(number, json::entry(text)),
            Form::Text => rows.extend(row_of(&self.name, number, text)),
            Form::Json | Form::Open | Form::Lost | Form::Probe(_) => {}
        }
    }
}

/// A line of a source of captures, without its end: the row it is, if any.
pub fn text_row(name: &Arc<str>, number: u64, bytes: &[u8]) -> Option<Row> {
    if bytes.len() > MAX_LINE {
        return Some(Row {
            source: name.clone(),
            line: number,
            entry: Err(too_long(bytes.len() as u64)),
        });
    }
    match text(bytes, number) {
        Ok(text) => row_of(name, number, text),
        Err(message) => Some(Row { source: name.clone(), line: number, entry: Err(message) }),
    }
}

fn row_of(name: &Arc<str>, line: u64, text: &str) -> Option<Row> {
    let text = text.trim();
    let says = !text.is_empty() && !text.starts_with('#');
    says.then(|| Row { source: name.clone(), line, entry: text_entry(text) })
}

fn too_long(length: u64) -> String {
    format!("the line has {length} bytes, more than {MAX_LINE}: put one capture on each line")
}

/// Whether a beginning shows by its first line that it holds captures, not
/// the changes of lines: a bare capture, a JSON object, a header with "bits".
fn told_by(head: &[u8]) -> bool {
    let mut lines = head.split_inclusive(|&b| b == b'\n').filter(|line| line.ends_with(b"\n"));
    let told = |line: &[u8]| {
        let Ok(line) = std::str::from_utf8(line) else { return Some(false) };
        let line = line.trim_start_matches('\u{feff}').trim();
        match line {
            "" => None,
            line if line.starts_with('#') => None,
            line => Some(
                line.starts_with('{') || text_entry(line).is_ok() || Sheet::of_header(line).is_ok(),
            ),
        }
    };
    lines.find_map(told).unwrap_or(false)
}

/// A capture, or a raw card data reply as hexadecimal.
fn text_entry(text: &str) -> Result<Entry, String> {
    match text.parse::<CaptureText>() {
        Ok(read) => Ok(entry(read, Known::default())),
        Err(error) => card_data(text).ok_or_else(|| error.to_string())?,
    }
}

/// The reply of IEC 60839-11-5 with raw card data; `None` where the text is
/// not even hexadecimal bytes.
fn card_data(text: &str) -> Option<Result<Entry, String>> {
    let bytes = text.chars().filter(|c| !c.is_whitespace() && !":-".contains(*c));
    let digits = bytes.clone().count();
    if digits < 10 || digits % 2 != 0 || !bytes.clone().all(|c| c.is_ascii_hexdigit()) {
        return None;
    }
    let reply = match raw_card_data(text) {
        Ok(reply) => reply,
        Err(error) => {
            return Some(Err(format!(
                "no bits, and as a raw card data reply (IEC 60839-11-5): {error}; other \
                 hexadecimal is written 0x…/bits"
            )));
        }
    };
    let mut notes = vec!["taken as a raw card data reply (IEC 60839-11-5)".to_owned()];
    notes.extend(reply.note);
    let reader = reply.reader.to_string();
    let observation = Observation { capture: reply.bits, reader, known: Known::default() };
    Some(Ok(Entry { notes, ..observation.into() }))
}

/// A line's text, without the byte-order mark of the first.
fn text(bytes: &[u8], number: u64) -> Result<&str, String> {
    let mark = if number == 1 { bytes.strip_prefix("\u{feff}".as_bytes()) } else { None };
    let bytes = mark.unwrap_or(bytes);
    if number == 1 && (bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff])) {
        return Err("this is UTF-16 text: save the file as UTF-8".to_owned());
    }
    if number == 1 && crate::sheet::workbook::told_by(bytes).is_some() {
        return Err("this is a workbook or an archive: name the .xlsx file, not \"-\"".to_owned());
    }
    std::str::from_utf8(bytes).map_err(|error| {
        let at = error.valid_up_to();
        format!("byte {} (0x{:02X}) is no UTF-8 text: save the file as UTF-8", at + 1, bytes[at])
    })
}

/// Told by the first line that says something. A capture has no comma,
/// semicolon or tab, and no letter but hexadecimal ones.
fn form_of(line: &str) -> Result<Form, String> {
    let line = line.trim();
    if line.starts_with('{') {
        return Ok(Form::Json);
    }
    let capture = text_entry(line).is_ok();
    match !capture && (line.contains([',', ';', '\t']) || super::csv::is_heading(line)) {
        true => Sheet::of_header(line).map(Form::Csv),
        false => Ok(Form::Text),
    }
}
