//! The search: lexicographic branch and bound over groupings and card runs.
//!
//! Slots are filled one after the other, a length at a time. Every term of the
//! objective grows as slots are filled in, so what is there already, and the
//! least that the layouts still out must add, bound whatever can come of it.

use std::cmp::{Ordering, Reverse};
use std::collections::{BTreeMap, BinaryHeap};
use std::rc::Rc;

use super::bounds::{Class, Least};
use super::catalogue::{Catalogue, Pieces, Slot};
use super::cells::Regions;
use super::effort::Pace;
use super::error::PlanError;
use super::exposure::exposure;
use super::many::{Outcome, many};
use super::parts::{Part, parts};
use super::problem::Kind;
use super::score::{Best, Found, Score};
use super::sweep::{Counts, Enrolled, count};

/// Slots of plans not looked into yet that are kept; of more, it is kept how
/// they came about. Judgement, no source: a tenth of a gigabyte.
const HELD_MOST: usize = 200_000;

/// Groups of layouts of one length with every choice of up to so many others.
const CHOSEN_MOST: usize = 16;

/// Cards weighed, all evaluations together, before a search step by step over
/// more layouts than are exact ends with the best plan so far; and how often
/// each card may be weighed, at least. Judgement, no source: some seconds.
const WORK_MOST: u64 = 10_000_000;
const TIMES_MOST: u64 = 64;

/// What a set that is cut costs beside a card. Judgement, no source: measured.
const CELL_WORK: u64 = 40;

/// What one evaluation costs beside its cards. Judgement, no source.
const WORK_EACH: u64 = 100;

/// A partial plan.
#[derive(Clone, Default)]
struct Partial {
    /// Lengths before this one are settled.
    class: usize,
    /// Kinds of this length still out, ascending.
    out: Vec<usize>,
    /// Kinds of this length without a slot.
    strays: Vec<usize>,
    slots: Vec<Slot>,
    /// Slots before this length's.
    settled: usize,
    /// Numbers of the settled lengths.
    pieces: Vec<Rc<Pieces>>,
    /// Numbers of this length so far.
    current: Option<Rc<Pieces>>,
    lost: u128,
    /// Boxed cards of what was left out.
    boxed_lost: u128,
    /// Kept cards of the kinds still out that one of this length's slots
    /// admits already: wherever they go, two slots will.
    doubled: BTreeMap<usize, u128>,
    /// What is there; exposure and slots left out.
    own: Score,
    /// Bound on whatever comes of it.
    bound: Score,
}

impl Partial {
    /// Takes note of what was counted.
    fn note(&mut self, counts: &Counts, sums: &Pieces) {
        self.own.lost = self.lost.saturating_add(sums.lost);
        self.own.boxed_lost = self.boxed_lost.saturating_add(sums.boxed_lost);
        self.own.in_conflict = counts.kept.saturating_add(sums.doubled_kept);
        self.own.blocked_open = counts.blocked;
        self.own.renumbered = sums.renumbered;
        self.own.boxed_in_conflict = counts.boxed.saturating_add(sums.doubled_boxed);
    }
}

/// What may be done next.
#[derive(Clone)]
enum Step {
    /// A slot for a group, with one of the length's runs.
    Fill(Rc<[usize]>, usize),
    /// No slot for the first kind still out.
    LeaveOne,
    /// No slot for this length.
    LeaveAll,
}

/// A step by its bound, with what came of it where it was weighed and there was
/// room to keep that.
struct Next {
    bound: Score,
    /// Of equal bounds the plainest, as listed.
    order: usize,
    step: Step,
    weighed: bool,
    child: Option<Box<Partial>>,
}

struct Search<'c, 'j, 't, 'p> {
    catalogue: &'c mut Catalogue<'j, 't>,
    pace: &'c mut Pace<'p>,
    classes: Vec<Class>,
    least_lost: u128,
    /// Whether every length with kept cards has a slot, whatever the plan.
    all_served: bool,
    /// Whether what is lost depends on the card runs, since a panel takes no
    /// number above a largest one.
    limited: bool,
    /// Lost and boxed lost whatever the plan.
    fixed: Score,
    best: Option<(Score, Vec<Slot>)>,
    /// Slots of the plans in all queues.
    held: usize,
    /// Whether groups of layouts were left out, since there are too many.
    left_out: bool,
}

