//! What is claimed of a sample and what is known of it, and how little chance is
//! to explain of what is called settled.

use crate::bits::Wide;
use crate::bits::gf2::Relation;

/// Fewer false alarms than this are expected of what is called settled.
pub(super) const SETTLED: f64 = 1e-3;

/// So many tests more than bits are no accident: one in a thousand (judgement,
/// no source).
pub(super) const MARGIN: usize = 10;

/// Whether so few of the rows whose prints are right may break a check because
/// they are misread.
pub(super) fn few(broken: usize, rows: usize) -> bool {
    broken <= BROKEN_LEAST.max((rows as f64 * BROKEN) as usize)
}

/// log2 of the accidents expected of what is settled: one in a thousand.
pub(super) const SURE: f64 = -10.0;

/// The share of good prints' rows that may break a check (judgement, no source):
/// more are no misreadings.
const BROKEN: f64 = 0.06;

/// Rows that may break a check in small samples (judgement, no source).
const BROKEN_LEAST: usize = 2;

/// A check that is to be weighed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Claim {
    pub(super) bit: usize,
    pub(super) cover: Wide,
    /// Rows that break it.
    pub(super) violations: usize,
}

impl Claim {
    pub(super) fn bits(&self) -> Wide {
        let mut bits = self.cover;
        bits.set(self.bit, true);
        bits
    }
}

/// What is known of the card beside its checks.
#[derive(Debug, Clone)]
pub(super) struct Known {
    /// The card number's bits, the most significant first.
    pub(super) card: Vec<usize>,
    /// Where fields begin, and the bits behind their ends.
    pub(super) borders: Vec<usize>,
    /// Bits of fields that are printed.
    pub(super) fields: Wide,
    /// The checks found are those of a layout of the built-in table.
    pub(super) published: bool,
    /// Relations that the code of a field brings with it.
    pub(super) relations: Vec<Relation>,
}
