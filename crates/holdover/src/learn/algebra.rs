//! What linear algebra over GF(2) tells where nothing that a designer usually
//! draws was found: a remainder by a polynomial, and a printed number whose bits
//! stand in no order. Needs some ten cards more than the bits that vary. Found so,
//! nothing is settled.

use super::answer::{FoundCheck, FoundField};
use super::claim::MARGIN;
use super::null_space;
use super::print::Facet;
use super::rows::{Columns, Rows};
use crate::bits::gf2::{Relation, System};
use crate::bits::{Capture, Position, Span, Wide};
use crate::layout::{Check, Code, PrintRule, Role};

/// Degrees of polynomials looked for (judgement, no source).
const DEGREES: std::ops::RangeInclusive<usize> = 3..=16;

/// Bits by which a polynomial must be borne out: one accident in sixteen million.
const BORNE_OUT: usize = 24;

/// The last bits of a card as the remainder of those before.
#[derive(Debug)]
pub(super) struct Remainder {
    degree: usize,
    /// The polynomial without its highest power, the constant last.
    low: u32,
    /// For each check bit the relation it is in.
    relations: Vec<(usize, Relation)>,
}

/// Looks for a polynomial whose remainder the last bits of all cards are. Bits
/// that few values test are not asked: the polynomial says what covers them.
pub(super) fn remainder(cards: &[Capture]) -> Option<Remainder> {
    let length = cards.first()?.len();
    let space = null_space(cards);
    let one = |at: usize| Wide::ones(1).towards_end(at);
    DEGREES.filter(|degree| 2 * degree < length).find_map(|degree| {
        let data = length - degree;
        let ends: Vec<Wide> = (data..length).map(one).collect();
        let mut system = System::new();
        space.relations().iter().for_each(|relation| {
            system.add_preferring(*relation, &ends);
        });
        let of = |end: &Wide| system.relations().find(|r| !(r.bits & *end).is_zero());
        let found: Vec<Relation> = ends.iter().filter_map(of).collect();
        let ends = Wide::ones(degree).towards_end(data);
        let alone = found.iter().all(|relation| (relation.bits & ends).count_ones() == 1);
        if found.len() < degree || !alone {
            return None;
        }
        let others = system.relations().filter(|relation| (relation.bits & ends).is_zero());
        let tied = others.fold(Wide::ZERO, |all, relation| all | relation.bits);
        let column = |at: usize| {
            found.iter().fold(0u32, |all, relation| all << 1 | u32::from(relation.bits.bit(at)))
        };
        let told: Vec<(usize, u32)> =
            (0..data).filter(|at| !tied.bit(*at)).map(|at| (at, column(at))).collect();
        let low = polynomial(&told, degree)?;
        let remainder = Remainder { degree, low, relations: Vec::new() };
        remainder.over(&told, cards)
    })
}

/// The polynomial by which each bit's column follows from that of the bit behind
/// it: moved by one power, and less the polynomial where that overflows.
fn polynomial(told: &[(usize, u32)], degree: usize) -> Option<u32> {
    let pairs: Vec<(u32, u32)> = told
        .windows(2)
        .filter(|pair| pair[0].0 + 1 == pair[1].0)
        .map(|pair| (pair[0].1, pair[1].1))
        .collect();
    let over = |column: u32| column >> (degree - 1) & 1 == 1;
    let moved = |column: u32| column << 1 & ((1 << degree) - 1);
    let low = pairs.iter().find(|(_, behind)| over(*behind));
    let low = low.map(|(column, behind)| *column ^ moved(*behind))?;
    let follows = |(column, behind): &(u32, u32)| {
        *column == moved(*behind) ^ if over(*behind) { low } else { 0 }
    };
    // A word check has the polynomial of its width and the constant alone.
    let named = low & 1 == 1 && low != 1;
    let enough = pairs.len().saturating_sub(1) * degree >= BORNE_OUT;
    (named && enough && pairs.iter().all(follows)).then_some(low)
}

