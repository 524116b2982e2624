//! Affine sets of numbers over GF(2): the members of a range that a check or
//! a site code picks out, and the panel numbers they have.

use super::range::Range;

/// Bits XOR-ed together must come to a constant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Equation {
    pub mask: u128,
    pub constant: bool,
}

impl Equation {
    pub fn holds(self, number: u128) -> bool {
        (self.mask & number).count_ones() % 2 == u32::from(self.constant)
    }
}

/// `origin` XOR any of the vectors of `basis`. The vectors are reduced: each
/// has a highest bit that neither another one nor the origin holds; the
/// highest come first. So the origin is the least member.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Affine {
    pub origin: u128,
    pub basis: Vec<u128>,
}

fn top(vector: u128) -> u32 {
    127 - vector.leading_zeros().min(127)
}

impl Affine {
    /// The set spanned from `origin`, and how often each member comes up, as
    /// log2.
    pub fn new(origin: u128, vectors: impl IntoIterator<Item = u128>) -> (Affine, usize) {
        let mut basis: Vec<u128> = Vec::new();
        let mut kernel = 0;
        for mut vector in vectors {
            for known in &basis {
                if vector >> top(*known) & 1 == 1 {
                    vector ^= known;
                }
            }
            if vector == 0 {
                kernel += 1;
                continue;
            }
            for known in &mut basis {
                if *known >> top(vector) & 1 == 1 {
                    *known ^= vector;
                }
            }
            basis.push(vector);
        }
        basis.sort_unstable_by(|a, b| b.cmp(a));
        let reduce = |n: u128, v: &u128| if n >> top(*v) & 1 == 1 { n ^ v } else { n };
        let origin = basis.iter().fold(origin, reduce);
        (Affine { origin, basis }, kernel)
    }

    pub fn dimension(&self) -> usize {
        self.basis.len()
    }

    /// How many members; the largest number where that is 2^128.
    pub fn size(&self) -> u128 {
        1u128.checked_shl(self.basis.len() as u32).unwrap_or(u128::MAX)
    }

    pub fn least(&self) -> u128 {
        self.origin
    }

    pub fn greatest(&self) -> u128 {
        self.basis.iter().fold(self.origin, |n, vector| n ^ vector)
    }

    /// The aligned blocks that make up a range, ascending.
    pub fn blocks(range: Range) -> Vec<Affine> {
        let mut blocks = Vec::new();
        let mut from = range.first;
        loop {
            let room = range.last - from;
            let aligned = from.trailing_zeros().min(128);
            let fits = if room == u128::MAX { 128 } else { (room + 1).ilog2() };
            let bits = aligned.min(fits);
            let basis = (0..bits).rev().map(|bit| 1u128 << bit).collect();
            blocks.push(Affine { origin: from, basis });
            let next = 1u128.checked_shl(bits).and_then(|size| from.checked_add(size));
            match next.filter(|next| *next <= range.last) {
                Some(next) => from = next,
                None => return blocks,
            }
        }
    }

    /// As a range, where it is an aligned block.
    pub fn as_range(&self) -> Option<Range> {
        let bits = self.basis.len() as u32;
        let block = self.basis.iter().rev().enumerate().all(|(bit, v)| *v == 1u128 << bit);
        let last = self.greatest();
        (block && self.origin.trailing_zeros() >= bits)
            .then_some(Range { first: self.origin, last })
    }

    /// Members that meet the equations, and those that do not, in disjoint sets.
    pub fn split(&self, equations: &[Equation]) -> (Option<Affine>, Vec<Affine>) {
        let mut inside = self.clone();
        let mut outside = Vec::new();
        for equation in equations {
            let odd = |vector: &u128| (equation.mask & vector).count_ones() % 2 == 1;
            let holds = equation.holds(inside.origin);
            // The lowest vector that decides it keeps the others reduced.
            let Some(at) = inside.basis.iter().rposition(odd) else {
                if holds {
                    continue;
                }
                outside.push(inside);
                return (None, outside);
            };
            let pivot = inside.basis.remove(at);
            inside.basis.iter_mut().filter(|vector| odd(vector)).for_each(|v| *v ^= pivot);
            let (yes, no) = match holds {
                true => (inside.origin, inside.origin ^ pivot),
                false => (inside.origin ^ pivot, inside.origin),
            };
            let basis = || inside.basis.iter().copied();
            outside.push(Affine::new(no, basis()).0);
            inside = Affine::new(yes, basis()).0;
        }
        (Some(inside), outside)
    }

    /// The equations that its members of up to `bits` bits meet, and no others.
    pub fn equations(&self, bits: u32) -> Vec<Equation> {
        let tops = self.basis.iter().fold(0u128, |tops, vector| tops | 1 << top(*vector));
        let free = (0..bits).filter(|bit| tops >> bit & 1 == 0);
        free.map(|bit| {
            let deciding = self.basis.iter().filter(|vector| **vector >> bit & 1 == 1);
            let mask = deciding.fold(1u128 << bit, |mask, vector| mask | 1 << top(*vector));
            Equation { mask, constant: (mask & self.origin).count_ones() % 2 == 1 }
        })
        .collect()
    }

