//! The time between a probe's samples, seen from the widths it gives: they
//! fall into a few steps.

/// Different widths remembered (judgement, no source: a slow probe gives a few,
/// and each may be off by a tick or two of rounding).
const REMEMBERED: usize = 32;

/// Widths seen before steps mean anything (judgement, no source).
const ENOUGH: u64 = 32;

/// Widths this close, in ns, are one step: the rounding of two times to whole
/// ticks of 1 ns, twice.
const ROUNDING: i64 = 4;

/// The different widths seen, as long as they are few.
#[derive(Debug)]
pub(crate) struct Widths {
    seen: Vec<(i64, u64)>,
    last: usize,
    many: bool,
}

impl Widths {
    pub(crate) fn new() -> Widths {
        Widths { seen: Vec::new(), last: 0, many: false }
    }

    /// Counts a width, in ns.
    #[inline]
    pub(crate) fn add(&mut self, width: i64) {
        if self.many {
            return;
        }
        if let Some((value, count)) = self.seen.get_mut(self.last)
            && *value == width
        {
            *count += 1;
            return;
        }
        self.last = match self.seen.iter().position(|(value, _)| *value == width) {
            Some(at) => {
                self.seen[at].1 += 1;
                at
            }
            None if self.seen.len() < REMEMBERED => {
                self.seen.push((width, 1));
                self.seen.len() - 1
            }
            None => {
                // Too many for steps.
                self.many = true;
                0
            }
        };
    }

    /// The step between widths, in ns: two neighbours at least, all of them
    /// whole steps apart.
    pub(crate) fn step(&self) -> Option<i64> {
        let total: u64 = self.seen.iter().map(|(_, count)| count).sum();
        if self.many || total < ENOUGH {
            return None;
        }
        let mut values: Vec<i64> = self.seen.iter().map(|(value, _)| *value).collect();
        values.sort_unstable();
        values.dedup_by(|b, a| *b - *a <= ROUNDING);
        let step = values.windows(2).map(|w| w[1] - w[0]).min()?;
        let whole = values.iter().all(|&v| {
            let steps = (v + step / 2) / step;
            (v - steps * step).abs() <= ROUNDING * (1 + steps)
        });
        (whole && step > 4 * ROUNDING).then_some(step)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(widths: &[i64]) -> Option<i64> {
        let mut seen = Widths::new();
        widths.iter().cycle().take(100).for_each(|w| seen.add(*w));
        seen.step()
    }

    #[test]
    fn steps_of_a_slow_probe() {
        assert_eq!(step(&[140_000, 120_000, 140_000]), Some(20_000));
        // 48 kHz, written in whole nanoseconds.
        let found = step(&[145_833, 145_834, 125_000, 166_667]).unwrap();
        assert!((20_830..=20_837).contains(&found), "{found}");
    }

    #[test]
    fn nothing_to_tell_by() {
        assert_eq!(step(&[50_000]), None);
        assert_eq!(step(&[50_000, 57_000]), None);
        let fine: Vec<i64> = (0..100).map(|i| 45_000 + 103 * i).collect();
        assert_eq!(step(&fine), None);
    }
}
