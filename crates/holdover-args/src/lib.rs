//! The command line of Holdover: its words, parsed to requests of
//! [`holdover_desk`], a struct a verb. The binary reads them, and so do those
//! ways in that take words.

#![expect(missing_docs, reason = "parts that are flattened have no words of their own")]
#![expect(rustdoc::broken_intra_doc_links, reason = "what is help brackets as the terminal does")]

mod habits;
mod requests;
mod run;

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum, ValueHint};

use habits::{COMPLETIONS_EXAMPLES, GUIDE_EXAMPLES, MANUAL_EXAMPLES};
pub use habits::{
    Completions, GUIDE_PAGES, Guide, Init, Manual, OwnColumns, OwnWords, Pocket, SheetChoice,
};
pub use run::{json, run};

/// What `--version` says: `-V` leaves the commit out, as does a build that
/// has none.
const LONG_VERSION: &str = env!("HOLDOVER_VERSION");

/// Identify access cards from raw reads.
///
/// Cards are keys: work only on systems you are authorised to service, and
/// treat captures as secrets.
#[derive(Debug, Parser)]
#[command(name = "holdover", version, long_version = LONG_VERSION, max_term_width = 100)]
pub struct Args {
    /// What to do
    #[command(subcommand)]
    pub verb: Verb,

    /// When to use colour: auto, always or never; NO_COLOR turns it off too
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    #[arg(hide_possible_values = true, display_order = 900)]
    pub color: Colour,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Say which card each capture is, how sure that is, and what to do next
    #[command(after_long_help = READ_EXAMPLES)]
    Read(Read),
    /// Read a probe file: captures, and whether the line is healthy
    #[command(after_long_help = SIGNAL_EXAMPLES)]
    Signal(Signal),
    /// Work out a layout nobody documented, from cards and what is printed on them
    #[command(after_long_help = LEARN_EXAMPLES)]
    Learn(Learn),
    /// Fill the new panel's slots so that every card still opens
    #[command(after_long_help = PLAN_EXAMPLES)]
    Plan(Plan),
    /// Run every card through a plan, or regression cases through a table
    #[command(after_long_help = PROVE_EXAMPLES)]
    Prove(Prove),
    /// List, check, show or compare tables of layouts
    #[command(after_long_help = TABLE_EXAMPLES)]
    Table(Table),
    /// Make test captures from field values
    #[command(after_long_help = COMPOSE_EXAMPLES)]
    Compose(Compose),
    /// Write a site file and a roster to start from
    Init(Init),
    /// Write the pocket page: all of this in one file that a browser opens without a network
    #[command(name = "page")]
    Pocket(Pocket),
    /// Print a page of the guide
    #[command(after_long_help = GUIDE_EXAMPLES)]
    Guide(Guide),
    /// Print a script that completes the command line
    #[command(after_long_help = COMPLETIONS_EXAMPLES)]
    Completions(Completions),
    /// Print the manual page, or write one for each verb
    #[command(after_long_help = MANUAL_EXAMPLES)]
    Manual(Manual),
}

const READ_EXAMPLES: &str = "\
Examples:
  holdover read 10100000100010000111000011
  holdover read 0x70123440/26            hexadecimal, then the number of bits
  holdover read captures.txt --format csv
  probe | holdover read -                answered whenever the pipe pauses
  holdover read survey.csv --summary     which cards were met where
  holdover read captures.csv --site mill.toml --table mill-table.toml --table built-in
  holdover read survey.csv --html survey.html

Captures are 0 and 1, with spaces, '_', '-' and ':' allowed between bits, or hexadecimal
as 0x…/bits. Files are text (one capture a line, '#' starts a comment), CSV with a header
(bits; optional printed, site, card, holder, state, note, reader, and columns of your own)
or JSON Lines; which one is told by the content.

Exit codes: 0 all identified; 1 something is unknown or ambiguous; 2 a line, a file or the
command is wrong.";

const SIGNAL_EXAMPLES: &str = "\
Examples:
  holdover signal gate.vcd               line health, a histogram, the captures
  holdover signal gate.csv --d0 CH3 --d1 CH4
  holdover signal samples.csv --rate 1000000
  holdover signal gate.vcd --format csv > captures.csv
  holdover signal gate.vcd --format json | holdover read -

