//! Writing a workbook of one sheet, every cell of it text.

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, XlsxError};

/// A sheet with a header; no cell is a number or a formula, so zeros stay and
/// nothing is ever worked out. The same rows give the same bytes.
///
/// # Errors
/// More rows than a sheet has, or a text longer than a cell holds.
pub fn write<const N: usize>(
    name: &str,
    head: &[&str; N],
    widths: &[u16; N],
    rows: &[[String; N]],
) -> Result<Vec<u8>, String> {
    sheet(name, head, widths, rows)
        .map_err(|error| format!("it does not fit into a workbook ({error}): write CSV instead"))
}

fn sheet<const N: usize>(
    name: &str,
    head: &[&str; N],
    widths: &[u16; N],
    rows: &[[String; N]],
) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    // A fixed day, so that today's is not written: 1900 is as far back as goes.
    let day = ExcelDateTime::from_ymd(1900, 1, 1)?;
    workbook.set_properties(&DocProperties::new().set_creation_datetime(&day));
    let text = Format::new().set_num_format("@");
    let bold = Format::new().set_num_format("@").set_bold();
    let sheet = workbook.add_worksheet();
    sheet.set_name(name)?;
    sheet.set_freeze_panes(1, 0)?;
    for (column, (heading, width)) in head.iter().zip(widths).enumerate() {
        let column = column as u16;
        sheet.set_column_format(column, &text)?;
        sheet.set_column_width(column, f64::from(*width))?;
        sheet.write_string_with_format(0, column, *heading, &bold)?;
    }
    for (row, cells) in rows.iter().enumerate() {
        for (column, cell) in cells.iter().enumerate().filter(|(_, cell)| !cell.is_empty()) {
            let row = u32::try_from(row + 1).unwrap_or(u32::MAX);
            sheet.write_string_with_format(row, column as u16, cell, &text)?;
        }
    }
    workbook.save_to_buffer()
}
