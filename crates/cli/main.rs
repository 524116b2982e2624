//! The command `holdover`: its words to requests, and the machine for them to
//! work in.

mod guide;
mod machine;
mod pocket;
mod shell;

use std::process::ExitCode;

use clap::Parser;
use holdover_args::{Args, Verb};
use holdover_desk::{Fail, Outcome, ended, terminal, work};
use machine::Machine;

fn main() -> ExitCode {
    // This thread works along, so that one thread is one thread. Where threads
    // cannot be had, the work is done all the same.
    let _ = rayon::ThreadPoolBuilder::new().use_current_thread().build_global();
    let host = Machine::default();
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(said) => return told(&host, &said),
    };
    machine::set_colour(args.color);
    let outcome = done(&host, args.verb);
    ExitCode::from(ended(&host, outcome).0)
}

/// Help is no mistake, and goes to standard output.
fn told(host: &Machine, said: &clap::Error) -> ExitCode {
    match said.print().map_err(Fail::from) {
        Err(Fail::Said(message)) => {
            terminal::complain(host, &message);
            ExitCode::from(2)
        }
        // Nobody may be there to read it.
        _ => ExitCode::from(said.exit_code() as u8),
    }
}

fn done(host: &Machine, verb: Verb) -> Result<Outcome, Fail> {
    match verb {
        Verb::Pocket(verb) => pocket::run(host, &verb),
        Verb::Guide(verb) => guide::run(host, &verb),
        Verb::Completions(verb) => shell::completions(host, &verb),
        Verb::Manual(verb) => shell::manual(host, &verb),
        verb => match verb.request() {
            Some(request) => work(host, &request),
            None => Ok(Outcome::Done),
        },
    }
}
