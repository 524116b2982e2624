//! Captures and what they are.

use holdover::{decode, rank};
use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Number;

/// A line of `read --format json`: a capture with its candidates, or why a
/// line is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Read {
    /// A capture.
    Card(Box<Card>),
    /// A line that is no capture.
    Invalid(Invalid),
}

/// A capture and what it may be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Card {
    /// Line of the source, from 1; of arguments, which one.
    pub line: u64,
    /// The file's name, "-" for standard input, "argument" for a word.
    pub source: String,
    /// The bits in the order received; `*` for each that is hidden.
    #[schemars(regex(pattern = r"^[01*]{1,256}$"))]
    pub bits: String,
    /// How many, 1 to 256.
    #[schemars(range(min = 1, max = 256))]
    pub length: u16,
    /// The text as it was given, where it has no bit count; the bits are then those
    /// of the best candidate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub given: Option<String>,
    /// What it is, taken together.
    pub verdict: Verdict,
    /// What it may be, the likeliest first.
    pub candidates: Vec<Candidate>,
    /// The probability that it is none of the layouts, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub none_probability: f64,
    /// The probability of all candidates that are too unlikely to list.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub other_probability: Option<f64>,
    /// What people should know, as sentences.
    pub notes: Vec<String>,
    /// The reader it came from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reader: Option<String>,
    /// The input's own columns beside the bits, heading to cell, in its order: text,
    /// or of JSON whatever the value is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carried: Option<IndexMap<String, serde_json::Value>>,
}

/// What a capture is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The best candidate is at 0.95 or above and all its checks hold.
    Identified,
    /// Some candidate, none of them sure.
    Ambiguous,
    /// None of the layouts, at 0.5 or above.
    Unknown,
}

impl From<rank::Verdict> for Verdict {
    fn from(verdict: rank::Verdict) -> Verdict {
        match verdict {
            rank::Verdict::Identified => Verdict::Identified,
            rank::Verdict::Ambiguous => Verdict::Ambiguous,
            rank::Verdict::Unknown => Verdict::Unknown,
        }
    }
}

/// One layout under one reading that may explain a capture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Candidate {
    /// The layout's id.
    pub layout: String,
    /// What happened between card and file.
    pub reading: Reading,
    /// Role to number, in the layout's order.
    pub fields: IndexMap<String, Number>,
    /// The checks, in the layout's order.
    pub checks: Vec<Held>,
    /// What speaks for it, part by part.
    pub evidence: Vec<Evidence>,
    /// The same added up: log2 of how much better it explains the bits than
    /// chance does.
    pub evidence_bits: f64,
    /// How probable it is, 0 to 1, calibrated.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub probability: f64,
    /// How many bits the text has for it, where no bit count was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 256))]
    pub length: Option<u16>,
}

/// What happened between card and file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Reading {
    /// Nothing.
    AsCaptured,
    /// The data lines are swapped: every bit is inverted.
    LinesSwapped,
    /// The bits come in reverse order.
    Reversed,
    /// Both.
    LinesSwappedReversed,
    /// The first bit was lost.
    FirstBitLost,
    /// The last bit was lost.
    LastBitLost,
    /// A bit too many in front.
    ExtraFirstBit,
    /// A bit too many behind.
    ExtraLastBit,
    /// The bytes of a serial number came in reverse order; a print tells that.
    BytesReversed,
    /// Of a serial number of seven bytes the first four came; a print tells the rest.
    FirstFourBytes,
    /// Of a serial number of seven bytes the last four came; a print tells the rest.
    LastFourBytes,
}

impl From<decode::Reading> for Reading {
    fn from(reading: decode::Reading) -> Reading {
        match reading {
            decode::Reading::AsCaptured => Reading::AsCaptured,
            decode::Reading::LinesSwapped => Reading::LinesSwapped,
            decode::Reading::Reversed => Reading::Reversed,
            decode::Reading::LinesSwappedReversed => Reading::LinesSwappedReversed,
            decode::Reading::FirstBitLost => Reading::FirstBitLost,
            decode::Reading::LastBitLost => Reading::LastBitLost,
            decode::Reading::ExtraFirstBit => Reading::ExtraFirstBit,
            decode::Reading::ExtraLastBit => Reading::ExtraLastBit,
            decode::Reading::BytesReversed => Reading::BytesReversed,
            decode::Reading::FirstFourBytes => Reading::FirstFourBytes,
            decode::Reading::LastFourBytes => Reading::LastFourBytes,
        }
    }
}

/// A check, and whether it holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Held {
    /// The check in words: "even 1 over 2-13".
    pub check: String,
    /// Whether it holds.
    pub holds: bool,
}

/// A part of the evidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Evidence {
    /// What says so.
    pub what: String,
    /// log2 of how much better than chance; below 0 it speaks against.
    pub bits: f64,
}

/// A line that is no capture.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Invalid {
    /// Line of the source, from 1.
    pub line: u64,
    /// The file's name, "-" for standard input, "argument" for a word.
    pub source: String,
    /// Always "invalid".
    pub verdict: InvalidWord,
    /// Why, and how to mend it.
    pub error: String,
}

/// The verdict of what is no capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum InvalidWord {
    /// No capture at all.
    Invalid,
}
