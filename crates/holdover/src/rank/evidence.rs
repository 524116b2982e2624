//! What a layout's rules are worth on one word, in bits.

use super::model::CHECK_FAILS;
use crate::bits::Wide;
use crate::bits::gf2::Relation;
use crate::layout::{Layout, Rule};

/// Decimal digits among the 16 values of four bits.
const DIGITS_SHARE: f64 = 10.0 / 16.0;

/// The worth of each rule of a layout when it holds and when it fails.
#[derive(Debug, Clone, Default)]
pub(super) struct RuleWorth {
    /// (holds, fails) in bits, in the order of `Layout::rules`.
    worth: Vec<(f64, f64)>,
}

/// Evidence of the rules on one word, in bits.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct RuleBits {
    /// From parity, fixed values and longitudinal checks.
    pub checks: f64,
    /// From decimal digits.
    pub digits: f64,
}

impl RuleWorth {
    pub(super) fn of(layout: &Layout) -> RuleWorth {
        let worth = |rule: &Rule| match rule {
            Rule::Relations { independent, .. } => group_worth(independent.len()),
            Rule::Decimal { .. } => (
                (1.0 - CHECK_FAILS).log2() - DIGITS_SHARE.log2(),
                CHECK_FAILS.log2() - (1.0 - DIGITS_SHARE).log2(),
            ),
        };
        RuleWorth { worth: layout.rules().iter().map(worth).collect() }
    }

    pub(super) fn on(&self, layout: &Layout, word: Wide) -> RuleBits {
        let mut bits = RuleBits::default();
        for (rule, (holds, fails)) in layout.rules().iter().zip(&self.worth) {
            let (worth, sum) = match rule {
                Rule::Relations { independent, .. } => {
                    let all = independent.iter().all(|relation| relation.holds(word));
                    (if all { holds } else { fails }, &mut bits.checks)
                }
                Rule::Decimal { .. } => {
                    (if rule.holds(word) { holds } else { fails }, &mut bits.digits)
                }
            };
            *sum += worth;
        }
        bits
    }
}

/// What relations are worth on a word that an unknown kind keeps, in bits.
pub(super) fn kept_bits(keeps: &[Relation], word: Wide) -> f64 {
    let (holds, fails) = group_worth(keeps.len());
    if keeps.iter().all(|relation| relation.holds(word)) { holds } else { fails }
}

/// A group of `k` independent relations that holds is worth k + log2(1 − δ);
/// one that fails, log2 δ + k − log2(2^k − 1): random bits fail in 2^k − 1 ways.
fn group_worth(k: usize) -> (f64, f64) {
    if k == 0 {
        return (0.0, 0.0);
    }
    let k = k as f64;
    let holds = k + (1.0 - CHECK_FAILS).log2();
    let fails = CHECK_FAILS.log2() + k - (k.exp2() - 1.0).log2();
    (holds, fails)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bits::Capture;
    use crate::layout::builtin;

    #[test]
    fn a_group_is_a_probability() {
        // Random bits: the likelihood ratio must average to 1.
        for k in 1..=8 {
            let (holds, fails) = group_worth(k);
            let p = (-(k as f64)).exp2();
            let mean = p * holds.exp2() + (1.0 - p) * fails.exp2();
            assert!((mean - 1.0).abs() < 1e-9, "{k}: {mean}");
        }
    }

    #[test]
    fn overlapping_checks_are_not_counted_twice() {
        let layout = builtin().layout("fascn200").unwrap();
        // 7 sentinels and separators of 5 bits, 32 digit parities, the check
        // character's 4 columns and its parity: all independent but the last,
        // which follows (the columns' own parities add up to it).
        assert_eq!(layout.rank(), 35 + 32 + 5);
        let word = Capture::from_bits([false; 200]).unwrap();
        let bits = RuleWorth::of(layout).on(layout, word.wide());
        assert!(bits.checks < -100.0 && bits.digits > 0.0);
    }
}