Probe files are value-change dumps (IEEE 1364-2005 clause 18) and CSV of changes or of
samples, told apart by content. Lines are found by their names (D0 and D1, DATA0 and DATA1,
green and white), else by their behaviour, which is a guess and said to be one.

A first or last pulse lost whole leaves no trace between the edges: `holdover read` tries
whether a lost bit explains a capture.

Exit codes: 0 the line is healthy; 1 something about it is not; 2 a file or the command is wrong.";

const LEARN_EXAMPLES: &str = "\
Examples:
  holdover learn drawer.csv
  holdover learn drawer.csv -o mill-table.toml
  holdover learn drawer.csv --format json

The input is what `holdover read` takes; a CSV with the columns bits and printed is best:
the printed number as it stands on the card, with its zeros, its site code and whatever
parts them. Columns site and card hold numbers known otherwise. Ten or twenty cards show
most layouts, twenty-four settle most of them, cards of two site codes settle more.

Exit codes: 0 a layout for every kind of card; 1 none for some, or cards were left out; 2 a
line, a file or the command is wrong.";

const PLAN_EXAMPLES: &str = "\
Examples:
  holdover plan --site mill.toml --roster roster.csv
  holdover plan --site mill.toml --roster roster.csv -o plan.json --worksheet sheet.txt
  holdover plan --site mill.toml --roster roster.csv --enrolment list.csv --cutover day.txt
  holdover plan --site mill.toml --roster roster.csv --html worksheet.html
  holdover plan --site mill.toml --roster roster.csv --against plan.json
  holdover plan --site mill.toml --roster roster.csv --keep plan.json -o more.json
  holdover plan --site mill.toml --roster roster.csv --mask --pseudonyms --enrolment copy.csv
  holdover plan --site mill.toml --roster staff.xlsx --enrolment list.xlsx

The site file holds the panel's limits and the cards the site owns as ranges; the roster is
a CSV or a workbook (.xlsx) with bits, or layout, site and card, and optional printed, holder
and state. `holdover init` writes both to start from.

Exit codes: 0 every kept card has its slot; 1 a conflict or a lost card; 2 a row, a file or
the command is wrong, and nothing is written.";

const PROVE_EXAMPLES: &str = "\
Examples:
  holdover prove --plan plan.json --roster roster.csv
  holdover prove --cases cases.csv --table mill-table.toml
  holdover prove --cases captures.csv --record cases.csv

Cases are rows of bits,layout,site,card or of bits,verdict. --record writes today's answers
to the captures of --cases as a new case file.

Exit codes: 0 every row holds; 1 a row does not; 2 a row, a file or the command is wrong.";

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
  holdover compose std26 site=65 card=1-20 --probe vcd --jitter 0.1 > gate.vcd
  holdover compose --captures captures.txt --probe samples --width 7 --rate 1000000 --lost 0.2

These bits can make a card: compose only for systems you are authorised to service, and
treat what is written as a key.

Exit codes: 0 done; 2 a value does not fit, or the command is wrong.";

/// When to use colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Formats of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Text,
    Json,
    Csv,
}

/// Where layouts come from.
#[derive(Debug, ClapArgs)]
pub struct Tables {
    /// A table of layouts; may be given again; "built-in" is the one that ships
    #[arg(
        long = "table",
        value_name = "FILE",
        default_value = "built-in",
        value_hint = ValueHint::FilePath
    )]
    pub tables: Vec<String>,
}

/// A page of its own, to look at and to print.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "Page")]
pub struct Page {
    /// Write a page for screen and paper; it hides card numbers but for the last two digits
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,

    /// Show card numbers on the page
    #[arg(long, requires = "html", conflicts_with = "mask")]
    pub show_numbers: bool,
}

