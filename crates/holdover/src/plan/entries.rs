//! Conflicts as the report tells them: an entry an identity, neighbouring
//! numbers with the same cards joined.

use std::collections::BTreeSet;

use super::affine::Affine;
use super::big::Big;
use super::cells::{Cell, Regions};
use super::segments::{Owner, Segment, Single, Span, Tag};
use super::sweep::{blocked_open, groups, live_of};
use super::value::ConflictKind;

/// Stretches that one set of numbers is told in, before it is told from its
/// least to its greatest number. Judgement, no source: what people may read.
const STRETCHES_MOST: u128 = 4096;

/// One that opens an identity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Opener {
    pub tag: Tag,
    pub owner: Owner,
    /// Run value less panel number, where all its cards have one value; `None`
    /// within for cards that differ, and without for a listed card.
    value_less: Option<Option<Big>>,
}

/// Numbers in conflict with all that open them.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub key: u32,
    pub from: u128,
    pub to: u128,
    pub openers: Vec<Opener>,
}

impl Opener {
    fn span(span: &Span) -> Opener {
        Opener { tag: span.tag, owner: span.owner, value_less: Some(span.value_less) }
    }

    fn single(single: &Single) -> Opener {
        Opener { tag: single.tag, owner: single.owner, value_less: None }
    }
}

impl Entry {
    /// What makes it a conflict. `values` tells the run values behind a listed
    /// number, where digits are cut; without a cut they are the number.
    pub fn kind(&self, mut values: impl FnMut(&Opener, u32, u128) -> Vec<Big>) -> ConflictKind {
        if self.openers.iter().any(|opener| opener.tag.boxed) {
            return ConflictKind::RangeOverlap;
        }
        let number = Big::from(self.from);
        let mut all: Option<Big> = None;
        let mut same = |less: Option<Big>| match (less, all) {
            (None, _) => false,
            (Some(less), Some(known)) => less == known,
            (Some(less), None) => {
                all = Some(less);
                true
            }
        };
        let one = self.openers.iter().all(|opener| match opener.value_less {
            Some(value_less) => same(value_less),
            None => {
                let own = values(opener, self.key, self.from);
                own.iter().all(|value| same(Some(value.sub(number))))
            }
        });
        if one { ConflictKind::SamePanelNumber } else { ConflictKind::DigitsCut }
    }
}

/// Every number conflict.
pub(crate) fn entries(singles: &[Single], regions: &Regions) -> Vec<Entry> {
    let mut found: Vec<Entry> = Vec::new();
    // Numbers of cells that are told with the listed cards in them.
    let mut told: Vec<(u32, u128)> = Vec::new();
    let mut live = Active::new(&regions.spans);
    let mut at = 0;
    for (group, under) in groups(singles, regions) {
        let (key, number) = (group[0].key, group[0].number);
        // Segments that end before this number.
        while let Some(segment) = regions.segments.get(at).filter(|s| (s.key, s.to) < (key, number))
        {
            put_segment(&mut found, &mut live, segment, segment.to);
            live.from = None;
            at += 1;
        }
        if !live_of(group).join(under.live()).conflicts() {
            continue;
        }
        let listed = group.iter().filter(|single| !single.tag.blocked);
        let mut openers: Vec<Opener> = listed.map(Opener::single).collect();
        if let Some(segment) = under.segment {
            // The part of the segment before it.
            if live.from.unwrap_or(segment.from) < number {
                put_segment(&mut found, &mut live, segment, number - 1);
            }
            live.from = number.checked_add(1);
            openers
                .extend(live.at(segment.key, segment.from).iter().map(|span| Opener::span(span)));
        }
        if let Some(cell) = under.cell {
            openers.extend(covers(cell, regions));
            told.push((key, number));
        }
        found.push(Entry { key, from: number, to: number, openers });
        if under.segment.is_some_and(|segment| segment.to == number) {
            live.from = None;
            at += 1;
        }
    }
    for segment in regions.segments.get(at..).unwrap_or_default() {
        put_segment(&mut found, &mut live, segment, segment.to);
        live.from = None;
    }
    put_cells(&mut found, regions, &told);
    found
}

/// A panel number of kept cards that blocked cards open.
#[derive(Debug, Clone)]
pub(crate) struct BlockedEntry {
    pub number: u128,
    pub blocked: BTreeSet<Owner>,
    pub kept: BTreeSet<Owner>,
    /// Boxed cards known by it.
    pub boxed: BTreeSet<Owner>,
}

/// Every blocked card that opens, a number at a time.
pub(crate) fn blocked_entries(singles: &[Single], regions: &Regions) -> Vec<BlockedEntry> {
    let known = |tag: &Tag| !tag.foreign && !tag.blocked && !tag.echo;
    let mut live = Active::new(&regions.spans);
    let mut found = Vec::new();
    for (group, under) in blocked_open(singles, regions, |live| live.home > 0) {
        let mut others: Vec<(Tag, Owner)> =
            group.iter().map(|single| (single.tag, single.owner)).collect();
        if let Some(segment) = under.segment {
            let spans = live.at(segment.key, segment.from);
            others.extend(spans.iter().map(|span| (span.tag, span.owner)));
        }
        if let Some(cell) = under.cell {
            others.extend(covers(cell, regions).map(|opener| (opener.tag, opener.owner)));
        }
        let of = |boxed: bool| {
            let own = others.iter().filter(|(tag, _)| known(tag) && tag.boxed == boxed);
            own.map(|(_, owner)| *owner).collect()
        };
        let (kept, boxed) = (of(false), of(true));
        let blocked = group.iter().filter(|single| single.tag.blocked);
        let blocked = blocked.map(|single| single.owner).collect();
        found.push(BlockedEntry { number: group[0].number, blocked, kept, boxed });
    }
    found
}

