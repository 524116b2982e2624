//! The command line: parses arguments, reads files, calls the library, prints.

mod args;
mod care;
mod compose;
mod diff;
mod draw;
mod fail;
mod files;
mod formats;
mod html;
mod input;
mod learn;
pub mod limits;
mod mask;
mod plan;
mod pocket;
mod progress;
mod prove;
mod read;
mod roster;
mod screen;
mod sheet;
mod shell;
mod signal;
mod start;
mod table;
mod workbook;
mod world;

use std::ffi::OsString;
use std::process::ExitCode;

use crate::fail::{Fail, Outcome};
pub use crate::plan::file::SCHEMA;
pub use crate::world::{Desk, Ran, run_on};

/// Does what a command line says; its first word is the program's name. What
/// there is to say goes to standard output and standard error.
pub fn run(words: impl IntoIterator<Item = OsString>) -> ExitCode {
    ExitCode::from(end(words).0)
}

/// The same, wherever this thread's world is: the exit code, and whether the
/// command ran to its end.
fn end(words: impl IntoIterator<Item = OsString>) -> (u8, bool) {
    let args = match world::parsed(words) {
        Ok(args) => args,
        // Help is no mistake, and goes to standard output.
        Err(said) => {
            return match world::said_by_clap(&said).map_err(Fail::from) {
                Err(Fail::Said(message)) => {
                    screen::complain(&message);
                    (2, false)
                }
                // Nobody may be there to read it.
                _ => (said.exit_code() as u8, false),
            };
        }
    };
    world::set_colour(args.color);
    let outcome = match args.verb {
        args::Verb::Read(verb) => read::run(&verb),
        args::Verb::Signal(verb) => signal::run(&verb),
        args::Verb::Learn(verb) => learn::run(&verb),
        args::Verb::Plan(verb) => plan::run(&verb),
        args::Verb::Prove(verb) => prove::run(&verb),
        args::Verb::Table(verb) => table::run(&verb),
        args::Verb::Compose(verb) => compose::run(&verb),
        args::Verb::Init(verb) => start::run(&verb),
        args::Verb::Pocket(verb) => pocket::run(&verb),
        args::Verb::Completions(verb) => shell::completions(&verb),
        args::Verb::Manual(verb) => shell::manual(&verb),
    };
    match outcome {
        Ok(Outcome::Done) => (0, true),
        Ok(Outcome::CardsWrong) => (1, true),
        Ok(Outcome::InputWrong) => (2, true),
        // Whoever reads our output has had enough: that is success.
        Err(Fail::BrokenPipe) => (0, false),
        Err(Fail::Said(message)) => {
            screen::complain(&message);
            (2, false)
        }
    }
}
