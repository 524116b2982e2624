//! The health of one reader's lines: each capture judged against the limits,
//! against its own pulses, and against the reader's other captures.

use std::collections::VecDeque;
use std::sync::Arc;

use holdover::bits::Capture;

use crate::finding::{Finding, FindingKind, PULSE_INTERVAL_US, PULSE_WIDTH_US, Place};
use crate::histogram::{Spread, Tally};
use crate::judge::{
    JITTER, MANY, MIN_SAMPLES, Notes, OWN, SPACING_JITTER, WIDE_JITTER, out_of_range, shown, slow,
    told, too_slow, typical, typical_interval, wide,
};
use crate::period::Steps;
use crate::pulse::{Cut, Glitch, Raw};
use crate::read::{CardRead, Line, Pulse, Unsure};
use crate::time::{micros, nanos};

/// A line active for longer, in ns, is held, not pulsed: the longest interval
/// the limits allow.
pub(crate) const HELD: i64 = 20_000_000;

/// Findings kept for a reader at most; all are counted (judgement, no source).
const KEPT: usize = 1000;

/// Pulses after which a line that never had one is called silent (judgement, no
/// source: chance leaves one line out of 64 random bits once in 2^63).
const SILENT_AFTER: u64 = 64;

/// Single pulses at one pace.
#[derive(Debug, Clone, Copy)]
struct Paced {
    count: u64,
    first: i64,
    last: i64,
}

impl Paced {
    fn told(&self) -> String {
        let every = (self.last - self.first) / (self.count - 1).max(1) as i64;
        format!(
            "{} pulses, one every {}, and no gap among them: more than the limit of {} from bit to \
             bit, so that one capture is not told from pulses that are none, and none was taken \
             for a card",
            self.count,
            shown(every),
            shown(nanos(PULSE_INTERVAL_US[1]))
        )
    }
}

/// What is known of one reader's lines.
#[derive(Debug)]
pub(crate) struct Health {
    pub(crate) reader: Arc<str>,
    pub(crate) captures: u64,
    pub(crate) clean: u64,
    pub(crate) bits: u64,
    pub(crate) by_line: [u64; 2],
    pub(crate) widths: Tally,
    pub(crate) intervals: Tally,
    pub(crate) findings: Vec<Finding>,
    pub(crate) counts: [u64; FindingKind::ALL.len()],
    pub(crate) out: VecDeque<CardRead>,
    steps: Steps,
    /// Time between samples, where it is known, in ns.
    period: i64,
    paced: Option<Paced>,
    /// The reader's median width and interval, in ns, and how many spacings
    /// they were taken from.
    reference: (Option<i64>, Option<i64>),
    refreshed: u64,
    /// Widths and spacings of the capture at hand, ascending; kept for their
    /// room.
    sorted: [Vec<i64>; 2],
}

impl Health {
    pub(crate) fn new(reader: Arc<str>, period: i64) -> Health {
        Health {
            reader,
            captures: 0,
            clean: 0,
            bits: 0,
            by_line: [0; 2],
            widths: Tally::new(),
            intervals: Tally::new(),
            findings: Vec::new(),
            counts: [0; FindingKind::ALL.len()],
            out: VecDeque::new(),
            steps: Steps::new(),
            period,
            paced: None,
            reference: (None, None),
            refreshed: 0,
            sorted: [Vec::new(), Vec::new()],
        }
    }

    /// Takes medians from what waited for the gap to be known.
    pub(crate) fn learn(&mut self, mut within: Vec<i64>, waiting: &[Raw]) {
        let mut widths: Vec<i64> = waiting.iter().map(Raw::width).filter(|w| *w <= HELD).collect();
        let median = |values: &mut Vec<i64>| {
            let middle = values.len().checked_sub(1)? / 2;
            Some(*values.select_nth_unstable(middle).1)
        };
        if let Some(interval) = median(&mut within) {
            self.reference.1 = Some(interval);
        }
        if let Some(width) = median(&mut widths) {
            self.reference.0 = Some(width);
        }
        self.refreshed = within.len() as u64;
    }

    /// Whether short captures can be held against others.
    pub(crate) fn knows_interval(&self) -> bool {
        self.reference.1.is_some()
    }

