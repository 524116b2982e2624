//! What is asked: a type for each verb. Every request is its default but for
//! what is filled in:
//!
//! ```
//! use holdover_desk::request::{Format, Read};
//!
//! let request = Read { summary: true, format: Format::Json, ..Read::of(["survey.csv"]) };
//! ```

use std::path::PathBuf;

/// One request.
#[derive(Debug, Clone)]
pub enum Request {
    /// What captures are.
    Read(Read),
    /// What is in probe files.
    Signal(Signal),
    /// Layouts nobody documented.
    Learn(Learn),
    /// A takeover planned.
    Plan(Plan),
    /// A plan, or cases, proved.
    Prove(Prove),
    /// Tables listed, checked, drawn, compared.
    Table(Table),
    /// Captures made.
    Compose(Compose),
    /// Files to start from.
    Init(Init),
}

/// Forms of output.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Format {
    /// For people.
    #[default]
    Text,
    /// JSON Lines, one object a capture.
    Json,
    /// CSV with a header.
    Csv,
}

/// The name of the table that ships, where a file name could stand.
pub const BUILT_IN: &str = "built-in";

/// Tables of layouts, by file name or [`BUILT_IN`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tables(pub Vec<String>);

/// The table that ships.
impl Default for Tables {
    fn default() -> Tables {
        Tables(vec![BUILT_IN.to_owned()])
    }
}

/// A page of its own, to look at and to print.
#[derive(Debug, Clone, Default)]
pub struct Page {
    /// Where it is written.
    pub html: Option<PathBuf>,
    /// Card numbers are shown on it.
    pub show_numbers: bool,
}

/// Captures, and what they are.
#[derive(Debug, Clone)]
pub struct Read {
    /// Captures, files, or "-" for standard input.
    pub inputs: Vec<String>,
    /// What headings mean: "Badge nr=card".
    pub columns: Vec<String>,
    /// A serial port to follow.
    pub port: Option<String>,
    /// Its speed, in baud.
    pub baud: u32,
    /// How probe files are read.
    pub probe: ProbeOptions,
    /// The layouts.
    pub tables: Tables,
    /// The site file: its codes and card ranges count as evidence.
    pub site: Option<PathBuf>,
    /// The form of output.
    pub format: Format,
    /// Only which kinds of card were met where, and what is unclear.
    pub summary: bool,
    /// Every capture drawn, however many there are.
    pub full: bool,
    /// Card numbers hidden but for the last two digits, and all that would give
    /// them away.
    pub mask: bool,
    /// Columns of the input that are shown although card numbers are hidden.
    pub keep_column: Vec<String>,
    /// The end of a pipe is waited for.
    pub batch: bool,
    /// One pass: each capture is answered by those before it.
    pub streaming: bool,
    /// No advice.
    pub quiet: bool,
    /// The page.
    pub page: Page,
}

impl Default for Read {
    fn default() -> Read {
        Read {
            inputs: Vec::new(),
            columns: Vec::new(),
            port: None,
            baud: 9600,
            probe: ProbeOptions::default(),
            tables: Tables::default(),
            site: None,
            format: Format::default(),
            summary: false,
            full: false,
            mask: false,
            keep_column: Vec::new(),
            batch: false,
            streaming: false,
            quiet: false,
            page: Page::default(),
        }
    }
}

impl Read {
    /// Of these inputs.
    pub fn of<S: Into<String>>(inputs: impl IntoIterator<Item = S>) -> Read {
        Read { inputs: inputs.into_iter().map(Into::into).collect(), ..Read::default() }
    }
}

/// How probe files are read; what is not given is seen from the data.
#[derive(Debug, Clone, Default)]
pub struct ProbeOptions {
    /// Name, bit of a vector (`bus[3]`) or column number of D0, for each reader.
    pub d0: Vec<String>,
    /// Likewise of D1.
    pub d1: Vec<String>,
    /// Spacing that ends a capture, in µs.
    pub gap: Option<f64>,
    /// Pulses narrower than this, in µs, are glitches.
    pub glitch: Option<f64>,
    /// Samples a second, for files without a time.
    pub rate: Option<f64>,
    /// Unit of the time column, where its heading names none: s, ms, us or ns.
    pub time_unit: Option<String>,
    /// Voltage between low and high.
    pub threshold: Option<f64>,
    /// Level the lines rest at.
    pub idle: Option<IdleLevel>,
}

