//! Proofs.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{CardRef, Number};

/// A line of `prove --format json`: whether a row comes to what it should.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Proof {
    /// Which row.
    #[serde(flatten)]
    pub row: Place,
    /// "blocked" for a card that is to stay shut.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// Whether it does.
    pub holds: bool,
    /// True where the card was not read, so that nothing is proved of it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unread: bool,
    /// What it should come to.
    pub expected: Came,
    /// What it comes to.
    pub got: Came,
}

/// A row of the input, or a batch of the site file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Place {
    /// A line of the roster or of the cases, its header line 1.
    Line(u64),
    /// A batch of the site file, from 1.
    Batch(u64),
}

/// What a row comes to, or should.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Came {
    /// Through a plan's slots.
    Slots(SlotsCame),
    /// As a case.
    Case(CaseCame),
}

/// What a card opens.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SlotsCame {
    /// The slots that admit it, from 1.
    pub slots: Vec<u32>,
    /// The site code the panel knows it by, where it does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site: Option<Number>,
    /// The number the panel shows; for a range, of its first and last card.
    pub panel_number: Option<String>,
    /// Other cards that open the same identity; a hundred at most.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<CardRef>,
    /// Why it is refused, slot by slot.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub refused: Vec<String>,
}

/// What a capture decodes as; only what was asked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CaseCame {
    /// The verdict; "invalid" where it is no capture.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub verdict: Option<String>,
    /// The layout's id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layout: Option<String>,
    /// The site code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site: Option<String>,
    /// The card number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub card: Option<String>,
}
