//! A printed number that is a multiple of the bits' number and a constant, as
//! 2n + 1. Tried only where no span reads most prints as they are.

use super::number::{Number, exact};
use super::print::Facet;
use super::rows::{Columns, Rows};
use crate::layout::PrintRule;

/// Factors tried (judgement, no source).
const FACTORS: [u128; 12] = [2, 3, 4, 5, 6, 7, 8, 9, 10, 16, 100, 1000];

/// The share of prints that must have one remainder (judgement, no source).
const AGREE: f64 = 0.8;

/// Finds a span that reads the print less a constant, divided by a factor.
pub(super) fn find(columns: &Columns, rows: &Rows, facet: &Facet, tries: usize) -> Option<Number> {
    let tries = tries * FACTORS.len();
    let ruled = FACTORS.into_iter().filter_map(|factor| {
        let rest = remainder(rows, facet, factor)?;
        let part = |value: u128| (value % factor == rest).then_some(value / factor);
        let values: Vec<Option<u128>> = facet.values.iter().map(|v| part((*v)?)).collect();
        let divided = Facet { values, padded: None, what: facet.what };
        let number = exact(columns, rows, divided, tries)?;
        // A print with another remainder is no card's: it is left out as a misprint.
        let known =
            Rows::of(facet.values.len(), |row| rows.has(row) && facet.values[row].is_some());
        let (factor, offset) = (u64::try_from(factor).ok()?, i64::try_from(rest).ok()?);
        Some(Number { known, print: PrintRule { factor, offset }, ..number })
    });
    ruled.max_by_key(|number| number.matches.count())
}

/// The remainder that most prints have.
fn remainder(rows: &Rows, facet: &Facet, factor: u128) -> Option<u128> {
    let mut counts = vec![0usize; usize::try_from(factor).ok()?];
    let values = rows.iter().filter_map(|row| facet.values[row]);
    values.for_each(|value| counts[(value % factor) as usize] += 1);
    let all: usize = counts.iter().sum();
    let most = (0..counts.len()).max_by_key(|rest| counts[*rest])?;
    (counts[most] as f64 >= AGREE * all as f64 && all > 0).then_some(most as u128)
}
