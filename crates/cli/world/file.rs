//! Files to read, and standard input.

use std::cell::Cell;
use std::io::{self, ErrorKind, Read, Seek, SeekFrom};
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
use std::time::SystemTime;

use super::desk;

/// A file that is open to be read.
pub enum File {
    Machine(std::fs::File),
    /// Its bytes, and where its reading stands: clones share it, as they do
    /// on the machine.
    Desk(Arc<Vec<u8>>, Rc<Cell<usize>>),
}

/// Opens a file to be read.
pub fn open(name: &str) -> io::Result<File> {
    if !desk::by_value() {
        return std::fs::File::open(name).map(File::Machine);
    }
    // The words of Linux, whatever the machine.
    let words = "No such file or directory (os error 2)";
    desk::open(name).ok_or_else(|| io::Error::new(ErrorKind::NotFound, words))
}

/// Whether there is a file of that name.
pub fn exists(name: &str) -> bool {
    match desk::by_value() {
        true => desk::open(name).is_some(),
        false => Path::new(name).exists(),
    }
}

/// Standard input, as it comes.
pub fn stdin() -> Box<dyn Read> {
    match desk::by_value() {
        true => Box::new(desk::stdin()),
        false => Box::new(io::stdin().lock()),
    }
}

/// Standard input where it is a file, which has an end worth waiting for; on
/// a desk it is one.
pub fn stdin_file() -> Option<File> {
    if desk::by_value() {
        return Some(desk::stdin());
    }
    #[cfg(unix)]
    let copy = std::os::fd::AsFd::as_fd(&io::stdin()).try_clone_to_owned();
    #[cfg(windows)]
    let copy = std::os::windows::io::AsHandle::as_handle(&io::stdin()).try_clone_to_owned();
    #[cfg(not(any(unix, windows)))]
    let copy: io::Result<std::fs::File> = Err(ErrorKind::Unsupported.into());
    let file = File::Machine(copy.ok()?.into());
    file.is_file().then_some(file)
}

/// A private copy of standard input, which is no file.
pub fn stdin_copy() -> io::Result<File> {
    copied(&mut io::stdin().lock())
}

/// A copy in a file without a name, which nobody else can open and which is
/// gone with the command.
fn copied(from: &mut impl Read) -> io::Result<File> {
    let mut copy = tempfile::tempfile()?;
    io::copy(from, &mut copy)?;
    Ok(File::Machine(copy))
}

impl File {
    /// The same file, at the same place of it.
    pub fn try_clone(&self) -> io::Result<File> {
        match self {
            File::Machine(file) => file.try_clone().map(File::Machine),
            File::Desk(bytes, at) => Ok(File::Desk(bytes.clone(), at.clone())),
        }
    }

    /// Its length in bytes, and when it was last written, as far as that is
    /// known.
    pub fn stamp(&self) -> io::Result<(u64, Option<SystemTime>)> {
        match self {
            File::Machine(file) => {
                file.metadata().map(|about| (about.len(), about.modified().ok()))
            }
            File::Desk(bytes, _) => Ok((bytes.len() as u64, None)),
        }
    }

    /// Whether it can be read again from its start.
    pub fn is_file(&self) -> bool {
        match self {
            File::Machine(file) => file.metadata().is_ok_and(|about| about.is_file()),
            File::Desk(..) => true,
        }
    }

    /// The same where it can be read again; of what opens only once, as a pipe
    /// does, a private copy. A directory is neither.
    pub fn lasting(self) -> io::Result<Lasting> {
        let File::Machine(mut file) = self else { return Ok(Lasting::Itself(self)) };
        let about = file.metadata()?;
        match (about.is_dir(), about.is_file()) {
            (true, _) => Ok(Lasting::Directory),
            (false, true) => Ok(Lasting::Itself(File::Machine(file))),
            (false, false) => copied(&mut file).map(Lasting::Copy),
        }
    }
}

/// What can be read again.
pub enum Lasting {
    Itself(File),
    Copy(File),
    Directory,
}

impl Read for &File {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self {
            File::Machine(file) => (&*file).read(into),
            File::Desk(bytes, at) => {
                let count = bytes.get(at.get()..).unwrap_or_default().read(into)?;
                at.set(at.get() + count);
                Ok(count)
            }
        }
    }
}

impl Seek for &File {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match self {
            File::Machine(file) => (&*file).seek(to),
            File::Desk(bytes, at) => {
                let sought = match to {
                    SeekFrom::Start(at) => usize::try_from(at).ok(),
                    SeekFrom::End(by) => {
                        isize::try_from(by).ok().and_then(|by| bytes.len().checked_add_signed(by))
                    }
                    SeekFrom::Current(by) => {
                        isize::try_from(by).ok().and_then(|by| at.get().checked_add_signed(by))
                    }
                };
                at.set(sought.ok_or(ErrorKind::InvalidInput)?);
                Ok(at.get() as u64)
            }
        }
    }
}

impl Read for File {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        (&*self).read(into)
    }

    fn read_to_end(&mut self, into: &mut Vec<u8>) -> io::Result<usize> {
        match self {
            // It knows how much is left.
            File::Machine(file) => file.read_to_end(into),
            File::Desk(..) => {
                let count = io::copy(&mut &*self, into)?;
                Ok(usize::try_from(count).unwrap_or(usize::MAX))
            }
        }
    }
}

impl Seek for File {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        (&*self).seek(to)
    }
}
