//! Learning a layout nobody documented, from captures and what is printed on
//! the cards.
//!
//! Every parity relation that holds in all captures is in the null space of
//! the sample over GF(2) ([`null_space`]); [`learn`] looks among them for those
//! a card designer would make, finds the spans that read what is printed,
//! leaves out what disagrees with all others, and says of each part whether
//! the sample settles it.
//!
//! # What "settled" means
//! Fewer than one in a thousand settled parts is wrong. Accepted is narrowly,
//! settled widely: a check is found only if a designer would make it, and
//! settled only if every cover of a far wider class that fits all good rows says
//! the same, by checks that are settled themselves (`settle.rs` states the
//! model). Every bit it covers varied, and fewer than 10^-3 such relations are
//! expected to fit by accident. Bits that take few values are tested by their
//! distinct values, not by the rows. A card alone of its code, one bit from another
//! code, settles nothing, for the bit may be misread. Where relations are left that no check
//! found explains, or bits vary freely that no field and no check explains,
//! what could be an accident beside an unknown kind of check stays open.
//!
//! A field is settled if nothing else reads the print in the good rows, in any
//! code, order or width, and its role is sure: no other number printed tells the
//! cards apart as well, and its numbers do not keep coming back, as site codes
//! do. A row is left out only for a print that disagrees, or for breaking a check
//! in every way it could be completed. A print that is a multiple of the number
//! and a constant is found as that; where the rows that are not read are of other
//! codes, the print follows a rule that is not known, and they are not accused.
//!
//! Bits of few values that nobody printed are proposed as a field (`codes.rs`), and
//! what no usual cover gives is looked for by algebra (`algebra.rs`); a check found so
//! is settled only where the checks found say all that holds.
//!
//! One exception: where the checks found are all those of a layout of the
//! built-in table, bits that never varied leave open only the check that may
//! cover them.
//!
//! What the sample cannot support is absent. Two layouts that admit the same
//! words are one: a check that covers another check bit is given by its smallest
//! cover.

mod advice;
mod algebra;
mod answer;
mod blocks;
mod build;
mod claim;
mod clean;
mod codes;
mod complete;
mod counter;
mod cover;
mod entropy;
mod fields;
mod kind;
mod listed;
mod lrc;
mod made;
mod null_space;
mod number;
mod offset;
mod pattern;
mod print;
mod rows;
mod rule;
mod settle;
mod spans;
mod sure;

use std::collections::{BTreeMap, HashMap};
use std::ops::Deref;

pub use answer::{Counter, FoundCheck, FoundField, Learnt, Misread, Why};
pub use listed::{ListColumn, ListMatch, Listed, join, match_list};
pub use null_space::{NullSpace, null_space};

use crate::bits::Capture;
use rows::{Columns, Rows};

/// One card at hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    /// Its line in the input.
    pub line: usize,
    /// The bits read.
    pub capture: Capture,
    /// What is printed on it.
    pub printed: Option<String>,
    /// Its site code, where noted.
    pub site: Option<String>,
    /// Its card number, where noted.
    pub card: Option<String>,
    /// The reader it was read at.
    pub reader: Option<String>,
    /// What the old system's list says of it, column by column; nothing where its
    /// row is not known.
    pub listed: Vec<Listed>,
}

impl Sample {
    /// A capture of which nothing else is known.
    pub fn new(line: usize, capture: Capture) -> Sample {
        Sample {
            line,
            capture,
            printed: None,
            site: None,
            card: None,
            reader: None,
            listed: Vec::new(),
        }
    }
}

/// What to call what is found, and what to take for granted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// The ids' first part: `found` gives `found26`, `found26-2`.
    pub id: String,
    /// Whether the samples come in the order the cards were made, so that
    /// counters may be looked for.
    pub in_order: bool,
}

impl Default for Options {
    fn default() -> Options {
        Options { id: "found".to_owned(), in_order: true }
    }
}

