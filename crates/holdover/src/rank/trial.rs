//! The wiring of each reader, from the likelihood of all its captures under
//! each state.
//!
//! The captures of a reader are taken one by one, in an order that hashes give,
//! and each is weighed by what those before it taught under the same state: its
//! parts' shares and the codes seen. The product is a probability of all of
//! them together, in which nothing counts twice; a sum of leave-one-out
//! likelihoods over proportions that the states share is none, and the state
//! that happens to lead proves itself.
//!
//! Captures without the name of a reader may come from several: then each has a
//! state of its own, and the shares of the states are learnt with the rest.
//!
//! Readers that their own captures settle are taken first; what they teach is
//! there when those are weighed that have sent few.

use std::collections::HashMap;

use super::batch::Batch;
use super::faults::Prints;
use super::guess::Guess;
use super::known::Known;
use super::model::{
    GUESSED_WRONGLY_LOG2, MIXED_LOG2, MIXED_NAMED_LOG2, PSEUDO_COUNT, REVERSED_LOG2, SWAPPED_LOG2,
};
use crate::bits::Capture;
use crate::decode::Reading;

/// Proportions of one kind's parts.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Shares {
    pub free: f64,
    pub owned: f64,
    pub repeating: f64,
    /// Starting proportion of each part the kind has.
    pub start: f64,
    /// The same of the part whose codes repeat; 0 where there is none.
    pub repeating_start: f64,
}

/// From here on a reader's own captures settle its wiring: what they teach is
/// taken for true when others are weighed.
const SETTLED_BY_ITSELF: f64 = 0.999;
const SETTLED_BY_OTHERS: f64 = 0.9;

/// Pseudo-captures that the shares of the states start from where a reader is
/// several. Judgement: one capture in each two of the likelier states.
const STATES_START: [f64; 4] = [1.0, 1.0, 1.0 / 16.0, 1.0 / 16.0];

/// What is known of a reader's wiring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct States {
    /// Probability of each state; where it is mixed, each state's share.
    pub probability: [f64; 4],
    /// Several readers, or one that changed: a state for each capture.
    pub mixed: bool,
}

/// Prior of the wiring states, in the order of `Reading::WIRING`.
pub(super) fn wiring_prior(guessed: bool) -> [f64; 4] {
    let swapped = if guessed { GUESSED_WRONGLY_LOG2 } else { SWAPPED_LOG2 }.exp2();
    let reversed = REVERSED_LOG2.exp2();
    [1.0 - swapped - 2.0 * reversed, swapped, reversed, reversed]
}

/// Expected counts of the captures taken so far.
#[derive(Debug, Clone)]
struct Trial<'f, 't> {
    batch: &'f Batch<'t>,
    none: Vec<f64>,
    shares: Vec<Shares>,
    codes: HashMap<(u32, u128), f64>,
    prints: Prints,
    taken: f64,
}

/// One capture's guesses, and the length it has.
#[derive(Debug)]
struct Taken {
    length: usize,
    guesses: Vec<Guess>,
}

impl Trial<'_, '_> {
    /// The parts of a guess, before it is weighed by its state.
    fn parts(&self, guess: &Guess) -> [f64; 3] {
        let shares = &self.shares[guess.kind as usize];
        let kind = &self.batch.kinds[guess.kind as usize];
        let repeating = kind.code.as_ref().map_or(0.0, |(span, codes)| {
            let seen = self.codes.get(&(guess.kind, span.number(&guess.word)));
            shares.repeating_start + seen.copied().unwrap_or(0.0) * codes
        });
        [shares.free, shares.owned * guess.owned, repeating]
            .map(|part| part * guess.likelihood * self.prints.factor(guess))
    }

    /// Natural logarithm of a capture's probability, the states having these
    /// shares; the capture is counted. `states` are counted too.
    ///
    /// Unknown kinds are weighed as captured in every state: nobody knows which
    /// way round their bits are, so they tell nothing of the wiring.
    fn take(&mut self, capture: &Taken, shares: &[f64; 4], states: &mut [f64; 4]) -> f64 {
        let parts: Vec<[f64; 3]> = capture.guesses.iter().map(|guess| self.parts(guess)).collect();
        let none = self.none[capture.length];
        let mut of_state = [none; 4];
        for (guess, parts) in capture.guesses.iter().zip(&parts) {
            let sum = parts.iter().sum::<f64>();
            match guess.strange {
                true => of_state.iter_mut().for_each(|of| *of += sum),
                false => of_state[guess.wiring()] += sum,
            }
        }
        let sum: f64 = of_state.iter().zip(shares).map(|(of, share)| of * share).sum();
        for (count, (of, share)) in states.iter_mut().zip(of_state.iter().zip(shares)) {
            *count += of * share / sum;
        }
        self.none[capture.length] += none * shares.iter().sum::<f64>() / sum;
        for (guess, parts) in capture.guesses.iter().zip(&parts) {
            let share = if guess.strange { 1.0 } else { shares[guess.wiring()] };
            let scale = share / sum;
            // Nothing that rounding would not lose.
            if scale * parts.iter().sum::<f64>() < 1e-12 {
                continue;
            }
            if let Some(agrees) = guess.noted {
                self.prints.count(agrees, scale * parts.iter().sum::<f64>());
            }
            let of = &mut self.shares[guess.kind as usize];
            of.free += scale * parts[0];
            of.owned += scale * parts[1];
            if let Some((span, _)) = &self.batch.kinds[guess.kind as usize].code {
                let key = (guess.kind, span.number(&guess.word));
                *self.codes.entry(key).or_default() += scale * parts[2];
            }
        }
        let log = (sum / (self.taken + PSEUDO_COUNT)).ln();
        self.taken += 1.0;
        log
    }