/// `holdover read`
#[derive(Debug, ClapArgs)]
pub struct Read {
    /// Captures, files (probe files too), or "-" for standard input
    #[arg(
        required_unless_present = "port",
        conflicts_with = "port",
        value_name = "CAPTURE|FILE|-",
        value_hint = ValueHint::FilePath
    )]
    pub inputs: Vec<String>,

    #[command(flatten)]
    pub columns: OwnColumns,

    /// Follow a serial port that prints one capture a line
    #[arg(long, value_name = "NAME")]
    pub port: Option<String>,

    /// Speed of the serial port, in baud
    #[arg(long, default_value_t = 9600, value_name = "BAUD")]
    pub baud: u32,

    #[command(flatten)]
    pub probe: ProbeOptions,

    #[command(flatten)]
    pub tables: Tables,

    /// The site file: its codes and card ranges count as evidence
    #[arg(long, value_name = "FILE")]
    pub site: Option<PathBuf>,

    /// text for people, json (an object a capture, one a line) or csv
    #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
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

    /// Show this column of the input although card numbers are hidden; again for another
    #[arg(long, value_name = "NAME")]
    pub keep_column: Vec<String>,

    /// Wait for the end of a pipe before answering
    #[arg(long)]
    pub batch: bool,

    /// Answer in one pass, each capture by those before it
    #[arg(long, conflicts_with = "batch")]
    pub streaming: bool,

    /// Print verdicts only, no advice
    #[arg(short, long)]
    pub quiet: bool,

    #[command(flatten)]
    pub page: Page,
}

/// How probe files are read.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "Probe files")]
pub struct ProbeOptions {
    /// Name, bit of a vector (bus[3]) or column number of D0; again for another reader
    #[arg(long, value_name = "LINE")]
    pub d0: Vec<String>,

    /// Likewise of D1
    #[arg(long, value_name = "LINE")]
    pub d1: Vec<String>,

    /// Spacing that ends a capture, in µs; chosen from the data if not given
    #[arg(long, value_name = "US")]
    pub gap: Option<f64>,

    /// Pulses narrower than this, in µs, are glitches
    #[arg(long, value_name = "US")]
    pub glitch: Option<f64>,

    /// Samples a second, for files without a time
    #[arg(long, value_name = "HZ")]
    pub rate: Option<f64>,

    /// Unit of the time column, where its heading names none: s, ms, us or ns
    #[arg(long, value_name = "UNIT")]
    pub time_unit: Option<String>,

    /// Voltage between low and high
    #[arg(long, value_name = "V")]
    pub threshold: Option<f64>,

    /// Level the lines rest at; seen from the data if not given
    #[arg(long, value_enum, value_name = "LEVEL")]
    pub idle: Option<IdleLevel>,
}

/// Levels lines can rest at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum IdleLevel {
    /// Pulses are low: the usual wiring
    High,
    /// Pulses are high: inverted wiring
    Low,
}

/// `holdover signal`
#[derive(Debug, ClapArgs)]
pub struct Signal {
    /// Probe files, or "-" for standard input
    #[arg(required = true, value_name = "FILE|-", value_hint = ValueHint::FilePath)]
    pub inputs: Vec<String>,

    #[command(flatten)]
    pub probe: ProbeOptions,

    /// text: the line's health and its captures; json, csv: captures for `holdover read`
    #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
    pub format: Format,

    /// Only the health of the lines, no captures
    #[arg(long)]
    pub summary: bool,

    /// Hide the bits in text
    #[arg(long)]
    pub mask: bool,

    /// No histograms, no advice
    #[arg(short, long)]
    pub quiet: bool,

    #[command(flatten)]
    pub page: Page,
}

/// `holdover learn`
#[derive(Debug, ClapArgs)]
pub struct Learn {
    /// Captures, files (probe files too), or "-" for standard input
    #[arg(required = true, value_name = "CAPTURE|FILE|-", value_hint = ValueHint::FilePath)]
    pub inputs: Vec<String>,

    #[command(flatten)]
    pub sheet: SheetChoice,

    #[command(flatten)]
    pub columns: OwnColumns,

    /// The old panel's export (CSV or .xlsx): which of its numbers the cards carry is found
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub list: Option<String>,

    /// Write the layouts found as a table file
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,

    /// First part of the ids of what is found
    #[arg(long, default_value = "found", value_name = "NAME")]
    pub id: String,

