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
//!   three, every third to sixteenth bit, over every stretch, and two runs between borders of
//!   fields and checks; each with and without the other check bits.
//! - *S*, the settled checks, is the largest set whose every rival differs from
//!   the check found by checks of *S* alone. So a rival is not explained away
//!   by a check that is not settled itself.
//! - *Doubtful* rows ([`borne_out`]): a rival that fits all rows but one of these
//!   fits, for that one may be misread.
//! - *Tests*. Bits outside the card number are slow, as site codes, or fast, as check
//!   bits not found, which take as many values as bits drawn at random. The slow bits,
//!   and with them the card number's from the highest down, form nested blocks. Where
//!   a block takes as many values as numbers drawn at random for each code would, a
//!   relation within it is tested by all cards; else by the distinct values of the
//!   block, or of its own bits, less one, whichever are fewer: six site codes are five
//!   tests. A relation that holds by accident is expected `tried × 2^−tests` times,
//!   where `tried` is forty for a cover of few words and 2·length² for others.
//! - *Entangled* are claims whose sum says something of slow bits that is hardly
//!   tested: one of them at least is an accident. Nor is a check bit settled that
//!   stands among bits of few values: it may be one of theirs.
//! - *Something unknown*. Relations of *N* that the checks found leave over, and
//!   that have [`MARGIN`] tests more than the bits of their block, are no
//!   accident: a kind of check not known is at work, and nothing that touches
//!   bits of few values is settled.

use std::collections::{HashMap, HashSet};

use super::blocks::{Blocks, COUNTED, tried};
use super::claim::{Claim, Known, MARGIN, SURE};
use super::codes;
use super::null_space;
use super::pattern::{OTHERS, SHAPES, columns, walk};
use super::rows::affine_rank;
use crate::bits::gf2::{Relation, System};
use crate::bits::{Capture, Wide};

/// Of so many cards of one code, one more than usual may have the same bit misread
/// (judgement, no source).
const MISREAD: usize = 16;

/// Of so many codes, one card alone hardly ever tells two covers apart: one in two
/// thousand times the covers of few words (judgement, no source).
const CODES: usize = 12;

/// Borders between which pairs of runs are tried (bounds time).
const BORDERS: usize = 24;

/// Other check bits toggled in every combination; of more, one at a time.
const TOGGLED: usize = 6;

/// Rivals kept (bounds memory).
const KEPT: usize = 256;

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
    /// What may be left of a cover that fits: nothing, or what one doubtful row
    /// alone keeps from being nothing.
    allowed: Vec<Wide>,
}

impl Fitting {
    fn of(captures: &[Capture], doubtful: &[Capture], length: usize) -> Fitting {
        let mut left: Vec<Wide> = (0..length).map(|at| Wide::ones(1).towards_end(at)).collect();
        for relation in null_space(captures).relations() {
            if let Some(pivot) = relation.bits.first_one() {
                left[pivot] = left[pivot] ^ relation.bits;
            }
        }
        let mut fitting = Fitting { left, allowed: vec![Wide::ZERO] };
        let more = doubtful.iter().filter_map(|doubtful| {
            let others: Vec<Capture> =
                captures.iter().filter(|c| *c != doubtful).copied().collect();
            let space = null_space(&others);
            let left = space.relations().iter().map(|relation| fitting.sum(relation.bits));
            left.into_iter().find(|left| !left.is_zero())
        });
        let more: HashSet<Wide> = more.collect();
        fitting.allowed.extend(more);
        fitting
    }

    fn sum(&self, bits: Wide) -> Wide {
        bits.offsets().fold(Wide::ZERO, |sum, at| sum ^ self.left[at])
    }
}

/// Good rows, without those that may be misread.
pub(super) struct BorneOut {
    pub(super) rows: Vec<Capture>,
    /// Rows of which each may be misread, though hardly several.
    pub(super) doubtful: Vec<Capture>,
}

