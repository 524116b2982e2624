//! One capture judged: its pulses against the limits, against each other, and
//! against the reader's other captures; and the sentences that say so.

use std::sync::Arc;

use crate::finding::{Finding, FindingKind, PULSE_INTERVAL_US, PULSE_WIDTH_US, Place};
use crate::histogram::Spread;
use crate::pulse::{Cut, Glitch, Raw};
use crate::read::{Line, Unsure};
use crate::time::{micros, nanos};

/// Jitter that pulses within the limits may show, as a share: a lone pulse this
/// far past a limit is not called out (judgement, no source).
pub(crate) const JITTER: f64 = 0.10;

/// The same for spacings: both pulses of a spacing may be off.
pub(crate) const SPACING_JITTER: f64 = 0.20;

/// Pulses from which the tolerance shrinks with their number (judgement, no
/// source: the spread of fewer is hardly known).
pub(crate) const MANY: u64 = 16;

/// Standard deviations the mean of many must lie past a limit (judgement, no
/// source: one false alarm in a million captures that lie exactly on it).
const DEVIATIONS: f64 = 5.0;

/// Spacings in a capture from which its own median is what they are held
/// against; with fewer it is the reader's (judgement, no source).
pub(crate) const OWN: usize = 8;

/// Intervals from which a spacing counts as holding a lost pulse: between 1.2
/// (jitter) and 1.8 (two intervals, with jitter), as ratios.
const MISSING_FROM: f64 = 1.5;

/// Intervals below which a spacing counts as too short: jitter alone does not
/// go below 0.8, by a median known to a tenth (judgement, no source).
const EXTRA_BELOW: f64 = 0.6;

/// Widths, as shares of the median, beyond which a pulse is unlike the rest
/// (judgement, no source).
const UNEVEN: [f64; 2] = [0.5, 2.0];

/// Half the spread of the middle four fifths of the spacings, as a share of
/// their median, that is called jitter (judgement, no source: twice what ±10 %
/// on each pulse gives).
pub(crate) const WIDE_JITTER: f64 = 0.25;

/// Intervals up to which spacings are steady: what comes later than the longest
/// of them is no bit's (judgement, no source: a clock drifts by far less).
const STEADY: f64 = 1.01;

/// Intervals the next bit may take where few spacings are known: the one known
/// may be short by ±10 % jitter, and the next one long.
const FEW_REACH: f64 = 1.1 / 0.9;

/// Lost pulses listed in one spacing at most (judgement, no source).
const MISSING_LISTED: usize = 16;

/// Findings listed with one capture at most (judgement, no source).
const LISTED: usize = 64;

/// Samples in a pulse that measure it to a tenth.
pub(crate) const MIN_SAMPLES: i64 = 10;

pub(crate) fn slow(median: i64, period: i64) -> String {
    let samples = median as f64 / period as f64;
    let measured = micros(median).clamp(1.0, PULSE_WIDTH_US[1]);
    let rate = MIN_SAMPLES as f64 / measured * 1e6;
    format!(
        "a pulse is {samples:.1} samples wide ({} each), so its width is known to no better than \
         one of them: sample at {:.0} kHz or more",
        shown(period),
        (rate / 1000.0).ceil()
    )
}

/// Nothing was seen, and nothing could be.
pub(crate) fn too_slow(period: i64) -> String {
    let rate = MIN_SAMPLES as f64 / PULSE_WIDTH_US[0] * 1e3;
    format!(
        "samples are {} apart, and a pulse of {} to {} may fall between two of them: sample at \
         {rate:.0} kHz or more",
        shown(period),
        shown(nanos(PULSE_WIDTH_US[0])),
        shown(nanos(PULSE_WIDTH_US[1]))
    )
}

pub(crate) fn wide(spread: &Spread) -> String {
    format!(
        "spacings vary by ±{:.0} % around {}",
        spread.jitter * 100.0,
        shown(nanos(spread.median_us))
    )
}

