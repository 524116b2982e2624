//! Plans.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{CardRef, Layout, Number};

/// What `plan --format json` prints, and a plan file holds: the panel's slots
/// and what comes of them. It stands alone: limits, layouts and batches are in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Plan {
    /// The slots, by number.
    pub slots: Vec<Slot>,
    /// The panel's limits.
    pub panel: Panel,
    /// The layouts, those without a slot included.
    pub table: Vec<Layout>,
    /// The cards the site owns as ranges.
    pub batches: Vec<Batch>,
    /// Cards to keep, each once.
    pub kept: Number,
    /// Boxed cards, each once.
    pub boxed: Number,
    /// Blocked cards, each once.
    pub blocked: Number,
    /// Kept cards that no slot reads.
    pub lost: Vec<Lost>,
    /// Cards that the panel could not tell apart, or would read twice.
    pub conflicts: Vec<Conflict>,
    /// How likely a stranger's card opens, a slot at a time.
    pub exposure: Vec<Exposure>,
    /// What the plan was weighed by, in this order.
    pub objective: Objective,
    /// How much better the best plan could be, aim by aim; all 0 where this one
    /// is proved best.
    pub gap: Objective,
    /// What people must know before they key it in.
    pub cautions: Vec<String>,
    /// Half of the digest of the roster it was made for; absent in a copy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roster: Option<String>,
    /// The form of the file.
    pub schema: u32,
    /// What every sheet of this plan carries.
    pub mark: String,
    /// SHA-256 of the content, by which a change is noticed; absent in a copy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub digest: Option<String>,
    /// Present in a copy that hides cards or people, which proves nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub masked: Option<bool>,
    /// The cards with a print and no read, by door and holder; not in a plan
    /// file.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub to_read: Vec<ToRead>,
    /// The other way out of the conflicts; not in a plan file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alternative: Option<Alternative>,
    /// What differs from the plan of `--against`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changes: Option<Changes>,
}

/// A card with a print and no read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ToRead {
    /// Its lines of the roster: several that say the same are one card.
    pub lines: Vec<u64>,
    /// The reader its row names; `null` where it names none.
    pub door: Option<String>,
    /// Who holds it; `null` where nobody is named.
    pub holder: Option<String>,
    /// What is printed on it.
    pub printed: String,
    /// `kept`, `boxed` or `blocked`.
    pub state: String,
    /// Whether the plan counts on it, by the number its print tells.
    pub counted_on: bool,
    /// What it should come up as; `null` where it is not counted on, or has no slot.
    pub panel_number: Option<String>,
    /// As what it is counted on, or why it is not.
    pub note: String,
}

/// What reissuing some cards would save.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Alternative {
    /// Roster lines of the cards to reissue with other numbers.
    pub reissue: Vec<u64>,
    /// Kept cards that would then keep the number on their print.
    pub keep_print: Number,
}

/// Cards of one layout and site code with consecutive numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Batch {
    /// The layout's id.
    pub layout: String,
    /// The site code; absent for layouts without one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site: Option<Number>,
    /// First and last card number, as `4000-4999`.
    pub cards: String,
    /// `issued` or `boxed`.
    pub state: String,
}

/// One of the panel's places for a card format, filled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Slot {
    /// From 1.
    pub slot: u32,
    /// Ids of the layouts it serves.
    pub layouts: Vec<String>,
    /// Bits in all.
    pub length: u16,
    /// Where the card number is read.
    pub card: Run,
    /// Where the site code is read; `null` where it is not.
    pub site: Option<Run>,
    /// Site codes to admit; empty: any.
    pub sites: Vec<Number>,
    /// Whether its cards' even and odd checks are checked; never where they
    /// have none.
    pub parity: bool,
    /// Decimal digits of the panel number.
    pub digits: u16,
    /// What to call it.
    pub name: String,
}

/// An ascending run of bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Run {
    /// Place of the first bit, from 0 or 1 as the panel counts.
    pub start: u16,
    /// Bits.
    pub length: u16,
}

