//! What the layouts still out must add at least, wherever they go: what each
//! adds by itself under each card run, and no more runs than slots are left.

use std::collections::{BTreeSet, HashMap};

use super::catalogue::{Catalogue, Pieces, Slot};
use super::cells::Regions;
use super::shape::CardRun;
use super::sweep::count;

/// Cards weighed to learn what a length's kinds add by themselves; without it
/// the search is longer. Judgement, no source: a second or two.
const WEIGHED_MOST: usize = 16_000_000;

/// Choices of runs tried for one bound. Judgement, no source: a millisecond.
const CHOICES_MOST: usize = 2000;

/// The layouts of one length.
pub(crate) struct Class {
    /// Indices among the problem's kinds, ascending.
    pub kinds: Vec<usize>,
    /// Kinds of that length that no slot can hold.
    pub barred: Vec<usize>,
    /// Slots of that length that are keyed in already.
    pub pinned: Vec<Slot>,
    /// Kept cards of the kinds.
    pub kept: u128,
    pub boxed: u128,
    /// Kept cards that slots of this length save at most.
    pub saves: u128,
    /// Whether some of the runs do not take every number, or slots are keyed
    /// in already that nothing may join.
    pub limited: bool,
    /// Every run a slot of that length may read, the plainest first.
    pub runs: Vec<CardRun>,
    /// Which of the runs each kind brings in.
    brings: Vec<Vec<usize>>,
    /// What each kind adds by itself, by run; empty where that is not known.
    costs: Vec<Vec<Least>>,
    known: HashMap<(u64, usize), Least>,
}

/// The least that kinds add.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Least {
    pub lost: u128,
    pub in_conflict: u128,
    pub renumbered: u128,
}

impl Least {
    pub fn add(self, other: Least) -> Least {
        Least {
            lost: self.lost.saturating_add(other.lost),
            in_conflict: self.in_conflict.saturating_add(other.in_conflict),
            renumbered: self.renumbered.saturating_add(other.renumbered),
        }
    }
}

impl Class {
    /// The class of some kinds of one length.
    pub fn new(
        catalogue: &mut Catalogue<'_, '_>,
        length: usize,
        kinds: Vec<usize>,
        barred: Vec<usize>,
    ) -> Class {
        let pinned: Vec<Slot> =
            catalogue.pinned.iter().filter(|slot| slot.shape.length == length).cloned().collect();
        let problem = catalogue.problem;
        let sum = |of: fn(&super::problem::Kind<'_>) -> u128| {
            kinds.iter().map(|kind| of(&problem.kinds[*kind])).fold(0, u128::saturating_add)
        };
        let (kept, boxed) = (sum(|kind| kind.kept), sum(|kind| kind.boxed));
        let layouts = kinds.iter().map(|kind| problem.kinds[*kind].layout);
        let runs = CardRun::candidates(layouts.clone(), problem.panel);
        let brings = layouts.map(|layout| {
            let own = CardRun::candidates(std::iter::once(layout), problem.panel);
            let at = |run: CardRun| runs.iter().position(|other| *other == run);
            own.into_iter().filter_map(at).collect()
        });
        let brings = brings.collect();
        let cards: usize = kinds.iter().map(|kind| problem.kinds[*kind].weight()).sum();
        let mut costs = Vec::new();
        if runs.len().saturating_mul(cards) <= WEIGHED_MOST {
            for kind in &kinds {
                costs.push(runs.iter().map(|run| alone(catalogue, *kind, *run)).collect());
            }
        }
        let limited = !pinned.is_empty() || runs.iter().any(|run| run.most.is_some());
        let mut class = Class {
            kinds,
            barred,
            pinned,
            kept,
            boxed,
            saves: kept,
            limited,
            runs,
            brings,
            costs,
            known: HashMap::new(),
        };
        if limited {
            let all = class.kinds.clone();
            class.saves = kept.saturating_sub(class.least(&all, all.len()).lost);
        }
        class
    }

    fn at(&self, kind: usize) -> Option<usize> {
        self.kinds.binary_search(&kind).ok()
    }

    /// The runs a slot for a group may read, as indices.
    pub fn runs_of(&self, group: &[usize]) -> Vec<usize> {
        let at = group.iter().filter_map(|kind| self.at(*kind));
        let all: BTreeSet<usize> = at.flat_map(|at| self.brings[at].iter().copied()).collect();
        all.into_iter().collect()
    }

