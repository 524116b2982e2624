//! How widths and intervals are distributed, kept in constant space.

use serde::Serialize;

use crate::time::micros;

/// Parts each octave is tallied in: bins 0.8 % wide or less, so a median read
/// from them is that close; each bin's mean is kept, so where all values are
/// equal it is exact.
const PARTS: usize = 128;
const PART_BITS: u32 = PARTS.trailing_zeros();

/// Bins: values below 128 ns each have their own, then every octave up to 2^40
/// ns (18 minutes); what is longer lands in the last.
const BINS: usize = PARTS * (40 - PART_BITS as usize + 1);

/// Values counted in bins that widen with the value.
#[derive(Debug, Clone)]
pub(crate) struct Tally {
    bins: Vec<(u64, u64)>,
    count: u64,
    least: i64,
    most: i64,
}

impl Tally {
    pub(crate) fn new() -> Tally {
        Tally { bins: vec![(0, 0); BINS], count: 0, least: i64::MAX, most: 0 }
    }

    /// Counts a value, in ns; below 0 counts as 0.
    #[inline]
    pub(crate) fn add(&mut self, value: i64) {
        let value = value.max(0) as u64;
        let bin = &mut self.bins[index(value)];
        bin.0 += 1;
        bin.1 = bin.1.saturating_add(value);
        self.count += 1;
        self.least = self.least.min(value as i64);
        self.most = self.most.max(value as i64);
    }

    pub(crate) fn count(&self) -> u64 {
        self.count
    }

    /// The value, in ns, below which `share` (0 to 1) of them lie.
    pub(crate) fn quantile(&self, share: f64) -> Option<i64> {
        let last = self.count.checked_sub(1)?;
        let rank = (share.clamp(0.0, 1.0) * last as f64).round() as u64;
        let mut below = 0;
        for (count, sum) in &self.bins {
            below += count;
            if below > rank {
                return Some((sum / count) as i64);
            }
        }
        Some(self.most)
    }

    /// Mean and standard deviation of the values within a factor of two of
    /// `middle` (ns), and how many they are: faults do not weigh.
    pub(crate) fn around(&self, middle: i64) -> (f64, f64, u64) {
        let (mut n, mut sum, mut squares) = (0u64, 0.0, 0.0);
        for (count, total) in self.bins.iter().filter(|(count, _)| *count > 0) {
            let mean = *total as f64 / *count as f64;
            if mean * 2.0 > middle as f64 && mean < middle as f64 * 2.0 {
                n += count;
                sum += *total as f64;
                squares += *count as f64 * mean * mean;
            }
        }
        if n == 0 {
            return (0.0, 0.0, 0);
        }
        let mean = sum / n as f64;
        (mean, (squares / n as f64 - mean * mean).max(0.0).sqrt(), n)
    }

    pub(crate) fn spread(&self) -> Option<Spread> {
        let [low, median, high] = [0.1, 0.5, 0.9].map(|share| self.quantile(share));
        let median = median?;
        let half = (high? - low?) as f64 / 2.0;
        Some(Spread {
            count: self.count,
            min_us: micros(self.least),
            median_us: micros(median),
            max_us: micros(self.most),
            jitter: if median > 0 { half / median as f64 } else { 0.0 },
        })
    }

    pub(crate) fn histogram(&self) -> Histogram {
        let mut bins: Vec<Bin> = Vec::new();
        let filled = |i: &usize| self.bins[*i].0 > 0;
        let (Some(first), Some(last)) = ((0..BINS).find(filled), (0..BINS).rev().find(filled))
        else {
            return Histogram { bins };
        };
        let wide = PARTS / Histogram::BINS_AN_OCTAVE;
        for i in first / wide..=last / wide {
            let count = self.bins[i * wide..(i + 1) * wide].iter().map(|(count, _)| count).sum();
            bins.push(Bin {
                from_us: micros(edge(i * wide)),
                to_us: micros(edge((i + 1) * wide)),
                count,
            });
        }
        Histogram { bins }
    }
}

/// The bin of a value: its octave and the bits after its highest one.
#[inline]
fn index(value: u64) -> usize {
    let octave = (63 - (value | 1).leading_zeros()).saturating_sub(PART_BITS);
    let index = ((octave as usize) << PART_BITS) + (value >> octave) as usize;
    index.min(BINS - 1)
}

/// The least value of a bin.
fn edge(index: usize) -> i64 {
    match (index >> PART_BITS).checked_sub(1) {
        None => index as i64,
        Some(octave) => ((index & (PARTS - 1) | PARTS) as i64) << octave,
    }
}

/// How values spread, in µs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// How many there are.
    pub count: u64,
    /// The least.
    pub min_us: f64,
    /// The middle one; within 0.8 % over a whole file, exact in a capture.
    pub median_us: f64,
    /// The greatest.
    pub max_us: f64,
    /// Half the width of the middle four fifths, as a share of the median.
    pub jitter: f64,
}

impl Spread {
    /// Of values in ascending order, in ns.
    pub(crate) fn of(sorted: &[i64]) -> Option<Spread> {
        let (least, most) = (*sorted.first()?, *sorted.last()?);
        let last = sorted.len() - 1;
        let median = sorted[last / 2];
        let half = (sorted[last - last / 10] - sorted[last / 10]) as f64 / 2.0;
        Some(Spread {
            count: sorted.len() as u64,
            min_us: micros(least),
            median_us: micros(median),
            max_us: micros(most),
            jitter: if median > 0 { half / median as f64 } else { 0.0 },
        })
    }
}

/// Counts in bins of equal ratio, for a drawing.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Histogram {
    /// From the first bin that holds anything to the last, none left out.
    pub bins: Vec<Bin>,
}

impl Histogram {
    /// Bins from a value to its double.
    pub const BINS_AN_OCTAVE: usize = 8;
}

/// One bin of a [`Histogram`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bin {
    /// Least value, in µs, included.
    pub from_us: f64,
    /// Greatest value, in µs, not included.
    pub to_us: f64,
    /// How many values.
    pub count: u64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_value_lies_in_its_bin(value in 0u64..1 << 40) {
            let bin = index(value);
            prop_assert!(edge(bin) <= value as i64);
            prop_assert!(bin == BINS - 1 || (value as i64) < edge(bin + 1));
        }

        #[test]
        fn quantiles_are_close(mut values in proptest::collection::vec(1_000i64..1_000_000_000, 1..300)) {
            let mut tally = Tally::new();
            values.iter().for_each(|v| tally.add(*v));
            values.sort_unstable();
            for share in [0.0, 0.1, 0.5, 0.9, 1.0] {
                let rank = (share * (values.len() - 1) as f64).round() as usize;
                let want = values[rank] as f64;
                let found = tally.quantile(share).unwrap() as f64;
                prop_assert!((found / want - 1.0).abs() < 0.01);
            }
            let total: u64 = tally.histogram().bins.iter().map(|b| b.count).sum();
            prop_assert_eq!(total, values.len() as u64);
        }
    }

    #[test]
    fn equal_values_have_an_exact_median() {
        let mut tally = Tally::new();
        (0..100).for_each(|_| tally.add(49_999));
        assert_eq!(tally.spread().unwrap().median_us, 49.999);
        assert_eq!(Tally::new().spread(), None);
        assert_eq!(Tally::new().histogram().bins, []);
        tally.add(i64::MAX);
        tally.add(-5);
        assert_eq!(tally.count(), 102);
    }
}
