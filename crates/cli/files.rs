//! Tables and site files: read whole, mistakes shown at their place.

use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use holdover::file::{FileError, nearest};
use holdover::layout::{Layout, Table, builtin};
use holdover::site::Site;

use crate::fail::Fail;
use crate::screen;

/// The name of the table that ships, where a file name could stand.
pub const BUILT_IN: &str = "built-in";

/// Mistakes shown of one file; the rest is counted.
const SHOWN: usize = 20;

/// Reads a file whole, as text.
pub fn text(path: &str, most_bytes: usize) -> Result<String, Fail> {
    let open = |path: &str| -> std::io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        File::open(path)?.take(most_bytes as u64 + 1).read_to_end(&mut bytes)?;
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
pub fn table(name: &str) -> Result<Table, Fail> {
    if name == BUILT_IN {
        return Ok(builtin().clone());
    }
    let text = text(name, Table::MAX_BYTES)?;
    Table::from_toml(&text).map_err(|error| mistakes(name, &text, &error))
}

/// Several tables as one.
pub fn tables(names: &[String]) -> Result<Table, Fail> {
    let mut all = Table::default();
    for name in names {
        for layout in table(name)?.layouts() {
            all.add(layout.clone()).map_err(|duplicate| {
                Fail::said(format!("{name}: {duplicate}, from a table before: rename one of them"))
            })?;
        }
    }
    Ok(all)
}

/// A site file.
pub fn site(path: &Path, table: &Table) -> Result<Site, Fail> {
    let name = path.display().to_string();
    let text = text(&name, Table::MAX_BYTES)?;
    Site::from_toml(&text, table).map_err(|error| mistakes(&name, &text, &error))
}

/// The layout of an id; if there is none, the nearest one is suggested.
pub fn layout<'t>(table: &'t Table, id: &str) -> Result<&'t Layout, Fail> {
    table.layout(id).ok_or_else(|| {
        let mend = match nearest(id, table.layouts().iter().map(Layout::id)) {
            Some(near) => format!("did you mean {near:?}?"),
            None => "see `holdover table list`".to_owned(),
        };
        Fail::said(format!("no layout {:?} in the table: {mend}", screen::plain(id)))
    })
}

/// Refuses outputs that would replace an input, or one another.
///
/// An earlier plan may be replaced by the one that is compared with it.
pub fn keep_apart<'p>(
    inputs: impl IntoIterator<Item = &'p Path>,
    outputs: impl IntoIterator<Item = &'p PathBuf>,
) -> Result<(), Fail> {
    // A file that is not there yet goes by its directory's true name.
    let place = |path: &Path| -> Option<PathBuf> {
        // Standard input may be a file.
        let path = if path == Path::new("-") { Path::new("/dev/stdin") } else { path };
        path.canonicalize().ok().or_else(|| {
            let parent = path.parent().filter(|parent| !parent.as_os_str().is_empty());
            let parent = parent.unwrap_or(Path::new(".")).canonicalize().ok()?;
            Some(parent.join(path.file_name()?))
        })
    };
    let inputs: Vec<PathBuf> = inputs.into_iter().filter_map(place).collect();
    let mut taken: Vec<PathBuf> = Vec::new();
    for path in outputs {
        let Some(at) = place(path) else { continue };
        let name = screen::plain(&path.display().to_string());
        if inputs.contains(&at) {
            let mend = "write to another file";
            return Err(Fail::said(format!("{name}: not written: it is an input: {mend}")));
        }
        if taken.contains(&at) {
            let mend = "give each a file of its own";
            return Err(Fail::said(format!(
                "{name}: not written: two outputs in one file: {mend}"
            )));
        }
        taken.push(at);
    }
    Ok(())
}

/// Writes a file whole or not at all: beside it first, then in its place.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), Fail> {
    let file = beside(path, bytes)?;
    file.persist(path).map_err(|error| not_written(path, &error.error))?;
    Ok(())
}

/// Writes new files, all of them or none, in a directory made where there is
/// none yet. A file that is there already is left as it is, and named.
pub fn create(files: &[(&Path, &[u8])]) -> Result<(), Fail> {
    let there: Vec<String> = files
        .iter()
        .filter(|(path, _)| path.symlink_metadata().is_ok())
        .map(|(path, _)| screen::plain(&path.display().to_string()))
        .collect();
    if !there.is_empty() {
        let mend = "name another directory, or move it away";
        let there = there.join(", ");
        return Err(Fail::said(format!("{there}: there already, nothing is written: {mend}")));
    }
    for (path, _) in files {
        std::fs::create_dir_all(directory(path)).map_err(|error| not_written(path, &error))?;
    }
    let mut beside_all = Vec::with_capacity(files.len());
    for (path, bytes) in files {
        beside_all.push((*path, beside(path, bytes)?));
    }
    let mut written: Vec<&Path> = Vec::new();
    for (path, file) in beside_all {
        if let Err(error) = file.persist_noclobber(path) {
            // What cannot be taken back either is nobody's work yet.
            written.iter().for_each(|path| _ = std::fs::remove_file(path));
            return Err(not_written(path, &error.error));
        }
        written.push(path);
    }
    Ok(())
}

fn not_written(path: &Path, error: &std::io::Error) -> Fail {
    let name = screen::plain(&path.display().to_string());
    Fail::said(format!("{name}: not written: {error}"))
}

fn directory(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// A file's content in a file of no name yet, beside where it goes.
fn beside(path: &Path, bytes: &[u8]) -> Result<tempfile::NamedTempFile, Fail> {
    // A device or a pipe would be replaced by a file.
    if std::fs::metadata(path).is_ok_and(|about| !about.is_file()) {
        let name = screen::plain(&path.display().to_string());
        return Err(Fail::said(format!("{name}: not written: it is no file: name another")));
    }
    let failed = |error: std::io::Error| not_written(path, &error);
    let mut file = tempfile::NamedTempFile::new_in(directory(path)).map_err(failed)?;
    file.write_all(bytes).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    Ok(file)
}

/// All mistakes of a file, each with its line, a caret and the mend.
fn mistakes(name: &str, text: &str, error: &FileError) -> Fail {
    let renderer = match screen::errors_in_colour() {
        true => Renderer::styled(),
        false => Renderer::plain(),
    };
    let renderer = renderer.term_width(screen::width());
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
