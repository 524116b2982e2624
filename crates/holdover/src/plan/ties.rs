//! Exposure among plans that are equal in cards, as costs of options and pairs:
//! every slot opens by the numbers that every length enrols.

use std::collections::HashMap;

use super::big::Big;
use super::catalogue::{Catalogue, Slot};
use super::cells::Regions;
use super::choose::{Cost, Problem, Value, Variable};
use super::effort::Pace;
use super::error::PlanError;
use super::exposure::{Asked, admitted_bits, patterns, ties as tied_bits};
use super::options::{Choice, Entry, Options};
use super::segments::{Owner, Span, Tag};
use super::shape::{CardRun, Cut, Run};
use super::sweep::Enrolled;
use crate::site::Identity;

/// Options of all lengths beyond which pairs are not weighed. Judgement, no
/// source: half a gigabyte.
const OPTIONS_MOST: usize = 4000;

/// Bits of all costs of this kind: sums have room.
const BITS_MOST: usize = 100;

/// More than any good choice costs.
const NEVER: Cost = 1 << 110;

/// What cards may cost above their bound weighs as much as a fifth of the best
/// exposure: much more or less bounds it badly. Judgement, no source: measured
/// on sites of 40 to 100 layouts.
const CARDS_SHARE: Cost = 5;

/// Exposures are summed in units of 2^-256.
const UNIT_BITS: usize = 256;

/// How exposure and slots become one cost, under what cards cost.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    /// Bits of exposures that are left out.
    shift: usize,
    /// Bits below an exposure: the count of slots, and fractions of cards.
    slot_bits: usize,
    /// What a part of what cards cost comes to.
    parts: Cost,
    /// What the best plan's cards cost above the bound that all choices share.
    slack: Cost,
}

impl Scale {
    fn new(opens: &Opens<'_, '_, '_>, slack: Cost, best: Big) -> Scale {
        let slots = opens.catalogue.problem.slots.max(1);
        let slot_bits = (slots.ilog2() + 1 + slack.max(1).ilog2() + 4) as usize;
        let bits = opens.slots.iter().map(|slot| admitted_bits(&slot.shape)).max().unwrap_or(0);
        let bits = bits.min(BITS_MOST.saturating_sub(slot_bits));
        let mut scale = Scale { shift: UNIT_BITS - bits, slot_bits, parts: 1, slack };
        scale.parts = (scale.exposure(best) / (CARDS_SHARE * slack.max(1))).max(1);
        scale
    }

    /// What cards cost; more than there is room for is all the same.
    fn cards(&self, cost: Cost) -> Cost {
        if cost > self.slack { NEVER } else { cost * self.parts }
    }

    /// Rounded down.
    fn exposure(&self, share: Big) -> Cost {
        let listed_cards = share.shr(self.shift).small().unwrap_or(u128::MAX);
        (listed_cards.min(1 << (BITS_MOST - self.slot_bits)) << self.slot_bits) as Cost
    }

    /// What is left of a unit once rounded, at most.
    fn rest(&self, share: Big) -> Cost {
        let exact = share == share.shr(self.shift).shl(self.shift);
        if exact { 0 } else { 1 << self.slot_bits }
    }

    /// No choice that costs more is better than a plan of this exposure.
    pub fn limit(&self, exposure: Big, slots: usize) -> Cost {
        let least = match self.rest(exposure) {
            0 => slots as Cost,
            rest => rest,
        };
        self.parts * self.slack + self.exposure(exposure) + least - 1
    }

    /// The least exposure of what a bound allows.
    pub fn least(&self, bound: Cost) -> Big {
        let listed_cards = ((bound - self.parts * self.slack).max(0) >> self.slot_bits) as u128;
        Big::from(listed_cards).shl(self.shift)
    }
}

/// What slots open by numbers.
struct Opens<'a, 'j, 't> {
    catalogue: &'a Catalogue<'j, 't>,
    slots: Vec<&'a Slot>,
    /// For each length and option, which of the slots it has.
    of: Vec<Vec<Vec<usize>>>,
    /// Slots whose checks and digits are not looked at number by number.
    rough: Vec<bool>,
}

