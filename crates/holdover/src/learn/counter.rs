//! Numbers that count from sample to sample: cards read in the order of their
//! box are numbered consecutively. Needs samples in order, most of them without
//! a gap.

use std::cmp::Reverse;

use super::answer::Counter;
use super::entropy::choices;
use super::rows::Columns;
use super::spans::{Anchor, Order};
use crate::bits::Wide;
use crate::layout::Code;

/// The share of moves that must be one step (judgement, no source).
const STEADY: f64 = 0.7;

/// Fewest samples for a counter to be seen.
const LEAST: usize = 6;

/// Samples looked at: more add nothing.
const LOOKED_AT: usize = 4096;

/// Accidents allowed (judgement, no source).
const ALLOWED: f64 = 0.01;

/// A counter, and where its low bit stands.
pub(super) struct Counting {
    pub(super) counter: Counter,
    pub(super) anchor: Anchor,
    pub(super) width: usize,
    /// Counters expected to be seen as well by accident.
    pub(super) false_alarms: f64,
}

impl Counting {
    pub(super) fn mask(&self) -> Wide {
        self.anchor.mask(self.width)
    }
}

/// How many counters as good would be seen by accident, of all places, both
/// orders and both ways tried: by chance each of `width` bits is as it should
/// be in half of the moves, and which `moves` of `all` those are is chosen after
/// the fact.
fn false_alarms_of(length: usize, width: usize, moves: usize, all: usize) -> f64 {
    (4 * length) as f64 * (choices(moves, all) - (width * moves) as f64).exp2()
}

/// The counters among `rows`, which are in the order given, the widest first.
pub(super) fn find(columns: &Columns, rows: &[usize]) -> Vec<Counting> {
    let rows = &rows[..rows.len().min(LOOKED_AT)];
    if rows.len() < LEAST {
        return Vec::new();
    }
    let need = ((rows.len() - 1) as f64 * STEADY).ceil() as usize;
    let mut found: Vec<Counting> = Vec::new();
    for order in [Order::Ascending, Order::Descending] {
        for low in 0..columns.length() {
            let bit = columns.at(low);
            // The low bit of a counter changes at each step.
            let flips = rows.windows(2).filter(|pair| bit.has(pair[0]) != bit.has(pair[1])).count();
            if flips < need {
                continue;
            }
            let anchor = Anchor { code: Code::Binary, order, low };
            let mut values = vec![0u64; rows.len()];
            let mut best: Option<Counting> = None;
            for j in 0..32 {
                let Some(span) = anchor.span(j + 1) else { break };
                let at = span.offsets().next().filter(|at| *at < columns.length());
                let Some(at) = at else { break };
                for (value, row) in values.iter_mut().zip(rows) {
                    *value |= u64::from(columns.at(at).has(*row)) << j;
                }
                let ones = rows.iter().filter(|row| columns.at(at).has(**row)).count();
                let varies = (1..rows.len()).contains(&ones);
                let step = |by: u64| {
                    let mask = (1u64 << (j + 1)) - 1;
                    values
                        .windows(2)
                        .filter(|pair| pair[0].wrapping_add(by) & mask == pair[1])
                        .count()
                };
                let (up, down) = (step(1), step(u64::MAX));
                let (moves, step) = if up >= down { (up, 1) } else { (down, -1) };
                // A bit that is not the counter's breaks a move where it changes.
                if moves < need.max(best.as_ref().map_or(0, |best| best.counter.moves)) {
                    break;
                }
                // Two bits that alternate count either way.
                if varies && j >= 2 {
                    let width = j + 1;
                    let false_alarms =
                        false_alarms_of(columns.length(), width, moves, rows.len() - 1);
                    let counter = Counter { span, step, moves };
                    best = Some(Counting { counter, anchor, width, false_alarms });
                }
            }
            found.extend(best.filter(|best| best.false_alarms < ALLOWED));
        }
    }
    found.sort_by_key(|found| {
        (Reverse(found.width), Reverse(found.counter.moves), found.anchor.low)
    });
    // A run inside one that was found is the same counter.
    let mut kept: Vec<Counting> = Vec::new();
    for next in found {
        if kept.iter().all(|kept| (kept.mask() & next.mask()).is_zero()) {
            kept.push(next);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked out by hand: 26 places, two orders, two ways; five moves of three
    /// bits, all of them steady or all but one.
    #[test]
    fn accidents_count_what_was_tried() {
        assert!((false_alarms_of(26, 3, 5, 5) - 104.0 / 32_768.0).abs() < 1e-12);
        let chosen = 5.0_f64.powi(5) / 4.0_f64.powi(4);
        assert!((false_alarms_of(26, 3, 4, 5) - 104.0 * chosen / 4_096.0).abs() < 1e-12);
    }
}