/// Levels lines can rest at.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum IdleLevel {
    /// Pulses are low: the usual wiring.
    #[default]
    High,
    /// Pulses are high: inverted wiring.
    Low,
}

/// Probe files: line health and captures.
#[derive(Debug, Clone, Default)]
pub struct Signal {
    /// Probe files, or "-" for standard input.
    pub inputs: Vec<String>,
    /// How they are read.
    pub probe: ProbeOptions,
    /// Text: health and captures; JSON and CSV: captures for [`Read`].
    pub format: Format,
    /// Only the health of the lines.
    pub summary: bool,
    /// The bits hidden in text.
    pub mask: bool,
    /// No histograms, no advice.
    pub quiet: bool,
    /// The page.
    pub page: Page,
}

/// Layouts worked out from cards and what is printed on them.
#[derive(Debug, Clone)]
pub struct Learn {
    /// Captures, files, or "-" for standard input.
    pub inputs: Vec<String>,
    /// Sheet of a workbook; the first with a known header if not given.
    pub sheet: Option<String>,
    /// What headings mean: "Badge nr=printed".
    pub columns: Vec<String>,
    /// The old system's own list of cards.
    pub list: Option<String>,
    /// Where the layouts found are written as a table file.
    pub output: Option<PathBuf>,
    /// First part of the ids of what is found.
    pub id: String,
    /// The cards are in no order.
    pub shuffled: bool,
    /// Text or JSON.
    pub format: Format,
    /// Nothing is said that would give a card away.
    pub mask: bool,
    /// How probe files are read.
    pub probe: ProbeOptions,
    /// The page.
    pub page: Page,
}

impl Default for Learn {
    fn default() -> Learn {
        Learn {
            inputs: Vec::new(),
            sheet: None,
            columns: Vec::new(),
            list: None,
            output: None,
            id: "found".to_owned(),
            shuffled: false,
            format: Format::default(),
            mask: false,
            probe: ProbeOptions::default(),
            page: Page::default(),
        }
    }
}

/// The new panel's slots filled.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// The site file: the panel's limits and the cards the site owns.
    pub site: PathBuf,
    /// The cards to keep; "-" for standard input.
    pub roster: Option<String>,
    /// Sheet of a workbook; the first with a known header if not given.
    pub sheet: Option<String>,
    /// Its own words for columns and kinds.
    pub words: Words,
    /// The old system's own list of cards: numbers of those that were not read.
    pub list: Option<String>,
    /// The layouts.
    pub tables: Tables,
    /// The form of output; CSV is the enrolment list.
    pub format: Format,
    /// Where the plan is written as JSON, which [`Prove`] takes.
    pub output: Option<PathBuf>,
    /// Where the worksheet is written.
    pub worksheet: Option<PathBuf>,
    /// Where the enrolment list is written.
    pub enrolment: Option<PathBuf>,
    /// Where the cut-over sheet is written.
    pub cutover: Option<PathBuf>,
    /// An earlier plan: what changes is said.
    pub against: Option<PathBuf>,
    /// An earlier plan: what it keyed in is kept.
    pub keep: Option<PathBuf>,
    /// The search ends after so many seconds with the best plan so far.
    pub time_limit: Option<u64>,
    /// Card numbers hidden but for the last two digits.
    pub mask: bool,
    /// Holders go by "person 1", "person 2", ….
    pub pseudonyms: bool,
    /// No exposure, notes or cautions in text.
    pub quiet: bool,
    /// The page.
    pub page: Page,
}

/// A site's own words in a roster; those of the site file count as well.
#[derive(Debug, Clone, Default)]
pub struct Words {
    /// What headings mean: `Badge nr=card`.
    pub columns: Vec<String>,
    /// Which layouts the words of the column `layout` are: `harbour=found41`.
    pub kinds: Vec<String>,
}

