//! Arguments of the verbs that serve the command line itself, and of files.

use std::path::PathBuf;

use clap::{Args as ClapArgs, ValueHint};

pub const COMPLETIONS_EXAMPLES: &str = "\
Examples:
  holdover completions bash > ~/.local/share/bash-completion/completions/holdover
  holdover completions zsh > ~/.zfunc/_holdover
  holdover completions fish > ~/.config/fish/completions/holdover.fish";

pub const MANUAL_EXAMPLES: &str = "\
Examples:
  holdover manual | man -l -
  holdover manual --output-dir ~/.local/share/man/man1";

/// Which sheet of a workbook is meant.
#[derive(Debug, ClapArgs)]
pub struct SheetChoice {
    /// Sheet of a workbook; the first with a known header if not given
    #[arg(long, value_name = "NAME")]
    pub sheet: Option<String>,
}

/// `holdover init`
#[derive(Debug, ClapArgs)]
pub struct Init {
    /// Where site.toml and roster.csv are written
    #[arg(value_name = "DIR", default_value = ".", value_hint = ValueHint::DirPath)]
    pub directory: PathBuf,
}

/// `holdover page`
#[derive(Debug, ClapArgs)]
pub struct Pocket {
    /// Where the page is written
    #[arg(short, long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub output: PathBuf,

    /// For a web server: write holdover-offline.js beside it, by which a browser keeps the page
    #[arg(long)]
    pub served: bool,
}

/// `holdover completions`
#[derive(Debug, ClapArgs)]
pub struct Completions {
    /// The shell
    pub shell: clap_complete::Shell,
}

/// `holdover manual`
#[derive(Debug, ClapArgs)]
pub struct Manual {
    /// Write a page for the command and one for each verb to this directory
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub output_dir: Option<PathBuf>,
}
