//! Holdover inside another program: a [`Desk`] holds files by name, in memory,
//! and the commands of `holdover` work on them.
//!
//! What a command prints and writes is, byte for byte, what the binary prints
//! and writes, because it is the same code. A desk reads no disk, no clock, no
//! variable of the environment and no terminal; it opens no socket, and two
//! desks know nothing of each other. Any number may be at work at once, each in
//! a thread of its own.
//!
//! ```
//! use holdover_desk::Desk;
//!
//! let mut desk = Desk::new();
//! desk.put("captures.txt", "10100000100010000111000011\n");
//! let ran = desk.run(&["read", "captures.txt", "--format", "csv"]);
//! assert_eq!(ran.code, 0);
//! let text = String::from_utf8(ran.output).unwrap();
//! assert!(text.lines().nth(1).unwrap().contains("identified,std26,as-captured,65,4321"));
//! ```
//!
//! A desk has no directories: a name is a name, and `a/b` is one of them. It
//! has no serial ports, no shell and no manual pages; a command that asks for
//! one is refused. Standard input is the file `-`, and is whole from the start.

use std::ffi::OsString;

/// The version of what goes in and comes out: the JSON, the schema files, and
/// the functions of the boundary in every language. A change that an older
/// reader would misread raises it; one that only adds does not.
pub const SCHEMA: u32 = 1;

/// Files by name, in memory, and the commands of `holdover` at work on them.
#[derive(Debug, Default, Clone)]
pub struct Desk {
    files: holdover_cli::Desk,
}

/// What a command printed, and how it ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ran {
    /// The exit code of the binary: 0 done; 1 done, and something is wrong with
    /// the cards; 2 the command, a file or a line of it is wrong.
    pub code: u8,
    /// What the binary prints to standard output.
    pub output: Vec<u8>,
    /// What the binary prints to standard error, without colour.
    pub said: String,
}

impl Desk {
    /// An empty desk.
    pub fn new() -> Desk {
        Desk::default()
    }

    /// Puts a file on the desk, in the place of one of that name; `-` is
    /// standard input.
    pub fn put(&mut self, name: impl Into<String>, bytes: impl Into<Vec<u8>>) {
        self.files.put(name, bytes);
    }

    /// A file's bytes.
    pub fn get(&self, name: &str) -> Option<&[u8]> {
        self.files.get(name)
    }

    /// Takes a file from the desk.
    pub fn take(&mut self, name: &str) -> Option<Vec<u8>> {
        self.files.take(name)
    }

    /// The names of the files on the desk, in the order of their bytes.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.files.names()
    }

    /// Runs a command: its words as after the program's name, as in
    /// `["read", "captures.csv", "--format", "json"]`. Files that it writes
    /// (`-o`, `--html`, `--worksheet`, …) are on the desk afterwards; it writes
    /// all of them or none.
    pub fn run<W: AsRef<str>>(&mut self, words: &[W]) -> Ran {
        let words = words.iter().map(|word| OsString::from(word.as_ref()));
        let words = [OsString::from("holdover")].into_iter().chain(words);
        let holdover_cli::Ran { code, output, said } = holdover_cli::run_on(&mut self.files, words);
        Ran { code, output, said }
    }
}
