//! Fitting the mixture to a batch: proportions, repeating codes, wiring.

mod codes;
mod common;
mod doubt;
mod harm;

use std::collections::HashMap;
use std::ops::Range;

use self::codes::{Codes, Part, stages, words_of};
use self::common::{Common, guess_pattern};
use self::harm::Harm;
use super::batch::Batch;
use super::class::{Class, Classes, Classifier, KnownCodes, Teller};
use super::digits;
use super::faults::{self, Faults, Rates};
use super::guess::{Guess, Kind};
use super::known::Known;
use super::mend;
use super::model::{
    CLASSES_MOST, GUESSES_MOST, NONE_SHARE, PSEUDO_COUNT, RULED_OUT, SETTLED, SETTLES_WIRING,
    SWEEPS, UNKNOWN_LENGTH,
};
use super::roles::Roles;
use super::trial::{self, Shares, States, wiring_prior};
use crate::bits::{Capture, Wide};
use crate::decode::Reading;

/// Sweeps before finer codes are let in.
/// Judgement: the coarse codes' shares are within a per cent by then.
const STAGE_SWEEPS: usize = 5;

/// A reader's wiring, as its captures tell it.
#[derive(Debug, Clone, PartialEq)]
pub struct Wiring {
    /// The reader's name; empty where the input names none.
    pub reader: String,
    /// Probability of each state, in the order of [`WIRING`](crate::decode::Reading::WIRING);
    /// where they are mixed, the share of the captures that came so.
    pub probability: [f64; 4],
    /// The captures came by readers of different wiring, as those without a
    /// reader's name may.
    pub mixed: bool,
    /// Which line is which was guessed, so that "swapped" says no more than
    /// that the guess was wrong.
    pub guessed: bool,
}

/// A batch with its proportions settled.
#[derive(Debug)]
pub struct Fit<'b, 't> {
    pub(super) batch: &'b Batch<'t>,
    /// Share of "none of these", by length.
    pub(super) none: Vec<f64>,
    start_none: Vec<f64>,
    pub(super) shares: Vec<Shares>,
    pub(super) total: f64,
    /// The classes, in the order they are summed.
    classes: Classes<'b>,
    guesses: Vec<Guess>,
    /// The guesses of each class.
    of_class: Vec<Range<usize>>,
    /// For each guess: what one capture takes of each part itself.
    own: Vec<Own>,
    /// For each class: what one capture takes of "none of these" itself.
    own_none: Vec<f64>,
    wiring: Vec<States>,
    patterns: HashMap<usize, Common>,
    pub(super) roles: Vec<Roles>,
    /// For a kind under a state of the wiring: how likely it is that its cards
    /// are another's, whose checks hold or fail by their code.
    pub(super) suspects: HashMap<(u32, usize), f64>,
    codes: Codes,
    /// For a sample: the codes it knows, by kind.
    known_codes: Vec<Option<KnownCodes>>,
    /// What the last sweep left of each guess.
    parts: Vec<Part>,
    /// For each guess: the first one of the same word of the same capture.
    word_of: Vec<u32>,
    /// Likelihoods before faults were learnt.
    base: Vec<f64>,
    rates: Rates,
    /// For each class: what one capture takes of the faults itself.
    own_faults: Vec<Faults>,
    /// Captures of each reader that may be harmed ones.
    harm: Vec<Harm>,
    /// Digits of unknown length.
    pub(super) digits: digits::Settled,
}

/// What one guess takes of its kind's parts, as shares. A capture must not
/// prove itself: its own are left out where it is weighed.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Own {
    free: f64,
    owned: f64,
    repeating: f64,
    /// The share promised to the guess's code by the other captures.
    pub promised: f64,
}

/// One capture's guesses against the fitted mixture.
pub(super) struct Weighed {
    /// Share of the mixture that "none of these" has.
    pub none: f64,
    /// Wiring as all other captures of the reader tell it.
    pub wiring: [f64; 4],
}

/// How many captures settle the wiring where a length has so many layouts: a
/// quarter of all guesses at most.
fn settle_wiring(layouts: usize) -> usize {
    let each = layouts * Reading::ALL.len();
    (GUESSES_MOST / 4 / each.max(1)).clamp(1, SETTLES_WIRING)
}

