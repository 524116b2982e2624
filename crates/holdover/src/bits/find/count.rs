//! Numbers that count bits.

use std::ops::Range;

use super::super::Capture;
use super::words::Word;

/// How a number stands beside what it may count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    /// A number alone.
    Bare,
    /// In brackets, right beside it.
    Bracketed,
    /// With the word for bits or for a length.
    Named,
}

/// A number that may count the bits of words `of`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Count {
    pub at: usize,
    pub value: usize,
    pub kind: Kind,
}

const UNITS: [&str; 3] = ["bit", "bits", "b"];
const NAMES: [&str; 16] = [
    "bits",
    "bit",
    "bitcount",
    "bit_count",
    "numbits",
    "num_bits",
    "nbits",
    "nb_bits",
    "bitlen",
    "bit_length",
    "len",
    "length",
    "count",
    "size",
    "n",
    "cardbits",
];

/// The numbers that may count what `of` holds.
pub(super) fn counts(words: &[Word], of: &Range<usize>) -> Vec<Count> {
    let outside = (0..words.len()).filter(|at| !of.contains(at));
    outside.filter_map(|at| count(words, at, of)).collect()
}

fn count(words: &[Word], at: usize, of: &Range<usize>) -> Option<Count> {
    let word = &words[at];
    let number = word.number().filter(|n| (1..=Capture::MAX_BITS as u64).contains(n))?;
    let is = |at: Option<usize>, list: &[&str]| {
        let word = at.filter(|at| !of.contains(at)).and_then(|at| words.get(at));
        word.is_some_and(|word| list.contains(&word.text.to_ascii_lowercase().as_str()))
    };
    let joined =
        |gap: &str| gap.chars().count() <= 4 && gap.chars().all(|c| " -_:=([\"'#\t".contains(c));
    let unit = is(Some(at + 1), &UNITS) && joined(&word.after);
    let named = is(at.checked_sub(1), &NAMES) && joined(&word.gap) && !word.gap.is_empty();
    let bracketed =
        word.gap.ends_with(['[', '(', '<', '{']) && word.after.starts_with([']', ')', '>', '}']);
    let beside = at + 1 == of.start || at == of.end;
    let kind = match (unit || named, bracketed && beside) {
        (true, _) => Kind::Named,
        (false, true) => Kind::Bracketed,
        (false, false) => Kind::Bare,
    };
    Some(Count { at, value: number as usize, kind })
}
