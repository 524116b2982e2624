//! Captures made.

use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Number;

/// A line of `compose --format json`: a capture made of numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Composed {
    /// The bits in the order a reader sends them, or with `--hex` as
    /// hexadecimal digits and how many bits.
    #[schemars(regex(pattern = r"^([01]{1,256}|0x[0-9A-F]+/[0-9]+)$"))]
    pub bits: String,
    /// The layout's id.
    pub layout: String,
    /// Role to number, in the layout's order.
    #[serde(flatten)]
    pub fields: IndexMap<String, Number>,
}
