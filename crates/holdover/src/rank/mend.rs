//! Words that come of mending what a probe file shows in doubt: bits left out,
//! bits put in, one or two of them.
//!
//! An extra pulse comes too close to a true one, and makes suspects of both; so
//! every place is tried alone, and every two together. Each is one of many, and
//! has its part of the prior: what comes out must explain more than chance.

use std::cmp::Ordering;

use super::known::Doubt;
use super::model::{
    COUNTED_INSIDE_LOG2, CUT_BEYOND_LOG2, HARMED_LOG2, MENDED_MORE_LOG2, MENDED_PLACES,
    SLIP_SEEN_LOG2, UNMENDED_LOG2, WHOLE_IN_DOUBT_LOG2,
};
use crate::bits::Capture;

/// One bit mended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mend {
    /// Its place in the capture, from 1.
    pub at: usize,
    /// Whether a bit was put in before it; else it was left out.
    pub put_in: bool,
}

/// What was mended, one bit or two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mends {
    pub first: Mend,
    pub second: Option<Mend>,
}

/// A word mended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mended {
    pub word: Capture,
    pub mends: Mends,
    /// log2 of the prior chance that this is what happened.
    pub slip: f64,
}

/// The most words that places in doubt make, a bit put in being 0 or 1.
pub(super) const MOST: usize = 2 * MENDED_PLACES + 2 * MENDED_PLACES * (MENDED_PLACES - 1);

/// The places in doubt, in order; a place that lost two bits is there twice.
/// None where there are too many to try.
fn places(doubt: &Doubt) -> Vec<Mend> {
    let missing = doubt.missing.iter().map(|&at| Mend { at, put_in: true });
    let suspect = doubt.suspect.iter().map(|&at| Mend { at, put_in: false });
    let mut places: Vec<Mend> = missing.chain(suspect).take(MENDED_PLACES + 1).collect();
    if places.len() > MENDED_PLACES {
        places.clear();
    }
    places.sort_unstable();
    places
}

/// How many mends the doubt asks for: each bit missing is one, and so are
/// suspects that stand together.
fn expected(doubt: &Doubt) -> usize {
    let mut suspect = doubt.suspect.clone();
    suspect.sort_unstable();
    let runs = (0..suspect.len()).filter(|&i| i == 0 || suspect[i] > suspect[i - 1] + 1);
    doubt.missing.len() + runs.count()
}

/// log2 of the prior chance of one set of so many mends, of `ways` there are.
fn prior(doubt: &Doubt, mends: usize, ways: usize) -> f64 {
    let all = match mends.cmp(&expected(doubt)) {
        Ordering::Less => UNMENDED_LOG2,
        Ordering::Equal => SLIP_SEEN_LOG2,
        Ordering::Greater => MENDED_MORE_LOG2,
    };
    all - (ways.max(1) as f64).log2()
}

/// log2 of the prior chance that one place in doubt is all there is to mend.
pub(super) fn alone(doubt: &Doubt) -> f64 {
    let mut places = places(doubt);
    places.dedup();
    prior(doubt, 1, places.len())
}

/// log2 of the prior chance that nothing inside is to be mended.
pub(super) fn none(doubt: &Doubt, length: usize) -> f64 {
    let missing = doubt.missing.iter().any(|&at| (2..=length).contains(&at));
    let close = doubt.suspect.iter().any(|&at| doubt.suspect.contains(&(at + 1)));
    match doubt.is_empty() {
        true => 0.0,
        false if doubt.short != 0 => WHOLE_IN_DOUBT_LOG2,
        false if missing || close => UNMENDED_LOG2,
        false => WHOLE_IN_DOUBT_LOG2,
    }
}

/// log2 of the chance that a capture in doubt is harmed beyond mending: its
/// bits then tell nothing.
pub(super) fn beyond(doubt: &Doubt, length: usize) -> Option<f64> {
    let cut = doubt.missing.iter().any(|&at| at <= 1 || at > length);
    let many = expected(doubt) > 2;
    match doubt.is_empty() {
        true => None,
        false if doubt.short != 0 => Some(COUNTED_INSIDE_LOG2),
        false if cut || many => Some(CUT_BEYOND_LOG2),
        false => Some(HARMED_LOG2),
    }
}

