//! The time between a probe's samples, seen from the times it gives: widths and
//! spacings fall into whole steps.
//!
//! A slow probe gives every pulse the width of one step; then the spacings tell.

/// Different widths, and spacings, remembered (judgement, no source: a slow
/// probe gives few, and each may be off by a tick or two of rounding).
const WIDTHS: usize = 32;
const SPACINGS: usize = 512;

/// Widths seen before steps mean anything (judgement, no source).
const ENOUGH: u64 = 32;

/// Widths this close, in ns, are one step: the rounding of two times to whole
/// ticks of 1 ns, twice.
const ROUNDING: i64 = 4;

/// How often a width or a spacing is seen to count as no accident, and how many
/// different ones are none however often each is seen (judgements, no source: a
/// fault or two among round numbers fall into steps as well).
const OFTEN: u64 = 3;
const VARIED: usize = 8;

/// Where all widths are one: different spacings that are no whole intervals, or
/// how many in all, that tell a step as wide as a pulse (judgements, no source:
/// one pulse out of place makes two of them).
const ODD: usize = 3;
const ODD_IN_ALL: u64 = 8;

/// The different widths and spacings seen, as long as they are few.
#[derive(Debug)]
pub(crate) struct Steps {
    widths: Values,
    spacings: Values,
}

impl Steps {
    pub(crate) fn new() -> Steps {
        Steps { widths: Values::new(WIDTHS), spacings: Values::new(SPACINGS) }
    }

    /// Counts a width, in ns.
    #[inline]
    pub(crate) fn width(&mut self, width: i64) {
        self.widths.add(width);
    }

    /// Counts a spacing within a capture, in ns.
    #[inline]
    pub(crate) fn spacing(&mut self, spacing: i64) {
        self.spacings.add(spacing);
    }

    /// The time between samples, in ns: two neighbours at least, or a width
    /// that is the only one, and all of them whole steps.
    pub(crate) fn step(&self) -> Option<i64> {
        if self.widths.many {
            return None;
        }
        // Empty where there were too many.
        let sets = [self.widths.merged(), self.spacings.merged()];
        let [widths, spacings] = &sets;
        let enough = self.widths.total() >= ENOUGH;
        let near = sets.iter().filter_map(|values| neighbours(values)).min().filter(|_| enough);
        let width = widths.first().filter(|_| widths.len() == 1 && odd(spacings));
        let mut all: Vec<i64> = sets.iter().flatten().map(|(value, _)| *value).collect();
        all.sort_unstable();
        let least = near.into_iter().chain(width.map(|(width, _)| *width));
        let mut steps = least.filter_map(|least| whole_steps(least, &all));
        steps.find(|step| *step > 4 * ROUNDING)
    }
}

/// Whether spacings vary by more than pulses left out, intervals being what is
/// seen most often.
fn odd(spacings: &[(i64, u64)]) -> bool {
    let Some(&(interval, _)) = spacings.iter().max_by_key(|(_, count)| *count) else {
        return false;
    };
    let whole = |value: i64| {
        let times = (value + interval / 2) / interval.max(1);
        (value - times * interval).abs() <= ROUNDING * times
    };
    let odd = spacings.iter().filter(|(value, _)| !whole(*value));
    odd.clone().count() >= ODD || odd.map(|(_, count)| count).sum::<u64>() >= ODD_IN_ALL
}

/// The least distance of two neighbours, in ns.
fn neighbours(values: &[(i64, u64)]) -> Option<i64> {
    let often = |count: u64| count >= OFTEN || values.len() >= VARIED;
    let pairs = values.windows(2).filter(|w| often(w[0].1) && often(w[1].1));
    pairs.map(|w| w[1].0 - w[0].0).min()
}

/// The step, known the better the more steps a value has; `None` where one of
/// the values, which ascend, is no whole number of steps.
fn whole_steps(least: i64, values: &[i64]) -> Option<i64> {
    let (mut step, mut known_by) = (least as f64, 1.0);
    for value in values.iter().map(|value| *value as f64) {
        let steps = (value / step).round();
        let allowed = ROUNDING as f64 * (1.0 + steps / known_by);
        let off = (value - steps * step).abs();
        if steps < 1.0 || off > allowed || 4.0 * allowed > step {
            return None;
        }
        if steps > known_by {
            (step, known_by) = (value / steps, steps);
        }
    }
    Some(step.round() as i64)
}

