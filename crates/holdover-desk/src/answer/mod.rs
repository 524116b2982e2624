//! What the commands print with `--format json`, as values.
//!
//! Every value prints back as it came, byte for byte: `serde_json` writes the
//! line that was read. The files in `schema/` are made of these types. Numbers
//! are counted as on paper: bits, lines and slots from 1.

mod compose;
mod learn;
mod plan;
mod prove;
mod read;
mod table;

use holdover::plan::Big;
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

pub use compose::Composed;
pub use learn::{Learned, LearnedCheck, LearnedField, LeftOut};
pub use plan::{
    Alternative, Batch, Change, Changes, Conflict, ConflictKind, Exposure, Identity, KeptDigits,
    Lost, Moved, Objective, Opened, Panel, Plan, Run, Slot, ToRead,
};
pub use prove::{Came, CaseCame, Place, Proof, SlotsCame};
pub use read::{Candidate, Card, Evidence, Held, Invalid, InvalidWord, Read, Reading, Verdict};
pub use table::{Check, Field, FixedValue, Layout, LayoutCheck};

use crate::fail::Fail;

/// An answer of what the library found, which has the same form as JSON.
pub(crate) fn of<T: DeserializeOwned>(found: &impl Serialize) -> Result<T, Fail> {
    serde_json::from_value(value(found)?).map_err(no_json)
}

/// Anything that has a form as JSON, in that form.
pub(crate) fn value(of: &impl Serialize) -> Result<Value, Fail> {
    serde_json::to_value(of).map_err(no_json)
}

pub(crate) fn no_json(error: serde_json::Error) -> Fail {
    Fail::said(format!("cannot write JSON: {error}"))
}

/// A whole number of any size: a JSON number where every reader of JSON holds
/// it exactly, a string of decimal digits beyond. Decimal fields, whose leading
/// zeros count, and what `--mask` hid are strings too.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Number {
    /// Up to 2^53.
    Exact(#[schemars(range(max = 9_007_199_254_740_992_u64))] u64),
    /// Its digits; `*` for each that is hidden, `?` where the bits are no digit.
    Text(#[schemars(regex(pattern = r"^[0-9*?]*$"))] String),
}

impl From<Big> for Number {
    fn from(number: Big) -> Number {
        match number.small().and_then(|small| u64::try_from(small).ok()) {
            Some(small) if small <= 1 << 53 => Number::Exact(small),
            _ => Number::Text(number.to_string()),
        }
    }
}

impl Number {
    /// Its value; `None` where a digit is hidden or none, or it is over 128 bits.
    pub fn value(&self) -> Option<u128> {
        match self {
            Number::Exact(number) => Some(u128::from(*number)),
            Number::Text(digits) if digits.bytes().all(|b| b.is_ascii_digit()) => {
                digits.parse().ok()
            }
            Number::Text(_) => None,
        }
    }
}

/// A card: a line of the roster, its header line 1, or a batch of the site file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum CardRef {
    /// A line of the roster.
    Line(u64),
    /// A batch of the site file.
    Batch {
        /// Which, from 1.
        batch: u64,
    },
}

impl From<holdover::plan::CardRef> for CardRef {
    fn from(card: holdover::plan::CardRef) -> CardRef {
        match card {
            holdover::plan::CardRef::Line(line) => CardRef::Line(line as u64),
            holdover::plan::CardRef::Batch(batch) => CardRef::Batch { batch: batch.batch as u64 },
        }
    }
}
