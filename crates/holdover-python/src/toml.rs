//! Table files as text, with every mistake told.

use holdover::file::FileError;
use holdover::layout as library;
use pyo3::prelude::*;

use crate::fault::{refused, working};

/// Reads a table file's text; `name` is what mistakes call it.
pub fn from_text(py: Python<'_>, text: &str, name: &str) -> PyResult<library::Table> {
    if text.len() > library::Table::MAX_BYTES {
        let most = library::Table::MAX_BYTES;
        return Err(refused(format!("{name}: {} bytes, a table has at most {most}", text.len())));
    }
    let read = working(py, || library::Table::from_toml(text))?;
    let table = read.map_err(|error| refused(told(&error, text, name)))?;
    match table.excess() {
        Some(excess) => Err(refused(format!("{name}: {excess}: leave some out"))),
        None => Ok(table),
    }
}

/// Every mistake with its place and its mend, a line each.
fn told(error: &FileError, text: &str, name: &str) -> String {
    /// Mistakes told in full.
    const MOST: usize = 20;
    let line = |mistake: &holdover::file::Mistake| {
        let (line, column) = mistake.line_and_column(text);
        format!("{name}:{line}:{column}: {}: {}", mistake.message, mistake.mend)
    };
    let mut lines: Vec<String> = error.mistakes().iter().take(MOST).map(line).collect();
    if let Some(more @ 1..) = error.mistakes().len().checked_sub(MOST) {
        lines.push(format!("and {more} more"));
    }
    lines.join("\n")
}
