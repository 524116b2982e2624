//! Inputs that are kept: seeds, corpora, and those that once broke something.

use std::path::{Path, PathBuf};
use std::{fs, io};

/// The files of a target's inputs, in a fixed order. A crash is kept under
/// `fixtures/crashes/` as `TARGET-what`.
///
/// # Errors
/// A directory that cannot be read; one that is not there holds nothing.
pub fn files(target: &str) -> io::Result<Vec<PathBuf>> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut all = Vec::new();
    for directory in [here.join("seeds").join(target), here.join("corpus").join(target)] {
        all.extend(entries(&directory)?);
    }
    let front = format!("{target}-");
    let crashes = entries(&here.join("../../fixtures/crashes"))?;
    let own = |path: &PathBuf| {
        path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(&front))
    };
    all.extend(crashes.into_iter().filter(own));
    all.sort();
    Ok(all)
}

/// Their bytes.
///
/// # Errors
/// As [`files`], or a file that cannot be read.
pub fn inputs(target: &str) -> io::Result<Vec<Vec<u8>>> {
    files(target)?.iter().map(fs::read).collect()
}

fn entries(directory: &Path) -> io::Result<Vec<PathBuf>> {
    match fs::read_dir(directory) {
        Ok(entries) => entries.map(|entry| Ok(entry?.path())).collect(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        Err(error) => Err(error),
    }
}