    /// The cards are in no order: look for no counters
    #[arg(long)]
    pub shuffled: bool,

    /// text for people, or json: an object a kind of card
    #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
    pub format: Format,

    /// Say nothing that would give a card away: text only, of ten cards or more
    #[arg(long)]
    pub mask: bool,

    #[command(flatten)]
    pub probe: ProbeOptions,

    #[command(flatten)]
    pub page: Page,
}

/// `holdover plan`
#[derive(Debug, ClapArgs)]
pub struct Plan {
    /// The site file: the panel's limits and the cards the site owns
    #[arg(long, value_name = "FILE")]
    pub site: PathBuf,

    /// The cards to keep, one a row: CSV or .xlsx; "-" for standard input
    #[arg(long, value_name = "FILE|-", value_hint = ValueHint::FilePath)]
    pub roster: Option<String>,

    #[command(flatten)]
    pub sheet: SheetChoice,

    #[command(flatten)]
    pub words: OwnWords,

    /// The old panel's export: tells the numbers of cards that were not read
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub list: Option<String>,

    #[command(flatten)]
    pub tables: Tables,

    /// text for people, json: the whole plan, csv: the enrolment list
    #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
    pub format: Format,

    /// Write the plan as JSON, which `holdover prove` takes
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,

    /// Write the worksheet: a block a slot, with a sign-off line each
    #[arg(long, value_name = "FILE")]
    pub worksheet: Option<PathBuf>,

    /// Write the enrolment list as CSV, or as a workbook where FILE ends in .xlsx
    #[arg(long, value_name = "FILE")]
    pub enrolment: Option<PathBuf>,

    /// Write the cut-over sheet
    #[arg(long, value_name = "FILE")]
    pub cutover: Option<PathBuf>,

    /// Say what changes against an earlier plan
    #[arg(long, value_name = "PLAN")]
    pub against: Option<PathBuf>,

    /// Keep what an earlier plan keyed in, and only add to it
    #[arg(long, value_name = "PLAN", conflicts_with = "against")]
    pub keep: Option<PathBuf>,

    /// Stop searching after so many seconds with the best plan so far
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=86_400))]
    pub time_limit: Option<u64>,

    /// Hide card numbers but for the last two digits
    #[arg(long)]
    pub mask: bool,

    /// Holders go by "person 1", "person 2", …
    #[arg(long)]
    pub pseudonyms: bool,

    /// No exposure, notes or cautions in text
    #[arg(short, long)]
    pub quiet: bool,

    #[command(flatten)]
    pub page: Page,
}

/// `holdover prove`
#[derive(Debug, ClapArgs)]
pub struct Prove {
    /// The plan, as `holdover plan -o` writes it
    #[arg(long, value_name = "FILE", requires = "roster")]
    pub plan: Option<PathBuf>,

    /// The roster to run through the plan
    #[arg(long, value_name = "FILE|-", requires = "plan", value_hint = ValueHint::FilePath)]
    pub roster: Option<String>,

    #[command(flatten)]
    pub sheet: SheetChoice,

    #[command(flatten)]
    pub words: OwnWords,

    /// The old panel's export, where the plan was made with it
    #[arg(long, value_name = "FILE", requires = "plan", value_hint = ValueHint::FilePath)]
    pub list: Option<String>,

    /// The site file, which must be the plan's own: its panel and its batches
    #[arg(long, value_name = "FILE", requires = "plan")]
    pub site: Option<PathBuf>,

    /// Take a plan that was changed by hand as it stands
    #[arg(long, requires = "plan")]
    pub edited: bool,