impl<'a, 'j, 't> Opens<'a, 'j, 't> {
    fn new(
        catalogue: &'a Catalogue<'j, 't>,
        options: &'a Options,
        left: &[Vec<usize>],
    ) -> Opens<'a, 'j, 't> {
        let mut slots = Vec::new();
        let mut places: HashMap<(&[usize], Run), usize> = HashMap::new();
        let mut of = Vec::with_capacity(left.len());
        for (class, left) in left.iter().enumerate() {
            let choices = left.iter().map(|option| &options.classes[class][*option]);
            let own = choices.map(|choice| {
                let place = |slot: &'a Slot| {
                    *places.entry((&slot.kinds, slot.shape.card.run)).or_insert_with(|| {
                        slots.push(slot);
                        slots.len() - 1
                    })
                };
                choice.slots.iter().map(place).collect()
            });
            of.push(own.collect());
        }
        let rough = |slot: &&Slot| {
            let CardRun { cut, .. } = slot.shape.card;
            cut != Cut::None && !tied_bits(&slot.shape).is_empty()
        };
        let rough = slots.iter().map(rough).collect();
        Opens { catalogue, slots, of, rough }
    }

    /// What each slot opens by these numbers, at least.
    fn by(&self, enrolled: &Enrolled) -> Vec<Big> {
        let asked = Asked { sites: true, checks: true };
        let share = |(slot, rough): (&&Slot, &bool)| match rough {
            true => Big::ZERO,
            false => patterns(self.catalogue, slot, 0, enrolled, asked).share(),
        };
        self.slots.iter().zip(&self.rough).map(share).collect()
    }

    /// What the slots of an option open, of what each slot opens.
    fn sum(&self, class: usize, i: usize, shares: &[Cost]) -> Cost {
        self.of[class][i].iter().map(|slot| shares[*slot]).sum()
    }

    /// What is counted twice of numbers that two options enrol, at most.
    #[allow(clippy::type_complexity, reason = "pairs of class and option")]
    fn twice(
        &self,
        options: &Options,
        left: &[Vec<usize>],
        cards: &Problem,
        scale: &Scale,
        pace: &mut Pace<'_>,
    ) -> Result<HashMap<((usize, usize), (usize, usize)), Cost>, PlanError> {
        let mut twice = HashMap::new();
        let place = |e: &Entry| left[e.class].iter().position(|option| *option == e.option);
        let known = |e: &Entry| Some((e.class, place(e)?)).filter(|_| e.live.kept_home > 0);
        for cell in options.shared.chunk_by(|a, b| a.cell == b.cell) {
            let known: Vec<(usize, usize)> = cell.iter().filter_map(known).collect();
            let mut most = None;
            for (at, a) in known.iter().enumerate() {
                for b in known[at + 1..].iter().filter(|b| b.0 != a.0) {
                    if cards.pair(*a, *b) > scale.slack {
                        continue;
                    }
                    let most = match most {
                        Some(most) => most,
                        None => {
                            let ((key, from), width) = (cell[0].from, cell[0].width);
                            let span = Span {
                                key,
                                from,
                                to: from + (width - 1),
                                each: 1,
                                value_less: None,
                                tag: Tag::default(),
                                owner: Owner::row(0),
                            };
                            let regions = Regions::new(vec![span], Vec::new())?;
                            pace.spend(100 * self.slots.len() as u64);
                            *most.insert(self.most(&self.by(&Enrolled::new(&[], &regions))))
                        }
                    };
                    *twice.entry((*a, *b)).or_insert(0) += scale.exposure(most) + scale.rest(most);
                }
            }
        }
        Ok(twice)
    }

    /// Of all slots that a plan may have, the most that they open.
    fn most(&self, shares: &[Big]) -> Big {
        let sum = |slots: &Vec<usize>| slots.iter().fold(Big::ZERO, |sum, s| sum.add(shares[*s]));
        let most = |of: &Vec<Vec<usize>>| of.iter().map(sum).max().unwrap_or_default();
        self.of.iter().map(most).fold(Big::ZERO, Big::add)
    }
}