/// Leaves out rows that may be misread: of a code so rare beside one that differs in
/// one bit, where no print says it, that all its cards may be cards of that one with
/// the bit misread. Of two codes of one card each, either may be. Doubtful is a card
/// alone of its code that one bit turned makes one put together from the first bits
/// of a code and the last bits of another, as a site code and an issue code are.
/// Where there are many codes, one card that alone tells would be an accident, and
/// only a code beside one of several cards is in doubt. `all` are the rows, those
/// that are not good among them.
pub(super) fn borne_out(
    rows: &[Capture],
    all: &[Capture],
    claims: &[Claim],
    known: &Known,
) -> BorneOut {
    let bits = Blocks::of(rows, claims, known).slow.0 & !known.fields;
    let mut codes: HashMap<Wide, usize> = HashMap::new();
    all.iter().for_each(|row| *codes.entry(row.wide() & bits).or_default() += 1);
    let turned = |code: Wide| bits.offsets().map(move |at| code ^ Wide::ones(1).towards_end(at));
    let cards = |code: Wide| codes.get(&code).copied().unwrap_or(0);
    let many = codes.len() > CODES;
    let misread = |row: &&Capture| {
        let code = row.wide() & bits;
        let beside = |turned: Wide| cards(turned) > usize::from(many);
        turned(code).any(|turned| beside(turned) && cards(code) <= 1 + cards(turned) / MISREAD)
    };
    let put_together = |code: Wide, turned: Wide| {
        let apart = codes.keys().filter(|other| **other != code).map(|other| *other ^ turned);
        let (first, last) = apart.fold((0, 0), |(first, last), apart| {
            let end = |apart: Wide| apart.first_one().unwrap_or(256);
            (end(apart).max(first), end(apart.reversed()).max(last))
        });
        first + last >= 256
    };
    let (_, rows): (Vec<Capture>, Vec<Capture>) =
        rows.iter().copied().partition(|row| misread(&row));
    let alone = rows.iter().filter(|row| cards(row.wide() & bits) == 1);
    let doubtful = alone.filter(|row| {
        let code = row.wide() & bits;
        !many && turned(code).any(|turned| put_together(code, turned))
    });
    BorneOut { doubtful: doubtful.copied().collect(), rows }
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

/// The bits of relations that no claim explains and that are no accident.
pub(super) fn left(rows: &[Capture], claims: &[Claim], known: &Known) -> Vec<Wide> {
    let left = Blocks::of(rows, claims, known).left(rows, claims, known);
    left.into_iter().filter(|bits| told(rows, *bits)).collect()
}

/// Whether the claims say all that holds in all rows.
pub(super) fn say_all(rows: &[Capture], claims: &[Claim], known: &Known) -> bool {
    let mut system = System::new();
    let own = known.relations.iter().map(|relation| relation.bits);
    for bits in claims.iter().map(Claim::bits).chain(own) {
        system.add(Relation { bits, constant: false });
    }
    system.rank() == null_space(rows).relations().len()
}

/// Weighs `claims` by rows that are all good and of one length.
pub(super) fn weigh(borne_out: &BorneOut, claims: &[Claim], known: &Known) -> Weighed {
    let BorneOut { rows, doubtful } = borne_out;
    let Some(length) = rows.first().map(Capture::len) else {
        let standings = vec![Standing::default(); claims.len()];
        return Weighed { standings, unexplained: 0 };
    };
    let fitting = Fitting::of(rows, doubtful, length);
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
    let checks = checks | blocks.ends(length);
    let borders = borders(known, checks, length);
    let entangled = blocks.entangled(claims, length);
    let mut standings: Vec<Standing> = claims
        .iter()
        .zip(entangled)
        .map(|(claim, entangled)| {
            let false_alarms_of = blocks.false_alarms_of(claim, claims, length);
            let fits = rivals(&fitting, claim, checks, &borders);
            let among_codes = blocks.among_codes(claim, known, length);
            let open = entangled || among_codes || unknown && blocks.slow(claim, claims);
            Standing {
                rivals: fits.clone(),
                fits,
                sound: false_alarms_of.max(bound) < SURE && !open,
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
    let free =
        values as f64 >= DRAWN * codes::expected(f64::from(varied.count_ones()).exp2(), few.len());
    if varied.is_zero() || !free {
        return f64::NEG_INFINITY;
    }
    let rank = affine_rank(few.iter().map(|row| row.wide()), known.fields);
    tried(length) - rank as f64
}

/// Whether a relation's own bits take so many values that it is no accident of a
/// few, as where numbers of one batch have the same leading bits or carry at once.
fn told(rows: &[Capture], bits: Wide) -> bool {
    let few = &rows[..rows.len().min(COUNTED)];
    let values = few.iter().map(|row| row.wide() & bits).collect::<HashSet<_>>().len();
    values > bits.count_ones() as usize + MARGIN
}

/// The share of the values of numbers drawn at random (judgement, no source).
const DRAWN: f64 = 0.6;

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
    let mut targets: HashMap<Wide, Vec<Wide>> = HashMap::new();
    for toggle in &toggles {
        let target = fitting.left[claim.bit] ^ fitting.sum(*toggle);
        for left in &fitting.allowed {
            targets.entry(target ^ *left).or_default().push(*toggle);
        }
    }
    let mut try_cover = |cover: Wide, sum: Wide| {
        for rival in targets.get(&sum).into_iter().flatten().map(|toggle| cover ^ *toggle) {
            if found.len() < KEPT && seen.insert(rival) {
                found.push(rival);
            }
        }
    };
    for shape in SHAPES.into_iter().chain(columns()) {
        for ways in OTHERS {
            let (mut cover, mut sum) = (Wide::ZERO, Wide::ZERO);
            walk(length, claim.bit, checks, shape, ways, |taken| {
                if taken.starts {
                    (cover, sum) = (Wide::ZERO, Wide::ZERO);
                }
                cover.set(taken.at, true);
                sum = sum ^ fitting.left[taken.at];
                if taken.fresh {
                    try_cover(cover, sum);
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
        second.for_each(|(_, _, other, more)| try_cover(*cover | *other, *sum ^ *more));
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

/// log2 of the accidents expected of what is found at all (judgement, no source).
const LIKELY: f64 = -4.0;
