//! Roles: a site code and a number, or one number, under the same checks.
//!
//! Two layouts that check the same bits differ in what they say alone: one
//! reads a site code before the number, the other one number across both. No
//! capture tells them apart; a building may. Site codes are few and come back,
//! and are seldom 0; numbers without a code come by the box, one after the
//! other, or are small, or are anything, as serial numbers are. All captures of
//! the pair are decided together.
//!
//! Each side's probability of all captures together is written down in full,
//! with what is not known integrated out: how many codes and boxes there are by Chinese
//! restaurants of several strengths, sizes of boxes over powers of two, and where they
//! begin. A third way has cards of both, code by code. Where a box of one site
//! and a box of numbers explain the same captures alike, the answer is even,
//! and the verdict is `ambiguous`.

use std::collections::{BTreeMap, HashMap};

use super::batch::{Guess, Kind};
use super::model::{BOTH_ROLES, CODE_ZERO, SITE_CODES};
use crate::bits::Span;
use crate::layout::Code;

/// Two layouts of one length with the same rules: their kinds, and where the
/// site code of the one is.
#[derive(Debug, Clone)]
pub(super) struct Pair {
    pub site: u32,
    pub number: u32,
    pub code: Span,
    pub card: Span,
}

/// A card of a pair: its code, its number, and log2 of how much likelier what is
/// known of it beforehand is if it has a site code, and if it has none.
pub(super) type Carried = (u128, u128, f64, f64);

/// Captures that are looked at.
pub(super) const LOOKED_AT: usize = 512;

impl Pair {
    /// The two guesses of each word that is read both ways.
    pub fn guesses(&self, guesses: &[Guess]) -> Vec<(usize, usize)> {
        let with = guesses.iter().enumerate().filter(|(_, guess)| guess.kind == self.site);
        let other = |guess: &Guess| {
            guesses.iter().position(|other| {
                other.kind == self.number
                    && (other.reading, other.word, other.mended)
                        == (guess.reading, guess.word, guess.mended)
            })
        };
        with.filter_map(|(i, guess)| Some((i, other(guess)?))).collect()
    }

    /// The card of both guesses.
    pub fn carried(&self, site: &Guess, number: &Guess) -> Carried {
        let listed = |guess: &Guess| match guess.owned {
            0.0 => 0.0,
            owned => (0.5 + 0.5 * owned).log2(),
        };
        let word = &site.word;
        (
            self.code.number(word),
            self.card.number(word),
            site.known + listed(site),
            number.known + listed(number),
        )
    }
}

/// What a batch says of a pair.
#[derive(Debug, Clone)]
pub(super) struct Roles {
    pub pair: Pair,
    /// log2 probabilities of cards of one side alone, and of both.
    sides: [f64; 3],
    /// Where both are there: that cards of a code have site codes.
    of_code: HashMap<u128, f64>,
    /// The same of a code that was not seen.
    of_new: f64,
}

/// The pairs of a table.
pub(super) fn pairs(kinds: &[Kind<'_>], by_length: &[Vec<u32>]) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for of_length in by_length {
        for &site in of_length {
            for &number in of_length {
                let (a, b) = (kinds[site as usize].layout, kinds[number as usize].layout);
                let binary = |layout: &crate::layout::Layout| {
                    layout.fields().iter().all(|field| field.code == Code::Binary)
                };
                let (Some(code), Some(card), Some(whole)) =
                    (a.site_span(), a.card_span(), b.card_span())
                else {
                    continue;
                };
                // The number is the code and the card's number in a row.
                let joined: Vec<usize> = code.offsets().chain(card.offsets()).collect();
                let same = whole.offsets().collect::<Vec<_>>() == joined;
                if b.site_span().is_none() && same && binary(a) && binary(b) && a.same_rules(b) {
                    let (code, card) = (code.clone(), card.clone());
                    pairs.push(Pair { site, number, code, card });
                }
            }
        }
    }
    pairs
}

fn log2_sum(terms: impl IntoIterator<Item = f64>) -> f64 {
    let terms: Vec<f64> = terms.into_iter().collect();
    let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + terms.iter().map(|term| (term - top).exp2()).sum::<f64>().log2()
}

/// log2 density of numbers between `low` and `high` that are drawn from one box
/// of up to 2^`most` numbers, but for where it begins.
fn from_box(count: f64, spread: f64, most: u32) -> f64 {
    const LEAST: u32 = 4;
    let sizes = (LEAST..=most.max(LEAST)).map(|size| {
        let begins = (f64::from(size).exp2() - spread).max(0.0);
        begins.log2() - f64::from(size) * count
    });
    log2_sum(sizes) - f64::from(most.max(LEAST) - LEAST + 1).log2()
}

