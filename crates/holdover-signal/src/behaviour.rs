//! Which lines are D0 and D1 by what they do, where their names say nothing.
//!
//! Evidence: both rest at one level, both pulse briefly, never at once, and in
//! the same stretches of time.

use crate::change::Level;
use crate::frame::is_high;
use crate::gap::SURE;

/// Changes looked at, at most (judgement, no source: 256 kB; a hundred cards).
pub(crate) const LOOK: usize = 16_384;

/// A pulse is no wider, in ns (judgement, no source: twenty times the limit).
const WIDEST: i64 = 2_000_000;

/// Pulses of one line near those of the other, in ns: within one capture.
const NEAR: i64 = 50_000_000;

/// How alike the median widths of a pair are (judgement, no source).
const ALIKE: i64 = 3;

/// The share of pulses that may meet one of the other line: faults do.
const MEETING: f64 = 0.02;

#[derive(Debug, Default)]
struct Activity {
    pulses: Vec<(i64, i64)>,
    median: i64,
    idle_high: bool,
}

/// The pairs among `lines` lines, most likely first, D0 the one that is
/// declared first; changes are (ns, line, level).
pub(crate) fn pairs(changes: &[(i64, u16, Level)], lines: usize, now: i64) -> Vec<(usize, usize)> {
    let all: Vec<Option<Activity>> = (0..lines).map(|l| activity(changes, l, now)).collect();
    let mut scored = Vec::new();
    for a in 0..lines {
        for b in a + 1..lines {
            if let (Some(x), Some(y)) = (&all[a], &all[b])
                && let Some(score) = score(x, y)
            {
                scored.push((score, a, b));
            }
        }
    }
    scored.sort_by(|x, y| y.0.total_cmp(&x.0).then((x.1, x.2).cmp(&(y.1, y.2))));
    let mut taken = vec![false; lines];
    let mut pairs = Vec::new();
    for (_, a, b) in scored {
        if !taken[a] && !taken[b] {
            taken[a] = true;
            taken[b] = true;
            pairs.push((a, b));
        }
    }
    if pairs.is_empty() {
        pairs.extend(alone(changes, &all, lines));
    }
    pairs.sort_unstable();
    pairs
}

/// One line alone pulses, as when all bits are alike: its neighbour at rest is
/// the other.
fn alone(
    changes: &[(i64, u16, Level)],
    all: &[Option<Activity>],
    lines: usize,
) -> Option<(usize, usize)> {
    let mut moving = (0..lines).filter(|&l| all[l].is_some());
    let only = moving.next()?;
    if moving.next().is_some() {
        return None;
    }
    let idle = all[only].as_ref()?.idle_high;
    let rests = |l: &usize| {
        *l != only
            && changes
                .iter()
                .filter(|c| usize::from(c.1) == *l)
                .all(|c| is_high(c.2).is_none_or(|high| high == idle))
    };
    let other = (0..lines).filter(rests).min_by_key(|l| l.abs_diff(only))?;
    Some((only.min(other), only.max(other)))
}

fn activity(changes: &[(i64, u16, Level)], line: usize, now: i64) -> Option<Activity> {
    let mine = changes.iter().filter(|c| usize::from(c.1) == line);
    let there = |high| mine.clone().any(|c| is_high(c.2) == Some(high));
    // A line that is only ever at one level rests where nobody drives it.
    let rest = match [false, true].map(there) {
        [true, true] => None,
        [_, high] => Some(!high),
    };
    // Runs of one level.
    let mut runs: Vec<(i64, bool)> = Vec::new();
    for (at, _, level) in mine {
        if let Some(high) = is_high(*level).or(rest)
            && runs.last().is_none_or(|(_, last)| *last != high)
        {
            runs.push((*at, high));
        }
    }
    let mut time = [0i64; 2];
    for (i, (at, high)) in runs.iter().enumerate() {
        let end = runs.get(i + 1).map_or(now, |next| next.0);
        time[usize::from(*high)] += (end - at).clamp(0, SURE);
    }
    let idle_high = time[1] >= time[0];
    let mut pulses: Vec<(i64, i64)> = Vec::new();
    for i in 1..runs.len() {
        if runs[i].1 != idle_high {
            let end = runs.get(i + 1).map_or(now, |next| next.0);
            pulses.push((runs[i].0, end));
        }
    }
    let mut widths: Vec<i64> = pulses.iter().map(|p| p.1 - p.0).collect();
    let middle = widths.len().checked_sub(1)? / 2;
    let median = *widths.select_nth_unstable(middle).1;
    (median <= WIDEST).then_some(Activity { pulses, median, idle_high })
}

/// How like a pair two lines are; `None`: not at all.
fn score(a: &Activity, b: &Activity) -> Option<f64> {
    let alike = a.median <= ALIKE * b.median.max(1) && b.median <= ALIKE * a.median.max(1);
    if a.idle_high != b.idle_high || !alike {
        return None;
    }
    let (mut meeting, mut near) = (0usize, 0usize);
    for (few, many) in [(a, b), (b, a)] {
        for (start, end) in &few.pulses {
            let next = many.pulses.partition_point(|p| p.0 < *start);
            let before = next.checked_sub(1).map(|i| many.pulses[i]);
            let after = many.pulses.get(next);
            meeting += usize::from(
                before.is_some_and(|p| p.1 > *start) || after.is_some_and(|p| p.0 < *end),
            );
            near += usize::from(
                before.is_some_and(|p| start - p.1 < NEAR)
                    || after.is_some_and(|p| p.0 - end < NEAR),
            );
        }
    }
    let total = (a.pulses.len() + b.pulses.len()) as f64;
    let apart = meeting as f64 <= MEETING * total;
    (apart && near > 0).then(|| near as f64 / total * total.ln().max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line's pulses (µs) as changes.
    fn line(line: u16, pulses: &[(i64, i64)]) -> Vec<(i64, u16, Level)> {
        let mut out = vec![(0, line, Level::High)];
        for (start, width) in pulses {
            out.push((start * 1000, line, Level::Low));
            out.push(((start + width) * 1000, line, Level::High));
        }
        out
    }

    fn found(lines: &[Vec<(i64, u16, Level)>]) -> Vec<(usize, usize)> {
        let mut all = lines.concat();
        all.sort_by_key(|c| c.0);
        pairs(&all, lines.len(), 2_000_000_000)
    }

    #[test]
    fn lines_that_take_turns_are_a_pair() {
        let d0 = line(1, &[(100_000, 50), (104_000, 50), (500_000, 50)]);
        let d1 = line(3, &[(102_000, 50), (502_000, 50)]);
        let clock: Vec<_> = (0..500).map(|i| (i * 2000, 1000)).collect();
        let led = line(2, &[(100_000, 400_000)]);
        assert_eq!(found(&[line(0, &clock), d0.clone(), led.clone(), d1]), [(1, 3)]);
        // All bits zero: the nearest line at rest is the other.
        assert_eq!(found(&[line(0, &[]), d0, led]), [(0, 1)]);
        assert_eq!(found(&[line(0, &[]), line(1, &[])]), []);
    }
}
