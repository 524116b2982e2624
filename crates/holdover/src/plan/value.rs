//! The plan: what is keyed into the panel, and what to expect of it.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::big::{Big, count};
use crate::layout::Table;
use crate::site::{CardBatch, Panel};

/// An ascending run of bits as the panel counts them: `start` is the first
/// bit's place, from 0 or 1 as the panel's `first_bit` says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PanelRun {
    /// Place of the first bit, as the panel counts.
    pub start: usize,
    /// Bits.
    pub length: usize,
}

/// One of the panel's places for a card format, filled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanSlot {
    /// From 1.
    pub slot: usize,
    /// Ids of the layouts it serves.
    pub layouts: Vec<String>,
    /// Bits in all.
    pub length: usize,
    /// Where the card number is read.
    pub card: PanelRun,
    /// Where the site code is read; `None` where it is not.
    pub site: Option<PanelRun>,
    /// Site codes to admit, as the site run reads them; none: any.
    pub sites: Vec<Big>,
    /// Whether its cards' even and odd checks are checked; never where they
    /// have none.
    pub parity: bool,
    /// Decimal digits of the panel number.
    pub digits: usize,
    /// What to call it.
    pub name: String,
}

/// Kept cards that no slot reads.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lost {
    /// The layout; `None` for captures that fit none.
    pub layout: Option<String>,
    /// How many.
    #[serde(with = "count")]
    pub cards: u128,
    /// Why.
    pub why: String,
}

/// A slot of an earlier plan that could not stay as it was keyed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotKept {
    /// The slot, as it was.
    pub slot: PlanSlot,
    /// Why.
    pub why: String,
}

/// A card, or the cards, a conflict is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(untagged)]
pub enum CardRef {
    /// A line of the roster, the header line 1.
    Line(usize),
    /// A batch of the site file.
    Batch(BatchRef),
}

/// A batch of the site file, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BatchRef {
    /// Which, from 1.
    pub batch: usize,
}

/// What makes two cards one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
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

impl fmt::Display for ConflictKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            ConflictKind::RangeOverlap => "range-overlap",
            ConflictKind::SamePanelNumber => "same-panel-number",
            ConflictKind::DigitsCut => "digits-cut",
            ConflictKind::TwoSlots => "two-slots",
            ConflictKind::BlockedOpens => "blocked-opens",
        })
    }
}

/// Cards that the panel could not tell apart, or would read twice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Conflict {
    /// What makes it one.
    pub kind: ConflictKind,
    /// The panel number, or a stretch of them as `04000-04999`, as long as the
    /// slot's; `None` for `two-slots`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panel_number: Option<String>,
    /// The slots, for `two-slots`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slots: Option<Vec<usize>>,
    /// The cards.
    pub cards: Vec<CardRef>,
    /// How to mend it.
    pub what_to_do: String,
}

/// How likely a stranger's card opens by a slot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Exposure {
    /// The slot, from 1.
    pub slot: usize,
    /// Values its site and card runs can hold where the checks are met.
    pub admitted_patterns: Big,
    /// How many of them open as an enrolled card.
    pub opening_patterns: Big,
    /// The share: the chance that a stranger's card of that length and those
    /// checks opens.
    pub stranger_opens: f64,
}

/// What a plan is weighed by, in this order.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Objective {
    /// Kept cards without a slot.
    #[serde(with = "count")]
    pub lost: u128,
    /// Kept cards in a conflict.
    #[serde(with = "count")]
    pub in_conflict: u128,
    /// Blocked cards that open as a kept card.
    #[serde(with = "count")]
    pub blocked_open: u128,
    /// Kept cards whose panel number is not the number printed on them.
    #[serde(with = "count")]
    pub renumbered: u128,
    /// Boxed cards without a slot.
    #[serde(with = "count")]
    pub boxed_lost: u128,
    /// Boxed cards in a conflict.
    #[serde(with = "count")]
    pub boxed_in_conflict: u128,
    /// The slots' shares, added up.
    pub exposure: f64,
    /// Slots used.
    pub slots: usize,
}