/// The best plan for a problem.
pub(crate) fn search(
    catalogue: &mut Catalogue<'_, '_>,
    pace: &mut Pace<'_>,
) -> Result<Found, PlanError> {
    let mut best = None;
    let mut bound: Option<Score> = None;
    for place in catalogue.site_places() {
        catalogue.site_place = place;
        let stopped_at = search_with(catalogue, pace, &mut best)?;
        bound = match (bound, stopped_at) {
            (Some(bound), Some(other)) => Some(bound.min(other)),
            (bound, other) => bound.or(other),
        };
    }
    let (score, slots) = best.unwrap_or_default();
    Ok(Found { bound: bound.filter(|bound| *bound < score), slots, score })
}

/// Betters a plan where it can; a bound on all others, where the search was
/// ended before its time.
fn search_with(
    catalogue: &mut Catalogue<'_, '_>,
    pace: &mut Pace<'_>,
    best: &mut Best,
) -> Result<Option<Score>, PlanError> {
    let problem = catalogue.problem;
    let mut fixed = Score { boxed_lost: problem.unfit_boxed, ..Score::default() };
    fixed.lost = problem.unfit.values().copied().fold(0, u128::saturating_add);
    let mut by_length: BTreeMap<usize, (Vec<usize>, Vec<usize>)> = BTreeMap::new();
    for (index, kind) in problem.kinds.iter().enumerate() {
        let (kinds, barred) = by_length.entry(kind.layout.length()).or_default();
        if catalogue.pinned.iter().any(|slot| slot.kinds.contains(&index)) {
            continue;
        }
        if kind.barred.is_none() {
            kinds.push(index);
            continue;
        }
        barred.push(index);
        fixed.lost = fixed.lost.saturating_add(kind.kept);
        fixed.boxed_lost = fixed.boxed_lost.saturating_add(kind.boxed);
    }
    let mut classes: Vec<Class> = Vec::new();
    for (length, (kinds, barred)) in by_length {
        let class = Class::new(catalogue, length, kinds, barred);
        if !class.kinds.is_empty() || !class.pinned.is_empty() {
            classes.push(class);
        }
    }
    // The most cards first: what is deeper is weighed more often.
    classes.sort_by_key(|class| Reverse((class.saves, class.kept, class.boxed)));
    let open: usize = classes.iter().map(|class| class.kinds.len()).sum();
    let cards: usize = problem.kinds.iter().map(Kind::weight).sum();
    let exact = open <= pace.effort.exact_layouts;
    // What options cost by themselves does not add up where a card has several
    // forms: one may take away the conflict that another adds.
    if !exact && problem.forms.is_empty() {
        pace.most = pace.work.saturating_add(pace.effort.work);
        match many(catalogue, &classes, fixed, pace, best)? {
            Outcome::Proved => return Ok(None),
            Outcome::Stopped(bound) => return Ok(Some(bound)),
            Outcome::Unfit => {}
        }
    }
    let least = TIMES_MOST.saturating_mul(cards as u64);
    let steps = if exact { pace.effort.steps.max(least) } else { WORK_MOST.saturating_add(least) };
    pace.most = pace.work.saturating_add(steps);
    let limited = classes.iter().any(|class| class.limited);
    let mut search = Search {
        catalogue,
        pace,
        classes,
        least_lost: 0,
        all_served: false,
        limited,
        fixed,
        best: best.take(),
        held: 0,
        left_out: false,
    };
    search.least_lost = search.lost_at_least(0, problem.slots);
    search.all_served = search.least_lost == 0 && !limited;
    let mut root = Partial::default();
    search.enter(&mut root);
    root.boxed_lost = fixed.boxed_lost;
    root.own.boxed_lost = fixed.boxed_lost;
    root.bound = search.bound(&root, &root.own, &root.out, 0);
    let root_bound = root.bound;
    search.descend(root)?;
    let stopped = search.pace.stopped || search.left_out;
    *best = search.best.take();
    Ok(Some(root_bound).filter(|_| stopped))
}

