//! The sweep over identities: where two or more cards open one that a card is
//! known by. Ranges are never listed: the work is in the ends of stretches.

use std::collections::{BTreeMap, HashSet};

use super::affine::Affine;
use super::big::Big;
use super::cells::{Cell, Regions};
use super::segments::{Live, Segment, Single, Tag};

/// What a sweep counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Counts {
    /// Kept cards in a number conflict that no second slot admits.
    pub kept: u128,
    /// Boxed cards likewise.
    pub boxed: u128,
    /// Blocked cards that open as a kept card.
    pub blocked: u128,
}

impl Counts {
    fn add(&mut self, live: &Live, width: u128) {
        self.kept = self.kept.saturating_add(live.kept.saturating_mul(width));
        self.boxed = self.boxed.saturating_add(live.boxed.saturating_mul(width));
    }
}

impl Counts {
    /// Adds the cards without a slot of their own, each once.
    fn strays(&mut self, singles: &[Single], regions: &Regions) {
        let mut seen = HashSet::new();
        for (group, under) in groups(singles, regions) {
            if !live_of(group).join(under.live()).conflicts() {
                continue;
            }
            for single in group.iter().filter(|single| single.stray != 0) {
                if seen.insert(single.stray) {
                    let count = if single.tag.boxed { &mut self.boxed } else { &mut self.kept };
                    *count = count.saturating_add(1);
                }
            }
        }
    }
}

/// What lies under a number.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Under<'a> {
    pub segment: Option<&'a Segment>,
    pub cell: Option<&'a Cell>,
}

impl Under<'_> {
    pub fn live(&self) -> Live {
        let segment = self.segment.map_or(Live::default(), |segment| segment.live);
        self.cell.map_or(segment, |cell| segment.join(cell.live))
    }
}

/// Groups of singles of one key and number, with what lies under them.
pub(crate) fn groups<'a>(
    singles: &'a [Single],
    regions: &'a Regions,
) -> impl Iterator<Item = (&'a [Single], Under<'a>)> {
    let segments = &regions.segments[..];
    let mut at = 0;
    singles.chunk_by(|a, b| (a.key, a.number) == (b.key, b.number)).map(move |group| {
        let (key, number) = (group[0].key, group[0].number);
        while segments.get(at).is_some_and(|s| (s.key, s.to) < (key, number)) {
            at += 1;
        }
        let segment = segments.get(at).filter(|s| s.key == key && s.from <= number);
        (group, Under { segment, cell: regions.cell(key, number) })
    })
}

/// Counts cards in number conflicts. `singles` come sorted by key and number.
pub(crate) fn count(singles: &[Single], regions: &Regions) -> Counts {
    let mut counts = Counts::default();
    for segment in regions.segments.iter().filter(|segment| segment.live.conflicts()) {
        counts.add(&segment.live, segment.width());
    }
    for cell in regions.cells().filter(|cell| cell.live.conflicts()) {
        counts.add(&cell.live, cell.set.size());
    }
    for (group, under) in groups(singles, regions) {
        let (own, under) = (live_of(group), under.live());
        if own.join(under).conflicts() {
            counts.add(&own, 1);
            // What is in conflict by itself is counted whole above.
            if !under.conflicts() {
                counts.add(&under, 1);
            }
        }
    }
    let (mut strays, mut blocked) = (false, false);
    for single in singles {
        strays |= single.stray != 0;
        blocked |= single.tag.blocked;
    }
    if strays {
        counts.strays(singles, regions);
    }
    if blocked {
        let open = blocked_open(singles, regions, |live| live.kept_home > 0);
        let open = open.flat_map(|(group, _)| group);
        let open = open.filter(|single| single.tag.blocked).map(|single| single.owner);
        counts.blocked = open.collect::<HashSet<_>>().len() as u128;
    }
    counts
}

/// Groups of singles with a blocked card among them, where other cards are known
/// by the number.
pub(crate) fn blocked_open<'a>(
    singles: &'a [Single],
    regions: &'a Regions,
    known: impl Fn(Live) -> bool,
) -> impl Iterator<Item = (&'a [Single], Under<'a>)> {
    groups(singles, regions).filter(move |(group, under)| {
        group.iter().any(|single| single.tag.blocked)
            && (known(live_of(group)) || known(under.live()))
    })
}

