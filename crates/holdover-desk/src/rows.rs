//! A sheet as rows, within its limits.

/// A sheet with its header.
#[derive(Default)]
pub struct Sheet {
    /// The header's cells, and its line.
    pub headings: Vec<String>,
    /// See there; 0 of a workbook.
    pub header: u64,
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

    pub fn add(&mut self, (line, cells): (u64, Result<Vec<String>, String>)) {
        match cells {
            Ok(cells) => self.rows.push((line, cells)),
            Err(why) => self.mistakes.push((line, why)),
        }
    }
}
