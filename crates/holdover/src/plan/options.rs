//! Many lengths of few layouts each: every length as a list of options, each a
//! way to fill slots for it, weighed once; and what options of two lengths cost
//! together, read off the numbers both open.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::rc::Rc;

use super::bounds::Class;
use super::catalogue::{Catalogue, Pieces, Slot};
use super::cells::Regions;
use super::choose::{Cost, Problem, Value};
use super::entries::few_number_ranges;
use super::error::PlanError;
use super::score::Score;
use super::segments::{Live, Owner, Set, Span, Tag};
use super::shape::CardRun;
use super::sweep::{blocked_open, count};
use crate::site::Identity;

/// Options of one length, and of all; beyond that the lengths are searched
/// step by step. Judgement, no source: memory and seconds.
const OPTIONS_MOST: usize = 2000;
const OPTIONS_MOST_ALL: usize = 20_000;

/// Numbers looked at over all options. Judgement, no source: a gigabyte.
const NUMBERS_MOST: usize = 6_000_000;

/// Cells of all tables of pairs. Judgement, no source: half a gigabyte.
const TABLES_MOST: usize = 32_000_000;

/// Costs are counted in so many parts of a card, so that a card that several
/// lengths may put in conflict is shared out among them.
pub(crate) const PARTS: Cost = 60;

/// The aims that are counted in cards.
pub(crate) const AIMS: usize = 6;

/// Weights beyond this would leave no room for sums.
const WEIGHT_MOST: Cost = 1 << 100;

/// A way to fill slots for one length.
pub(crate) struct Choice {
    pub slots: Vec<Slot>,
    pub strays: Vec<usize>,
    pub pieces: Rc<Pieces>,
    /// What it costs by itself.
    pub own: [u128; AIMS],
}

/// The options of every length.
pub(crate) struct Options {
    pub classes: Vec<Vec<Choice>>,
    /// What one card of each aim weighs.
    pub weights: [Cost; AIMS],
    /// Options that another one of their length is never worse than, exposure
    /// left out.
    pub idle: Vec<Vec<bool>>,
    /// What each makes of the numbers that several lengths may open.
    pub shared: Vec<Entry>,
}

pub(crate) fn aims(score: &Score) -> [u128; AIMS] {
    [
        score.lost,
        score.in_conflict,
        score.blocked_open,
        score.renumbered,
        score.boxed_lost,
        score.boxed_in_conflict,
    ]
}

/// What one card of each aim weighs.
type Weights = [Cost; AIMS];

type Filling = (Vec<(Vec<usize>, CardRun)>, Vec<usize>);

/// Every way to fill slots for a length; `None` where there are too many.
fn fillings(catalogue: &Catalogue<'_, '_>, class: &Class, budget: usize) -> Option<Vec<Filling>> {
    let problem = catalogue.problem;
    let open = problem.slots.saturating_sub(catalogue.pinned.len());
    let mut groupings: Vec<(Vec<Vec<usize>>, Vec<usize>)> = vec![(Vec::new(), Vec::new())];
    for kind in &class.kinds {
        let mut next = Vec::new();
        for (groups, left) in &groupings {
            for at in 0..groups.len() {
                let mut groups = groups.clone();
                groups[at].push(*kind);
                next.push((groups, left.clone()));
            }
            if groups.len() < open {
                let mut groups = groups.clone();
                groups.push(vec![*kind]);
                next.push((groups, left.clone()));
            }
            if problem.kinds[*kind].kept == 0 || class.limited {
                let mut left = left.clone();
                left.push(*kind);
                next.push((groups.clone(), left));
            }
        }
        groupings = next;
        if groupings.len() > budget {
            return None;
        }
    }
    let mut all: Vec<Filling> = Vec::new();
    for (groups, left) in groupings.into_iter().filter(|(groups, _)| !groups.is_empty()) {
        let mut fillings: Vec<Vec<(Vec<usize>, CardRun)>> = vec![Vec::new()];
        for group in groups {
            let runs = class.runs_of(&group);
            if fillings.len() * runs.len() + all.len() > budget {
                return None;
            }
            let with = |filling: &Vec<(Vec<usize>, CardRun)>, run: usize| {
                [&filling[..], &[(group.clone(), class.runs[run])]].concat()
            };
            fillings =
                fillings.iter().flat_map(|f| runs.iter().map(move |run| with(f, *run))).collect();
        }
        all.extend(fillings.into_iter().map(|filling| (filling, left.clone())));
    }
    all.push((Vec::new(), class.kinds.clone()));
    Some(all)
}

