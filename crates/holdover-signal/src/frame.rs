//! From edges to captures: pulses are gathered until a gap ends them.
//!
//! Until the gap is known, pulses wait, a bounded number of them; a stretch
//! that is one capture whatever the gap will be does not.

use crate::change::Level;
use crate::gap::{self, Gap, GapBasis, SURE};
use crate::health::Health;
use crate::judge::OWN;
use crate::pulse::{Cut, Glitch, Raw};
use holdover::bits::Capture;

/// Pulses seen before the gap is chosen at the latest (judgement, no source:
/// a hundred cards, 200 kB).
const LEARNT: usize = 4096;

/// Sure gaps that are enough to choose, with as many spacings within captures
/// as tell the interval (judgement, no source: four cards).
const ENOUGH_GAPS: u32 = 4;

/// Spacings within captures that tell the interval (judgement, no source).
const ENOUGH_SPACINGS: usize = 16;

/// Sure gaps that are enough whatever else was seen (judgement, no source).
const MANY_GAPS: u32 = 64;

/// The most glitches held for one capture; further ones are only counted.
const GLITCHES_HELD: usize = 256;

const NONE: usize = usize::MAX;

/// How a capture ends.
#[derive(Debug, Clone, Copy)]
enum End {
    /// A gap follows, or a pause in a pipe.
    Seen,
    /// The recording cuts it.
    Cut,
    /// The recording stops then.
    Recording(i64),
}

/// Gathers one reader's pulses into captures.
#[derive(Debug)]
pub(crate) struct Framer {
    gap: Option<Gap>,
    /// Spacings seen while the gap is not known, in ns.
    spacings: Vec<i64>,
    sure_gaps: u32,
    /// Pulses not yet part of a capture.
    queue: Vec<Raw>,
    last_fall: Option<i64>,
    /// Index in `queue` of each line's pulse that has not ended.
    open: [usize; 2],
    active: [bool; 2],
    /// Since when both lines are active, and the later pulse.
    both: Option<(i64, usize)>,
    /// Pulses past what a capture holds.
    overflow: u64,
    glitches: Vec<Glitch>,
    /// When a pulse ended that was there at the start.
    cut_from: Option<i64>,
    /// When recording began, until a capture is closed.
    began: Option<i64>,
    pub(crate) health: Health,
}

impl Framer {
    pub(crate) fn new(gap_ns: Option<i64>, health: Health) -> Framer {
        Framer {
            gap: gap_ns.map(|at| Gap { at, basis: GapBasis::Given }),
            spacings: Vec::new(),
            sure_gaps: 0,
            queue: Vec::new(),
            last_fall: None,
            open: [NONE; 2],
            active: [false; 2],
            both: None,
            overflow: 0,
            glitches: Vec::new(),
            cut_from: None,
            began: None,
            health,
        }
    }

    /// A line's level passed for good from idle to active, or back.
    #[inline]
    pub(crate) fn edge(&mut self, line: usize, active: bool, at: i64, unsure: bool) {
        self.active[line] = active;
        if active {
            self.fall(line, at, unsure);
        } else {
            self.rise(line, at);
        }
    }

    /// Recording begins, or begins again.
    pub(crate) fn begin(&mut self, at: i64) {
        self.began = Some(at);
    }

    /// A line is active as recording begins.
    pub(crate) fn active_at_start(&mut self, line: usize) {
        self.active[line] = true;
    }

    pub(crate) fn glitch(&mut self, glitch: Glitch) {
        // What is held is held for one capture.
        self.tick(glitch.at);
        if self.glitches.len() < GLITCHES_HELD {
            self.glitches.push(glitch);
        } else {
            self.health.uncounted_glitch();
        }
    }

