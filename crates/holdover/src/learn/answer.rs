//! What is learnt of one kind of card, with how sure each part is.

use std::fmt;

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use crate::bits::{Position, Span};
use crate::decode::Reading;
use crate::layout::{Check, Code, Layout, PrintRule, Role, WireCheck};

/// What is learnt of one kind of card.
///
/// Serialised, it is the JSON object `learn --format json` prints.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Learnt {
    /// Bits a card.
    pub length: usize,
    /// Samples of this kind, those left out among them.
    pub samples: usize,
    /// Fields the sample supports.
    pub fields: Vec<FoundField>,
    /// Checks the sample supports.
    pub checks: Vec<FoundCheck>,
    /// How many false relations are expected to fit among all tried, given the
    /// rank of the sample.
    pub false_alarms_expected: f64,
    /// Samples left out, by line, each with its reason.
    pub misread: Vec<Misread>,
    /// The further card that would settle most; `None` where nothing is open.
    pub next_sample: Option<String>,
    /// The layout, where at least one field is known and every good sample
    /// decodes back to its print.
    pub layout: Option<Layout>,
    /// Why there is no layout.
    pub failure: Option<String>,
    /// What else there is to say, for people.
    pub notes: Vec<String>,
    /// Entropy of each bit among the good samples, 0 to 1.
    pub entropy: Vec<f64>,
    /// Bits that were the same in all good samples.
    pub never_varied: Option<Span>,
    /// Numbers that count up or down from sample to sample.
    pub counters: Vec<Counter>,
    /// Lines of the samples the layout explains.
    pub good: Vec<usize>,
    /// True where the layout is that of the inverted captures: the data lines
    /// are swapped at the reader.
    pub lines_swapped: bool,
}

/// A field, and how sure it is.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundField {
    /// What it is for.
    pub role: Role,
    /// Where its bits are.
    pub span: Span,
    /// How they are a number.
    pub code: Code,
    /// Whether the sample leaves no other choice.
    pub settled: bool,
    /// Every span that reads the same in all good samples, the chosen one first.
    pub could_be: Vec<Span>,
    /// How the print follows from the bits' number.
    pub print: PrintRule,
}

/// A check, and how sure it is.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundCheck {
    /// The check, its cover completed in the usual way.
    pub check: Check,
    /// Whether the sample leaves no other choice.
    pub settled: bool,
    /// Bits that may or may not be covered; `None` where there is none.
    pub undetermined: Option<Span>,
}

/// A number that counts from sample to sample, in the order given.
#[derive(Debug, Clone, PartialEq)]
pub struct Counter {
    /// Its bits, as far as they varied.
    pub span: Span,
    /// By how much it moves.
    pub step: i8,
    /// In how many of the moves from one sample to the next.
    pub moves: usize,
}

/// A sample left out.
#[derive(Debug, Clone, PartialEq)]
pub struct Misread {
    /// Its line.
    pub line: usize,
    /// Why.
    pub why: Why,
}

/// Why a sample was left out.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Why {
    /// The print says another number than the bits.
    PrintDiffers {
        /// The number printed.
        printed: u128,
        /// The number the bits hold.
        bits: String,
        /// Two neighbouring digits of the print are swapped.
        transposed: bool,
        /// The one bit that differs, if it is only one.
        bit: Option<Position>,
    },
    /// Its print is no number of this kind of card by the rule of the others.
    OffRule,
    /// The inverted capture fits: the data lines were swapped.
    LinesSwapped,
    /// It breaks checks that the others meet.
    ChecksFail {
        /// The checks.
        checks: Vec<String>,
    },
    /// Bits that never vary in the others differ.
    Differs {
        /// Which.
        bits: Span,
    },
    /// Another number of bits than the others.
    Length {
        /// Its bits.
        bits: usize,
        /// The bits of the others.
        expected: usize,
    },
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Why::PrintDiffers { printed, bits, transposed, bit } => {
                write!(f, "printed {printed}, but the bits say {bits}")?;
                if *transposed {
                    f.write_str(": two digits are swapped")?;
                } else if let Some(bit) = bit {
                    write!(f, ": bit {bit} alone differs")?;
                }
                Ok(())
            }
            Why::OffRule => f.write_str("its print is no number by the rule of the others"),
            Why::LinesSwapped => f.write_str("the data lines are swapped: inverted, it fits"),
            Why::ChecksFail { checks } => write!(f, "breaks {}", checks.join(" and ")),
            Why::Differs { bits } => write!(
                f,
                "differs from all others in bits {bits}: a misreading, or a card of another site; \
                 a second card like it would tell"
            ),
            Why::Length { bits, expected } => {
                write!(f, "{bits} bits where the others have {expected}")
            }
        }
    }
}

impl Serialize for Learnt {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(12))?;
        map.serialize_entry("length", &self.length)?;
        map.serialize_entry("samples", &self.samples)?;
        map.serialize_entry("fields", &self.fields)?;
        map.serialize_entry("checks", &self.checks)?;
        map.serialize_entry("false_alarms_expected", &self.false_alarms_expected)?;
        let lines: Vec<usize> = self.misread.iter().map(|misread| misread.line).collect();
        map.serialize_entry("misread", &lines)?;
        map.serialize_entry("next_sample", &self.next_sample)?;
        map.serialize_entry("layout", &self.layout)?;
        let reading = if self.lines_swapped { Reading::LinesSwapped } else { Reading::AsCaptured };
        map.serialize_entry("reading", reading.name())?;
        map.serialize_entry("notes", &self.notes)?;
        map.serialize_entry("left_out", &self.misread)?;
        map.serialize_entry("failure", &self.failure)?;
        map.end()
    }
}

impl Serialize for FoundField {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(7))?;
        map.serialize_entry("role", self.role.name())?;
        map.serialize_entry("span", &self.span.to_string())?;
        map.serialize_entry("settled", &self.settled)?;
        let spans: Vec<String> = self.could_be.iter().map(Span::to_string).collect();
        map.serialize_entry("could_be", &spans)?;
        map.serialize_entry("code", self.code.name())?;
        map.serialize_entry("factor", &self.print.factor)?;
        map.serialize_entry("offset", &self.print.offset)?;
        map.end()
    }
}

impl Serialize for Misread {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(2))?;
        map.serialize_entry("line", &self.line)?;
        map.serialize_entry("why", &self.why.to_string())?;
        map.end()
    }
}

impl Serialize for FoundCheck {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Wire {
            #[serde(flatten)]
            check: WireCheck,
            settled: bool,
            undetermined: String,
        }
        let undetermined = self.undetermined.as_ref().map_or(String::new(), Span::to_string);
        let check = WireCheck::from(&self.check);
        Wire { check, settled: self.settled, undetermined }.serialize(serializer)
    }
}
