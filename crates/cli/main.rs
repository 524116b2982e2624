//! The command `holdover`: its words to requests, and the machine for them to
//! work in.

mod guide;
mod machine;
mod pocket;
mod shell;

use std::process::ExitCode;

use clap::Parser;
use holdover_args::{Args, Verb};
use holdover_desk::{Fail, Outcome, ended, screen, work};
use machine::Machine;

fn main() -> ExitCode {
    // This thread works along, so that one thread is one thread. Where threads
    // cannot be had, the work is done all the same.
    let _ = rayon::ThreadPoolBuilder::new().use_current_thread().build_global();
    let world = Machine::default();
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(said) => return told(&world, &said),
    };
    machine::set_colour(args.color);
    let outcome = done(&world, args.verb);
    ExitCode::from(ended(&world, outcome).0)
}

/// Help is no mistake, and goes to standard output.
fn told(world: &Machine, said: &clap::Error) -> ExitCode {
    match said.print().map_err(Fail::from) {
        Err(Fail::Said(message)) => {
            screen::complain(world, &message);
            ExitCode::from(2)
        }
        // Nobody may be there to read it.
        _ => ExitCode::from(said.exit_code() as u8),
    }
}

fn done(world: &Machine, verb: Verb) -> Result<Outcome, Fail> {
    match verb {
        Verb::Pocket(verb) => pocket::run(world, &verb),
        Verb::Guide(verb) => guide::run(world, &verb),
        Verb::Completions(verb) => shell::completions(world, &verb),
        Verb::Manual(verb) => shell::manual(world, &verb),
        verb => match verb.request() {
            Some(request) => work(world, &request),
            None => Ok(Outcome::Done),
        },
    }
}
