//! Codes that come back: which captures could carry each, and of which kind
//! each is.

use std::collections::HashMap;
use std::ops::Range;
use std::sync::OnceLock;

use super::super::class::KnownCodes;
use super::super::guess::{Guess, Kind};
use super::super::share::{self, Member, predictive_share, share_of_another};
use super::{Fit, leave_one_out};

/// A guess that could be a member of a code is not weighed below this
/// likelihood: even a code that every capture carries could not lift it.
const NEGLIGIBLE: f64 = 1e-12;

/// Captures that the kinds of a place as a whole stand for where the kind of
/// one code is in question. Judgement: two captures of a code say more.
const KIND_OF_CODE: f64 = 1.0;

/// How often finer codes are let in at most.
const MOST_STAGES: usize = 6;

/// No code: the layout has none, or the guess is too poor to be a member.
const NO_CODE: u32 = u32::MAX;

/// The codes of a batch: which guesses could carry each. Kinds whose code is
/// in one place share its codes: what a capture says of a code is said once,
/// and which kind the code is of is a matter of how many of its captures meet
/// whose checks.
#[derive(Debug, Default)]
pub(super) struct Codes {
    /// Members of code i: `members[first[i]..first[i + 1]]`, indices of guesses.
    pub(super) first: Vec<usize>,
    pub(super) members: Vec<u32>,
    pub(super) place: Vec<u32>,
    /// By place and number.
    pub(super) index: HashMap<(u32, u128), u32>,
    /// Captures of each kind of the place: those of code i from `mix_first[i]` on.
    pub(super) mix: Vec<f64>,
    pub(super) mix_first: Vec<usize>,
    /// Where each kind is among those of its place.
    pub(super) at: Vec<u32>,
    /// Whether any guess of the kind carries the code, as `mix` has them: digits
    /// that are none are no code of a decimal kind.
    pub(super) possible: Vec<bool>,
    /// The share promised to one more capture, once it is asked for.
    pub(super) another: Vec<OnceLock<f64>>,
}

impl Codes {
    fn members(&self, code: usize) -> &[u32] {
        &self.members[self.first[code]..self.first[code + 1]]
    }
}

/// A guess as a part of what explains its capture, as the last sweep left it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Part {
    /// Likelihood under its code, over that of a share of one.
    pub(super) raw: f64,
    /// Its own part by that code.
    pub(super) repeating: f64,
    /// Everything that explains the capture in its state of the wiring.
    pub(super) within: f64,
    /// What is left beside the code at least, whatever rounding says.
    pub(super) rest: f64,
    pub(super) weight: f64,
    pub(super) count: f64,
}

impl Fit<'_, '_> {
    /// The kinds that may carry a code, and what it has of each.
    fn kinds_of(&self, code: usize) -> impl Iterator<Item = (u32, f64)> {
        let kinds = &self.batch.places[self.codes.place[code] as usize];
        let of = self.codes.mix_first[code]..self.codes.mix_first[code + 1];
        let mix = self.codes.mix[of.clone()].iter().zip(&self.codes.possible[of]);
        let all = kinds.iter().zip(mix).filter(|(_, (_, possible))| **possible);
        all.map(|(kind, (mix, _))| (*kind, *mix))
    }

    /// Shape of the prior of one code's share: the parts' starts, each spread
    /// over all codes that its kind can have.
    fn epsilon(&self, code: usize) -> f64 {
        let start = |kind| self.shares[kind as usize].repeating_start / self.code_count(kind);
        self.kinds_of(code).map(|(kind, _)| start(kind)).sum()
    }

    /// The codes of each kind that some counted capture carries.
    pub(super) fn known_codes(&self) -> Vec<Option<KnownCodes>> {
        let mut of_kind: Vec<Vec<u128>> = vec![Vec::new(); self.batch.kinds.len()];
        for (place, code) in self.codes.index.keys() {
            for kind in &self.batch.places[*place as usize] {
                of_kind[*kind as usize].push(*code);
            }
        }
        let kinds = self.batch.kinds.iter().zip(of_kind);
        kinds
            .map(|(kind, codes)| {
                let (span, _) = kind.code.as_ref()?;
                Some(KnownCodes::of(span.len(), codes.into_iter()))
            })
            .collect()
    }