fn covers<'a>(cell: &'a Cell, regions: &'a Regions) -> impl Iterator<Item = Opener> + 'a {
    cell.covers.iter().filter_map(|index| regions.sets.get(*index)).map(|set| Opener {
        tag: set.tag,
        owner: set.owner,
        value_less: Some(set.value_less),
    })
}

/// Cells in conflict by themselves.
fn put_cells(found: &mut Vec<Entry>, regions: &Regions, told: &[(u32, u128)]) {
    let mut parts: Vec<Entry> = Vec::new();
    for (key, cell) in regions.keyed_cells().filter(|(_, cell)| cell.live.conflicts()) {
        let mut openers: Vec<Opener> = covers(cell, regions).collect();
        openers.sort_unstable();
        openers.dedup();
        for (from, to) in number_ranges(&cell.set) {
            // Numbers told already come out of it.
            let first = told.partition_point(|at| *at < (key, from));
            let mut start = Some(from);
            for (_, number) in told[first..].iter().take_while(|at| **at <= (key, to)) {
                let Some(from) = start.filter(|start| start <= number) else { break };
                if from < *number {
                    let to = number - 1;
                    parts.push(Entry { key, from, to, openers: openers.clone() });
                }
                start = number.checked_add(1);
            }
            if let Some(from) = start.filter(|start| *start <= to) {
                parts.push(Entry { key, from, to, openers: openers.clone() });
            }
        }
    }
    parts.sort_by_key(|part| (part.key, part.from));
    for part in parts {
        match found.last_mut() {
            Some(last)
                if last.key == part.key
                    && last.to.checked_add(1) == Some(part.from)
                    && last.openers == part.openers =>
            {
                last.to = part.to;
            }
            _ => found.push(part),
        }
    }
}

/// The numbers of a set as stretches; too many of them as one.
fn number_ranges(set: &Affine) -> Vec<(u128, u128)> {
    few_number_ranges(set).unwrap_or_else(|| vec![(set.least(), set.greatest())])
}

/// The numbers of a set as stretches; `None` where they are too many.
pub(crate) fn few_number_ranges(set: &Affine) -> Option<Vec<(u128, u128)>> {
    let low = set.basis.iter().rev().enumerate().take_while(|(bit, v)| **v == 1u128 << bit).count();
    let high = set.dimension() - low;
    if 1u128.checked_shl(high as u32).is_none_or(|count| count > STRETCHES_MOST) {
        return None;
    }
    let tops = Affine { origin: set.origin, basis: set.basis[..high].to_vec() };
    let width = 1u128.checked_shl(low as u32).map_or(u128::MAX, |size| size - 1);
    let mut all: Vec<(u128, u128)> = tops.members().map(|from| (from, from | width)).collect();
    all.sort_unstable();
    Some(all)
}

/// Which stretches are live, in step with the segments.
struct Active<'s> {
    spans: &'s [Span],
    /// By where they begin.
    order: Vec<usize>,
    next: usize,
    live: BTreeSet<usize>,
    /// Where the part of a segment begins that is still to be told.
    from: Option<u128>,
}

impl<'s> Active<'s> {
    fn new(spans: &'s [Span]) -> Active<'s> {
        let mut order: Vec<usize> = (0..spans.len()).collect();
        order.sort_unstable_by_key(|i| (spans[*i].key, spans[*i].from));
        Active { spans, order, next: 0, live: BTreeSet::new(), from: None }
    }

    /// The stretches over a place; places come ascending.
    fn at(&mut self, key: u32, number: u128) -> Vec<&'s Span> {
        while let Some(i) = self.order.get(self.next) {
            if (self.spans[*i].key, self.spans[*i].from) > (key, number) {
                break;
            }
            self.live.insert(*i);
            self.next += 1;
        }
        let spans = self.spans;
        self.live.retain(|i| spans[*i].key == key && spans[*i].to >= number);
        self.live.iter().map(|i| &spans[*i]).collect()
    }
}

/// The rest of a segment up to `to`, if its stretches conflict by themselves.
fn put_segment(found: &mut Vec<Entry>, live: &mut Active<'_>, segment: &Segment, to: u128) {
    let from = live.from.unwrap_or(segment.from);
    if !segment.live.conflicts() || from > to {
        return;
    }
    let mut openers: Vec<Opener> =
        live.at(segment.key, segment.from).iter().map(|span| Opener::span(span)).collect();
    openers.sort_unstable();
    openers.dedup();
    // Neighbours that say the same are one entry.
    if let Some(last) = found.last_mut()
        && last.key == segment.key
        && last.to.checked_add(1) == Some(from)
        && last.openers == openers
    {
        last.to = to;
        return;
    }
    found.push(Entry { key: segment.key, from, to, openers });
}