impl Search<'_, '_, '_, '_> {
    /// The fewest kept cards lost from `class` on with so many slots left.
    fn lost_at_least(&self, class: usize, slots: usize) -> u128 {
        // Classes come with the most to save first.
        let rest = self.classes.get(class..).unwrap_or_default();
        let lost = |(at, class): (usize, &Class)| match at < slots {
            true => class.kept.saturating_sub(class.saves),
            false => class.kept,
        };
        rest.iter().enumerate().map(lost).fold(0, u128::saturating_add)
    }

    /// Lengths from `class` on that must have a slot, where none may be lost.
    fn due(&self, class: usize) -> usize {
        let rest = self.classes.get(class..).unwrap_or_default();
        let due = rest.iter().filter(|class| class.kept > 0).count();
        if self.all_served { due } else { 0 }
    }

    fn enter(&self, partial: &mut Partial) {
        partial.settled = partial.slots.len();
        let class = self.classes.get(partial.class);
        partial.out = class.map_or(Vec::new(), |class| class.kinds.clone());
        partial.strays = class.map_or(Vec::new(), |class| class.barred.clone());
        partial.slots.extend(class.into_iter().flat_map(|class| class.pinned.iter().cloned()));
        partial.current = None;
        partial.doubled.clear();
    }

    /// Ends a length: its numbers are settled.
    fn leave(&mut self, partial: &mut Partial) -> Result<(), PlanError> {
        if partial.current.is_none() && partial.slots.len() > partial.settled {
            self.look(partial)?;
        }
        partial.pieces.extend(partial.current.take());
        partial.class += 1;
        self.enter(partial);
        Ok(())
    }

    /// Works out the numbers of this length.
    fn look(&mut self, partial: &mut Partial) -> Result<(), PlanError> {
        let own = &partial.slots[partial.settled..];
        if !own.is_empty() {
            let pieces = self.catalogue.pieces(own, &partial.strays, partial.settled)?;
            partial.current = Some(Rc::new(pieces));
        }
        Ok(())
    }

    /// Slots keyed in already for lengths from `class` on.
    fn pinned(&self, class: usize) -> usize {
        let rest = self.classes.get(class..).unwrap_or_default();
        rest.iter().map(|class| class.pinned.len()).sum()
    }

    /// What is there, with `out` of this length still to come and `filled`
    /// more of its slots than `partial` has.
    fn bound(&mut self, partial: &Partial, own: &Score, out: &[usize], filled: usize) -> Score {
        let problem = self.catalogue.problem;
        let used = partial.slots.len() + filled;
        let due = self.due(partial.class + 1);
        let mut score = *own;
        score.lost = self.fixed.lost.saturating_add(self.least_lost);
        if self.limited {
            score.lost = self.lost_limited(partial, own, out, used);
        }
        score.slots = used + due;
        let mut least = Least::default();
        // Without a slot for its length a layout adds nothing, so something is
        // known only of those that must have one.
        let served = used > partial.settled;
        let out: Vec<usize> =
            out.iter().copied().filter(|kind| problem.kinds[*kind].kept > 0).collect();
        if (served || self.all_served) && !out.is_empty() {
            let left = problem.slots.saturating_sub(used + due);
            score.slots += 1;
            if let Some(class) = self.classes.get_mut(partial.class) {
                least = class.least(&out, left);
            }
            let doubled = out.iter().filter_map(|kind| partial.doubled.get(kind).copied());
            least.in_conflict = least.in_conflict.max(doubled.fold(0, u128::saturating_add));
        }
        if self.all_served {
            for class in self.classes.iter_mut().skip(partial.class + 1) {
                let kinds = class.kinds.clone();
                least = least.add(class.least(&kinds, problem.slots));
            }
        }
        score.in_conflict = score.in_conflict.saturating_add(least.in_conflict);
        score.renumbered = score.renumbered.saturating_add(least.renumbered);
        score
    }

