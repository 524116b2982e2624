//! One source of captures: which form it has, and its lines one by one.

use std::borrow::Cow;
use std::cmp::Reverse;
use std::sync::Arc;

use holdover::rank::Known;
use holdover_signal::{Probe, sniff};

use super::csv::Sheet;
use super::lines::{Line, Lines, MAX_LINE};
use super::probe::ProbeFile;
use super::words::Words;
use super::{Entry, Row, encoding, json, pasted};
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
    /// What the command line says of headings.
    words: Arc<Words>,
    lines: Lines,
    number: u64,
    form: Form,
    /// Lines before the first that tells the form: a banner, titles.
    held: Vec<(u64, String)>,
    /// UTF-16, as its mark says, and what is left of a character.
    wide: Option<encoding::Wide>,
    /// The beginning, until there is enough of it to tell a probe file.
    head: Option<Vec<u8>>,
}

/// Lines above a header or a first capture that are waited for (judgement, no
/// source: titles of a sheet are a few lines).
pub const HELD_MOST: usize = 64;

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
            words: Arc::default(),
            lines: Lines::default(),
            number: 0,
            form: Form::Open,
            held: Vec::new(),
            wide: None,
            head: Some(Vec::new()),
        }
    }

    /// The same, with the headings that the command line maps.
    pub fn with(self, words: &Arc<Words>) -> Source<'a> {
        Source { words: words.clone(), ..self }
    }

    /// Takes a block of bytes; whole lines become rows.
    pub fn feed(&mut self, block: &[u8], rows: &mut Vec<Row>) {
        if let Some(mut head) = self.head.take() {
            head.extend_from_slice(block);
            match head.len() >= HEAD || told_by(&head, &self.words) {
                true => self.begin(&head, rows),
                false => self.head = Some(head),
            }
            return;
        }
        self.take(block, rows);
    }

    /// Decides what the source is, and reads its beginning.
    fn begin(&mut self, head: &[u8], rows: &mut Vec<Row>) {
        self.wide = encoding::Wide::of_mark(head);
        if self.wide.is_some() {
            let source = plain(&self.name);
            terminal::remark(self.host, &format!("{source}: {}", encoding::WIDE_READ));
            return self.take(head, rows);
        }
        if !told_by(head, &self.words) && sniff(head).is_some() {
            self.form = Form::Probe(Box::new(ProbeFile::new(&self.name, self.probe)));
        }
        self.take(head, rows);
    }

    fn take(&mut self, block: &[u8], rows: &mut Vec<Row>) {
        if let Form::Probe(file) = &mut self.form {
            return file.feed(block, rows);
        }
        let text = self.wide.as_mut().map(|wide| wide.text(block));
        let block = text.as_ref().map_or(block, |text| text.as_bytes());
        let mut lines = std::mem::take(&mut self.lines);
        lines.feed(block, |line| self.line(line, rows));
        self.lines = lines;
    }

    /// Where the source is lines of captures and stands at the beginning of
    /// one: its name, and how many were before, for who takes the lines whole.
    pub fn whole_lines(&mut self) -> Option<(&Arc<str>, &mut u64)> {
        let whole = matches!(self.form, Form::Text) && self.lines.is_empty() && self.wide.is_none();
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
        self.let_go(rows);
    }

    /// Lines that were waited with are what they are. Where one looks like the
    /// header of a sheet, that is the mistake to mend.
    fn let_go(&mut self, rows: &mut Vec<Row>) {
        let held = std::mem::take(&mut self.held);
        let open = matches!(self.form, Form::Open);
        let parted = |(_, text): &&(u64, String)| text.contains([',', ';', '\t']);
        let cells = |text: &str| {
            text.split([',', ';', '\t']).filter(|cell| !cell.trim().is_empty()).count()
        };
        // Where a heading is named on the command line, the fullest line is the header.
        let header = match self.words.any() {
            true => held.iter().filter(parted).min_by_key(|(_, text)| Reverse(cells(text))),
            false => held.iter().filter(|_| open).find(parted),
        };
        if let Some((line, text)) = header
            && let Err(message) = Sheet::of_header(text, &self.words)
        {
            self.form = Form::Lost;
            return rows.push(Row { source: self.name.clone(), line: *line, entry: Err(message) });
        }
        rows.extend(held.iter().filter_map(|(line, text)| row_of(&self.name, *line, text)));
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
        self.let_go(rows);
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
            match form_of(&text, &self.words) {
                Ok(Some(form)) => self.form = form,
                Ok(None) if self.held.len() < HELD_MOST => {
                    self.held.push((number, text.into_owned()));
                    return;
                }
                Ok(None) => self.form = Form::Text,
                Err(message) => {
                    self.form = Form::Lost;
                    return push(number, Err(message));
                }
            }
            if let Form::Csv(sheet) = &self.form {
                let source = plain(&self.name);
                let titles = std::mem::take(&mut self.held).len();
                let above = (titles > 0).then(|| passed_over(titles));
                let notes = above.into_iter().chain(sheet.near());
                notes.for_each(|note| {
                    terminal::remark(self.host, &format!("{source}:{number}: {note}"));
                });
                return;
            }
            self.let_go(rows);
        }
        let mut push = |line, entry| rows.push(Row { source: self.name.clone(), line, entry });
        match &mut self.form {
            Form::Csv(sheet) => {
                sheet.line(number, &text).into_iter().for_each(|(line, entry)| push(line, entry));
            }
            Form::Json if !text.trim().is_empty() => {
                json::entries(&text, &self.words).into_iter().for_each(|entry| push(number, entry));
            }
            Form::Text => rows.extend(row_of(&self.name, number, &text)),
            Form::Json | Form::Open | Form::Lost | Form::Probe(_) => {}
        }
    }
}

