//! Tables for the terminal and records for spreadsheets.

use std::borrow::Cow;
use std::io::Write;

use comfy_table::{ContentArrangement, Table as Sheet, presets};

use crate::fail::Fail;
use crate::screen;

/// A table for the terminal: plain lines, as wide as the screen.
pub fn sheet() -> Sheet {
    let mut sheet = Sheet::new();
    sheet.load_style(presets::NOTHING);
    sheet.set_content_arrangement(ContentArrangement::Dynamic);
    sheet.set_width(screen::width() as u16);
    sheet
}

/// Writes one record, no cell of which a spreadsheet takes for a formula.
pub fn write_csv<W: Write, S: AsRef<str>>(
    csv: &mut csv::Writer<W>,
    cells: &[S],
) -> Result<(), Fail> {
    let cells = cells.iter().map(|cell| inert(cell.as_ref()));
    let cells: Vec<_> = cells.collect();
    csv.write_record(cells.iter().map(|cell| cell.as_bytes())).map_err(|error| {
        match error.into_kind() {
            csv::ErrorKind::Io(error) => error.into(),
            other => Fail::said(format!("cannot write CSV: {other:?}")),
        }
    })
}

/// A cell that no spreadsheet takes for a formula: an apostrophe goes in front
/// of what begins like one. Full-width signs count as the plain ones where a
/// spreadsheet is set to East Asian text; a tab, a line end or a space in
/// front is dropped by some (common practice, no source).
fn inert(cell: &str) -> Cow<'_, str> {
    let signs = ['=', '+', '-', '@', '＝', '＋', '－', '＠'];
    let begins = cell.starts_with(['\t', '\r', '\n'])
        || cell.trim_start_matches([' ', '\u{a0}', '\u{feff}']).starts_with(signs);
    match begins && cell != "-" {
        true => Cow::Owned(format!("'{cell}")),
        false => Cow::Borrowed(cell),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_made_inert() {
        let begins = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "＝1", "＠x"];
        for cell in begins {
            assert_eq!(inert(cell), format!("'{cell}"));
        }
        for cell in ["", "-", "01", "A. Dyer", "5=5", "'=1"] {
            assert_eq!(inert(cell), cell);
        }
    }
}
