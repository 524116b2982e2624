//! One reader's two lines, from levels to edges: the idle level is found, and
//! what is too short to be a pulse is taken out.
//!
//! Evidence for the idle level: lines rest far longer than they pulse. A line
//! that is only ever at one level, and in between at none (`z`, `x`), rests at
//! none: nobody drives it, and a resistor takes it to the other level.

use crate::change::Level;
use crate::finding::FindingKind;
use crate::frame::{Framer, is_high};
use crate::gap;
use crate::health::HELD;
use crate::judge::shown;
use crate::options::Idle;
use crate::pulse::Glitch;
use crate::read::Line;

/// Changes seen before the idle level is decided at the latest (judgement, no
/// source: eight bits).
const ENOUGH: usize = 16;

/// How much longer a line must rest at one level than at the other to decide
/// by the lines that move alone (judgement, no source).
const CLEARLY: f64 = 1.5;

const NONE: i64 = i64::MAX;

/// A level kept back while the idle level is not known.
#[derive(Debug, Clone, Copy)]
struct Early {
    at: i64,
    line: usize,
    level: Level,
    initial: bool,
}

/// What one line showed of levels that are neither low nor high.
#[derive(Debug, Clone, Copy, Default)]
struct Unknown {
    /// The line is at rest where it is not driven.
    rests: bool,
    /// It was driven to its level of rest.
    driven: bool,
    /// It was low or high at some time, and neither at some time.
    known: bool,
    neither: bool,
    /// It rested at `x`.
    at_x: bool,
    /// The longest stretch, in ns, and when it began.
    longest: i64,
    since: i64,
    /// Stretches it came back from to the level before.
    dips: u64,
}

/// One reader's two lines.
#[derive(Debug)]
pub(crate) struct Pair {
    idle: Option<Idle>,
    early: Vec<Early>,
    moves: usize,
    /// The last level kept back.
    last: [Option<Level>; 2],
    /// The last level known.
    high: [Option<bool>; 2],
    /// Since when the level has not been known.
    hazy: [Option<i64>; 2],
    /// What was seen of levels not known.
    unknown: [Unknown; 2],
    /// When a change came that may yet prove too short.
    pending: [i64; 2],
    pending_unsure: [bool; 2],
    /// The level taken for good.
    active: [bool; 2],
    glitch: i64,
    /// When recording began, or began again.
    began: Option<i64>,
    pub(crate) framer: Framer,
}

impl Pair {
    pub(crate) fn new(idle: Option<Idle>, glitch: i64, framer: Framer) -> Pair {
        Pair {
            idle,
            early: Vec::new(),
            moves: 0,
            last: [None; 2],
            high: [None; 2],
            hazy: [None; 2],
            unknown: [Unknown::default(); 2],
            pending: [NONE; 2],
            pending_unsure: [false; 2],
            active: [false; 2],
            glitch,
            began: None,
            framer,
        }
    }

    pub(crate) fn idle(&self) -> Option<Idle> {
        self.idle
    }

    /// A line's level at a time.
    #[inline]
    pub(crate) fn change(&mut self, line: usize, at: i64, level: Level) {
        if self.began.is_none() {
            self.on(at);
        }
        let began = self.began.unwrap_or(at);
        let Some(idle) = self.idle else {
            return self.learn(Early { at, line, level, initial: at == began });
        };
        self.follow(idle, line, at, level, at == began);
    }

    #[inline]
    fn follow(&mut self, idle: Idle, line: usize, at: i64, level: Level, initial: bool) {
        let rest = idle == Idle::High;
        let Some(high) = is_high(level).or_else(|| self.rests(line, level, rest)) else {
            self.hazy[line].get_or_insert(at);
            self.unknown[line].neither = true;
            return;
        };
        let known = &mut self.unknown[line];
        known.known |= is_high(level).is_some();
        known.driven |= high == rest && is_high(level).is_some();
        let before = self.high[line].replace(high);
        let unsure = self.hazy[line].is_some();
        self.clear(line, at, before, Some(high));
        if before == Some(high) {
            return;
        }
        let active = high == (idle == Idle::Low);
        if before.is_none() && (initial || !active) {
            // Not an edge: the first level there is. A first change to the idle
            // level ends nothing that was seen.
            self.active[line] = active;
            if active {
                self.framer.active_at_start(line);
            }
            return;
        }
        self.settle(at);
        if self.pending[line] == NONE {
            self.pending[line] = at;
            self.pending_unsure[line] = unsure || before.is_none();
        } else {
            let since = std::mem::replace(&mut self.pending[line], NONE);
            let inside = self.active[line];
            self.framer.glitch(Glitch { at: since, width: at - since, line: line as u8, inside });
        }
    }

