//! Kinds of card, and one layout under one reading of one capture.

use super::evidence::{RuleBits, RuleWorth};
use super::known::Owned;
use super::mend::Mends;
use crate::bits::gf2::Relation;
use crate::bits::{Capture, Span};
use crate::decode::Reading;
use crate::layout::Layout;

/// An unknown kind: what it has in common with a layout of its length.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Strange {
    /// Relations that it keeps.
    pub keeps: Vec<Relation>,
    /// Its starting share of one length.
    pub start: f64,
}

/// A layout of the table, with what ranking needs of it.
#[derive(Debug)]
pub(super) struct Kind<'t> {
    pub layout: &'t Layout,
    pub worth: RuleWorth,
    pub owned: Owned,
    /// Where the code that may repeat is, and how many codes there are.
    pub code: Option<(Span, f64)>,
    /// True where that code is the head of a serial number.
    pub code_is_serial: bool,
    /// For an unknown kind that looks like this layout's cards.
    pub strange: Option<Strange>,
    /// Another layout with a site code has the same checks.
    pub rival: bool,
    /// Index of the place of the code: kinds of one length and span share it.
    pub place: Option<u32>,
}

impl<'t> Kind<'t> {
    pub fn strange(layout: &'t Layout, code: Option<(Span, f64)>, strange: Strange) -> Kind<'t> {
        Kind {
            layout,
            worth: RuleWorth::default(),
            owned: Owned::default(),
            code,
            code_is_serial: false,
            strange: Some(strange),
            place: None,
            rival: false,
        }
    }

    /// Whether it stands for what captures of a length have in common.
    pub fn is_pattern(&self) -> bool {
        self.code.is_none() && self.strange.as_ref().is_some_and(|kind| kind.keeps.is_empty())
    }
}

/// One layout under one reading of one capture, before any other capture is
/// looked at.
#[derive(Debug, Clone, Copy)]
pub(super) struct Guess {
    pub kind: u32,
    pub reading: Reading,
    pub word: Capture,
    pub restored: Option<bool>,
    pub rules: RuleBits,
    /// Evidence of what is noted of the card, in bits.
    pub known: f64,
    /// Cost of a bit lost or gained, in bits.
    pub slip: f64,
    /// Likelihood ratio of all three against random bits.
    pub likelihood: f64,
    /// The same where the code is any, and is no more for it.
    pub likelihood_free: f64,
    /// Likelihood ratio of "a card of the site file".
    pub owned: f64,
    /// Its probe file shows pulses in doubt.
    pub doubted: bool,
    /// What was mended inside the capture.
    pub mended: Option<Mends>,
    /// An unknown kind: part of "none of these".
    pub strange: bool,
    /// Some rule fails.
    pub fails: bool,
    /// Its layout has site codes.
    pub coded: bool,
    /// The noted or printed number is the card's, or is not.
    pub noted: Option<bool>,
}

impl Guess {
    /// An unknown kind, so much likelier than random bits.
    pub(super) fn strange(kind: u32, reading: Reading, word: Capture, likelihood: f64) -> Guess {
        Guess {
            kind,
            reading,
            word,
            restored: None,
            rules: RuleBits::default(),
            known: 0.0,
            slip: 0.0,
            likelihood,
            likelihood_free: likelihood,
            owned: 0.0,
            doubted: false,
            mended: None,
            strange: true,
            fails: false,
            coded: false,
            noted: None,
        }
    }

    /// Whether a bit was lost or gained at an end, and no probe file shows it.
    pub(super) fn slipped(&self) -> bool {
        !self.doubted && self.reading.slipped()
    }

    /// Index of the wiring it belongs to, in `Reading::WIRING`.
    pub(super) fn wiring(&self) -> usize {
        wiring(self.reading)
    }
}

/// Index of the wiring a reading belongs to, in `Reading::WIRING`.
pub(super) fn wiring(reading: Reading) -> usize {
    Reading::WIRING.iter().position(|w| *w == reading).unwrap_or(0)
}
