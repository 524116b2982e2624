//! CSV with a header: one capture a record, other columns carried through.

use std::sync::Arc;

use ::csv::ReaderBuilder;
use holdover::file::nearest;
use holdover::rank::{Doubt, Known};

use super::headings::{self, Column, column_of};
use super::lines::MAX_LINE;
use super::words::Words;
use super::{Carried, Entry, pasted};
use crate::plain::plain;

/// Lines a quoted cell may go over.
pub const MAX_QUOTED_LINES: usize = 64;

/// Columns a sheet may have, and the records of a command in all (judgement,
/// no source: the widest export of a panel has about a hundred).
pub const MAX_COLUMNS: usize = 1024;

/// Why a sheet of so many columns is refused, if it is.
pub fn too_many_columns(count: usize) -> Option<String> {
    (count > MAX_COLUMNS)
        .then(|| format!("{count} columns, more than {MAX_COLUMNS}: leave out those without use"))
}

/// Whether a line on its own is the heading of a sheet of one column.
pub fn is_heading(line: &str, words: &Words) -> bool {
    column_of(words.means(line.trim_matches('"'))) == Some(Column::Bits)
}

/// Whether a line is a header of cards: some heading is a known one, or close.
pub fn is_header(line: &str) -> bool {
    let Ok((headings, _)) = Records::of_header(line) else { return true };
    let known = |heading: &String| column_of(heading).is_some();
    headings.iter().any(known)
        || headings::meant(headings.iter().map(String::as_str), &[]).is_some()
}

/// Whether a line is an empty row: white space and separators.
pub fn says_nothing(line: &str) -> bool {
    line.chars().all(|c| c.is_whitespace() || c == ',' || c == ';')
}

/// Splits lines into records of a fixed number of cells.
pub struct Records {
    delimiter: u8,
    cells: usize,
    /// Lines of a record whose quoted cell has not ended yet.
    open: Vec<(u64, String)>,
}

/// A record's first line, and its cells.
type Split = (u64, Result<Vec<String>, String>);

impl Records {
    /// Reads a header: its cells, and how the records after it are split.
    pub fn of_header(line: &str) -> Result<(Vec<String>, Records), String> {
        let count = |delimiter: char| line.matches(delimiter).count();
        let delimiter = [',', ';', '\t'].into_iter().max_by_key(|d| count(*d)).unwrap_or(',') as u8;
        let headings = cells(line, delimiter)?;
        too_many_columns(headings.len()).map_or(Ok(()), Err)?;
        let records = Records { delimiter, cells: headings.len(), open: Vec::new() };
        Ok((headings, records))
    }

    /// Takes a line; a record that goes on over several lines comes with its last.
    pub fn line(&mut self, number: u64, line: &str) -> Vec<Split> {
        if self.open.is_empty() && says_nothing(line) {
            return Vec::new();
        }
        self.open.push((number, line.to_owned()));
        let quotes: usize = self.open.iter().map(|(_, line)| line.matches('"').count()).sum();
        let bytes: usize = self.open.iter().map(|(_, line)| line.len() + 1).sum();
        if quotes.is_multiple_of(2) {
            let open = std::mem::take(&mut self.open);
            let text: Vec<_> = open.iter().map(|(_, line)| line.as_str()).collect();
            return vec![(open[0].0, self.split(&text.join("\n")))];
        }
        match self.open.len() > MAX_QUOTED_LINES || bytes > MAX_LINE {
            true => self.end(),
            false => Vec::new(),
        }
    }

    /// Gives up on a quote that never ended: its line is bad, the lines after
    /// it are read each on its own.
    pub fn end(&mut self) -> Vec<Split> {
        let open = std::mem::take(&mut self.open);
        let mut records = Vec::new();
        for (i, (number, line)) in open.iter().enumerate() {
            let even = line.matches('"').count().is_multiple_of(2);
            if even && i > 0 {
                records.extend((!line.trim().is_empty()).then(|| (*number, self.split(line))));
            } else {
                let message = "a quote (\") opens here and never closes: write \"\" for a quote \
                               inside a cell";
                records.push((*number, Err(message.to_owned())));
            }
        }
        records
    }

