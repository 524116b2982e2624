//! Batches in slots of one length: which members each slot admits, as ranges
//! or affine sets, and the panel numbers they get. Only where neither will do
//! are members listed one by one.

use super::affine::{Affine, Equation, join, split_range};
use super::big::Big;
use super::catalogue::{Catalogue, Pieces, Slot};
use super::error::{PlanError, PlanErrorKind};
use super::linear::{LISTED_MOST, Members};
use super::pieces::{NumberRange, below, number_ranges, renumbered};
use super::problem::Batch;
use super::range::Range;
use super::segments::{Owner, Set, Single, Span, Tag};
use super::shape::{Cut, Shape};
use crate::bits::Wide;
use crate::site::Identity;

/// Site codes that members of one batch may differ in, where a slot admits any.
/// Judgement, no source: a batch has one site code, and a run that reads a few
/// more bits gives a few more codes.
pub(crate) const CODES_MOST: u128 = 4096;

/// Some members of a batch: card numbers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Chosen {
    Range(Range),
    Set(Affine),
}

/// Members of a batch that all slots treat alike.
#[derive(Debug, Clone)]
pub(crate) struct Part {
    pub members: Vec<Chosen>,
    /// Whether their own slot takes them.
    pub home: bool,
    /// Slots that admit them, their own left out.
    pub admitted: Vec<usize>,
}

/// The parts of a batch; `None` where its members are listed anyway. `home` is
/// its own slot.
pub(crate) fn parts(
    catalogue: &Catalogue<'_, '_>,
    slots: &[Slot],
    home: Option<usize>,
    batch: &Batch,
) -> Result<Option<Vec<Part>>, PlanError> {
    let whole = batch.ranges.iter().copied().map(Chosen::Range).collect();
    let mut parts = vec![Part { members: whole, home: home.is_some(), admitted: Vec::new() }];
    let by_site = catalogue.problem.panel.identity == Identity::SiteAndNumber;
    for (at, slot) in slots.iter().enumerate() {
        let own = home == Some(at);
        let mut equations = Vec::new();
        let mut never = false;
        for check in slot.shape.checks.iter().filter(|_| !own) {
            match batch.members.agree_on(*check) {
                Some(holds) => never |= !holds,
                None => match batch.members.equation(*check) {
                    Some(equation) => equations.push(equation),
                    None => return Ok(None),
                },
            }
        }
        let mut cases = vec![equations.clone()];
        if let Some(run) = slot.shape.site.filter(|_| by_site || slot.sites.is_some() && !own) {
            match batch.members.agreed_value(run) {
                Some(code) => never |= !own && !slot.allows(&code),
                None if matches!(batch.members, Members::Listed { .. }) => return Ok(None),
                None => {
                    cases.clear();
                    for code in codes(slot, batch)? {
                        let reads = batch.members.reads(run, code).unwrap_or_default();
                        cases.push([&equations[..], &reads].concat());
                    }
                }
            }
        }
        if never {
            continue;
        }
        // The highest bits first: what they leave out stays a range.
        let order = |case: &mut Vec<Equation>| case.sort_by_key(|e| std::cmp::Reverse(e.mask));
        cases.iter_mut().for_each(order);
        if cases == [vec![]] {
            parts.iter_mut().filter(|_| !own).for_each(|part| part.admitted.push(at));
        } else {
            parts = by_case(parts, &cases, (!own).then_some(at));
        }
        if slot.shape.card.most.is_some() {
            match by_number(parts, batch, &slot.shape, (!own).then_some(at))? {
                Some(next) => parts = next,
                None => return Ok(None),
            }
        }
    }
    parts.retain(|part| !part.members.is_empty());
    Ok(Some(parts))
}

/// Parts cut by what a slot asks; `at` admits those that meet one of the cases.
fn by_case(parts: Vec<Part>, cases: &[Vec<Equation>], at: Option<usize>) -> Vec<Part> {
    let mut next = Vec::new();
    for Part { members, home, admitted } in parts {
        let mut rest = members;
        for case in cases {
            let (inside, outside) = split(rest, case);
            rest = outside;
            if !inside.is_empty() {
                let admitted = admitted.iter().copied().chain(at).collect();
                next.push(Part { members: inside, home, admitted });
            }
        }
        if !rest.is_empty() {
            next.push(Part { members: rest, home, admitted });
        }
    }
    next
}