/// Boxes hold up to 2^16 numbers in a row; what lies further apart than 2^12 is
/// of two.
const BOX_MOST: u32 = 16;
const BOX_GAP: u128 = 1 << 12;

/// Numbers among small ones that a bit misread makes large.
const STRAY: f64 = 1.0 / 64.0;

/// Numbers that are small: below a hundred thousand.
const SMALL: u128 = 100_000;

/// log2 of the prior that a box of numbers begins at one number: half the boxes
/// begin anywhere, half at any size of number alike.
fn begins(number: f64, bits: f64) -> f64 {
    let by_size = (1.0 / (number + 1000.0) / (bits * std::f64::consts::LN_2)).log2();
    log2_sum([-bits, by_size]) - 1.0
}

/// log2 of the prior that a site has this code: half of them are any, half of
/// any size alike.
fn site_code(code: f64, bits: f64) -> f64 {
    if code == 0.0 {
        return CODE_ZERO.log2() - bits;
    }
    let by_size = (1.0 / (code + 20.0) / (bits * std::f64::consts::LN_2)).log2();
    log2_sum([-bits, by_size]) - 1.0
}

/// Numbers of the cards of one code, ascending.
type Cards = BTreeMap<u128, Vec<u128>>;

/// log2 probability that so many guests sit down at one table of a restaurant
/// in which `seen` sit already.
fn seats(guests: usize, seen: f64, strength: f64) -> f64 {
    let seat = |guest: usize| {
        let joins = if guest == 0 { strength } else { guest as f64 };
        (joins / (seen + guest as f64 + strength)).log2()
    };
    (0..guests).map(seat).sum()
}

/// Strengths that are as likely as one another: of fifty cards most are of one
/// code, of two or three, of five, or of ten.
const STRENGTHS: [f64; 4] = [1.0 / 16.0, 0.5, 1.5, 4.0];

/// The mean over the strengths.
fn any_strength(of: impl Fn(f64) -> f64) -> f64 {
    log2_sum(STRENGTHS.map(of)) - (STRENGTHS.len() as f64).log2()
}

/// log2 density of numbers, ascending, that come by the box; `begins` is that
/// of a box's first number.
fn boxed(numbers: &[u128], strength: f64, begins: impl Fn(f64) -> f64) -> f64 {
    let (mut sum, mut seen) = (0.0, 0.0);
    for one in numbers.chunk_by(|a, b| b - a <= BOX_GAP) {
        let spread = (one[one.len() - 1] - one[0]) as f64;
        sum += begins(one[0] as f64) + from_box(one.len() as f64, spread, BOX_MOST);
        sum += seats(one.len(), seen, strength);
        seen += one.len() as f64;
    }
    sum
}

/// log2 density of the card numbers of all site codes: any, or by the box.
fn numbers(cards: &Cards, bits: f64) -> f64 {
    let any: f64 = cards.values().map(|of| -bits * of.len() as f64).sum();
    let by_box = any_strength(|strength| {
        cards.values().map(|of| boxed(of, strength, |_| -bits)).sum::<f64>()
    });
    log2_sum([any, by_box]) - 1.0
}

/// log2 probability that the cards have site codes.
fn with_codes(cards: &Cards, code_bits: f64, card_bits: f64) -> f64 {
    let codes: f64 = cards.keys().map(|code| site_code(*code as f64, code_bits)).sum();
    let seated = any_strength(|strength| {
        let mut seen = 0.0;
        let table = |of: &Vec<u128>| {
            seen += of.len() as f64;
            seats(of.len(), seen - of.len() as f64, strength)
        };
        cards.values().map(table).sum::<f64>()
    });
    codes + seated + numbers(cards, card_bits)
}

/// log2 probability that the cards have one number each.
fn without_codes(cards: &Cards, bits: f64, card_bits: u32) -> f64 {
    let numbers: Vec<u128> = cards
        .iter()
        .flat_map(|(code, of)| of.iter().map(move |card| code << card_bits | card))
        .collect();
    let any = -bits * numbers.len() as f64;
    let small = |number: &u128| {
        let within = if *number < SMALL { (1.0 - STRAY) / SMALL as f64 } else { 0.0 };
        (within + STRAY * (-bits).exp2()).log2()
    };
    let small: f64 = numbers.iter().map(small).sum();
    let by_box = any_strength(|strength| boxed(&numbers, strength, |number| begins(number, bits)));
    // Serial numbers, boxes and small numbers are as usual as one another.
    log2_sum([any, small, by_box]) - 3f64.log2()
}

