//! The gap that ends a capture, chosen from the spacings of the pulses.
//!
//! Spacings are bimodal: within a capture they are one interval, or a few where
//! pulses were lost; between captures they are as long as it takes to show the
//! next card.

use serde::Serialize;

use crate::time::micros;

/// Spacings from here on always end a capture while nothing else is known, in
/// ns: five of the longest intervals the limits allow (judgement, no source).
pub(crate) const SURE: i64 = 100_000_000;

/// A gap is at least this many intervals: two are one lost pulse, and ±10 %
/// jitter makes them 2.2 (judgement, no source).
const LEAST_INTERVALS: f64 = 2.3;

/// The longest interval the limits allow, with a lost pulse and jitter, in ns.
const LONGEST_WITHIN: i64 = 46_000_000;

/// Spacings within a capture reach no further, in ns: two pulses lost in a row
/// at the longest interval, with jitter.
const LAST_WITHIN: i64 = 66_000_000;

/// Spacings below this carry no weight, in ns: the limits begin at 200 µs, and
/// ±20 % of that is jitter.
const FIRST_WITHIN: i64 = 150_000;

/// The longest interval the limits allow, with jitter, in ns.
const LEGAL: i64 = 25_000_000;

/// How much wider the empty place must be than what lies below it, to split
/// spacings that the limits allow within a capture (judgement, no source: three
/// pulses lost in a row are rarer than a gap).
const CLEAR_SPLIT: f64 = 3.5;

/// The same, where the longer spacings are beyond what the limits allow.
const SLIGHT_SPLIT: f64 = 1.2;

/// The weight of a split below which spacings would end a capture although the
/// limits allow them within one (judgement, no source).
const LEGAL_WEIGHT: f64 = 0.3;

/// The least share of the spacings the limits allow that must lie within
/// captures; noise is fewer (judgement, no source).
const LEAST_SHARE: f64 = 0.05;

/// Spacings from which it says something that all are alike: people show cards
/// at no such pace (judgement, no source).
const ALIKE_FROM: usize = 8;

/// How the gap was chosen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "how")]
#[non_exhaustive]
pub enum GapBasis {
    /// The caller gave it.
    Given,
    /// It lies between the spacings within captures and those between them.
    Split {
        /// The longest spacing within captures, in µs.
        within_us: f64,
        /// The shortest between captures, in µs.
        between_us: f64,
    },
    /// Every spacing is short: one capture, or too little seen to tell.
    OneCapture,
    /// Every spacing is longer than a capture's may be: single pulses.
    SinglePulses,
    /// The same, and all spacings are alike, as within a capture: one capture
    /// or single pulses, which is asked.
    NoGap,
    /// The spacings show no clear gap: the longest interval the limits allow
    /// was taken, with one pulse lost.
    Unclear,
}

/// A spacing (ns) that ends a capture, and why.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gap {
    pub(crate) at: i64,
    pub(crate) basis: GapBasis,
}

/// Chooses the gap; sorts the spacings (ns).
pub(crate) fn choose(spacings: &mut [i64]) -> Gap {
    spacings.sort_unstable();
    let (Some(&least), Some(&most)) = (spacings.first(), spacings.last()) else {
        return Gap { at: LONGEST_WITHIN, basis: GapBasis::SinglePulses };
    };
    let middle = spacings[(spacings.len() - 1) / 2];
    let alike = spacings.len() >= ALIKE_FROM && (most as f64) < LEAST_INTERVALS * middle as f64;
    if least > LONGEST_WITHIN {
        let basis = if alike { GapBasis::NoGap } else { GapBasis::SinglePulses };
        return Gap { at: LONGEST_WITHIN, basis };
    }
    let legal = spacings.partition_point(|&s| s <= LEGAL);
    let mut best: Option<(f64, Gap)> = None;
    for k in 1..spacings.len() {
        let (within, between) = (spacings[k - 1], spacings[k]);
        if within > LAST_WITHIN {
            break;
        }
        let interval = spacings[(k - 1) / 2];
        let least_gap = (LEAST_INTERVALS * interval as f64) as i64;
        if between < least_gap || (k as f64) < LEAST_SHARE * legal as f64 {
            continue;
        }
        let (low, high) = (within.max(FIRST_WITHIN) as f64, between.min(SURE) as f64);
        let ratio = high / low;
        let needed = if between >= LONGEST_WITHIN { SLIGHT_SPLIT } else { CLEAR_SPLIT };
        let weight = if between <= LEGAL { ratio * LEGAL_WEIGHT } else { ratio };
        if ratio < needed || best.as_ref().is_some_and(|(most, _)| weight <= *most) {
            continue;
        }
        let at = ((low * high).sqrt() as i64).max(least_gap).min(between);
        let basis = GapBasis::Split { within_us: micros(within), between_us: micros(between) };
        best = Some((weight, Gap { at, basis }));
    }
    if let Some((_, gap)) = best {
        return gap;
    }
    if most <= LONGEST_WITHIN || alike {
        let at = ((2.5 * most as f64) as i64).clamp(LEGAL, SURE);
        return Gap { at, basis: GapBasis::OneCapture };
    }
    Gap { at: LONGEST_WITHIN, basis: GapBasis::Unclear }
}

