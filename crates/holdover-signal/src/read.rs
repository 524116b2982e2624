//! One card read off the lines: its bits, its pulses, and what is unsure.

use std::fmt::Write as _;
use std::sync::Arc;

use holdover::bits::Capture;
use serde::{Serialize, Serializer, ser::SerializeStruct};

use crate::finding::Finding;
use crate::histogram::Spread;

/// One of a reader's two data lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Line {
    /// Its pulses are zeros.
    D0,
    /// Its pulses are ones.
    D1,
}

impl Line {
    /// The bit a pulse of it stands for.
    pub fn bit(self) -> bool {
        self == Line::D1
    }

    pub(crate) fn name(self) -> &'static str {
        match self {
            Line::D0 => "D0",
            Line::D1 => "D1",
        }
    }

    pub(crate) fn other(self) -> Line {
        match self {
            Line::D0 => Line::D1,
            Line::D1 => Line::D0,
        }
    }
}

/// One pulse: one bit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Pulse {
    /// When it begins, in µs from the file's zero.
    pub start_us: f64,
    /// How long it lasts, in µs.
    pub width_us: f64,
    /// On which line.
    pub line: Line,
}

/// Places in a capture where a bit may be missing or may not be one; positions
/// count from 1.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Unsure {
    /// A bit may be missing before each of these; one past the last bit: after
    /// it. A place is listed as often as bits seem to be missing there.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<usize>,
    /// These bits may be noise, or the other line's.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub suspect: Vec<usize>,
}

impl Unsure {
    /// Whether every bit is sure.
    pub fn is_empty(&self) -> bool {
        self.missing.is_empty() && self.suspect.is_empty()
    }
}

/// One card read: a capture with its timing.
///
/// The bits are those seen. A pulse lost inside shows as a long spacing and is
/// in `unsure`; a first or a last pulse lost whole leaves no trace between the
/// edges, and only a later stage that knows layouts can suspect it.
///
/// As JSON it has the keys `bits`, `reader`, `start_us`, `pulses`, `findings`,
/// and `unsure` where anything is.
#[derive(Debug, Clone, PartialEq)]
pub struct CardRead {
    /// The reader.
    pub reader: Arc<str>,
    /// Which of the reader's captures, from 1.
    pub number: u64,
    /// The bits, in the order received.
    pub bits: Capture,
    /// When the first pulse begins, in µs from the file's zero.
    pub start_us: f64,
    /// A pulse a bit.
    pub pulses: Vec<Pulse>,
    /// How wide the pulses are.
    pub width: Spread,
    /// How far apart they begin; `None` for a single one.
    pub interval: Option<Spread>,
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    /// Which bits are unsure.
    pub unsure: Unsure,
}

impl Serialize for CardRead {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let unsure = !self.unsure.is_empty();
        let mut out = serializer.serialize_struct("CardRead", 5 + usize::from(unsure))?;
        out.serialize_field("bits", &self.bits.to_string())?;
        out.serialize_field("reader", &*self.reader)?;
        out.serialize_field("start_us", &self.start_us)?;
        out.serialize_field("pulses", &self.pulses)?;
        out.serialize_field("findings", &self.findings)?;
        if unsure {
            out.serialize_field("unsure", &self.unsure)?;
        } else {
            out.skip_field("unsure")?;
        }
        out.end()
    }
}

impl CardRead {
    /// Headings of [`CardRead::csv_row`].
    pub const CSV_HEADER: [&'static str; 6] =
        ["bits", "reader", "start_us", "pulses", "findings", "unsure"];

    /// The cells of a table row, unquoted.
    ///
    /// Pulses are `bit@start+width` in µs, the start counted from the first
    /// pulse; findings are `name` or `name@position`; unsure bits are
    /// `missing@position` and `suspect@position`; all parted by blanks.
    pub fn csv_row(&self) -> [String; 6] {
        let mut pulses = String::new();
        for pulse in &self.pulses {
            let gap = if pulses.is_empty() { "" } else { " " };
            let from = pulse.start_us - self.start_us;
            let bit = u8::from(pulse.line.bit());
            // Writing to a string cannot fail.
            let _ = write!(pulses, "{gap}{bit}@{from:.3}+{:.3}", pulse.width_us);
        }
        let findings = self.findings.iter().map(|f| match f.place.position {
            Some(position) => format!("{}@{position}", f.kind.name()),
            None => f.kind.name().to_owned(),
        });
        let missing = self.unsure.missing.iter().map(|p| format!("missing@{p}"));
        let suspect = self.unsure.suspect.iter().map(|p| format!("suspect@{p}"));
        [
            self.bits.to_string(),
            self.reader.to_string(),
            format!("{:.3}", self.start_us),
            pulses,
            findings.collect::<Vec<_>>().join(" "),
            missing.chain(suspect).collect::<Vec<_>>().join(" "),
        ]
    }
}