    /// Judges a capture and queues it for handing out.
    pub(crate) fn capture(&mut self, raw: &[Raw], glitches: &[Glitch], cut: Cut) {
        let held = |p: &Raw| p.width() > HELD && !(p.endless && cut.end);
        if raw.iter().any(held) {
            for pulse in raw.iter().filter(|p| held(p)) {
                self.held(pulse);
            }
            let rest: Vec<Raw> = raw.iter().copied().filter(|p| !held(p)).collect();
            return self.judge(&rest, glitches, cut);
        }
        self.judge(raw, glitches, cut);
    }

    fn judge(&mut self, raw: &[Raw], glitches: &[Glitch], cut: Cut) {
        // 1 to 256 bits, by the framer's bounds; held pulses may leave none.
        let Ok(bits) = Capture::from_bits(raw.iter().map(|p| p.line != 0)) else {
            return self.loose_glitches(glitches);
        };
        let mut mine = Vec::new();
        for glitch in glitches {
            if glitch.at < raw[0].start {
                self.loose_glitches(std::slice::from_ref(glitch));
            } else {
                mine.push(*glitch);
            }
        }
        self.captures += 1;
        self.bits += raw.len() as u64;
        for pulse in raw {
            self.by_line[usize::from(pulse.line & 1)] += 1;
        }
        let [mut widths, mut spacings] = std::mem::take(&mut self.sorted);
        widths.clear();
        widths.extend(raw.iter().filter(|p| !p.endless).map(Raw::width));
        spacings.clear();
        spacings.extend(raw.windows(2).map(|p| p[1].start - p[0].start));
        for width in &widths {
            self.widths.add(*width);
            self.steps.width(*width);
        }
        for spacing in &spacings {
            self.intervals.add(*spacing);
            self.steps.spacing(*spacing);
        }
        widths.sort_unstable();
        spacings.sort_unstable();
        let none = Spread { count: 0, min_us: 0.0, median_us: 0.0, max_us: 0.0, jitter: 0.0 };
        let width = Spread::of(&widths).unwrap_or(none);
        let interval = Spread::of(&spacings);
        let mut notes = Notes {
            reader: Arc::clone(&self.reader),
            capture: self.captures,
            list: Vec::new(),
            unsure: Unsure::default(),
            counts: &mut self.counts,
            unlisted: 0,
        };
        let reference = self.reference;
        let typical_width = typical(&width, raw.len(), reference.0);
        let typical_interval = typical_interval(interval.as_ref(), reference.1);
        notes.cuts(raw, cut, typical_interval.or(reference.1), &spacings);
        notes.pulses(raw, typical_width, self.period);
        notes.spacings(raw, typical_interval, self.period);
        notes.glitches(raw, &mine);
        notes.ranges(raw, &widths, &spacings, self.period);
        if let Some(spread) = interval.filter(|s| s.count >= OWN as u64 && s.jitter > WIDE_JITTER) {
            notes.jitter(raw, &spread);
        }
        let (findings, unsure) = notes.done(raw[0].start);
        self.sorted = [widths, spacings];
        self.clean += u64::from(findings.is_empty());
        let pulses = raw.iter().map(|p| Pulse {
            start_us: micros(p.start),
            width_us: micros(p.width()),
            line: p.line(),
        });
        self.out.push_back(CardRead {
            reader: Arc::clone(&self.reader),
            number: self.captures,
            bits,
            start_us: micros(raw[0].start),
            pulses: pulses.collect(),
            width,
            interval,
            findings,
            unsure,
        });
        self.refresh();
    }

    /// The reader's medians, taken anew whenever there is half as much again to
    /// take them from.
    fn refresh(&mut self) {
        let count = self.widths.count();
        if count < 3 || count < self.refreshed + self.refreshed / 2 {
            return;
        }
        self.refreshed = count;
        self.reference.0 = self.widths.quantile(0.5).or(self.reference.0);
        self.reference.1 = self.intervals.quantile(0.5).or(self.reference.1);
        if let Some(step) = self.steps.step() {
            self.period = self.period.max(step);
        }
    }

    /// Keeps a finding of the reader's own.
    pub(crate) fn note(&mut self, kind: FindingKind, at: i64, what: String) {
        self.counts[kind as usize] += 1;
        if self.findings.len() < KEPT {
            let place = Place {
                reader: Arc::clone(&self.reader),
                capture: None,
                position: None,
                time_us: micros(at),
            };
            self.findings.push(Finding { kind, place, what });
        }
    }

