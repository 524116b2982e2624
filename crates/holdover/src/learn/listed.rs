//! The old system's own list: numbers in columns, of which one may be what the
//! cards carry. Where a list's rows are known to be the captures' (by holder or
//! print) the columns are read as prints are; [`match_list`] is for lists whose
//! rows are not: it looks for a run of bits whose numbers, up to a constant, are
//! in a column for most captures.
//!
//! Numbers of cards come in boxes, so that a list is dense where it is not empty,
//! and any run of bits hits it often once one card does. A hit is therefore worth
//! what it tells beyond the hits before it: the first, how little of all numbers
//! is listed; each after it, how little of those as near as its nearest neighbour
//! among them. Cards of one full box tell next to nothing so, and nothing is
//! claimed of them.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::sync::Arc;

use super::entropy::choices;
use super::kind::Study;
use super::print::{self, What};
use super::spans::{Anchor, Order};
use super::{Sample, number};
use crate::bits::{Capture, Span, Wide};
use crate::layout::Code;

/// A number that the old system's list has of a card.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// What its column is called; the same columns, in one order, for all samples.
    pub column: Arc<str>,
    /// Its digits as listed; empty where the row has none.
    pub number: String,
}

/// A column of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListColumn {
    /// What it is called.
    pub name: Arc<str>,
    /// Its numbers, row by row.
    pub numbers: Vec<Option<u128>>,
}

/// A run of bits whose numbers are in a column.
#[derive(Debug, Clone, PartialEq)]
pub struct ListMatch {
    /// Which column, from 0.
    pub column: usize,
    /// The run.
    pub span: Span,
    /// What is added to the bits' number.
    pub offset: i128,
    /// For each capture its row of the list, from 0, where one row alone has its
    /// number.
    pub rows: Vec<Option<usize>>,
    /// Different captures of that length, and how many of them are in the column.
    pub cards: usize,
    /// See there.
    pub matches: usize,
    /// Runs expected to match so by accident, among all that were tried.
    pub false_alarms: f64,
}

/// Different captures a match needs, and as many as are looked at (judgement, no
/// source: fewer tell nothing, more add nothing).
const LEAST: usize = 6;
const LOOKED_AT: usize = 96;

/// The share of captures whose number must be listed (judgement, no source): some
/// cards were never in the old system.
const MOST: f64 = 0.7;

/// False matches allowed: those of what is called settled.
const ALLOWED: f64 = 1e-3;

/// Numbers of a column with which constants are tried (bounds time).
const MOVED: usize = 4096;

/// Captures that a constant is taken from (judgement, no source): the first may
/// not be in the list.
const REFERENCES: usize = 4;

/// Widths of a run.
const WIDTHS: std::ops::RangeInclusive<usize> = 8..=64;

/// Numbers nearer than this are as near as can be told (judgement, no source).
const NEAREST: u128 = 8;

/// A match being weighed: false alarms first, as log2.
struct Found {
    log2: f64,
    column: usize,
    anchor: Anchor,
    width: usize,
    offset: i128,
    hits: Vec<bool>,
}

/// Finds the run of bits whose numbers are in a column of the list, for most
/// captures of the length there are most of; `None` where none is told from
/// accident, or two columns are not told apart.
///
/// # Examples
/// ```
/// use std::sync::Arc;
/// use holdover::bits::Capture;
/// use holdover::learn::{ListColumn, match_list};
/// // A 26-bit card's number stands in bits 10-25; the list has other cards, too.
/// let number = |i: u128| i * i * 7919 % 65_521;
/// let card = |n: u128| Capture::from_bits((0..26).map(|at| (n << 1) >> (25 - at) & 1 == 1));
/// let captures: Vec<Capture> = (1..=12).map(|i| card(number(i)).unwrap()).collect();
/// let numbers = (1..=60).map(|i| Some(number(i))).collect();
/// let column = ListColumn { name: Arc::from("internal"), numbers };
/// let found = match_list(&captures, &[column]).unwrap();
/// assert_eq!((found.offset, found.matches, found.rows[4]), (0, 12, Some(4)));
/// assert!(found.false_alarms < 1e-3);
/// ```
pub fn match_list(captures: &[Capture], columns: &[ListColumn]) -> Option<ListMatch> {
    let mut lengths: BTreeMap<usize, BTreeSet<Wide>> = BTreeMap::new();
    for capture in captures {
        lengths.entry(capture.len()).or_default().insert(capture.wide());
    }
    let (length, words) = lengths.into_iter().max_by_key(|(_, words)| words.len())?;
    let words: Vec<Wide> = words.into_iter().collect();
    let few: Vec<Wide> = spread(&words);
    if few.len() < LEAST {
        return None;
    }
    let sets: Vec<Vec<u128>> = columns
        .iter()
        .map(|column| {
            let set: BTreeSet<u128> = column.numbers.iter().flatten().copied().collect();
            set.into_iter().collect()
        })
        .collect();
    let mut found: Vec<Found> = Vec::new();
    for moved in [false, true] {
        for (column, set) in sets.iter().enumerate().filter(|(_, set)| set.len() >= LEAST) {
            found.extend(best_of(&few, length, (column, set), moved));
        }
        if found.iter().any(|found| found.log2 < ALLOWED.log2()) {
            break;
        }
    }
    let tries = (sets.len() as f64).log2();
    found.iter_mut().for_each(|found| found.log2 += tries);
    found.retain(|found| found.log2 < ALLOWED.log2());
    found.sort_by(|a, b| a.log2.total_cmp(&b.log2).then(a.column.cmp(&b.column)));
    let best = found.first()?;
    // Two columns that say different numbers of as many captures are not told apart.
    let equal = |a: &Found, b: &Found| {
        sets[a.column] == sets[b.column]
            || b.hits.iter().filter(|hit| **hit).count() < a.hits.iter().filter(|hit| **hit).count()
    };
    let mask = best.anchor.mask(best.width);
    let rival =
        |other: &&Found| !(other.anchor.mask(other.width) & mask).is_zero() && !equal(best, other);
    if found[1..].iter().any(|other| rival(&other)) {
        return None;
    }
    whole(best, captures, length, &words, columns)
}

