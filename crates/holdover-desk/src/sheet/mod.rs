//! CSV files and workbooks read whole, row by row, each bad row with its line.

pub mod workbook;

use std::io::Read;

use crate::fail::Fail;
use crate::host::Host;
use crate::input::csv::Records;
use crate::input::lines::{Line, Lines, MAX_LINE};
use crate::plain::plain;
use crate::progress;

/// Mistakes shown of one file; the rest is counted.
const SHOWN: usize = 20;

/// A sheet with its header.
#[derive(Default)]
pub struct Sheet {
    /// The header's cells.
    pub headings: Vec<String>,
    /// Line and cells of each row, as many cells as headings.
    pub rows: Vec<(u64, Vec<String>)>,
    /// Lines that are no rows, and why.
    pub mistakes: Vec<(u64, String)>,
    /// Which sheet of a workbook it is, where that was a choice.
    pub notes: Vec<String>,
}

/// Rows a sheet may have: more cards than a panel has users (judgement, no
/// source), and as many as a sheet of a workbook can have. They take a gigabyte
/// and a half while they are proved.
pub const MAX_ROWS: usize = 1 << 20;

/// Cells a sheet may have: 8 columns in that many rows.
pub const MAX_CELLS: usize = 8 << 20;

/// Bytes the texts of a sheet may have together.
pub const MAX_TEXT: usize = 256 << 20;

/// Reads a sheet; "-" is standard input. Of a workbook it is the sheet of the
/// `choice`, or the first whose header is `known`.
pub fn read(
    host: &dyn Host,
    path: &str,
    choice: Option<&str>,
    known: &dyn Fn(&[String]) -> bool,
) -> Result<Sheet, Fail> {
    let mut file: Box<dyn Read> = match path {
        "-" => Box::new(progress::counted(host, "standard input", host.stdin(), None)),
        path => Box::new(progress::open(host, path).map_err(|error| Fail::file(path, &error))?),
    };
    let head = head(path, &mut file)?;
    if workbook::told_by(&head).is_some() {
        let bytes = workbook_bytes(path, head, file)?;
        return progress::during(host, path, || workbook::read(path, bytes, choice, known));
    }
    if choice.is_some() {
        let mend = "leave --sheet out, or name a workbook (.xlsx)";
        return Err(Fail::said(format!(
            "{}: no workbook, so it has no sheets: {mend}",
            plain(path)
        )));
    }
    csv(path, head.as_slice().chain(file))
}

/// The first bytes, as many as tell a workbook.
fn head(path: &str, file: &mut impl Read) -> Result<Vec<u8>, Fail> {
    let mut head = Vec::new();
    file.take(8).read_to_end(&mut head).map_err(|error| Fail::file(path, &error))?;
    Ok(head)
}

/// A workbook's bytes, whose first ones are read.
pub fn workbook_bytes(path: &str, mut head: Vec<u8>, rest: impl Read) -> Result<Vec<u8>, Fail> {
    let most = workbook::MAX_BYTES;
    rest.take(most as u64 + 1).read_to_end(&mut head).map_err(|error| Fail::file(path, &error))?;
    match head.len() > most {
        true => Err(Fail::said(format!(
            "{}: a workbook larger than {} MiB: save the sheet of cards alone, or as CSV",
            plain(path),
            most >> 20
        ))),
        false => Ok(head),
    }
}

