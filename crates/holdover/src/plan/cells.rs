//! Numbers in affine sets: where such sets lie, everything there is cut into
//! disjoint cells with the same live sets in all of each.

use super::affine::{Affine, Equation};
use super::error::{PlanError, PlanErrorKind};
use super::range::Range;
use super::segments::{Live, Owner, Segment, Set, Span, segments};

/// Sets looked at before a batch counts as too long. Judgement, no source: a
/// few seconds.
const WORK_MOST: usize = 20_000_000;

/// Sets that are cut against one another without asking for bits first.
/// Judgement, no source.
const FEW: usize = 3;

/// A set of numbers with the same things live in all of it.
#[derive(Debug, Clone)]
pub(crate) struct Cell {
    pub set: Affine,
    pub live: Live,
    /// Indices of the sets that cover it.
    pub covers: Vec<usize>,
    equations: Vec<Equation>,
}

/// Neighbouring numbers of one key in which affine sets lie.
#[derive(Debug, Clone)]
struct Cluster {
    key: u32,
    from: u128,
    to: u128,
    cells: Vec<Cell>,
    /// A tree of questions about single bits, the root first.
    nodes: Vec<Node>,
}

#[derive(Debug, Clone, Copy)]
enum Node {
    /// By that bit on to one of two nodes.
    Ask { bit: u32, zero: u32, one: u32 },
    /// The cells from one index up to another.
    Cells(u32, u32),
}

/// All that ranges and sets of batches give.
#[derive(Debug, Clone, Default)]
pub(crate) struct Regions {
    /// Outside the clusters, ascending by key and number.
    pub segments: Vec<Segment>,
    clusters: Vec<Cluster>,
    /// The sets of the clusters, stretches that reach into them included.
    pub sets: Vec<Set>,
    /// The stretches of the segments.
    pub spans: Vec<Span>,
    /// Sets looked at to cut the cells.
    pub work: usize,
}

impl Regions {
    /// # Errors
    /// Too many sets that overlap; the batch of one of them is named.
    pub fn new(spans: Vec<Span>, sets: Vec<Set>) -> Result<Regions, PlanError> {
        if sets.is_empty() {
            return Ok(Regions { segments: segments(&spans), spans, ..Regions::default() });
        }
        let mut clusters = clusters(&sets);
        let mut all: Vec<(usize, Set)> = Vec::new();
        for set in sets {
            let at = clusters.partition_point(|c| (c.key, c.to) < (set.key, set.set.least()));
            all.push((at, set));
        }
        let mut outside = Vec::with_capacity(spans.len());
        for span in spans {
            clip(span, &clusters, &mut outside, &mut all);
        }
        all.sort_by_key(|(at, _)| *at);
        let mut work = 0;
        let mut rest = &all[..];
        for (at, cluster) in clusters.iter_mut().enumerate() {
            let (own, after) = rest.split_at(rest.partition_point(|(of, _)| *of == at));
            let base = all.len() - rest.len();
            rest = after;
            let items = own.iter().enumerate().map(|(i, (_, set))| (base + i, set.set.clone()));
            if !cluster.divide(items.collect(), &all, &mut work) {
                return Err(too_many(&all));
            }
        }
        let sets = all.into_iter().map(|(_, set)| set).collect();
        Ok(Regions { segments: segments(&outside), clusters, sets, spans: outside, work })
    }

    /// The cell a number is in.
    pub fn cell(&self, key: u32, number: u128) -> Option<&Cell> {
        if self.clusters.is_empty() {
            return None;
        }
        let at = self.clusters.partition_point(|c| (c.key, c.to) < (key, number));
        let cluster = self.clusters.get(at).filter(|c| c.key == key && c.from <= number)?;
        let mut node = cluster.nodes.first()?;
        loop {
            match *node {
                Node::Ask { bit, zero, one } => {
                    let next = if number >> bit & 1 == 1 { one } else { zero };
                    node = cluster.nodes.get(next as usize)?;
                }
                Node::Cells(from, to) => {
                    let cells = cluster.cells.get(from as usize..to as usize)?;
                    let holds = |cell: &&Cell| cell.equations.iter().all(|e| e.holds(number));
                    return cells.iter().find(holds);
                }
            }
        }
    }

    pub fn cells(&self) -> impl Iterator<Item = &Cell> {
        self.clusters.iter().flat_map(|cluster| &cluster.cells)
    }

    pub fn keyed_cells(&self) -> impl Iterator<Item = (u32, &Cell)> {
        self.clusters.iter().flat_map(|c| c.cells.iter().map(|cell| (c.key, cell)))
    }
}

fn too_many(all: &[(usize, Set)]) -> PlanError {
    let batch = all.iter().find_map(|(_, set)| set.owner.which().err()).unwrap_or(0);
    let size = |(_, set): &(usize, Set)| set.set.size();
    let own = |(_, set): &&(usize, Set)| set.owner == Owner::batch(batch);
    let cards = all.iter().filter(own).map(size).fold(0, u128::saturating_add);
    let why = "its numbers interleave with those of other batches";
    PlanError::batch(batch, PlanErrorKind::TooLong { cards, most: super::linear::LISTED_MOST, why })
}

/// Where sets lie, those that overlap from end to end joined.
fn clusters(sets: &[Set]) -> Vec<Cluster> {
    let mut ends: Vec<(u32, u128, u128)> =
        sets.iter().map(|set| (set.key, set.set.least(), set.set.greatest())).collect();
    ends.sort_unstable();
    let mut clusters: Vec<Cluster> = Vec::new();
    for (key, from, to) in ends {
        match clusters.last_mut() {
            Some(last) if last.key == key && from <= last.to => last.to = last.to.max(to),
            _ => clusters.push(Cluster { key, from, to, cells: Vec::new(), nodes: Vec::new() }),
        }
    }
    clusters
}

