//! Where files, standard input, output and error are: the machine's own, or
//! those of a desk, by value, for the length of one call.
//!
//! Nothing else of the command line asks the machine for any of them, but for
//! how files are put in their places ([`crate::files`]), live serial ports and
//! the bar, which a desk never comes to. On a target without a machine of its
//! own, as WebAssembly, there are desks only.

mod desk;
mod file;

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::io::{self, IsTerminal, StdoutLock, Write};
use std::sync::Mutex;

use anstream::{AutoStream, ColorChoice};
use clap::{CommandFactory, FromArgMatches, Parser};

use crate::args::Args;
use crate::screen::Colour;
pub use desk::{Desk, MAX_OUTPUT, Ran, by_value, put_all, run_on};
pub use file::{File, Lasting, exists, open, stdin, stdin_copy, stdin_file};

/// Columns of the help where there is no terminal.
const HELP_WIDTH: usize = 100;

/// Standard output, as it comes.
pub enum Out {
    Machine(StdoutLock<'static>),
    Desk,
}

/// Standard output, as it comes.
pub fn stdout() -> Out {
    if by_value() { Out::Desk } else { Out::Machine(io::stdout().lock()) }
}

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Out::Machine(out) => out.write(bytes),
            Out::Desk => desk::print(bytes).map(|()| bytes.len()),
        }
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        match self {
            Out::Machine(out) => out.write_all(bytes),
            Out::Desk => desk::print(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Out::Machine(out) => out.flush(),
            Out::Desk => Ok(()),
        }
    }
}

/// Standard output, in the colours that are wanted and can be shown.
pub enum Styled {
    Machine(AutoStream<StdoutLock<'static>>),
    Desk(AutoStream<Box<dyn Write>>),
}

/// Standard output, in the colours that are wanted and can be shown.
pub fn styled() -> Styled {
    match by_value() {
        true => {
            let choice =
                if desk::in_colour() { ColorChoice::AlwaysAnsi } else { ColorChoice::Never };
            Styled::Desk(AutoStream::new(Box::new(Out::Desk), choice))
        }
        false => Styled::Machine(anstream::stdout().lock()),
    }
}

impl Write for Styled {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Styled::Machine(out) => out.write(bytes),
            Styled::Desk(out) => out.write(bytes),
        }
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        match self {
            Styled::Machine(out) => out.write_all(bytes),
            Styled::Desk(out) => out.write_all(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Styled::Machine(out) => out.flush(),
            Styled::Desk(out) => out.flush(),
        }
    }
}

/// Says a line to standard error.
pub fn say(line: &str) {
    match by_value() {
        true => desk::say(line),
        // Where even standard error is gone there is nobody to tell.
        false => crate::progress::aside(|| _ = writeln!(anstream::stderr().lock(), "{line}")),
    }
}

/// The arguments of a command line. On a desk its help is as wide as where
/// there is no terminal.
pub fn parsed(words: impl IntoIterator<Item = OsString>) -> Result<Args, clap::Error> {
    if !by_value() {
        return Args::try_parse_from(words);
    }
    let command = Args::command().term_width(HELP_WIDTH).color(clap::ColorChoice::Never);
    Args::from_arg_matches(&command.try_get_matches_from(words)?)
}

/// What the command line's own help and mistakes are.
pub fn said_by_clap(said: &clap::Error) -> io::Result<()> {
    match (by_value(), said.use_stderr()) {
        (false, _) => said.print(),
        (true, true) => {
            desk::say(said.render().to_string().trim_end_matches('\n'));
            Ok(())
        }
        (true, false) => desk::print(said.render().to_string().as_bytes()),
    }
}

/// Whether nothing of these words was noted before in this run.
pub fn is_new(note: &str) -> bool {
    static NOTED: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());
    match by_value() {
        true => desk::is_new(note),
        false => NOTED.lock().is_ok_and(|mut noted| noted.insert(note.to_owned())),
    }
}

/// Applies a choice of colour to everything that is printed.
pub fn set_colour(colour: Colour) {
    if by_value() {
        return desk::set_colour(colour == Colour::Always);
    }
    let choice = match colour {
        Colour::Auto => ColorChoice::Auto,
        Colour::Always => ColorChoice::AlwaysAnsi,
        Colour::Never => ColorChoice::Never,
    };
    choice.write_global();
}

/// Whether standard error shows colour.
pub fn errors_in_colour() -> bool {
    !by_value() && AutoStream::choice(&io::stderr()) != ColorChoice::Never
}

/// Whether someone watches standard output as it comes.
pub fn output_is_watched() -> bool {
    !by_value() && io::stdout().is_terminal()
}

/// Whether someone watches standard error as it comes.
#[cfg(not(target_family = "wasm"))]
pub fn errors_are_watched() -> bool {
    !by_value() && io::stderr().is_terminal()
}

/// Columns of the terminal, if there is one; the variable COLUMNS comes before
/// what the terminal says (POSIX.1-2024, XBD 8.3).
pub fn columns() -> Option<usize> {
    if by_value() {
        return None;
    }
    let wanted = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    wanted.or_else(|| terminal_size::terminal_size().map(|(width, _)| usize::from(width.0)))
}