    fn split(&self, text: &str) -> Result<Vec<String>, String> {
        let cells = cells(text, self.delimiter)?;
        match (self.cells, cells.len()) {
            (expected, found) if expected != found => Err(format!(
                "expected {expected} cells as in the header, found {found}: quote a cell that \
                 holds the separator"
            )),
            _ => Ok(cells),
        }
    }
}

/// A sheet of captures whose header is read.
pub struct Sheet {
    records: Records,
    columns: Vec<Option<Column>>,
    /// Headings of the columns that are carried through.
    carried: Arc<Vec<String>>,
}

/// A record's first line, and what it holds.
pub type Record = (u64, Result<Entry, String>);

impl Sheet {
    /// Reads a header.
    pub fn of_header(line: &str, words: &Words) -> Result<Sheet, String> {
        let (headings, records) = Records::of_header(line)?;
        Sheet::of_headings(&headings, records, words)
    }

    /// A sheet whose cells come one by one, not in lines.
    pub fn of_cells(headings: &[String], words: &Words) -> Result<Sheet, String> {
        let records = Records { delimiter: b',', cells: headings.len(), open: Vec::new() };
        Sheet::of_headings(headings, records, words)
    }

    fn of_headings(headings: &[String], records: Records, words: &Words) -> Result<Sheet, String> {
        words.missing(headings).map_or(Ok(()), Err)?;
        let columns: Vec<_> =
            headings.iter().map(|heading| column_of(words.means(heading))).collect();
        refuse_twins(headings, &columns)?;
        if !columns.contains(&Some(Column::Bits)) {
            let shown: Vec<_> = headings.iter().take(12).map(|h| plain(h)).collect();
            let near = headings.iter().find(|heading| nearest(heading, ["bits"]).is_some());
            let mend = match near {
                Some(near) => format!("did you mean \"bits\" by {:?}?", plain(near)),
                None => "name the column that holds the captures \"bits\", or add --column \
                         \"YOUR HEADING=bits\""
                    .to_owned(),
            };
            let found = shown.join(", ");
            return Err(format!("expected a header with a column \"bits\", found {found}: {mend}"));
        }
        let carried = headings
            .iter()
            .zip(&columns)
            .filter(|(_, column)| **column != Some(Column::Bits))
            .map(|(heading, _)| heading.trim().to_owned())
            .collect();
        Ok(Sheet { records, columns, carried: Arc::new(carried) })
    }

    /// Headings that are close to known ones, as notes: their columns are
    /// carried through, and not read.
    pub fn near(&self) -> Vec<String> {
        let carried = self.columns.iter().filter(|column| **column != Some(Column::Bits));
        let strangers = carried.zip(self.carried.iter()).filter(|(column, _)| column.is_none());
        headings::near(strangers.map(|(_, heading)| heading.as_str()), &[], headings::map_or_rename)
    }

    /// Takes a line; a record that goes on over several lines comes with its last.
    pub fn line(&mut self, number: u64, line: &str) -> Vec<Record> {
        let records = self.records.line(number, line);
        records.into_iter().map(|(line, cells)| (line, self.entry(cells))).collect()
    }

    /// The end of the input.
    pub fn end(&mut self) -> Vec<Record> {
        let records = self.records.end();
        records.into_iter().map(|(line, cells)| (line, self.entry(cells))).collect()
    }

    /// What a record holds.
    pub fn entry(&self, cells: Result<Vec<String>, String>) -> Result<Entry, String> {
        let mut known = Known::default();
        let mut reader = String::new();
        let (mut bits, mut state) = (None, None);
        let mut carried = Vec::with_capacity(self.carried.len());
        for (column, cell) in self.columns.iter().zip(cells?) {
            let filled = Some(cell.trim().to_owned()).filter(|cell| !cell.is_empty());
            match column {
                Some(Column::Bits) => {
                    bits = Some(cell);
                    continue;
                }
                Some(what @ (Column::Site | Column::Card | Column::Printed)) => {
                    *known_of(&mut known, *what) = filled;
                }
                Some(Column::Reader) => reader = filled.unwrap_or_default(),
                Some(Column::Unsure) => known.doubt = doubt(&cell),
                Some(Column::State) => state = filled,
                None => {}
            }
            carried.push(cell);
        }
        let bits = bits.unwrap_or_default();
        let said = super::doubt_note(&known.doubt);
        let mut entry = pasted::cell(&bits)?.entry(&bits, known);
        entry.notes.extend(said);
        entry.leave_out_rounded();
        if !reader.is_empty() {
            entry.observation.reader = reader;
        }
        entry.state = state;
        entry.carried =
            Carried { headings: self.carried.clone(), cells: carried, ..Carried::default() };
        Ok(entry)
    }
}