fn enrolled(choice: &Choice) -> Result<Enrolled, PlanError> {
    let regions = Regions::new(choice.pieces.spans.clone(), Vec::new())?;
    Ok(Enrolled::new(&choice.pieces.singles, &regions))
}

/// What an option opens where slots know their own cards alone.
fn alone(catalogue: &Catalogue<'_, '_>, choice: &Choice) -> Result<Big, PlanError> {
    let enrolled = enrolled(choice)?;
    let asked = Asked { sites: true, checks: true };
    let share = |(at, slot)| patterns(catalogue, slot, at, &enrolled, asked).share();
    Ok(choice.slots.iter().enumerate().map(share).fold(Big::ZERO, Big::add))
}

/// The problem of choosing for exposure and slots among the options left where
/// cards cost no more than `limit`; `None` where there are too many, or no time.
pub(crate) fn ties(
    catalogue: &Catalogue<'_, '_>,
    options: &Options,
    cards: &Problem,
    limit: Cost,
    best: Big,
    pace: &mut Pace<'_>,
) -> Result<Option<(Problem, Scale)>, PlanError> {
    let name = |v: &Variable| v.values.iter().map(|value| value.option).collect();
    let left: Vec<Vec<usize>> = cards.variables.iter().map(name).collect();
    if left.iter().map(Vec::len).sum::<usize>() > OPTIONS_MOST {
        return Ok(None);
    }
    let choice = |class: usize, i: usize| &options.classes[class][left[class][i]];
    let opens = Opens::new(catalogue, options, &left);
    let scale = Scale::new(&opens, limit - cards.base, best);
    // By class and option, what its numbers open in each slot there may be.
    let mut shares: Vec<Vec<Vec<Cost>>> = Vec::with_capacity(left.len());
    let mut own: Vec<Vec<Value>> = Vec::with_capacity(left.len());
    for (class, variable) in cards.variables.iter().enumerate() {
        let (mut rows, mut values) = (Vec::new(), Vec::new());
        for (i, value) in variable.values.iter().enumerate() {
            let mut cost = scale.cards(value.cost) + value.slots as Cost;
            if catalogue.problem.panel.identity == Identity::SlotAndNumber {
                cost += scale.exposure(alone(catalogue, choice(class, i))?);
            } else {
                let by = opens.by(&enrolled(choice(class, i))?);
                let row: Vec<Cost> = by.into_iter().map(|share| scale.exposure(share)).collect();
                cost += opens.sum(class, i, &row);
                rows.push(row);
            }
            values.push(Value { cost, ..*value });
            if !pace.spend(100 * opens.slots.len() as u64) {
                return Ok(None);
            }
        }
        shares.push(rows);
        own.push(values);
    }
    let mut twice = opens.twice(options, &left, cards, &scale, pace)?;
    let mut pairs = Vec::new();
    for a in 0..left.len() {
        for b in a + 1..left.len() {
            let mut table = cards.table(a, b);
            table.iter_mut().for_each(|cost| *cost = scale.cards(*cost));
            for (cell, cost) in table.iter_mut().enumerate() {
                let (i, j) = (cell / left[b].len(), cell % left[b].len());
                if let (Some(by_a), Some(by_b)) = (shares[a].get(i), shares[b].get(j)) {
                    *cost += opens.sum(a, i, by_b) + opens.sum(b, j, by_a);
                }
                *cost -= twice.remove(&((a, i), (b, j))).unwrap_or(0);
            }
            if table.iter().any(|cost| *cost != 0) {
                pairs.push(((a, b), table));
            }
            if !pace.spend(10 * (left[a].len() * left[b].len()) as u64) {
                return Ok(None);
            }
        }
    }
    let mut problem = Problem::new(own, pairs, cards.slots);
    problem.price = cards.price * scale.parts;
    problem.cliques = cards.cliques.iter().map(|price| price * scale.parts).collect();
    for (variable, cards) in problem.variables.iter_mut().zip(&cards.variables) {
        variable.values_in.clone_from(&cards.values_in);
    }
    Ok(Some((problem, scale)))
}