/// The chance that a read opens by a slot, by what the panel leaves unchecked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risk {
    /// The slot, from 1.
    pub slot: usize,
    /// A stranger's card of that length and those checks, as planned.
    pub stranger: f64,
    /// The same if the panel did not look at the site codes to admit.
    pub without_site: f64,
    /// Any bits of that length, as planned: they must meet the checks by chance.
    pub any_bits: f64,
    /// Any bits of that length if the panel did not check parity.
    pub any_bits_without_parity: f64,
    /// Any bits of that length if it looked at neither.
    pub any_bits_without_either: f64,
    /// Captures that a reader would let in that opens on length and parity
    /// alone: log2 of how many.
    pub length_and_parity_bits: usize,
}

/// The few settings that are keyed into the new panel, and what comes of them.
///
/// As JSON it stands alone: limits, layouts and batches are in it, and what is read
/// back is checked, so that a plan that contradicts itself does not exist.
/// [`Plan::risks`] and [`Plan::not_kept`] are not part of the JSON.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    pub(super) slots: Vec<PlanSlot>,
    pub(super) panel: Panel,
    pub(super) table: Table,
    pub(super) batches: Vec<CardBatch>,
    pub(super) kept: u128,
    pub(super) boxed: u128,
    pub(super) blocked: u128,
    pub(super) lost: Vec<Lost>,
    pub(super) conflicts: Vec<Conflict>,
    pub(super) exposure: Vec<Exposure>,
    pub(super) objective: Objective,
    pub(super) cautions: Vec<String>,
    pub(super) risks: Vec<Risk>,
    pub(super) gap: Objective,
    pub(super) not_kept: Vec<NotKept>,
}

impl Plan {
    /// The slots, by number.
    pub fn slots(&self) -> &[PlanSlot] {
        &self.slots
    }

    /// The panel's limits.
    pub fn panel(&self) -> &Panel {
        &self.panel
    }

    /// The layouts, those without a slot included.
    pub fn table(&self) -> &Table {
        &self.table
    }

    /// The cards the site owns as ranges, in the site file's order.
    pub fn batches(&self) -> &[CardBatch] {
        &self.batches
    }

    /// Cards to keep, each once.
    pub fn kept(&self) -> u128 {
        self.kept
    }

    /// Boxed cards, each once.
    pub fn boxed(&self) -> u128 {
        self.boxed
    }

    /// Blocked cards, each once: they are enrolled nowhere.
    pub fn blocked(&self) -> u128 {
        self.blocked
    }

    /// Kept cards that no slot reads.
    pub fn lost(&self) -> &[Lost] {
        &self.lost
    }

    /// Conflicts: by panel number first, then blocked cards that open, then
    /// cards that two slots admit.
    pub fn conflicts(&self) -> &[Conflict] {
        &self.conflicts
    }

    /// Exposure, a slot at a time.
    pub fn exposure(&self) -> &[Exposure] {
        &self.exposure
    }

    /// What the plan was weighed by.
    pub fn objective(&self) -> &Objective {
        &self.objective
    }

    /// What people must know before they key it in, as sentences.
    pub fn cautions(&self) -> &[String] {
        &self.cautions
    }

    /// Exposure with and without the checks of site code and parity. Empty
    /// for a plan read back.
    pub fn risks(&self) -> &[Risk] {
        &self.risks
    }

    /// Slots of the plan to keep that could not stay. Empty for a plan read
    /// back.
    pub fn not_kept(&self) -> &[NotKept] {
        &self.not_kept
    }

    /// How much better the best plan could be, aim by aim: nothing where this
    /// one is proved to be the best. An aim is to be read with those before it;
    /// where one of them may be better, those after it may be worse.
    pub fn gap(&self) -> &Objective {
        &self.gap
    }

    /// Whether no plan is better.
    pub fn is_proved_best(&self) -> bool {
        self.gap == Objective::default()
    }

    /// Whether something is wrong with the cards: a conflict, or a kept card
    /// that is lost.
    pub fn is_clean(&self) -> bool {
        self.conflicts.is_empty() && self.lost.is_empty()
    }
}