/// A sample, and where it stood among those given.
#[derive(Clone, Copy)]
struct Given<'s> {
    sample: &'s Sample,
    nth: usize,
}

impl Deref for Given<'_> {
    type Target = Sample;

    fn deref(&self) -> &Sample {
        self.sample
    }
}

/// The samples in an order that hangs on what they hold alone and is otherwise
/// as good as drawn: the first so many of them are a fair sample, and the order
/// in which they came changes nothing.
fn drawn(samples: &[Sample]) -> Vec<Given<'_>> {
    let mut alike: HashMap<u64, u64> = HashMap::new();
    let keys = samples.iter().map(|sample| {
        let Sample { capture, printed, site, card, .. } = sample;
        let listed = sample.listed.iter().map(|listed| Some(listed.number.as_str()));
        let texts = [printed, site, card].map(|text| text.as_deref()).into_iter().chain(listed);
        let texts = texts.flat_map(|text| {
            let end = if text.is_some() { u64::MAX } else { u64::MAX - 1 };
            text.unwrap_or_default().bytes().map(u64::from).chain([end])
        });
        let words = [capture.len() as u64].into_iter().chain(capture.wide().0);
        let held = words.chain(texts).fold(0, mixed);
        // Samples that hold the same do not stand side by side.
        let nth = alike.entry(held).or_default();
        *nth += 1;
        mixed(held, *nth)
    });
    let mut drawn: Vec<(u64, Given<'_>)> =
        keys.zip(samples.iter().enumerate().map(|(nth, sample)| Given { sample, nth })).collect();
    drawn.sort_by_key(|(key, _)| *key);
    drawn.into_iter().map(|(_, given)| given).collect()
}

/// Stirs a word into a hash, as the generator SplitMix64 does (Steele, Lea and
/// Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014, with
/// the mixing called Stafford's variant 13; from memory).
fn mixed(hash: u64, word: u64) -> u64 {
    let mut z = (hash ^ word).wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ z >> 31
}

/// Samples of one length, turned on their side.
struct SampleMatrix<'s> {
    samples: Vec<Given<'s>>,
    columns: Columns,
    length: usize,
    /// The captures are taken inverted.
    inverted: bool,
}