    /// What a group adds by itself under a run.
    pub fn cost(&self, group: &[usize], run: usize) -> Least {
        let at = group.iter().filter_map(|kind| self.costs.get(self.at(*kind)?)?.get(run));
        at.fold(Least::default(), |sum, least| sum.add(*least))
    }

    /// What kinds add at least when they go to so many slots.
    pub fn least(&mut self, out: &[usize], slots: usize) -> Least {
        if self.costs.is_empty() {
            return Least::default();
        }
        let at: Vec<usize> = out.iter().filter_map(|kind| self.at(*kind)).collect();
        let mask = (self.kinds.len() <= 64).then(|| at.iter().fold(0u64, |mask, i| mask | 1 << i));
        if let Some(known) = mask.and_then(|mask| self.known.get(&(mask, slots))) {
            return *known;
        }
        let rows = |of: fn(&Least) -> u128| -> Vec<Vec<u128>> {
            at.iter().map(|kind| self.costs[*kind].iter().map(of).collect()).collect()
        };
        let least = Least {
            lost: cheapest(&rows(|least| least.lost), slots),
            in_conflict: cheapest(&rows(|least| least.in_conflict), slots),
            renumbered: cheapest(&rows(|least| least.renumbered), slots),
        };
        if let Some(mask) = mask {
            self.known.insert((mask, slots), least);
        }
        least
    }
}

/// What a kind adds by itself under a run; nothing where that cannot be told.
fn alone(catalogue: &mut Catalogue<'_, '_>, kind: usize, run: CardRun) -> Least {
    // With the finest key: what conflicts so, conflicts in any group.
    let shape = catalogue.shape(&[kind], run);
    let Ok(home) = catalogue.home(kind, &shape) else { return Least::default() };
    let mut alone = Pieces::default();
    alone.take(&home, None);
    alone.singles.sort();
    let Ok(regions) = Regions::new(alone.spans, alone.sets) else { return Least::default() };
    let in_conflict = count(&alone.singles, &regions).kept;
    Least { lost: home.lost, in_conflict, renumbered: home.renumbered }
}

/// The least sum over `rows` when each takes one of at most `most` columns,
/// the same ones for all; less than that where there are too many choices.
fn cheapest(rows: &[Vec<u128>], most: usize) -> u128 {
    let own = |row: &Vec<u128>| row.iter().copied().min().unwrap_or(0);
    let free = rows.iter().map(own).fold(0, u128::saturating_add);
    let Some(width) = rows.first().map(Vec::len).filter(|_| most > 0 && most < rows.len()) else {
        return free;
    };
    // A column that another one beats everywhere need not be chosen.
    let column = |c: usize| rows.iter().map(move |row| row[c]);
    let beats = |a: usize, b: usize| {
        let (mut never_worse, mut better) = (true, false);
        for (a, b) in column(a).zip(column(b)) {
            never_worse &= a <= b;
            better |= a < b;
        }
        never_worse && (better || a < b)
    };
    let columns: Vec<usize> =
        (0..width).filter(|c| !(0..width).any(|other| other != *c && beats(other, *c))).collect();
    let most = most.min(columns.len());
    let choices = (0..most).try_fold(1usize, |n, i| {
        n.checked_mul(columns.len() - i).map(|n| n / (i + 1)).filter(|n| *n <= CHOICES_MOST)
    });
    if choices.is_none() || most == 0 {
        return free;
    }
    let mut chosen: Vec<usize> = (0..most).collect();
    let mut least = u128::MAX;
    loop {
        let sum = rows.iter().fold(0u128, |sum, row| {
            let best = chosen.iter().map(|c| row[columns[*c]]).min().unwrap_or(0);
            sum.saturating_add(best)
        });
        least = least.min(sum);
        // The next choice, in order.
        let room = |i: &usize| chosen[*i] + most - i < columns.len();
        let Some(i) = (0..most).rev().find(room) else { return least };
        let from = chosen[i] + 1;
        chosen.iter_mut().skip(i).enumerate().for_each(|(j, c)| *c = from + j);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_cheapest_choice_is_found(
            rows in proptest::collection::vec(proptest::collection::vec(0u128..9, 5), 1..6),
            most in 1usize..5,
        ) {
            let slow = (1u32..32)
                .filter(|choice| choice.count_ones() as usize <= most)
                .map(|choice| {
                    let of = |row: &Vec<u128>| {
                        (0..5).filter(|c| choice >> c & 1 == 1).map(|c| row[c]).min().unwrap()
                    };
                    rows.iter().map(of).sum::<u128>()
                })
                .min();
            prop_assert_eq!(Some(cheapest(&rows, most)), slow);
        }
    }
}
