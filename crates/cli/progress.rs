//! A bar on standard error while long work goes on: only on a terminal, only
//! after a second, and out of the way of whatever else is printed.

#[cfg(not(target_family = "wasm"))]
mod bar;
#[cfg(target_family = "wasm")]
mod nobody;

use std::io::{self, Read, Seek};

#[cfg(not(target_family = "wasm"))]
pub use bar::{Progress, aside, during};
#[cfg(target_family = "wasm")]
pub use nobody::{Progress, aside, during};

use crate::world;

/// A reader whose bytes are counted.
pub struct Counted<R> {
    from: R,
    progress: Progress,
}

/// Counts the bytes read of a file, or of a pipe whose length nobody knows.
pub fn counted<R: Read>(name: &str, from: R, total: Option<u64>) -> Counted<R> {
    Counted { from, progress: Progress::of_bytes(name, total) }
}

/// A file opened to be read, its bytes counted.
pub fn open(path: &str) -> io::Result<Counted<world::File>> {
    let file = world::open(path)?;
    let total = file.stamp().ok().filter(|_| file.is_file()).map(|(bytes, _)| bytes);
    Ok(counted(path, file, total))
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
