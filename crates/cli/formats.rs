//! Tables for the terminal and records for spreadsheets.

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

/// Writes one record.
pub fn write_csv<W: Write, S: AsRef<[u8]>>(
    csv: &mut csv::Writer<W>,
    cells: &[S],
) -> Result<(), Fail> {
    csv.write_record(cells).map_err(|error| match error.into_kind() {
        csv::ErrorKind::Io(error) => error.into(),
        other => Fail::said(format!("cannot write CSV: {other:?}")),
    })
}

/// A cell that no spreadsheet takes for a formula.
pub fn inert(cell: &str) -> String {
    match cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell != "-" {
        true => format!("'{cell}"),
        false => cell.to_owned(),
    }
}
