//! What a check covers beyond the bits that varied: every usual cover that says
//! the same of the sample is a way to complete it. What all of them cover is
//! known; what only some cover is undetermined.

use super::cover::{Covers, Ground, Hit};
use super::pattern::{Family, OTHERS, SHAPES, columns as column_shapes, walk};
use super::rows::{Columns, Rows};
use crate::bits::Wide;

/// A check with the bits that never varied.
#[derive(Debug, Clone)]
pub(super) struct Completed {
    pub(super) bit: usize,
    pub(super) over: Wide,
    /// True for odd parity over `over` and `bit`.
    pub(super) odd: bool,
    /// Bits that may or may not be covered.
    pub(super) undetermined: Wide,
    /// Every cover that fits, `over` first; bounded.
    pub(super) could_be: Vec<Wide>,
}

impl Completed {
    /// Takes a cover that no good row breaks; false where there is none.
    pub(super) fn agree(&mut self, columns: &Columns, good: &Rows) -> bool {
        let bit = self.bit;
        let broken = |cover: &Wide| {
            let mut bits = *cover;
            bits.set(bit, true);
            let odd = columns.parity(bits).common(good);
            (odd != 0 && odd != good.count(), odd != 0)
        };
        let fitting = self.could_be.iter().position(|cover| !broken(cover).0);
        let Some(nth) = fitting else { return false };
        self.could_be.swap(0, nth);
        self.over = self.could_be[0];
        self.odd = broken(&self.over).1;
        true
    }

    /// Takes in covers of a wider class that fit as well.
    pub(super) fn rival(&mut self, rivals: &[Wide]) {
        for rival in rivals {
            self.undetermined = self.undetermined | (*rival ^ self.over);
            if self.could_be.len() < KEPT && !self.could_be.contains(rival) {
                self.could_be.push(*rival);
            }
        }
        self.undetermined.set(self.bit, false);
    }
}

/// Covers kept for choosing the next sample (bounds memory).
const KEPT: usize = 64;

/// Completes a chosen check. `loners` are rows that differ from all others in
/// bits that otherwise never vary.
pub(super) fn complete(
    ground: &Ground<'_>,
    covers: &Covers,
    hit: &Hit,
    full: &Columns,
    good: &Rows,
    fields: &[Wide],
) -> Completed {
    let length = full.length();
    let mut says: Vec<Wide> = vec![hit.cover];
    says.extend(covers.rivals.iter().filter(|rival| rival.bit == hit.bit).map(|r| r.cover));
    let allowed = says.iter().fold(!ground.varying, |all, cover| all | *cover);
    let mut fitting: Vec<Wide> = Vec::new();
    let mut every = Wide::ones(length);
    let mut any = Wide::ZERO;
    let weak = weak_rows(ground, full, good, hit);
    let misses =
        |cover: Wide| weak.iter().filter(|(moved, odd)| (*moved & cover).parity() != *odd).count();
    let mut best = (usize::MAX, 0, Wide::ZERO);
    let mut visit = |cover: Wide| {
        let on_varying = cover & ground.varying;
        if !says.contains(&on_varying) {
            return;
        }
        let missed = misses(cover);
        // One row alone may be a misreading, so that it settles nothing.
        if missed > 1 {
            return;
        }
        every = every & cover;
        any = any | cover;
        if fitting.len() < KEPT && !fitting.contains(&cover) {
            fitting.push(cover);
        }
        if on_varying == hit.cover {
            let usual = usual(cover, hit.bit, fields, ground.varying);
            if (missed, usual) < (best.0, best.1) || best.0 == usize::MAX {
                best = (missed, usual, cover);
            }
        }
    };
    // One run of the rows' own cover, in case no shape below gives it.
    if matches!(hit.family, Family::TwoRuns) {
        visit(hit.cover);
    }
    let shapes = SHAPES.into_iter().chain(column_shapes().filter(|_| hit.family == Family::Column));
    for shape in shapes {
        for others in OTHERS {
            let mut cover = Wide::ZERO;
            walk(length, hit.bit, ground.checks(), shape, others, |taken| {
                if taken.starts {
                    cover = Wide::ZERO;
                }
                if !allowed.bit(taken.at) {
                    return false;
                }
                cover.set(taken.at, true);
                if taken.fresh {
                    visit(cover);
                }
                true
            });
        }
    }
    let over = if best.0 == usize::MAX { hit.cover } else { best.2 };
    if best.0 == usize::MAX {
        (every, any) = (every & over, any | over);
    }
    let mut bits = over;
    bits.set(hit.bit, true);
    let odd = 2 * full.parity(bits).common(good) > good.count();
    fitting.retain(|cover| *cover != over);
    fitting.insert(0, over);
    let mut undetermined = (any & !every) | (over & !ground.varying);
    undetermined.set(hit.bit, false);
    Completed { bit: hit.bit, over, odd, undetermined, could_be: fitting }
}

/// How unusual a cover is: one that begins next to its check bit, or ends or
/// begins with a field, is what a designer would draw (judgement, no source).
/// Among equals the smaller cover.
fn usual(cover: Wide, bit: usize, fields: &[Wide], varying: Wide) -> usize {
    let first = cover.first_one().unwrap_or(0);
    let last = 255 - cover.reversed().first_one().unwrap_or(0);
    let run = cover.count_ones() as usize == last + 1 - first;
    let near = first == bit + 1 || last + 1 == bit;
    let reach = fields.iter().filter(|field| {
        let begins = field.first_one() == Some(first);
        let ends = 255 - field.reversed().first_one().unwrap_or(0) == last;
        begins || ends
    });
    let outlying = (cover & !varying).count_ones() as usize;
    let rank = 2 * usize::from(!near) + usize::from(reach.count() == 0);
    1024 * (rank + 4 * usize::from(!run)) + outlying
}

/// Rows that differ from the rest in bits that hardly vary: in which of them,
/// and whether the check, over the varying bits, comes out the other way.
fn weak_rows(ground: &Ground<'_>, full: &Columns, good: &Rows, hit: &Hit) -> Vec<(Wide, bool)> {
    let mut moved: Vec<(usize, Wide)> = Vec::new();
    let count = good.count();
    for at in (0..full.length()).filter(|&at| !ground.varying.bit(at)) {
        let ones = full.at(at).and(good);
        let rarer = if 2 * ones.count() > count { good.minus(&ones) } else { ones };
        for row in rarer.iter() {
            let known = moved.iter().position(|(r, _)| *r == row).unwrap_or_else(|| {
                moved.push((row, Wide::ZERO));
                moved.len() - 1
            });
            moved[known].1.set(at, true);
        }
    }
    let odd = super::cover::violators(full, good, hit);
    moved.into_iter().map(|(row, bits)| (bits, odd.has(row))).collect()
}