impl Remainder {
    /// What each check bit covers by the polynomial, from one bit that is told;
    /// `None` where a card disagrees.
    fn over(mut self, told: &[(usize, u32)], cards: &[Capture]) -> Option<Remainder> {
        let (degree, first) = (self.degree, cards.first()?.wide());
        let data = cards.first()?.len() - degree;
        let (from, start) = *told.first()?;
        let mut columns = vec![start; data];
        for at in (0..from).rev() {
            let behind = columns[at + 1];
            let over = behind >> (degree - 1) & 1 == 1;
            columns[at] = behind << 1 & ((1 << degree) - 1) ^ if over { self.low } else { 0 };
        }
        for at in from + 1..data {
            let before = columns[at - 1];
            // The constant is 1, so that a bit of the lowest power was an overflow.
            columns[at] = match before & 1 {
                1 => (before ^ self.low) >> 1 | 1 << (degree - 1),
                _ => before >> 1,
            };
        }
        for nth in 0..degree {
            let own = (0..data).filter(|at| columns[*at] >> (degree - 1 - nth) & 1 == 1);
            let bits = own.chain([data + nth]).fold(Wide::ZERO, |mut all, at| {
                all.set(at, true);
                all
            });
            self.relations.push((data + nth, Relation { bits, constant: (bits & first).parity() }));
        }
        let holds = |card: &Capture| self.relations.iter().all(|(_, r)| r.holds(card.wide()));
        cards.iter().all(holds).then_some(self)
    }

    /// The checks found with those of the remainder in place of what it explains;
    /// `still` are the bits that never varied.
    pub(super) fn explain(&self, checks: Vec<FoundCheck>, still: Wide) -> Vec<FoundCheck> {
        let mut system = System::new();
        let mut own = Wide::ZERO;
        for (bit, relation) in &self.relations {
            system.add(*relation);
            own.set(*bit, true);
        }
        let left = |found: &FoundCheck| {
            let implied = |r: Relation| system.reduce(r).bits.is_zero();
            (found.check.own_bits() & own).is_zero()
                && !found.check.relations().into_iter().all(implied)
        };
        let mut checks: Vec<FoundCheck> = checks.into_iter().filter(left).collect();
        checks.extend(self.relations.iter().filter_map(|(bit, relation)| {
            let mut over = relation.bits;
            over.set(*bit, false);
            let undetermined = Span::from_mask(over & still);
            let (bit, over) = (Position::new(bit + 1)?, Span::from_mask(over)?);
            let check = Check::Parity { odd: relation.constant, bit, over };
            Some(FoundCheck { check, settled: false, undetermined })
        }));
        checks
    }

    /// What to say of it.
    pub(super) fn text(&self, length: usize) -> String {
        let power = |power: usize| match power {
            0 => "1".to_owned(),
            1 => "x".to_owned(),
            _ => format!("x^{power}"),
        };
        let powers = (0..self.degree).rev().filter(|at| self.low >> at & 1 == 1);
        let powers: Vec<String> = std::iter::once(self.degree).chain(powers).map(power).collect();
        format!(
            "bits {}-{length} are the remainder of the bits before them by the polynomial {}: found \
             by algebra alone, as a check for each bit; none of them is settled",
            length - self.degree + 1,
            powers.join(" + ")
        )
    }
}

/// The share of prints that may be wrong.
const WRONG: f64 = 0.05;

/// Fewer bits than these that vary are no number (judgement, no source).
const LEAST: usize = 8;

