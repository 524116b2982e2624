//! How a command ends.

use std::io;

/// How a command that ran to its end went; the exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// Done: exit code 0.
    Done,
    /// Done, and something is wrong with the cards: exit code 1.
    CardsWrong,
    /// Done, and a file or a line of it is wrong: exit code 2.
    InputWrong,
}

/// Why a command could not run to its end.
#[derive(Debug)]
pub enum Fail {
    /// The message: what, where, how to mend it. Exit code 2.
    Said(String),
    /// Nobody reads the output any more.
    BrokenPipe,
}

impl Fail {
    /// A failure with a message.
    pub fn said(message: impl Into<String>) -> Fail {
        Fail::Said(message.into())
    }

    /// A file that cannot be read or written.
    pub fn file(path: &str, error: &io::Error) -> Fail {
        let mend = match error.kind() {
            io::ErrorKind::NotFound => "check the name",
            io::ErrorKind::PermissionDenied => "check who may read it",
            io::ErrorKind::IsADirectory => "name a file in it",
            _ => "check the disk and try again",
        };
        Fail::Said(format!("{path}: {error}: {mend}"))
    }
}

impl From<io::Error> for Fail {
    fn from(error: io::Error) -> Fail {
        match error.kind() {
            io::ErrorKind::BrokenPipe => Fail::BrokenPipe,
            kind => {
                let desk = kind == io::ErrorKind::OutOfMemory;
                let mend = if desk { "ask for less at once" } else { "check the disk" };
                Fail::Said(format!("cannot write the output: {error}: {mend}"))
            }
        }
    }
}
