//! Parity checks: for each bit that no field explains, the covers whose
//! parity it follows. Needs more rows than the base-2 logarithm of the covers
//! tried, by a margin; how many of them would fit by accident is reckoned.

use super::pattern::{Family, OTHERS, Others, SHAPES, Shape, columns as column_shapes, walk};
use super::rows::{Columns, Rows};
use crate::bits::Wide;
use crate::bits::gf2::{Added, Relation, System};

/// What the search for checks goes by.
pub(super) struct Ground<'a> {
    /// Distinct good rows.
    pub(super) columns: &'a Columns,
    /// Bits that vary well enough to be told from one that does not.
    pub(super) varying: Wide,
    /// Bits that may be check bits.
    pub(super) candidates: Wide,
    /// The affine rank of the rows over the varying bits that are no candidates.
    pub(super) rank: usize,
    /// Their affine rank over the candidates.
    pub(super) candidate_rank: usize,
    /// Relations known to hold already.
    pub(super) known: &'a [Relation],
    /// Relations between bits outside the fields that only the few codes of the
    /// sample make hold.
    pub(super) repeating: &'a [Relation],
}

impl Ground<'_> {
    /// Check bits that patterns may leave out or step over: with many
    /// candidates most are no check bits.
    pub(super) fn checks(&self) -> Wide {
        match self.candidates.count_ones() {
            0..=CHECKS => self.candidates,
            _ => Wide::ZERO,
        }
    }
}

/// More candidates than this are not taken for check bits all at once
/// (judgement, no source).
const CHECKS: u32 = 8;

/// A cover that fits, on the varying bits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hit {
    pub(super) bit: usize,
    pub(super) cover: Wide,
    pub(super) family: Family,
    pub(super) violations: usize,
}

impl Hit {
    /// The bits that take part, its own among them.
    pub(super) fn bits(&self) -> Wide {
        let mut bits = self.cover;
        bits.set(self.bit, true);
        bits
    }

    /// The relation, even and odd taken as one.
    fn relation(&self) -> Relation {
        Relation { bits: self.bits(), constant: false }
    }

    /// What it costs to say; among equals a check bit at either end of the
    /// card, or behind what it covers, and the smaller cover.
    fn price(&self, checks: Wide, length: usize) -> (u32, bool, u8, u32, usize) {
        let checks = self.cover & checks;
        let only_checks = checks == self.cover;
        let cost =
            self.family.cost() + 3 * u32::from(!checks.is_zero()) + 10 * u32::from(only_checks);
        let inner = self.bit != 0 && self.bit + 1 != length;
        let before = self.cover & Wide::ones(self.bit);
        let place = match (before == self.cover, before.is_zero()) {
            _ if !inner => 0,
            (true, _) => 0,
            (_, true) => 1,
            _ => 2,
        };
        (cost, inner, place, self.cover.count_ones(), self.bit)
    }
}

/// The checks found and what the search allows to say of them.
#[derive(Debug, Clone, Default)]
pub(super) struct Covers {
    /// One a check bit, independent of each other.
    pub(super) chosen: Vec<Hit>,
    /// Others that fit as well and say something else.
    pub(super) rivals: Vec<Hit>,
    /// Relations expected to fit by accident among all tried.
    pub(super) false_alarms: f64,
}

/// False alarms allowed in one sample (judgement, no source): a check that is
/// none makes a panel refuse good cards.
const ALLOWED: f64 = 0.005;

/// How often a bit that is no check follows the others all the same, because
/// the cards were numbered so (judgement, no source). Such a bit is as likely
/// any of the 2^rank relations the rows can tell apart.
const STRUCTURED: f64 = 1.0 / 256.0;

/// Structured accidents allowed for a check to be told at all (judgement, no
/// source): numbers of one box tell little, and what they tell stays unsettled.
const STRUCTURED_ALLOWED: f64 = 0.05;

/// The share of rows that may violate a check before misreadings are taken
/// out (judgement, no source).
pub(super) const VIOLATED: f64 = 0.15;

/// Two runs are tried only among so many runs (bounds time).
const RUNS: usize = 1500;