pub(crate) fn live_of(group: &[Single]) -> Live {
    let mut live = Live::default();
    // Strays listed one by one are counted apart.
    let tag = |single: &Single| Tag { stray: false, ..single.tag };
    group.iter().for_each(|single| live.add(tag(single), 1));
    if group.len() > 1 && group.iter().any(|single| single.form != 0) {
        live.forms = further_forms(group);
    }
    live
}

/// How many of a group are further forms of a card that is in it already.
fn further_forms(group: &[Single]) -> u64 {
    let counted = |single: &&Single| single.form != 0 && !single.tag.echo && !single.tag.blocked;
    let mut forms: Vec<u32> = group.iter().filter(counted).map(|single| single.form).collect();
    let all = forms.len();
    forms.sort_unstable();
    forms.dedup();
    (all - forms.len()) as u64
}

/// The numbers kept cards are known by, a key at a time.
#[derive(Debug, Clone, Default)]
pub(crate) struct Enrolled {
    keys: BTreeMap<u32, Numbers>,
}

#[derive(Debug, Clone, Default)]
struct Numbers {
    /// Disjoint, ascending; with how many numbers come before.
    number_ranges: Vec<(u128, u128, u128)>,
    /// Disjoint sets outside the stretches.
    sets: Vec<Affine>,
    /// Outside the stretches and the sets, ascending, each once.
    singles: Vec<u128>,
}

impl Enrolled {
    pub fn new(singles: &[Single], regions: &Regions) -> Enrolled {
        let mut keys: BTreeMap<u32, Numbers> = BTreeMap::new();
        for segment in regions.segments.iter().filter(|segment| segment.live.kept_home > 0) {
            let number_ranges = &mut keys.entry(segment.key).or_default().number_ranges;
            let before = number_ranges.last().map_or(0, |(from, to, before)| {
                before.saturating_add((to - from).saturating_add(1))
            });
            number_ranges.push((segment.from, segment.to, before));
        }
        for (key, cell) in regions.keyed_cells().filter(|(_, cell)| cell.live.kept_home > 0) {
            keys.entry(key).or_default().sets.push(cell.set.clone());
        }
        for (group, under) in groups(singles, regions) {
            if under.live().kept_home == 0 && live_of(group).kept_home > 0 {
                keys.entry(group[0].key).or_default().singles.push(group[0].number);
            }
        }
        Enrolled { keys }
    }

    pub fn keys(&self) -> impl Iterator<Item = u32> + '_ {
        self.keys.keys().copied()
    }

    /// The numbers of a key: disjoint stretches, sets outside them, and single
    /// ones outside both.
    #[allow(clippy::type_complexity, reason = "what the fields are, borrowed")]
    pub fn numbers(&self, key: u32) -> (&[(u128, u128, u128)], &[Affine], &[u128]) {
        let Some(numbers) = self.keys.get(&key) else { return (&[], &[], &[]) };
        (&numbers.number_ranges, &numbers.sets, &numbers.singles)
    }

    /// How many numbers of a key are below `limit`.
    pub fn below(&self, key: u32, limit: Big) -> Big {
        let Some(numbers) = self.keys.get(&key) else { return Big::ZERO };
        let Some(limit) = limit.small() else {
            let last = numbers.number_ranges.last();
            let all = last.map_or(Big::ZERO, |(from, to, before)| {
                Big::from(*before).add(Big::from(to - from)).add(Big::ONE)
            });
            let sets = numbers.sets.iter().map(|set| Big::from(set.size()));
            return sets.fold(all, Big::add).add(Big::from(numbers.singles.len() as u128));
        };
        let singles = numbers.singles.partition_point(|number| *number < limit) as u128;
        let at = numbers.number_ranges.partition_point(|(from, _, _)| *from < limit);
        let number_ranges = match at.checked_sub(1).map(|at| numbers.number_ranges[at]) {
            None => Big::ZERO,
            Some((from, to, before)) => {
                let here = Big::from(to.min(limit - 1) - from).add(Big::ONE);
                Big::from(before).add(here)
            }
        };
        let sets = numbers.sets.iter().map(|set| Big::from(set.below(limit)));
        sets.fold(number_ranges, Big::add).add(Big::from(singles))
    }
}