/// The panel's limits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Panel {
    /// How many slots it has.
    pub slots: u64,
    /// What the panel calls the first bit: 0 or 1.
    pub first_bit: u8,
    /// What it knows a person by.
    pub identity: Identity,
    /// Longest capture it takes, bits.
    pub max_length: u64,
    /// Most decimal digits of a number.
    pub max_digits: u64,
    /// Which digits survive a cut.
    pub kept_digits: KeptDigits,
    /// Whether it checks parity.
    pub checks_parity: bool,
    /// Whether it checks site codes.
    pub checks_site: bool,
    /// The largest number it takes; absent where its digits alone limit it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_number: Option<u64>,
    /// Whether all slots read the site code in one place, or not at all;
    /// absent where each slot has its own.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub one_site_place: bool,
}

/// What a panel knows a person by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Identity {
    /// The number alone.
    #[serde(rename = "number")]
    Number,
    /// Site code and number.
    #[serde(rename = "site+number")]
    SiteAndNumber,
    /// Slot and number.
    #[serde(rename = "slot+number")]
    SlotAndNumber,
}

/// Which digits survive when fewer are kept than a number has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum KeptDigits {
    /// The last.
    Low,
    /// The first.
    High,
    /// All, or none: a number that is too long is refused.
    Refuse,
}

/// Kept cards that no slot reads.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Lost {
    /// The layout; `null` for captures that fit none.
    pub layout: Option<String>,
    /// How many.
    pub cards: Number,
    /// Why.
    pub why: String,
}

/// Cards that the panel could not tell apart, or would read twice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Conflict {
    /// What makes it one.
    pub kind: ConflictKind,
    /// The panel number, or a stretch of them as `04000-04999`; absent for
    /// `two-slots`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panel_number: Option<String>,
    /// The slots, for `two-slots`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slots: Option<Vec<u32>>,
    /// The cards.
    pub cards: Vec<CardRef>,
    /// How to mend it.
    pub what_to_do: String,
}

/// What makes two cards one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ConflictKind {
    /// A boxed card would open as another card.
    RangeOverlap,
    /// Cards with one and the same number.
    SamePanelNumber,
    /// Cards whose numbers are the same only because digits were cut.
    DigitsCut,
    /// A card that two slots admit.
    TwoSlots,
    /// A blocked card that would open as a kept one.
    BlockedOpens,
}

/// How likely a stranger's card opens by a slot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Exposure {
    /// The slot, from 1.
    pub slot: u32,
    /// Values its site and card runs can hold.
    pub admitted_patterns: Number,
    /// How many of them open as an enrolled card.
    pub opening_patterns: Number,
    /// The share, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub stranger_opens: f64,
}

/// What a plan is weighed by, in this order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Objective {
    /// Kept cards without a slot.
    pub lost: Number,
    /// Kept cards in a conflict.
    pub in_conflict: Number,
    /// Blocked cards that open as a kept card.
    pub blocked_open: Number,
    /// Kept cards whose panel number is not the number printed on them.
    pub renumbered: Number,
    /// Boxed cards without a slot.
    pub boxed_lost: Number,
    /// Boxed cards in a conflict.
    pub boxed_in_conflict: Number,
    /// The slots' shares, added up.
    pub exposure: f64,
    /// Slots used.
    pub slots: u32,
}

/// What differs between an earlier plan and this one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Changes {
    /// Whether the panel's limits do.
    pub panel: bool,
    /// Slots to key in.
    pub added: Vec<Slot>,
    /// Slots to clear.
    pub removed: Vec<Slot>,
    /// Slots whose settings or place differ.
    pub changed: Vec<Change>,
    /// Cards that come up as something else.
    pub cards: Vec<Moved>,
}

/// A slot before and after.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Change {
    /// As the earlier plan has it.
    pub before: Slot,
    /// As this one does.
    pub after: Slot,
}

/// A card that comes up as something else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Moved {
    /// The roster's line.
    pub line: u64,
    /// What it came up as; nothing: refused.
    pub before: Vec<Opened>,
    /// What it comes up as.
    pub after: Vec<Opened>,
}

/// A slot that admits a card.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Opened {
    /// The slot, from 1.
    pub slot: u32,
    /// The number the panel shows.
    pub panel_number: String,
}
