//! Layouts worked out.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Check, Layout, Reading};

/// A line of `learn --format json`: one kind of card found in the input.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Learned {
    /// Bits of its captures.
    #[schemars(range(min = 1, max = 256))]
    pub length: u16,
    /// Cards looked at, those left out included.
    pub samples: u64,
    /// The fields that the sample supports.
    pub fields: Vec<LearnedField>,
    /// The checks that the sample supports.
    pub checks: Vec<LearnedCheck>,
    /// How many relations are expected to hold by accident, among all tried.
    pub false_alarms_expected: f64,
    /// Lines of the input that disagree with all others and were left out.
    pub misread: Vec<u64>,
    /// The card that would settle most; `null` where all is settled.
    pub next_sample: Option<String>,
    /// The layout as a table file has it; `null` where none was found.
    pub layout: Option<Layout>,
    /// `as-captured`, or `lines-swapped`: the layout is that of the inverted
    /// captures.
    pub reading: Reading,
    /// What people should know, as sentences.
    pub notes: Vec<String>,
    /// The lines of `misread`, each with its reason.
    pub left_out: Vec<LeftOut>,
    /// Why there is no layout; `null` where there is one.
    pub failure: Option<String>,
}

/// A card left out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOut {
    /// Its line in the input.
    pub line: u64,
    /// Why.
    pub why: String,
}

/// A field worked out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LearnedField {
    /// `site`, `card`, or a name of its own.
    pub role: String,
    /// Its bits.
    pub span: String,
    /// Whether nothing else fits the sample.
    pub settled: bool,
    /// Every span that fits the sample.
    pub could_be: Vec<String>,
    /// `binary`, `bcd4` or `bcd5`.
    pub code: String,
    /// The number printed on a card is its number times this, and `offset`.
    #[schemars(range(min = 1))]
    pub factor: u64,
    /// What is added to the number times `factor`.
    pub offset: i64,
}

/// A check worked out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LearnedCheck {
    /// The check.
    #[serde(flatten)]
    pub check: Check,
    /// Whether nothing else fits the sample.
    pub settled: bool,
    /// Bits that never varied and may be covered or not; empty when settled.
    pub undetermined: String,
}