impl<'t> Batch<'t> {
    /// Settles the proportions, the repeating codes and the wiring.
    ///
    /// Where a reader sent many captures, a few of them settle which wirings
    /// are ruled out; the rest is weighed without those.
    pub fn fit(&self) -> Fit<'_, 't> {
        let fit = self.fit_beside(&[]);
        // Digits whose length is clear by now tell of the batch what captures do.
        match fit.digits.likely() {
            likely if likely.is_empty() => fit,
            likely => self.fit_beside(&likely),
        }
    }

    /// The same, with captures that digits of unknown length are taken for.
    fn fit_beside(&self, likely: &[(u32, Capture)]) -> Fit<'_, 't> {
        let most = self.by_length.iter().map(Vec::len).max().unwrap_or(0);
        let most = settle_wiring(most);
        let mut sample = self.sketch.sample(most);
        sample.extend_from_slice(likely);
        let states = trial::wirings(self, self.start(), &sample);
        let counts = self.sketch.counts();
        let ruled_out = |(states, count): (&States, &usize)| {
            // Few captures are weighed in all states, so that near misses are shown.
            states.probability.map(|p| *count <= most || p > RULED_OUT)
        };
        let live: Vec<[bool; 4]> = states.iter().zip(&counts).map(ruled_out).collect();
        let patterns = self.patterns(likely);
        let common = patterns
            .iter()
            .filter_map(|(length, common)| Some((*length, common.pattern.as_ref()?.mask())))
            .collect();
        let classes = self.classes(&live, &common);
        let fit = self.fit_all(&classes, &states, &patterns);
        let doubted = fit.doubted_swaps();
        if doubted.is_empty() {
            return fit;
        }
        let (mut states, mut live) = (fit.wiring, live);
        for reader in doubted {
            let prior = wiring_prior(self.guessed.contains(&self.readers[reader]));
            states[reader] = States { probability: prior, mixed: false };
            live[reader] = [true; 4];
        }
        self.fit_all(&self.classes(&live, &common), &states, &patterns)
    }

    /// Fits these classes, and digits of unknown length with them.
    fn fit_all<'b>(
        &'b self,
        classes: &Classes<'b>,
        states: &[States],
        patterns: &HashMap<usize, Common>,
    ) -> Fit<'b, 't> {
        self.fit_digits(classes.len(), |more, likely| {
            Fit::of(self, classes.clone().with(more), states.to_vec(), patterns, likely)
        })
    }

    /// The classes of the captures. Where too many captures have a class of their
    /// own, fewer are counted.
    fn classes(&self, live: &[[bool; 4]], common: &HashMap<usize, Wide>) -> Classes<'_> {
        let mut level = self.sketch.level();
        loop {
            let items = self.sketch.below(level);
            let most = if level < 63 { CLASSES_MOST } else { usize::MAX };
            match Classes::of(self, items, live, common, level, most) {
                Some(classes) if most == usize::MAX || self.weighs(&classes) <= GUESSES_MOST => {
                    return classes;
                }
                _ => level += 1,
            }
        }
    }

    /// Whether a layout is one bit longer or shorter, and none of this length.
    pub(super) fn is_near(&self, length: usize) -> bool {
        let of = |length: usize| self.by_length.get(length).is_some_and(|kinds| !kinds.is_empty());
        !of(length) && (of(length + 1) || length > 0 && of(length - 1))
    }

    /// How many guesses the classes have, but for a few.
    fn weighs(&self, classes: &Classes<'_>) -> usize {
        let of = |length: usize| self.by_length.get(length).map_or(0, Vec::len);
        let each = |class: &Class| {
            let length = class.capture.len();
            // A bit lost at either end was 0 or 1; one gained is taken off.
            let slipped = 4 * of(length + 1) + 2 * of(length - 1);
            let wired = class.live.iter().filter(|live| **live).count() * of(length);
            // Words mended inside are up to two bits longer or shorter.
            let near = length.saturating_sub(2)..=length + 2;
            let mends = if class.known.doubt.is_empty() { 0 } else { mend::MOST };
            let mended = mends * near.map(of).max().unwrap_or(0);
            wired + if class.live[0] { slipped + mended } else { 0 }
        };
        classes.iter().map(each).sum()
    }

    /// The proportions before any capture is seen: of "none of these" by length,
    /// and of the parts of each kind.
    fn start(&self) -> (Vec<f64>, Vec<Shares>) {
        let mut none = vec![0.0; Capture::MAX_BITS + 2];
        let mut shares = vec![Shares::default(); self.kinds.len()];
        for (length, kinds) in self.by_length.iter().enumerate() {
            let weight = |kind: &u32| self.kinds[*kind as usize].layout.spec().weight;
            let all: f64 = kinds.iter().map(weight).sum();
            let strange = &self.strange_by_length[length];
            let of = |kind: &u32| self.kinds[*kind as usize].strange.as_ref();
            let strange_share: f64 = strange.iter().filter_map(of).map(|kind| kind.start).sum();
            none[length] = match kinds.is_empty() {
                true if self.is_near(length) => UNKNOWN_LENGTH * PSEUDO_COUNT,
                true => PSEUDO_COUNT,
                false => NONE_SHARE * (1.0 - strange_share) * PSEUDO_COUNT,
            };
            for kind in kinds {
                let start = (1.0 - NONE_SHARE) * PSEUDO_COUNT * weight(kind) / all;
                shares[*kind as usize] = self.kinds[*kind as usize].start(start);
            }
            for kind in strange {
                let of = &self.kinds[*kind as usize];
                let start = of.strange.as_ref().map_or(0.0, |strange| strange.start);
                shares[*kind as usize] = of.start(NONE_SHARE * PSEUDO_COUNT * start);
            }
        }
        (none, shares)
    }
}