/// What to say of lines above a header.
pub fn passed_over(lines: usize) -> String {
    match lines {
        1 => "the header is here; the line above it is passed over".to_owned(),
        lines => format!("the header is here; the {lines} lines above it are passed over"),
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
        Ok(text) => row_of(name, number, &text),
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
fn told_by(head: &[u8], words: &Words) -> bool {
    let mut lines = head.split_inclusive(|&b| b == b'\n').filter(|line| line.ends_with(b"\n"));
    let told = |line: &[u8]| {
        let Ok(line) = std::str::from_utf8(line) else { return Some(false) };
        let line = line.trim_start_matches('\u{feff}').trim();
        match line {
            "" => None,
            line if line.starts_with('#') => None,
            line => Some(
                line.starts_with('{')
                    || text_entry(line).is_ok()
                    || Sheet::of_header(line, words).is_ok(),
            ),
        }
    };
    lines.find_map(told).unwrap_or(false)
}

/// The capture of a line.
fn text_entry(text: &str) -> Result<Entry, String> {
    pasted::line(text).map(|pasted| pasted.entry(text, Known::default()))
}

/// A line's text, without the byte-order mark of the first.
fn text(bytes: &[u8], number: u64) -> Result<Cow<'_, str>, String> {
    let mark = if number == 1 { bytes.strip_prefix("\u{feff}".as_bytes()) } else { None };
    let bytes = mark.unwrap_or(bytes);
    if number == 1 && crate::workbook::told_by(bytes).is_some() {
        return Err("this is a workbook or an archive: name the .xlsx file, not \"-\"".to_owned());
    }
    Ok(encoding::text(bytes))
}

/// The form that a line tells, if it does. A line that holds a capture is text,
/// whatever separators it has.
fn form_of(line: &str, words: &Words) -> Result<Option<Form>, String> {
    let line = line.trim();
    let object = line.starts_with('{');
    if object && line.contains('"') {
        return Ok(Some(Form::Json));
    }
    if text_entry(line).is_ok() {
        return Ok(Some(Form::Text));
    }
    if object {
        return Ok(Some(Form::Json));
    }
    if !line.contains([',', ';', '\t']) && !super::csv::is_heading(line, words) {
        return Ok(None);
    }
    match Sheet::of_header(line, words) {
        Ok(sheet) => Ok(Some(Form::Csv(sheet))),
        Err(message) if super::csv::is_header(line) && !has_values(line) => Err(message),
        Err(_) => Ok(None),
    }
}

/// Whether a line has values, as no header has: "FC = 65, CN = 4321", "card,4321".
fn has_values(line: &str) -> bool {
    let is_number = |cell: &str| !cell.is_empty() && cell.bytes().all(|b| b.is_ascii_digit());
    let value = |part: &str| part.trim_start().starts_with(|c: char| c.is_ascii_digit());
    line.split([',', ';', '\t']).any(|cell| is_number(cell.trim()))
        || line.split([':', '=']).skip(1).any(value)
}
