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

pub mod answer;
mod refused;
pub mod schema;

use std::ffi::OsString;

use serde::de::DeserializeOwned;

use answer::{Composed, Learned, Plan, Proof, Read};
pub use refused::Refused;

/// The version of what goes in and comes out: the JSON, the schema files, and
/// the functions of the boundary in every language. A change that an older
/// reader would misread raises it; one that only adds does not.
pub const SCHEMA: u32 = holdover_cli::SCHEMA;

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
        let holdover_cli::Ran { code, output, said, .. } =
            self.runs(words.iter().map(AsRef::as_ref));
        Ran { code, output, said }
    }

    /// `holdover read`: captures, and what they are. The words are those after
    /// `read`; a line that is no capture is an answer, not a failure.
    ///
    /// # Errors
    /// A word or a file is wrong; nothing is answered by halves.
    pub fn read<W: AsRef<str>>(&mut self, words: &[W]) -> Result<Vec<Read>, Refused> {
        self.answers("read", words)
    }

    /// `holdover learn`: the kinds of card found, each with its layout.
    ///
    /// # Errors
    /// A word or a file is wrong.
    pub fn learn<W: AsRef<str>>(&mut self, words: &[W]) -> Result<Vec<Learned>, Refused> {
        self.answers("learn", words)
    }

    /// `holdover plan`: the panel's slots, and what comes of them.
    ///
    /// # Errors
    /// A word or a file is wrong.
    pub fn plan<W: AsRef<str>>(&mut self, words: &[W]) -> Result<Plan, Refused> {
        let plans: Vec<Plan> = self.answers("plan", words)?;
        plans.into_iter().next().ok_or_else(|| Refused::new("no plan was printed"))
    }

    /// `holdover prove`: whether each row comes to what it should.
    ///
    /// # Errors
    /// A word or a file is wrong.
    pub fn prove<W: AsRef<str>>(&mut self, words: &[W]) -> Result<Vec<Proof>, Refused> {
        self.answers("prove", words)
    }

    /// `holdover compose`: the captures of cards with these numbers.
    ///
    /// # Errors
    /// A word is wrong, or a number does not fit.
    pub fn compose<W: AsRef<str>>(&mut self, words: &[W]) -> Result<Vec<Composed>, Refused> {
        self.answers("compose", words)
    }

    fn runs<'w>(&mut self, words: impl Iterator<Item = &'w str>) -> holdover_cli::Ran {
        let words = ["holdover"].into_iter().chain(words).map(OsString::from);
        holdover_cli::run_on(&mut self.files, words)
    }

    /// What a verb prints as JSON, as it is; the words are those after the verb.
    /// For callers whose language reads JSON itself.
    ///
    /// # Errors
    /// A word or a file is wrong; nothing is answered by halves.
    pub fn json<W: AsRef<str>>(&mut self, verb: &str, words: &[W]) -> Result<Ran, Refused> {
        // Before the words: behind a lone `--` it would be an input.
        let words = words.iter().map(AsRef::as_ref);
        let ran = self.runs([verb, "--format", "json"].into_iter().chain(words));
        if !ran.ended {
            return Err(Refused::new(if ran.said.is_empty() { OTHER } else { &ran.said }));
        }
        let holdover_cli::Ran { code, output, said, .. } = ran;
        Ok(Ran { code, output, said })
    }

    fn answers<T: DeserializeOwned, W: AsRef<str>>(
        &mut self,
        verb: &str,
        words: &[W],
    ) -> Result<Vec<T>, Refused> {
        let ran = self.json(verb, words)?;
        let lines = ran.output.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
        lines.map(|line| serde_json::from_slice(line).map_err(|_| Refused::new(OTHER))).collect()
    }
}

/// What is said where words ask for something else than an answer.
const OTHER: &str = "the words ask for another output than this answer: leave --help, --summary, \
                     --probe and their like out, or use `run`";

#[cfg(doctest)]
#[doc = include_str!("../../../README.md")]
struct Readme;