impl Kind<'_> {
    /// Starting proportions of its parts, which have `start` together.
    fn start(&self, start: f64) -> Shares {
        let owned = !self.owned.is_empty();
        let coded = self.code.is_some();
        // An unknown kind that meets no check and repeats no code is random bits.
        let free = self.strange.as_ref().is_none_or(|s| !s.keeps.is_empty()) || self.is_pattern();
        let parts = usize::from(free) + usize::from(coded) + usize::from(owned);
        let start = start / parts.max(1) as f64;
        let of = |has: bool| if has { start } else { 0.0 };
        Shares {
            free: of(free),
            owned: of(owned),
            repeating: of(coded),
            start,
            repeating_start: of(coded),
        }
    }
}

impl<'b, 't> Fit<'b, 't> {
    fn of(
        batch: &'b Batch<'t>,
        classes: Classes<'b>,
        wiring: Vec<States>,
        patterns: &HashMap<usize, Common>,
        likely: &[digits::Likely],
    ) -> Fit<'b, 't> {
        let patterns = patterns.clone();
        let (none, shares) = batch.start();
        let mut guesses = Vec::new();
        let mut of_class = Vec::with_capacity(classes.len());
        for class in classes.iter() {
            let from = guesses.len();
            guesses.extend(batch.guesses(&class.capture, &class.known, class.live));
            guess_pattern(batch, &patterns, &class.capture, class.live, true, &mut guesses);
            of_class.push(from..guesses.len());
        }
        let mut fit = Fit {
            batch,
            start_none: none.clone(),
            none,
            shares,
            total: classes.iter().map(|class| class.count * class.weight).sum(),
            own: vec![Own::default(); guesses.len()],
            own_none: vec![0.0; classes.len()],
            parts: vec![Part::default(); guesses.len()],
            word_of: words_of(&guesses, &of_class),
            base: guesses.iter().map(|guess| guess.likelihood).collect(),
            rates: Rates::new(batch.readers.len()),
            own_faults: vec![Faults::default(); classes.len()],
            harm: Vec::new(),
            digits: digits::Settled::default(),
            codes: Codes::default(),
            known_codes: Vec::new(),
            classes,
            guesses,
            of_class,
            wiring,
            patterns,
            roles: Vec::new(),
            suspects: HashMap::new(),
        };
        fit.codes = fit.sort_codes();
        fit.rate();
        for bits in stages(&batch.kinds) {
            (0..STAGE_SWEEPS).for_each(|_| _ = fit.sweep(bits));
        }
        fit.doubt_free_codes();
        for _ in 0..SWEEPS {
            if fit.sweep(f64::INFINITY) < SETTLED {
                break;
            }
        }
        fit.roles = fit.settle_roles(likely);
        fit.suspects = fit.suspect();
        fit.harm = fit.harm();
        if fit.classes.is_sample() {
            fit.known_codes = fit.known_codes();
        }
        fit
    }

