//! `holdover completions` and `holdover manual`: the command line described to
//! shells and to `man`.

use std::io::Write;
use std::path::Path;

use clap::{Command, CommandFactory};
use clap_mangen::Man;
use clap_mangen::roff::Roff;

use crate::machine::make_directory;
use holdover_args::{self as args, Args};
use holdover_desk::host::{Host, Readers};
use holdover_desk::terminal;
use holdover_desk::{Fail, Outcome};

/// The binary's name.
const NAME: &str = "holdover";

pub fn completions(host: &dyn Host, args: &args::Completions) -> Result<Outcome, Fail> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), NAME, &mut script);
    host.out().write_all(&script)?;
    Ok(Outcome::Done)
}

pub fn manual(host: &dyn Host, args: &args::Manual) -> Result<Outcome, Fail> {
    let without_help = |command: Command| command.disable_help_subcommand(true);
    let mut command = without_help(Args::command()).mut_subcommand("table", without_help);
    command.build();
    let Some(directory) = &args.output_dir else {
        host.out().write_all(&page(&command)?)?;
        return Ok(Outcome::Done);
    };
    let mut pages = Vec::new();
    gather(&command, &mut pages)?;
    let mut out = terminal::Page::new(host);
    let places: Vec<_> = pages.iter().map(|(name, _)| directory.join(name)).collect();
    let files: Vec<(&Path, &[u8])> =
        places.iter().zip(&pages).map(|(path, (_, page))| (path.as_path(), &page[..])).collect();
    make_directory(directory)?;
    // Pages hold no cards.
    host.put(&files, Readers::Everyone)?;
    for path in &places {
        out.say("written  ", &path.display().to_string())?;
    }
    let first = directory.join(format!("{NAME}.1"));
    out.say("next  ", &format!("`man -l {}` shows the first", first.display()))?;
    out.flush()?;
    Ok(Outcome::Done)
}

/// The pages of a command and of what is below it, each with its file's name.
fn gather(command: &Command, pages: &mut Vec<(String, Vec<u8>)>) -> Result<(), Fail> {
    let name = command.get_display_name().unwrap_or(NAME);
    pages.push((format!("{name}.1"), page(command)?));
    command.get_subcommands().try_for_each(|verb| gather(verb, pages))
}

/// One page. Examples keep their lines, which running text would not.
fn page(command: &Command) -> Result<Vec<u8>, Fail> {
    let examples = command.get_after_long_help().map(ToString::to_string);
    let command = command.clone().after_long_help("").after_help("");
    let man = Man::new(command.clone()).source(format!("{NAME} {}", env!("CARGO_PKG_VERSION")));
    let mut page = Vec::new();
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    if command.get_arguments().any(|argument| !argument.is_hide_set()) {
        man.render_options_section(&mut page)?;
    }
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    if let Some(examples) = examples {
        let mut roff = Roff::new();
        roff.control("SH", ["EXAMPLES"]);
        roff.control("nf", []);
        for line in examples.strip_prefix("Examples:\n").unwrap_or(&examples).lines() {
            roff.text([clap_mangen::roff::roman(line)]);
        }
        roff.control("fi", []);
        roff.to_writer(&mut page)?;
    }
    // Letters beyond ASCII by their number, which every roff reads the same.
    let escaped = String::from_utf8_lossy(&page).chars().fold(String::new(), |mut all, c| {
        match c.is_ascii() {
            true => all.push(c),
            false => all.push_str(&format!("\\[u{:04X}]", u32::from(c))),
        }
        all
    });
    Ok(escaped.into_bytes())
}
