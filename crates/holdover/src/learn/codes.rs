//! Fields nobody printed: bits outside the known fields that take few values, as
//! site codes and issue codes do. They are proposed and never settled, for the
//! bits do not say what they are for. Needs the cards that are good, and what
//! their fields and checks hold.

use std::collections::HashSet;

use super::answer::FoundField;
use super::claim::{MARGIN, SURE};
use super::entropy::choices;
use super::null_space;
use crate::bits::{Capture, Span, Wide};
use crate::layout::{Code, PrintRule, Role};

/// Cards by which values are counted: a fair sample of more.
const COUNTED: usize = 512;

/// Bits that take all their values are a code if these are no more (judgement, no
/// source), and they are no check bits: they stand in the middle of the card, or
/// nothing ties them to other bits.
const FEW: usize = 4;

/// Bits at either end of the card where check bits usually stand (common
/// practice, no source).
pub(super) const ENDS: usize = 2;

/// Varying bits that are reckoned with at most (bounds the error of logarithms).
const BITS: usize = 40;

/// Bits a code has at most (judgement, no source).
const WIDEST: usize = 64;

/// A stretch of bits that takes few values.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stretch {
    /// All bits between those known.
    pub(super) whole: Span,
    /// From the first bit that varied to the last.
    least: Span,
    pub(super) values: usize,
}

impl Stretch {
    /// As a field that is not settled.
    pub(super) fn field(&self, role: Role) -> FoundField {
        let mut could_be = vec![self.whole.clone()];
        could_be.extend(Some(self.least.clone()).filter(|least| *least != self.whole));
        FoundField {
            role,
            span: self.whole.clone(),
            code: Code::Binary,
            settled: false,
            could_be,
            print: PrintRule::default(),
        }
    }
}

/// The stretches of few values among cards of one length, those with the most
/// values first. `taken` are the bits of fields and of check bits, and `checks`
/// the check bits.
pub(super) fn find(
    cards: impl Iterator<Item = Capture>,
    length: usize,
    taken: Wide,
    checks: Wide,
) -> Vec<Stretch> {
    let cards: HashSet<Wide> = cards.take(COUNTED).map(|card| card.wide()).collect();
    let cards: Vec<Wide> = cards.into_iter().collect();
    let free = Span::from_mask(Wide::ones(length) & !taken);
    let stretches = free.iter().flat_map(|free| free.runs());
    let stretches = stretches.filter_map(|run| {
        let whole = Wide::ones(run.len()).towards_end(run.first.offset());
        stretch(&cards, length, whole, checks)
    });
    let mut stretches: Vec<Stretch> = stretches.collect();
    stretches.sort_by_key(|stretch| std::cmp::Reverse((stretch.values, stretch.whole.len())));
    stretches
}

fn stretch(cards: &[Wide], length: usize, mut whole: Wide, checks: Wide) -> Option<Stretch> {
    whole = whole & !own_way(cards, length, whole);
    let values = values(cards, whole);
    let first = *values.iter().next()?;
    let varying = values.iter().fold(Wide::ZERO, |all, value| all | (*value ^ first));
    let (first, behind) = (varying.first_one()?, 256 - varying.reversed().first_one()?);
    let inside = first >= ENDS && behind + ENDS <= length;
    let code = few(values.len(), varying.count_ones() as usize, cards.len())
        || values.len() <= FEW && (inside || untied(cards, length, varying, checks));
    let least = Span::run(first, behind - first).filter(|least| least.len() <= WIDEST)?;
    let whole = Span::from_mask(whole).filter(|whole| whole.len() <= WIDEST);
    let whole = whole.unwrap_or_else(|| least.clone());
    code.then_some(Stretch { whole, least, values: values.len() })
}

/// The values that some bits take.
pub(super) fn values(cards: &[Wide], bits: Wide) -> HashSet<Wide> {
    cards.iter().map(|card| *card & bits).collect()
}

/// Bits at either end of the card that the rest of a stretch does not tell: they
/// are taken for check bits that were not found.
fn own_way(cards: &[Wide], length: usize, stretch: Wide) -> Wide {
    [0, length - 1].into_iter().fold(Wide::ZERO, |mut own, end| {
        let mut rest = stretch & !own;
        rest.set(end, false);
        let more = values(cards, stretch & !own).len() > values(cards, rest).len();
        own.set(end, more);
        own
    })
}

