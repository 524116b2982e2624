//! Files written whole or not at all, whatever happens in between.
//!
//! The content goes to the disk first, under no name or one of its own, and
//! then takes the file's place in one step; the directory is put on the disk
//! after it. Who reads the place at any time, or after a loss of power, finds
//! the old file or the new one.

use std::ffi::OsStr;
use std::fs::File;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use tempfile::TempPath;

use holdover_desk::Fail;
use holdover_desk::host::{Readers, apart, refuse_there};
use holdover_desk::plain::plain;

/// What the names of files that are not in their place yet begin with.
const BESIDE: &str = ".holdover-";

/// The permissions of a file.
fn mode(readers: Readers) -> u32 {
    match readers {
        Readers::Owner => 0o600,
        Readers::Everyone => 0o644,
    }
}

/// Refuses outputs that would replace an input, or one another, or what standard
/// output goes to.
pub fn keep_apart(inputs: &[&Path], outputs: &[&Path]) -> Result<(), Fail> {
    // A file that is not there yet goes by its directory's true name.
    let place = |path: &Path| -> Option<PathBuf> {
        // Standard input may be a file.
        let path = if path == Path::new("-") { Path::new("/dev/stdin") } else { path };
        path.canonicalize()
            .ok()
            .or_else(|| Some(directory(path).canonicalize().ok()?.join(path.file_name()?)))
    };
    let inputs = inputs.iter().filter_map(|path| place(path)).collect();
    // What standard output goes to is an output.
    let printed = Path::new("/dev/stdout").canonicalize().ok().filter(|path| path.is_file());
    apart(inputs, printed.into_iter().collect(), outputs, place)
}

/// Writes files, all or none. All are on the disk before the first takes its
/// place, and where one cannot take its own, the others give theirs back (but
/// for files replaced where the system cannot exchange two). A link at a place
/// is replaced, not followed.
pub fn write_all(files: &[(&Path, &[u8])], readers: Readers) -> Result<(), Fail> {
    let several = files.len() > 1;
    put_all(files, readers, |new, path| put(new, path, several))
}

/// Puts files in their places, all or none, each by `put`.
fn put_all(
    files: &[(&Path, &[u8])],
    readers: Readers,
    put: impl Fn(TempPath, &Path) -> io::Result<Stood>,
) -> Result<(), Fail> {
    let mut taken: Vec<(&Path, Stood)> = Vec::new();
    for (path, ready) in ready_all(files, readers)? {
        match ready.name(directory(path)).and_then(|name| put(name, path)) {
            Ok(stood) => taken.push((path, stood)),
            Err(error) => {
                // What cannot be taken back either is nobody's work yet.
                taken.into_iter().rev().for_each(|(path, stood)| stood.give_back(path));
                return Err(not_written(path, &error));
            }
        }
    }
    settle(files)
}

/// What stood where a file was put.
enum Stood {
    Nothing,
    /// The old file, by another name; it goes when this does.
    Old(TempPath),
    /// The old file is gone: this system cannot keep it.
    Gone,
}

impl Stood {
    /// Makes the place as it was, where another output has failed.
    fn give_back(self, path: &Path) {
        match self {
            Stood::Nothing => _ = std::fs::remove_file(path),
            Stood::Old(old) => _ = exchange(&old, path),
            Stood::Gone => {}
        }
    }
}

/// Puts a file in its place; of several, what stood there is kept until all are.
fn put(new: TempPath, path: &Path, several: bool) -> io::Result<Stood> {
    let old = path.symlink_metadata().is_ok();
    if several && old && exchange(&new, path).is_ok() {
        return Ok(Stood::Old(new));
    }
    new.persist(path)?;
    Ok(if old { Stood::Gone } else { Stood::Nothing })
}

/// Two files take each other's names (renameat2(2)).
#[cfg(target_os = "linux")]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE)?)
}

#[cfg(not(target_os = "linux"))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(ErrorKind::Unsupported.into())
}

