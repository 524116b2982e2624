//! CSV with a header: one capture a record, other columns carried through.

use std::sync::Arc;

use ::csv::ReaderBuilder;
use holdover::bits::CaptureText;
use holdover::file::nearest;
use holdover::rank::{Known, Sighting};

use super::lines::MAX_LINE;
use super::{Carried, Entry};
use crate::screen;

/// Lines a quoted cell may go over.
const MAX_QUOTED_LINES: usize = 64;

/// What a column is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Bits,
    Site,
    Card,
    Printed,
    Reader,
    Unsure,
}

/// Headings a column goes by, in small letters, words joined by one space.
/// Names beside the first are common practice, no source.
const HEADINGS: [(Column, &[&str]); 6] = [
    (Column::Bits, &["bits", "bit", "raw", "raw bits", "capture", "wiegand", "binary"]),
    (Column::Site, &["site", "site code", "facility code", "facility", "company code", "fc"]),
    (
        Column::Card,
        &["card", "card no", "card number", "card num", "user code", "id number", "number"],
    ),
    (Column::Printed, &["printed", "print", "printed number"]),
    (Column::Reader, &["reader", "reader name"]),
    (Column::Unsure, &["unsure"]),
];

/// A heading in small letters, words joined by one space, full stops left out.
fn plain_heading(heading: &str) -> String {
    let spaced = heading.trim().to_lowercase().replace(['_', '-', '.'], " ");
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn column_of(heading: &str) -> Option<Column> {
    let plain = plain_heading(heading);
    HEADINGS.iter().find(|(_, names)| names.contains(&plain.as_str())).map(|(column, _)| *column)
}

/// Whether a line on its own is the heading of a sheet of one column.
pub fn is_heading(line: &str) -> bool {
    column_of(line.trim_matches('"')) == Some(Column::Bits)
}

/// A sheet whose header is read.
pub struct Sheet {
    delimiter: u8,
    columns: Vec<Option<Column>>,
    /// Headings of the columns that are carried through.
    carried: Arc<Vec<String>>,
    /// Lines of a record whose quoted cell has not ended yet.
    open: Vec<(u64, String)>,
}

/// A record's first line, and what it holds.
pub type Record = (u64, Result<Entry, String>);

impl Sheet {
    /// Reads a header.
    pub fn of_header(line: &str) -> Result<Sheet, String> {
        let count = |delimiter: char| line.matches(delimiter).count();
        let delimiter = [',', ';', '\t'].into_iter().max_by_key(|d| count(*d)).unwrap_or(',') as u8;
        let headings = cells(line, delimiter)?;
        let columns: Vec<_> = headings.iter().map(|heading| column_of(heading)).collect();
        for (i, column) in columns.iter().enumerate() {
            if column.is_some() && columns[..i].contains(column) {
                let heading = screen::plain(&headings[i]);
                return Err(format!("two columns mean the same as {heading:?}: leave one out"));
            }
        }
        if !columns.contains(&Some(Column::Bits)) {
            let shown: Vec<_> = headings.iter().take(12).map(|h| screen::plain(h)).collect();
            let near = headings.iter().find(|heading| nearest(heading, ["bits"]).is_some());
            let mend = match near {
                Some(near) => format!("did you mean \"bits\" by {:?}?", screen::plain(near)),
                None => "name the column that holds the captures \"bits\"".to_owned(),
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
        Ok(Sheet { delimiter, columns, carried: Arc::new(carried), open: Vec::new() })
    }

    /// Takes a line; a record that goes on over several lines comes with its last.
    pub fn line(&mut self, number: u64, line: &str) -> Vec<Record> {
        if self.open.is_empty() && line.trim().is_empty() {
            return Vec::new();
        }
        self.open.push((number, line.to_owned()));
        let quotes: usize = self.open.iter().map(|(_, line)| line.matches('"').count()).sum();
        let bytes: usize = self.open.iter().map(|(_, line)| line.len() + 1).sum();
        if quotes.is_multiple_of(2) {
            let open = std::mem::take(&mut self.open);
            let text: Vec<_> = open.iter().map(|(_, line)| line.as_str()).collect();
            return vec![(open[0].0, self.record(&text.join("\n")))];
        }
        match self.open.len() > MAX_QUOTED_LINES || bytes > MAX_LINE {
            true => self.end(),
            false => Vec::new(),
        }
    }

    /// Gives up on a quote that never ended: its line is bad, the lines after
    /// it are read each on its own.
    pub fn end(&mut self) -> Vec<Record> {
        let open = std::mem::take(&mut self.open);
        let mut records = Vec::new();
        for (i, (number, line)) in open.iter().enumerate() {
            let even = line.matches('"').count().is_multiple_of(2);
            if even && i > 0 {
                records.extend((!line.trim().is_empty()).then(|| (*number, self.record(line))));
            } else {
                let message = "a quote (\") opens here and never closes: write \"\" for a quote \
                               inside a cell";
                records.push((*number, Err(message.to_owned())));
            }
        }
        records
    }

    fn record(&self, text: &str) -> Result<Entry, String> {
        let cells = cells(text, self.delimiter)?;
        let (expected, found) = (self.columns.len(), cells.len());
        if expected != found {
            return Err(format!(
                "expected {expected} cells as in the header, found {found}: quote a cell that \
                 holds the separator"
            ));
        }
        let mut known = Known::default();
        let mut reader = String::new();
        let mut bits = None;
        let mut carried = Vec::with_capacity(self.carried.len());
        for (column, cell) in self.columns.iter().zip(cells) {
            let filled = Some(cell.trim().to_owned()).filter(|cell| !cell.is_empty());
            match column {
                Some(Column::Bits) => {
                    bits = Some(cell);
                    continue;
                }
                Some(Column::Site) => known.site = filled,
                Some(Column::Card) => known.card = filled,
                Some(Column::Printed) => known.printed = filled,
                Some(Column::Reader) => reader = filled.unwrap_or_default(),
                Some(Column::Unsure) => known.in_doubt = filled.is_some(),
                None => {}
            }
            carried.push(cell);
        }
        let read = bits.unwrap_or_default().parse::<CaptureText>().map_err(|e| e.to_string())?;
        Ok(Entry {
            notes: read.note.iter().map(ToString::to_string).collect(),
            sighting: Sighting { capture: read.capture, reader, known },
            carried: Carried { headings: self.carried.clone(), cells: carried },
        })
    }
}

/// The cells of one record.
fn cells(text: &str, delimiter: u8) -> Result<Vec<String>, String> {
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
        let mut sheet = Sheet::of_header("bits,note").unwrap();
        let mut records = sheet.line(2, "01,\"open");
        records.extend(sheet.line(3, "10,fine"));
        records.extend(sheet.end());
        assert!(records[0].1.as_ref().is_err_and(|m| m.contains("never closes")));
        assert!(records[1].1.is_ok());
    }

    #[test]
    fn a_quoted_cell_may_hold_lines() {
        let mut sheet = Sheet::of_header("note;bits").unwrap();
        assert!(sheet.line(2, "\"two").is_empty());
        let records = sheet.line(3, "lines\";0110");
        assert_eq!(records[0].0, 2);
        assert_eq!(records[0].1.as_ref().unwrap().carried.cells, ["two\nlines"]);
    }

    #[test]
    fn wrong_headers_say_what_is_missing() {
        let message = |line: &str| Sheet::of_header(line).err().unwrap();
        assert!(message("site,card").contains("column \"bits\""));
        assert!(message("bist,card").contains("did you mean"));
        assert!(message("bits,raw").contains("two columns"));
    }
}
