//! How often a sample tests a relation: bits that take few values test it by their
//! distinct values, not by the rows ([`super::settle`] states the model).

use std::collections::{HashMap, HashSet};

use super::claim::{Claim, Known, MARGIN, SURE, few};
use super::codes;
use super::cover::{USUAL, false_alarm};
use super::null_space;
use super::pattern::usual;
use crate::bits::gf2::{Relation, System};
use crate::bits::{Capture, Wide};

/// Nested blocks of bits, slow ones first, with their distinct values.
pub(super) struct Blocks {
    /// The card number's bits, highest first, each with the distinct values of
    /// all slow bits and those up to it, and whether these are as many as numbers
    /// drawn at random for each code would have.
    card: Vec<(usize, usize, bool)>,
    /// Bits outside the card number that go by the code, and their distinct values.
    pub(super) slow: (Wide, usize),
    /// Bits outside that are drawn anew for each card, as those of checks not found.
    fast: Wide,
    /// All bits outside the card number, check bits left out.
    pub(super) outside: Wide,
    /// Distinct rows.
    words: Vec<Wide>,
}

/// Rows by which values are counted: a fair sample of more.
pub(super) const COUNTED: usize = 512;

fn values(words: &[Wide], bits: Wide) -> usize {
    codes::values(words, bits).len()
}

impl Blocks {
    pub(super) fn of(rows: &[Capture], claims: &[Claim], known: &Known) -> Blocks {
        let length = rows.first().map_or(0, Capture::len);
        let words: HashSet<Wide> =
            rows[..rows.len().min(COUNTED)].iter().map(|row| row.wide()).collect();
        let words: Vec<Wide> = words.into_iter().collect();
        let mut outside = Wide::ones(length);
        known.card.iter().for_each(|at| outside.set(*at, false));
        claims.iter().for_each(|claim| outside.set(claim.bit, false));
        let fast = codes::fast(&words, length, outside & !known.fields);
        let slow = outside & !fast;
        let mut codes: HashMap<Wide, usize> = HashMap::new();
        words.iter().for_each(|word| *codes.entry(*word & slow).or_default() += 1);
        let mut bits = slow;
        let card = (1..).zip(&known.card).map(|(nth, at)| {
            bits.set(*at, true);
            let values = values(&words, bits);
            (*at, values, codes::drawn(values, f64::from(nth).exp2(), codes.values().copied()))
        });
        let card = card.collect();
        Blocks { card, slow: (slow, codes.len()), fast, outside, words }
    }

    /// Tests of a relation over `bits`, and how many bits it could do without. A
    /// block whose values are as many as numbers drawn at random would have tells
    /// every row apart; else the bits' own values test it, if these are fewer.
    fn tests(&self, bits: Wide) -> (usize, usize) {
        let nth = self.card.iter().rposition(|(at, ..)| bits.bit(*at));
        let block = self.slow.0.count_ones() as usize + nth.map_or(0, |nth| nth + 1);
        if !(bits & self.fast).is_zero() {
            return (self.most(), block + self.fast.count_ones() as usize);
        }
        let values = match nth.map(|nth| self.card[nth]) {
            Some((_, _, true)) => return (self.most(), block),
            Some((_, values, false)) => values,
            None => self.slow.1,
        };
        let own = self::values(&self.words, bits);
        let bits = bits.count_ones() as usize;
        if own < values { (own - 1, bits.min(block)) } else { (values.saturating_sub(1), block) }
    }

    /// All values there are, less one.
    fn most(&self) -> usize {
        let all = self.card.iter().fold(self.outside, |mut all, (at, ..)| {
            all.set(*at, true);
            all
        });
        values(&self.words, all).saturating_sub(1)
    }

    /// Bits near the card's ends that may be checks not found.
    pub(super) fn ends(&self, length: usize) -> Wide {
        let last = length.saturating_sub(codes::ENDS);
        let ends = Wide::ones(codes::ENDS) | Wide::ones(length - last).towards_end(last);
        let first = self.words.first().copied().unwrap_or(Wide::ZERO);
        let varied = self.words.iter().fold(Wide::ZERO, |all, word| all | (*word ^ first));
        ends & varied & self.outside
    }

    /// The slow bits and those of the card number that are tested so little that
    /// what holds among them may be an accident.
    fn untested(&self, length: usize) -> Wide {
        let enough = |values: usize| tried(length) + false_alarm(values, 0) < SURE;
        let prefix = self.card.iter().take_while(|(_, values, drawn)| !drawn && !enough(*values));
        prefix.fold(self.slow.0, |mut all, (at, ..)| {
            all.set(*at, true);
            all
        })
    }

