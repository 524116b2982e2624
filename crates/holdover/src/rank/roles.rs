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
//! begin (`roles/sides.rs`). A third way has cards of several sorts: codes are
//! given sorts all together, the likeliest way is climbed to one code at a time,
//! and each code's sort is then weighed with all others as they are. Where a box
//! of one site and a box of numbers explain the same captures alike, the answer is
//! even, and the verdict is `ambiguous`.

mod sides;

use std::collections::HashMap;

use self::sides::{BOX_GAP, OfCode, Seating, Sort, Sums, log2_sum};
use super::guess::{Guess, Kind};
use super::model::MIXED_SORTS;
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
    /// log2 probabilities: all have site codes, all have numbers of one sort, or
    /// there are several sorts.
    sides: [f64; 3],
    /// Where there are several sorts: that cards of a code have site codes.
    of_code: HashMap<u128, f64>,
    /// The same of a code that was not seen.
    of_new: f64,
}

/// The pairs of a table, the first [`PAIRS_MOST`].
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
    pairs.truncate(PAIRS_MOST);
    pairs
}

/// Sweeps over the cards at most.
const SWEEPS: usize = 6;

/// Pairs of a table that are weighed at most: some milliseconds each.
const PAIRS_MOST: usize = 16;

/// Codes that are of one sort together: their numbers run on from one to the next.
#[derive(Debug)]
struct Unit {
    codes: Vec<OfCode>,
    sums: Sums,
}

/// The codes, ascending, whose numbers run on together.
fn units(cards: &[Carried], bits: (usize, usize), seating: &Seating) -> Vec<Unit> {
    let mut units: Vec<(Vec<OfCode>, (f64, f64))> = Vec::new();
    let mut last = None;
    for (code, card, site, number) in cards {
        let whole = code << bits.1 | card;
        let runs_on = last.is_some_and(|last| whole - last <= BOX_GAP);
        let same = units.last().and_then(|unit| unit.0.last()).is_some_and(|of| of.0 == *code);
        if !(runs_on || same) {
            units.push((Vec::new(), (0.0, 0.0)));
        }
        let Some((codes, known)) = units.last_mut() else { continue };
        if !same {
            codes.push((*code, Vec::new()));
        }
        *known = (known.0 + site, known.1 + number);
        if let Some((_, numbers)) = codes.last_mut().filter(|_| last != Some(whole)) {
            numbers.push(*card);
        }
        last = Some(whole);
    }
    let of = |(codes, known): (Vec<OfCode>, (f64, f64))| Unit {
        sums: Sums::of(&codes, known, bits, seating),
        codes,
    };
    units.into_iter().map(of).collect()
}

/// Units by their sort.
#[derive(Debug, Clone)]
struct Sorted {
    sorts: Vec<Sort>,
    sums: [Sums; Sort::ALL.len()],
    log2: f64,
}

impl Sorted {
    fn of(units: &[Unit], seating: &Seating, sort: impl Fn(&Unit) -> Sort) -> Sorted {
        let mut sums = [Sums::default(); Sort::ALL.len()];
        let sorts: Vec<Sort> = units.iter().map(sort).collect();
        for (unit, sort) in units.iter().zip(&sorts) {
            sums[*sort as usize].add(&unit.sums, 1.0);
        }
        Sorted { sorts, sums, log2: joint(&sums, seating) }
    }

    /// The sums if one unit is of another sort, and their log2 probability.
    fn moved(
        &self,
        unit: usize,
        to: Sort,
        units: &[Unit],
        seating: &Seating,
    ) -> ([Sums; Sort::ALL.len()], f64) {
        let mut sums = self.sums;
        sums[self.sorts[unit] as usize].add(&units[unit].sums, -1.0);
        sums[to as usize].add(&units[unit].sums, 1.0);
        let log2 = joint(&sums, seating);
        (sums, log2)
    }

    /// Lets units change sorts while that makes them likelier.
    fn climb(mut self, units: &[Unit], seating: &Seating) -> Sorted {
        for _ in 0..SWEEPS {
            let before = self.log2;
            for unit in 0..units.len() {
                for to in Sort::ALL {
                    let (sums, log2) = self.moved(unit, to, units, seating);
                    if log2 > self.log2 {
                        self.sorts[unit] = to;
                        (self.sums, self.log2) = (sums, log2);
                    }
                }
            }
            if self.log2 <= before {
                break;
            }
        }
        self
    }

    /// The likeliest sorts that climbing finds, from all of one sort and from
    /// codes that come back apart from the rest.
    fn best(units: &[Unit], seating: &Seating) -> Sorted {
        let several = |unit: &Unit| if unit.sums.cards() > 1.0 { Sort::Site } else { Sort::Any };
        let mut best = Sorted::of(units, seating, several).climb(units, seating);
        for sort in Sort::ALL {
            let other = Sorted::of(units, seating, |_| sort).climb(units, seating);
            if other.log2 > best.log2 {
                best = other;
            }
        }
        best
    }