/// Cuts a stretch where it reaches into clusters.
fn clip(span: Span, clusters: &[Cluster], outside: &mut Vec<Span>, all: &mut Vec<(usize, Set)>) {
    let mut from = Some(span.from);
    let mut at = clusters.partition_point(|c| (c.key, c.to) < (span.key, span.from));
    while let (Some(start), Some(cluster)) = (from, clusters.get(at)) {
        if cluster.key != span.key || cluster.from > span.to {
            break;
        }
        if start < cluster.from {
            outside.push(Span { from: start, to: cluster.from - 1, ..span });
        }
        let inside = Range { first: start.max(cluster.from), last: span.to.min(cluster.to) };
        let Span { key, each, value_less, tag, owner, .. } = span;
        let sets = Affine::blocks(inside).into_iter();
        all.extend(sets.map(|set| (at, Set { key, set, each, value_less, tag, owner })));
        from = inside.last.checked_add(1).filter(|next| *next <= span.to);
        at += 1;
    }
    if let Some(from) = from {
        outside.push(Span { from, ..span });
    }
}

impl Cluster {
    /// Cuts sets, each with its index among `all`, into cells. The bit that
    /// tells most of them apart is asked for first, so that few meet in the
    /// end. False where it is too much work.
    fn divide(
        &mut self,
        items: Vec<(usize, Affine)>,
        all: &[(usize, Set)],
        work: &mut usize,
    ) -> bool {
        *work += items.len();
        if *work > WORK_MOST {
            return false;
        }
        let bits = 128 - self.to.leading_zeros();
        let node = self.nodes.len();
        let bit = if items.len() > FEW { telling_bit(&items, bits) } else { None };
        let Some(bit) = bit else {
            let mut cells = Vec::new();
            for (index, set) in &items {
                *work += put(&mut cells, set, *index, &all[*index].1, bits);
                if *work > WORK_MOST {
                    return false;
                }
            }
            let from = self.cells.len() as u32;
            self.cells.append(&mut cells);
            self.nodes.push(Node::Cells(from, self.cells.len() as u32));
            return true;
        };
        let is_zero = Equation { mask: 1 << bit, constant: false };
        let (mut zeros, mut ones) = (Vec::new(), Vec::new());
        for (index, set) in items {
            let (zero, one) = set.split(&[is_zero]);
            zeros.extend(zero.map(|set| (index, set)));
            ones.extend(one.into_iter().map(|set| (index, set)));
        }
        self.nodes.push(Node::Ask { bit, zero: node as u32 + 1, one: 0 });
        if !self.divide(zeros, all, work) {
            return false;
        }
        let next = self.nodes.len() as u32;
        if let Node::Ask { one, .. } = &mut self.nodes[node] {
            *one = next;
        }
        self.divide(ones, all, work)
    }
}

/// The bit that leaves the least to look at on its two sides together; `None`
/// where each leaves everything on one of them.
fn telling_bit(items: &[(usize, Affine)], bits: u32) -> Option<u32> {
    let mut zeros = [0u32; 128];
    let mut ones = [0u32; 128];
    for (_, set) in items {
        let free = set.basis.iter().fold(0, |free, vector| free | vector);
        for bit in 0..bits as usize {
            let free = free >> bit & 1 == 1;
            let one = set.origin >> bit & 1 == 1;
            zeros[bit] += u32::from(free || !one);
            ones[bit] += u32::from(free || one);
        }
    }
    let all = items.len() as u32;
    let tells = |bit: &u32| zeros[*bit as usize].max(ones[*bit as usize]) < all;
    let sides = |bit: &u32| {
        let (zeros, ones) = (zeros[*bit as usize], ones[*bit as usize]);
        (zeros + ones, zeros.max(ones))
    };
    (0..bits).rev().filter(tells).min_by_key(sides)
}

/// Puts a set among disjoint cells, cutting both where they meet. Says how
/// often two were compared.
fn put(cells: &mut Vec<Cell>, part: &Affine, index: usize, set: &Set, bits: u32) -> usize {
    let cell = |set: Affine, live: Live, covers: Vec<usize>| Cell {
        equations: set.equations(bits),
        set,
        live,
        covers,
    };
    let mut compared = 0;
    let mut pending = vec![part.clone()];
    // Cells that the set covers: no other part of it meets them.
    let mut covered = Vec::new();
    while let Some(part) = pending.pop() {
        let met = cells.iter().enumerate().find_map(|(at, cell)| {
            compared += 1;
            let apart = part.greatest() < cell.set.least() || cell.set.greatest() < part.least();
            let (both, beyond) = if apart { return None } else { part.split(&cell.equations) };
            Some((at, both?, beyond))
        });
        let (mut live, mut covers, both) = match met {
            None => (Live::default(), Vec::new(), part),
            Some((at, both, beyond)) => {
                let old = cells.swap_remove(at);
                let (_, without) = old.set.split(&both.equations(bits));
                let rest = without.into_iter().map(|rest| cell(rest, old.live, old.covers.clone()));
                cells.extend(rest);
                pending.extend(beyond);
                (old.live, old.covers, both)
            }
        };
        live.add(set.tag, set.each);
        covers.push(index);
        covered.push(cell(both, live, covers));
    }
    cells.append(&mut covered);
    compared
}