impl Roles {
    /// What cards of a pair say, each by its code and number: distinct ones, in
    /// any order.
    pub fn of(pair: Pair, weights: [f64; 2], cards: &[Carried]) -> Roles {
        let (code_bits, card_bits) = (pair.code.len(), pair.card.len());
        let mut by_code = Cards::new();
        // Sorted, so that sums do not depend on the order of rows.
        let mut cards = cards.to_vec();
        cards.sort_by(|a, b| {
            (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)).then(a.3.total_cmp(&b.3))
        });
        let mut known: HashMap<u128, (f64, f64)> = HashMap::new();
        let mut known_all = (0.0, 0.0);
        for (code, card, site, number) in &cards {
            by_code.entry(*code).or_default().push(*card);
            let of_code = known.entry(*code).or_default();
            *of_code = (of_code.0 + site, of_code.1 + number);
            known_all = (known_all.0 + site, known_all.1 + number);
        }
        by_code.values_mut().for_each(|of| {
            of.sort_unstable();
            of.dedup();
        });
        let bits = (code_bits + card_bits) as f64;
        let count: f64 = by_code.values().map(|of| of.len() as f64).sum();
        let with = known_all.0 + with_codes(&by_code, code_bits as f64, card_bits as f64);
        let without = known_all.1 + without_codes(&by_code, bits, card_bits as u32);
        // Both: each code's cards are of one side, with an even prior.
        let mut both = 0.0;
        let mut of_code = HashMap::new();
        for (code, of) in &by_code {
            let own = Cards::from([(*code, of.clone())]);
            let others = count - of.len() as f64;
            let code_alone = site_code(*code as f64, code_bits as f64)
                + numbers(&own, card_bits as f64)
                + seats(of.len(), others, SITE_CODES)
                + known[code].0;
            // Beside cards of another kind, numbers sit at tables as codes do.
            let number_alone = known[code].1
                + without_codes(&own, bits, card_bits as u32)
                + (seats(of.len(), others, 1.0) - seats(of.len(), 0.0, 1.0)).min(0.0);
            let sum = log2_sum([code_alone, number_alone]);
            both += sum - 1.0;
            of_code.insert(*code, (code_alone - sum).exp2());
        }
        let new = (SITE_CODES / (count + SITE_CODES)) / (1.0 + SITE_CODES / (count + SITE_CODES));
        let all = weights[0] + weights[1];
        let prior = |share: f64| ((1.0 - BOTH_ROLES) * share / all).log2();
        let sides =
            [prior(weights[0]) + with, prior(weights[1]) + without, both + BOTH_ROLES.log2()];
        let sum = log2_sum(sides);
        Roles { pair, sides: sides.map(|side| side - sum), of_code, of_new: new }
    }

    /// Probability that a card of this code has a site code, not one number.
    pub fn has_code(&self, code: u128) -> f64 {
        let [with, _, both] = self.sides.map(f64::exp2);
        with + both * self.of_code.get(&code).copied().unwrap_or(self.of_new)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn roles(cards: &[(u128, u128)], code: u128) -> f64 {
        let span = |from, to| Span::from_offsets(from..to).unwrap();
        let pair = Pair { site: 0, number: 1, code: span(1, 17), card: span(17, 33) };
        let cards: Vec<Carried> = cards.iter().map(|(c, n)| (*c, *n, 0.0, 0.0)).collect();
        Roles::of(pair, [1.0, 1.0], &cards).has_code(code)
    }

    #[test]
    fn one_card_tells_little() {
        for code in [12, 431, 5_000, 60_000] {
            let p = roles(&[(code, 4321)], code);
            assert!((0.05..0.95).contains(&p), "{code}: {p}");
        }
    }

    #[test]
    fn codes_that_come_back_with_numbers_far_apart_are_site_codes() {
        let cards: Vec<(u128, u128)> = (0..10).map(|i| (431, 7 + 6_007 * i)).collect();
        assert!(roles(&cards, 431) > 0.999);
    }

    #[test]
    fn small_numbers_and_many_codes_are_numbers() {
        let small: Vec<(u128, u128)> = (0..10).map(|i| (0, 7 + 1_003 * i)).collect();
        assert!(roles(&small, 0) < 0.001);
        let many: Vec<(u128, u128)> = (1..20).map(|i| (3_001 * i, 3_111 * i)).collect();
        assert!(roles(&many, 3_001) < 0.001);
    }

    #[test]
    fn a_box_tells_nothing() {
        let cards: Vec<(u128, u128)> = (0..50).map(|i| (40_000, 20_000 + 3 * i)).collect();
        let p = roles(&cards, 40_000);
        assert!((0.05..0.95).contains(&p), "{p}");
    }
}