    /// The parts of the mixture that a guess has, as all other captures tell
    /// them: codes free, on the site file, codes repeating.
    fn parts(&self, guess: &Guess, own: &Own) -> (f64, f64, f64) {
        let shares = &self.shares[guess.kind as usize];
        (
            guess.likelihood_free * leave_one_out(shares.free, own.free),
            guess.likelihood * leave_one_out(shares.owned, own.owned) * guess.owned,
            guess.likelihood * own.promised * self.code_count(guess.kind),
        )
    }

    /// The captures counted, and those that the prior stands for.
    fn all(&self) -> f64 {
        self.total + PSEUDO_COUNT
    }

    fn code_count(&self, kind: u32) -> f64 {
        self.batch.kinds[kind as usize].code.as_ref().map_or(0.0, |code| code.1)
    }

    fn sums(&self, none: f64, guesses: &[Guess], own: &[Own]) -> [f64; 4] {
        let mut sums = [none; 4];
        for (guess, own) in guesses.iter().zip(own) {
            let (free, owned, repeating) = self.parts(guess, own);
            sums[guess.wiring()] += free + owned + repeating;
        }
        sums
    }

    /// One sweep of expectation-maximisation; the largest change of a proportion.
    fn sweep(&mut self, most_codes: f64) -> f64 {
        let none_of =
            |fit: &Self, i: usize, length: usize| leave_one_out(fit.none[length], fit.own_none[i]);
        let sums: Vec<[f64; 4]> = self
            .classes
            .iter()
            .enumerate()
            .map(|(i, class)| {
                let range = self.of_class[i].clone();
                let none = none_of(self, i, class.capture.len());
                self.sums(none, &self.guesses[range.clone()], &self.own[range])
            })
            .collect();
        let all = self.all();
        let (mut faults, mut all_faults) = (self.rates.counts(), Faults::default());
        let mut none = vec![0.0; self.none.len()];
        let mut counts = vec![(0.0, 0.0, 0.0); self.shares.len()];
        for (i, sums) in sums.iter().enumerate() {
            let Class { ref capture, reader, weight, count: alike, .. } = *self.classes.at(i);
            let length = capture.len();
            let wiring = &self.wiring[reader as usize];
            let within = wiring.within(sums);
            let scale: [f64; 4] =
                std::array::from_fn(|w| weight * wiring.probability[w] / within[w]);
            let unknown = none_of(self, i, length);
            let takes = unknown * scale.iter().sum::<f64>();
            none[length] += alike * takes;
            self.own_none[i] = takes / all;
            let mut own_faults = Faults::default();
            for g in self.of_class[i].clone() {
                let guess = &self.guesses[g];
                let w = guess.wiring();
                let (free, owned, repeating) = self.parts(guess, &self.own[g]);
                let takes = (scale[w] * free, scale[w] * owned, scale[w] * repeating);
                own_faults.take(guess, takes.0 + takes.1 + takes.2, takes.1 + takes.2);
                let count = &mut counts[guess.kind as usize];
                count.0 += alike * takes.0;
                count.1 += alike * takes.1;
                count.2 += alike * takes.2;
                let (of, state) = match wiring.mixed {
                    true => (wiring.probability[w], 1.0),
                    false => (1.0, wiring.probability[w]),
                };
                self.parts[g] = Part {
                    raw: of * guess.likelihood * self.code_count(guess.kind),
                    repeating: of * repeating,
                    within: within[w],
                    rest: of * (unknown + free + owned),
                    weight: weight * state,
                    count: alike,
                };
                let own = &mut self.own[g];
                (own.free, own.owned) = (takes.0 / all, takes.1 / all);
                own.repeating = takes.2 / all;
            }
            faults[reader as usize].add(&own_faults, alike);
            all_faults.add(&own_faults, alike);
            self.own_faults[i] = own_faults;
        }
        self.rates.set(faults, all_faults);
        self.rate();
        let change = self.settle(none, counts);
        self.predictive_share(most_codes);
        change
    }