impl Options {
    /// `None` where there are too many, or numbers that are no ranges.
    pub fn new(
        catalogue: &mut Catalogue<'_, '_>,
        classes: &[Class],
    ) -> Result<Option<Options>, PlanError> {
        let mut all = Vec::new();
        let (mut left, mut numbers) = (OPTIONS_MOST_ALL, NUMBERS_MOST);
        for class in classes {
            let Some(fillings) = fillings(catalogue, class, left.min(OPTIONS_MOST)) else {
                return Ok(None);
            };
            left -= fillings.len();
            let mut choices = Vec::with_capacity(fillings.len());
            for (filling, strays) in fillings {
                let Some(choice) = Choice::new(catalogue, class, filling, strays)? else {
                    return Ok(None);
                };
                let more = choice.pieces.singles.len() + choice.pieces.spans.len();
                match numbers.checked_sub(more) {
                    Some(rest) => numbers = rest,
                    None => return Ok(None),
                }
                choices.push(choice);
            }
            all.push(choices);
        }
        let weights = weights(&all);
        let idle = all.iter().map(|choices| vec![false; choices.len()]).collect();
        Ok(weights.map(|weights| Options { classes: all, weights, idle, shared: Vec::new() }))
    }

    /// A vector of aims as one cost, in parts.
    pub fn cost(&self, aims: &[u128; AIMS]) -> Cost {
        self.weights.iter().zip(aims).map(|(weight, aim)| weight * *aim as Cost).sum::<Cost>()
            * PARTS
    }

    /// Looks for numbers that several lengths may open; `None` where there are
    /// too many.
    pub fn compare(&mut self, catalogue: &Catalogue<'_, '_>) -> Option<()> {
        if catalogue.problem.panel.identity != Identity::SlotAndNumber {
            self.shared = self.shared()?;
            self.idle = self.idle(&self.shared);
        }
        Some(())
    }

    /// The problem of choosing among those that are left. The fewer are, the
    /// fewer lengths a card in conflict is shared out among.
    pub fn problem(&self, catalogue: &Catalogue<'_, '_>, left: &[Vec<bool>]) -> Option<Problem> {
        let of = |entry: &&Entry| left[entry.class][entry.option];
        let entries: Vec<&Entry> = self.shared.iter().filter(of).collect();
        let pairs = self.pairs(&entries)?;
        let value = |(option, choice): (usize, &Choice)| Value {
            option,
            cost: self.cost(&choice.own),
            slots: choice.slots.len(),
        };
        let options = self.classes.iter().map(|all| all.iter().enumerate().map(value).collect());
        let mut pairs: Vec<_> = pairs.into_iter().collect();
        pairs.sort_unstable_by_key(|(classes, _)| *classes);
        let mut problem = Problem::new(options.collect(), pairs, catalogue.problem.slots);
        for (at, left) in left.iter().enumerate().filter(|(_, left)| left.contains(&false)) {
            problem.keep(at, left);
        }
        Some(problem)
    }

    /// What options of two lengths cost together, at least; `None` where that
    /// is too much to look at.
    fn pairs(&self, shared: &[&Entry]) -> Option<HashMap<(usize, usize), Vec<Cost>>> {
        let mut ways: HashMap<(usize, usize, Owner), Cost> = HashMap::new();
        for cell in shared.chunk_by(|a, b| a.cell == b.cell) {
            blocked_ways(cell, &mut ways);
        }
        let mut tables: HashMap<(usize, usize), Vec<Cost>> = HashMap::new();
        let mut cells = 0;
        for cell in shared.chunk_by(|a, b| a.cell == b.cell) {
            let classes: Vec<&[&Entry]> = cell.chunk_by(|a, b| a.class == b.class).collect();
            let others = (classes.len() as Cost - 1).max(1);
            for (i, a) in classes.iter().enumerate() {
                for b in &classes[i + 1..] {
                    let key = (a[0].class, b[0].class);
                    let (rows, columns) = (self.classes[key.0].len(), self.classes[key.1].len());
                    for a in *a {
                        for b in *b {
                            let cost = together(a, b, others, &ways, &self.weights);
                            if cost == 0 {
                                continue;
                            }
                            let table = tables.entry(key).or_insert_with(|| {
                                cells += rows * columns;
                                vec![0; rows * columns]
                            });
                            table[a.option * columns + b.option] += cost;
                        }
                    }
                    if cells > TABLES_MOST {
                        return None;
                    }
                }
            }
        }
        Some(tables)
    }

