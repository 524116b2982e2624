//! Tables and site files: read whole, mistakes shown at their place.

use std::io::Read;
use std::path::{Path, PathBuf};

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use holdover::file::{FileError, nearest};
use holdover::layout::{Layout, Table, builtin};
use holdover::site::Site;

use crate::fail::Fail;
use crate::host::{Host, Readers};
use crate::plain::plain;
use crate::request::BUILT_IN;
use crate::terminal;

/// Mistakes shown of one file; the rest is counted.
const SHOWN: usize = 20;

/// Reads a file whole, as text.
pub fn text(host: &dyn Host, path: &str, most_bytes: usize) -> Result<String, Fail> {
    let open = |path: &str| -> std::io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        host.open(path)?.take(most_bytes as u64 + 1).read_to_end(&mut bytes)?;
        Ok(bytes)
    };
    let bytes = open(path).map_err(|error| Fail::file(path, &error))?;
    if bytes.len() > most_bytes {
        let most = most_bytes >> 20;
        return Err(Fail::said(format!("{path}: larger than {most} MiB: is it the right file?")));
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..at].iter().filter(|&&b| b == b'\n').count() + 1;
        let what = "this is no UTF-8 text";
        Fail::said(format!("{path}:{line}: byte {}: {what}: save the file as UTF-8", at + 1))
    })
}

/// One table file, or the built-in table.
pub fn table(host: &dyn Host, name: &str) -> Result<Table, Fail> {
    if name == BUILT_IN {
        return Ok(builtin().clone());
    }
    let text = text(host, name, Table::MAX_BYTES)?;
    Table::from_toml(&text).map_err(|error| mistakes(host, name, &text, &error))
}

/// Several tables as one.
pub fn tables(host: &dyn Host, names: &[String]) -> Result<Table, Fail> {
    let mut all = Table::default();
    for name in names {
        for layout in table(host, name)?.layouts() {
            all.add(layout.clone()).map_err(|duplicate| {
                Fail::said(format!("{name}: {duplicate}, from a table before: rename one of them"))
            })?;
        }
    }
    if let Some(excess) = all.excess() {
        let mend = "name fewer tables, or leave layouts out that no card here can have";
        return Err(Fail::said(format!("the tables hold {excess}: {mend}")));
    }
    Ok(all)
}

/// A site file.
pub fn site(host: &dyn Host, path: &Path, table: &Table) -> Result<Site, Fail> {
    let name = path.display().to_string();
    let text = text(host, &name, Table::MAX_BYTES)?;
    Site::from_toml(&text, table).map_err(|error| mistakes(host, &name, &text, &error))
}

/// Refuses outputs that would replace an input, or one another, or what standard
/// output goes to.
pub fn keep_apart<'p>(
    host: &dyn Host,
    inputs: impl IntoIterator<Item = &'p Path>,
    outputs: impl IntoIterator<Item = &'p PathBuf>,
) -> Result<(), Fail> {
    let inputs: Vec<&Path> = inputs.into_iter().collect();
    let outputs: Vec<&Path> = outputs.into_iter().map(PathBuf::as_path).collect();
    host.keep_apart(&inputs, &outputs)
}

/// Writes files, all or none.
pub fn put<B: AsRef<[u8]>>(
    host: &dyn Host,
    files: &[(&Path, B)],
    readers: Readers,
) -> Result<(), Fail> {
    let files: Vec<(&Path, &[u8])> = files.iter().map(|(p, b)| (*p, b.as_ref())).collect();
    host.put(&files, readers)
}

/// Writes a file for its owner.
pub fn write(host: &dyn Host, path: &Path, bytes: &[u8]) -> Result<(), Fail> {
    host.put(&[(path, bytes)], Readers::Owner)
}

/// The layout of an id; if there is none, the nearest one is suggested.
pub fn layout<'t>(table: &'t Table, id: &str) -> Result<&'t Layout, Fail> {
    table.layout(id).ok_or_else(|| {
        let mend = match nearest(id, table.layouts().iter().map(Layout::id)) {
            Some(near) => format!("did you mean {near:?}?"),
            None => "see `holdover table list`".to_owned(),
        };
        Fail::said(format!("no layout {:?} in the table: {mend}", plain(id)))
    })
}

/// All mistakes of a file, each with its line, a caret and the mend.
fn mistakes(host: &dyn Host, name: &str, text: &str, error: &FileError) -> Fail {
    let renderer = match host.errors_in_colour() {
        true => Renderer::styled(),
        false => Renderer::plain(),
    };
    let renderer = renderer.term_width(terminal::width(host));
    // The renderer shows control characters as pictures but for these, which
    // terminals obey as well (ECMA-48 5.3); the stand-in is as long.
    let text = &text.replace(|c: char| ('\u{80}'..='\u{9f}').contains(&c), "¿");
    let mut shown = Vec::new();
    for mistake in error.mistakes().iter().take(SHOWN) {
        // The caret stands on one line, and never past the text.
        let start = mistake.bytes.start.min(text.len());
        let line_end = text[start..].find(['\n', '\r']).map_or(text.len(), |at| start + at);
        let end = mistake.bytes.end.clamp(start, line_end.max(start));
        let snippet = Snippet::source(text)
            .path(name)
            .fold(true)
            .annotation(AnnotationKind::Primary.span(start..end));
        let report: &[Group<'_>] = &[
            Level::ERROR.primary_title(mistake.message.as_str()).element(snippet),
            Group::with_title(Level::HELP.secondary_title(mistake.mend.as_str())),
        ];
        shown.push(renderer.render(report).to_string());
    }
    if let more @ 1.. = error.mistakes().len().saturating_sub(SHOWN) {
        shown.push(format!("and {more} more mistakes"));
    }
    let count = error.mistakes().len();
    let mistakes = if count == 1 { "1 mistake".to_owned() } else { format!("{count} mistakes") };
    Fail::said(format!("{name}: {mistakes}\n{}", shown.join("\n\n")))
}
