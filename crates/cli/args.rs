//! Arguments, a struct a verb.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};

use crate::screen::Colour;

/// Identify access cards from raw reads.
///
/// Cards are keys: work only on systems you are authorised to service, and
/// treat captures as secrets.
#[derive(Debug, Parser)]
#[command(name = "holdover", version, max_term_width = 100)]
pub struct Args {
    /// What to do
    #[command(subcommand)]
    pub verb: Verb,

    /// When to use colour; NO_COLOR turns it off too
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    pub color: Colour,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Say which card each capture is, how sure that is, and what to do next
    #[command(after_long_help = READ_EXAMPLES)]
    Read(Read),
    /// List, check, show or compare tables of layouts
    #[command(after_long_help = TABLE_EXAMPLES)]
    Table(Table),
    /// Make test captures from field values
    #[command(after_long_help = COMPOSE_EXAMPLES)]
    Compose(Compose),
}

const READ_EXAMPLES: &str = "\
Examples:
  holdover read 10100000100010000111000011
  holdover read 0x70123440/26            hexadecimal, then the number of bits
  holdover read captures.txt --format csv
  probe | holdover read -                answered whenever the pipe pauses
  holdover read survey.csv --summary     which cards were met where
  holdover read captures.csv --site mill.toml --table mill-table.toml --table built-in

Captures are 0 and 1, with spaces, '_', '-' and ':' allowed between bits, or hexadecimal
as 0x…/bits. Files are text (one capture a line, '#' starts a comment), CSV with a header
(bits; optional printed, site, card, holder, state, note, reader, and columns of your own)
or JSON Lines; which one is told by the content.

Exit codes: 0 all identified; 1 something is unknown or ambiguous; 2 a line, a file or the
command is wrong.";

const TABLE_EXAMPLES: &str = "\
Examples:
  holdover table list
  holdover table show std26              drawn, counted from 1 and from 0
  holdover table lint mill-table.toml    every mistake, with what to write instead
  holdover table diff old.toml new.toml  which words decode differently

Exit codes: 0 nothing wrong, no difference; 1 the tables differ; 2 a file or the command is wrong.";

const COMPOSE_EXAMPLES: &str = "\
Examples:
  holdover compose std26 site=65 card=4321
  holdover compose std26 site=65 card=4000-4009 --format csv
  holdover compose std26 site=65 card=4321 --reading lines-swapped
  holdover compose std26 site=65 card=1-20 | holdover read -

Exit codes: 0 done; 2 a value does not fit, or the command is wrong.";

/// Formats of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people
    Text,
    /// JSON Lines, one object a capture
    Json,
    /// CSV with a header
    Csv,
}

/// Where layouts come from.
#[derive(Debug, ClapArgs)]
pub struct Tables {
    /// A table of layouts; may be given again; "built-in" is the one that ships
    #[arg(long = "table", value_name = "FILE", default_value = "built-in")]
    pub tables: Vec<String>,
}

/// `holdover read`
#[derive(Debug, ClapArgs)]
pub struct Read {
    /// Captures, files, or "-" for standard input
    #[arg(required = true, value_name = "CAPTURE|FILE|-")]
    pub inputs: Vec<String>,

    #[command(flatten)]
    pub tables: Tables,

    /// The site file: its codes and card ranges count as evidence
    #[arg(long, value_name = "FILE")]
    pub site: Option<PathBuf>,

    /// Output format
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,

    /// Say only which kinds of card were met where, and what is unclear
    #[arg(long)]
    pub summary: bool,

    /// Draw every capture, however many there are
    #[arg(long)]
    pub full: bool,

    /// Hide card numbers but for the last two digits, and all that would give them away
    #[arg(long)]
    pub mask: bool,

    /// Wait for the end of a pipe before answering
    #[arg(long)]
    pub batch: bool,

    /// Print verdicts only, no advice
    #[arg(short, long)]
    pub quiet: bool,
}

/// `holdover table`
#[derive(Debug, ClapArgs)]
pub struct Table {
    /// What to do with tables
    #[command(subcommand)]
    pub verb: TableVerb,
}

/// What to do with tables.
#[derive(Debug, Subcommand)]
pub enum TableVerb {
    /// List the layouts
    List {
        #[command(flatten)]
        tables: Tables,
        /// Output format
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Check table files and show every mistake
    Lint {
        /// Table files
        #[arg(required = true, value_name = "FILE")]
        files: Vec<String>,
        /// Print nothing where all is well
        #[arg(short, long)]
        quiet: bool,
    },
    /// Draw layouts, counted from 1 and from 0
    Show {
        /// Ids of layouts; none: all
        #[arg(value_name = "ID")]
        ids: Vec<String>,
        #[command(flatten)]
        tables: Tables,
        /// text draws, json gives the layouts as objects
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Say which words two tables decode differently
    Diff {
        /// The old table, or "built-in"
        old: String,
        /// The new table, or "built-in"
        new: String,
        /// Output format
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
}

/// `holdover compose`
#[derive(Debug, ClapArgs)]
pub struct Compose {
    /// Id of the layout
    pub layout: String,

    /// field=value, or field=first-last for a range
    #[arg(value_name = "FIELD=VALUE")]
    pub values: Vec<String>,

    #[command(flatten)]
    pub tables: Tables,

    /// What happens between card and file: lines-swapped, reversed, first-bit-lost, …
    #[arg(long, default_value = "as-captured", value_name = "READING")]
    pub reading: String,

    /// text: one capture a line; csv: bits, layout and fields; json: objects
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,

    /// Write hexadecimal with the bit count instead of bits
    #[arg(long)]
    pub hex: bool,
}
