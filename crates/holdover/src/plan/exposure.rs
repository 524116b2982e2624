//! Exposure: the chance that a stranger's card opens, in closed form.
//!
//! A stranger's card meets the slot's checks. Where these tie bits of its site
//! and card runs to one another, a check bit inside a run say, the runs hold
//! only some of their values, and those alone are counted.

use std::collections::BTreeMap;

use super::affine::{Affine, Equation};
use super::big::Big;
use super::catalogue::{Catalogue, Slot};
use super::shape::{CardRun, Cut, Run, Shape};
use super::sweep::Enrolled;
use crate::bits::Wide;
use crate::bits::gf2::{Relation, System};
use crate::site::Identity;

/// Exposures are summed in units of 2^-256: a run pair never has more bits.
const UNIT_BITS: usize = 256;

/// Intervals looked at for one slot and key where checks tie the bits of a run
/// and digits are cut; with more, opening values are taken to be tied as often
/// as all values are. Judgement, no source: some milliseconds.
const INTERVALS_MOST: u128 = 1 << 16;

/// Relations that site codes may meet in one way or another, all ways looked
/// at. Judgement, no source: panels check a handful.
const TIES_MOST: usize = 12;

/// The patterns of one slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Patterns {
    /// log2 of the values its site and card runs can hold.
    pub admitted_bits: usize,
    /// How many of them open as an enrolled card.
    pub opening: Big,
}

impl Patterns {
    /// In units of 2^-256; exact.
    pub fn share(&self) -> Big {
        self.opening.shl(UNIT_BITS - self.admitted_bits.min(UNIT_BITS))
    }

    pub fn admitted(&self) -> Big {
        Big::power_of_two(self.admitted_bits)
    }

    pub fn chance(&self) -> f64 {
        chance(self.share())
    }
}

/// A sum of shares as a number.
pub(crate) fn chance(share: Big) -> f64 {
    share.as_f64() * (-(UNIT_BITS as f64)).exp2()
}

/// What a slot is asked of a stranger's card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Asked {
    /// Its allow-list is heeded.
    pub sites: bool,
    /// The checks hold.
    pub checks: bool,
}

/// The relations that a slot's checks make among the bits of its runs alone.
pub(crate) fn ties(shape: &Shape) -> Vec<Relation> {
    let runs = shape.site.map_or(Wide::ZERO, Run::mask) | shape.card.run.mask();
    let outside = Wide::ones(shape.length) & !runs;
    let mut system = System::new();
    for check in &shape.checks {
        system.add_preferring(*check, &[outside]);
    }
    // A row with a bit outside has its pivot there, which no other row holds.
    let inside = |row: &Relation| (row.bits & outside).is_zero();
    system.relations().filter(inside).collect()
}

/// log2 of the values that a slot's runs can hold.
pub(crate) fn admitted_bits(shape: &Shape) -> usize {
    shape.card.run.len + shape.site_bits() - ties(shape).len()
}

/// How many values of a run have a panel number enrolled under `key`.
fn values(run: &CardRun, enrolled: &Enrolled, key: u32) -> Big {
    let all = Big::power_of_two(run.run.len);
    let below = |limit| enrolled.below(key, limit);
    match run.cut {
        Cut::None => below(all),
        Cut::Low(modulus) => {
            let modulus = Big::from(modulus);
            let (rounds, rest) = all.div_rem(modulus);
            below(modulus).mul(rounds).add(below(rest))
        }
        Cut::High(divisor) => {
            let (whole, rest) = all.div_rem(divisor);
            let full = below(whole);
            let partial = below(whole.add(Big::ONE)).sub(full);
            full.mul(divisor).add(partial.mul(rest))
        }
    }
}

/// A relation as an equation on the value of the card run, and the bits of the
/// site code that take part.
struct Tie {
    equation: Equation,
    site: u128,
}

impl Tie {
    /// The equation under a site code.
    fn under(&self, code: &Big) -> Equation {
        let odd = (self.site & code.saturated()).count_ones() % 2 == 1;
        Equation { constant: self.equation.constant ^ odd, ..self.equation }
    }
}