/// Writes new files for their owner, all of them or none, in a directory made
/// where there is none yet. A file that is there already is left as it is, and
/// named.
pub fn create(files: &[(&Path, &[u8])]) -> Result<(), Fail> {
    refuse_there(files, |path| path.symlink_metadata().is_ok())?;
    for (path, _) in files {
        make_directory(directory(path))?;
    }
    put_all(files, Readers::Owner, |new, path| {
        new.persist_noclobber(path)?;
        Ok(Stood::Nothing)
    })
}

/// Makes a directory, and those it is in.
pub fn make_directory(path: &Path) -> Result<(), Fail> {
    if path.is_dir() {
        return Ok(());
    }
    let within = directory(path);
    if within != path {
        make_directory(within)?;
    }
    std::fs::create_dir(path).and_then(|()| sync(within)).map_err(|error| {
        let name = plain(&path.display().to_string());
        Fail::said(format!("{name}: no directory can be made: {}", why(&error)))
    })
}

/// A file's content on the disk, not in its place yet.
struct Ready {
    file: File,
    /// Its name; where the system knows how, it has none before it needs one,
    /// and goes with the command however that ends.
    name: Option<TempPath>,
}

impl Ready {
    /// Puts the content on the disk.
    fn new(path: &Path, bytes: &[u8], readers: Readers) -> io::Result<Ready> {
        let within = directory(path);
        let mut ready = match unnamed(within, readers) {
            Some(file) => Ready { file, name: None },
            None => {
                let (file, name) = beside(within, readers)?.into_parts();
                Ready { file, name: Some(name) }
            }
        };
        ready.file.write_all(bytes)?;
        ready.restrict(path)?;
        ready.file.sync_all()?;
        Ok(ready)
    }

    /// Lets nobody read it who could not read the file it replaces.
    #[cfg(unix)]
    fn restrict(&self, path: &Path) -> io::Result<()> {
        use std::os::unix::fs::PermissionsExt;
        let Ok(before) = std::fs::metadata(path) else { return Ok(()) };
        let mut narrower = self.file.metadata()?.permissions();
        narrower.set_mode(narrower.mode() & before.permissions().mode());
        self.file.set_permissions(narrower)
    }

    #[cfg(not(unix))]
    fn restrict(&self, _: &Path) -> io::Result<()> {
        Ok(())
    }

    /// Its name, for as long as it takes to put it in its place.
    fn name(self, within: &Path) -> io::Result<TempPath> {
        match self.name {
            Some(name) => Ok(name),
            None => named(&self.file, within),
        }
    }
}

/// A file with a name of its own, beside the place it goes to.
fn beside(within: &Path, readers: Readers) -> io::Result<tempfile::NamedTempFile> {
    let mut new = tempfile::Builder::new();
    new.prefix(BESIDE);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        new.permissions(std::fs::Permissions::from_mode(mode(readers)));
    }
    _ = mode(readers);
    new.tempfile_in(within)
}

/// A file without a name in a directory, where there is such a thing.
#[cfg(target_os = "linux")]
fn unnamed(within: &Path, readers: Readers) -> Option<File> {
    use rustix::fs::{CWD, Mode, OFlags, openat};
    let flags = OFlags::TMPFILE | OFlags::WRONLY | OFlags::CLOEXEC;
    let file = File::from(openat(CWD, within, flags, Mode::from_raw_mode(mode(readers))).ok()?);
    // It is named by this later.
    descriptor(&file).exists().then_some(file)
}

/// The name a file without one goes by (proc(5)).
#[cfg(target_os = "linux")]
fn descriptor(file: &File) -> PathBuf {
    use std::os::fd::AsRawFd;
    format!("/proc/self/fd/{}", file.as_raw_fd()).into()
}

#[cfg(target_os = "linux")]
fn named(file: &File, within: &Path) -> io::Result<TempPath> {
    use rustix::fs::{AtFlags, CWD, linkat};
    let from = descriptor(file);
    let link = |name: &Path| Ok(linkat(CWD, &from, CWD, name, AtFlags::SYMLINK_FOLLOW)?);
    Ok(tempfile::Builder::new().prefix(BESIDE).make_in(within, link)?.into_temp_path())
}