/// Different values, ascending, and how often each was seen.
#[derive(Debug)]
struct Values {
    seen: Vec<(i64, u64)>,
    last: usize,
    most: usize,
    many: bool,
}

impl Values {
    fn new(most: usize) -> Values {
        Values { seen: Vec::new(), last: 0, most, many: false }
    }

    #[inline]
    fn add(&mut self, value: i64) {
        if self.many {
            return;
        }
        match self.seen.get_mut(self.last) {
            Some((last, count)) if *last == value => *count += 1,
            _ => self.find(value),
        }
    }

    fn find(&mut self, value: i64) {
        match self.seen.binary_search_by_key(&value, |(value, _)| *value) {
            Ok(at) => {
                self.seen[at].1 += 1;
                self.last = at;
            }
            Err(at) if self.seen.len() < self.most => {
                self.seen.insert(at, (value, 1));
                self.last = at;
            }
            Err(_) => {
                // Too many for steps.
                self.many = true;
                self.seen = Vec::new();
            }
        }
    }

    fn total(&self) -> u64 {
        self.seen.iter().map(|(_, count)| count).sum()
    }

    /// The values, those that rounding alone parts being one.
    fn merged(&self) -> Vec<(i64, u64)> {
        let mut values = self.seen.clone();
        values.dedup_by(|b, a| {
            let same = b.0 - a.0 <= ROUNDING;
            a.1 += if same { b.1 } else { 0 };
            same
        });
        values
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(widths: &[i64], spacings: &[i64]) -> Option<i64> {
        let mut seen = Steps::new();
        widths.iter().cycle().take(100).for_each(|w| seen.width(*w));
        spacings.iter().cycle().take(100).for_each(|s| seen.spacing(*s));
        seen.step()
    }

    #[test]
    fn steps_of_a_slow_probe() {
        assert_eq!(step(&[140_000, 120_000, 140_000], &[]), Some(20_000));
        // 48 kHz, written in whole nanoseconds.
        let found = step(&[145_833, 145_834, 125_000, 166_667], &[]).unwrap();
        assert!((20_830..=20_837).contains(&found), "{found}");
        // Each pulse is one sample; the spacings vary.
        let one = [100_000];
        assert_eq!(step(&one, &[2_000_000, 1_900_000, 2_100_000, 4_000_000]), Some(100_000));
        let found = step(&[20_833, 20_834], &[2_000_000, 2_020_833, 1_979_166]).unwrap();
        assert!((20_833..=20_834).contains(&found), "{found}");
        // No two of them are neighbours.
        assert_eq!(step(&one, &[2_900_000, 5_700_000, 17_300_000]), Some(100_000));
    }

    #[test]
    fn nothing_to_tell_by() {
        assert_eq!(step(&[50_000], &[]), None);
        assert_eq!(step(&[50_000, 57_000], &[]), None);
        assert_eq!(step(&[50_000], &[2_000_000]), None);
        assert_eq!(step(&[50_000], &[2_000_000, 4_000_000, 6_000_000]), None);
        let fine: Vec<i64> = (0..100).map(|i| 45_000 + 103 * i).collect();
        assert_eq!(step(&fine, &[]), None);
        let fine: Vec<i64> = (0..1000).map(|i| 1_800_000 + 401 * i).collect();
        assert_eq!(step(&[50_000], &fine), None);
    }

    /// Once does not make a step of what is round.
    #[test]
    fn a_fault_is_no_step() {
        let mut seen = Steps::new();
        for _ in 0..100 {
            seen.width(50_000);
            seen.spacing(2_000_000);
        }
        for spacing in [1_950_000, 2_050_000] {
            seen.spacing(spacing);
        }
        assert_eq!(seen.step(), None);
    }
}