    /// Cases to run through the tables
    #[arg(
        long,
        value_name = "FILE",
        conflicts_with = "plan",
        required_unless_present = "plan",
        value_hint = ValueHint::FilePath
    )]
    pub cases: Option<String>,

    /// Write today's answers as a new case file
    #[arg(long, value_name = "FILE", requires = "cases")]
    pub record: Option<PathBuf>,

    #[command(flatten)]
    pub tables: Tables,

    /// text: the rows that do not hold; json, csv: every row
    #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
    pub format: Format,

    /// Hide card numbers but for the last two digits
    #[arg(long)]
    pub mask: bool,

    #[command(flatten)]
    pub page: Page,
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
        /// text for people, json or csv
        #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
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
        /// text draws them, json gives them as objects
        #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
        format: Format,
    },
    /// Say which words two tables decode differently
    Diff {
        /// The old table, or "built-in"
        old: String,
        /// The new table, or "built-in"
        new: String,
        /// text for people, json or csv
        #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
        format: Format,
    },
}

/// Forms of probe files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ProbeForm {
    /// Value-change dump (IEEE 1364-2005 clause 18)
    Vcd,
    /// CSV, a row a change
    Changes,
    /// CSV, a row a sample
    Samples,
}

/// How a composed probe file comes out.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "Composing a probe file")]
pub struct Timing {
    /// Write a probe file instead of captures
    #[arg(long, value_enum, value_name = "FORM")]
    pub probe: Option<ProbeForm>,

    /// Name of the reader, before the names of its lines
    #[arg(long, default_value = "", hide_default_value = true, value_name = "NAME")]
    pub reader: String,

    /// Width of a pulse, in µs
    #[arg(long, default_value_t = 50.0, value_name = "US")]
    pub width: f64,

    /// From one pulse to the next, in µs
    #[arg(long, default_value_t = 1000.0, value_name = "US")]
    pub interval: f64,

    /// From one capture to the next, in µs
    #[arg(long, default_value_t = 500_000.0, value_name = "US")]
    pub gap: f64,

    /// How far widths and intervals stray, as a share: 0.1 is ±10 %
    #[arg(long, default_value_t = 0.0, value_name = "SHARE")]
    pub jitter: f64,

    /// Share of captures with a glitch between two bits
    #[arg(long, default_value_t = 0.0, value_name = "SHARE")]
    pub glitches: f64,

    /// Share of captures that lose a pulse inside
    #[arg(long, default_value_t = 0.0, value_name = "SHARE")]
    pub lost: f64,

    /// Share of captures where both lines pulse at once
    #[arg(long, default_value_t = 0.0, value_name = "SHARE")]
    pub both_low: f64,

    /// Share of captures with a burst of spikes
    #[arg(long, default_value_t = 0.0, value_name = "SHARE")]
    pub noise: f64,

    /// Level the lines rest at
    #[arg(long, value_enum, default_value_t = IdleLevel::High, value_name = "LEVEL")]
    pub idle: IdleLevel,

    /// Samples a second, for --probe samples
    #[arg(long, default_value_t = 1e6, value_name = "HZ")]
    pub rate: f64,

    /// One seed, one file
    #[arg(long, default_value_t = 1, value_name = "N")]
    pub seed: u64,

    /// Write the faults put in to this file, as JSON Lines
    #[arg(long, value_name = "FILE")]
    pub faults: Option<PathBuf>,
}

/// `holdover compose`
#[derive(Debug, ClapArgs)]
pub struct Compose {
    /// Id of the layout; not given where --captures is
    #[arg(required_unless_present = "captures")]
    pub layout: Option<String>,

    /// field=value, or field=first-last for a range
    #[arg(value_name = "FIELD=VALUE")]
    pub values: Vec<String>,

    #[command(flatten)]
    pub tables: Tables,

    /// Take captures from this file instead of composing them
    #[arg(long, value_name = "FILE", conflicts_with_all = ["layout", "values"])]
    pub captures: Option<String>,

    #[command(flatten)]
    pub timing: Timing,

    /// What happens between card and file: lines-swapped, reversed, first-bit-lost, …
    #[arg(long, default_value = "as-captured", value_name = "READING")]
    pub reading: String,

    /// text: one capture a line; csv: bits, layout and fields; json: objects
    #[arg(long, value_enum, default_value_t = Format::Text, hide_possible_values = true)]
    pub format: Format,

    /// Write hexadecimal with the bit count instead of bits
    #[arg(long)]
    pub hex: bool,
}

#[cfg(doctest)]
#[doc = include_str!("../../cli/guide/rust.md")]
struct GuideToRust;
