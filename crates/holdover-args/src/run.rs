//! A command line on a desk.

use std::ffi::OsString;
use std::io::Write;

use clap::{CommandFactory, FromArgMatches};
use holdover_desk::host::{Host, Memory};
use holdover_desk::{Desk, Fail, Ran, Refused, ended, work};

use crate::{Args, Colour};

/// Columns of the help where there is no terminal.
const HELP_WIDTH: usize = 100;

/// Runs a command on a desk: its words as after the program's name, as in
/// `["read", "captures.csv", "--format", "json"]`. Files that it writes (`-o`,
/// `--html`, `--worksheet`, …) are on the desk afterwards; it writes all of them
/// or none. What is printed and written is, byte for byte, what the binary prints
/// and writes.
pub fn run<W: AsRef<str>>(desk: &mut Desk, words: &[W]) -> Ran {
    runs(desk, words.iter().map(AsRef::as_ref))
}

/// What a verb prints as JSON; the words are those after the verb.
///
/// # Errors
/// A word or a file is wrong; nothing is answered by halves.
pub fn json<W: AsRef<str>>(desk: &mut Desk, verb: &str, words: &[W]) -> Result<Ran, Refused> {
    // Before the words: behind a lone `--` it would be an input.
    let words = words.iter().map(AsRef::as_ref);
    let ran = runs(desk, [verb, "--format", "json"].into_iter().chain(words));
    match ran.ended {
        true => Ok(ran),
        false => Err(Refused::new(if ran.said.is_empty() { OTHER } else { &ran.said })),
    }
}

/// What is said where words ask for something else than an answer.
const OTHER: &str = "the words ask for another output than this answer: leave --help, --summary, \
                     --probe and their like out, or use `run`";

fn runs<'w>(desk: &mut Desk, words: impl Iterator<Item = &'w str>) -> Ran {
    let words = ["holdover"].into_iter().chain(words).map(OsString::from);
    desk.runs(|host| end(host, words))
}

/// The exit code, and whether the command ran to its end.
fn end(host: &Memory, words: impl Iterator<Item = OsString>) -> (u8, bool) {
    let command = Args::command().term_width(HELP_WIDTH).color(clap::ColorChoice::Never);
    let parsed = command.try_get_matches_from(words);
    let args = match parsed.and_then(|matches| Args::from_arg_matches(&matches)) {
        Ok(args) => args,
        // Help is no mistake, and goes to standard output.
        Err(said) => {
            let text = said.render().to_string();
            match said.use_stderr() {
                true => host.say(text.trim_end_matches('\n')),
                false => _ = host.out().write_all(text.as_bytes()),
            }
            return (said.exit_code() as u8, false);
        }
    };
    host.in_colour.set(args.color == Colour::Always);
    let outcome = match args.verb.request() {
        Some(request) => work(host, &request),
        None => Err(Fail::said(
            "a desk has no shell, no manual, no guide and no pocket page: run the binary for this",
        )),
    };
    ended(host, outcome)
}
