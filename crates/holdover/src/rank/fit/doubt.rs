//! What a settled fit says of the batch as a whole: kinds that are suspect,
//! swaps that explain nothing, roles.

use std::collections::{BTreeMap, HashMap};

use super::super::digits::Likely;
use super::super::known::Known;
use super::super::model::{
    ALSO_KNOWN, FAILS_BITS, MANY_FREE_CODES, REPEATS_FROM, SWAP_EXPLAINS, VISITORS,
};
use super::super::roles::{self, Carried, Roles};
use super::super::trial::States;
use super::{Fit, Shares};

impl Fit<'_, '_> {
    /// What one capture of a class is: "none of these", and each guess's part.
    pub(super) fn posterior(&self, class: usize) -> (f64, Vec<f64>) {
        let (range, of) = (self.of_class[class].clone(), self.classes.at(class));
        let (guesses, own) = (&self.guesses[range.clone()], &self.own[range]);
        let weighed =
            self.weigh(Some(of.reader), of.capture.len(), self.own_none[class], guesses, own);
        let odds: Vec<f64> = (guesses.iter().zip(own))
            .map(|(guess, own)| weighed.wiring[guess.wiring()] * self.part(guess, own))
            .collect();
        let all = weighed.none + odds.iter().sum::<f64>();
        let strange = guesses.iter().zip(&odds).filter(|(guess, _)| guess.strange);
        let none = weighed.none + strange.map(|(_, odds)| odds).sum::<f64>();
        (none / all, odds.into_iter().map(|odds| odds / all).collect())
    }

    /// Kinds whose cards may be another's.
    ///
    /// Where an unknown kind's check and a layout's differ in bits of the site
    /// code alone, the layout's check holds in all cards of a code, or fails in
    /// all. Codes that fail so, capture after capture, say that those that meet
    /// it may do so by the toss of that coin.
    pub(super) fn suspect(&self) -> HashMap<(u32, usize), f64> {
        // Of each code: captures, those unknown, and which checks fail in all.
        type OfCode = (f64, f64, Option<u64>);
        let mut codes: BTreeMap<(u32, usize, u128), OfCode> = BTreeMap::new();
        for (i, class) in self.classes.iter().enumerate() {
            let (none, _) = self.posterior(i);
            for guess in self.guesses[self.of_class[i].clone()].iter() {
                let kind = &self.batch.kinds[guess.kind as usize];
                let checked = !guess.strange && guess.reading.bits_lost() == 0;
                let (Some((span, _)), true) = (&kind.code, checked && kind.layout.rank() > 0)
                else {
                    continue;
                };
                let rules = kind.layout.rules().iter().take(64).enumerate();
                let fails = rules.fold(0, |all, (at, rule)| {
                    all | u64::from(!rule.holds(guess.word.wide())) << at
                });
                let key = (guess.kind, guess.wiring(), span.number(&guess.word));
                let of = codes.entry(key).or_insert((0.0, 0.0, Some(fails)));
                let count = class.count * class.weight;
                of.0 += count;
                of.1 += count * none;
                of.2 = of.2.filter(|same| *same == fails);
            }
        }
        let mut seen: BTreeMap<(u32, usize), f64> = BTreeMap::new();
        codes.keys().for_each(|(kind, state, _)| *seen.entry((*kind, *state)).or_default() += 1.0);
        let mut failing: BTreeMap<(u32, usize), (f64, u64)> = BTreeMap::new();
        for ((kind, state, _), (count, none, fails)) in codes {
            let Some(fails) = fails.filter(|fails| *fails != 0) else { continue };
            // Each capture of a code had this chance not to fail so, and one code
            // of many does by chance.
            let rank = self.batch.kinds[kind as usize].layout.rank() as f64;
            let told = count * rank - seen[&(kind, state)].log2();
            if told >= FAILS_BITS && none > count / 2.0 {
                let of = failing.entry((kind, state)).or_default();
                *of = (of.0 + 1.0, of.1 | fails);
            }
        }
        failing
            .into_iter()
            .map(|(key, (codes, fails))| {
                let odds = codes * (-f64::from(fails.count_ones())).exp2() / ALSO_KNOWN;
                (key, odds / (1.0 + odds))
            })
            .collect()
    }