/// Whether values lie outside the limits, and the sentence for it. The mean of
/// many is known better than a single one, so its tolerance is narrower.
#[allow(clippy::too_many_arguments, reason = "one formula, its symbols by name")]
pub(crate) fn out_of_range(
    verb: &str,
    median: i64,
    mean: f64,
    deviation: f64,
    count: u64,
    limits: [f64; 2],
    jitter: f64,
    period: i64,
) -> Option<String> {
    let root = (count.max(1) as f64).sqrt();
    let [low, high] = limits.map(|us| us * 1000.0);
    let (value, tolerance): (f64, &dyn Fn(f64) -> f64) = if count < MANY {
        (median as f64, &|limit| limit * jitter + period as f64)
    } else {
        (mean, &|limit| {
            // Few may lie close together by chance: the deviation is taken for
            // no less than that of jitter spread evenly.
            let deviation = deviation.max(limit * jitter / 3f64.sqrt());
            (DEVIATIONS * deviation / root).min(limit * jitter) + period as f64 / root
        })
    };
    let limit = |us: f64| shown(nanos(us));
    if value < low - tolerance(low) {
        return Some(format!("{verb} {}, under the limit of {}", shown(median), limit(limits[0])));
    }
    if value > high + tolerance(high) {
        return Some(format!("{verb} {}, over the limit of {}", shown(median), limit(limits[1])));
    }
    None
}

/// Mean and standard deviation of the values within a factor of two of the
/// median, and how many they are.
fn around(values: &[i64], median: i64) -> (f64, f64, u64) {
    let near = |v: &&i64| 2 * **v > median && **v < 2 * median;
    let (mut n, mut sum, mut squares) = (0u64, 0.0, 0.0);
    for value in values.iter().filter(near) {
        n += 1;
        sum += *value as f64;
        squares += *value as f64 * *value as f64;
    }
    let mean = if n == 0 { median as f64 } else { sum / n as f64 };
    (mean, (squares / n.max(1) as f64 - mean * mean).max(0.0).sqrt(), n)
}

pub(crate) fn told(glitch: &Glitch) -> String {
    let line = if glitch.line == 0 { Line::D0 } else { Line::D1 }.name();
    let width = shown(glitch.width);
    if glitch.inside {
        format!("a pulse of {line} was broken for {width}: too short to end it")
    } else {
        format!("{line} was active for {width}: too short for a bit")
    }
}

/// A time in the unit people read it in.
pub(crate) fn shown(nanos: i64) -> String {
    let us = micros(nanos);
    let (value, unit) = match us.abs() {
        s if s >= 1e6 => (us / 1e6, "s"),
        ms if ms >= 10_000.0 => (us / 1000.0, "ms"),
        _ => (us, "µs"),
    };
    let digits = if value.abs() < 10.0 { 2 } else { 1 };
    let text = format!("{value:.digits$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{text} {unit}")
}

/// The width a capture's pulses are held against: its own median where it has
/// enough, else the reader's.
pub(crate) fn typical(own: &Spread, count: usize, reader: Option<i64>) -> Option<i64> {
    if count >= OWN || reader.is_none() && count >= 3 {
        return Some(nanos(own.median_us));
    }
    reader
}

pub(crate) fn typical_interval(own: Option<&Spread>, reader: Option<i64>) -> Option<i64> {
    let own = own?;
    if own.count >= OWN as u64 || reader.is_none() && own.count >= 2 {
        return Some(nanos(own.median_us));
    }
    reader
}

/// The longest that the next bit may take, as far as a `time` is to be held
/// against it, in ns. `typical` is the interval of the capture or the reader;
/// `spacings` are the capture's, ascending.
fn most_interval(time: i64, typical: Option<i64>, spacings: &[i64]) -> i64 {
    let middle = spacings.len().checked_sub(1).map(|last| spacings[last / 2]);
    // A lone pulse of an unknown reader: the limits.
    let typical = typical.or(middle).unwrap_or_else(|| nanos(PULSE_INTERVAL_US[1]));
    let times = |share: f64| (share * typical as f64) as i64;
    if time >= times(MISSING_FROM) {
        return 0;
    }
    let plain = spacings.partition_point(|&s| s <= times(MISSING_FROM));
    let most = spacings[..plain].last().map_or(typical, |&most| most.max(typical));
    match plain {
        ..OWN => most.max(times(FEW_REACH)),
        _ if most <= times(STEADY) => most,
        _ => most.max(times(1.0 + SPACING_JITTER)),
    }
}