    /// Weighs the guesses by the faults that all other captures tell.
    fn rate(&mut self) {
        for (i, class) in self.classes.iter().enumerate() {
            let rates = self.rates.without(class.reader, &self.own_faults[i]);
            for g in self.of_class[i].clone() {
                let [with_code, with_any] = rates.factor(&self.guesses[g]);
                self.guesses[g].likelihood = self.base[g] * with_code;
                self.guesses[g].likelihood_free = self.base[g] * with_any;
            }
        }
    }

    /// New proportions from expected counts; the largest change.
    fn settle(&mut self, none: Vec<f64>, counts: Vec<(f64, f64, f64)>) -> f64 {
        let all = self.all();
        let mut change: f64 = 0.0;
        let mut set = |share: &mut f64, count: f64| {
            change = change.max((*share - count / all).abs());
            *share = count / all;
        };
        for (length, count) in none.into_iter().enumerate() {
            set(&mut self.none[length], count + self.start_none[length]);
        }
        for (shares, (free, owned, repeating)) in self.shares.iter_mut().zip(counts) {
            let start = shares.start;
            // A part the kind does not have stays at 0.
            let of = |share: f64, count: f64| if share > 0.0 { count + start } else { 0.0 };
            let (owned, repeating) = (of(shares.owned, owned), of(shares.repeating, repeating));
            let free = of(shares.free, free);
            set(&mut shares.free, free);
            set(&mut shares.owned, owned);
            set(&mut shares.repeating, repeating);
        }
        change
    }

    /// Which states of a reader's wiring are not ruled out.
    fn live(&self, reader: Option<u32>) -> [bool; 4] {
        reader.map_or([true; 4], |reader| self.classes.live(reader))
    }