/// Whether a stretch between two sure gaps is one capture whatever gap will be
/// chosen: its spacings (ns) are what the limits allow, and alike.
pub(crate) fn is_whole(spacings: &mut [i64]) -> bool {
    if spacings.is_empty() {
        return true;
    }
    let middle = (spacings.len() - 1) / 2;
    let interval = *spacings.select_nth_unstable(middle).1;
    let most = (LEAST_INTERVALS * interval as f64) as i64;
    spacings.iter().all(|&s| s <= LEGAL && s < most)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: i64 = 1_000_000;

    fn at(spacings: &[i64]) -> i64 {
        choose(&mut spacings.to_vec()).at
    }

    #[test]
    fn two_humps_are_split_between() {
        for (interval, gap) in [
            (200_000, 20 * MS),
            (200_000, 3600 * 1000 * MS),
            (2 * MS, 60 * MS),
            (2 * MS, 500 * MS),
            (20 * MS, 50 * MS),
            (20 * MS, 100 * MS),
            (20 * MS, 10_000 * MS),
        ] {
            let spacings = [interval * 9 / 10, interval, interval * 11 / 10, gap, gap * 2];
            let at = at(&spacings);
            assert!(at > interval * 22 / 10 && at <= gap, "{interval} {gap}: {at}");
        }
    }

    #[test]
    fn lost_pulses_and_long_pauses_do_not_mislead() {
        let mut spacings = vec![2 * MS; 500];
        spacings.extend([4 * MS, 6 * MS, 60 * MS, 70 * MS, 3600 * 1000 * MS]);
        let gap = at(&spacings);
        assert!(gap > 6 * MS && gap <= 60 * MS, "{gap}");
        // Noise far below the true interval is not what a capture is made of.
        let mut spacings = vec![20 * MS; 1000];
        spacings.extend([10_000, 12_000, 15_000]);
        spacings.extend([100 * MS; 40]);
        let gap = at(&spacings);
        assert!(gap > 44 * MS && gap <= 100 * MS, "{gap}");
        // A second, slower device within the limits.
        let mut spacings = vec![2 * MS; 500];
        spacings.extend([15 * MS; 30]);
        spacings.extend([1000 * MS; 20]);
        assert!(at(&spacings) > 17 * MS);
    }

    #[test]
    fn one_hump_is_one_capture_or_single_pulses() {
        let one = choose(&mut [2 * MS, 2 * MS, 4 * MS]);
        assert_eq!(one.basis, GapBasis::OneCapture);
        assert!(one.at >= 25 * MS);
        let single = choose(&mut [500 * MS, 700 * MS]);
        assert_eq!(single.basis, GapBasis::SinglePulses);
        assert_eq!(choose(&mut []).basis, GapBasis::SinglePulses);
        // At one pace: no gap at all.
        assert_eq!(choose(&mut [60 * MS; 20]).basis, GapBasis::NoGap);
        let mut around: Vec<i64> = (40..52).map(|ms| ms * MS).collect();
        let one = choose(&mut around);
        assert_eq!(one.basis, GapBasis::OneCapture);
        assert!(one.at > 52 * MS);
    }

    #[test]
    fn a_whole_stretch_is_alike() {
        assert!(is_whole(&mut []));
        assert!(is_whole(&mut [2 * MS, 2 * MS, 4 * MS]));
        assert!(!is_whole(&mut [2 * MS, 2 * MS, 9 * MS]));
        assert!(!is_whole(&mut [70 * MS]));
    }
}
