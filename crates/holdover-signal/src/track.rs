//! Changes to readers: each line's change goes to its pair, or is kept until
//! the lines' behaviour has told the pairs.

use std::collections::VecDeque;
use std::sync::Arc;

use crate::behaviour;
use crate::change::{Changes, Level};
use crate::frame::Framer;
use crate::health::Health;
use crate::lines::{DEFAULT_READER, Pairing, Pick};
use crate::options::{MOST_READERS, Options};
use crate::pair::Pair;
use crate::read::CardRead;
use crate::sniff::InputKind;
use crate::summary::{Chosen, ReaderSummary, Summary};
use crate::time::{micros, nanos};

/// Takes the changes of the lines followed.
#[derive(Debug)]
pub(crate) struct Tracker {
    options: Options,
    period: i64,
    pairings: Vec<Pairing>,
    chosen: Chosen,
    /// Line `2n` is D0 and `2n + 1` is D1 of pair `n`, by way of `route`.
    pairs: Vec<Pair>,
    /// Where each line followed goes; empty: straight on.
    route: Vec<Option<u16>>,
    watch: Option<Watch>,
    on: Option<i64>,
}

/// Lines watched until they tell which are pairs.
#[derive(Debug)]
struct Watch {
    names: Vec<String>,
    changes: Vec<(i64, u16, Level)>,
}

impl Tracker {
    /// Follows pairs that are known.
    pub(crate) fn following(
        options: &Options,
        pairings: Vec<Pairing>,
        chosen: Chosen,
        period: i64,
    ) -> Tracker {
        let mut tracker = Tracker {
            options: options.clone(),
            period,
            pairings: Vec::new(),
            chosen,
            pairs: Vec::new(),
            route: Vec::new(),
            watch: None,
            on: None,
        };
        tracker.set_pairs(pairings);
        tracker
    }

    /// Watches lines of these names.
    pub(crate) fn watching(options: &Options, names: Vec<String>, period: i64) -> Tracker {
        let mut tracker = Tracker::following(options, Vec::new(), Chosen::Behaviour, period);
        tracker.watch = Some(Watch { names, changes: Vec::new() });
        tracker
    }

    fn set_pairs(&mut self, pairings: Vec<Pairing>) {
        let glitch = nanos(self.options.glitch_us);
        for pairing in &pairings {
            let health = Health::new(Arc::from(pairing.reader.as_str()), self.period);
            let framer = Framer::new(self.options.gap_us.map(nanos), health);
            let mut pair = Pair::new(self.options.idle, glitch, framer);
            if let Some(at) = self.on {
                pair.on(at);
            }
            self.pairs.push(pair);
        }
        self.pairings = pairings;
    }

    /// Lets behaviour tell the pairs, by what was seen until `now`.
    fn decide(&mut self, now: i64) {
        let Some(watch) = self.watch.take() else { return };
        let mut found = behaviour::pairs(&watch.changes, watch.names.len(), now);
        found.truncate(MOST_READERS);
        if found.is_empty() {
            // Nothing pulsed: the first two, so that there is something to show.
            found.push((0, 1));
        }
        self.route = vec![None; watch.names.len()];
        let mut pairings = Vec::new();
        for (i, (a, b)) in found.iter().copied().enumerate() {
            self.route[a] = Some(2 * i as u16);
            self.route[b] = Some(2 * i as u16 + 1);
            let reader = match found.len() {
                1 => DEFAULT_READER.to_owned(),
                _ => format!("{DEFAULT_READER}{}", i + 1),
            };
            let picks = [Pick { line: a, bit: 0 }, Pick { line: b, bit: 0 }];
            let names = [watch.names[a].clone(), watch.names[b].clone()];
            pairings.push(Pairing { reader, picks, names });
        }
        self.set_pairs(pairings);
        for (at, line, level) in watch.changes {
            self.forward(at, line, level);
        }
    }

    #[inline]
    fn forward(&mut self, at: i64, line: u16, level: Level) {
        let slot = match self.route.get(usize::from(line)) {
            Some(Some(slot)) => *slot,
            Some(None) => return,
            None => line,
        };
        if let Some(pair) = self.pairs.get_mut(usize::from(slot >> 1)) {
            pair.change(usize::from(slot & 1), at, level);
        }
    }

    /// Hands out the reads that are ready.
    pub(crate) fn drain(&mut self, on_read: &mut dyn FnMut(CardRead)) {
        for pair in &mut self.pairs {
            let ready: &mut VecDeque<CardRead> = &mut pair.framer.health.out;
            ready.drain(..).for_each(&mut *on_read);
        }
    }

    /// Time has come this far.
    pub(crate) fn tick(&mut self, now: i64) {
        self.pairs.iter_mut().for_each(|pair| pair.tick(now));
    }

    /// Nothing more comes for now.
    pub(crate) fn pause(&mut self, now: i64) {
        self.decide(now);
        self.pairs.iter_mut().for_each(|pair| pair.pause(now));
    }

    /// The end of the recording; `step` is the time between samples, where it
    /// is known.
    pub(crate) fn finish(&mut self, end: i64, damaged: bool, step: Option<i64>) {
        self.decide(end);
        for pair in &mut self.pairs {
            pair.finish(end, damaged);
            pair.conclude();
            let health = &mut pair.framer.health;
            if let Some(step) = step {
                health.sampled_every(step);
            }
            health.conclude();
        }
    }

    /// What the whole recording tells.
    pub(crate) fn summary(self, kind: InputKind, mut notes: Vec<String>, end: i64) -> Summary {
        if self.chosen.is_guess() {
            notes.push(format!("{}: say which lines they are to be sure", self.chosen));
        }
        for (pair, pairing) in self.pairs.iter().zip(&self.pairings) {
            if pair.is_released() {
                notes.push(format!(
                    "{}: nobody drives the lines at rest (z): they were read as if a resistor took \
                     them to the level they do not pulse to",
                    pairing.reader
                ));
            }
        }
        let readers: Vec<ReaderSummary> = self
            .pairs
            .into_iter()
            .zip(self.pairings)
            .map(|(pair, pairing)| ReaderSummary::of(pair, pairing))
            .collect();
        notes.extend(readers.iter().filter_map(ReaderSummary::idle_note));
        Summary { kind, chosen: self.chosen, readers, end_us: micros(end), notes }
    }
}

impl Changes for Tracker {
    #[inline]
    fn change(&mut self, at: i64, line: u16, level: Level) {
        match &mut self.watch {
            None => self.forward(at, line, level),
            Some(watch) => {
                watch.changes.push((at, line, level));
                if watch.changes.len() >= behaviour::LOOK {
                    self.decide(at);
                }
            }
        }
    }

    fn off(&mut self, at: i64) {
        self.pairs.iter_mut().for_each(|pair| pair.finish(at, false));
    }

    fn on(&mut self, at: i64) {
        self.on.get_or_insert(at);
        self.pairs.iter_mut().for_each(|pair| pair.on(at));
    }
}