/// Parts cut by whether a slot takes their panel numbers: the slot `at`, or
/// their own. `None` where the members are listed.
fn by_number(
    parts: Vec<Part>,
    batch: &Batch,
    shape: &Shape,
    at: Option<usize>,
) -> Result<Option<Vec<Part>>, PlanError> {
    let mut next = Vec::new();
    for part in parts {
        let concerned = at.map_or(part.home, |at| part.admitted.last() == Some(&at));
        if !concerned {
            next.push(part);
            continue;
        }
        let Some((inside, outside)) = taken(part.members, batch, shape)? else {
            return Ok(None);
        };
        let (home, mut admitted) = (part.home, part.admitted);
        next.push(Part { members: inside, home, admitted: admitted.clone() });
        if at.is_some() {
            admitted.pop();
        }
        next.push(Part { members: outside, home: home && at.is_some(), admitted });
    }
    next.retain(|part| !part.members.is_empty());
    Ok(Some(next))
}

/// Members whose panel number a slot takes, and the others.
type Taken = (Vec<Chosen>, Vec<Chosen>);

/// Members by whether a slot of that shape takes their panel number; `None`
/// where they are listed and differ.
pub(crate) fn taken(
    members: Vec<Chosen>,
    batch: &Batch,
    shape: &Shape,
) -> Result<Option<Taken>, PlanError> {
    let card = shape.card;
    let Some(most) = card.most else { return Ok(Some((members, Vec::new()))) };
    let takes = |number: u128| card.takes(card.number(batch.members.word(number)));
    if let Members::Listed { .. } = batch.members {
        let (mut any, mut all) = (false, true);
        for number in members.iter().flat_map(Chosen::numbers) {
            any |= takes(number);
            all &= takes(number);
        }
        return Ok(match (any, all) {
            (_, true) => Some((members, Vec::new())),
            (false, _) => Some((Vec::new(), members)),
            _ => None,
        });
    }
    let plain = batch.members.plain(card.run);
    let (mut inside, mut outside) = (Vec::new(), Vec::new());
    let mut left = LISTED_MOST;
    for some in members {
        let ranges = match (&some, plain) {
            (Chosen::Range(range), Some(plain)) => below(*range, plain, card.cut, most),
            _ => None,
        };
        if let (Chosen::Range(range), Some(ranges)) = (&some, ranges) {
            match left.checked_sub(ranges.len() as u128) {
                Some(rest) => left = rest,
                None => return Err(too_long(batch, "its numbers are taken piece by piece")),
            }
            outside.extend(range.without(&ranges).into_iter().map(Chosen::Range));
            inside.extend(ranges.into_iter().map(Chosen::Range));
        } else if linear(batch, shape) {
            let mut rest = vec![some];
            for case in at_most(batch, shape, most) {
                let (within, beyond) = split(rest, &case);
                inside.extend(within);
                rest = beyond;
            }
            outside.extend(rest);
        } else {
            let why = "its numbers do not follow the card run, and some are too large";
            for number in list(&some, batch, why, &mut left)? {
                let to = if takes(number) { &mut inside } else { &mut outside };
                to.push(Chosen::Range(Range { first: number, last: number }));
            }
        }
    }
    Ok(Some((inside, outside)))
}

/// For a linear batch and no cut: the values up to `most` as aligned blocks,
/// each as equations.
fn at_most(batch: &Batch, shape: &Shape, most: u128) -> Vec<Vec<Equation>> {
    let bits = batch.members.bits(shape.card.run).unwrap_or_default();
    let case = |block: Affine| {
        let free = block.dimension();
        let wanted = |(bit, one): (usize, &Equation)| {
            let set = block.origin.checked_shr(bit as u32).is_some_and(|rest| rest & 1 == 1);
            Equation { constant: one.constant == set, ..*one }
        };
        bits.iter().enumerate().skip(free).map(wanted).collect()
    };
    Affine::blocks(Range { first: 0, last: most }).into_iter().map(case).collect()
}