fn csv(path: &str, mut file: impl Read) -> Result<Sheet, Fail> {
    let mut lines = Lines::default();
    let mut reading = Reading::default();
    let (mut bytes, mut block) = (0, vec![0; 1 << 16]);
    let said = |why: String| Fail::said(format!("{}:{why}", plain(path)));
    loop {
        match file.read(&mut block) {
            Ok(0) => break,
            Ok(count) => {
                bytes += count;
                lines.feed(&block[..count], |line| reading.line(line));
            }
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(Fail::file(path, &error)),
        }
        if bytes > MAX_TEXT {
            let most = MAX_TEXT >> 20;
            return Err(said(format!(" larger than {most} MiB: split it, or leave columns out")));
        }
        if let Some(why) = reading.failed.take() {
            return Err(said(why));
        }
    }
    if let Some(line) = lines.end() {
        reading.line(line);
    }
    if let Some(why) = reading.failed {
        return Err(said(why));
    }
    let Some((mut sheet, mut records)) = reading.sheet else {
        return Err(said(" the file is empty: write a header, then one card a line".to_owned()));
    };
    records.end().into_iter().for_each(|split| sheet.add(split));
    Ok(sheet)
}

/// A sheet of CSV being read.
#[derive(Default)]
struct Reading {
    number: u64,
    sheet: Option<(Sheet, Records)>,
    /// Its line, and why the file is not read on.
    failed: Option<String>,
}

impl Reading {
    fn line(&mut self, line: Line) {
        self.number += 1;
        let number = self.number;
        let text = text(line, number);
        match (&mut self.sheet, text) {
            // One failure is enough.
            _ if self.failed.is_some() => {}
            (Some((sheet, records)), Ok(text)) => {
                records.line(number, &text).into_iter().for_each(|split| sheet.add(split));
                self.failed = sheet.excess().map(|why| format!("{number}: {why}: split the file"));
            }
            (Some((sheet, _)), Err(why)) => {
                sheet.mistakes.push((number, why));
                self.failed = sheet.excess().map(|why| format!("{number}: {why}: split the file"));
            }
            (None, Ok(text)) if text.trim().is_empty() => {}
            (None, text) => match text.and_then(|text| Records::of_header(&text)) {
                Ok((headings, records)) => {
                    self.sheet = Some((Sheet { headings, ..Sheet::default() }, records));
                }
                Err(why) => self.failed = Some(format!("{number}: {why}")),
            },
        }
    }
}

impl Sheet {
    /// Why it is too large, if it is.
    pub fn excess(&self) -> Option<String> {
        let rows = self.rows.len() + self.mistakes.len();
        if rows > MAX_ROWS {
            return Some(format!("more than {MAX_ROWS} rows"));
        }
        let cells = self.rows.len() * self.headings.len();
        (cells > MAX_CELLS).then(|| format!("more than {MAX_CELLS} cells"))
    }

    fn add(&mut self, (line, cells): (u64, Result<Vec<String>, String>)) {
        match cells {
            Ok(cells) => self.rows.push((line, cells)),
            Err(why) => self.mistakes.push((line, why)),
        }
    }
}

fn text(line: Line, number: u64) -> Result<String, String> {
    match line {
        Line::Whole(bytes) => {
            let text = String::from_utf8(bytes).map_err(|error| {
                let at = error.utf8_error().valid_up_to() + 1;
                format!("byte {at} is no UTF-8 text: save the file as UTF-8")
            })?;
            Ok(if number == 1 { text.trim_start_matches('\u{feff}').to_owned() } else { text })
        }
        Line::TooLong(length) => {
            Err(format!("the line has {length} bytes, more than {MAX_LINE}: one card a line"))
        }
    }
}

/// All mistakes of a file: half a file is not worked on.
pub fn refused(path: &str, mut mistakes: Vec<(u64, String)>) -> Fail {
    mistakes.sort();
    let count = mistakes.len();
    let mut shown: Vec<String> = mistakes
        .iter()
        .take(SHOWN)
        .map(|(line, why)| format!("{}:{line}: {}", plain(path), plain(why)))
        .collect();
    if count > SHOWN {
        shown.push(format!("and {} more", count - SHOWN));
    }
    let rows = if count == 1 { "1 row is".to_owned() } else { format!("{count} rows are") };
    Fail::said(format!(
        "{rows} wrong, and nothing is done before they are mended:\n{}",
        shown.join("\n")
    ))
}