/// Findings of one capture as they are made.
pub(crate) struct Notes<'a> {
    pub(crate) reader: Arc<str>,
    pub(crate) capture: u64,
    pub(crate) list: Vec<(i64, Finding)>,
    pub(crate) unsure: Unsure,
    pub(crate) counts: &'a mut [u64; FindingKind::ALL.len()],
    pub(crate) unlisted: u64,
}

impl Notes<'_> {
    fn add(&mut self, kind: FindingKind, position: Option<usize>, at: i64, what: String) {
        self.counts[kind as usize] += 1;
        if self.list.len() == LISTED {
            self.unlisted += 1;
            return;
        }
        let place = Place {
            reader: Arc::clone(&self.reader),
            capture: Some(self.capture),
            position,
            time_us: micros(at),
        };
        self.list.push((at, Finding { kind, place, what }));
    }

    /// `spacings` are the capture's, `typical` the reader's where it has few.
    pub(crate) fn cuts(&mut self, raw: &[Raw], cut: Cut, typical: Option<i64>, spacings: &[i64]) {
        let short = |time: i64| time < most_interval(time, typical, spacings);
        if cut.start || short(cut.lead) {
            let what = if cut.start {
                "a line was active as the recording began: a bit before this capture's first is \
                 lost, or more"
                    .to_owned()
            } else {
                format!(
                    "the recording begins {} before this capture's first bit, less than from bit \
                     to bit: bits before it may be lost",
                    shown(cut.lead)
                )
            };
            self.add(FindingKind::CutAtStart, Some(1), raw[0].start, what);
            self.unsure.missing.push(1);
        }
        if cut.end || short(cut.tail) {
            let what = if cut.end {
                "the recording ends inside this capture: its last bits may be lost".to_owned()
            } else {
                format!(
                    "the recording ends {} after this capture's last bit begins, less than from \
                     bit to bit: bits after it may be lost",
                    shown(cut.tail)
                )
            };
            self.add(FindingKind::CutAtEnd, Some(raw.len()), raw[raw.len() - 1].start, what);
            self.unsure.missing.push(raw.len() + 1);
        }
    }

    pub(crate) fn pulses(&mut self, raw: &[Raw], typical: Option<i64>, period: i64) {
        // One sample more or less is not a difference.
        let (narrow, broad) = match typical {
            Some(typical) => {
                let [low, high] = UNEVEN.map(|share| (share * typical as f64) as i64);
                (low - period, high + period)
            }
            None => (0, i64::MAX),
        };
        for (i, pulse) in raw.iter().enumerate() {
            let uneven = !(narrow..=broad).contains(&pulse.width()) && !pulse.endless;
            if !(pulse.unsure || pulse.both > 0 || uneven) {
                continue;
            }
            let position = i + 1;
            let line = pulse.line();
            if pulse.unsure {
                let what = format!(
                    "bit {position} fell from a level that was neither low nor high: the edge is \
                     not sure"
                );
                self.add(FindingKind::UnsureEdge, Some(position), pulse.start, what);
                self.unsure.suspect.push(position);
            }
            if pulse.both > 0 {
                let what = format!(
                    "both lines were active at once for {} at bit {position} ({})",
                    shown(pulse.both),
                    line.name()
                );
                self.add(FindingKind::BothLow, Some(position), pulse.start, what);
                self.unsure.suspect.extend((i > 0).then_some(position - 1));
                self.unsure.suspect.push(position);
            }
            if let Some(typical) = typical.filter(|_| uneven) {
                let what = format!(
                    "the pulse of bit {position} is {} wide, the others about {}",
                    shown(pulse.width()),
                    shown(typical)
                );
                self.add(FindingKind::UnevenPulse, Some(position), pulse.start, what);
                self.unsure.suspect.push(position);
            }
        }
    }

    pub(crate) fn spacings(&mut self, raw: &[Raw], typical: Option<i64>, period: i64) {
        let Some(typical) = typical.filter(|t| *t > 0) else { return };
        let times = |share: f64| (share * typical as f64) as i64;
        let missing = times(MISSING_FROM).max(typical + 2 * period);
        let extra = times(EXTRA_BELOW).min(typical - 2 * period);
        for (i, pair) in raw.windows(2).enumerate() {
            let spacing = pair[1].start - pair[0].start;
            if (extra..=missing).contains(&spacing) {
                continue;
            }
            let position = i + 2;
            if spacing > missing {
                let intervals = spacing as f64 / typical as f64;
                let lost = (intervals.round() as usize).saturating_sub(1).max(1);
                let bits = if lost == 1 { "bit seems" } else { "bits seem" };
                let what = format!(
                    "{} from bit {} to bit {position}, the others about {}: {lost} {bits} to be \
                     missing between them",
                    shown(spacing),
                    i + 1,
                    shown(typical)
                );
                self.add(FindingKind::MissingPulse, Some(position), pair[0].start + typical, what);
                let places = std::iter::repeat_n(position, lost.min(MISSING_LISTED));
                self.unsure.missing.extend(places);
            } else {
                let what = format!(
                    "only {} from bit {} to bit {position}, the others about {}: one of the two \
                     may be noise",
                    shown(spacing),
                    i + 1,
                    shown(typical)
                );
                self.add(FindingKind::ExtraPulse, Some(position), pair[1].start, what);
                self.unsure.suspect.extend([i + 1, position]);
            }
        }
    }

    pub(crate) fn glitches(&mut self, raw: &[Raw], glitches: &[Glitch]) {
        for glitch in glitches {
            let begun = raw.partition_point(|p| p.start <= glitch.at);
            // Inside a bit's pulse, or on the way to the next bit.
            let within = raw[..begun].last().is_some_and(|p| glitch.at <= p.end);
            let position = if within { begun } else { (begun + 1).min(raw.len()) };
            self.add(FindingKind::Glitch, Some(position), glitch.at, told(glitch));
        }
    }

    /// `widths` and `spacings` ascend.
    pub(crate) fn ranges(&mut self, raw: &[Raw], widths: &[i64], spacings: &[i64], period: i64) {
        let sets = [
            (FindingKind::PulseWidth, widths, "pulses are", PULSE_WIDTH_US, JITTER),
            (
                FindingKind::PulseInterval,
                spacings,
                "pulses come every",
                PULSE_INTERVAL_US,
                SPACING_JITTER,
            ),
        ];
        for (kind, values, verb, limits, jitter) in sets {
            let Some(last) = values.len().checked_sub(1) else { continue };
            let median = values[last / 2];
            let (mean, deviation, count) = around(values, median);
            if let Some(what) =
                out_of_range(verb, median, mean, deviation, count, limits, jitter, period)
            {
                self.add(kind, None, raw[0].start, what);
            }
        }
    }

    pub(crate) fn jitter(&mut self, raw: &[Raw], spread: &Spread) {
        self.add(FindingKind::Jitter, None, raw[0].start, wide(spread));
    }

    pub(crate) fn done(mut self, start: i64) -> (Vec<Finding>, Unsure) {
        if self.unlisted > 0 {
            let what = format!("{} more findings in this capture are not listed", self.unlisted);
            let place = Place {
                reader: Arc::clone(&self.reader),
                capture: Some(self.capture),
                position: None,
                time_us: micros(start),
            };
            // Of the last kind listed; it has been counted.
            let kind = self.list.last().map_or(FindingKind::Glitch, |(_, f)| f.kind);
            self.list.push((i64::MAX, Finding { kind, place, what }));
        }
        self.list.sort_by_key(|(at, _)| *at);
        self.unsure.missing.sort_unstable();
        self.unsure.suspect.sort_unstable();
        self.unsure.suspect.dedup();
        (self.list.into_iter().map(|(_, finding)| finding).collect(), self.unsure)
    }
}