/// log2 of the chance that `n` random bits differ from a given word, or from
/// its complement, in at most `k` places.
pub(super) fn false_alarm(n: usize, k: usize) -> f64 {
    let (mut term, mut sum) = (1.0f64, 0.0f64);
    for i in 0..=k.min(n) {
        sum += term;
        term *= (n - i) as f64 / (i + 1) as f64;
    }
    (1.0 + sum.log2() - n as f64).min(0.0)
}

/// All hits of one bit, and how many covers were tried in each family.
struct Trial {
    hits: Vec<Hit>,
    tried: Vec<(Family, f64)>,
}

impl Trial {
    fn tried(&mut self, family: Family, more: usize) {
        match self.tried.iter_mut().find(|(known, _)| *known == family) {
            Some((_, tried)) => *tried += more as f64,
            None => self.tried.push((family, more as f64)),
        }
    }
}

/// Tries every cover of the usual shapes on `bit`.
fn attempt(ground: &Ground<'_>, bit: usize, limit: usize) -> Trial {
    let mut trial = Trial { hits: Vec::new(), tried: Vec::new() };
    let all = f64::from(ground.varying.count_ones());
    let bits = f64::from(ground.candidates.count_ones());
    // What could not be told from an accident need not be tried.
    let hopeless = |family: Family| {
        let least = all * all / 4.0 * false_alarm(ground.columns.rows(), 0).exp2();
        least > ALLOWED * family.share() / bits
    };
    for shape in SHAPES.into_iter().filter(|shape| !hopeless(shape.family)) {
        attempt_shape(ground, bit, limit, shape, &OTHERS, &mut trial);
    }
    if trial.hits.is_empty() && !hopeless(Family::Column) {
        column_shapes().for_each(|shape| {
            attempt_shape(ground, bit, limit, shape, &[Others::Counted], &mut trial);
        });
    }
    if trial.hits.is_empty() {
        attempt_two_runs(ground, bit, limit, &mut trial);
    }
    trial
}

fn attempt_shape(
    ground: &Ground<'_>,
    bit: usize,
    limit: usize,
    shape: Shape,
    others: &[Others],
    trial: &mut Trial,
) {
    let columns = ground.columns;
    let (n, target) = (columns.rows(), columns.at(bit));
    for &others in others {
        let mut tried = 0;
        let mut parity = Rows::none(n);
        let mut cover = Wide::ZERO;
        let mut length = 0;
        walk(columns.length(), bit, ground.checks(), shape, others, |taken| {
            let varies = ground.varying.bit(taken.at);
            if taken.starts {
                if !varies {
                    return false;
                }
                parity.clear();
                cover = Wide::ZERO;
                length = 0;
            }
            if varies {
                cover.set(taken.at, true);
                parity.toggle(columns.at(taken.at));
                length += 1;
                // One or two columns of a word are a run or alternate bits.
                if taken.fresh && (shape.family != Family::Column || length > 2) {
                    tried += 1;
                    let apart = parity.distance(target);
                    let violations = apart.min(n - apart);
                    if violations <= limit {
                        trial.hits.push(Hit { bit, cover, family: shape.family, violations });
                    }
                }
            }
            true
        });
        trial.tried(shape.family, tried);
    }
}

fn attempt_two_runs(ground: &Ground<'_>, bit: usize, limit: usize, trial: &mut Trial) {
    let columns = ground.columns;
    let (n, target) = (columns.rows(), columns.at(bit));
    let offsets: Vec<usize> = (ground.varying & !ground.candidates).offsets().collect();
    let runs = offsets.len() * (offsets.len() + 1) / 2;
    // Pairs of runs are so many that only a sample larger than this can tell.
    let pairs = (runs * runs) as f64 / 2.0;
    let allowed = ALLOWED * Family::TwoRuns.share() / f64::from(ground.candidates.count_ones());
    let told = |limit: &usize| pairs * false_alarm(n, *limit).exp2() < allowed;
    let Some(limit) = (0..=limit).rev().find(told).filter(|_| runs <= RUNS) else { return };
    let rows = (n as u32).min(u64::BITS);
    let mut list: Vec<(Wide, u64)> = Vec::new();
    for i in 0..offsets.len() {
        let (mut mask, mut word) = (Wide::ZERO, 0);
        for &at in &offsets[i..] {
            mask.set(at, true);
            word ^= columns.at(at).first();
            list.push((mask, word));
        }
    }
    let wanted = target.first();
    for (i, (mask, word)) in list.iter().enumerate() {
        for (other, parity) in &list[i + 1..] {
            let apart = (word ^ parity ^ wanted).count_ones();
            if apart.min(rows - apart) as usize > limit || !(*mask & *other).is_zero() {
                continue;
            }
            let cover = *mask | *other;
            let apart = columns.parity(cover).distance(target);
            let violations = apart.min(n - apart);
            if violations <= limit {
                trial.hits.push(Hit { bit, cover, family: Family::TwoRuns, violations });
            }
        }
    }
    trial.tried(Family::TwoRuns, pairs as usize);
}

