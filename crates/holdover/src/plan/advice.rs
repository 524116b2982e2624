//! What to do about a conflict, in words that name cards and numbers.

use std::collections::BTreeSet;

use super::big::Big;
use super::catalogue::Slot;
use super::problem::Problem;
use super::roster::{RosterCard, RosterRow, RowState};
use super::segments::Owner;
use super::shape::{Cut, Run, digits_needed};
use super::value::ConflictKind;
use crate::bits::Wide;
use crate::layout::Part;

/// Cards of one advice that are named with their holder and print; of more, the
/// lines alone. Judgement, no source: what still fits a sentence.
const NAMED_MOST: usize = 8;

/// Letters of a holder or a print that an advice repeats. Judgement, no source.
const LETTERS_MOST: usize = 40;

/// Conflicting cards of one advice that are compared one with another.
/// Judgement, no source: more are never named in one sentence.
const COMPARED_MOST: usize = 64;

pub(crate) struct Advice<'a, 'j, 't> {
    problem: &'j Problem<'t>,
    slots: &'a [Slot],
    /// Card numbers in use in any layout, as disjoint ranges, ascending.
    used: Option<Vec<(u128, u128)>>,
}

impl<'a, 'j, 't> Advice<'a, 'j, 't> {
    pub fn new(problem: &'j Problem<'t>, slots: &'a [Slot]) -> Advice<'a, 'j, 't> {
        Advice { problem, slots, used: None }
    }

    /// What to do about cards that open one identity.
    pub fn number_conflict(&mut self, kind: ConflictKind, owners: &BTreeSet<Owner>) -> String {
        if kind == ConflictKind::RangeOverlap {
            return self.overlap(owners);
        }
        if let Some(repeated) = self.repeated(owners) {
            return repeated;
        }
        let reissue = self.reissue(owners);
        match self.wider(owners) {
            Some(digits) if digits <= self.problem.panel.max_digits => {
                format!("use {digits} digits over site and card, or {reissue}")
            }
            Some(digits) => format!(
                "{reissue}; a panel that keys {digits} digits over site and card would tell them \
                 apart"
            ),
            None if kind == ConflictKind::DigitsCut => {
                let most = self.problem.panel.max_digits;
                format!("{reissue}; the numbers differ only beyond the {most} digits kept")
            }
            None => reissue,
        }
    }

    /// What to do about cards that several slots admit.
    pub fn two_slots(&self, slots: &[usize], owners: &BTreeSet<Owner>) -> String {
        let names: Vec<String> = slots.iter().map(usize::to_string).collect();
        let reissue = self.reissue(owners);
        format!(
            "slots {} read the same bits and both let them in: try these cards at the panel and \
             see which number comes up before anyone relies on it, or {reissue}",
            names.join(" and ")
        )
    }

    /// What to do about blocked cards that open as kept ones.
    pub fn blocked_opens(&self, blocked: &BTreeSet<Owner>, kept: &BTreeSet<Owner>) -> String {
        let rows = |owners: &BTreeSet<Owner>| -> Vec<u32> {
            owners.iter().filter_map(|owner| owner.which().ok()).collect()
        };
        let named = |rows: &[u32]| {
            let lines: Vec<String> = rows.iter().flat_map(|row| self.lines(*row)).collect();
            match &lines[..] {
                [one] => (format!("line {one}"), true),
                some if some.len() <= COMPARED_MOST => {
                    (format!("lines {}", some.join(", ")), false)
                }
                some => (format!("these {} lines", some.len()), false),
            }
        };
        let (shut, opening) = (rows(blocked), rows(kept));
        let (which, one) = named(&shut);
        let (is, it) = if one { ("is", "it") } else { ("are", "them") };
        let batches: Vec<String> = kept
            .iter()
            .filter_map(|owner| owner.which().err())
            .map(|batch| (batch + 1).to_string())
            .collect();
        if opening.is_empty() {
            let batches = batches.join(" and ");
            return format!(
                "{which} {is} blocked, but the panel would open {it} as a card of batch {batches}: \
                 give whoever holds that card one of another number"
            );
        }
        let (as_whom, _) = named(&opening);
        let reissue = self.named(opening.iter().copied());
        let bits = |row: &u32| self.problem.roster[*row as usize].card.bits();
        if shut.iter().any(|row| opening.iter().any(|other| bits(row) == bits(other))) {
            return format!(
                "{which} {is} blocked and {as_whom} kept, but the bits are the same: find out \
                 which holds, correct the other's state, or reissue {reissue}"
            );
        }
        format!(
            "{which} {is} blocked, but the panel would open {it} by the number of {as_whom}: \
             reissue {reissue} with another number"
        )
    }

    /// One card, listed for different people.
    fn repeated(&self, owners: &BTreeSet<Owner>) -> Option<String> {
        let mut bits = owners.iter().map(|owner| match owner.which() {
            Ok(row) => match &self.problem.roster[row as usize].card {
                RosterCard::Card { layout, bits, .. } => Some((*layout, *bits)),
                RosterCard::Unfit { .. } => None,
            },
            Err(_) => None,
        });
        let first = bits.next()??;
        if owners.len() < 2 || !bits.all(|other| other == Some(first)) {
            return None;
        }
        let rows: Vec<u32> = owners.iter().filter_map(|owner| owner.which().ok()).collect();
        let lines: Vec<String> = rows.iter().flat_map(|row| self.lines(*row)).collect();
        Some(format!(
            "lines {} are one card, so two people would be one: find out who holds it, and \
             reissue {}",
            lines.join(" and "),
            self.named(rows.last().copied().into_iter())
        ))
    }

    /// Cards by their lines, with holder and print where there are any.
    fn named(&self, rows: impl Iterator<Item = u32> + Clone) -> String {
        let few = rows.clone().take(NAMED_MOST + 1).count() <= NAMED_MOST;
        let name = |row: u32| {
            let line = self.lines(row).pop().unwrap_or_default();
            let RosterRow { holder, printed, .. } = &self.problem.roster[row as usize];
            let holder = holder.as_deref().and_then(short);
            let print = printed.as_deref().and_then(short).map(|print| format!("print {print}"));
            let told: Vec<String> = holder.into_iter().chain(print).collect();
            if few && !told.is_empty() { format!("{line} ({})", told.join(", ")) } else { line }
        };
        let names: Vec<String> = rows.map(name).collect();
        match &names[..] {
            [one] => format!("line {one}"),
            some if some.len() <= COMPARED_MOST => format!("lines {}", some.join(", ")),
            some => format!("these {} cards", some.len()),
        }
    }

    fn lines(&self, row: u32) -> Vec<String> {
        self.problem.lines(row).map(|line| line.to_string()).collect()
    }

    /// Reissue all but the first.
    fn reissue(&self, owners: &BTreeSet<Owner>) -> String {
        let rows: Vec<u32> = owners.iter().filter_map(|owner| owner.which().ok()).collect();
        let batches: Vec<usize> = owners.iter().filter_map(|owner| owner.which().err()).collect();
        let spared = usize::from(batches.is_empty() && rows.len() > 1);
        let rows = rows.get(spared..).unwrap_or_default();
        match (rows, &batches[..]) {
            ([], []) => "reissue these cards".to_owned(),
            ([], batches) => {
                let named = batches.iter().skip(usize::from(batches.len() > 1)).map(|b| b + 1);
                let named: Vec<String> = named.map(|batch| batch.to_string()).collect();
                format!("reissue these cards of batch {}", named.join(" and "))
            }
            (some, _) => format!("reissue {}", self.named(some.iter().copied())),
        }
    }

    /// Digits over site and card that would tell them all apart.
    fn wider(&self, owners: &BTreeSet<Owner>) -> Option<usize> {
        if owners.len() > COMPARED_MOST {
            return None;
        }
        let mut digits = 0;
        let mut codes = BTreeSet::new();
        for owner in owners {
            let kind = &self.problem.kinds[self.problem.kind_of(*owner)?];
            let site = kind.layout.site_span()?.mask();
            let card = kind.layout.card_span()?.mask();
            let run = Run::hull(site | card)?;
            digits = digits.max(digits_needed(run.len));
            let word: Wide = match owner.which() {
                Ok(row) => match &self.problem.roster[row as usize].card {
                    RosterCard::Card { bits, .. } => bits.wide(),
                    RosterCard::Unfit { .. } => return None,
                },
                Err(index) => {
                    let batch = kind.batches.iter().find(|batch| batch.index == index)?;
                    batch.members.word(batch.ranges.first()?.first)
                }
            };
            let code = Run::hull(site)?.value(word);
            if !codes.insert(code) {
                return None;
            }
        }
        // The slots read both together already.
        let reads_both = |owner: &Owner| {
            let kind = self.problem.kind_of(*owner);
            let slot = self.slots.iter().find(|slot| kind.is_some_and(|k| slot.kinds.contains(&k)));
            slot.is_some_and(|slot| slot.shape.card.digits >= digits)
        };
        (owners.len() > 1 && !owners.iter().all(reads_both)).then_some(digits)
    }

    /// A boxed card would open as another.
    fn overlap(&mut self, owners: &BTreeSet<Owner>) -> String {
        let boxed =
            |index: &usize| self.problem.site.batches[*index].state == crate::site::State::Boxed;
        let batches: Vec<usize> =
            owners.iter().filter_map(|owner| owner.which().err()).filter(boxed).collect();
        let Some(last) = batches.last().copied() else {
            let kept_apart =
                |row: &u32| self.problem.roster[*row as usize].state == RowState::Boxed;
            let rows = owners.iter().filter_map(|owner| owner.which().ok()).filter(kept_apart);
            let rows: Vec<u32> = rows.collect();
            return format!(
                "take the boxed card of {} out of the box, and do not hand it out",
                self.named(rows.iter().copied())
            );
        };
        let batch = &self.problem.site.batches[last];
        let range = format!("boxed range {}–{}", batch.first, batch.last);
        match self.free(last) {
            Some((first, to)) => {
                format!("move {range} (batch {}) to {first}–{to}, or do not hand it out", last + 1)
            }
            None => format!("do not hand out {range} (batch {}) where it overlaps", last + 1),
        }
    }

    /// A range of the same size that no card of the problem has.
    fn free(&mut self, index: usize) -> Option<(u128, u128)> {
        let cut = |slot: &Slot| slot.shape.card.cut != Cut::None;
        if self.slots.iter().any(cut) {
            // A free card number may have a panel number in use.
            return None;
        }
        let batch = &self.problem.site.batches[index];
        let kind = self.problem.kinds.iter().find(|kind| kind.layout.id() == batch.layout)?;
        let largest = kind.layout.largest(Part::Card)?;
        let size = batch.last - batch.first;
        let problem = self.problem;
        let used = self.used.get_or_insert_with(|| used(problem));
        // Numbers that start like the batch's own are the easiest to live with.
        let step = [1_000u128, 100, 10].into_iter().find(|step| size.saturating_add(1) >= *step);
        let step = step.unwrap_or(1);
        let aligned =
            |from: u128| from.checked_next_multiple_of(step).map(|at| at + batch.first % step);
        let ends = used.iter().map(|(_, to)| to.checked_add(1)).chain([Some(0)]);
        let nexts = used.iter().skip(1).map(|(from, _)| Some(*from)).chain([None]);
        let nexts = nexts.chain([used.first().map(|(from, _)| *from)]);
        let mut free: Vec<(u128, u128)> = ends
            .zip(nexts)
            .filter_map(|(end, next)| {
                let first = aligned(end?)?;
                let to = first.checked_add(size)?;
                (to <= largest && next.is_none_or(|next| to < next)).then_some((first, to))
            })
            .collect();
        free.sort_unstable();
        // Above the batch first, where the next box would come from.
        let above = free.iter().find(|(first, _)| *first > batch.last);
        above.or(free.first()).copied()
    }
}

/// A cell as an advice repeats it: without the brackets that would end it, cut
/// where it is long; `None` where it is blank.
fn short(cell: &str) -> Option<String> {
    let plain = cell.replace(['(', ')'], " ");
    let words: Vec<&str> = plain.split_whitespace().collect();
    let text = words.join(" ");
    let cut = text.char_indices().nth(LETTERS_MOST).map(|(at, _)| at);
    let text = match cut {
        Some(at) => format!("{}…", &text[..at]),
        None => text,
    };
    (!text.is_empty()).then_some(text)
}

/// Card numbers in use, of whatever layout and site, joined.
fn used(problem: &Problem<'_>) -> Vec<(u128, u128)> {
    let mut all: Vec<(u128, u128)> = Vec::new();
    for kind in &problem.kinds {
        all.extend(
            kind.listed_cards.iter().map(|listed_card| (listed_card.number, listed_card.number)),
        );
    }
    let blocked = problem.roster.iter().filter(|row| row.state == RowState::Blocked);
    all.extend(blocked.filter_map(|row| match row.card {
        RosterCard::Card { number, .. } => Some((number, number)),
        RosterCard::Unfit { .. } => None,
    }));
    all.extend(problem.site.batches.iter().map(|batch| (batch.first, batch.last)));
    all.sort_unstable();
    let mut joined: Vec<(u128, u128)> = Vec::new();
    for (from, to) in all {
        match joined.last_mut() {
            Some(last) if Big::from(from) <= Big::from(last.1).add(Big::ONE) => {
                last.1 = last.1.max(to);
            }
            _ => joined.push((from, to)),
        }
    }
    joined
}