    /// The level of rest, where a line that is neither low nor high is there:
    /// nobody drove it there before, and it is released, or ends a pulse so.
    #[cold]
    fn rests(&mut self, line: usize, level: Level, rest: bool) -> Option<bool> {
        let pulsing = self.high[line] == Some(!rest);
        let of = &mut self.unknown[line];
        of.rests |= !of.driven && (level == Level::Released || pulsing);
        of.neither = true;
        of.at_x |= of.rests && level == Level::Unknown;
        of.rests.then_some(rest)
    }

    /// A line's level, known as `before`, is known again at a time, or the
    /// recording stops.
    #[inline]
    fn clear(&mut self, line: usize, at: i64, before: Option<bool>, high: Option<bool>) {
        if let Some(since) = self.hazy[line].take() {
            let of = &mut self.unknown[line];
            of.dips += u64::from(before.is_some() && before == high);
            if before.is_some() && at - since > of.longest {
                (of.longest, of.since) = (at - since, since);
            }
        }
    }

    /// Takes for good what has lasted long enough at `now`, in order of time.
    #[inline]
    fn settle(&mut self, now: i64) {
        let [a, b] = self.pending;
        let ripe = |t: i64| t != NONE && t + self.glitch <= now;
        match (ripe(a), ripe(b)) {
            (false, false) => {}
            (true, false) => self.take(0),
            (false, true) => self.take(1),
            // A pulse that ends as the other line's begins does not overlap it.
            (true, true) if a < b || a == b && self.active[0] => {
                self.take(0);
                self.take(1);
            }
            (true, true) => {
                self.take(1);
                self.take(0);
            }
        }
    }

    #[inline]
    fn take(&mut self, line: usize) {
        let at = std::mem::replace(&mut self.pending[line], NONE);
        self.active[line] = !self.active[line];
        self.framer.edge(line, self.active[line], at, self.pending_unsure[line]);
    }

    fn learn(&mut self, early: Early) {
        let before = self.last[early.line].replace(early.level);
        self.moves += usize::from(before.is_some_and(|before| before != early.level));
        // Repeated levels say nothing new; what is kept stays bounded.
        self.early.push(early);
        if self.moves >= ENOUGH || self.early.len() >= 8 * ENOUGH {
            self.decide(early.at);
        }
    }

    /// Decides the idle level from what was seen until `now`, and follows what
    /// was kept back.
    pub(crate) fn decide(&mut self, now: i64) {
        if self.idle.is_some() {
            return;
        }
        let early = std::mem::take(&mut self.early);
        let lines = [0, 1].map(|line| Seen::of(&early, line, now));
        let idle = resting(&lines);
        self.idle = Some(idle);
        let floats = lines.iter().any(|seen| seen.floats().is_some());
        for (of, seen) in self.unknown.iter_mut().zip(&lines) {
            // The other line of a pair that floats does so before it first pulses.
            of.rests = floats && !seen.there[usize::from(idle == Idle::High)];
        }
        self.high = [None; 2];
        for e in early {
            self.follow(idle, e.line, e.at, e.level, e.initial);
        }
    }

    /// Time has come this far.
    pub(crate) fn tick(&mut self, now: i64) {
        if self.idle.is_some() {
            // More may come of the same time.
            self.settle(now - 1);
            if self.pending == [NONE; 2] {
                self.framer.tick(now);
            }
        }
    }

    /// Nothing more comes for now.
    pub(crate) fn pause(&mut self, now: i64) {
        if self.moves > 0 || self.idle.is_some() {
            self.decide(now);
            self.settle(NONE - 1 - self.glitch);
            self.framer.pause();
        }
    }

    /// Recording begins, or begins again.
    pub(crate) fn on(&mut self, at: i64) {
        if self.began.is_none_or(|began| began <= at) {
            self.began = Some(at);
            self.framer.begin(at);
        }
    }

    /// Recording stops: at the end, at a damage, or for a while.
    pub(crate) fn finish(&mut self, end: i64, damaged: bool) {
        self.decide(end);
        self.settle(NONE - 1 - self.glitch);
        self.framer.finish(end, damaged);
        (0..2).for_each(|line| self.clear(line, end, self.high[line], None));
        self.high = [None; 2];
        self.active = [false; 2];
    }

    /// Whether lines rest where nobody drives them.
    pub(crate) fn is_released(&self) -> bool {
        self.unknown.iter().any(|of| of.rests && !of.at_x)
    }