    /// What is lost at least where it depends on the runs.
    fn lost_limited(&mut self, partial: &Partial, own: &Score, out: &[usize], used: usize) -> u128 {
        let used = used + self.pinned(partial.class + 1);
        let left = self.catalogue.problem.slots.saturating_sub(used);
        let here = match self.classes.get_mut(partial.class) {
            // A length that has a slot keeps what its layouts keep at best.
            Some(class) if used > partial.settled => class
                .least(out, out.len())
                .lost
                .saturating_add(self.lost_at_least(partial.class + 1, left)),
            Some(class) if out.len() < class.kinds.len() => {
                self.lost_at_least(partial.class + 1, left)
            }
            _ => self.lost_at_least(partial.class, left),
        };
        let lost = self.fixed.lost.saturating_add(own.lost);
        lost.saturating_add(here)
    }

    /// All numbers of a partial plan; of the rest only the sums.
    fn gather(&self, partial: &Partial) -> Pieces {
        let all = || partial.pieces.iter().chain(&partial.current);
        let mut sums = Pieces::default();
        sums.singles.reserve_exact(all().map(|pieces| pieces.singles.len()).sum());
        for pieces in all() {
            sums.singles.extend_from_slice(&pieces.singles);
            sums.spans.extend_from_slice(&pieces.spans);
            sums.sets.extend_from_slice(&pieces.sets);
            sums.renumbered = sums.renumbered.saturating_add(pieces.renumbered);
            sums.lost = sums.lost.saturating_add(pieces.lost);
            sums.boxed_lost = sums.boxed_lost.saturating_add(pieces.boxed_lost);
            sums.doubled_kept = sums.doubled_kept.saturating_add(pieces.doubled_kept);
            sums.doubled_boxed = sums.doubled_boxed.saturating_add(pieces.doubled_boxed);
        }
        // Stable sorting merges the runs that are sorted already.
        sums.singles.sort();
        sums
    }

    fn counted(&mut self, partial: &Partial) -> Result<(Counts, Pieces, Regions), PlanError> {
        let mut sums = self.gather(partial);
        let (spans, sets) = (std::mem::take(&mut sums.spans), std::mem::take(&mut sums.sets));
        self.pace.spend(WORK_EACH + (sums.singles.len() + spans.len() + sets.len()) as u64);
        let looked_at = std::mem::take(&mut self.catalogue.looked_at);
        let regions = Regions::new(spans, sets)?;
        self.pace.spend(looked_at + CELL_WORK * regions.work as u64);
        Ok((count(&sums.singles, &regions), sums, regions))
    }

    /// Whether nothing better than the best can come of a bound.
    fn hopeless(&self, bound: &Score) -> bool {
        let stopped = self.pace.stopped;
        self.best.as_ref().is_some_and(|(best, _)| bound >= best || stopped)
    }

    fn descend(&mut self, mut partial: Partial) -> Result<(), PlanError> {
        while partial.out.is_empty() && partial.class < self.classes.len() {
            self.leave(&mut partial)?;
        }
        if partial.class >= self.classes.len() {
            return self.complete(&partial);
        }
        let mut queue: BinaryHeap<Reverse<Next>> = BinaryHeap::new();
        for (order, (step, bound)) in self.steps(&partial).into_iter().enumerate() {
            queue.push(Reverse(Next { bound, order, step, weighed: false, child: None }));
        }
        let mut refused: Option<(Score, PlanError)> = None;
        let before = self.held;
        while let Some(Reverse(Next { bound, order, step, weighed, child })) = queue.pop() {
            if self.hopeless(&bound) {
                break;
            }
            match child {
                Some(child) => {
                    self.held -= child.slots.len();
                    self.descend(*child)?;
                }
                None => match self.weigh(&partial, &step) {
                    Ok(child) if weighed => self.descend(child)?,
                    Ok(child) => {
                        let bound = child.bound.max(bound);
                        let keep = self.held + child.slots.len() <= HELD_MOST;
                        let child = keep.then(|| Box::new(child));
                        self.held += child.as_ref().map_or(0, |child| child.slots.len());
                        queue.push(Reverse(Next { bound, order, step, weighed: true, child }));
                    }
                    Err(error) if refused.as_ref().is_none_or(|(least, _)| bound < *least) => {
                        refused = Some((bound, error));
                    }
                    Err(_) => {}
                },
            }
        }
        self.held = before;
        match refused {
            // What cannot be weighed may still be known to be no better.
            Some((bound, error)) if !self.hopeless(&bound) => Err(error),
            _ => Ok(()),
        }
    }

