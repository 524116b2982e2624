//! Arguments of the verbs that serve the command line itself, and of files.

use std::path::PathBuf;

use clap::builder::PossibleValuesParser;
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

pub const GUIDE_EXAMPLES: &str = "\
Examples:
  holdover guide                         the list of pages
  holdover guide takeover
  holdover guide glossary | less";

/// The pages of the guide, the list of them first.
pub const GUIDE_PAGES: [&str; 32] = [
    "index",
    // Tasks.
    "which-card",
    "building",
    "undocumented",
    "takeover",
    "no-network",
    "regression",
    // Verbs.
    "read",
    "signal",
    "learn",
    "plan",
    "prove",
    "table",
    "compose",
    // Reference.
    "captures",
    "tables",
    "site-files",
    "rosters",
    "json",
    "exit-codes",
    "limits",
    "masks",
    "paper",
    "terminal",
    "security",
    "glossary",
    // Other programs.
    "bindings",
    "rust",
    "c",
    "python",
    "pocket",
    "databases",
];

/// Which sheet of a workbook is meant.
#[derive(Debug, ClapArgs)]
pub struct SheetChoice {
    /// Sheet of a workbook; the first with a known header if not given
    #[arg(long, value_name = "NAME")]
    pub sheet: Option<String>,
}

/// A site's own words for columns.
#[derive(Debug, ClapArgs)]
pub struct OwnColumns {
    /// What a heading of the input means: "Badge nr=printed"
    #[arg(long, value_name = "HEADING=COLUMN")]
    pub column: Vec<String>,
}

/// A site's own words in a roster.
#[derive(Debug, ClapArgs)]
pub struct OwnWords {
    /// What a heading of the roster means: "Badge nr=card"
    #[arg(long, value_name = "HEADING=COLUMN")]
    pub column: Vec<String>,

    /// Which layout a word of the column "layout" is: "harbour=found41"
    #[arg(long, value_name = "WORD=LAYOUT")]
    pub kind: Vec<String>,
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

/// `holdover guide`
#[derive(Debug, ClapArgs)]
pub struct Guide {
    /// The page; the list of pages if not given
    #[arg(
        value_name = "PAGE",
        default_value = "index",
        hide_default_value = true,
        value_parser = PossibleValuesParser::new(GUIDE_PAGES)
    )]
    pub page: String,
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
