//! Numbers that count from sample to sample: cards read in the order of their
//! box are numbered consecutively. Needs samples in order, most of them without
//! a gap.

use super::answer::Counter;
use super::rows::{Columns, Rows};
use super::spans::{Anchor, Order};
use crate::layout::Code;

/// The share of moves that must be one step (judgement, no source).
const STEADY: f64 = 0.7;

/// Fewest samples for a counter to be seen.
const LEAST: usize = 6;

/// Samples looked at: more add nothing.
const LOOKED_AT: usize = 4096;

/// The counters among `rows`, with where their low bits stand, the widest first.
pub(super) fn find(columns: &Columns, rows: &Rows) -> Vec<(Counter, Anchor, usize)> {
    let rows: Vec<usize> = rows.iter().take(LOOKED_AT).collect();
    if rows.len() < LEAST {
        return Vec::new();
    }
    let need = ((rows.len() - 1) as f64 * STEADY).ceil() as usize;
    let mut found: Vec<(Counter, Anchor, usize)> = Vec::new();
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
            let mut best: Option<(Counter, Anchor, usize)> = None;
            for j in 0..32 {
                let Some(span) = anchor.span(j + 1) else { break };
                let at = span.offsets().next().filter(|at| *at < columns.length());
                let Some(at) = at else { break };
                for (value, row) in values.iter_mut().zip(&rows) {
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
                if moves < need.max(best.as_ref().map_or(0, |(best, ..)| best.moves)) {
                    break;
                }
                // Two bits that alternate count either way.
                if varies && j >= 2 {
                    best = Some((Counter { span, step, moves }, anchor, j + 1));
                }
            }
            found.extend(best);
        }
    }
    found.sort_by_key(|(counter, anchor, width)| {
        (std::cmp::Reverse(*width), std::cmp::Reverse(counter.moves), anchor.low)
    });
    // A run inside one that was found is the same counter.
    let mut kept: Vec<(Counter, Anchor, usize)> = Vec::new();
    for next in found {
        let mask = next.1.mask(next.2);
        if kept.iter().all(|k| (k.1.mask(k.2) & mask).is_zero()) {
            kept.push(next);
        }
    }
    kept
}