    /// log2 of how much likelier each sort of a unit is than the one it has.
    fn odds(&self, unit: usize, units: &[Unit], seating: &Seating) -> [f64; Sort::ALL.len()] {
        Sort::ALL.map(|to| match to == self.sorts[unit] {
            true => 0.0,
            false => self.moved(unit, to, units, seating).1 - self.log2,
        })
    }

    /// Probability that a card whose code none has has a site code.
    fn new_has_code(&self, seating: &Seating) -> f64 {
        let of = Sort::ALL.map(|sort| {
            let sums = &self.sums[sort as usize];
            (sums.new_code(sort, seating) + (sums.cards() + 1.0).log2()).exp2()
        });
        of[Sort::Site as usize] / of.iter().sum::<f64>()
    }
}

/// log2 probability of cards of all sorts.
fn joint(sums: &[Sums; Sort::ALL.len()], seating: &Seating) -> f64 {
    let of_sorts = Sort::ALL.iter().map(|sort| sums[*sort as usize].of_sort(*sort, seating));
    seating.sorted(sums.each_ref().map(Sums::cards)) + of_sorts.sum::<f64>()
}

impl Roles {
    /// What cards of a pair say, each by its code and number: distinct ones, in
    /// any order.
    pub fn of(pair: Pair, weights: [f64; 2], cards: &[Carried]) -> Roles {
        let bits = (pair.code.len(), pair.card.len());
        // Sorted, so that sums do not depend on the order of rows.
        let mut cards = cards.to_vec();
        cards.sort_by(|a, b| {
            (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)).then(a.3.total_cmp(&b.3))
        });
        let seating = Seating::of(cards.len());
        let units = units(&cards, bits, &seating);
        let best = Sorted::best(&units, &seating);
        // Each unit may be of another sort, the rest being as it is.
        let (mut mixed, mut of_code) = (best.log2, HashMap::new());
        for (i, unit) in units.iter().enumerate() {
            let odds = best.odds(i, &units, &seating);
            let sum = log2_sum(odds);
            mixed += sum;
            let has_code = (odds[Sort::Site as usize] - sum).exp2();
            of_code.extend(unit.codes.iter().map(|(code, _)| (*code, has_code)));
        }
        let of_new = best.new_has_code(&seating);
        let mut all = Sums::default();
        units.iter().for_each(|unit| all.add(&unit.sums, 1.0));
        let alone = Sort::ALL.map(|sort| all.of_sort(sort, &seating));
        let weight = weights[0] + weights[1];
        let prior = |share: f64| ((1.0 - MIXED_SORTS) * share / weight).log2();
        // Serial numbers, boxes and small numbers are as usual as one another.
        let numbers = log2_sum(alone[1..].iter().copied()) - 3f64.log2();
        let sides =
            [prior(weights[0]) + alone[0], prior(weights[1]) + numbers, MIXED_SORTS.log2() + mixed];
        let sum = log2_sum(sides);
        Roles { pair, sides: sides.map(|side| side - sum), of_code, of_new }
    }

    /// Probability that a card of this code has a site code, not one number.
    pub fn has_code(&self, code: u128) -> f64 {
        let [with, _, mixed] = self.sides.map(f64::exp2);
        with + mixed * self.of_code.get(&code).copied().unwrap_or(self.of_new)
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

    #[test]
    fn site_codes_beside_any_numbers_are_told_apart() {
        let mut rng = fastrand::Rng::with_seed(4);
        let any = |rng: &mut fastrand::Rng| rng.u128(..1 << 16);
        let sites: Vec<(u128, u128)> = (0..60).map(|i| (431 + i % 2, any(&mut rng))).collect();
        let numbers: Vec<(u128, u128)> = (0..40).map(|_| (any(&mut rng), any(&mut rng))).collect();
        let all = [sites, numbers.clone()].concat();
        assert!(roles(&all, 431) > 0.99 && roles(&all, 432) > 0.99);
        assert!(roles(&all, numbers[0].0) < 0.01);
        // One that was not seen is a number, as many are.
        assert!(roles(&all, 40_001) < 0.1);
    }

    #[test]
    fn two_sorts_of_numbers_need_no_site_codes() {
        let mut rng = fastrand::Rng::with_seed(5);
        let boxed = (0..40).map(|i| (40_000, 20_000 + 7 * i));
        let any = (0..40).map(|_| (rng.u128(..1 << 16), rng.u128(..1 << 16)));
        let any: Vec<(u128, u128)> = any.collect();
        let all: Vec<(u128, u128)> = boxed.chain(any.clone()).collect();
        let most = any.iter().map(|(code, _)| roles(&all, *code)).fold(0.0, f64::max);
        assert!(most < 0.1, "{most}");
    }
}