    /// Options that need not be looked at for the sake of cards: another one of
    /// their length takes no more slots, costs no more by itself, and makes no
    /// more of any number that other lengths may open.
    fn idle(&self, shared: &[Entry]) -> Vec<Vec<bool>> {
        let mut by_option: HashMap<(usize, usize), Vec<&Entry>> = HashMap::new();
        for entry in shared {
            by_option.entry((entry.class, entry.option)).or_default().push(entry);
        }
        let none = Vec::new();
        let entries = |class, option| by_option.get(&(class, option)).unwrap_or(&none);
        let idle = |(class, choices): (usize, &Vec<Choice>)| {
            let mut idle = vec![false; choices.len()];
            let stray = |choice: &Choice| choice.pieces.singles.iter().any(|s| s.stray != 0);
            if choices.iter().any(stray) {
                return idle;
            }
            // What is not in the shared numbers.
            let rest: Vec<[u128; AIMS]> = (choices.iter().enumerate())
                .map(|(option, choice)| {
                    let mut rest = choice.own;
                    for e in entries(class, option).iter().filter(|e| e.live.conflicts()) {
                        rest[1] = rest[1].saturating_sub(e.live.kept.saturating_mul(e.width));
                        rest[5] = rest[5].saturating_sub(e.live.boxed.saturating_mul(e.width));
                    }
                    rest
                })
                .collect();
            let beats = |a: usize, b: usize| {
                choices[a].slots.len() <= choices[b].slots.len()
                    && rest[a] <= rest[b]
                    && no_more(entries(class, a), entries(class, b))
            };
            for b in 0..choices.len() {
                idle[b] = (0..choices.len())
                    .any(|a| a != b && !idle[a] && beats(a, b) && (a < b || !beats(b, a)));
            }
            idle
        };
        self.classes.iter().enumerate().map(idle).collect()
    }

    /// Numbers that more than one length may open, with what each option makes
    /// of them; `None` where there are too many.
    fn shared(&self) -> Option<Vec<Entry>> {
        let mut ends: Vec<(u32, u128)> = Vec::new();
        for pieces in self.classes.iter().flatten().map(|choice| &choice.pieces) {
            for single in &pieces.singles {
                ends.push((single.key, single.number));
                ends.extend(single.number.checked_add(1).map(|end| (single.key, end)));
            }
            for span in &pieces.spans {
                ends.push((span.key, span.from));
                ends.extend(span.to.checked_add(1).map(|end| (span.key, end)));
            }
        }
        ends.sort_unstable();
        ends.dedup();
        let at = |key: u32, number: u128| ends.partition_point(|end| *end < (key, number));
        let mut seen = vec![(u32::MAX, false); ends.len()];
        let mut looked_at = 0usize;
        for (class, choice) in
            self.classes.iter().enumerate().flat_map(|(class, choices)| {
                choices.iter().map(move |choice| (class as u32, choice))
            })
        {
            let mut mark = |cell: usize| {
                let (first, several) = &mut seen[cell];
                *several |= *first != u32::MAX && *first != class;
                *first = class;
            };
            choice.pieces.singles.iter().for_each(|single| mark(at(single.key, single.number)));
            for span in &choice.pieces.spans {
                let cells = at(span.key, span.from)..=last(&ends, span.key, span.to);
                looked_at += cells.clone().count();
                if looked_at > NUMBERS_MOST {
                    return None;
                }
                cells.for_each(&mut mark);
            }
        }
        let width = |cell: usize| match ends.get(cell + 1) {
            Some(next) if next.0 == ends[cell].0 => next.1 - ends[cell].1,
            _ => (u128::MAX - ends[cell].1).saturating_add(1),
        };
        let mut entries: Vec<Entry> = Vec::new();
        for (class, choices) in self.classes.iter().enumerate() {
            for (option, choice) in choices.iter().enumerate() {
                let mut own: BTreeMap<usize, (Live, Vec<Owner>)> = BTreeMap::new();
                let mut put = |cell: usize, tag: Tag, each: u128, owner: Owner| {
                    if seen[cell].1 {
                        let (live, blocked) = own.entry(cell).or_default();
                        live.add(tag, each);
                        blocked.extend(tag.blocked.then_some(owner));
                    }
                };
                for single in &choice.pieces.singles {
                    // Strays listed one by one are counted apart.
                    let tag = Tag { stray: false, ..single.tag };
                    put(at(single.key, single.number), tag, 1, single.owner);
                }
                for span in &choice.pieces.spans {
                    for cell in at(span.key, span.from)..=last(&ends, span.key, span.to) {
                        put(cell, span.tag, span.each, span.owner);
                    }
                }
                let open = choice.blocked_open();
                for (cell, (live, mut blocked)) in own {
                    // What opens by itself is counted there.
                    blocked.retain(|owner| !open.contains(owner));
                    let width = width(cell);
                    let from = ends[cell];
                    entries.push(Entry { cell, class, option, from, width, live, blocked });
                }
            }
        }
        entries.sort_by_key(|entry| (entry.cell, entry.class, entry.option));
        Some(entries)
    }
}