    fn fall(&mut self, line: usize, at: i64, unsure: bool) {
        if let Some(last) = self.last_fall {
            let spacing = at - last;
            match self.gap {
                Some(gap) if spacing >= gap.at => self.close_all(at, End::Seen),
                Some(_) => {}
                None => {
                    self.spacings.push(spacing);
                    if spacing >= SURE {
                        self.sure_gap(at);
                    } else if self.spacings.len() >= LEARNT {
                        self.decide();
                        // The new pulse may itself be past the gap.
                        if self.gap.is_some_and(|gap| spacing >= gap.at) {
                            self.close_all(at, End::Seen);
                        }
                    }
                }
            }
        }
        self.last_fall = Some(at);
        if self.gap.is_some() && self.queue.len() >= Capture::MAX_BITS {
            self.overflow += 1;
            return;
        }
        let index = self.queue.len();
        self.queue.push(Raw::new(at, line, unsure));
        self.open[line] = index;
        if self.active[1 - line] {
            self.both = Some((at, index));
        }
    }

    fn rise(&mut self, line: usize, at: i64) {
        if let Some((since, index)) = self.both.take()
            && let Some(pulse) = self.queue.get_mut(index)
        {
            pulse.both = at - since;
        }
        if let Some(pulse) = self.queue.get_mut(self.open[line]) {
            pulse.end = at;
        } else if self.queue.is_empty() && self.last_fall.is_none() {
            // It began before anything was seen.
            self.cut_from = Some(at);
        }
        self.open[line] = NONE;
    }

    /// While the gap is not known, a stretch has ended for sure.
    fn sure_gap(&mut self, at: i64) {
        self.sure_gaps += 1;
        // What was whole by itself may be closed already.
        if self.queue.is_empty() || self.close_whole(at) {
            return;
        }
        let spacings = self.spacings.len().saturating_sub(self.sure_gaps as usize);
        let enough = self.sure_gaps >= ENOUGH_GAPS && spacings >= ENOUGH_SPACINGS;
        if enough || self.sure_gaps >= MANY_GAPS {
            self.decide();
            self.close_all(at, End::Seen);
        }
    }

    /// Ends the stretch in the queue where it is one capture whatever the gap
    /// will be; a short one is judged by the reader's others, and waits for them.
    fn close_whole(&mut self, at: i64) -> bool {
        let mut within: Vec<i64> =
            self.queue.windows(2).map(|pair| pair[1].start - pair[0].start).collect();
        let fits = self.queue.len() <= Capture::MAX_BITS;
        let judged = within.len() >= OWN || self.health.knows_interval();
        let whole = fits && judged && gap::is_whole(&mut within);
        if whole {
            self.close_all(at, End::Seen);
        }
        whole
    }

    /// Chooses the gap from what was seen and frames what waited; the last
    /// stretch stays in the queue, as it may go on.
    pub(crate) fn decide(&mut self) {
        if self.gap.is_some() {
            return;
        }
        let gap = gap::choose(&mut self.spacings);
        let within: Vec<i64> = self.spacings.iter().copied().filter(|s| *s < gap.at).collect();
        self.health.learn(within, &self.queue);
        self.spacings = Vec::new();
        self.gap = Some(gap);
        let waiting = std::mem::take(&mut self.queue);
        let splits = (1..waiting.len())
            .filter(|&i| waiting[i].start - waiting[i - 1].start >= gap.at)
            .collect::<Vec<_>>();
        let mut from = 0;
        for to in splits {
            self.close(&waiting[from..to], End::Seen);
            from = to;
        }
        // Indices into the queue move with it; a pulse still open in what was
        // closed is left to end unseen.
        let moved = |i: usize| i.checked_sub(from).filter(|_| i != NONE);
        self.open = self.open.map(|i| moved(i).unwrap_or(NONE));
        self.both = self.both.and_then(|(since, i)| Some((since, moved(i)?)));
        self.queue = waiting[from..].to_vec();
        if self.queue.len() > Capture::MAX_BITS {
            self.overflow = (self.queue.len() - Capture::MAX_BITS) as u64;
            self.queue.truncate(Capture::MAX_BITS);
        }
    }