/// Bits of `free` that are drawn anew for each card, as those of checks not found:
/// stretches that take as many values as bits drawn at random.
pub(super) fn fast(cards: &[Wide], length: usize, free: Wide) -> Wide {
    let free = Span::from_mask(free);
    let stretches = free.iter().flat_map(|free| free.runs());
    stretches.fold(Wide::ZERO, |fast, run| {
        let whole = Wide::ones(run.len()).towards_end(run.first.offset());
        let own = own_way(cards, length, whole);
        let values = values(cards, whole & !own);
        let first = values.iter().next().copied().unwrap_or(Wide::ZERO);
        let varying = values.iter().fold(Wide::ZERO, |all, value| all | (*value ^ first));
        let room = f64::from(varying.count_ones()).exp2();
        let anew = values.len() > FEW && drawn(values.len(), room, [cards.len()].into_iter());
        fast | own | if anew { varying } else { Wide::ZERO }
    })
}

/// How many different values so many rows have, drawn from as many at random.
pub(super) fn expected(room: f64, rows: usize) -> f64 {
    room * (1.0 - (1.0 - 1.0 / room).powi(rows as i32))
}

/// Standard deviations that values drawn at random may stay behind.
const BEHIND: f64 = 2.5;

/// Whether so many values are as many as rows drawn at random have, `rows` of them
/// for each code, from `room` values each. The variance of how many values of `m`
/// are seen in `n` draws is at most about n²/2m, and m·e^(−n/m) (Feller, An
/// Introduction to Probability Theory I, IV.2; from memory).
pub(super) fn drawn(values: usize, room: f64, rows: impl Iterator<Item = usize>) -> bool {
    let (mean, variance) = rows.fold((0.0, 0.0), |(mean, variance): (f64, f64), rows| {
        let n = rows as f64;
        let spread = (n * n / 2.0 / room).min(room * (-n / room).exp());
        (mean + expected(room, rows), variance + spread)
    });
    values as f64 + 0.5 >= mean - BEHIND * variance.sqrt()
}

/// Whether bits that vary freely would hardly ever take so few values: at most
/// C(2^bits, values) · (values / 2^bits)^cards.
fn few(values: usize, bits: usize, cards: usize) -> bool {
    let bits = bits.min(BITS);
    let each = (values as f64).log2() - bits as f64;
    choices(values, 1 << bits) + cards as f64 * each < SURE
}

/// Whether no relation ties the bits to others, check bits aside, though there
/// are cards enough to tell: they are no check bits of any linear code.
fn untied(cards: &[Wide], length: usize, bits: Wide, checks: Wide) -> bool {
    let data: Vec<Capture> =
        cards.iter().filter_map(|card| Capture::from_wide(*card & !checks, length).ok()).collect();
    let space = null_space(&data);
    let meets = |at: &Wide| !(*at & bits).is_zero();
    data.len() >= space.rank() + MARGIN && !space.relations().iter().any(|r| meets(&r.bits))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bits 1 to 10 are the number's; a site code of 1 or 2 in bits 11 to 18, a
    /// check bit behind it.
    fn cards(check: bool) -> Vec<Capture> {
        let card = |n: u32| {
            let number = n.wrapping_mul(2_654_435_761) >> 22;
            let site = 1 + (n >> 3 & 1);
            let word = number << 9 | site << 1;
            let end = u32::from(check) & word.count_ones() & 1;
            Capture::from_bits((0..19).rev().map(|at| (word | end) >> at & 1 == 1)).unwrap()
        };
        (0..40).map(card).collect()
    }

    #[test]
    fn a_code_nobody_printed_is_proposed_and_a_check_bit_is_none() {
        let number = Wide::ones(10);
        for check in [false, true] {
            let found = find(cards(check).into_iter(), 19, number, Wide::ZERO);
            let [code] = &found[..] else { panic!("{found:?}") };
            let whole = if check { "11-18" } else { "11-19" };
            assert_eq!((code.whole.to_string().as_str(), code.values), (whole, 2));
            let field = code.field(Role::Site);
            assert!(!field.settled);
            assert_eq!(field.could_be[1].to_string(), "17-18");
        }
    }

    /// Of 2^2 values two are taken by 20 cards in at most 6 · 2^-20 of draws; all
    /// four say nothing; and as many values as cards are a number, no code.
    #[test]
    fn few_values_are_fewer_than_chance_leaves() {
        assert!(few(2, 2, 20));
        assert!(!few(2, 2, 8));
        assert!(!few(4, 2, 1000));
        assert!(!few(30, 20, 30));
        assert!(few(3, 12, 30));
    }
}