/// `None` where a run is too long to be looked at so.
fn tie(shape: &Shape, relation: &Relation) -> Option<Tie> {
    let of = |run: Run| Some(run.value(relation.bits).saturated()).filter(|_| run.len <= 128);
    let mask = of(shape.card.run)?;
    let site = shape.site.map_or(Some(0), of)?;
    Some(Tie { equation: Equation { mask, constant: relation.constant }, site })
}

/// How many values of a run meet the equations and have a panel number
/// enrolled under `key`; `None` where that is too much to look at.
fn tied(run: &CardRun, enrolled: &Enrolled, key: u32, equations: &[Equation]) -> Option<Big> {
    let bits = (0..run.run.len).map(|bit| 1u128 << bit);
    let Some(all) = Affine::new(0, bits).0.split(equations).0 else { return Some(Big::ZERO) };
    let end = Big::power_of_two(run.run.len);
    // Values from one up to another, the latter left out.
    let between = |from: Big, to: Big| {
        let below = |limit: Big| match limit.min(end).small() {
            Some(limit) => Big::from(all.below(limit)),
            None => Big::from(all.size()),
        };
        below(to).sub(below(from.min(to)))
    };
    let (number_ranges, sets, singles) = enrolled.numbers(key);
    let members = sets.iter().map(Affine::size).fold(0, u128::saturating_add);
    let intervals = (number_ranges.len() + singles.len()) as u128;
    let rounds = match run.cut {
        Cut::Low(modulus) => end.div_rem(Big::from(modulus)).0.saturated().saturating_add(1),
        _ => 1,
    };
    let listed = if run.cut == Cut::None { 0 } else { members };
    let work = intervals.saturating_add(listed).saturating_mul(rounds);
    if run.cut != Cut::None && work > INTERVALS_MOST {
        return None;
    }
    let numbers = |from: u128, to: u128| {
        let (from, after) = (Big::from(from), Big::from(to).add(Big::ONE));
        match run.cut {
            Cut::None => between(from, after),
            Cut::High(divisor) => between(from.mul(divisor), after.mul(divisor)),
            Cut::Low(modulus) => (0..rounds).fold(Big::ZERO, |sum, round| {
                let base = Big::from(modulus).mul(Big::from(round));
                sum.add(between(base.add(from), base.add(after)))
            }),
        }
    };
    let number_ranges = number_ranges.iter().map(|(from, to, _)| numbers(*from, *to));
    let mut sum = number_ranges.fold(Big::ZERO, Big::add);
    sum = singles.iter().map(|number| numbers(*number, *number)).fold(sum, Big::add);
    if run.cut != Cut::None {
        let members = sets.iter().flat_map(Affine::members);
        return Some(members.map(|number| numbers(number, number)).fold(sum, Big::add));
    }
    let beyond = (run.run.len..128).map(|bit| Equation { mask: 1 << bit, constant: false });
    let equations: Vec<Equation> = equations.iter().copied().chain(beyond).collect();
    let inside = sets.iter().filter_map(|set| set.split(&equations).0);
    Some(inside.map(|set| Big::from(set.size())).fold(sum, Big::add))
}

/// A slot's place in the plan with what opens by it.
struct Counting<'a, 'j, 't> {
    catalogue: &'a Catalogue<'j, 't>,
    slot: &'a Slot,
    ordinal: usize,
    enrolled: &'a Enrolled,
    sites: Option<&'a [Big]>,
}