/// What two options make of one cell together.
fn together(
    a: &Entry,
    b: &Entry,
    others: Cost,
    ways: &HashMap<(usize, usize, Owner), Cost>,
    weights: &Weights,
) -> Cost {
    let mut cost = 0;
    if a.live.join(b.live).conflicts() {
        let fresh = |entry: &Entry| match entry.live.conflicts() {
            true => (0, 0),
            false => (entry.live.kept, entry.live.boxed),
        };
        let ((a_kept, a_boxed), (b_kept, b_boxed)) = (fresh(a), fresh(b));
        let width = a.width as Cost;
        let kept = (a_kept + b_kept) as Cost * width;
        let boxed = (a_boxed + b_boxed) as Cost * width;
        cost += (kept * weights[1] + boxed * weights[5]) * (PARTS / others);
    }
    for (own, other) in [(a, b), (b, a)] {
        if other.live.kept_home == 0 {
            continue;
        }
        for owner in &own.blocked {
            let ways = ways.get(&(own.class, own.option, *owner)).copied().unwrap_or(1);
            cost += weights[2] * (PARTS / ways.max(1));
        }
    }
    cost
}

/// The cell that holds a number, cells beginning at `ends`.
fn last(ends: &[(u32, u128)], key: u32, number: u128) -> usize {
    ends.partition_point(|end| *end <= (key, number)).saturating_sub(1)
}

/// What one option makes of neighbouring numbers.
pub(crate) struct Entry {
    pub cell: usize,
    pub class: usize,
    pub option: usize,
    /// Its first number, with the key, and how many there are.
    pub from: (u32, u128),
    pub width: u128,
    pub live: Live,
    blocked: Vec<Owner>,
}

/// Whether one option makes no more of any shared number than another; both
/// come by cell.
fn no_more(a: &[&Entry], b: &[&Entry]) -> bool {
    let mut rest = b.iter();
    a.len() <= b.len()
        && a.iter().all(|a| {
            let Some(b) = rest.find(|b| b.cell >= a.cell).filter(|b| b.cell == a.cell) else {
                return false;
            };
            let (x, y) = (&a.live, &b.live);
            x.home <= y.home
                && x.foreign <= y.foreign
                && x.kept_home <= y.kept_home
                && x.kept <= y.kept
                && x.boxed <= y.boxed
                && a.blocked.iter().all(|owner| b.blocked.contains(owner))
        })
}

/// In how many ways each blocked card may open at a number.
fn blocked_ways(cell: &[&Entry], ways: &mut HashMap<(usize, usize, Owner), Cost>) {
    if cell.iter().all(|entry| entry.blocked.is_empty()) {
        return;
    }
    let known = cell.iter().filter(|entry| entry.live.kept_home > 0).map(|entry| entry.class);
    let known: HashSet<usize> = known.collect();
    for entry in cell {
        let others = known.iter().filter(|class| **class != entry.class).count() as Cost;
        for owner in &entry.blocked {
            *ways.entry((entry.class, entry.option, *owner)).or_default() += others;
        }
    }
}

