//! Inputs that are kept: seeds, corpora, and those that once broke something.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

use zip::ZipArchive;

/// The inputs of a target with their names, in a fixed order. What fuzzing
/// found is an archive a target, `corpus/TARGET.zip`; a crash is kept under
/// `fixtures/crashes/` as `TARGET-what`.
///
/// # Errors
/// A directory or an archive that cannot be read; one that is not there holds
/// nothing.
pub fn inputs(target: &str) -> io::Result<Vec<(String, Vec<u8>)>> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut all = loose(&here.join("seeds").join(target), "")?;
    all.extend(loose(&here.join("../../fixtures/crashes"), &format!("{target}-"))?);
    all.extend(packed(&here.join("corpus").join(format!("{target}.zip")))?);
    all.sort();
    Ok(all)
}

/// The files of a directory whose names begin so.
fn loose(directory: &Path, front: &str) -> io::Result<Vec<(String, Vec<u8>)>> {
    let entries = match fs::read_dir(directory) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries?,
    };
    let mut all = Vec::new();
    for entry in entries {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if name.starts_with(front) {
            all.push((name, fs::read(path)?));
        }
    }
    Ok(all)
}

fn packed(archive: &Path) -> io::Result<Vec<(String, Vec<u8>)>> {
    let file = match File::open(archive) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        file => file?,
    };
    let mut archive = ZipArchive::new(file)?;
    let mut all = Vec::new();
    for nth in 0..archive.len() {
        let mut entry = archive.by_index(nth)?;
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes)?;
        all.push((entry.name().to_owned(), bytes));
    }
    Ok(all)
}
