//! What a sample settles of the checks found in it: a check is found if a
//! designer would make it, and settled only if no rival of a far wider class
//! fits. Needs the rows that are good, the bits of the card number, and the
//! checks found.
//!
//! # Model
//! - *N*, the null space of the good rows: every relation that all of them
//!   meet, even or odd. A relation is in *N* exactly if nothing is left of it
//!   when the basis of *N* clears its pivots; that is linear, so a cover is
//!   tried by the sum of what is left of its bits ([`Fitting`]).
//! - *W(b)*, the rivals of a check at bit *b*: every run, alternate bits, two of
//!   three, one of three, over every stretch, and two runs between borders of
//!   fields and checks; each with and without the other check bits.
//! - *S*, the settled checks, is the largest set whose every rival differs from
//!   the check found by checks of *S* alone. So a rival is not explained away
//!   by a check that is not settled itself.
//! - *Tests*. The bits outside the card number, and its bits from the highest
//!   down, form nested blocks; a relation within a block is tested by the block's
//!   distinct values less one, not by the rows: six site codes are five tests.
//!   A relation that holds by accident is expected
//!   `tried × 2^−tests` times.
//! - *Something unknown*. Relations of *N* that the checks found leave over, and
//!   that have [`MARGIN`] tests more than the bits of their block, are no
//!   accident: a kind of check not known is at work, and nothing that touches
//!   bits of few values is settled.

use std::collections::HashSet;

use super::null_space;
use super::pattern::{OTHERS, SHAPES, every_third, walk};
use super::rows::affine_rank;
use crate::bits::gf2::{Relation, System};
use crate::bits::{Capture, Wide};

/// So many tests more than bits are no accident: one in a thousand (judgement,
/// no source).
pub(super) const MARGIN: usize = 10;

/// Borders between which pairs of runs are tried (bounds time).
const BORDERS: usize = 24;

/// Other check bits toggled in every combination; of more, one at a time.
const TOGGLED: usize = 4;

/// Rivals kept (bounds memory).
const KEPT: usize = 256;

/// A check that is to be weighed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Claim {
    pub(super) bit: usize,
    pub(super) cover: Wide,
    /// Rows that break it.
    pub(super) violations: usize,
}