    /// How many members are below `limit`.
    pub fn below(&self, limit: u128) -> u128 {
        let mut count = 0u128;
        let mut at = self.origin;
        let mut rest = self.basis.as_slice();
        for bit in (0..128).rev() {
            let wanted = limit >> bit & 1 == 1;
            match rest.split_first() {
                Some((vector, lower)) if top(*vector) == bit => {
                    rest = lower;
                    if wanted {
                        count += 1 << lower.len();
                        at ^= vector;
                    }
                }
                _ => match (at >> bit & 1 == 1, wanted) {
                    (false, true) => return count + (1 << rest.len()),
                    (true, false) => return count,
                    _ => {}
                },
            }
        }
        count
    }

    /// Every member, in no order that matters.
    pub fn members(&self) -> impl Iterator<Item = u128> + '_ {
        (0..self.size()).map(|choice| {
            let chosen = self.basis.iter().enumerate().filter(move |(i, _)| choice >> i & 1 == 1);
            chosen.fold(self.origin, |n, (_, vector)| n ^ vector)
        })
    }
}

/// The part of a range that equations pick out, and the rest; ranges where
/// they can stay ranges.
pub(crate) fn split_range(range: Range, equations: &[Equation]) -> (Vec<Affine>, Vec<Affine>) {
    let mut inside = Vec::new();
    let mut outside = Vec::new();
    for block in Affine::blocks(range) {
        let (within, beyond) = block.split(equations);
        inside.extend(within);
        outside.extend(beyond);
    }
    (inside, outside)
}

/// Sets that are ranges joined where they meet; the others as they are.
pub(crate) fn join(sets: Vec<Affine>) -> (Vec<Range>, Vec<Affine>) {
    let mut ranges: Vec<Range> = Vec::new();
    let mut others = Vec::new();
    for set in sets {
        match set.as_range() {
            Some(range) => ranges.push(range),
            None => others.push(set),
        }
    }
    ranges.sort_unstable_by_key(|range| range.first);
    let mut joined: Vec<Range> = Vec::new();
    for range in ranges {
        match joined.last_mut() {
            Some(last) if last.last.checked_add(1) == Some(range.first) => last.last = range.last,
            _ => joined.push(range),
        }
    }
    (joined, others)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    proptest! {
        #[test]
        fn sets_are_their_members(
            origin in 0u128..1024,
            vectors in proptest::collection::vec(0u128..1024, 0..6),
            equations in proptest::collection::vec((0u128..1024, any::<bool>()), 0..5),
            limit in 0u128..1100,
        ) {
            let all: BTreeSet<u128> = (0..1u128 << vectors.len())
                .map(|choice| {
                    let chosen = vectors.iter().enumerate().filter(|(i, _)| choice >> i & 1 == 1);
                    chosen.fold(origin, |n, (_, v)| n ^ v)
                })
                .collect();
            let (set, kernel) = Affine::new(origin, vectors.iter().copied());
            prop_assert_eq!(set.members().collect::<BTreeSet<_>>(), all.clone());
            prop_assert_eq!(set.dimension() + kernel, vectors.len());
            prop_assert_eq!((set.least(), set.greatest()), (*all.first().unwrap(), *all.last().unwrap()));
            prop_assert_eq!(set.below(limit), all.range(..limit).count() as u128);
            let own = set.equations(10);
            prop_assert!((0..1024).all(|n| own.iter().all(|e| e.holds(n)) == all.contains(&n)));
            let equations: Vec<Equation> =
                equations.into_iter().map(|(mask, constant)| Equation { mask, constant }).collect();
            let meets = |n: &u128| equations.iter().all(|e| e.holds(*n));
            let (inside, outside) = set.split(&equations);
            let inside: BTreeSet<u128> = inside.iter().flat_map(|set| set.members()).collect();
            let beyond: Vec<u128> = outside.iter().flat_map(|set| set.members()).collect();
            prop_assert_eq!(inside, all.iter().copied().filter(meets).collect::<BTreeSet<_>>());
            prop_assert_eq!(beyond.len(), all.iter().filter(|n| !meets(n)).count());
            for set in &outside {
                prop_assert_eq!(Affine::new(set.origin, set.basis.iter().copied()), (set.clone(), 0));
            }
        }

        #[test]
        fn ranges_are_their_blocks(first in 0u128..3000, len in 1u128..3000) {
            let range = Range { first, last: first + len - 1 };
            let blocks = Affine::blocks(range);
            let mut members: Vec<u128> = blocks.iter().flat_map(|block| block.members()).collect();
            members.sort_unstable();
            prop_assert_eq!(members, (range.first..=range.last).collect::<Vec<_>>());
            prop_assert_eq!(join(blocks), (vec![range], vec![]));
        }
    }

    #[test]
    fn the_whole_range_is_one_block() {
        let blocks = Affine::blocks(Range { first: 0, last: u128::MAX });
        assert_eq!((blocks.len(), blocks[0].dimension()), (1, 128));
        assert_eq!(blocks[0].greatest(), u128::MAX);
        assert_eq!(Affine::blocks(Range { first: 1, last: u128::MAX }).len(), 128);
    }
}