    /// Takes a step, and weighs all there is then.
    fn weigh(&mut self, partial: &Partial, step: &Step) -> Result<Partial, PlanError> {
        let problem = self.catalogue.problem;
        let mut child = partial.clone();
        match step {
            Step::Fill(group, run) => {
                let run = self.classes[partial.class].runs[*run];
                child.out.retain(|kind| !group.contains(kind));
                child.slots.push(self.catalogue.slot(group.to_vec(), run)?);
            }
            Step::LeaveOne => {
                let kind = child.out.remove(0);
                child.lost = child.lost.saturating_add(problem.kinds[kind].kept);
                child.boxed_lost = child.boxed_lost.saturating_add(problem.kinds[kind].boxed);
                child.strays.push(kind);
            }
            Step::LeaveAll => {
                let class = &self.classes[partial.class];
                child.lost = child.lost.saturating_add(class.kept);
                child.boxed_lost = child.boxed_lost.saturating_add(class.boxed);
                child.out.clear();
            }
        }
        if child.slots.len() > partial.slots.len() {
            if !self.limited {
                self.double(&mut child);
            }
            child.bound = self.bound(&child, &child.own, &child.out, 0);
            if self.hopeless(&child.bound) {
                return Ok(child);
            }
        }
        self.look(&mut child)?;
        let (counts, sums, regions) = self.counted(&child)?;
        child.note(&counts, &sums);
        child.bound = self.bound(&child, &child.own, &child.out, 0);
        if let Some((best, _)) = &self.best
            && (Score { exposure: best.exposure, slots: best.slots, ..child.bound }) == *best
        {
            // Only exposure can tell them apart.
            let enrolled = Enrolled::new(&sums.singles, &regions);
            child.bound.exposure = exposure(self.catalogue, &child.slots, &enrolled);
        }
        // What the next slot changes need not be kept until it is filled.
        if !child.out.is_empty() {
            child.current = None;
        }
        Ok(child)
    }

    /// Counts what the newest slot admits of the kinds still out.
    fn double(&mut self, child: &mut Partial) {
        let problem = self.catalogue.problem;
        let Some(slot) = child.slots.last() else { return };
        for kind in &child.out {
            let listed_cards = problem.kinds[*kind].listed_cards.iter();
            let admitted = listed_cards
                .filter(|listed_card| !listed_card.boxed && slot.admits(&listed_card.bits))
                .count();
            let mut cards = admitted as u128;
            for batch in problem.kinds[*kind].batches.iter().filter(|batch| !batch.boxed) {
                // Where that cannot be told nothing is known.
                let parts = parts(self.catalogue, std::slice::from_ref(slot), None, batch);
                let parts = parts.ok().flatten().unwrap_or_default();
                let admitted = parts.iter().filter(|part| !part.admitted.is_empty());
                cards = admitted.map(Part::cards).fold(cards, u128::saturating_add);
            }
            let most = child.doubled.entry(*kind).or_default();
            *most = cards.max(*most);
        }
    }

    fn complete(&mut self, partial: &Partial) -> Result<(), PlanError> {
        if self.hopeless(&partial.bound) {
            return Ok(());
        }
        let (counts, sums, regions) = self.counted(partial)?;
        let mut partial = partial.clone();
        partial.note(&counts, &sums);
        let enrolled = Enrolled::new(&sums.singles, &regions);
        let mut score = partial.own;
        score.exposure = exposure(self.catalogue, &partial.slots, &enrolled);
        score.lost = self.fixed.lost.saturating_add(partial.own.lost);
        score.slots = partial.slots.len();
        if self.best.as_ref().is_none_or(|(best, _)| score < *best) {
            self.best = Some((score, partial.slots.clone()));
        }
        Ok(())
    }