fn too_long(batch: &Batch, why: &'static str) -> PlanError {
    let kind = PlanErrorKind::TooLong { cards: batch.cards(), most: LISTED_MOST, why };
    PlanError::batch(batch.index, kind)
}

/// The site codes a slot may read of a batch whose members differ in it.
fn codes(slot: &Slot, batch: &Batch) -> Result<Vec<Big>, PlanError> {
    if let Some(sites) = &slot.sites {
        return Ok(sites.to_vec());
    }
    let why = "its cards differ in what a site run reads";
    let refuse = || Err(too_long(batch, why));
    let (Members::Linear { first, columns, .. }, Some(run)) = (&batch.members, slot.shape.site)
    else {
        return Ok(Vec::new());
    };
    if run.len > 128 {
        return refuse();
    }
    let vectors = (0..columns.len()).map(|bit| 1u128 << bit);
    let (image, _) = batch.members.image(run, &Affine::new(*first, vectors).0);
    if image.size() > CODES_MOST {
        return refuse();
    }
    Ok(image.members().map(Big::from).collect())
}

/// The members that meet the equations, and the others.
fn split(members: Vec<Chosen>, equations: &[Equation]) -> (Vec<Chosen>, Vec<Chosen>) {
    let mut inside = Vec::new();
    let mut outside = Vec::new();
    let put = |sets: Vec<Affine>, to: &mut Vec<Chosen>| {
        let (ranges, sets) = join(sets);
        to.extend(ranges.into_iter().map(Chosen::Range));
        to.extend(sets.into_iter().map(Chosen::Set));
    };
    for some in members {
        match some {
            Chosen::Range(range) => {
                let differ = range.first ^ range.last;
                let varying = u128::MAX.checked_shr(differ.leading_zeros()).unwrap_or(0);
                if equations.iter().all(|equation| equation.mask & varying == 0) {
                    let all = equations.iter().all(|equation| equation.holds(range.first));
                    if all { &mut inside } else { &mut outside }.push(Chosen::Range(range));
                    continue;
                }
                let (within, beyond) = split_range(range, equations);
                put(within, &mut inside);
                put(beyond, &mut outside);
            }
            Chosen::Set(set) => {
                let (within, beyond) = set.split(equations);
                put(within.into_iter().collect(), &mut inside);
                put(beyond, &mut outside);
            }
        }
    }
    (inside, outside)
}

impl Chosen {
    fn least(&self) -> u128 {
        match self {
            Chosen::Range(range) => range.first,
            Chosen::Set(set) => set.least(),
        }
    }

    fn size(&self) -> u128 {
        match self {
            Chosen::Range(range) => (range.last - range.first).saturating_add(1),
            Chosen::Set(set) => set.size(),
        }
    }

    fn sets(&self) -> Vec<Affine> {
        match self {
            Chosen::Range(range) => Affine::blocks(*range),
            Chosen::Set(set) => vec![set.clone()],
        }
    }

    fn numbers(&self) -> Vec<u128> {
        match self {
            Chosen::Range(range) => (range.first..=range.last).collect(),
            Chosen::Set(set) => set.members().collect(),
        }
    }
}

impl Part {
    pub fn cards(&self) -> u128 {
        self.members.iter().map(Chosen::size).fold(0, u128::saturating_add)
    }

    /// Its card numbers one by one.
    pub fn numbers(&self, batch: &Batch, why: &'static str) -> Result<Vec<u128>, PlanError> {
        let mut left = LISTED_MOST;
        let lists = self.members.iter().map(|some| list(some, batch, why, &mut left));
        Ok(lists.collect::<Result<Vec<_>, _>>()?.concat())
    }
}

impl Part {
    /// Its card numbers as ranges, ascending.
    pub fn ranges(&self, batch: &Batch, why: &'static str) -> Result<Vec<Range>, PlanError> {
        let mut left = LISTED_MOST;
        let mut ranges = Vec::new();
        for some in &self.members {
            match some {
                Chosen::Range(range) => ranges.push(*range),
                set => ranges.extend(joined(list(set, batch, why, &mut left)?)),
            }
        }
        ranges.sort_unstable_by_key(|range| range.first);
        Ok(ranges)
    }
}