    /// Sorts the guesses by the code they would carry.
    pub(super) fn sort_codes(&mut self) -> Codes {
        let mut index: HashMap<(u32, u128), u32> = HashMap::new();
        let mut place_of = Vec::new();
        let mut code_of = vec![NO_CODE; self.guesses.len()];
        for (i, guess) in self.guesses.iter().enumerate() {
            let of = &self.batch.kinds[guess.kind as usize];
            let (Some((span, codes)), Some(place)) = (&of.code, of.place) else { continue };
            self.own[i].promised = self.shares[guess.kind as usize].repeating_start / codes;
            if guess.likelihood * codes < NEGLIGIBLE {
                continue;
            }
            let key = (place, span.number(&guess.word));
            code_of[i] = *index.entry(key).or_insert_with(|| {
                place_of.push(place);
                place_of.len() as u32 - 1
            });
        }
        let mut first = vec![0; place_of.len() + 1];
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
        let mut mix_first = vec![0];
        for place in &place_of {
            let last = mix_first[mix_first.len() - 1];
            mix_first.push(last + self.batch.places[*place as usize].len());
        }
        let mut at = vec![0; self.batch.kinds.len()];
        for place in &self.batch.places {
            place.iter().zip(0..).for_each(|(kind, i)| at[*kind as usize] = i);
        }
        let mut possible = vec![false; mix_first[mix_first.len() - 1]];
        for (code, guess) in code_of.iter().zip(&self.guesses).filter(|(code, _)| **code != NO_CODE)
        {
            possible[mix_first[*code as usize] + at[guess.kind as usize] as usize] = true;
        }
        Codes {
            another: place_of.iter().map(|_| OnceLock::new()).collect(),
            mix: vec![0.0; possible.len()],
            mix_first,
            at,
            possible,
            first,
            members,
            place: place_of,
            index,
        }
    }

    pub(super) fn predictive_share(&mut self, most_codes: f64) {
        let (mut ids, mut out) = (Vec::<u32>::new(), Vec::new());
        for code in 0..self.codes.place.len() {
            let place = self.codes.place[code];
            let kinds = &self.batch.places[place as usize];
            if self.code_count(kinds[0]) > most_codes {
                continue;
            }
            ids.clear();
            ids.extend(self.codes.members(code).iter().filter(|id| self.is_live(**id)));
            if ids.is_empty() {
                continue;
            }
            self.mix(code, &ids);
            let (members, mixed) = self.members(code, &ids);
            predictive_share(&members, self.epsilon(code), self.total, &mut out);
            for (id, (member, share)) in ids.iter().zip(mixed) {
                self.own[*id as usize].promised = out[member] * share;
            }
        }
    }

    /// Counts the captures of each kind in a code.
    pub(super) fn mix(&mut self, code: usize, ids: &[u32]) {
        let all = self.all();
        let mix = &mut self.codes.mix[self.codes.mix_first[code]..self.codes.mix_first[code + 1]];
        mix.fill(0.0);
        for id in ids.iter().map(|id| *id as usize) {
            let at = self.codes.at[self.guesses[id].kind as usize] as usize;
            mix[at] += self.own[id].repeating * all * self.parts[id].count;
        }
    }

    /// Captures of a code and starting shares of its kinds, all together.
    fn all_kinds(&self, code: usize) -> (f64, f64) {
        let share = |kind: u32| self.shares[kind as usize].repeating / self.code_count(kind);
        let of = self.kinds_of(code).map(|(kind, of)| (of, share(kind)));
        of.fold((0.0, 0.0), |sum, of| (sum.0 + of.0, sum.1 + of.1))
    }

    /// The share of a code's captures that a kind has, beside `own` of the kind's
    /// and `of_all` of all that one capture takes itself; `all` as
    /// [`Fit::all_kinds`] has it.
    fn kind_of_code(
        &self,
        code: usize,
        kind: u32,
        (own, of_all): (f64, f64),
        (counts, priors): (f64, f64),
    ) -> f64 {
        let at = self.codes.mix_first[code] + self.codes.at[kind as usize] as usize;
        if priors == 0.0 || !self.codes.possible[at] {
            return 0.0;
        }
        let (share, all) = (self.shares[kind as usize].repeating, self.all());
        let prior = leave_one_out(share, own) / self.code_count(kind);
        let rest = (counts - of_all * all).max(0.0) + KIND_OF_CODE;
        let count = (self.codes.mix[at] - own * all).max(0.0);
        (count + KIND_OF_CODE * prior / priors) / rest
    }

