//! Workbooks (`.xlsx`, ISO/IEC 29500-1): sheets of cards in and out.
//!
//! What comes in is somebody's file, so every part of it is read with a bound
//! on bytes, and nothing is believed that it says of its own size.

mod cell;
mod package;
mod part;
mod write;

use std::io::Read;

use crate::fail::Fail;
use crate::input::csv::too_many_columns;
use crate::input::headings::column_of;
use crate::plain::plain;
use crate::rows::{MAX_TEXT, Sheet};
use cell::Told;
use package::Package;

pub use write::write;

/// What a workbook may have at most.
pub mod limits {
    pub use super::MAX_BYTES as WORKBOOK_BYTES;
    pub use super::package::{MAX_FILES, MAX_SHEETS, MAX_UNPACKED};
    pub use super::part::{MAX_DEPTH, MAX_EVENT};
}

/// Largest workbook taken, bytes. A million cards take a third of it.
pub const MAX_BYTES: usize = 64 << 20;

/// A workbook's bytes, whose first ones are read.
pub fn bytes(path: &str, mut head: Vec<u8>, rest: impl Read) -> Result<Vec<u8>, Fail> {
    let most = MAX_BYTES;
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

/// Rows with something in them among which a header is looked for: a title
/// and a few lines of explanation may stand above it (judgement, no source).
const HEADER_WITHIN: usize = 20;

/// What a beginning of bytes is, if it is no text.
pub enum Binary {
    /// A zip archive, as a workbook is.
    Zip,
    /// A compound file: an old or an encrypted workbook.
    Compound,
}

/// Tells a workbook by its first bytes.
pub fn told_by(head: &[u8]) -> Option<Binary> {
    // Local file header, or the end record of an archive with nothing in it
    // (.ZIP File Format Specification 4.3.7, 4.3.16); [MS-CFB] 2.2.
    let zip = head.starts_with(b"PK\x03\x04") || head.starts_with(b"PK\x05\x06");
    let compound = head.starts_with(&[0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1]);
    match (zip, compound) {
        (true, _) => Some(Binary::Zip),
        (_, true) => Some(Binary::Compound),
        _ => None,
    }
}

/// Reads one sheet of a workbook: the one that is named, or the first whose
/// header is `known`.
pub fn read(
    name: &str,
    bytes: Vec<u8>,
    choice: Option<&str>,
    known: &dyn Fn(&[String]) -> bool,
) -> Result<Sheet, Fail> {
    let fail = |why: String| Fail::said(format!("{}: {}", plain(name), plain(&why)));
    if let Some(Binary::Compound) = told_by(&bytes) {
        return Err(fail(
            "an old or an encrypted workbook: save it as .xlsx without a password, or as CSV"
                .to_owned(),
        ));
    }
    let mut package = Package::open(bytes).map_err(fail)?;
    let sheets = package.sheets().map_err(fail)?;
    let names = || {
        let shown: Vec<_> =
            sheets.iter().take(12).map(|sheet| format!("{:?}", sheet.name)).collect();
        shown.join(", ")
    };
    let chosen: Vec<_> = match choice {
        None => sheets.iter().filter(|sheet| !sheet.hidden).collect(),
        Some(choice) => sheets.iter().filter(|sheet| sheet.name == choice).collect(),
    };
    if let (true, Some(choice)) = (chosen.is_empty(), choice) {
        return Err(fail(format!("no sheet {choice:?}: it has {}", names())));
    }
    let mut first_row = None;
    for sheet in chosen {
        let said = |why: String| fail(format!("sheet {:?}: {why}", sheet.name));
        match package.rows(sheet, known).map_err(said)? {
            Found::Header(mut found) => {
                if sheets.len() > 1 || found.header_row > 1 {
                    let (sheet, row) = (&sheet.name, found.header_row);
                    let note = format!("sheet {sheet:?} is read, its header is row {row}");
                    found.sheet.notes.push(plain(&note));
                }
                return Ok(found.sheet);
            }
            Found::Other(row) => first_row = first_row.or(row),
        }
    }
    let found = match first_row {
        None => "the sheets are empty".to_owned(),
        Some(cells) => {
            let shown: Vec<_> = cells.iter().filter(|c| !c.trim().is_empty()).take(12).collect();
            format!("found {shown:?} first")
        }
    };
    Err(fail(format!(
        "no sheet with a known header in its first {HEADER_WITHIN} rows, {found}: name the \
         columns bits, or layout, site and card; the sheets are {}",
        names()
    )))
}

/// What a sheet turned out to be.
enum Found {
    /// It has a header.
    Header(Headed),
    /// It has none; its first row with anything in it.
    Other(Option<Vec<String>>),
}

struct Headed {
    sheet: Sheet,
    header_row: u64,
}

/// Takes the rows of a sheet in order, and makes them a sheet of text.
struct Gathering<'k> {
    known: &'k dyn Fn(&[String]) -> bool,
    seen: usize,
    first: Option<Vec<String>>,
    headed: Option<Headed>,
    means: Vec<cell::Means>,
    text: usize,
}