/// Numbers as ranges.
pub(crate) fn joined(mut numbers: Vec<u128>) -> Vec<Range> {
    numbers.sort_unstable();
    let mut ranges: Vec<Range> = Vec::new();
    for number in numbers {
        match ranges.last_mut() {
            Some(last) if last.last.checked_add(1) == Some(number) => last.last = number,
            _ => ranges.push(Range { first: number, last: number }),
        }
    }
    ranges
}

fn list(
    some: &Chosen,
    batch: &Batch,
    why: &'static str,
    left: &mut u128,
) -> Result<Vec<u128>, PlanError> {
    let size = some.size();
    match left.checked_sub(size) {
        Some(rest) => *left = rest,
        None => return Err(too_long(batch, why)),
    }
    Ok(some.numbers())
}

/// What a slot gives to members of a batch.
pub(crate) struct Given<'a> {
    pub slot: &'a Slot,
    /// The slot's place in the plan, from 0.
    pub ordinal: usize,
    pub tag: Tag,
    /// The members' own slot and its place: what they open there anyway is
    /// left out.
    pub known: Option<(&'a Slot, usize)>,
}

impl Given<'_> {
    /// Puts the panel numbers of a part among the pieces.
    pub fn put(
        &self,
        catalogue: &mut Catalogue<'_, '_>,
        batch: &Batch,
        part: &Part,
        pieces: &mut Pieces,
    ) -> Result<(), PlanError> {
        let Given { slot, ordinal, tag, known } = *self;
        let owner = Owner::batch(batch.index);
        let card = slot.shape.card;
        let plain = batch.members.plain(card.run);
        let mut left = LISTED_MOST;
        for some in &part.members {
            let word = batch.members.word(some.least());
            let key = catalogue.key_in(ordinal, slot, word);
            // What its own slot gives only matters under the same key.
            let known = known.filter(|(own, at)| catalogue.key_in(*at, own, word) == key);
            let known_plain = known.map(|(own, _)| batch.members.plain(own.shape.card.run));
            match (some, plain, known_plain) {
                (Chosen::Range(range), Some(plain), None | Some(Some(_))) => {
                    let put = |number_range: NumberRange, tag: Tag, pieces: &mut Pieces| {
                        let NumberRange { from, to, each, value_less, .. } = number_range;
                        pieces.spans.push(Span { key, from, to, each, value_less, tag, owner });
                    };
                    let given = number_ranges(*range, plain, card.cut);
                    let (Some((own, _)), Some(Some(plain))) = (known, known_plain) else {
                        given.into_iter().for_each(|number_range| put(number_range, tag, pieces));
                        continue;
                    };
                    let ours = number_ranges(*range, plain, own.shape.card.cut);
                    for number_range in given {
                        let (new, echo) = less(&number_range, &ours);
                        new.into_iter().for_each(|number_range| put(number_range, tag, pieces));
                        let tag = Tag { echo: true, ..tag };
                        let echo = echo.into_iter().filter(|_| card.cut != Cut::None);
                        echo.for_each(|number_range| put(number_range, tag, pieces));
                    }
                }
                _ if linear(batch, &slot.shape)
                    && known.is_none_or(|(own, _)| linear(batch, &own.shape)) =>
                {
                    for set in some.sets() {
                        let sets = match known {
                            Some((own, _)) => set.split(&same(batch, &slot.shape, &own.shape)).1,
                            None => vec![set],
                        };
                        for set in sets {
                            let (set, kernel) = batch.members.image(card.run, &set);
                            let each = 1u128.checked_shl(kernel as u32).unwrap_or(u128::MAX);
                            // No digits are cut, so the value is the number.
                            let value_less = Some(Big::ZERO);
                            pieces.sets.push(Set { key, set, each, value_less, tag, owner });
                        }
                    }
                }
                _ => {
                    let why = "its numbers do not follow a card run, and digits are cut";
                    for number in list(some, batch, why, &mut left)? {
                        let word = batch.members.word(number);
                        let given = card.number(word);
                        let own = known.map(|(own, _)| own.shape.card.number(word));
                        let single = Single { key, number: given, tag, owner, stray: 0, form: 0 };
                        catalogue.record(&single, || card.run.value(word));
                        let echo = own == Some(given);
                        pieces.singles.push(Single { tag: Tag { echo, ..tag }, ..single });
                    }
                }
            }
        }
        Ok(())
    }
}