/// The match with all captures.
fn whole(
    best: &Found,
    captures: &[Capture],
    length: usize,
    words: &[Wide],
    columns: &[ListColumn],
) -> Option<ListMatch> {
    let span = best.anchor.span(best.width)?;
    let mut rows: BTreeMap<u128, Option<usize>> = BTreeMap::new();
    for (row, number) in columns[best.column].numbers.iter().enumerate() {
        if let Some(number) = number {
            rows.entry(*number).and_modify(|row| *row = None).or_insert(Some(row));
        }
    }
    let number = |word: Wide| moved(span.number_in(word), best.offset);
    let matches = words.iter().filter(|word| number(**word).is_some_and(|n| rows.contains_key(&n)));
    let row = |capture: &Capture| {
        let number = (capture.len() == length).then(|| number(capture.wide())).flatten()?;
        rows.get(&number).copied().flatten()
    };
    Some(ListMatch {
        column: best.column,
        offset: best.offset,
        cards: words.len(),
        matches: matches.count(),
        false_alarms: best.log2.exp2(),
        rows: captures.iter().map(row).collect(),
        span,
    })
}

/// So many words, from all over.
fn spread(words: &[Wide]) -> Vec<Wide> {
    let step = words.len().div_ceil(LOOKED_AT).max(1);
    words.iter().step_by(step).copied().collect()
}

fn moved(number: u128, offset: i128) -> Option<u128> {
    number.checked_add_signed(offset)
}

/// The run whose numbers match a column least by accident, with a constant or
/// without.
fn best_of(
    words: &[Wide],
    length: usize,
    (column, set): (usize, &[u128]),
    with_offset: bool,
) -> Option<Found> {
    if with_offset && set.len() > MOVED {
        return None;
    }
    let listed: HashSet<u128> = set.iter().copied().collect();
    let mut best: Option<Found> = None;
    let mut tried = 0usize;
    for order in [Order::Ascending, Order::Descending, Order::GroupsSwapped] {
        for low in 0..length {
            let anchor = Anchor { code: Code::Binary, order, low };
            for width in WIDTHS.filter(|width| width.is_multiple_of(anchor.step())) {
                let span = anchor.span(width);
                let Some(span) = span.filter(|s| s.furthest().offset() < length) else { break };
                let numbers: Vec<u128> = words.iter().map(|word| span.number_in(*word)).collect();
                // Leading bits that are 0 in all change nothing.
                if numbers.iter().all(|number| number >> (width - 1) == 0) && width > 8 {
                    continue;
                }
                tried += 1;
                let offsets = if with_offset { offsets(&numbers, &listed, set) } else { vec![0] };
                for offset in offsets {
                    let hit = |n: &u128| moved(*n, offset).is_some_and(|n| listed.contains(&n));
                    let hits: Vec<bool> = numbers.iter().map(hit).collect();
                    let log2 = accident(&numbers, &hits, set, offset, &span, words);
                    if best.as_ref().is_none_or(|best| log2 < best.log2) {
                        best = Some(Found { log2, column, anchor, width, offset, hits });
                    }
                }
            }
        }
    }
    let mut best = best?;
    let offsets = if with_offset { REFERENCES * set.len() } else { 1 };
    best.log2 += (tried as f64).log2() + (offsets as f64).log2();
    Some(best)
}

