//! Tables for the terminal and records for spreadsheets.

use std::borrow::Cow;
use std::io::Write;

use comfy_table::{ColumnConstraint, ContentArrangement, Table as Sheet, presets};

use crate::fail::Fail;
use crate::terminal::{self, Page, STRONG, columns, in_style};

/// Narrowest the last column of a table may become: two words.
const NARROWEST: usize = 16;

/// A table for the terminal. Its last column is broken to fit; where even that
/// does not help, a row becomes a paragraph.
pub struct Grid {
    head: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Grid {
    /// A table with these headings.
    pub fn new<S: Into<String>>(head: impl IntoIterator<Item = S>) -> Grid {
        Grid { head: head.into_iter().map(Into::into).collect(), rows: Vec::new() }
    }

    /// Adds a row, a cell a heading.
    pub fn row<S: Into<String>>(&mut self, cells: impl IntoIterator<Item = S>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// The lines of the table, none wider than the width.
    pub fn lines(&self, width: usize) -> Vec<String> {
        let widest = |column: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(column));
            cells.chain([&self.head[column]]).map(|cell| columns(cell)).max().unwrap_or(0)
        };
        // A blank on each side of a cell.
        let widths: Vec<usize> = (0..self.head.len()).map(|column| widest(column) + 2).collect();
        let last = widths.last().copied().unwrap_or(0);
        let others = widths.iter().sum::<usize>() - last;
        if others + last.min(NARROWEST + 2) > width {
            return self.paragraphs(width);
        }
        let mut sheet = Sheet::new();
        sheet.load_style(presets::NOTHING);
        sheet.set_content_arrangement(ContentArrangement::Dynamic);
        sheet.set_width(width as u16);
        sheet.set_header(&self.head);
        sheet.add_rows(&self.rows);
        for (column, _) in sheet.column_iter_mut().zip(&widths[1..]) {
            column.set_constraint(ColumnConstraint::ContentWidth);
        }
        sheet.trim_fmt().lines().map(str::to_owned).collect()
    }

    /// Prints it as wide as the page is.
    ///
    /// # Errors
    /// Standard output takes no more.
    pub fn print(&self, out: &mut Page) -> Result<(), Fail> {
        let lines = self.lines(out.width);
        Ok(lines.iter().try_for_each(|line| writeln!(out, "{line}"))?)
    }

    /// A row a paragraph: its first cell, then the others behind their headings.
    fn paragraphs(&self, width: usize) -> Vec<String> {
        let mut lines = Vec::new();
        for row in &self.rows {
            let mut cells = row.iter().zip(&self.head).filter(|(cell, _)| !cell.is_empty());
            let first = cells.next().map_or("", |(cell, _)| cell);
            let others: Vec<String> = cells.map(|(cell, head)| format!("{head} {cell}")).collect();
            let text = format!(" {}  {}", in_style(STRONG, first), others.join(", "));
            lines.extend(terminal::flow(&text, width));
        }
        lines
    }
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
/// front is dropped by some (common practice, no source). A plain number stays.
fn inert(cell: &str) -> Cow<'_, str> {
    let signs = ['=', '+', '-', '@', '＝', '＋', '－', '＠'];
    let begins = cell.starts_with(['\t', '\r', '\n'])
        || cell.trim_start_matches([' ', '\u{a0}', '\u{feff}']).starts_with(signs);
    match begins && cell != "-" && !is_number(cell) {
        true => Cow::Owned(format!("'{cell}")),
        false => Cow::Borrowed(cell),
    }
}

/// Characters of a number that a spreadsheet keeps to the last digit: 15 digits, a
/// sign and a point.
const KEPT_WHOLE: usize = 17;

/// A sign, digits and at most one point: `-0.1276`, `+49301234`.
fn is_number(cell: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let Some(number) = cell.strip_prefix(['+', '-']) else { return false };
    if cell.len() > KEPT_WHOLE {
        return false;
    }
    match number.split_once('.') {
        Some((whole, part)) => digits(whole) && digits(part),
        None => digits(number),
    }
}

/// A time in the unit people read it in.
pub fn time(us: f64) -> String {
    match us {
        us if us >= 1e6 => format!("{:.2} s", us / 1e6),
        us if us >= 1e4 => format!("{:.1} ms", us / 1e3),
        us if us >= 100.0 => format!("{us:.0} µs"),
        us if us >= 1.0 => format!("{us:.1} µs"),
        us => format!("{:.0} ns", us * 1e3),
    }
}

/// Lines named before the rest is counted. Judgement, no source: enough to look
/// at, and still one sentence.
pub const FIRST: usize = 3;

/// Words with commas between, and "and" before the last.
pub fn listed(words: &[String]) -> String {
    match words {
        [others @ .., last] if !others.is_empty() => format!("{} and {last}", others.join(", ")),
        words => words.join(""),
    }
}

/// The first of some lines, and how many more there are.
pub fn first(lines: &[usize]) -> String {
    let named: Vec<String> = lines.iter().take(FIRST).map(usize::to_string).collect();
    match lines.len() {
        1 => format!("line {}", listed(&named)),
        n if n > FIRST => format!("lines {} and {} more", named.join(", "), n - FIRST),
        _ => format!("lines {}", listed(&named)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_made_inert() {
        let begins = [
            "=1+1",
            "+1+1",
            "-1-1",
            "-A1",
            "@SUM(A1)",
            "-1.",
            "-.5",
            "+1.2.3",
            "-10100000100010000111000011",
            "\t=1",
            "\r=1",
            "\n=1",
            " =1",
            "＝1",
            "＠x",
        ];
        for cell in begins {
            assert_eq!(inert(cell), format!("'{cell}"));
        }
        for cell in ["", "-", "-0.1276", "+49301234", "01", "A. Dyer", "5=5", "'=1"] {
            assert_eq!(inert(cell), cell);
        }
    }
}
