//! The covers a card designer would give a check bit: a run, alternate bits,
//! two of every three in either phase, every g-th bit; each over every
//! stretch, other check bits counted in, left out or stepped over.

use crate::bits::Wide;

/// A kind of cover.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Family {
    /// Neighbouring bits.
    Run,
    /// Every second bit.
    Alternate,
    /// Two of every three bits.
    TwoOfThree,
    /// Every g-th bit: one column of words.
    Column,
    /// Two runs.
    TwoRuns,
}

impl Family {
    /// What it costs to say, in bits beyond its two ends (judgement, no source).
    pub(super) fn cost(self) -> u32 {
        match self {
            Family::Run => 0,
            Family::Alternate | Family::TwoOfThree => 2,
            Family::Column => 4,
            Family::TwoRuns => 8,
        }
    }

    /// Its share of the false alarms allowed (judgement, no source).
    pub(super) fn share(self) -> f64 {
        match self {
            Family::Run => 0.5,
            Family::TwoOfThree => 0.25,
            Family::Alternate => 0.125,
            Family::Column | Family::TwoRuns => 0.0625,
        }
    }
}

/// A family in one phase: of every `period` bits those set in `taken`, counted
/// from the first of the stretch, which is always taken.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    pub(super) family: Family,
    period: usize,
    taken: u32,
}

const fn shape(family: Family, period: usize, taken: u32) -> Shape {
    Shape { family, period, taken }
}

/// The shapes tried for every bit.
pub(super) const SHAPES: [Shape; 4] = [
    shape(Family::Run, 1, 0b1),
    shape(Family::Alternate, 2, 0b01),
    shape(Family::TwoOfThree, 3, 0b011),
    shape(Family::TwoOfThree, 3, 0b101),
];

/// Columns of words of 3 to 16 bits (judgement, no source), tried where no
/// other shape holds.
pub(super) fn columns() -> impl Iterator<Item = Shape> {
    (3..=16).map(|period| shape(Family::Column, period, 0b1))
}

/// How a stretch meets check bits other than its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Others {
    /// They are bits like any.
    Counted,
    /// They take a place in the pattern, but are not covered.
    LeftOut,
    /// The pattern steps over them.
    SteppedOver,
}

/// All ways to meet other check bits.
pub(super) const OTHERS: [Others; 3] = [Others::Counted, Others::LeftOut, Others::SteppedOver];

/// Covers that take few words to say, for the check bit `bit`: runs between the
/// card's ends, the bits beside them and its middle, and alternate bits and two of
/// three over the whole card, each with and without the other check bits. Some
/// forty, where all of a family are hundreds.
pub(super) fn usual(length: usize, bit: usize, checks: Wide) -> Vec<Wide> {
    let (last, middle) = (length.saturating_sub(1), length / 2);
    let mut borders = vec![0, 1, 2, middle, length - middle, last.saturating_sub(1), last, length];
    borders.sort_unstable();
    borders.dedup();
    let ends = borders.iter().enumerate().flat_map(|(i, first)| {
        borders[i + 1..].iter().map(move |end| Wide::ones(end - first).towards_end(*first))
    });
    let whole = [(2, 0b01, 2), (3, 0b011, 3)].into_iter().flat_map(|(period, taken, phases)| {
        (0..phases).map(move |phase| {
            let mut cover = Wide::ZERO;
            let covered = |at: &usize| taken >> ((at + phase) % period) & 1 == 1;
            (0..length).filter(covered).for_each(|at| cover.set(at, true));
            cover
        })
    });
    let patterns = whole.flat_map(|cover| [cover, cover & !checks]);
    let mut all: Vec<Wide> = ends.chain(patterns).collect();
    all.iter_mut().for_each(|cover| cover.set(bit, false));
    all
}

/// One bit taken into a cover.
#[derive(Debug, Clone, Copy)]
pub(super) struct Taken {
    /// Where.
    pub(super) at: usize,
    /// The first of its stretch.
    pub(super) starts: bool,
    /// False where the cover so far is the same as one under an earlier way to
    /// meet other check bits.
    pub(super) fresh: bool,
}

/// Walks every stretch of a pattern over `length` bits for the check bit
/// `bit`, bit by bit; `take` says whether to go on with the stretch.
pub(super) fn walk(
    length: usize,
    bit: usize,
    checks: Wide,
    shape: Shape,
    others: Others,
    mut take: impl FnMut(Taken) -> bool,
) {
    let foreign = |at: usize| at != bit && checks.bit(at);
    for start in 0..length {
        if start == bit || others != Others::Counted && foreign(start) {
            continue;
        }
        let mut place = 0;
        let mut fresh = others == Others::Counted;
        let mut passed = false;
        for at in start..length {
            let stepped = others == Others::SteppedOver && (foreign(at) || at == bit);
            passed |= stepped || others == Others::LeftOut && foreign(at);
            if stepped {
                continue;
            }
            let taken = shape.taken >> place & 1 == 1;
            place = (place + 1) % shape.period;
            let covered = at != bit && !(others == Others::LeftOut && foreign(at));
            if !taken || !covered {
                continue;
            }
            // A run meets both in the same way.
            fresh |= passed && !(shape.period == 1 && others == Others::SteppedOver);
            if !take(Taken { at, starts: at == start, fresh }) {
                break;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn covers(length: usize, bit: usize, checks: &[usize]) -> Vec<Wide> {
        let mut mask = Wide::ZERO;
        checks.iter().for_each(|&at| mask.set(at, true));
        let mut all = Vec::new();
        for shape in SHAPES {
            for others in OTHERS {
                let mut cover = Wide::ZERO;
                walk(length, bit, mask, shape, others, |taken| {
                    if taken.starts {
                        cover = Wide::ZERO;
                    }
                    cover.set(taken.at, true);
                    if taken.fresh {
                        all.push(cover);
                    }
                    true
                });
            }
        }
        all
    }

    #[test]
    fn covers_of_the_trade_are_among_them() {
        let all = covers(12, 0, &[0, 6, 11]);
        let cover = |text: &str| text.parse::<crate::bits::Span>().unwrap().mask();
        for text in [
            "2-6",               // a run
            "2-6,8-11",          // all data
            "2-12",              // all else
            "2,4,6",             // alternate bits
            "2-3,5-6,8-9,11-12", // two of three
            "2,4-5,8,10-11",     // the other phase, a check bit in its place
            "2-3,5-6,9-10",      // two of three, the check bit stepped over
        ] {
            assert!(all.contains(&cover(text)), "{text}");
        }
        assert!(!all.iter().any(|c| c.bit(0)));
    }
}