impl<'s> SampleMatrix<'s> {
    fn of(samples: Vec<Given<'s>>, length: usize, inverted: bool) -> SampleMatrix<'s> {
        let captures: Vec<Capture> = samples
            .iter()
            .map(|s| if inverted { s.capture.complement() } else { s.capture })
            .collect();
        SampleMatrix { columns: Columns::of(captures.iter(), length), samples, length, inverted }
    }

    /// The rows of a set, in the order in which their samples were given.
    fn as_given(&self, rows: &Rows) -> Vec<usize> {
        let mut rows: Vec<usize> = rows.iter().collect();
        rows.sort_by_key(|row| self.samples[*row].nth);
        rows
    }

    /// The capture as it is taken.
    fn capture(&self, row: usize) -> Capture {
        let capture = self.samples[row].capture;
        if self.inverted { capture.complement() } else { capture }
    }
}

/// So few samples of a length beside a larger pile are misreadings, not a kind
/// of card of their own (judgement, no source).
const FEW: usize = 3;

/// Works out the layouts of the samples: one answer for each kind of card, by
/// length, the kind with the most samples first.
///
/// The order of the samples matters only for counters; lines name them in the
/// answers. Nothing is left out silently: each sample is either among
/// [`Learnt::good`] or among [`Learnt::misread`] of one answer.
///
/// # Examples
/// ```
/// use holdover::layout::{Value, builtin};
/// use holdover::learn::{Options, Sample, learn};
/// let std26 = builtin().layout("std26").unwrap();
/// let samples: Vec<Sample> = (0..24)
///     .map(|i| {
///         let card = (i * 40503 + 977) % 65536;
///         let values = [("site", Value::Number(65)), ("card", Value::Number(card))];
///         let capture = std26.compose(values).unwrap();
///         Sample { printed: Some(card.to_string()), ..Sample::new(i as usize + 2, capture) }
///     })
///     .collect();
/// let learnt = learn(&samples, &Options::default());
/// assert_eq!(learnt.len(), 1);
/// assert_eq!(learnt[0].fields[0].span.to_string(), "10-25");
/// assert_eq!(learnt[0].checks[1].check.to_string(), "odd 26 over 14-25");
/// assert!(learnt[0].checks[1].settled);
/// // The site code never varied, so it may or may not be covered.
/// assert!(!learnt[0].checks[0].settled);
/// ```
pub fn learn(samples: &[Sample], options: &Options) -> Vec<Learnt> {
    let mut lengths: BTreeMap<usize, Vec<Given<'_>>> = BTreeMap::new();
    for sample in drawn(samples) {
        lengths.entry(sample.capture.len()).or_default().push(sample);
    }
    let largest = lengths.iter().map(|(length, group)| (group.len(), *length)).max();
    let Some((most, main)) = largest else { return Vec::new() };
    let outlying =
        |group: &Vec<Given<'_>>| group.len() <= FEW && most >= 4 * group.len() && most > 2 * FEW;
    let mut outliers = Vec::new();
    let mut learnt = Vec::new();
    for (length, group) in lengths {
        if outlying(&group) {
            outliers.extend(group.iter().map(|sample| Misread {
                line: sample.line,
                why: Why::Length { bits: length, expected: main },
            }));
        } else {
            learnt.extend(kinds(group, length, options));
        }
    }
    if let Some(first) = learnt.iter_mut().find(|learnt| learnt.length == main) {
        first.samples += outliers.len();
        first.misread.extend(outliers);
        first.misread.sort_by_key(|misread| misread.line);
    }
    learnt
}

/// Kinds of one length told apart at most (bounds time).
const KINDS: usize = 8;

/// Learns every kind of card among samples of one length.
fn kinds(samples: Vec<Given<'_>>, length: usize, options: &Options) -> Vec<Learnt> {
    let mut learnt = Vec::new();
    let mut waiting = vec![samples];
    while let Some(group) = waiting.pop() {
        let nth = learnt.len() + 1;
        let mut study = kind::Study::of(group, length, options);
        let told = nth + waiting.len() < KINDS;
        if told && let Some(others) = study.another_kind(length) {
            let rows = |other: bool| {
                let samples = study.matrix.samples.iter().enumerate();
                let some = samples.filter(|(row, _)| others.binary_search(row).is_ok() == other);
                some.map(|(_, sample)| *sample).collect()
            };
            // What is left may be several kinds still.
            waiting.extend([rows(true), rows(false)]);
            continue;
        }
        if told {
            study.keep_other_codes();
        }
        let id = match nth {
            1 => format!("{}{length}", options.id),
            _ => format!("{}{length}-{nth}", options.id),
        };
        learnt.push(build::learnt(&study, id));
    }
    learnt
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A card held to the reader again and again crowds no other out: of 1,000
    /// rows a tenth are others, and of the first hundred about ten (binomial:
    /// four to eighteen in more than 99 of 100 piles).
    #[test]
    fn the_first_rows_are_a_fair_sample() {
        let card = |n: usize| {
            let bits = (0..16).map(|at| n >> at & 1 == 1);
            Sample::new(n, Capture::from_bits(bits).unwrap())
        };
        let samples: Vec<Sample> = (0..1_000).map(|n| card(if n < 900 { 0 } else { n })).collect();
        let drawn = drawn(&samples);
        for first in [0, 300, 900] {
            let others = drawn[first..first + 100].iter().filter(|given| given.line != 0).count();
            assert!((4..=18).contains(&others), "{others} of the hundred at {first}");
        }
        let mut all: Vec<usize> = drawn.iter().map(|given| given.nth).collect();
        all.sort_unstable();
        assert!(all.into_iter().eq(0..samples.len()));
    }
}