/// Finds the checks that no more than `limit` rows violate.
pub(super) fn find(ground: &Ground<'_>, limit: usize) -> Covers {
    let n = ground.columns.rows();
    let bits: Vec<usize> = ground.candidates.offsets().collect();
    let mut found = Covers::default();
    let mut accepted: Vec<Hit> = Vec::new();
    for &bit in &bits {
        let trial = attempt(ground, bit, limit);
        let tried: f64 = trial.tried.iter().map(|(_, tried)| tried).sum();
        let least = trial.hits.iter().map(|hit| hit.violations).min();
        // Among random rows a bit that is no check is as good as independent;
        // among rows of low rank it may follow the others for other reasons.
        let structured = |hit: &Hit| match (hit.cover & !ground.candidates).is_zero() {
            // Of several site codes a few bits always follow each other.
            true => (tried * (1.0 - ground.candidate_rank as f64).exp2()).min(1.0),
            false => STRUCTURED * (tried * (-(ground.rank as f64)).exp2()).min(1.0),
        };
        let enough = |hit: &Hit| {
            let share = hit.family.share() / bits.len() as f64;
            let tried = trial.tried.iter().find(|(family, _)| *family == hit.family);
            let expected = tried.map_or(0.0, |(_, n)| *n) * false_alarm(n, hit.violations).exp2();
            expected < ALLOWED * share && structured(hit) < STRUCTURED_ALLOWED
        };
        let fits: Vec<Hit> = trial
            .hits
            .iter()
            .filter(|hit| Some(hit.violations) == least && enough(hit))
            .copied()
            .collect();
        let violated = if fits.is_empty() { 0 } else { least.unwrap_or(0) };
        found.false_alarms += tried * false_alarm(n, violated).exp2();
        found.false_alarms += fits.iter().map(structured).fold(0.0, f64::max);
        accepted.extend(fits);
    }
    choose(ground, accepted, &mut found);
    found
}

/// The least that says it all: one cover a bit, none implied by the others.
fn choose(ground: &Ground<'_>, mut accepted: Vec<Hit>, found: &mut Covers) {
    let length = ground.columns.length();
    accepted.sort_by_key(|hit| hit.price(ground.checks(), length));
    let mut system = System::new();
    for relation in ground.known {
        // What never varies says nothing here.
        system.add(Relation { bits: relation.bits & ground.varying, constant: false });
    }
    // A check and what the few codes make hold together give more covers that
    // fit; those over data alone are checks all the same.
    let mut blocked = system.clone();
    for relation in ground.repeating {
        blocked.add(Relation { constant: false, ..*relation });
    }
    for hit in &accepted {
        if found.chosen.iter().any(|chosen| chosen.bit == hit.bit) {
            continue;
        }
        let new = blocked.add(hit.relation()) == Added::Independent;
        let data_only = (hit.cover & ground.candidates).is_zero();
        if (new || data_only) && system.add(hit.relation()) == Added::Independent {
            found.chosen.push(*hit);
        }
    }
    found.chosen.sort_by_key(|hit| hit.bit);
    found.rivals =
        accepted.into_iter().filter(|hit| !system.reduce(hit.relation()).bits.is_zero()).collect();
}

/// The rows of `columns` that violate a hit.
pub(super) fn violators(columns: &Columns, rows: &Rows, hit: &Hit) -> Rows {
    let odd = columns.parity(hit.bits()).and(rows);
    if 2 * odd.count() > rows.count() { rows.minus(&odd) } else { odd }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn accidents_are_a_binomial_tail() {
        assert_eq!(false_alarm(24, 0), -23.0);
        assert!((false_alarm(4, 1) - (10.0f64 / 16.0).log2()).abs() < 1e-12);
        assert_eq!(false_alarm(0, 0), 0.0);
    }
}