#[cfg(not(target_os = "linux"))]
fn unnamed(_: &Path, _: Readers) -> Option<File> {
    None
}

#[cfg(not(target_os = "linux"))]
fn named(_: &File, _: &Path) -> io::Result<TempPath> {
    Err(ErrorKind::Unsupported.into())
}

/// All of them on the disk, or none in its place.
fn ready_all<'p>(
    files: &[(&'p Path, &[u8])],
    readers: Readers,
) -> Result<Vec<(&'p Path, Ready)>, Fail> {
    let mut all = Vec::with_capacity(files.len());
    for (path, bytes) in files {
        // A device, a pipe or the name of one would be replaced by a file.
        if is_the_systems(path) || std::fs::metadata(path).is_ok_and(|about| !about.is_file()) {
            let name = plain(&path.display().to_string());
            return Err(Fail::said(format!("{name}: not written: it is no file: name another")));
        }
        let ready = Ready::new(path, bytes, readers);
        all.push((*path, ready.map_err(|error| not_written(path, &error))?));
    }
    Ok(all)
}

/// Whether a name is the system's, such as that of standard output, whatever
/// file is behind it now.
fn is_the_systems(path: &Path) -> bool {
    let Ok(within) = directory(path).canonicalize() else { return false };
    let named = within.starts_with("/dev") && !within.starts_with("/dev/shm");
    cfg!(unix) && (named || within.starts_with("/proc") || within.starts_with("/sys"))
}

/// Puts on the disk that files are in their places.
fn settle(files: &[(&Path, &[u8])]) -> Result<(), Fail> {
    let mut settled: Vec<&Path> = Vec::new();
    for (path, _) in files {
        let within = directory(path);
        if settled.contains(&within) {
            continue;
        }
        sync(within).map_err(|error| {
            let name = plain(&path.display().to_string());
            Fail::said(format!("{name}: written, but a loss of power may undo it: {}", why(&error)))
        })?;
        settled.push(within);
    }
    Ok(())
}

/// Puts a directory's entries on the disk.
#[cfg(unix)]
fn sync(directory: &Path) -> io::Result<()> {
    let synced = File::open(directory).and_then(|directory| directory.sync_all());
    match synced {
        // Who may only write in it cannot open it, and some file systems keep
        // no directories to put anywhere.
        Err(error)
            if matches!(
                error.kind(),
                ErrorKind::PermissionDenied | ErrorKind::InvalidInput | ErrorKind::Unsupported
            ) =>
        {
            Ok(())
        }
        synced => synced,
    }
}

/// Elsewhere no directory can be opened; the file system keeps its own journal.
#[cfg(not(unix))]
fn sync(_: &Path) -> io::Result<()> {
    Ok(())
}

fn not_written(path: &Path, error: &io::Error) -> Fail {
    let name = plain(&path.display().to_string());
    Fail::said(format!("{name}: not written: {}", why(error)))
}

/// Why a file cannot be written, and how to mend it.
fn why(error: &io::Error) -> String {
    let mend = match error.kind() {
        ErrorKind::NotFound => "make its directory, or name another",
        ErrorKind::NotADirectory | ErrorKind::AlreadyExists => {
            "a file is where a directory should be: name another"
        }
        ErrorKind::PermissionDenied => "ask who may write there, or name another directory",
        ErrorKind::ReadOnlyFilesystem => "name a directory on another disk",
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => "make room, or name another disk",
        ErrorKind::FileTooLarge => "raise the limit on the size of files (ulimit -f)",
        ErrorKind::InvalidFilename => "give it a shorter name",
        _ => "check the disk and try again",
    };
    // The path is said already, and the one beside it says nothing.
    let error = error.to_string();
    let error = error.split(" at path ").next().unwrap_or_default();
    format!("{error}: {mend}")
}

fn directory(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if parent.as_os_str() != OsStr::new("") => parent,
        Some(_) => Path::new("."),
        None => path,
    }
}