    /// Which claims say together, though none says it alone, what holds among bits
    /// that are hardly tested: one of them at least is an accident.
    pub(super) fn entangled(&self, claims: &[Claim], length: usize) -> Vec<bool> {
        let untested = self.untested(length);
        let mut kept: Vec<(Wide, Vec<bool>)> = Vec::new();
        let mut entangled = vec![false; claims.len()];
        for (nth, claim) in claims.iter().enumerate() {
            let (mut bits, mut sum) = (claim.bits(), vec![false; claims.len()]);
            sum[nth] = true;
            for (other, of) in &kept {
                let pivot = (*other & !untested).first_one();
                if pivot.is_some_and(|at| bits.bit(at)) {
                    bits = bits ^ *other;
                    sum.iter_mut().zip(of).for_each(|(a, b)| *a ^= b);
                }
            }
            if !(bits & !untested).is_zero() {
                kept.push((bits, sum));
            } else if !bits.is_zero() && sum.iter().filter(|of| **of).count() > 1 {
                entangled.iter_mut().zip(sum).for_each(|(all, one)| *all |= one);
            }
        }
        entangled
    }

    /// The bits of relations that are left, that no check found explains and that
    /// are no accident.
    pub(super) fn left(&self, rows: &[Capture], claims: &[Claim], known: &Known) -> Vec<Wide> {
        // Pivots are as fast as can be, so that what is left is slow if it can be.
        let one = |at: &usize| Wide::ones(1).towards_end(*at);
        let checks: Vec<Wide> = claims.iter().map(|claim| one(&claim.bit)).collect();
        let fast: Vec<Wide> = self.card.iter().rev().map(|(at, ..)| one(at)).collect();
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
    pub(super) fn reached(claim: &Claim, claims: &[Claim]) -> Wide {
        let within = claims.iter().filter(|other| claim.cover.bit(other.bit));
        within.fold(claim.bits(), |all, other| all | other.bits())
    }

    /// log2 of how many claims like it would hold by accident.
    pub(super) fn false_alarms_of(&self, claim: &Claim, claims: &[Claim], length: usize) -> f64 {
        let (tests, _) = self.tests(Blocks::reached(claim, claims));
        if !few(claim.violations, self.most() + 1) {
            return 0.0;
        }
        let first = self.words.first().copied().unwrap_or(Wide::ZERO);
        let varied = self.words.iter().fold(Wide::ZERO, |all, word| all | (*word ^ first));
        let checks = claims.iter().fold(Wide::ZERO, |all, claim| all | claim.bits() & !claim.cover);
        let usual = usual(length, claim.bit, checks);
        let few_words = usual.iter().any(|cover| ((*cover ^ claim.cover) & varied).is_zero());
        let tried = if few_words { USUAL.log2() + 1.0 } else { tried(length) };
        tried + false_alarm(tests + 1, claim.violations)
    }

    /// Whether a check bit away from the card's ends stands beside bits of few values
    /// that nobody printed, those that never varied passed over: it may be one of
    /// theirs, so that what it follows is an accident of few codes.
    pub(super) fn among_codes(&self, claim: &Claim, known: &Known, length: usize) -> bool {
        let first = self.words.first().copied().unwrap_or(Wide::ZERO);
        let varied = self.words.iter().fold(Wide::ZERO, |all, word| all | (*word ^ first));
        let codes = self.slow.0 & !known.fields;
        let inside = (codes::ENDS..length.saturating_sub(codes::ENDS)).contains(&claim.bit);
        let before = (0..claim.bit).rev().find(|at| varied.bit(*at));
        let behind = (claim.bit + 1..length).find(|at| varied.bit(*at));
        inside && [before, behind].into_iter().flatten().any(|at| codes.bit(at))
    }

    /// Whether it hangs on bits that take few values.
    pub(super) fn slow(&self, claim: &Claim, claims: &[Claim]) -> bool {
        let bits = Blocks::reached(claim, claims);
        self.tests(bits).0 < self.most() || !(bits & self.outside).is_zero()
    }
}

/// log2 of the covers that are tried for a check.
pub(super) fn tried(length: usize) -> f64 {
    (2.0 * (length * length) as f64).log2()
}