impl<'k> Gathering<'k> {
    fn new(known: &'k dyn Fn(&[String]) -> bool) -> Gathering<'k> {
        Gathering { known, seen: 0, first: None, headed: None, means: Vec::new(), text: 0 }
    }

    /// Takes a row, counted from 1, its cells by column from 0, in order.
    /// False where no more rows are wanted.
    fn row(&mut self, row: u64, cells: &[(usize, Told)]) -> Result<bool, String> {
        if cells.is_empty() {
            return Ok(true);
        }
        self.text += cells.iter().map(|(_, told)| told.len()).sum::<usize>();
        if self.text > MAX_TEXT {
            return Err(format!("more than {} MiB of text: split it", MAX_TEXT >> 20));
        }
        match &mut self.headed {
            None => self.header(row, cells),
            Some(headed) => {
                if let Some(why) = headed.sheet.excess() {
                    return Err(format!("row {row}: {why}: split the sheet"));
                }
                let mut texts = vec![String::new(); self.means.len()];
                let mistakes = headed.sheet.mistakes.len();
                for (column, told) in cells {
                    // Beside the header is nobody's column.
                    let (Some(text), Some(means)) =
                        (texts.get_mut(*column), self.means.get(*column))
                    else {
                        continue;
                    };
                    match told.text(*means) {
                        Ok(said) => *text = said,
                        Err(why) => {
                            let heading = &headed.sheet.headings[*column];
                            let place = cell::place(*column, row);
                            let why = format!("cell {place} ({heading}): {why}");
                            headed.sheet.mistakes.push((row, why));
                        }
                    }
                }
                // A row with a cell that is refused says nothing at all.
                let good = headed.sheet.mistakes.len() == mistakes;
                if good && texts.iter().any(|text| !text.trim().is_empty()) {
                    headed.sheet.rows.push((row, texts));
                }
                Ok(true)
            }
        }
    }

    fn header(&mut self, row: u64, cells: &[(usize, Told)]) -> Result<bool, String> {
        let last = cells.last().map_or(0, |(column, _)| *column);
        let mut headings = vec![String::new(); last + 1];
        for (column, told) in cells {
            headings[*column] = told.shown();
        }
        while headings.last().is_some_and(|heading| heading.trim().is_empty()) {
            headings.pop();
        }
        if headings.is_empty() {
            return Ok(true);
        }
        self.seen += 1;
        if let Some(why) = too_many_columns(headings.len()) {
            return Err(format!("row {row}: {why}"));
        }
        if (self.known)(&headings) {
            self.means = headings.iter().map(|h| cell::Means::of(column_of(h))).collect();
            let sheet = Sheet { headings, ..Sheet::default() };
            self.headed = Some(Headed { sheet, header_row: row });
            return Ok(true);
        }
        self.first.get_or_insert(headings);
        Ok(self.seen < HEADER_WITHIN)
    }

    fn end(self) -> Found {
        match self.headed {
            Some(headed) => Found::Header(headed),
            None => Found::Other(self.first),
        }
    }
}