    /// The captures that could carry a code, each once however many kinds would
    /// read it there; and for each guess which that is, and its kind's share.
    fn members(&self, code: usize, ids: &[u32]) -> (Vec<Member>, Vec<(usize, f64)>) {
        let mut members: Vec<Member> = Vec::new();
        let mut mixed = Vec::with_capacity(ids.len());
        let all = self.all_kinds(code);
        for same in ids.chunk_by(|a, b| self.word_of[*a as usize] == self.word_of[*b as usize]) {
            let own: f64 = same.iter().map(|id| self.own[*id as usize].repeating).sum();
            let (mut raw, mut repeating, mut rest) = (0.0, 0.0, 0.0f64);
            for id in same.iter().map(|id| *id as usize) {
                let part = &self.parts[id];
                let kind = self.guesses[id].kind;
                let share = self.kind_of_code(code, kind, (self.own[id].repeating, own), all);
                mixed.push((members.len(), share));
                raw += part.raw * share;
                repeating += part.repeating;
                rest = rest.max(part.rest);
            }
            let part = &self.parts[same[0] as usize];
            // A code of many bits may leave nothing of the sum but rounding.
            let ratio = raw / (part.within - repeating).max(rest);
            members.push(Member { ratio, weight: part.weight, count: part.count });
        }
        (members, mixed)
    }

    /// A guess under a wiring that is as good as ruled out weighs nothing.
    pub(super) fn is_live(&self, guess: u32) -> bool {
        self.parts[guess as usize].weight > share::NONE
    }

    /// The share promised to the code of a guess at a capture that is not
    /// counted: what its members tell, or what a new code has.
    pub(super) fn promised_to_another(&self, guess: &Guess) -> f64 {
        let kind = &self.batch.kinds[guess.kind as usize];
        let (Some((span, codes)), Some(place)) = (&kind.code, kind.place) else { return 0.0 };
        let new = self.shares[guess.kind as usize].repeating_start / codes / self.all();
        let code = self.codes.index.get(&(place, span.number(&guess.word)));
        let Some(code) = code.map(|code| *code as usize) else { return new };
        let promised = *self.codes.another[code].get_or_init(|| {
            let live = self.codes.members(code).iter().filter(|id| self.is_live(**id));
            let ids: Vec<u32> = live.copied().collect();
            match ids.is_empty() {
                true => 0.0,
                false => {
                    share_of_another(&self.members(code, &ids).0, self.epsilon(code), self.total)
                }
            }
        });
        if promised == 0.0 {
            return new;
        }
        promised * self.kind_of_code(code, guess.kind, (0.0, 0.0), self.all_kinds(code))
    }
}

/// How many codes the kinds have, each number once, ascending.
///
/// Coarse codes come first. Where all cards of one 8-bit code pass for cards
/// of sixteen 12-bit codes as well, both explain every capture alike, and
/// sweeps from an even start would leave them so. Once the coarse code has its
/// share, the fine ones open only where they explain more.
pub(super) fn stages(kinds: &[Kind<'_>]) -> Vec<f64> {
    let mut stages: Vec<f64> =
        kinds.iter().filter_map(|kind| kind.code.as_ref()).map(|code| code.1).collect();
    stages.sort_by(f64::total_cmp);
    stages.dedup();
    // More than a few change nothing; the last lets all codes in.
    stages.truncate(MOST_STAGES);
    stages.push(f64::INFINITY);
    stages
}

/// For each guess, the first of the same word of the same capture.
pub(super) fn words_of(guesses: &[Guess], of_class: &[Range<usize>]) -> Vec<u32> {
    let mut first = vec![0; guesses.len()];
    for range in of_class {
        for i in range.clone() {
            let same = |j: &usize| {
                let (a, b) = (&guesses[*j], &guesses[i]);
                a.reading == b.reading && a.word == b.word && a.mended == b.mended
            };
            let before = i.checked_sub(1).filter(|j| *j >= range.start).filter(same);
            first[i] = before.map_or(i as u32, |j| first[j]);
        }
    }
    first
}