    /// The same for all captures of a reader under one state.
    fn take_all(&mut self, captures: &[Taken], state: usize) -> f64 {
        let shares = std::array::from_fn(|w| f64::from(u8::from(w == state)));
        captures.iter().map(|capture| self.take(capture, &shares, &mut [0.0; 4])).sum()
    }

    /// The same, each capture having a state of its own; and the states' shares.
    fn take_mixed(&mut self, captures: &[Taken]) -> (f64, [f64; 4]) {
        let mut states = STATES_START;
        let mut log = 0.0;
        for capture in captures {
            let all: f64 = states.iter().sum();
            log += self.take(capture, &states.map(|count| count / all), &mut states);
        }
        let all: f64 = states.iter().sum();
        (log, states.map(|count| count / all))
    }

    /// What the captures of a reader say of its wiring beside those taken.
    fn states(&self, captures: &[Taken], named: bool, guessed: bool) -> States {
        let prior = wiring_prior(guessed);
        let mut logs: Vec<f64> =
            (0..4).map(|w| prior[w].ln() + self.clone().take_all(captures, w)).collect();
        let mixed = if named { MIXED_NAMED_LOG2 } else { MIXED_LOG2 };
        let (log, shares) = self.clone().take_mixed(captures);
        logs.push(log + mixed * std::f64::consts::LN_2);
        let top = logs.iter().copied().fold(f64::MIN, f64::max);
        let powers: Vec<f64> = logs.iter().map(|log| (log - top).exp()).collect();
        // Where several readers explain them best, that is how they are read.
        if captures.len() > 1 && powers[4] > powers[..4].iter().sum::<f64>() {
            return States { probability: shares, mixed: true };
        }
        let sum: f64 = powers[..4].iter().sum();
        States { probability: std::array::from_fn(|w| powers[w] / sum), mixed: false }
    }

    fn keep(&mut self, captures: &[Taken], states: &States) {
        if states.mixed {
            self.take_mixed(captures);
        } else {
            self.take_all(captures, states.best());
        }
    }
}

impl States {
    /// What a capture's parts are shares of, by state: of the state's own sum
    /// where one state is true of all captures, else of all states' together.
    pub fn within(&self, sums: &[f64; 4]) -> [f64; 4] {
        if !self.mixed {
            return *sums;
        }
        let all: f64 = sums.iter().zip(self.probability).map(|(sum, share)| sum * share).sum();
        [all; 4]
    }

    fn best(&self) -> usize {
        (0..4)
            .fold(0, |best, w| if self.probability[w] > self.probability[best] { w } else { best })
    }

    fn is_above(&self, bound: f64) -> bool {
        self.mixed || self.probability[self.best()] > bound
    }
}

/// The wiring of every reader, from a sample of its captures in a fixed order.
pub(super) fn wirings(
    batch: &Batch<'_>,
    (none, shares): (Vec<f64>, Vec<Shares>),
    sample: &[(u32, Capture)],
) -> Vec<States> {
    let trial =
        Trial { batch, none, shares, codes: HashMap::new(), prints: Prints::default(), taken: 0.0 };
    let nothing = Known::default();
    let mut of_reader: Vec<Vec<Taken>> = batch.readers.iter().map(|_| Vec::new()).collect();
    for (reader, capture) in sample {
        let known = batch.known.get(&(*reader, *capture)).unwrap_or(&nothing);
        let mut guesses = batch.guesses(capture, known, [true; 4]);
        guesses.retain(|guess| !guess.strange || guess.reading == Reading::AsCaptured);
        of_reader[*reader as usize].push(Taken { length: capture.len(), guesses });
    }
    let weigh = |trial: &Trial<'_, '_>, reader: usize| {
        let name = &batch.readers[reader];
        trial.states(&of_reader[reader], !name.is_empty(), batch.guessed.contains(name))
    };
    let mut states: Vec<States> =
        (0..batch.readers.len()).map(|reader| weigh(&trial, reader)).collect();
    if states.len() < 2 {
        return states;
    }
    let mut order: Vec<usize> = (0..states.len()).collect();
    order.sort_by_key(|reader| &batch.readers[*reader]);
    let mut all = trial;
    let (sure, open): (Vec<usize>, Vec<usize>) =
        order.into_iter().partition(|reader| states[*reader].is_above(SETTLED_BY_ITSELF));
    sure.iter().for_each(|reader| all.keep(&of_reader[*reader], &states[*reader]));
    for reader in open {
        states[reader] = weigh(&all, reader);
        if states[reader].is_above(SETTLED_BY_OTHERS) {
            all.keep(&of_reader[reader], &states[reader]);
        }
    }
    states
}