/// Constants that would bring some capture's number into the column, and most of
/// the others' with it.
fn offsets(numbers: &[u128], listed: &HashSet<u128>, set: &[u128]) -> Vec<i128> {
    let need = (numbers.len() as f64 * MOST) as usize;
    let mut found: BTreeSet<i128> = BTreeSet::new();
    let step = numbers.len().div_ceil(REFERENCES).max(1);
    for reference in numbers.iter().step_by(step) {
        for number in set {
            let (Ok(to), Ok(from)) = (i128::try_from(*number), i128::try_from(*reference)) else {
                continue;
            };
            let offset = to - from;
            let mut misses = 0;
            let fits = numbers.iter().all(|n| {
                misses += usize::from(!moved(*n, offset).is_some_and(|n| listed.contains(&n)));
                misses <= numbers.len() - need
            });
            if fits && offset != 0 {
                found.insert(offset);
            }
        }
    }
    found.into_iter().collect()
}

/// log2 of a bound on the chance that these hits are an accident; 0 where too few.
fn accident(
    numbers: &[u128],
    hits: &[bool],
    set: &[u128],
    offset: i128,
    span: &Span,
    words: &[Wide],
) -> f64 {
    let all: BTreeSet<u128> = numbers.iter().copied().collect();
    let hit: BTreeSet<u128> = numbers
        .iter()
        .zip(hits)
        .filter(|(_, hit)| **hit)
        .filter_map(|(number, _)| moved(*number, offset))
        .collect();
    if hit.len() < LEAST || (hit.len() as f64) < MOST * all.len() as f64 {
        return 0.0;
    }
    // Bits that never varied make no number likelier than another.
    let first = words[0];
    let varying = span.offsets().filter(|at| words.iter().any(|w| w.bit(*at) != first.bit(*at)));
    let range = 2f64.powi(varying.count() as i32);
    let global = (set.len() as f64 / range).min(1.0);
    let mut bits = -global.log2();
    let near: Vec<u128> = hit.into_iter().collect();
    for pair in near.windows(2) {
        let around = (pair[1] - pair[0]).max(NEAREST);
        let (from, to) = (pair[1].saturating_sub(around), pair[1].saturating_add(around));
        let within = set.partition_point(|n| *n <= to) - set.partition_point(|n| *n < from);
        // The number itself is listed; how many of its neighbours are?
        let density =
            (within.saturating_sub(1) as f64 / (2.0 * around as f64)).max(global).min(1.0);
        bits -= density.log2();
    }
    let missed = all.len() - near.len().min(all.len());
    (choices(missed, all.len()) - bits).min(0.0)
}

/// What the columns of a list are, where the samples' rows are known: notes.
pub(super) fn names(samples: &[super::Given<'_>]) -> Vec<Arc<str>> {
    let row = samples.iter().map(|sample| &sample.listed).find(|listed| !listed.is_empty());
    row.map_or(Vec::new(), |row| row.iter().map(|listed| listed.column.clone()).collect())
}

/// What the list's other columns are: numbers of other bits, or nothing of the card.
pub(super) fn others(study: &Study<'_>) -> Vec<String> {
    let (matrix, names) = (&study.matrix, names(&study.matrix.samples));
    let chosen = study.card.as_ref().map(|card| card.number.facet.what);
    let facets = print::facets(&matrix.samples);
    let (mut notes, mut nothing) = (Vec::new(), Vec::new());
    for (column, name) in names.iter().enumerate() {
        let what = What::Listed { column };
        let facet = facets.iter().find(|facet| facet.what == what);
        let Some(facet) = facet.filter(|_| chosen != Some(what)) else { continue };
        let found = number::exact(&matrix.columns, &study.good, facet.clone(), names.len());
        let found = found.filter(|found| found.most());
        match found.and_then(|found| found.fit.anchor.span(found.fit.width)) {
            Some(span) => notes.push(format!("the list's column {name:?} is bits {span}")),
            None => nothing.push(format!("{name:?}")),
        }
    }
    if !nothing.is_empty() {
        let names = nothing.join(", ");
        notes.push(format!("no bits were found that read the list's numbers in {names}"));
    }
    notes
}

/// Gives each sample the numbers of its row of the list, from 0; nothing where that
/// is not known.
pub fn join(samples: &mut [Sample], rows: &[Option<usize>], columns: &[ListColumn]) {
    for (sample, row) in samples.iter_mut().zip(rows) {
        let Some(row) = row else { continue };
        let listed = columns.iter().map(|column| Listed {
            column: column.name.clone(),
            number: column.numbers[*row].map_or_else(String::new, |number| number.to_string()),
        });
        sample.listed = listed.collect();
    }
}