/// A printed number whose bits stand in no order: each bit of the print that
/// varies is one bit of the card, as it is or inverted. As a field where none is
/// inverted and none is missing, and what to say.
pub(super) fn scattered(
    columns: &Columns,
    facets: &[Facet],
) -> Option<(Option<FoundField>, String)> {
    facets.iter().find_map(|facet| {
        let known = Rows::of(facet.values.len(), |row| facet.values[row].is_some());
        let bit = |row: usize, at: u32| facet.values[row].unwrap_or(0) >> at & 1 == 1;
        let planes = (0..128).rev().map(|at| Rows::of(known.rows(), |row| bit(row, at)));
        let planes: Vec<Rows> = planes.skip_while(|plane| plane.is_empty()).collect();
        let varies = |plane: &&Rows| (1..known.count()).contains(&plane.count());
        let varying: Vec<&Rows> = planes.iter().filter(varies).collect();
        let cards = facet.distinct(known.iter(), usize::MAX);
        if varying.len() < LEAST || cards < varying.len() + MARGIN {
            return None;
        }
        let few = (known.count() as f64 * WRONG) as usize;
        let place = |plane: &Rows| {
            (0..columns.length()).find_map(|at| {
                let apart = columns.at(at).and(&known).distance(plane);
                match (apart <= few, known.count() - apart <= few) {
                    (true, _) => Some((at, false)),
                    (_, inverted) => inverted.then_some((at, true)),
                }
            })
        };
        let places: Vec<(usize, bool)> =
            varying.iter().map(|plane| place(plane)).collect::<Option<_>>()?;
        let span = Span::from_offsets(places.iter().map(|(at, _)| *at)).ok()?;
        let inverted = places.iter().filter(|(_, inverted)| *inverted).map(|(at, _)| *at);
        let inverted = Span::from_offsets(inverted).ok();
        let note = match &inverted {
            None => String::new(),
            Some(bits) => format!(", {bits} of them inverted, which no field can say"),
        };
        let note = format!(
            "the bits of {} stand at {span}, the most significant first{note}: found by algebra \
             alone, and not settled",
            facet.what.text()
        );
        let field = (inverted.is_none() && planes.len() == varying.len()).then(|| FoundField {
            role: Role::Card,
            could_be: vec![span.clone()],
            span,
            code: Code::Binary,
            settled: false,
            print: PrintRule::default(),
        });
        Some((field, note))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CRC-5 by x^5 + x^2 + 1, the polynomial of USB tokens (USB 2.0, 8.3.5.1),
    /// divided by hand, bit by bit.
    fn crc5(data: u64, bits: usize) -> u64 {
        let mut rest = data << 5;
        for at in (0..bits).rev() {
            if rest >> (at + 5) & 1 == 1 {
                rest ^= 0b10_0101 << at;
            }
        }
        rest
    }

    fn capture(word: u64, length: usize) -> Capture {
        Capture::from_bits((0..length).rev().map(|at| word >> at & 1 == 1)).unwrap()
    }

    #[test]
    fn a_remainder_is_named_by_its_polynomial() {
        let data = |n: u64| n.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 43;
        let cards: Vec<Capture> =
            (1..60).map(|n| capture(data(n) << 5 | crc5(data(n), 21), 26)).collect();
        let found = remainder(&cards).unwrap();
        assert!(found.text(26).contains("x^5 + x^2 + 1"), "{}", found.text(26));
        let checks = found.explain(Vec::new(), Wide::ZERO);
        assert_eq!(checks.len(), 5);
        let holds = |card: &Capture| {
            checks.iter().flat_map(|c| c.check.relations()).all(|r| r.holds(card.wide()))
        };
        assert!(
            (60..200).map(|n| capture(data(n) << 5 | crc5(data(n), 21), 26)).all(|c| holds(&c))
        );
        // Random words have none.
        let random: Vec<Capture> = (1..60).map(|n| capture((data(n) << 5) + n % 32, 26)).collect();
        assert!(remainder(&random).is_none());
    }

    #[test]
    fn a_number_in_no_order_is_found_bit_by_bit() {
        let order = [7, 3, 11, 0, 5, 9, 1, 10, 2, 8];
        let number = |n: usize| ((n * 40_503) >> 4) & 1023;
        let word = |n: usize, key: usize| {
            (0..10)
                .filter(|i| (number(n) ^ key) >> (9 - i) & 1 == 1)
                .map(|i| 1 << (11 - order[i]))
                .sum()
        };
        for key in [0, 0b11] {
            let cards: Vec<Capture> = (0..40).map(|n| capture(word(n, key), 12)).collect();
            let values = (0..40).map(|n| Some(number(n) as u128)).collect();
            let what = super::super::print::What::Card { hex: false };
            let facet = Facet { values, padded: None, what };
            let (field, note) = scattered(&Columns::of(cards.iter(), 12), &[facet]).unwrap();
            assert!(note.contains("8,4,12,1,6,10,2,11,3,9"), "{note}");
            assert_eq!(field.is_some(), key == 0);
            assert_eq!(note.contains("3,9 of them inverted"), key != 0, "{note}");
        }
    }
}
