//! Tables of layouts and site files, given by path or by text.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use datafusion::error::{DataFusionError, Result};
use holdover::file::{FileError, nearest};
use holdover::layout::{Layout, Table, builtin};
use holdover::site::Site;

/// The name of the table that ships.
pub const BUILT_IN: &str = "built-in";

/// An error of the query.
pub(crate) fn wrong(message: impl Into<String>) -> DataFusionError {
    DataFusionError::Plan(message.into())
}

/// The text of a table or site file: itself, where it has more than one line;
/// otherwise it is a path.
///
/// # Errors
/// The file cannot be read, is too large or no text.
pub fn text(given: &str) -> Result<String> {
    if given.contains('\n') || given == BUILT_IN || given.is_empty() {
        return Ok(given.to_owned());
    }
    let mend = "give a path that this machine has, or the text itself";
    let bytes = std::fs::metadata(given).map_err(|e| wrong(format!("{given}: {e}: {mend}")))?.len();
    if bytes > Table::MAX_BYTES as u64 {
        let most = Table::MAX_BYTES >> 20;
        return Err(wrong(format!("{given}: larger than {most} MiB: is it the right file?")));
    }
    let text =
        std::fs::read_to_string(given).map_err(|e| wrong(format!("{given}: {e}: {mend}")))?;
    // Of one line, it would be taken for a path next time.
    Ok(if text.contains('\n') { text } else { text + "\n" })
}

/// What a file is called in errors.
fn name<'a>(given: &'a str, what: &'a str) -> &'a str {
    if given.contains('\n') { what } else { given }
}

/// Every mistake with its line, and the mend.
fn mistakes(name: &str, text: &str, error: &FileError) -> DataFusionError {
    let each = error.mistakes().iter().take(SHOWN).map(|mistake| {
        let (line, column) = mistake.line_and_column(text);
        format!("{name}:{line}:{column}: {}: {}", mistake.message, mistake.mend)
    });
    let mut lines: Vec<String> = each.collect();
    if let more @ 1.. = error.mistakes().len().saturating_sub(SHOWN) {
        lines.push(format!("and {more} more mistakes"));
    }
    wrong(lines.join("\n"))
}

/// Mistakes shown of one file.
const SHOWN: usize = 20;

/// A table by path or text. It is kept as long as the process lives: a query has
/// one, and fits of all groups share it.
///
/// # Errors
/// The file cannot be read, or every mistake in it.
pub fn table(given: &str) -> Result<&'static Table> {
    static KNOWN: Mutex<Option<HashMap<String, &'static Table>>> = Mutex::new(None);
    if given == BUILT_IN || given.is_empty() {
        return Ok(builtin());
    }
    let text = text(given)?;
    let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    let known = known.get_or_insert_default();
    if let Some(table) = known.get(&text) {
        return Ok(table);
    }
    let table = Table::from_toml(&text).map_err(|e| mistakes(name(given, "table"), &text, &e))?;
    let table: &'static Table = Box::leak(Box::new(table));
    known.insert(text, table);
    Ok(table)
}

/// A site file by path or text; none where nothing is given.
///
/// # Errors
/// The file cannot be read, or every mistake in it.
pub fn site(given: &str, table: &Table) -> Result<Option<Arc<Site>>> {
    if given.is_empty() {
        return Ok(None);
    }
    let text = text(given)?;
    let site = Site::from_toml(&text, table)
        .map_err(|error| mistakes(name(given, "site file"), &text, &error))?;
    Ok(Some(Arc::new(site)))
}

/// The layout of an id.
///
/// # Errors
/// There is none, and the nearest.
pub fn layout<'t>(table: &'t Table, id: &str) -> Result<&'t Layout> {
    table.layout(id).ok_or_else(|| {
        let ids = table.layouts().iter().map(Layout::id);
        let mend = match nearest(id, ids.clone()) {
            Some(near) => format!("did you mean '{near}'?"),
            None => format!("it has {}", ids.collect::<Vec<_>>().join(", ")),
        };
        wrong(format!("card_decode: no layout '{id}' in the table: {mend}"))
    })
}
