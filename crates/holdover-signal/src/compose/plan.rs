//! One reader's lines played out in time: a capture at a time, jitter drawn and
//! faults put in, every time a whole tick.

use std::collections::VecDeque;

use super::random::Random;
use super::{Compose, Fault, FaultKind, Track};

/// A line becomes active or idle at a tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Edge {
    pub(crate) tick: u64,
    pub(crate) line: u8,
    pub(crate) active: bool,
}

/// Spikes of one burst of noise, at least and at most (judgement, no source).
const SPIKES: [usize; 2] = [3, 8];

/// Plays one reader's captures.
#[derive(Debug)]
pub(crate) struct Player<'a> {
    compose: &'a Compose,
    track: &'a Track<'a>,
    random: Random,
    tick_us: f64,
    next: usize,
    /// When the next capture begins, in µs.
    at_us: f64,
    edges: VecDeque<Edge>,
    pub(crate) faults: Vec<Fault>,
}

#[derive(Debug, Clone, Copy)]
struct Span {
    start: f64,
    end: f64,
    line: u8,
}

impl<'a> Player<'a> {
    pub(crate) fn new(
        compose: &'a Compose,
        track: &'a Track<'a>,
        number: usize,
        tick_us: f64,
    ) -> Player<'a> {
        // Readers draw from streams of their own.
        let mut seeds = Random::new(compose.seed);
        let seed = (0..=number).fold(0, |_, _| seeds.next());
        let mut random = Random::new(seed);
        // So that several readers do not speak in unison.
        let first = compose.gap_us * if number == 0 { 1.0 } else { 1.0 + random.unit() };
        Player {
            compose,
            track,
            random,
            tick_us,
            next: 0,
            at_us: first,
            edges: VecDeque::new(),
            faults: Vec::new(),
        }
    }

    /// The next edge, without taking it.
    pub(crate) fn peek(&mut self) -> Option<Edge> {
        while self.edges.is_empty() && self.next < self.track.captures.len() {
            self.play();
        }
        self.edges.front().copied()
    }

    pub(crate) fn pop(&mut self) {
        self.edges.pop_front();
    }

    /// When all is over and a gap has passed, in ticks.
    pub(crate) fn end(&self) -> u64 {
        (self.at_us / self.tick_us).ceil() as u64
    }

    fn about(&mut self, value: f64) -> f64 {
        let jitter = self.compose.jitter;
        value * (1.0 + self.random.between(-jitter, jitter))
    }

    fn play(&mut self) {
        let capture = &self.track.captures[self.next];
        self.next += 1;
        let mut pulses: Vec<Span> = Vec::new();
        let mut at = self.at_us;
        for bit in capture.bits() {
            let width = self.about(self.compose.width_us);
            pulses.push(Span { start: at, end: at + width, line: u8::from(bit) });
            at += self.about(self.compose.interval_us);
        }
        let last = pulses.last().map_or(at, |p| p.end);
        self.at_us = last + self.compose.gap_us;
        let mut ticks: Vec<(u64, u64, u8)> =
            pulses.iter().map(|p| (self.tick(p.start), self.tick(p.end), p.line)).collect();
        let shares = self.compose.faults;
        let draw = self.random.unit();
        let mut bound = 0.0;
        let mut within = |share: f64| {
            bound += share;
            draw < bound
        };
        if within(shares.glitch) {
            self.glitch(&mut ticks);
        } else if within(shares.lost) {
            self.lose(&mut ticks);
        } else if within(shares.both_low) {
            self.both_low(&mut ticks, &pulses);
        } else if within(shares.noise) {
            self.noise(&mut ticks);
        }
        let mut edges: Vec<Edge> = Vec::with_capacity(2 * ticks.len());
        for (start, end, line) in ticks {
            // A pulse is a tick wide at least.
            let end = end.max(start + 1);
            edges.push(Edge { tick: start, line, active: true });
            edges.push(Edge { tick: end, line, active: false });
        }
        // At one tick, a pulse ends before another begins.
        edges.sort_by_key(|e| (e.tick, e.active));
        self.edges.extend(edges);
    }

    fn tick(&self, us: f64) -> u64 {
        (us / self.tick_us).round() as u64
    }

    fn fault(&mut self, kind: FaultKind, position: usize, tick: u64) {
        self.faults.push(Fault {
            kind,
            reader: self.track.reader.clone(),
            capture: self.next,
            position,
            time_us: tick as f64 * self.tick_us,
        });
    }

    /// Width of a spike in ticks: under the limit by a tick at least, as both
    /// its ends may be rounded.
    fn spike(&mut self) -> u64 {
        let most = (self.compose.glitch_us / self.tick_us * 0.7).floor().max(1.0) as usize;
        1 + self.random.below(most) as u64
    }

    /// Ticks that part a spike from every edge, so that it stands alone.
    fn clearance(&self) -> u64 {
        (2.0 * self.compose.glitch_us / self.tick_us).ceil() as u64 + 1
    }

    /// A spike on an idle line between two bits.
    fn glitch(&mut self, ticks: &mut Vec<(u64, u64, u8)>) {
        if ticks.len() < 2 {
            return;
        }
        let after = self.random.below(ticks.len() - 1);
        let (free, until) = (ticks[after].1, ticks[after + 1].0);
        let line = self.random.below(2) as u8;
        let width = self.spike();
        let Some(at) = self.place(free, until, width) else { return };
        self.fault(FaultKind::Glitch, after + 2, at);
        ticks.push((at, at + width, line));
    }

    /// A place for a spike between two edges, clear of both.
    fn place(&mut self, from: u64, to: u64, width: u64) -> Option<u64> {
        let clear = self.clearance();
        let room = (to.saturating_sub(from)).checked_sub(2 * clear + width)?;
        Some(from + clear + self.random.below(room as usize + 1) as u64)
    }

    /// A pulse left out, neither the first nor the last.
    fn lose(&mut self, ticks: &mut Vec<(u64, u64, u8)>) {
        if ticks.len() < 3 {
            return;
        }
        let lost = 1 + self.random.below(ticks.len() - 2);
        let (at, ..) = ticks.remove(lost);
        self.fault(FaultKind::LostPulse, lost + 1, at);
    }

    /// The other line joins a bit's pulse.
    fn both_low(&mut self, ticks: &mut Vec<(u64, u64, u8)>, pulses: &[Span]) {
        if ticks.len() >= holdover::bits::Capture::MAX_BITS {
            return;
        }
        let bit = self.random.below(pulses.len());
        let pulse = pulses[bit];
        let width = pulse.end - pulse.start;
        let start = self.tick(pulse.start + width * 0.3);
        let end = self.tick(pulse.end + width * 0.3);
        self.fault(FaultKind::BothLow, bit + 1, start);
        ticks.push((start, end, 1 - pulse.line));
    }

    /// Spikes between bits and in pulses, one in a place at most.
    fn noise(&mut self, ticks: &mut Vec<(u64, u64, u8)>) {
        let [least, most] = SPIKES;
        let count = least + self.random.below(most - least + 1);
        let given = ticks.clone();
        let mut taken = vec![false; 2 * given.len()];
        for _ in 0..count {
            let bit = self.random.below(given.len());
            let inside = self.random.below(2) == 0;
            if std::mem::replace(&mut taken[2 * bit + usize::from(inside)], true) {
                continue;
            }
            let width = self.spike();
            let (start, end, line) = given[bit];
            if inside {
                let Some(at) = self.place(start, end, width) else { continue };
                // The pulse is broken in two.
                if let Some(broken) = ticks.iter_mut().find(|t| t.0 == start && t.2 == line) {
                    broken.1 = at;
                    ticks.push((at + width, end, line));
                    self.fault(FaultKind::Glitch, bit + 1, at);
                }
            } else if let Some(next) = given.get(bit + 1) {
                let Some(at) = self.place(end, next.0, width) else { continue };
                let line = self.random.below(2) as u8;
                ticks.push((at, at + width, line));
                self.fault(FaultKind::Glitch, bit + 2, at);
            }
        }
    }
}
