//! How far long work is, where someone would see it.

use std::io::{self, Read, Seek};

use crate::host::{Bar, File, Host, Unit};

/// How far a piece of work is. Ends, and is gone from the screen, when dropped.
pub struct Progress(Option<Box<dyn Bar>>);

impl Progress {
    /// Rows done, of how many.
    pub fn of_rows(host: &dyn Host, what: &str, total: usize) -> Progress {
        Progress(host.bar(what, Unit::Rows, Some(total as u64)))
    }

    /// So much more is done. Cheap; but a row at a time costs a clock.
    pub fn add(&mut self, more: u64) {
        if let Some(bar) = &mut self.0 {
            bar.add(more);
        }
    }
}

/// Work that nobody counts.
pub fn during<T>(host: &dyn Host, what: &str, work: impl FnOnce() -> T) -> T {
    let _bar = host.bar(what, Unit::Time, None);
    work()
}

/// A reader whose bytes are counted.
pub struct Counted<R> {
    from: R,
    progress: Progress,
}

/// Counts the bytes read of a file, or of a pipe whose length nobody knows.
pub fn counted<R: Read>(host: &dyn Host, name: &str, from: R, total: Option<u64>) -> Counted<R> {
    Counted { from, progress: Progress(host.bar(name, Unit::Bytes, total)) }
}

/// A file opened to be read, its bytes counted.
pub fn open(host: &dyn Host, path: &str) -> io::Result<Counted<File>> {
    let file = host.open(path)?;
    let total = file.stamp().ok().filter(|_| file.is_file()).map(|(bytes, _)| bytes);
    Ok(counted(host, path, file, total))
}

impl<R: Seek> Counted<R> {
    /// Passes over bytes, which count as read.
    pub fn skip(&mut self, bytes: u64) -> io::Result<()> {
        self.from.seek_relative(bytes as i64)?;
        self.progress.add(bytes);
        Ok(())
    }
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.from.read(into)?;
        self.progress.add(count as u64);
        Ok(count)
    }
}