impl Choice {
    fn new(
        catalogue: &mut Catalogue<'_, '_>,
        class: &Class,
        filling: Vec<(Vec<usize>, CardRun)>,
        left: Vec<usize>,
    ) -> Result<Option<Choice>, PlanError> {
        let problem = catalogue.problem;
        let mut own = [0; AIMS];
        for kind in &left {
            own[0] += problem.kinds[*kind].kept;
            own[4] += problem.kinds[*kind].boxed;
        }
        let mut slots = class.pinned.clone();
        for (group, run) in filling {
            slots.push(catalogue.slot(group, run)?);
        }
        let strays: Vec<usize> = class.barred.iter().copied().chain(left).collect();
        let mut pieces = match slots.is_empty() {
            true => Pieces::default(),
            false => catalogue.pieces(&slots, &strays, 0)?,
        };
        // Sets that checks cut out of ranges, as the short ranges they are.
        for set in std::mem::take(&mut pieces.sets) {
            let Some(number_ranges) = few_number_ranges(&set.set) else { return Ok(None) };
            let Set { key, each, value_less, tag, owner, .. } = set;
            let span = |(from, to)| Span { key, from, to, each, value_less, tag, owner };
            pieces.spans.extend(number_ranges.into_iter().map(span));
        }
        let regions = Regions::new(std::mem::take(&mut pieces.spans), Vec::new())?;
        let counts = count(&pieces.singles, &regions);
        own[0] = own[0].saturating_add(pieces.lost);
        own[1] = counts.kept.saturating_add(pieces.doubled_kept);
        own[2] = counts.blocked;
        own[3] = pieces.renumbered;
        own[4] = own[4].saturating_add(pieces.boxed_lost);
        own[5] = counts.boxed.saturating_add(pieces.doubled_boxed);
        pieces.spans = regions.spans;
        Ok(Some(Choice { slots, strays, pieces: Rc::new(pieces), own }))
    }

    /// Blocked cards that its own kept cards let in.
    fn blocked_open(&self) -> HashSet<Owner> {
        if !self.pieces.singles.iter().any(|single| single.tag.blocked) {
            return HashSet::new();
        }
        let Ok(regions) = Regions::new(self.pieces.spans.clone(), Vec::new()) else {
            return HashSet::new();
        };
        let open = blocked_open(&self.pieces.singles, &regions, |live| live.kept_home > 0);
        let open = open.flat_map(|(group, _)| group);
        open.filter(|single| single.tag.blocked).map(|single| single.owner).collect()
    }
}

/// Weights under which an aim outweighs all that come after it; `None` where
/// there are too many cards for that.
fn weights(classes: &[Vec<Choice>]) -> Option<[Cost; AIMS]> {
    let mut weights = [1; AIMS];
    let mut kept: u128 = 0;
    let mut boxed: u128 = 0;
    let mut blocked = HashSet::new();
    let mut most = [0u128; AIMS];
    for choices in classes {
        let of = |aim: usize| choices.iter().map(move |choice| choice.own[aim]).max().unwrap_or(0);
        for (aim, most) in most.iter_mut().enumerate() {
            *most = most.checked_add(of(aim))?;
        }
        // Left out, a length loses all of its cards.
        kept = kept.checked_add(of(0))?;
        boxed = boxed.checked_add(of(4))?;
        let singles = choices.iter().flat_map(|choice| &choice.pieces.singles);
        blocked.extend(singles.filter(|s| s.tag.blocked).map(|single| single.owner));
    }
    // Strays without a slot may be in conflict beside.
    most[1] = most[1].max(kept.checked_mul(2)?);
    most[2] = blocked.len() as u128;
    most[5] = most[5].max(boxed.checked_mul(2)?);
    for aim in (0..AIMS - 1).rev() {
        let range = Cost::try_from(most[aim + 1]).ok()?.checked_add(1)?;
        weights[aim] = Cost::checked_mul(weights[aim + 1], range)?;
    }
    let all = Cost::try_from(most[0]).ok()?.checked_add(1)?.checked_mul(weights[0])?;
    (all < WEIGHT_MOST).then_some(weights)
}