/// Whether the panel number is linear in the bits of the card number.
fn linear(batch: &Batch, shape: &Shape) -> bool {
    shape.card.cut == Cut::None && matches!(batch.members, Members::Linear { .. })
}

/// Equations for two slots to give a card the same panel number.
fn same(batch: &Batch, a: &Shape, b: &Shape) -> Vec<Equation> {
    let bits = |shape: &Shape| batch.members.bits(shape.card.run).unwrap_or_default();
    let (a, b) = (bits(a), bits(b));
    let zero = Equation { mask: 0, constant: true };
    let bit = |of: &[Equation], i: usize| of.get(i).copied().unwrap_or(zero);
    (0..a.len().max(b.len()))
        .map(|i| {
            let (a, b) = (bit(&a, i), bit(&b, i));
            Equation { mask: a.mask ^ b.mask, constant: a.constant ^ b.constant }
        })
        .collect()
}

/// How many of some members have a panel number that is not their own.
pub(crate) fn changed(batch: &Batch, members: &[Chosen], shape: &Shape) -> Result<u128, PlanError> {
    let card = shape.card;
    let mut changed = 0u128;
    let mut left = LISTED_MOST;
    let plain = batch.members.plain(card.run);
    for some in members {
        let more = if let (Chosen::Range(range), Some(plain)) = (some, plain) {
            renumbered(*range, plain, card.cut)
        } else if linear(batch, shape) {
            let bits = batch.members.bits(card.run).unwrap_or_default();
            let own = |(bit, one): (usize, Equation)| Equation {
                mask: one.mask ^ 1 << bit,
                constant: !one.constant,
            };
            let mut equations: Vec<Equation> = bits.into_iter().enumerate().map(own).collect();
            let beyond = |bit: usize| Equation { mask: 1 << bit, constant: false };
            equations.extend((equations.len()..128).map(beyond));
            let same = some.sets().into_iter().filter_map(|set| set.split(&equations).0);
            some.size() - same.map(|set| set.size()).sum::<u128>().min(some.size())
        } else {
            let why = "its numbers do not follow the card run, and digits are cut";
            let numbers = list(some, batch, why, &mut left)?;
            let own = |n: &&u128| card.number(batch.members.word(**n)) != **n;
            numbers.iter().filter(own).count() as u128
        };
        changed = changed.saturating_add(more);
    }
    Ok(changed)
}

/// What is left of a stretch without the numbers the same card is known by,
/// and those numbers.
fn less(given: &NumberRange, known: &[NumberRange]) -> (Vec<NumberRange>, Vec<NumberRange>) {
    let mut left = vec![*given];
    let mut echo = Vec::new();
    if given.card_less.is_none() {
        return (left, echo);
    }
    for own in known.iter().filter(|own| own.card_less == given.card_less) {
        let mut next = Vec::new();
        for part in left {
            let (from, to) = (part.from.max(own.from), part.to.min(own.to));
            if from > to {
                next.push(part);
                continue;
            }
            echo.push(NumberRange { from, to, ..part });
            if part.from < from {
                next.push(NumberRange { to: from - 1, ..part });
            }
            if to < part.to {
                next.push(NumberRange { from: to + 1, ..part });
            }
        }
        left = next;
    }
    (left, echo)
}

/// The members of a batch one by one, with their words.
pub(crate) fn listed(batch: &Batch, why: &'static str) -> Result<Vec<(u128, Wide)>, PlanError> {
    let members = batch.ranges.iter().copied().map(Chosen::Range).collect();
    let numbers = Part { members, home: false, admitted: Vec::new() }.numbers(batch, why)?;
    Ok(numbers.into_iter().map(|number| (number, batch.members.word(number))).collect())
}