    /// Makes signatures of the captures of a reader that were seen: those of
    /// one signature have the same answer but for their numbers. `None` where
    /// that cannot be said beforehand, since something is known of captures,
    /// or several readers sent the same ones.
    pub fn classifier(&self, reader: &str, length: usize) -> Option<Classifier<'_>> {
        let reader = self.batch.reader(reader)?;
        if !self.batch.known.is_empty() || self.batch.readers.len() > 1 {
            return None;
        }
        Some(self.classes.classifier(self.batch, &self.known_codes, reader, length))
    }

    /// Tells the captures of a reader apart, seen or not, also where several
    /// readers sent the same ones. `None` for a reader that sent none, and where
    /// something is known of captures.
    pub fn teller(&self, reader: &str, length: usize) -> Option<Teller<'_>> {
        let reader = self.batch.reader(reader)?;
        if !self.batch.known.is_empty() {
            return None;
        }
        Some(self.classes.teller(self.batch, &self.known_codes, reader, length))
    }

    /// How many distinct captures settled the proportions: all of the batch, or
    /// a fair sample of them.
    pub fn counted(&self) -> u64 {
        self.classes.iter().map(|class| class.count as u64).sum()
    }

    /// The wiring of each reader, in the order first seen.
    pub fn wiring(&self) -> Vec<Wiring> {
        let of = |(reader, states): (&String, &States)| Wiring {
            reader: reader.clone(),
            probability: states.probability,
            mixed: states.mixed,
            guessed: self.batch.guessed.contains(reader),
        };
        self.batch.readers.iter().zip(&self.wiring).map(of).collect()
    }

    /// The class of a capture; `None` where it is not counted.
    pub(super) fn class_of(&self, reader: Option<u32>, capture: &Capture) -> Option<usize> {
        reader.and_then(|reader| self.classes.find(self.batch, reader, capture))
    }

    /// The guesses at one capture of a class, what each takes of the mixture itself,
    /// and what the capture takes of "none of these": nothing where it is not counted.
    pub(super) fn guesses_of(
        &self,
        reader: Option<u32>,
        capture: &Capture,
        known: &Known,
        class: Option<usize>,
    ) -> (Vec<Guess>, Vec<Own>, f64) {
        let mut guesses = self.batch.guesses(capture, known, self.live(reader));
        let live = self.live(reader);
        guess_pattern(self.batch, &self.patterns, capture, live, class.is_some(), &mut guesses);
        let own = class.map_or_else(Faults::default, |class| self.own_faults[class]);
        let rates = reader.map_or_else(faults::Rate::usual, |r| self.rates.without(r, &own));
        guesses.iter_mut().for_each(|guess| rates.apply(guess));
        let new =
            |guess: &Guess| Own { promised: self.promised_to_another(guess), ..Own::default() };
        match class {
            Some(i) => {
                // Of a capture noted twice, otherwise each time, one note is counted.
                let counted = &self.guesses[self.of_class[i].clone()];
                let own = &self.own[self.of_class[i].clone()];
                let key = |g: &Guess| (g.kind, g.reading, g.restored, g.mended.map(|_| g.word));
                let same = guesses.len() == own.len()
                    && guesses.iter().zip(counted).all(|(a, b)| key(a) == key(b));
                let of = |guess: &Guess| {
                    counted.iter().position(|other| key(other) == key(guess)).map(|at| own[at])
                };
                let own = match same {
                    true => own.to_vec(),
                    false => guesses.iter().map(|g| of(g).unwrap_or_else(|| new(g))).collect(),
                };
                (guesses, own, self.own_none[i])
            }
            None => {
                let own = guesses.iter().map(new).collect();
                (guesses, own, 0.0)
            }
        }
    }

    pub(super) fn weigh(
        &self,
        reader: Option<u32>,
        length: usize,
        own_none: f64,
        guesses: &[Guess],
        own: &[Own],
    ) -> Weighed {
        let none = leave_one_out(self.none[length], own_none);
        let sums = self.sums(none, guesses, own);
        let unseen = States { probability: wiring_prior(false), mixed: false };
        let wiring = reader.map_or(&unseen, |reader| &self.wiring[reader as usize]);
        let within = wiring.within(&sums);
        let mut others: [f64; 4] = std::array::from_fn(|w| wiring.probability[w] / within[w]);
        let norm: f64 = others.iter().sum();
        others.iter_mut().for_each(|w| *w /= norm);
        Weighed { none, wiring: others }
    }

    /// What "none of these" starts with more than a card's unknown length is likely,
    /// where no layout has that length.
    pub(super) fn unlikely_length(&self, length: usize) -> f64 {
        match self.batch.by_length[length].is_empty() {
            true => (self.start_none[length] - self.batch.unknown_length()).max(0.0) / self.all(),
            false => 0.0,
        }
    }

    /// The mixture's part for a guess, free, owned and repeating together.
    pub(super) fn part(&self, guess: &Guess, own: &Own) -> f64 {
        let (free, owned, repeating) = self.parts(guess, own);
        free + owned + repeating
    }

    /// What the other captures say of a guess's code and of the site file:
    /// log2 of how much better than an even spread each explains it.
    pub(super) fn code_bits(&self, guess: &Guess, own: &Own) -> (f64, f64) {
        let shares = &self.shares[guess.kind as usize];
        let free = leave_one_out(shares.free, own.free);
        let owned = leave_one_out(shares.owned, own.owned);
        let repeating = leave_one_out(shares.repeating, own.repeating);
        let seen = free + own.promised * self.code_count(guess.kind);
        let code = seen / (free + repeating);
        let with_file = (seen + owned * guess.owned) / (free + repeating + owned);
        (code.log2(), (with_file / code).log2())
    }
}

/// A share without what one capture takes of it itself.
fn leave_one_out(share: f64, own: f64) -> f64 {
    // Rounding must not make a share vanish or turn negative.
    (share - own).max(share * 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All 256 while they fit; one at least.
    #[test]
    fn a_few_captures_settle_the_wiring() {
        assert_eq!(settle_wiring(0), SETTLES_WIRING);
        for layouts in [1, 10, 64, 100, 1_000, 10_000] {
            let captures = settle_wiring(layouts);
            let guesses = captures * layouts * Reading::ALL.len();
            assert!(guesses <= GUESSES_MOST / 4, "{layouts}: {captures}");
            let one_more = (captures + 1) * layouts * Reading::ALL.len();
            assert!(captures == SETTLES_WIRING || one_more > GUESSES_MOST / 4, "{layouts}");
        }
        assert_eq!(settle_wiring(1 << 20), 1);
    }
}