    /// Ends the capture in the queue. `at`: pulses still active last at least
    /// until then.
    fn close_all(&mut self, at: i64, end: End) {
        for line in 0..2 {
            if let Some(pulse) = self.queue.get_mut(self.open[line]) {
                pulse.end = at;
                pulse.endless = true;
            }
            self.open[line] = NONE;
        }
        self.both = None;
        let queue = std::mem::take(&mut self.queue);
        self.close(&queue, end);
        self.queue = queue;
        self.queue.clear();
    }

    fn close(&mut self, pulses: &[Raw], ends: End) {
        let (Some(first), Some(last)) = (pulses.first(), pulses.last()) else { return };
        let lead = self.began.take().map_or(i64::MAX, |began| first.start - began);
        let gap = self.gap.map_or(SURE, |gap| gap.at);
        let start = self.cut_from.take().map(|ended| first.start - ended < gap);
        if start == Some(false) {
            self.health.lone_cut_pulse();
        }
        let end = last.end.max(last.start);
        let mine = self.glitches.iter().take_while(|g| g.at <= end).count();
        let glitches: Vec<Glitch> = self.glitches.drain(..mine).collect();
        let (cut_at_end, tail) = match ends {
            End::Seen => (false, i64::MAX),
            End::Cut => (true, i64::MAX),
            End::Recording(at) => (false, at - last.start),
        };
        let cut = Cut { start: start == Some(true), end: cut_at_end, lead, tail };
        let asked = self.gap.is_some_and(|gap| gap.basis == GapBasis::NoGap);
        let surplus = std::mem::take(&mut self.overflow)
            + pulses.len().saturating_sub(Capture::MAX_BITS) as u64;
        if asked && pulses.len() == 1 {
            self.health.in_question(first, &glitches);
        } else if surplus > 0 {
            self.health.too_many(pulses, surplus, &glitches);
        } else {
            self.health.capture(pulses, &glitches, cut);
        }
    }

    /// Time has come this far; a capture that is certainly over is closed. It
    /// is closed the same way whenever that is seen: how a file is cut into
    /// blocks decides nothing.
    pub(crate) fn tick(&mut self, now: i64) {
        let Some(last) = self.last_fall else { return };
        if self.queue.is_empty() || self.open != [NONE; 2] {
            return;
        }
        match self.gap {
            Some(gap) if now - last >= gap.at => self.close_all(now, End::Seen),
            None if now - last >= SURE => _ = self.close_whole(now),
            _ => {}
        }
    }

    /// Nothing more comes for now: what is there is framed.
    pub(crate) fn pause(&mut self) {
        self.decide();
        if self.open == [NONE; 2] && !self.queue.is_empty() {
            self.close_all(0, End::Seen);
            self.last_fall = None;
        }
    }

    /// Recording stops at `end`, in the middle of things where it was `damaged`.
    pub(crate) fn finish(&mut self, end: i64, damaged: bool) {
        self.tick(end);
        self.decide();
        let gap = self.gap.map_or(SURE, |gap| gap.at);
        let within = self.last_fall.is_some_and(|last| end - last < gap);
        let cut = self.open != [NONE; 2] || within && damaged;
        if self.queue.is_empty() && self.cut_from.take().is_some() {
            self.health.lone_cut_pulse();
        }
        self.close_all(end, if cut { End::Cut } else { End::Recording(end) });
        self.health.loose_glitches(&std::mem::take(&mut self.glitches));
        self.last_fall = None;
        self.active = [false; 2];
    }

    pub(crate) fn gap(&self) -> Option<Gap> {
        self.gap
    }
}

/// Whether a level is known, and high.
pub(crate) fn is_high(level: Level) -> Option<bool> {
    match level {
        Level::Low => Some(false),
        Level::High => Some(true),
        Level::Released | Level::Unknown => None,
    }
}