    fn held(&mut self, pulse: &Raw) {
        let line = pulse.line().name();
        let what = match pulse.width() {
            i64::MAX => format!("{line} was active and did not come back before the next capture"),
            width => format!(
                "{line} was active for {}: not a pulse, and not taken for a bit",
                shown(width)
            ),
        };
        self.note(FindingKind::LineHeld, pulse.start, what);
    }

    /// A pulse was there when recording began, and no capture followed it.
    pub(crate) fn lone_cut_pulse(&mut self) {
        let what = "a line was active as the recording began, and no capture followed".to_owned();
        self.note(FindingKind::CutAtStart, 0, what);
    }

    pub(crate) fn uncounted_glitch(&mut self) {
        self.counts[FindingKind::Glitch as usize] += 1;
    }

    /// Glitches between captures.
    pub(crate) fn loose_glitches(&mut self, glitches: &[Glitch]) {
        for glitch in glitches {
            self.note(FindingKind::Glitch, glitch.at, told(glitch));
        }
    }

    /// More pulses than a capture holds: not a capture.
    pub(crate) fn too_many(&mut self, raw: &[Raw], surplus: u64, glitches: &[Glitch]) {
        let count = raw.len().min(Capture::MAX_BITS) as u64 + surplus;
        let start = raw.first().map_or(0, |p| p.start);
        let what = format!(
            "{count} pulses without a gap: a capture has {} bits at most, so this is none",
            Capture::MAX_BITS
        );
        self.note(FindingKind::TooManyPulses, start, what);
        self.loose_glitches(glitches);
    }

    /// A pulse of many at one pace without a gap: not taken for a capture.
    pub(crate) fn in_question(&mut self, pulse: &Raw, glitches: &[Glitch]) {
        let paced = self.paced.get_or_insert(Paced { count: 0, first: pulse.start, last: 0 });
        paced.count += 1;
        paced.last = pulse.start;
        self.loose_glitches(glitches);
    }

    /// Time between samples is known from the file, in ns.
    pub(crate) fn sampled_every(&mut self, period: i64) {
        self.period = period;
    }

    /// Time between samples, from the file or from how widths and spacings fall
    /// into steps, in ns.
    pub(crate) fn sample_period(&self) -> Option<i64> {
        self.steps.step().into_iter().chain(Some(self.period)).max().filter(|p| *p > 0)
    }

    /// What only the whole recording tells.
    pub(crate) fn conclude(&mut self) {
        let period = self.sample_period().unwrap_or(0);
        let limits = [
            (FindingKind::PulseWidth, &self.widths, "pulses are", PULSE_WIDTH_US, JITTER),
            (
                FindingKind::PulseInterval,
                &self.intervals,
                "pulses come every",
                PULSE_INTERVAL_US,
                SPACING_JITTER,
            ),
        ];
        let mut told = Vec::new();
        for (kind, tally, verb, limits, jitter) in limits {
            let Some(median) = tally.quantile(0.5) else { continue };
            let (mean, deviation, count) = tally.around(median);
            if let Some(what) =
                out_of_range(verb, median, mean, deviation, count, limits, jitter, period)
            {
                told.push((kind, what));
            }
        }
        if let Some(spread) = self.intervals.spread()
            && spread.count >= MANY
            && spread.jitter > WIDE_JITTER
        {
            told.push((FindingKind::Jitter, wide(&spread)));
        }
        match self.widths.quantile(0.5) {
            Some(median) if median < MIN_SAMPLES * period => {
                told.push((FindingKind::SlowSampling, slow(median, period)));
            }
            None if micros(period) > PULSE_WIDTH_US[0] => {
                told.push((FindingKind::SlowSampling, too_slow(period)));
            }
            _ => {}
        }
        if let Some(paced) = self.paced {
            self.note(FindingKind::NoGap, paced.first, paced.told());
        }
        let [zeros, ones] = self.by_line;
        if zeros + ones >= SILENT_AFTER && (zeros == 0 || ones == 0) {
            let line = if zeros == 0 { Line::D0 } else { Line::D1 };
            let what = format!(
                "{} never pulsed in {} bits: every bit reads as {}",
                line.name(),
                zeros + ones,
                u8::from(line.other().bit())
            );
            told.push((FindingKind::SilentLine, what));
        }
        for (kind, what) in told {
            self.note(kind, 0, what);
        }
    }
}