    /// What only the whole recording tells of levels that are neither.
    pub(crate) fn conclude(&mut self) {
        let health = &mut self.framer.health;
        let nothing = health.captures == 0;
        for (line, of) in [Line::D0, Line::D1].into_iter().zip(self.unknown) {
            let name = line.name();
            let mut tell = |at, what| health.note(FindingKind::UnknownLevel, at, what);
            if of.neither && !of.known && (nothing || !of.rests) {
                tell(0, format!("{name} was never low nor high in the whole recording"));
            } else if of.rests && of.at_x {
                let what = "rests at a level that is neither low nor high (x): its rest was taken \
                            for the level it does not pulse to";
                tell(0, format!("{name} {what}"));
            }
            if of.longest >= HELD {
                let time = shown(of.longest);
                let what = format!("{name} was neither low nor high for {time}: bits may be lost");
                tell(of.since, what);
            }
            if nothing && of.dips > 0 {
                let times =
                    if of.dips == 1 { "once".to_owned() } else { format!("{} times", of.dips) };
                let what = format!(
                    "{name} went from its rest to neither low nor high and back {times}, and there \
                     is no capture: these may be its pulses"
                );
                tell(0, what);
            }
        }
    }
}

/// What early levels tell of one line; times in ns, each state's up to a gap's
/// length, so that one long state, such as a supply that is still off, does not
/// outweigh the rests between pulses.
#[derive(Debug, Default)]
struct Seen {
    /// Time at low and at high.
    time: [i64; 2],
    /// Time at neither.
    neither: i64,
    /// Whether it was low, and high.
    there: [bool; 2],
    /// It went from low to high, or back.
    moved: bool,
    /// It went from low or high to neither.
    let_go: bool,
}

impl Seen {
    fn of(early: &[Early], line: usize, now: i64) -> Seen {
        let mut seen = Seen::default();
        let mut last = None;
        let mut since: Option<(i64, Option<bool>)> = None;
        for early in early.iter().filter(|e| e.line == line) {
            let high = is_high(early.level);
            if let Some((from, was)) = since {
                seen.spend(was, early.at - from);
                seen.let_go |= was.is_some() && high.is_none();
            }
            if let Some(high) = high {
                seen.there[usize::from(high)] = true;
                seen.moved |= last.replace(high).is_some_and(|last| last != high);
            }
            since = Some((early.at, high));
        }
        if let Some((from, was)) = since {
            seen.spend(was, now - from);
        }
        if let Some(driven) = seen.floats() {
            seen.time[usize::from(!driven)] += seen.neither;
            seen.moved = true;
        }
        seen
    }

    fn spend(&mut self, high: Option<bool>, time: i64) {
        let of = high.map_or(&mut self.neither, |high| &mut self.time[usize::from(high)]);
        *of += time.clamp(0, gap::SURE);
    }

    /// Where the line rests at neither level: the one it pulses to.
    fn floats(&self) -> Option<bool> {
        let driven = self.there[1];
        let one = self.there[0] != self.there[1];
        let longer = self.neither as f64 > CLEARLY * self.time[usize::from(driven)] as f64;
        (one && self.let_go && longer).then_some(driven)
    }
}

/// The level the lines rest at.
fn resting(lines: &[Seen; 2]) -> Idle {
    let sum = |only_moved: bool, level: usize| -> f64 {
        let counted = lines.iter().filter(|seen| seen.moved || !only_moved);
        counted.map(|seen| seen.time[level] as f64).sum()
    };
    // A line that never moves may be stuck: it decides only where the others
    // do not.
    let (low, high) = (sum(true, 0), sum(true, 1));
    if high > CLEARLY * low {
        return Idle::High;
    }
    if low > CLEARLY * high {
        return Idle::Low;
    }
    if sum(false, 0) > sum(false, 1) { Idle::Low } else { Idle::High }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn idle(changes: &[(i64, usize, u8)], now: i64) -> Idle {
        let early: Vec<Early> = changes
            .iter()
            .map(|&(us, line, level)| Early {
                at: us * 1000,
                line,
                level: [Level::Low, Level::High, Level::Unknown][usize::from(level)],
                initial: us == 0,
            })
            .collect();
        resting(&[0, 1].map(|line| Seen::of(&early, line, now * 1000)))
    }

    #[test]
    fn the_longer_level_is_rest() {
        let one = [(0, 0, 1), (0, 1, 1), (1000, 0, 0), (1050, 0, 1)];
        assert_eq!(idle(&one, 1050), Idle::High);
        let inverted = one.map(|(at, line, level)| (at, line, 1 - level));
        assert_eq!(idle(&inverted, 1050), Idle::Low);
        // Power comes late: five seconds low, then pulses.
        let late = [
            (0, 0, 0),
            (0, 1, 0),
            (5_000_000, 0, 1),
            (5_000_000, 1, 1),
            (5_300_000, 0, 0),
            (5_300_050, 0, 1),
        ];
        assert_eq!(idle(&late, 5_500_000), Idle::High);
        // The other line is stuck low.
        let stuck = [(0, 0, 1), (0, 1, 0), (9000, 0, 0), (9050, 0, 1)];
        assert_eq!(idle(&stuck, 20_000), Idle::High);
        assert_eq!(idle(&[(0, 0, 2), (0, 1, 2)], 10), Idle::High);
    }
}