    /// Every next step with its bound: a slot for the first kind still out,
    /// with any of the others; or none for it.
    fn steps(&mut self, partial: &Partial) -> Vec<(Step, Score)> {
        let problem = self.catalogue.problem;
        let class = &self.classes[partial.class];
        let fresh =
            partial.slots.len() == partial.settled && partial.out.len() == class.kinds.len();
        let (whole, whole_boxed) = (class.kept, class.boxed);
        let used = partial.slots.len() + self.pinned(partial.class + 1);
        let left = problem.slots.saturating_sub(used);
        let later: Vec<u128> =
            (0..=left).map(|slots| self.lost_at_least(partial.class + 1, slots)).collect();
        let least_lost = self.least_lost;
        let limited = self.limited;
        let affordable =
            |lost: u128, slots: usize| limited || lost.saturating_add(later[slots]) <= least_lost;
        let (first, others) = (partial.out[0], &partial.out[1..]);
        let mut steps = Vec::new();
        if left > 0 && affordable(partial.lost, left - 1) {
            let spare = left > 1 && affordable(partial.lost, left - 2);
            self.left_out |= others.len() >= CHOSEN_MOST;
            for group in groups(first, others) {
                let group: Rc<[usize]> = group.into();
                let out: Vec<usize> =
                    others.iter().copied().filter(|kind| !group.contains(kind)).collect();
                if !limited && !spare && out.iter().any(|kind| problem.kinds[*kind].kept > 0) {
                    continue;
                }
                let base = self.bound(partial, &partial.own, &out, 1);
                let class = &self.classes[partial.class];
                for run in class.runs_of(&group) {
                    let cost = class.cost(&group, run);
                    let mut bound = base;
                    bound.in_conflict = bound.in_conflict.saturating_add(cost.in_conflict);
                    bound.renumbered = bound.renumbered.saturating_add(cost.renumbered);
                    if limited {
                        bound.lost = bound.lost.saturating_add(cost.lost);
                    }
                    if !self.hopeless(&bound) {
                        steps.push((Step::Fill(Rc::clone(&group), run), bound));
                    }
                }
            }
        }
        if fresh && affordable(partial.lost.saturating_add(whole), left) {
            let mut own = partial.own;
            own.lost = own.lost.saturating_add(whole);
            own.boxed_lost = own.boxed_lost.saturating_add(whole_boxed);
            steps.push((Step::LeaveAll, self.bound(partial, &own, &[], 0)));
        }
        // A layout of boxed cards alone may be left out, or one of which no
        // number is taken.
        let kind = &problem.kinds[first];
        if kind.kept == 0 || limited {
            let mut own = partial.own;
            own.lost = own.lost.saturating_add(kind.kept);
            own.boxed_lost = own.boxed_lost.saturating_add(kind.boxed);
            steps.push((Step::LeaveOne, self.bound(partial, &own, others, 0)));
        }
        steps
    }
}

impl Next {
    /// What is weighed already goes before what is not.
    fn rank(&self) -> (&Score, bool, usize) {
        (&self.bound, !self.weighed, self.order)
    }
}

impl PartialEq for Next {
    fn eq(&self, other: &Next) -> bool {
        self.rank() == other.rank()
    }
}

impl Eq for Next {}

impl PartialOrd for Next {
    fn partial_cmp(&self, other: &Next) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Next {
    fn cmp(&self, other: &Next) -> Ordering {
        self.rank().cmp(&other.rank())
    }
}

/// The first kind with every choice of the others; where those are too many,
/// with none, with one, and with all.
fn groups(first: usize, others: &[usize]) -> Vec<Vec<usize>> {
    let with = |others: &mut dyn Iterator<Item = usize>| {
        let mut group = vec![first];
        group.extend(others);
        group
    };
    if others.len() < CHOSEN_MOST {
        let chosen = |choice: usize| {
            let taken = others.iter().enumerate().filter(|(i, _)| choice >> i & 1 == 1);
            with(&mut taken.map(|(_, kind)| *kind))
        };
        return (0..1usize << others.len()).map(chosen).collect();
    }
    let mut groups = vec![with(&mut std::iter::empty()), with(&mut others.iter().copied())];
    groups.extend(others.iter().map(|other| vec![first, *other]));
    groups
}