/// Where a noted number goes.
fn known_of(known: &mut Known, column: Column) -> &mut Option<String> {
    match column {
        Column::Site => &mut known.site,
        Column::Card => &mut known.card,
        _ => &mut known.printed,
    }
}

/// Why a number is none any more: a spreadsheet rounded it, as 1.2E+09.
pub fn spoilt(cell: &str) -> Option<String> {
    let (number, exponent) = cell.trim().split_once(['E', 'e'])?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let rounded = digits(&number.replacen([',', '.'], "", 1))
        && exponent.strip_prefix('+').is_some_and(digits);
    rounded.then(|| {
        format!(
            "{:?} is what a spreadsheet made of a long number, and digits are lost: format the \
             column as text and fill it in again from the source",
            plain(cell.trim())
        )
    })
}

/// Two columns that mean the same are a mistake.
pub fn refuse_twins(headings: &[String], columns: &[Option<Column>]) -> Result<(), String> {
    for (i, column) in columns.iter().enumerate() {
        if column.is_some() && columns[..i].contains(column) {
            let first = columns[..i].iter().position(|other| other == column).unwrap_or(0);
            let named = |at: usize| format!("{} ({:?})", at + 1, plain(headings[at].trim()));
            return Err(format!(
                "two columns mean the same, {} and {}: leave one out, or rename it",
                named(first),
                named(i)
            ));
        }
    }
    Ok(())
}

/// Pulses in doubt, as `holdover signal` writes them: `missing@20 suspect@3`.
fn doubt(cell: &str) -> Doubt {
    let mut doubt = Doubt::default();
    for word in cell.split_whitespace() {
        let place = |at: &str| at.parse::<usize>().ok();
        match word.split_once('@').map(|(what, at)| (what, place(at))) {
            Some(("missing", Some(at))) => doubt.missing.push(at),
            Some(("suspect", Some(at))) => doubt.suspect.push(at),
            _ => doubt.somewhere = true,
        }
    }
    doubt
}

/// The cells of one record.
fn cells(text: &str, delimiter: u8) -> Result<Vec<String>, String> {
    if !text.contains(['"', '\r', '\n']) {
        return Ok(text.split(char::from(delimiter)).map(str::to_owned).collect());
    }
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut record = ::csv::StringRecord::new();
    match reader.read_record(&mut record) {
        Ok(true) => Ok(record.iter().map(str::to_owned).collect()),
        Ok(false) => Ok(vec![String::new()]),
        Err(error) => Err(format!("no CSV record: {error}: check the quotes")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_of_the_trade_are_known() {
        for heading in ["Facility Code", "company_code", "SITE", "site-code"] {
            assert_eq!(column_of(heading), Some(Column::Site), "{heading}");
        }
        assert_eq!(column_of("Card No."), Some(Column::Card));
        assert_eq!(column_of("building"), None);
    }

    #[test]
    fn a_quote_left_open_spoils_one_line() {
        let mut sheet = Sheet::of_header("bits,note", &Words::default()).unwrap();
        let mut records = sheet.line(2, "01,\"open");
        records.extend(sheet.line(3, "10,fine"));
        records.extend(sheet.end());
        assert!(records[0].1.as_ref().is_err_and(|m| m.contains("never closes")));
        assert!(records[1].1.is_ok());
    }

    #[test]
    fn a_quoted_cell_may_hold_lines() {
        let mut sheet = Sheet::of_header("note;bits", &Words::default()).unwrap();
        assert!(sheet.line(2, "\"two").is_empty());
        let records = sheet.line(3, "lines\";0110");
        assert_eq!(records[0].0, 2);
        assert_eq!(records[0].1.as_ref().unwrap().carried.cells, ["two\nlines"]);
    }

    #[test]
    fn wrong_headers_say_what_is_missing() {
        let message = |line: &str| Sheet::of_header(line, &Words::default()).err().unwrap();
        assert!(message("site,card").contains("column \"bits\""));
        assert!(message("bist,card").contains("did you mean"));
        assert!(message("bits,raw").contains("two columns"));
    }
}
