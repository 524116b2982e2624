//! Fitting the mixture to a batch: proportions, repeating codes, wiring.

use std::collections::{HashMap, HashSet};
use std::ops::Range;
use std::sync::OnceLock;

use super::batch::{Batch, Guess, Kind};
use super::class::{Class, Classes, KnownCodes, Signer};
use super::mend;
use super::model::{
    CLASSES_MOST, GUESSED_WRONGLY_LOG2, GUESSES_MOST, MANY_FREE_CODES, NONE_SHARE, PSEUDO_COUNT,
    REPEATS_FROM, REVERSED_LOG2, RULED_OUT, SETTLED, SETTLES_WIRING, SWAPPED_LOG2, SWEEPS,
    VISITORS,
};
use super::share::{self, Member, promise, promise_to_another};
use crate::bits::Capture;
use crate::decode::Reading;

/// A guess that could be a member of a code is not weighed below this
/// likelihood: even a code that every capture carries could not lift it.
const NEGLIGIBLE: f64 = 1e-12;

/// Sweeps before finer codes are let in, and how often that happens at most.
/// Judgement: the coarse codes' shares are within a per cent by then.
const STAGE_SWEEPS: usize = 5;
const MOST_STAGES: usize = 6;

/// No code: the layout has none, or the guess is too poor to be a member.
const NO_CODE: u32 = u32::MAX;

/// A reader's wiring, as its captures tell it.
#[derive(Debug, Clone, PartialEq)]
pub struct Wiring {
    /// The reader's name; empty where the input names none.
    pub reader: String,
    /// Probability of each state, in the order of [`WIRING`](crate::decode::Reading::WIRING).
    pub probability: [f64; 4],
    /// Which line is which was guessed, so that "swapped" says no more than
    /// that the guess was wrong.
    pub guessed: bool,
}

/// Proportions of one kind's parts.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Shares {
    pub free: f64,
    pub owned: f64,
    pub repeating: f64,
    /// Starting proportion of each part the kind has.
    start: f64,
}