impl Counting<'_, '_, '_> {
    /// The keys whose numbers open, each with its site code; only where
    /// identities go by site code.
    fn keys(&self) -> impl Iterator<Item = (u32, Big)> + '_ {
        let (site, bits) = (self.slot.shape.site, self.slot.shape.site_bits());
        let read = move |code: &Big| match (site, self.sites) {
            (None, _) => *code == Big::ZERO,
            (Some(_), None) => code.bits() <= bits,
            (Some(_), Some(sites)) => sites.binary_search(code).is_ok(),
        };
        let keys = self.enrolled.keys().map(|key| (key, self.catalogue.code(key)));
        keys.filter(move |(_, code)| read(code))
    }

    /// The one key, where identities do not go by site code.
    fn key(&self) -> Option<u32> {
        match self.catalogue.problem.panel.identity {
            Identity::Number => Some(0),
            Identity::SlotAndNumber => Some(self.ordinal as u32),
            Identity::SiteAndNumber => None,
        }
    }

    /// Of all values of the runs.
    fn all(&self) -> Big {
        let run = &self.slot.shape.card;
        let Some(key) = self.key() else {
            let keys = self.keys();
            return keys.fold(Big::ZERO, |sum, (key, _)| sum.add(values(run, self.enrolled, key)));
        };
        let codes = match self.sites {
            Some(sites) => Big::from(sites.len() as u128),
            None => Big::power_of_two(self.slot.shape.site_bits()),
        };
        values(run, self.enrolled, key).mul(codes)
    }

    /// Of the values that the checks allow; `None` where that is too much to
    /// look at.
    fn tied(&self, relations: &[Relation]) -> Option<Big> {
        let shape = &self.slot.shape;
        let ties: Vec<Tie> =
            relations.iter().map(|relation| tie(shape, relation)).collect::<Option<_>>()?;
        let under =
            |code: &Big| -> Vec<Equation> { ties.iter().map(|tie| tie.under(code)).collect() };
        let Some(key) = self.key() else {
            return self.keys().try_fold(Big::ZERO, |sum, (key, code)| {
                Some(sum.add(tied(&shape.card, self.enrolled, key, &under(&code))?))
            });
        };
        // How many site codes leave the card run with the same equations.
        let mut cases: BTreeMap<u128, Big> = BTreeMap::new();
        let constants = |code: &Big| {
            let odd = under(code).into_iter().enumerate().filter(|(_, e)| e.constant);
            odd.fold(0u128, |set, (at, _)| set | 1 << at)
        };
        if ties.len() > TIES_MOST {
            return None;
        }
        match self.sites {
            Some(sites) => {
                for code in sites {
                    let times = cases.entry(constants(code)).or_default();
                    *times = times.add(Big::ONE);
                }
            }
            None => {
                let bits = shape.site_bits();
                let zero = constants(&Big::ZERO);
                let flips = (0..bits).map(|bit| constants(&Big::power_of_two(bit)) ^ zero);
                let (image, same) = Affine::new(zero, flips);
                for case in image.members() {
                    cases.insert(case, Big::power_of_two(same));
                }
            }
        }
        cases.into_iter().try_fold(Big::ZERO, |sum, (case, times)| {
            let own = |(at, tie): (usize, &Tie)| Equation {
                constant: case >> at & 1 == 1,
                ..tie.equation
            };
            let equations: Vec<Equation> = ties.iter().enumerate().map(own).collect();
            Some(sum.add(tied(&shape.card, self.enrolled, key, &equations)?.mul(times)))
        })
    }
}

/// The patterns of the plan's slot `ordinal`, from 0.
pub(crate) fn patterns(
    catalogue: &Catalogue<'_, '_>,
    slot: &Slot,
    ordinal: usize,
    enrolled: &Enrolled,
    asked: Asked,
) -> Patterns {
    let shape = &slot.shape;
    let sites = slot.sites.as_ref().filter(|_| asked.sites).map(|sites| &sites[..]);
    let counting = Counting { catalogue, slot, ordinal, enrolled, sites };
    let relations = if asked.checks { ties(shape) } else { Vec::new() };
    let bits = shape.card.run.len + shape.site_bits();
    let admitted_bits = bits - relations.len();
    if relations.is_empty() {
        return Patterns { admitted_bits, opening: counting.all() };
    }
    let opening = counting.tied(&relations).unwrap_or_else(|| {
        let up = Big::power_of_two(relations.len()).sub(Big::ONE);
        counting.all().add(up).shr(relations.len())
    });
    Patterns { admitted_bits, opening }
}

/// The exposure of a whole plan, in units of 2^-256.
pub(crate) fn exposure(catalogue: &Catalogue<'_, '_>, slots: &[Slot], enrolled: &Enrolled) -> Big {
    let asked = Asked { sites: true, checks: true };
    let share = |(ordinal, slot)| patterns(catalogue, slot, ordinal, enrolled, asked).share();
    slots.iter().enumerate().map(share).fold(Big::ZERO, Big::add)
}