/// Every word that mending one place inside, or any two, makes; each once.
pub(super) fn words(capture: &Capture, doubt: &Doubt) -> Vec<Mended> {
    let all = places(doubt);
    let mut once = all.clone();
    once.dedup();
    let mut found: Vec<Mended> = Vec::new();
    let slip = prior(doubt, 1, once.len());
    for &first in &once {
        // At the ends a reading says the same.
        let inside = first.at > 1 && first.at < capture.len() + usize::from(first.put_in);
        if inside {
            mend(capture, Mends { first, second: None }, slip, &mut found);
        }
    }
    let pairs: Vec<Mends> = (0..all.len())
        .flat_map(|i| (i + 1..all.len()).map(move |j| (i, j)))
        .map(|(i, j)| Mends { first: all[i], second: Some(all[j]) })
        .filter(|mends| mends.first.put_in || Some(mends.first) != mends.second)
        .collect();
    let slip = prior(doubt, 2, pairs.len());
    for mends in pairs {
        mend(capture, mends, slip, &mut found);
    }
    found
}

/// Adds the words of one set of mends; a word that is there gets more likely.
fn mend(capture: &Capture, mends: Mends, slip: f64, found: &mut Vec<Mended>) {
    // The later place first, so that the earlier one stays where it is; at one
    // place a bit is left out before one is put in.
    let mut words = vec![*capture];
    for place in mends.second.into_iter().chain([mends.first]) {
        words = words.iter().flat_map(|word| one(word, place)).flatten().collect();
    }
    let put_in = [Some(mends.first), mends.second].into_iter().flatten().filter(|m| m.put_in);
    // A bit put in is 0 or 1 with equal chance.
    let slip = slip - put_in.count() as f64;
    for word in words.into_iter().filter(|word| word != capture) {
        match found.iter_mut().find(|known| known.word == word) {
            Some(known) => known.slip = sum(known.slip, slip),
            None => found.push(Mended { word, mends, slip }),
        }
    }
}

fn one(word: &Capture, mend: Mend) -> [Option<Capture>; 2] {
    let Some(offset) = mend.at.checked_sub(1) else { return [None; 2] };
    if mend.put_in {
        [false, true].map(|bit| word.with_bit_before(offset, bit))
    } else {
        [word.without_bit(offset), None]
    }
}

/// log2 of the sum of two powers of two.
pub(super) fn sum(a: f64, b: f64) -> f64 {
    (a.exp2() + b.exp2()).log2()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn doubt(missing: &[usize], suspect: &[usize]) -> Doubt {
        Doubt { missing: missing.to_vec(), suspect: suspect.to_vec(), ..Doubt::default() }
    }

    fn made(bits: &str, doubt: &Doubt) -> Vec<(String, f64)> {
        let words = words(&bits.parse().unwrap(), doubt);
        words.iter().map(|mended| (mended.word.to_string(), mended.slip)).collect()
    }

    #[test]
    fn places_are_mended_alone_and_in_pairs() {
        // Two suspects side by side: one of them is too many.
        let found = made("11010", &doubt(&[], &[3, 4]));
        let each = SLIP_SEEN_LOG2 - 1.0;
        let both = MENDED_MORE_LOG2;
        assert_eq!(found, [("1110".into(), each), ("1100".into(), each), ("110".into(), both)]);
        // Alike, they are one word.
        let found = made("1100", &doubt(&[], &[3, 4]));
        assert_eq!(found[0], ("110".into(), each));
        let found = made("10010", &doubt(&[], &[2, 3]));
        assert_eq!(found[0], ("1010".into(), SLIP_SEEN_LOG2));
        // Two bits missing at one place, put in together or one of them.
        let found = made("11", &doubt(&[2, 2], &[]));
        let words: Vec<&str> = found.iter().map(|(word, _)| word.as_str()).collect();
        assert_eq!(words, ["101", "111", "1001", "1101", "1011", "1111"]);
    }

    #[test]
    fn priors_sum_to_less_than_one() {
        let whole: Capture = "011010011001".parse().unwrap();
        for missing in [&[][..], &[5], &[5, 5], &[1, 7], &[13]] {
            for suspect in [&[][..], &[4], &[4, 5], &[1, 2], &[2, 3, 4, 9]] {
                let doubt = doubt(missing, suspect);
                let words = words(&whole, &doubt);
                let sum: f64 = words.iter().map(|mended| mended.slip.exp2()).sum();
                assert!(sum <= 0.6, "{doubt:?} {sum}");
                assert!(words.len() <= MOST);
            }
        }
    }

    #[test]
    fn too_many_places_are_not_tried() {
        let many: Vec<usize> = (2..100).collect();
        let whole = Capture::from_bits((0..120).map(|i| i % 3 == 0)).unwrap();
        assert_eq!(words(&whole, &doubt(&many, &[])), []);
        assert_eq!(words(&whole, &doubt(&[0, 500], &[0, 500])), []);
        assert_eq!(beyond(&doubt(&many, &[]), 120), Some(CUT_BEYOND_LOG2));
        assert_eq!(beyond(&Doubt::default(), 120), None);
    }
}
