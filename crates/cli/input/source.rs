//! One source of captures: which form it has, and its lines one by one.

use std::sync::Arc;

use holdover::bits::CaptureText;
use holdover::rank::Known;

use super::csv::Sheet;
use super::lines::{Line, Lines, MAX_LINE};
use super::{Entry, Row, entry, json};

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
    /// The header made no sense: the rest cannot either.
    Lost,
}

/// A source being read.
pub struct Source {
    name: Arc<str>,
    lines: Lines,
    number: u64,
    form: Form,
}

impl Source {
    /// A source of that name, nothing read yet.
    pub fn new(name: &str) -> Source {
        Source { name: name.into(), lines: Lines::default(), number: 0, form: Form::Open }
    }

    /// Takes a block of bytes; whole lines become rows.
    pub fn feed(&mut self, block: &[u8], rows: &mut Vec<Row>) {
        let mut lines = std::mem::take(&mut self.lines);
        lines.feed(block, |line| self.line(line, rows));
        self.lines = lines;
    }

    /// Takes what is left at the end.
    pub fn end(&mut self, rows: &mut Vec<Row>) {
        if let Some(line) = self.lines.end() {
            self.line(line, rows);
        }
        if let Form::Csv(sheet) = &mut self.form {
            for (line, entry) in sheet.end() {
                rows.push(Row { source: self.name.clone(), line, entry });
            }
        }
    }

    fn line(&mut self, line: Line, rows: &mut Vec<Row>) {
        self.number += 1;
        let number = self.number;
        let mut push = |line, entry| rows.push(Row { source: self.name.clone(), line, entry });
        let bytes = match line {
            Line::Whole(bytes) => bytes,
            Line::TooLong(length) => {
                let most = MAX_LINE;
                let message = format!(
                    "the line has {length} bytes, more than {most}: put one capture on each line"
                );
                return push(number, Err(message));
            }
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
            if matches!(self.form, Form::Csv(_)) {
                return;
            }
        }
        match &mut self.form {
            Form::Csv(sheet) => {
                sheet.line(number, text).into_iter().for_each(|(line, entry)| push(line, entry));
            }
            Form::Json if !text.trim().is_empty() => push(number, json::entry(text)),
            Form::Text => {
                let text = text.trim();
                if !text.is_empty() && !text.starts_with('#') {
                    push(number, text_entry(text));
                }
            }
            Form::Json | Form::Open | Form::Lost => {}
        }
    }
}

fn text_entry(text: &str) -> Result<Entry, String> {
    let read = text.parse::<CaptureText>().map_err(|error| error.to_string())?;
    Ok(entry(read, Known::default()))
}

/// A line's text, without the byte-order mark of the first.
fn text(bytes: &[u8], number: u64) -> Result<&str, String> {
    let mark = if number == 1 { bytes.strip_prefix("\u{feff}".as_bytes()) } else { None };
    let bytes = mark.unwrap_or(bytes);
    if number == 1 && (bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff])) {
        return Err("this is UTF-16 text: save the file as UTF-8".to_owned());
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
    let capture = line.parse::<CaptureText>().is_ok();
    match !capture && (line.contains([',', ';', '\t']) || super::csv::is_heading(line)) {
        true => Sheet::of_header(line).map(Form::Csv),
        false => Ok(Form::Text),
    }
}
