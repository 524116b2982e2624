//! Longitudinal checks: words of one length, and a check word that makes even
//! every column of them. All its columns are tried at once, so that a few
//! rows are enough evidence.

use super::cover::false_alarm;
use super::rows::{Columns, Rows};
use crate::bits::{Span, Wide};
use crate::layout::Check;

/// A longitudinal check that fits.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Words {
    pub(super) group: usize,
    /// Bits of the check word, and where it starts.
    pub(super) at: usize,
    pub(super) width: usize,
    /// Where the words start, and how many they are.
    pub(super) over: usize,
    pub(super) words: usize,
    /// Never-varying words that may or may not be covered.
    pub(super) undetermined: Wide,
    /// How many like it would fit by accident.
    pub(super) false_alarms: f64,
}

/// Word lengths tried (judgement, no source).
const GROUPS: std::ops::RangeInclusive<usize> = 3..=16;

/// Check bits that must vary for a longitudinal check to be told.
const VARYING: usize = 3;

/// Accidents allowed (judgement, no source).
const ALLOWED: f64 = 1e-4;

impl Words {
    /// The check as a layout has it.
    pub(super) fn check(&self) -> Option<Check> {
        let over = Span::run(self.over, self.group * self.words)?;
        Some(Check::Lrc { group: self.group, over, at: Span::run(self.at, self.width)? })
    }

    /// The rows that violate it.
    pub(super) fn violators(&self, columns: &Columns) -> Rows {
        let relations = self.check().map_or(Vec::new(), |check| check.relations());
        let sums: Vec<Rows> = relations.iter().map(|r| columns.parity(r.bits)).collect();
        violators(&sums, columns.rows())
    }

    /// The bits of the check word.
    pub(super) fn own(&self) -> Wide {
        Wide::ones(self.width).towards_end(self.at)
    }
}

/// Rows in which some column is odd.
fn violators(sums: &[Rows], rows: usize) -> Rows {
    sums.iter().fold(Rows::none(rows), |all, sum| all.or(sum))
}

/// The longitudinal check of the rows, violated by no more than `limit`, if there is one: of those that fit, the
/// one with the longest check word, then the smallest words.
pub(super) fn find(
    columns: &Columns,
    varying: Wide,
    candidates: Wide,
    limit: usize,
) -> Option<Words> {
    let (n, length) = (columns.rows(), columns.length());
    let mut found: Vec<Words> = Vec::new();
    let tried = (GROUPS.count() * length * length) as f64;
    let information = -false_alarm(n, limit);
    for group in GROUPS {
        for width in [group, group - 1] {
            for at in 0..length.saturating_sub(width - 1) {
                let own = Wide::ones(width).towards_end(at);
                let vary = (own & varying & candidates).count_ones() as usize;
                if vary < VARYING || !(own & varying & !candidates).is_zero() {
                    continue;
                }
                let false_alarms = tried * (-(information * vary as f64)).exp2();
                if false_alarms > ALLOWED {
                    continue;
                }
                for before in [true, false] {
                    let mut sums: Vec<_> =
                        (at..at + width).map(|at| columns.at(at).clone()).collect();
                    for words in 1.. {
                        let over = match before {
                            true => at.checked_sub(group * words),
                            false => Some(at + width).filter(|over| over + group * words <= length),
                        };
                        let Some(over) = over else { break };
                        let word = if before { over } else { over + group * (words - 1) };
                        for (column, sum) in sums.iter_mut().enumerate() {
                            sum.toggle(columns.at(word + column));
                        }
                        if words >= 2 && violators(&sums, n).count() <= limit {
                            let undetermined = Wide::ZERO;
                            found.push(Words {
                                group,
                                at,
                                width,
                                over,
                                words,
                                undetermined,
                                false_alarms,
                            });
                        }
                    }
                }
            }
        }
    }
    let best = found.iter().max_by_key(|w| (w.width, std::cmp::Reverse(w.group), w.words))?.clone();
    let cover = |w: &Words| Wide::ones(w.group * w.words).towards_end(w.over);
    let alike =
        found.iter().filter(|w| (w.group, w.at, w.width) == (best.group, best.at, best.width));
    let (every, any) = alike.fold((Wide::ones(length), Wide::ZERO), |(every, any), w| {
        (every & cover(w), any | cover(w))
    });
    // A covered word that never varied may as well not be covered.
    let still = cover(&best) & !varying;
    let whole = (0..best.words).map(|word| {
        let word = Wide::ones(best.group).towards_end(best.over + word * best.group);
        if (word & varying).is_zero() { word } else { Wide::ZERO }
    });
    let still = whole.fold(Wide::ZERO, |all, word| all | word & still);
    Some(Words { undetermined: (any & !every) | still, ..best })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bits::Capture;

    /// Three words of four bits, the last the sum of the others. Tried are all
    /// lengths of words, widths and places, each an even chance a row and
    /// column: 14 × 12 × 12 × 2^(−4 × (n − 1)), worked out by hand from the
    /// binomial tail of [`false_alarm`].
    #[test]
    fn false_alarms_count_what_was_tried() {
        let n = 16;
        let row = |i: usize| {
            let (a, b) = (i * 7 % 16, (i * 11 % 16) ^ (i >> 1));
            let word = a << 8 | b << 4 | (a ^ b);
            Capture::from_bits((0..12).map(|at| word >> (11 - at) & 1 == 1)).unwrap()
        };
        let captures: Vec<Capture> = (0..n).map(row).collect();
        let columns = Columns::of(captures.iter(), 12);
        let all = Wide::ones(12);
        let found = find(&columns, all, all, 0).expect("the check");
        assert_eq!((found.group, found.at, found.width, found.words), (4, 8, 4, 2));
        let expected = 14.0 * 12.0 * 12.0 * (-4.0 * (n as f64 - 1.0)).exp2();
        assert!((found.false_alarms / expected - 1.0).abs() < 1e-9, "{}", found.false_alarms);
    }

    /// A word of zeros before the others may be covered or not: both fit, and
    /// it is said once, not taken for settled.
    #[test]
    fn a_word_of_zeros_is_undetermined() {
        let row = |i: usize| {
            let (a, b) = (i * 7 % 16, (i * 11 % 16) ^ (i >> 1));
            let word = a << 8 | b << 4 | (a ^ b);
            Capture::from_bits((0..16).map(|at| word >> (15 - at) & 1 == 1)).unwrap()
        };
        let captures: Vec<Capture> = (0..16).map(row).collect();
        let columns = Columns::of(captures.iter(), 16);
        let varying = Wide::ones(12).towards_end(4);
        let found = find(&columns, varying, varying, 0).expect("the check");
        assert_eq!((found.group, found.at, found.width), (4, 12, 4));
        assert_eq!(found.undetermined, Wide::ones(4));
    }
}
