//! One reader's two lines, from levels to edges: the idle level is found, and
//! what is too short to be a pulse is taken out.
//!
//! Evidence for the idle level: lines rest far longer than they pulse.

use crate::change::Level;
use crate::frame::{Framer, is_high};
use crate::gap;
use crate::health::Glitch;
use crate::options::Idle;

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

/// One reader's two lines.
#[derive(Debug)]
pub(crate) struct Pair {
    idle: Option<Idle>,
    early: Vec<Early>,
    moves: usize,
    /// The last level known.
    high: [Option<bool>; 2],
    /// The level has not been known since.
    hazy: [bool; 2],
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
            high: [None; 2],
            hazy: [false; 2],
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
        let began = *self.began.get_or_insert(at);
        let Some(idle) = self.idle else {
            return self.learn(Early { at, line, level, initial: at == began });
        };
        self.follow(idle, line, at, level, at == began);
    }

    #[inline]
    fn follow(&mut self, idle: Idle, line: usize, at: i64, level: Level, initial: bool) {
        let Some(high) = is_high(level) else {
            self.hazy[line] = true;
            return;
        };
        let unsure = std::mem::take(&mut self.hazy[line]);
        let before = self.high[line].replace(high);
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
        if let Some(high) = is_high(early.level)
            && self.high[early.line].replace(high).is_some_and(|before| before != high)
        {
            self.moves += 1;
        }
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
        let idle = resting(&early, now);
        self.idle = Some(idle);
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
        }
    }

    /// Recording stops: at the end, at a damage, or for a while.
    pub(crate) fn finish(&mut self, end: i64, damaged: bool) {
        self.decide(end);
        self.settle(NONE - 1 - self.glitch);
        self.framer.finish(end, damaged);
        self.high = [None; 2];
        self.hazy = [false; 2];
        self.active = [false; 2];
    }
}

/// The level the lines rest at. Rests are counted up to a gap's length, so that
/// one long state, such as a supply that is still off, does not outweigh them.
fn resting(early: &[Early], now: i64) -> Idle {
    // [line][high]
    let mut time = [[0i64; 2]; 2];
    let mut moved = [false; 2];
    for line in 0..2 {
        let mut since: Option<(i64, bool)> = None;
        let known = early.iter().filter(|e| e.line == line);
        let ends = known.map(|e| (e.at, is_high(e.level))).chain([(now, None)]);
        for (at, high) in ends {
            if let Some((from, was)) = since {
                time[line][usize::from(was)] += (at - from).clamp(0, gap::SURE);
                moved[line] |= high.is_some_and(|high| high != was);
            }
            since = high.map(|high| (at, high));
        }
    }
    let sum = |only_moved: bool, level: usize| -> f64 {
        (0..2).filter(|&l| moved[l] || !only_moved).map(|l| time[l][level] as f64).sum()
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
        resting(&early, now * 1000)
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
