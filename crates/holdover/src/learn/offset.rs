//! A printed number that is the bits' number and a constant. Tried only where
//! no span reads the print as it is; needs more rows, for the constant costs
//! one.

use std::cmp::Reverse;
use std::collections::HashMap;

use super::number::{Number, false_alarm};
use super::print::Facet;
use super::rows::{Columns, Rows};
use super::spans::{Anchor, Fit, Order, Planes};
use crate::layout::{Code, PrintRule};

/// Rows looked at: more add nothing.
const LOOKED_AT: usize = 128;

/// The share of rows that must have the same offset (judgement, no source).
const AGREE: f64 = 0.8;

/// False alarms allowed (judgement, no source).
const ALLOWED: f64 = 1e-3;

/// The widest number looked for.
const WIDEST: usize = 64;

/// Rows that agree, then the nearest offset, then the narrowest span.
type Worth = (usize, Reverse<(u128, usize)>);

/// Finds a span whose number and the print are a constant apart.
pub(super) fn find(columns: &Columns, rows: &Rows, facet: Facet) -> Option<Number> {
    let known = Rows::of(facet.values.len(), |row| rows.has(row) && facet.values[row].is_some());
    let count = known.count();
    if count < 4 || facet.distinct(known.iter(), 4) < 4 {
        return None;
    }
    let looked: Vec<usize> = known.iter().take(LOOKED_AT).collect();
    let small = |row: &usize| facet.values[*row].filter(|v| v >> WIDEST == 0).map(|v| v as i128);
    let printed: Vec<Option<i128>> = looked.iter().map(small).collect();
    let need = ((looked.len() as f64 * AGREE) as usize).max(3);
    let mut best: Option<(Worth, Anchor, usize, i128)> = None;
    for order in [Order::Ascending, Order::Descending] {
        for low in 0..columns.length() {
            let anchor = Anchor { code: Code::Binary, order, low };
            // The low bits of two numbers a constant apart always agree, or never.
            let low_bit = columns.at(low);
            let agree = looked.iter().zip(&printed);
            let agree =
                agree.filter(|(row, p)| p.is_some_and(|p| (p & 1 == 1) == low_bit.has(**row)));
            let agree = agree.count();
            if agree.max(looked.len() - agree) < need {
                continue;
            }
            let mut values = vec![0i128; looked.len()];
            for j in 0..WIDEST {
                let span = anchor.span(j + 1);
                let Some(span) = span.filter(|s| s.furthest().offset() < columns.length()) else {
                    break;
                };
                let Some(at) = span.offsets().next() else { break };
                for (value, row) in values.iter_mut().zip(&looked) {
                    *value |= i128::from(columns.at(at).has(*row)) << j;
                }
                let mut seen: HashMap<i128, usize> = HashMap::new();
                for (value, p) in values.iter().zip(&printed) {
                    if let Some(p) = p {
                        *seen.entry(p - value).or_default() += 1;
                    }
                }
                // Nearest to zero among equals, so that bits of another field
                // which never varied are not taken in.
                let offset = seen
                    .into_iter()
                    .max_by_key(|(offset, n)| (*n, Reverse(offset.unsigned_abs()), *offset));
                let Some((offset, matches)) = offset else { break };
                let worth = (matches, Reverse((offset.unsigned_abs(), j + 1)));
                if matches >= need && best.is_none_or(|best| worth > best.0) {
                    best = Some((worth, anchor, j + 1, offset));
                }
            }
        }
    }
    let (_, anchor, width, offset) = best.filter(|(.., offset)| *offset != 0)?;
    let print = PrintRule { factor: 1, offset: i64::try_from(offset).ok()? };
    let moved = facet.values.iter().map(|value| {
        let value = i128::try_from((*value)?).ok()?.checked_sub(offset)?;
        u128::try_from(value).ok()
    });
    let moved = Facet { values: moved.collect(), what: facet.what, padded: None };
    let planes = Planes::of(&moved, Code::Binary);
    let fit = Fit { anchor, width, matches: 0 };
    let matches = planes.matching(columns, &known, fit);
    // Every offset of that many bits could have been the one.
    let tried = (2 * columns.length()) as f64 * (width as f64).exp2();
    let false_alarms = tried * false_alarm(&moved, &planes, &known, &matches);
    let fit = Fit { matches: matches.count(), ..fit };
    let others = Vec::new();
    (false_alarms < ALLOWED).then_some(Number {
        facet: moved,
        fit,
        others,
        known,
        matches,
        print,
        false_alarms,
    })
}
