//! Layouts.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A layout, its keys as in a table file; also a line of
/// `table list --format json`. Spans count bits from 1 in the order received:
/// `2-9`, joined `26-33,18-25`, reversed `33-26`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Layout {
    /// Unique in a table.
    pub id: String,
    /// What it is called.
    pub title: String,
    /// All bits, checks included.
    #[schemars(range(min = 1, max = 256))]
    pub length: u16,
    /// Where it is from: a published source, "common practice, no source", or
    /// "worked out from captures".
    pub basis: String,
    /// How common, relative to the others; absent where it is 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight: Option<f64>,
    /// The fields.
    pub field: Vec<Field>,
    /// The checks.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub check: Vec<LayoutCheck>,
}

/// A number in a layout.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Field {
    /// `site`, `card`, or a name of its own.
    pub role: String,
    /// Its bits.
    pub span: String,
    /// `bcd4` or `bcd5`; absent where it is binary.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub code: Option<String>,
    /// Whether it is a part of the `site` or of the `card`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part_of: Option<String>,
    /// Whether it is a serial number of ISO/IEC 14443-3; absent where not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub serial: bool,
    /// The number printed on a card is its number times this, and `offset`;
    /// absent where it is 1.
    #[serde(default = "once", skip_serializing_if = "is_once")]
    #[schemars(range(min = 1))]
    pub factor: u64,
    /// What is added to the number times `factor`; absent where it is 0.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub offset: i64,
    /// Whether the captures it was worked out from leave no other choice;
    /// absent where it is so.
    #[serde(default = "yes", skip_serializing_if = "is_true")]
    pub settled: bool,
    /// Bits that may belong to it or not, where it is not settled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub open: Option<String>,
}

fn once() -> u64 {
    1
}

fn is_once(factor: &u64) -> bool {
    *factor == 1
}

fn is_zero(offset: &i64) -> bool {
    *offset == 0
}

fn yes() -> bool {
    true
}

fn is_true(flag: &bool) -> bool {
    *flag
}

/// A check of a layout, and how sure it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LayoutCheck {
    /// The check.
    #[serde(flatten)]
    pub check: Check,
    /// Whether the captures it was worked out from leave no other choice;
    /// absent where it is so.
    #[serde(default = "yes", skip_serializing_if = "is_true")]
    pub settled: bool,
    /// Bits that it may cover or not, where it is not settled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub open: Option<String>,
}

/// A rule that the bits must meet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Check {
    /// The ones in `over` and `bit` together are even.
    Even {
        /// The check bit.
        bit: u16,
        /// What it covers.
        over: String,
    },
    /// The ones in `over` and `bit` together are odd.
    Odd {
        /// The check bit.
        bit: u16,
        /// What it covers.
        over: String,
    },
    /// Bits that are always the same.
    Fixed {
        /// Which.
        span: String,
        /// Their value.
        value: FixedValue,
    },
    /// Column parity of words.
    Lrc {
        /// Bits of a word.
        group: u16,
        /// The words.
        over: String,
        /// Where the parity is.
        at: String,
    },
}

/// The value of fixed bits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum FixedValue {
    /// Below 2^63.
    Small(u64),
    /// Hexadecimal digits behind `0x`.
    Large(#[schemars(regex(pattern = r"^0x[0-9A-F]+$"))] String),
}
