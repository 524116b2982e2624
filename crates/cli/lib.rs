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
#[cfg(not(target_family = "wasm"))]
mod machine;
mod mask;
mod plan;
mod pocket;
mod progress;
mod prove;
mod read;
mod roster;
mod screen;
mod sheet;
#[cfg(not(target_family = "wasm"))]
mod shell;
mod signal;
mod start;
mod table;
mod workbook;
mod world;

use std::ffi::OsString;
use std::io::Write;
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser};

use crate::args::{Args, Verb};
use crate::fail::{Fail, Outcome};
pub use crate::plan::file::SCHEMA;
pub use crate::world::{Desk, Ran, run_on};
use crate::world::{Memory, World};

/// Columns of the help where there is no terminal.
const HELP_WIDTH: usize = 100;

/// Does what a command line says; its first word is the program's name. What
/// there is to say goes to standard output and standard error.
#[cfg(not(target_family = "wasm"))]
pub fn run(words: impl IntoIterator<Item = OsString>) -> ExitCode {
    let world = machine::Machine::default();
    let args = match Args::try_parse_from(words) {
        Ok(args) => args,
        // Help is no mistake, and goes to standard output.
        Err(said) => {
            return match said.print().map_err(Fail::from) {
                Err(Fail::Said(message)) => {
                    screen::complain(&world, &message);
                    ExitCode::from(2)
                }
                // Nobody may be there to read it.
                _ => ExitCode::from(said.exit_code() as u8),
            };
        }
    };
    machine::set_colour(args.color);
    let outcome = match &args.verb {
        Verb::Completions(verb) => shell::completions(&world, verb),
        Verb::Manual(verb) => shell::manual(&world, verb),
        verb => work(&world, verb),
    };
    ExitCode::from(ended(&world, outcome).0)
}

/// Does what a command line says on a desk: the exit code, and whether the
/// command ran to its end.
fn end_on(world: &Memory, words: impl IntoIterator<Item = OsString>) -> (u8, bool) {
    let command = Args::command().term_width(HELP_WIDTH).color(clap::ColorChoice::Never);
    let parsed = command.try_get_matches_from(words);
    let args = match parsed.and_then(|matches| Args::from_arg_matches(&matches)) {
        Ok(args) => args,
        Err(said) => {
            let text = said.render().to_string();
            match said.use_stderr() {
                true => world.say(text.trim_end_matches('\n')),
                false => _ = world.out().write_all(text.as_bytes()),
            }
            return (said.exit_code() as u8, false);
        }
    };
    world.in_colour.set(args.color == screen::Colour::Always);
    ended(world, work(world, &args.verb))
}

/// Does what a verb says.
fn work(world: &dyn World, verb: &Verb) -> Result<Outcome, Fail> {
    match verb {
        Verb::Read(verb) => read::run(world, verb),
        Verb::Signal(verb) => signal::run(world, verb),
        Verb::Learn(verb) => learn::run(world, verb),
        Verb::Plan(verb) => plan::run(world, verb),
        Verb::Prove(verb) => prove::run(world, verb),
        Verb::Table(verb) => table::run(world, verb),
        Verb::Compose(verb) => compose::run(world, verb),
        Verb::Init(verb) => start::run(world, verb),
        Verb::Pocket(verb) => pocket::run(world, verb),
        Verb::Completions(_) | Verb::Manual(_) => {
            Err(Fail::said("a desk has no shell and no manual: run the binary for this"))
        }
    }
}

/// The exit code, and whether the command ran to its end.
fn ended(world: &dyn World, outcome: Result<Outcome, Fail>) -> (u8, bool) {
    match outcome {
        Ok(Outcome::Done) => (0, true),
        Ok(Outcome::CardsWrong) => (1, true),
        Ok(Outcome::InputWrong) => (2, true),
        // Whoever reads our output has had enough: that is success.
        Err(Fail::BrokenPipe) => (0, false),
        Err(Fail::Said(message)) => {
            screen::complain(world, &message);
            (2, false)
        }
    }
}
