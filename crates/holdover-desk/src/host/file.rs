//! Files to read.

use std::cell::Cell;
use std::io::{self, ErrorKind, Read, Seek, SeekFrom};
use std::rc::Rc;
use std::sync::Arc;
use std::time::SystemTime;

/// A file that is open to be read.
pub enum File {
    /// One of the machine's.
    Machine(std::fs::File),
    /// Its bytes, and where its reading stands: clones share it, as they do
    /// on the machine.
    Desk(Arc<Vec<u8>>, Rc<Cell<usize>>),
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
}

/// What can be read again.
pub enum Lasting {
    /// The file itself.
    Itself(File),
    /// A private copy of what opens only once.
    Copy(File),
    /// Neither.
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
