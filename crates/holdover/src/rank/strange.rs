//! Unknown kinds of card that look like a layout's.
//!
//! "None of these" is not random bits alone. A kind that the table does not
//! know has site codes that repeat, where a layout reads its own or elsewhere,
//! and it may share a check with the layout. So beside every layout stand
//! *strange* kinds: codes that repeat in the same place under none of its
//! checks, under one of them, under all but one, or under their sum. Captures
//! that fail the layout's checks speak for these by their codes, and with them
//! for the captures of the same code that pass by chance.

use super::guess::{Kind, Strange};
use super::model::{STRANGE, STRANGE_CHECK, STRANGE_UNCHECKED};
use crate::bits::gf2::Relation;
use crate::layout::{Layout, Rule};

/// Checks up to which what an unknown kind may share of them is weighed; of
/// more, it hardly meets any by chance.
const MOST_CHECKS: usize = 4;

/// The relations that an unknown kind may share with a layout, none of them first.
fn shared(layout: &Layout) -> Vec<Vec<Relation>> {
    let groups: Vec<&Vec<Relation>> = (layout.rules().iter())
        .filter_map(|rule| match rule {
            Rule::Relations { independent, .. } => Some(independent),
            Rule::Decimal { .. } => None,
        })
        .filter(|group| !group.is_empty())
        .collect();
    let mut all = vec![Vec::new()];
    if !(2..=MOST_CHECKS).contains(&groups.len()) {
        return all;
    }
    all.extend(groups.iter().map(|group| (*group).clone()));
    if groups.len() > 2 {
        all.extend((0..groups.len()).map(|without| {
            let others = groups.iter().enumerate().filter(|(i, _)| *i != without);
            others.flat_map(|(_, group)| (*group).clone()).collect()
        }));
    }
    // A check over everything is the sum of those over its halves.
    let sum = groups
        .iter()
        .map(|group| group[0])
        .reduce(|a, b| Relation { bits: a.bits ^ b.bits, constant: a.constant ^ b.constant });
    if groups.iter().all(|group| group.len() == 1) {
        all.extend(sum.map(|sum| vec![sum]));
    }
    all
}

/// The unknown kinds beside the layouts of one length.
pub(super) fn beside<'t>(kinds: &[Kind<'t>], of_length: &[u32]) -> Vec<Kind<'t>> {
    let mut all: Vec<Kind<'t>> = Vec::new();
    for kind in of_length.iter().map(|kind| &kinds[*kind as usize]) {
        if kind.layout.rules().is_empty() {
            // It checks nothing: what the captures have in common tells.
            if !all.iter().any(|kind| kind.is_pattern()) {
                let strange = Strange { keeps: Vec::new(), start: 1.0 };
                all.push(Kind::strange(kind.layout, None, strange));
            }
            // A byte that comes back first may be a site code as well as a maker.
            if kind.code.is_some() {
                let strange = Strange { keeps: Vec::new(), start: STRANGE };
                all.push(Kind::strange(kind.layout, kind.code.clone(), strange));
            }
            continue;
        }
        // Decimal digits are a layout's own: here the bits are bits.
        let code = kind.code.as_ref().map(|(span, _)| (span.clone(), (span.len() as f64).exp2()));
        for keeps in shared(kind.layout) {
            let known = |other: &Kind<'_>| {
                let of = other.strange.as_ref();
                of.is_some_and(|strange| strange.keeps == keeps) && other.code == code
            };
            if (code.is_none() && keeps.is_empty()) || all.iter().any(known) {
                continue;
            }
            let start = if keeps.is_empty() { 1.0 } else { STRANGE_CHECK };
            all.push(Kind::strange(kind.layout, code.clone(), Strange { keeps, start }));
        }
    }
    let sum: f64 = all.iter().filter_map(|kind| Some(kind.strange.as_ref()?.start)).sum();
    let unchecked = all.iter().any(Kind::is_pattern);
    let share = if unchecked { STRANGE_UNCHECKED } else { STRANGE };
    for strange in all.iter_mut().filter_map(|kind| kind.strange.as_mut()) {
        strange.start *= share / sum;
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;

    #[test]
    fn what_is_shared_is_less_than_all_checks() {
        for layout in builtin().layouts() {
            let shared = shared(layout);
            assert!(shared[0].is_empty());
            assert!(shared.iter().all(|keeps| keeps.len() <= layout.rank().saturating_sub(1)));
        }
        // Nothing, either check, their sum.
        assert_eq!(shared(builtin().layout("std26").unwrap()).len(), 4);
    }
}