/// Every row does what is expected of it, or is shown.
#[derive(Debug, Clone, Default)]
pub struct Prove {
    /// The plan; it goes with a roster.
    pub plan: Option<PathBuf>,
    /// The roster to run through the plan.
    pub roster: Option<String>,
    /// Sheet of a workbook; the first with a known header if not given.
    pub sheet: Option<String>,
    /// Its own words for columns and kinds.
    pub words: Words,
    /// The old system's list, where the plan was made with it.
    pub list: Option<String>,
    /// The site file, which must be the plan's own.
    pub site: Option<PathBuf>,
    /// A plan that was changed by hand is taken as it stands.
    pub edited: bool,
    /// Cases to run through the tables.
    pub cases: Option<String>,
    /// Where today's answers are written as a new case file.
    pub record: Option<PathBuf>,
    /// The layouts.
    pub tables: Tables,
    /// The form of output.
    pub format: Format,
    /// Card numbers hidden but for the last two digits.
    pub mask: bool,
    /// The page.
    pub page: Page,
}

/// What to do with tables.
#[derive(Debug, Clone)]
pub enum Table {
    /// The layouts listed.
    List {
        /// The layouts.
        tables: Tables,
        /// The form of output.
        format: Format,
    },
    /// Every mistake in table files.
    Lint {
        /// The files.
        files: Vec<String>,
        /// Nothing is said where all is well.
        quiet: bool,
    },
    /// Layouts drawn.
    Show {
        /// Ids of layouts; none: all.
        ids: Vec<String>,
        /// The layouts.
        tables: Tables,
        /// Text draws, JSON gives the layouts as objects.
        format: Format,
    },
    /// Which words two tables decode differently.
    Diff {
        /// The old table.
        old: String,
        /// The new table.
        new: String,
        /// The form of output.
        format: Format,
    },
}

/// Forms of probe files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProbeForm {
    /// Value-change dump (IEEE 1364-2005 clause 18).
    Vcd,
    /// CSV, a row a change.
    Changes,
    /// CSV, a row a sample.
    Samples,
}

/// How a composed probe file comes out. Times are in µs, shares from 0 to 1.
#[derive(Debug, Clone)]
pub struct Timing {
    /// The form; none: captures, no probe file.
    pub probe: Option<ProbeForm>,
    /// Name of the reader, before the names of its lines.
    pub reader: String,
    /// Width of a pulse.
    pub width: f64,
    /// From one pulse to the next.
    pub interval: f64,
    /// From one capture to the next.
    pub gap: f64,
    /// How far widths and intervals stray, as a share.
    pub jitter: f64,
    /// Share of captures with a glitch between two bits.
    pub glitches: f64,
    /// Share of captures that lose a pulse inside.
    pub lost: f64,
    /// Share of captures where both lines pulse at once.
    pub both_low: f64,
    /// Share of captures with a burst of spikes.
    pub noise: f64,
    /// Level the lines rest at.
    pub idle: IdleLevel,
    /// Samples a second.
    pub rate: f64,
    /// One seed, one file.
    pub seed: u64,
    /// Where the faults put in are written, as JSON Lines.
    pub faults: Option<PathBuf>,
}

impl Default for Timing {
    fn default() -> Timing {
        Timing {
            probe: None,
            reader: String::new(),
            width: 50.0,
            interval: 1000.0,
            gap: 500_000.0,
            jitter: 0.0,
            glitches: 0.0,
            lost: 0.0,
            both_low: 0.0,
            noise: 0.0,
            idle: IdleLevel::High,
            rate: 1e6,
            seed: 1,
            faults: None,
        }
    }
}

/// Captures from field values, or a probe file of them.
#[derive(Debug, Clone)]
pub struct Compose {
    /// Id of the layout; none where captures are given.
    pub layout: Option<String>,
    /// `field=value`, or `field=first-last`.
    pub values: Vec<String>,
    /// The layouts.
    pub tables: Tables,
    /// A file to take captures from instead of composing them.
    pub captures: Option<String>,
    /// How a probe file comes out.
    pub timing: Timing,
    /// What happens between card and file, by the name of the reading.
    pub reading: String,
    /// The form of output.
    pub format: Format,
    /// Hexadecimal with the bit count instead of bits.
    pub hex: bool,
}

impl Default for Compose {
    fn default() -> Compose {
        Compose {
            layout: None,
            values: Vec::new(),
            tables: Tables::default(),
            captures: None,
            timing: Timing::default(),
            reading: "as-captured".to_owned(),
            format: Format::default(),
            hex: false,
        }
    }
}

/// A site file and a roster to start from.
#[derive(Debug, Clone, Default)]
pub struct Init {
    /// Where site.toml and roster.csv are written.
    pub directory: PathBuf,
}