    /// Readers whose lines were taken for swapped, though hardly any of their
    /// captures is a card of the table even so, or those are suspect.
    pub(super) fn doubted_swaps(&self) -> Vec<usize> {
        let mut known = vec![(0.0, 0.0); self.wiring.len()];
        for (i, class) in self.classes.iter().enumerate() {
            let length = class.capture.len();
            if self.batch.by_length[length].is_empty() {
                continue;
            }
            let (none, odds) = self.posterior(i);
            let guesses = self.guesses[self.of_class[i].clone()].iter().zip(odds);
            let suspect: f64 = guesses
                .filter_map(|(guess, odds)| {
                    Some(odds * self.suspects.get(&(guess.kind, guess.wiring()))?)
                })
                .sum();
            let of = &mut known[class.reader as usize];
            of.0 += class.count;
            of.1 += class.count * (1.0 - none - suspect).max(0.0);
        }
        let doubted = |(states, (all, known)): (&States, &(f64, f64))| {
            let usual = states.probability[0] > 0.5 || states.mixed;
            !usual && *known < SWAP_EXPLAINS * all
        };
        let readers = self.wiring.iter().zip(&known).enumerate();
        readers.filter(|(_, of)| doubted(*of)).map(|(reader, _)| reader).collect()
    }

    /// What the batch says of each pair of layouts that differ in what they
    /// read alone.
    pub(super) fn settle_roles(&self, likely: &[Likely]) -> Vec<Roles> {
        let pairs = &self.batch.pairs;
        let mut cards: Vec<Vec<Carried>> = vec![Vec::new(); pairs.len()];
        let lengths: Vec<usize> =
            pairs.iter().map(|p| self.batch.kinds[p.site as usize].layout.length()).collect();
        if !self.classes.iter().any(|class| lengths.contains(&class.capture.len())) {
            return Vec::new();
        }
        let nothing = Known::default();
        let seen = self.batch.sketch.sample(roles::LOOKED_AT).into_iter();
        let seen =
            seen.map(|(reader, capture)| (reader, capture, self.class_of(Some(reader), &capture)));
        let digits = likely.iter().map(|of| (of.reader, of.capture, Some(of.class)));
        for (reader, capture, class) in seen.chain(digits) {
            if !lengths.contains(&capture.len()) {
                continue;
            }
            let known = self.batch.known.get(&(reader, capture)).unwrap_or(&nothing);
            let (guesses, own, none) = self.guesses_of(Some(reader), &capture, known, class);
            let weighed = self.weigh(Some(reader), capture.len(), none, &guesses, &own);
            let odds: Vec<f64> = (guesses.iter().zip(&own))
                .map(|(guess, own)| weighed.wiring[guess.wiring()] * self.part(guess, own))
                .collect();
            let all: f64 = weighed.none + odds.iter().sum::<f64>();
            for (pair, cards) in pairs.iter().zip(&mut cards) {
                let of = pair.guesses(&guesses);
                // Likelier the pair's than all else, and whole.
                let found = of.into_iter().find(|(a, b)| {
                    let whole = !guesses[*a].fails && guesses[*a].slip == 0.0;
                    whole && odds[*a] + odds[*b] > all / 2.0
                });
                if let Some((site, number)) = found {
                    cards.push(pair.carried(&guesses[site], &guesses[number]));
                }
            }
        }
        let roles = pairs.iter().zip(cards).filter(|(_, cards)| !cards.is_empty());
        roles
            .map(|(pair, cards)| {
                let weight = |kind: u32| self.batch.kinds[kind as usize].layout.spec().weight;
                Roles::of(pair.clone(), [weight(pair.site), weight(pair.number)], &cards)
            })
            .collect()
    }

    /// A layout whose codes repeat here has a few cards of other codes, as
    /// visitors bring them, but seldom many. Where another layout has the same
    /// checks, sweeps cannot tell whose many cards of odd codes are, and keep
    /// the proportion they start from; so it starts from this. Elsewhere the
    /// next sweeps set it right at once.
    pub(super) fn doubt_free_codes(&mut self) {
        let repeats = REPEATS_FROM / self.all();
        let many = |s: &Shares| {
            let both = s.free > VISITORS * s.repeating && s.repeating > VISITORS * s.free;
            s.repeating > repeats && both
        };
        let known = self.shares.iter_mut().zip(&self.batch.kinds);
        let known = known.filter(|(_, kind)| kind.rival).map(|(shares, _)| shares);
        for shares in known.filter(|shares| many(shares)) {
            shares.free *= MANY_FREE_CODES;
        }
        // What a capture takes itself moves with it, or it would be left out twice.
        for (own, guess) in self.own.iter_mut().zip(&self.guesses) {
            own.free = own.free.min(self.shares[guess.kind as usize].free / 2.0);
        }
    }
}