/// A batch with its proportions settled.
#[derive(Debug)]
pub struct Fit<'b, 't> {
    pub(super) batch: &'b Batch<'t>,
    /// Share of "none of these", by length.
    pub(super) none: Vec<f64>,
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
    wiring: Vec<[f64; 4]>,
    codes: Codes,
    /// For a sample: the codes it knows, by kind.
    known_codes: Vec<Option<KnownCodes>>,
    /// The last weights of the guesses as members of their codes.
    members: Vec<Member>,
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

/// Prior of the wiring states, in the order of `Reading::WIRING`.
fn wiring_prior(guessed: bool) -> [f64; 4] {
    let swapped = if guessed { GUESSED_WRONGLY_LOG2 } else { SWAPPED_LOG2 }.exp2();
    let reversed = REVERSED_LOG2.exp2();
    [1.0 - swapped - 2.0 * reversed, swapped, reversed, reversed]
}

/// How many captures settle the wiring where a length has so many layouts: a
/// quarter of all guesses at most.
fn settle_wiring(layouts: usize) -> usize {
    let each = layouts * Reading::ALL.len();
    (GUESSES_MOST / 4 / each.max(1)).clamp(1, SETTLES_WIRING)
}

/// The codes of a batch: which guesses could carry each.
#[derive(Debug, Default)]
struct Codes {
    /// Members of code i: `members[first[i]..first[i + 1]]`, indices of guesses.
    first: Vec<usize>,
    members: Vec<u32>,
    kind: Vec<u32>,
    /// By kind and number.
    index: HashMap<(u32, u128), u32>,
    /// The share promised to one more capture, once it is asked for.
    another: Vec<OnceLock<f64>>,
}

impl Codes {
    fn members(&self, code: usize) -> &[u32] {
        &self.members[self.first[code]..self.first[code + 1]]
    }
}

impl<'t> Batch<'t> {
    /// Settles the proportions, the repeating codes and the wiring.
    ///
    /// Where a reader sent many captures, a few of them settle which wirings
    /// are ruled out; the rest is weighed without those.
    pub fn fit(&self) -> Fit<'_, 't> {
        let mut live = vec![[true; 4]; self.readers.len()];
        let most = self.by_length.iter().map(Vec::len).max().unwrap_or(0);
        let sample = self.distinct.sample(settle_wiring(most));
        let first = Classes::of(self, sample.iter().copied(), &live, 0, usize::MAX);
        if let Some(first) = first.filter(|_| !sample.is_empty()) {
            let first = Fit::of(self, first);
            let asked: HashSet<u32> = sample.iter().map(|(reader, _)| *reader).collect();
            for reader in asked {
                live[reader as usize] = first.wiring[reader as usize].map(|p| p > RULED_OUT);
            }
        }
        // Where too many captures have a class of their own, fewer are counted.
        let mut halvings = self.distinct.halvings();
        let classes = loop {
            let items = self.distinct.below(halvings);
            let most = if halvings < 63 { CLASSES_MOST } else { usize::MAX };
            match Classes::of(self, items, &live, halvings, most) {
                Some(classes) if most == usize::MAX || self.weighs(&classes) <= GUESSES_MOST => {
                    break classes;
                }
                _ => halvings += 1,
            }
        };
        Fit::of(self, classes)
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

    fn wiring_priors(&self) -> Vec<[f64; 4]> {
        self.readers.iter().map(|reader| wiring_prior(self.guessed.contains(reader))).collect()
    }
}

/// How many codes the kinds have, each number once, ascending.
///
/// Coarse codes come first. Where all cards of one 8-bit code pass for cards
/// of sixteen 12-bit codes as well, both explain every capture alike, and
/// sweeps from an even start would leave them so. Once the coarse code has its
/// share, the fine ones open only where they explain more.
fn stages(kinds: &[Kind<'_>]) -> Vec<f64> {
    let mut stages: Vec<f64> =
        kinds.iter().filter_map(|kind| kind.code.as_ref()).map(|code| code.1).collect();
    stages.sort_by(f64::total_cmp);
    stages.dedup();
    // More than a few change nothing; the last lets all codes in.
    stages.truncate(MOST_STAGES);
    stages.push(f64::INFINITY);
    stages
}

impl<'b, 't> Fit<'b, 't> {
    fn of(batch: &'b Batch<'t>, classes: Classes<'b>) -> Fit<'b, 't> {
        let mut guesses = Vec::new();
        let mut of_class = Vec::with_capacity(classes.len());
        for class in classes.iter() {
            let from = guesses.len();
            guesses.extend(batch.guesses(&class.capture, &class.known, class.live));
            of_class.push(from..guesses.len());
        }
        let mut fit = Fit {
            batch,
            none: vec![0.0; Capture::MAX_BITS + 2],
            shares: vec![Shares::default(); batch.kinds.len()],
            total: classes.iter().map(|class| class.count * class.weight).sum(),
            own: vec![Own::default(); guesses.len()],
            own_none: vec![0.0; classes.len()],
            members: vec![Member { ratio: 0.0, weight: 0.0, count: 1.0 }; guesses.len()],
            codes: Codes::default(),
            known_codes: Vec::new(),
            classes,
            guesses,
            of_class,
            wiring: batch.wiring_priors(),
        };
        fit.start();
        fit.codes = fit.sort_codes();
        for bits in stages(&batch.kinds) {
            (0..STAGE_SWEEPS).for_each(|_| _ = fit.sweep(bits));
        }
        fit.doubt_free_codes();
        for _ in 0..SWEEPS {
            if fit.sweep(f64::INFINITY) < SETTLED {
                break;
            }
        }
        if fit.classes.is_sample() {
            fit.known_codes = fit.known_codes();
        }
        fit
    }

    /// The codes of each kind that some counted capture carries.
    fn known_codes(&self) -> Vec<Option<KnownCodes>> {
        let mut of_kind: Vec<Vec<u128>> = vec![Vec::new(); self.batch.kinds.len()];
        self.codes.index.keys().for_each(|(kind, code)| of_kind[*kind as usize].push(*code));
        let kinds = self.batch.kinds.iter().zip(of_kind);
        kinds
            .map(|(kind, codes)| {
                let (span, _) = kind.code.as_ref()?;
                Some(KnownCodes::of(span.len(), codes.into_iter()))
            })
            .collect()
    }

    fn start(&mut self) {
        for (length, kinds) in self.batch.by_length.iter().enumerate() {
            let weight = |kind: &u32| self.batch.kinds[*kind as usize].layout.spec().weight;
            let all: f64 = kinds.iter().map(weight).sum();
            self.none[length] = if kinds.is_empty() { PSEUDO_COUNT } else { NONE_SHARE };
            for kind in kinds {
                let of = &self.batch.kinds[*kind as usize];
                let owned = !of.owned.is_empty();
                let parts = 1 + usize::from(of.code.is_some()) + usize::from(owned);
                let start = (1.0 - NONE_SHARE) * PSEUDO_COUNT * weight(kind) / all / parts as f64;
                self.shares[*kind as usize] = Shares {
                    free: start,
                    owned: if owned { start } else { 0.0 },
                    repeating: if of.code.is_some() { start } else { 0.0 },
                    start,
                };
            }
        }
    }

    /// A layout whose codes repeat here has a few cards of other codes, as
    /// visitors bring them, but seldom many. Where another layout has the same
    /// checks, sweeps cannot tell whose many cards of odd codes are, and keep
    /// the proportion they start from; so it starts from this. Elsewhere the
    /// next sweeps set it right at once.
    fn doubt_free_codes(&mut self) {
        let repeats = REPEATS_FROM / self.all();
        let many = |s: &Shares| s.repeating > repeats && s.free > VISITORS * s.repeating;
        for shares in self.shares.iter_mut().filter(|shares| many(shares)) {
            shares.free *= MANY_FREE_CODES;
        }
        // What a capture takes itself moves with it, or it would be left out twice.
        for (own, guess) in self.own.iter_mut().zip(&self.guesses) {
            own.free = own.free.min(self.shares[guess.kind as usize].free / 2.0);
        }
    }

    /// Shape of the prior of one code's share: the part's start spread over
    /// all codes.
    fn epsilon(&self, kind: u32) -> f64 {
        let of = &self.batch.kinds[kind as usize];
        of.code.as_ref().map_or(0.0, |(_, codes)| self.shares[kind as usize].start / codes)
    }

    /// Sorts the guesses by the code they would carry.
    fn sort_codes(&mut self) -> Codes {
        let mut index: HashMap<(u32, u128), u32> = HashMap::new();
        let mut kind_of = Vec::new();
        let mut code_of = vec![NO_CODE; self.guesses.len()];
        for (i, guess) in self.guesses.iter().enumerate() {
            let of = &self.batch.kinds[guess.kind as usize];
            let Some((span, codes)) = &of.code else { continue };
            self.own[i].promised = self.shares[guess.kind as usize].start / codes;
            if guess.likelihood * codes < NEGLIGIBLE {
                continue;
            }
            let key = (guess.kind, span.number(&guess.word));
            code_of[i] = *index.entry(key).or_insert_with(|| {
                kind_of.push(guess.kind);
                kind_of.len() as u32 - 1
            });
        }
        let mut first = vec![0; kind_of.len() + 1];
        for code in code_of.iter().filter(|code| **code != NO_CODE) {
            first[*code as usize + 1] += 1;
        }
        for i in 1..first.len() {
            first[i] += first[i - 1];
        }
        let mut next = first.clone();
        let mut members = vec![0; *first.last().unwrap_or(&0)];
        for (i, code) in code_of.iter().enumerate().filter(|(_, code)| **code != NO_CODE) {
            members[next[*code as usize]] = i as u32;
            next[*code as usize] += 1;
        }
        Codes {
            another: kind_of.iter().map(|_| OnceLock::new()).collect(),
            first,
            members,
            kind: kind_of,
            index,
        }
    }

    /// The parts of the mixture that a guess has, as all other captures tell
    /// them: codes free, on the site file, codes repeating.
    fn parts(&self, guess: &Guess, own: &Own) -> (f64, f64, f64) {
        let shares = &self.shares[guess.kind as usize];
        (
            guess.likelihood * without(shares.free, own.free),
            guess.likelihood * without(shares.owned, own.owned) * guess.owned,
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
            |fit: &Self, i: usize, length: usize| without(fit.none[length], fit.own_none[i]);
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
        let priors = self.batch.wiring_priors().into_iter();
        let mut logs: Vec<[f64; 4]> = priors.map(|prior| prior.map(f64::ln)).collect();
        for (class, sum) in self.classes.iter().zip(&sums) {
            let logs = &mut logs[class.reader as usize];
            for ((log, sum), live) in logs.iter_mut().zip(sum).zip(class.live) {
                *log = if live { *log + class.count * sum.ln() } else { f64::NEG_INFINITY };
            }
        }
        self.wiring = logs.into_iter().map(softmax).collect();

        let all = self.all();
        let mut none = vec![0.0; self.none.len()];
        let mut counts = vec![(0.0, 0.0, 0.0); self.shares.len()];
        for (i, sums) in sums.iter().enumerate() {
            let Class { ref capture, reader, weight, count: alike, .. } = *self.classes.at(i);
            let length = capture.len();
            let wiring = self.wiring[reader as usize];
            let scale: [f64; 4] = std::array::from_fn(|w| weight * wiring[w] / sums[w]);
            let unknown = none_of(self, i, length);
            let takes = unknown * scale.iter().sum::<f64>();
            none[length] += alike * takes;
            self.own_none[i] = takes / all;
            for g in self.of_class[i].clone() {
                let guess = &self.guesses[g];
                let w = guess.wiring();
                let (free, owned, repeating) = self.parts(guess, &self.own[g]);
                let takes = (scale[w] * free, scale[w] * owned, scale[w] * repeating);
                let count = &mut counts[guess.kind as usize];
                count.0 += alike * takes.0;
                count.1 += alike * takes.1;
                count.2 += alike * takes.2;
                // A code of many bits may leave nothing of the sum but rounding.
                let rest = (sums[w] - repeating).max(unknown + free + owned);
                self.members[g] = Member {
                    ratio: guess.likelihood * self.code_count(guess.kind) / rest,
                    weight: weight * wiring[w],
                    count: alike,
                };
                let own = &mut self.own[g];
                (own.free, own.owned) = (takes.0 / all, takes.1 / all);
                own.repeating = takes.2 / all;
            }
        }
        let change = self.settle(none, counts);
        self.promise(most_codes);
        change
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
            let start = match self.batch.by_length[length].is_empty() {
                true => PSEUDO_COUNT,
                false => NONE_SHARE * PSEUDO_COUNT,
            };
            set(&mut self.none[length], count + start);
        }
        for (shares, (free, owned, repeating)) in self.shares.iter_mut().zip(counts) {
            let start = shares.start;
            // A part the kind does not have stays at 0.
            let of = |share: f64, count: f64| if share > 0.0 { count + start } else { 0.0 };
            let (owned, repeating) = (of(shares.owned, owned), of(shares.repeating, repeating));
            set(&mut shares.free, free + start);
            set(&mut shares.owned, owned);
            set(&mut shares.repeating, repeating);
        }
        change
    }

    fn promise(&mut self, most_codes: f64) {
        let (mut ids, mut of_code, mut out) = (Vec::<u32>::new(), Vec::new(), Vec::new());
        for (code, kind) in self.codes.kind.iter().enumerate() {
            if self.batch.kinds[*kind as usize].code.as_ref().is_none_or(|c| c.1 > most_codes) {
                continue;
            }
            ids.clear();
            ids.extend(self.codes.members(code).iter().filter(|id| self.is_live(**id)));
            of_code.clear();
            of_code.extend(ids.iter().map(|id| self.members[*id as usize]));
            if ids.is_empty() {
                continue;
            }
            promise(&of_code, self.epsilon(*kind), self.total, &mut out);
            for (id, share) in ids.iter().zip(&out) {
                self.own[*id as usize].promised = *share;
            }
        }
    }

    /// A guess under a wiring that is as good as ruled out weighs nothing.
    fn is_live(&self, guess: u32) -> bool {
        self.members[guess as usize].weight > share::NONE
    }

    /// The share promised to the code of a guess at a capture that is not
    /// counted: what its members tell, or what a new code has.
    fn promised_to_another(&self, guess: &Guess) -> f64 {
        let epsilon = self.epsilon(guess.kind);
        let code = self.batch.kinds[guess.kind as usize]
            .code
            .as_ref()
            .and_then(|(span, _)| self.codes.index.get(&(guess.kind, span.number(&guess.word))));
        let new = epsilon / self.all();
        let Some(code) = code.map(|code| *code as usize) else { return new };
        *self.codes.another[code].get_or_init(|| {
            let live = self.codes.members(code).iter().filter(|id| self.is_live(**id));
            let members: Vec<Member> = live.map(|id| self.members[*id as usize]).collect();
            match members.is_empty() {
                true => new,
                false => promise_to_another(&members, epsilon, self.total),
            }
        })
    }

    /// Which states of a reader's wiring are not ruled out.
    fn live(&self, reader: Option<u32>) -> [bool; 4] {
        reader.map_or([true; 4], |reader| self.classes.live(reader))
    }

    /// Makes signatures of the captures of a reader that were seen: those of
    /// one signature have the same answer but for their numbers. `None` where
    /// that cannot be said beforehand, since something is known of captures,
    /// or several readers sent the same ones.
    pub fn signer(&self, reader: &str, length: usize) -> Option<Signer<'_>> {
        let reader = self.batch.reader(reader)?;
        if !self.batch.known.is_empty() || self.batch.readers.len() > 1 {
            return None;
        }
        Some(self.classes.signer(self.batch, &self.known_codes, reader, length))
    }

    /// How many distinct captures settled the proportions: all of the batch, or
    /// a fair sample of them.
    pub fn counted(&self) -> u64 {
        self.classes.iter().map(|class| class.count as u64).sum()
    }

    /// The wiring of each reader, in the order first seen.
    pub fn wiring(&self) -> Vec<Wiring> {
        let of = |(reader, probability): (&String, &[f64; 4])| Wiring {
            reader: reader.clone(),
            probability: *probability,
            guessed: self.batch.guessed.contains(reader),
        };
        self.batch.readers.iter().zip(&self.wiring).map(of).collect()
    }

    /// The guesses at one capture, what each takes of the mixture itself, and
    /// what the capture takes of "none of these": nothing where it is not counted.
    pub(super) fn guesses_of(
        &self,
        reader: Option<u32>,
        capture: &Capture,
        known: &super::Known,
    ) -> (Vec<Guess>, Vec<Own>, f64) {
        let guesses = self.batch.guesses(capture, known, self.live(reader));
        let new =
            |guess: &Guess| Own { promised: self.promised_to_another(guess), ..Own::default() };
        match reader.and_then(|reader| self.classes.find(self.batch, reader, capture)) {
            Some(i) => {
                let mut own = self.own[self.of_class[i].clone()].to_vec();
                // The same bits came with other pulses in doubt: readings are the
                // same and come first, what is mended is not.
                if self.classes.at(i).known.doubt != known.doubt {
                    let readings = guesses.iter().filter(|guess| guess.mended.is_none()).count();
                    own.truncate(readings);
                    own.extend(guesses[own.len()..].iter().map(new));
                }
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
        let none = without(self.none[length], own_none);
        let sums = self.sums(none, guesses, own);
        let wiring = reader.map_or_else(|| wiring_prior(false), |r| self.wiring[r as usize]);
        let mut others: [f64; 4] = std::array::from_fn(|w| wiring[w] / sums[w]);
        let norm: f64 = others.iter().sum();
        others.iter_mut().for_each(|w| *w /= norm);
        Weighed { none, wiring: others }
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
        let free = without(shares.free, own.free);
        let owned = without(shares.owned, own.owned);
        let repeating = without(shares.repeating, own.repeating);
        let seen = free + own.promised * self.code_count(guess.kind);
        let code = seen / (free + repeating);
        let with_file = (seen + owned * guess.owned) / (free + repeating + owned);
        (code.log2(), (with_file / code).log2())
    }
}

/// A share without what one capture takes of it itself.
fn without(share: f64, own: f64) -> f64 {
    // Rounding must not make a share vanish or turn negative.
    (share - own).max(share * 1e-9)
}

fn softmax(logs: [f64; 4]) -> [f64; 4] {
    let top = logs.iter().copied().fold(f64::MIN, f64::max);
    let powers = logs.map(|log| (log - top).exp());
    let sum: f64 = powers.iter().sum();
    powers.map(|p| p / sum)
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