impl Claim {
    fn bits(&self) -> Wide {
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

/// How a claim stands.
#[derive(Debug, Clone, Default)]
pub(super) struct Standing {
    /// Covers that fit as well and differ by more than settled checks.
    pub(super) rivals: Vec<Wide>,
    /// All covers of the wide class that fit as well.
    pub(super) fits: Vec<Wide>,
    /// No accident, and nothing unknown touches it.
    pub(super) sound: bool,
    /// In *S*.
    pub(super) settled: bool,
}

/// What is left of each bit when the null space clears its pivots.
struct Fitting {
    left: Vec<Wide>,
}

impl Fitting {
    fn of(captures: &[Capture], length: usize) -> Fitting {
        let mut left: Vec<Wide> = (0..length).map(|at| Wide::ones(1).towards_end(at)).collect();
        for relation in null_space(captures).relations() {
            if let Some(pivot) = relation.bits.first_one() {
                left[pivot] = left[pivot] ^ relation.bits;
            }
        }
        Fitting { left }
    }

    fn sum(&self, bits: Wide) -> Wide {
        bits.offsets().fold(Wide::ZERO, |sum, at| sum ^ self.left[at])
    }
}

/// Which of `claims` are likelier checks than accidents.
pub(super) fn likely(rows: &[Capture], claims: &[Claim], known: &Known) -> Vec<bool> {
    let length = rows.first().map_or(0, Capture::len);
    let blocks = Blocks::of(rows, claims, known);
    claims.iter().map(|claim| blocks.false_alarms_of(claim, claims, length) < LIKELY).collect()
}

/// How claims stand, in their order, and what they leave over.
#[derive(Debug, Clone, Default)]
pub(super) struct Weighed {
    pub(super) standings: Vec<Standing>,
    /// Independent relations that no claim explains and that are no accident.
    pub(super) unexplained: usize,
}

/// Weighs `claims` by `rows`, all good and of one length.
pub(super) fn weigh(rows: &[Capture], claims: &[Claim], known: &Known) -> Weighed {
    let Some(length) = rows.first().map(Capture::len) else {
        let standings = vec![Standing::default(); claims.len()];
        return Weighed { standings, unexplained: 0 };
    };
    let fitting = Fitting::of(rows, length);
    let blocks = Blocks::of(rows, claims, known);
    let left = blocks.left(rows, claims, known);
    let unknown = !left.is_empty();
    let unexplained = left.into_iter().filter(|bits| told(rows, *bits)).count();
    let bound = bound(rows, claims, known);
    let checks = claims.iter().fold(Wide::ZERO, |all, claim| {
        let mut all = all;
        all.set(claim.bit, true);
        all
    });
    let borders = borders(known, checks, length);
    let mut standings: Vec<Standing> = claims
        .iter()
        .map(|claim| {
            let false_alarms_of = blocks.false_alarms_of(claim, claims, length);
            let fits = rivals(&fitting, claim, checks, &borders);
            Standing {
                rivals: fits.clone(),
                fits,
                sound: false_alarms_of.max(bound) < SURE
                    && !(unknown && blocks.slow(claim, claims)),
                settled: false,
            }
        })
        .collect();
    let still = null_space(rows).relations().iter().fold(Wide::ZERO, |all, relation| {
        if relation.bits.count_ones() == 1 { all | relation.bits } else { all }
    });
    explain(&mut standings, claims, known, still);
    Weighed { standings, unexplained }
}

/// Leaves of the rivals those that settled checks do not explain, and settled
/// what has none. In a published layout a check that is open in bits alone that
/// never varied explains in every way it may be completed.
fn explain(standings: &mut [Standing], claims: &[Claim], known: &Known, still: Wide) {
    let mut explains: Vec<bool> = standings.iter().map(|standing| standing.sound).collect();
    loop {
        let bit = |at: usize| Wide::ones(1).towards_end(at);
        let checks: Vec<Wide> = claims.iter().map(|claim| bit(claim.bit)).collect();
        let mut system = System::new();
        let mut add = |bits: Wide| {
            system.add_preferring(Relation { bits, constant: false }, &checks);
        };
        known.relations.iter().for_each(|relation| add(relation.bits));
        let counted = claims.iter().zip(&explains).filter(|(_, explains)| **explains);
        counted.for_each(|(claim, _)| add(claim.bits()));
        let mut moved = system.clone();
        let completed = if known.published { still } else { Wide::ZERO };
        completed.offsets().for_each(|at| {
            moved.add(Relation { bits: bit(at), constant: false });
        });
        let apart = |system: &System, claim: &Claim, rival: &Wide| {
            system.reduce(Relation { bits: *rival ^ claim.cover, constant: false }).bits
        };
        let varied = |claim: &Claim, rival: &Wide| !apart(&moved, claim, rival).is_zero();
        let mut fell = false;
        for ((claim, standing), explains) in claims.iter().zip(&*standings).zip(&mut explains) {
            if *explains && standing.rivals.iter().any(|rival| varied(claim, rival)) {
                (*explains, fell) = (false, true);
            }
        }
        if !fell {
            let completions: Vec<Wide> = claims
                .iter()
                .zip(&*standings)
                .flat_map(|(claim, standing)| {
                    standing.rivals.iter().map(|rival| *rival ^ claim.cover)
                })
                .filter(|apart| known.published && (*apart & !still).is_zero())
                .collect();
            for (claim, standing) in claims.iter().zip(standings.iter_mut()) {
                let differ = standing.rivals.iter().map(|rival| apart(&system, claim, rival));
                let own = |rival: &Wide| ((*rival ^ claim.cover) & !still).is_zero();
                let rivals = standing.rivals.iter().zip(differ);
                let differ = rivals.filter_map(|(rival, apart)| {
                    let told = apart.is_zero() || !own(rival) && completions.contains(&apart);
                    (!told).then_some(apart)
                });
                standing.rivals = differ.map(|apart| apart ^ claim.cover).collect();
                standing.settled = standing.sound && standing.rivals.is_empty();
            }
            return;
        }
    }
}

/// log2 of how many checks of the usual kinds agree by accident with one of an
/// unknown kind, on all that the fields' bits can tell, where bits that no field
/// and no check found explains vary as freely as check bits do.
fn bound(rows: &[Capture], claims: &[Claim], known: &Known) -> f64 {
    let length = rows.first().map_or(0, Capture::len);
    let few = &rows[..rows.len().min(COUNTED)];
    let mut outside = Wide::ones(length) & !known.fields;
    claims.iter().for_each(|claim| outside.set(claim.bit, false));
    let first = few.first().map_or(Wide::ZERO, |row| row.wide());
    let varied = few.iter().fold(Wide::ZERO, |all, row| all | (row.wide() ^ first)) & outside;
    let values = few.iter().map(|row| row.wide() & varied).collect::<HashSet<_>>().len();
    let free = values as f64 >= DRAWN * drawn(f64::from(varied.count_ones()).exp2(), few.len());
    if varied.is_zero() || !free {
        return f64::NEG_INFINITY;
    }
    let rank = affine_rank(few.iter().map(|row| row.wide()), known.fields);
    (2.0 * (length * length) as f64).log2() - rank as f64
}

/// Whether a relation's own bits take so many values that it is no accident of a
/// few, as where numbers of one batch have the same leading bits or carry at once.
fn told(rows: &[Capture], bits: Wide) -> bool {
    let few = &rows[..rows.len().min(COUNTED)];
    let values = few.iter().map(|row| row.wide() & bits).collect::<HashSet<_>>().len();
    values > bits.count_ones() as usize + MARGIN
}

/// How many different values so many rows have, drawn from as many at random.
fn drawn(room: f64, rows: usize) -> f64 {
    room * (1.0 - (1.0 - 1.0 / room).powi(rows as i32))
}

/// Where runs begin and end: at fields, at check bits, at the ends of the card.
fn borders(known: &Known, checks: Wide, length: usize) -> Vec<usize> {
    let checks = checks.offsets().flat_map(|at| [at, at + 1]);
    let mut borders: Vec<usize> =
        checks.chain(known.borders.iter().copied()).chain([0, length]).collect();
    borders.retain(|at| *at <= length);
    borders.sort_unstable();
    borders.dedup();
    // The card's ends and its fields' come first where there are very many.
    if borders.len() > BORDERS {
        let near = |at: &usize| *at == 0 || *at == length || known.borders.contains(at);
        borders.sort_by_key(|at| !near(at));
        borders.truncate(BORDERS);
        borders.sort_unstable();
    }
    borders
}

/// Covers of the wide class, other than the claim's, that fit the rows.
fn rivals(fitting: &Fitting, claim: &Claim, checks: Wide, borders: &[usize]) -> Vec<Wide> {
    let mut others = checks;
    others.set(claim.bit, false);
    let toggles = toggles(others);
    let mut found: Vec<Wide> = Vec::new();
    let mut seen: HashSet<Wide> = HashSet::from([claim.cover]);
    let length = fitting.left.len();
    let targets: Vec<(Wide, Wide)> = toggles
        .iter()
        .map(|toggle| (*toggle, fitting.left[claim.bit] ^ fitting.sum(*toggle)))
        .collect();
    let mut tried = |cover: Wide, sum: Wide| {
        let fits = targets.iter().filter(|(_, target)| *target == sum);
        for rival in fits.map(|(toggle, _)| cover ^ *toggle) {
            if found.len() < KEPT && seen.insert(rival) {
                found.push(rival);
            }
        }
    };
    for shape in SHAPES.into_iter().chain([every_third()]) {
        for ways in OTHERS {
            let (mut cover, mut sum) = (Wide::ZERO, Wide::ZERO);
            walk(length, claim.bit, checks, shape, ways, |taken| {
                if taken.starts {
                    (cover, sum) = (Wide::ZERO, Wide::ZERO);
                }
                cover.set(taken.at, true);
                sum = sum ^ fitting.left[taken.at];
                if taken.fresh {
                    tried(cover, sum);
                }
                true
            });
        }
    }
    let runs: Vec<(usize, usize, Wide, Wide)> = borders
        .iter()
        .enumerate()
        .flat_map(|(i, first)| borders[i + 1..].iter().map(|end| (*first, *end)))
        .map(|(first, end)| {
            let mut cover = Wide::ones(end - first).towards_end(first);
            cover.set(claim.bit, false);
            (first, end, cover, fitting.sum(cover))
        })
        .collect();
    for (_, end, cover, sum) in &runs {
        let second = runs.iter().filter(|(first, ..)| first > end);
        second.for_each(|(_, _, other, more)| tried(*cover | *other, *sum ^ *more));
    }
    found
}

/// Sets of other check bits to be covered or not.
fn toggles(others: Wide) -> Vec<Wide> {
    let bits: Vec<Wide> = others.offsets().map(|at| Wide::ones(1).towards_end(at)).collect();
    if bits.len() > TOGGLED {
        return std::iter::once(Wide::ZERO).chain(bits).collect();
    }
    bits.iter().fold(vec![Wide::ZERO], |mut all, bit| {
        all.extend(all.clone().into_iter().map(|toggle| toggle ^ *bit));
        all
    })
}

/// Nested blocks of bits, slow ones first, with their distinct values.
struct Blocks {
    /// The card number's bits, highest first, each with the distinct values of
    /// all bits up to it.
    card: Vec<(usize, usize)>,
    /// The bits before them, and their distinct values.
    outside: (Wide, usize),
    rows: usize,
}

/// The share of the values of numbers drawn at random (judgement, no source).
const DRAWN: f64 = 0.6;

/// Rows by which values are counted: a fair sample of more.
const COUNTED: usize = 512;

impl Blocks {
    fn of(rows: &[Capture], claims: &[Claim], known: &Known) -> Blocks {
        let rows = &rows[..rows.len().min(COUNTED)];
        let length = rows.first().map_or(0, Capture::len);
        let distinct =
            |bits: Wide| rows.iter().map(|row| row.wide() & bits).collect::<HashSet<_>>().len();
        let mut bits = Wide::ones(length);
        known.card.iter().for_each(|at| bits.set(*at, false));
        claims.iter().for_each(|claim| bits.set(claim.bit, false));
        let outside = (bits, distinct(bits));
        let card = known.card.iter().map(|at| {
            bits.set(*at, true);
            (*at, distinct(bits))
        });
        Blocks { card: card.collect(), outside, rows: rows.len() }
    }

    /// Tests of a relation over `bits`, and how many bits its block has. A block
    /// whose values are as many as numbers drawn at random would have tells every
    /// row apart.
    fn tests(&self, bits: Wide) -> (usize, usize) {
        let (outside, codes) = (self.outside.0.count_ones() as usize, self.outside.1);
        let Some(nth) = self.card.iter().rposition(|(at, _)| bits.bit(*at)) else {
            return (codes.saturating_sub(1), outside);
        };
        let values = self.card[nth].1;
        let room = codes as f64 * ((nth + 1) as f64).exp2();
        let tests =
            if values as f64 >= DRAWN * drawn(room, self.rows) { self.most() } else { values - 1 };
        (tests, outside + nth + 1)
    }

    /// All values there are, less one.
    fn most(&self) -> usize {
        self.card.last().map_or(self.outside.1, |(_, values)| *values).saturating_sub(1)
    }

    /// The bits of relations that are left, that no check found explains and that
    /// are no accident.
    fn left(&self, rows: &[Capture], claims: &[Claim], known: &Known) -> Vec<Wide> {
        // Pivots are as fast as can be, so that what is left is slow if it can be.
        let one = |at: &usize| Wide::ones(1).towards_end(*at);
        let checks: Vec<Wide> = claims.iter().map(|claim| one(&claim.bit)).collect();
        let fast: Vec<Wide> = self.card.iter().rev().map(|(at, _)| one(at)).collect();
        let mut system = System::new();
        for claim in claims {
            system.add_preferring(Relation { bits: claim.bits(), constant: false }, &checks);
        }
        let own = known.relations.iter().map(|relation| relation.bits);
        own.for_each(|bits| {
            system.add_preferring(Relation { bits, constant: false }, &fast);
        });
        let space = null_space(rows);
        let still = space.relations().iter().filter(|relation| relation.bits.count_ones() == 1);
        still.for_each(|relation| {
            system.add(Relation { constant: false, ..*relation });
        });
        let found = system.rank();
        for relation in space.relations() {
            system.add_preferring(Relation { constant: false, ..*relation }, &fast);
        }
        let left = system.relations().skip(found).filter(|relation| {
            let (tests, bits) = self.tests(relation.bits);
            tests >= bits + MARGIN
        });
        left.map(|relation| relation.bits).collect()
    }

    /// The bits a claim hangs on, those of checks it covers among them.
    fn reached(claim: &Claim, claims: &[Claim]) -> Wide {
        let within = claims.iter().filter(|other| claim.cover.bit(other.bit));
        within.fold(claim.bits(), |all, other| all | other.bits())
    }

    /// log2 of how many claims like it would hold by accident.
    fn false_alarms_of(&self, claim: &Claim, claims: &[Claim], length: usize) -> f64 {
        let (tests, _) = self.tests(Blocks::reached(claim, claims));
        if !few(claim.violations, self.most() + 1) {
            return 0.0;
        }
        let tried = 2.0 * (length * length) as f64;
        tried.log2() + super::cover::false_alarm(tests + 1, claim.violations)
    }

    /// Whether it hangs on bits that take few values.
    fn slow(&self, claim: &Claim, claims: &[Claim]) -> bool {
        let bits = Blocks::reached(claim, claims);
        self.tests(bits).0 < self.most() || !(bits & self.outside.0).is_zero()
    }
}

/// Whether so few of the rows whose prints are right may break a check because
/// they are misread.
pub(super) fn few(broken: usize, rows: usize) -> bool {
    broken <= BROKEN_LEAST.max((rows as f64 * BROKEN) as usize)
}

/// log2 of the accidents expected of what is settled: one in a thousand.
const SURE: f64 = -10.0;

/// log2 of the accidents expected of what is found at all (judgement, no source).
const LIKELY: f64 = -4.0;

/// The share of good prints' rows that may break a check (judgement, no source):
/// more are no misreadings.
const BROKEN: f64 = 0.06;

/// Rows that may break a check in small samples (judgement, no source).
const BROKEN_LEAST: usize = 2;
