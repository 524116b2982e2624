//! Where files, standard input, output and error are. A verb is handed a
//! [`Host`]: the machine's own, as the command line has it, or files in memory
//! ([`Memory`]). Nothing else asks for any of them.
//!
//! A host stays on the thread of the call: what other threads work out they
//! hand back, and neither print nor open anything. What a host cannot have (a
//! port, a bar, a clock) is `None` there, or refused.

mod file;
mod memory;

use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::Receiver;
use std::time::Instant;

use crate::fail::Fail;
use crate::plain::plain;
pub use file::{File, Lasting};
pub use memory::{Desk, MAX_OUTPUT, Memory, Ran};

/// Who may read a file, as far as the user lets anyone (umask).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Readers {
    /// Its owner: it holds cards, or may come to.
    Owner,
    /// Everyone.
    Everyone,
}

/// What a bar counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Bytes.
    Bytes,
    /// Rows.
    Rows,
    /// Nothing: that the work goes on is all there is to say.
    Time,
}

/// Shows how far a piece of work is, until it is dropped.
pub trait Bar: Send {
    /// So much more is done.
    fn add(&mut self, more: u64);
}

/// Blocks of bytes as they come.
pub type Blocks = Receiver<io::Result<Vec<u8>>>;

/// What a verb works in: its files, what it prints, and who looks on.
pub trait Host {
    /// Opens a file to be read.
    fn open(&self, name: &str) -> io::Result<File>;

    /// Whether there is something of that name.
    fn exists(&self, name: &str) -> bool;

    /// A file that can be read again, whatever it is.
    fn lasting(&self, file: File) -> io::Result<Lasting>;

    /// Standard input, as it comes.
    fn stdin(&self) -> Box<dyn Read>;

    /// Standard input where it is a file, which has an end worth waiting for.
    fn stdin_file(&self) -> Option<File>;

    /// A private copy of standard input, which is no file.
    fn stdin_copy(&self) -> io::Result<File>;

    /// Standard input by the block, so that its silence is noticed.
    fn stdin_blocks(&self) -> Blocks;

    /// What a serial port sends.
    fn port(&self, name: &str, baud: u32) -> Result<Blocks, Fail>;

    /// Refuses outputs that would replace an input, or one another, or what
    /// standard output goes to.
    fn keep_apart(&self, inputs: &[&Path], outputs: &[&Path]) -> Result<(), Fail>;

    /// Writes files, all or none.
    fn put(&self, files: &[(&Path, &[u8])], readers: Readers) -> Result<(), Fail>;

    /// Writes new files for their owner, all or none, in a directory made where
    /// there is none yet; what is there already is left as it is, and named.
    fn put_new(&self, files: &[(&Path, &[u8])]) -> Result<(), Fail>;

    /// Standard output, as it comes.
    fn out(&self) -> Box<dyn Write>;

    /// Standard output, in the colours that are wanted and can be shown.
    fn styled(&self) -> Box<dyn Write>;

    /// Prints a line to standard error.
    fn say(&self, line: &str);

    /// Whether nothing of these words was noted before in this run.
    fn is_new(&self, note: &str) -> bool;

    /// Columns of the terminal, if there is one.
    fn columns(&self) -> Option<usize>;

    /// Whether standard error shows colour.
    fn errors_in_colour(&self) -> bool;

    /// Whether someone watches standard output as it comes.
    fn output_is_watched(&self) -> bool;

    /// The time, where there is a clock.
    fn now(&self) -> Option<Instant>;

    /// A bar, where someone would see it.
    fn bar(&self, what: &str, unit: Unit, total: Option<u64>) -> Option<Box<dyn Bar>>;
}

/// Refuses outputs whose `place` is that of an input, or of an output before.
pub fn apart(
    inputs: Vec<PathBuf>,
    mut taken: Vec<PathBuf>,
    outputs: &[&Path],
    place: impl Fn(&Path) -> Option<PathBuf>,
) -> Result<(), Fail> {
    for path in outputs {
        let Some(at) = place(path) else { continue };
        let name = plain(&path.display().to_string());
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

/// Refuses new files where something is already.
pub fn refuse_there(
    files: &[(&Path, &[u8])],
    is_there: impl Fn(&Path) -> bool,
) -> Result<(), Fail> {
    let there: Vec<String> = files
        .iter()
        .filter(|(path, _)| is_there(path))
        .map(|(path, _)| plain(&path.display().to_string()))
        .collect();
    match there.is_empty() {
        true => Ok(()),
        false => {
            let mend = "name another directory, or move it away";
            let there = there.join(", ");
            Err(Fail::said(format!("{there}: there already, nothing is written: {mend}")))
        }
    }
}
