//! The best slots as a plan: every conflict with its cards, what is lost, and
//! the exposure, worked out once more in the order the slots are keyed.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::rc::Rc;

use super::advice::Advice;
use super::big::Big;
use super::catalogue::{Catalogue, OWN_SLOT, Pieces, Slot, Values, sort_slots};
use super::cells::Regions;
use super::entries::{BlockedEntry, Entry, Opener, blocked_entries, entries};
use super::error::PlanError;
use super::exposure::{Asked, chance, exposure, patterns};
use super::keyed::keyed_shape;
use super::parts::{listed, parts};
use super::problem::{Kind, ListedCard, Problem};
use super::roster::RosterCard;
use super::score::{Found, Score};
use super::segments::{Owner, Single};
use super::shape::{Cut, Run};
use super::slots::pieces_of;
use super::sweep::Enrolled;
use super::value::{
    BatchRef, CardRef, Conflict, ConflictKind, Exposure, Lost, Objective, PanelRun, PlanSlot, Risk,
};
use crate::bits::Capture;
use crate::bits::gf2::System;
use crate::layout::Table;

/// The parts of a plan that come of its slots.
pub(crate) struct Report {
    pub slots: Vec<PlanSlot>,
    pub lost: Vec<Lost>,
    pub conflicts: Vec<Conflict>,
    pub exposure: Vec<Exposure>,
    pub risks: Vec<Risk>,
    pub objective: Objective,
    pub gap: Objective,
    pub proved: bool,
    /// Blocked cards that open as boxed ones, as cautions.
    pub as_boxed: Vec<String>,
}

pub(crate) fn report(
    catalogue: &mut Catalogue<'_, '_>,
    found: &mut Found,
    in_two_forms: Vec<(Vec<usize>, Vec<usize>)>,
) -> Result<Report, PlanError> {
    let problem = catalogue.problem;
    sort_slots(&mut found.slots);
    let slots = &found.slots;
    let (singles, regions, recorded) = gather(catalogue, slots)?;
    let enrolled = Enrolled::new(&singles, &regions);
    let blocked = blocked_entries(&singles, &regions);
    let as_boxed = as_boxed(problem, slots, &blocked);
    let mut conflicts =
        conflicts(catalogue, slots, entries(&singles, &regions), blocked, recorded)?;
    let twice = open_in_two_forms(problem, slots, in_two_forms, &mut conflicts);
    let mut all = Vec::new();
    let mut risks = Vec::new();
    for (ordinal, slot) in slots.iter().enumerate() {
        let of =
            |sites, checks| patterns(catalogue, slot, ordinal, &enrolled, Asked { sites, checks });
        let (planned, open) = (of(true, true), of(false, true));
        all.push(Exposure {
            slot: ordinal + 1,
            admitted_patterns: planned.admitted(),
            opening_patterns: planned.opening,
            stranger_opens: planned.chance(),
        });
        let rank = rank(slot);
        let by_chance = (-(rank as f64)).exp2();
        risks.push(Risk {
            slot: ordinal + 1,
            stranger: planned.chance(),
            without_site: open.chance(),
            any_bits: planned.chance() * by_chance,
            any_bits_without_parity: of(true, false).chance(),
            any_bits_without_either: of(false, false).chance(),
            length_and_parity_bits: slot.shape.length - rank,
        });
    }
    let names = names(slots);
    let mut keyed: Vec<PlanSlot> =
        slots.iter().zip(&names).map(|(slot, name)| plan_slot(problem, *name, slot)).collect();
    keyed.sort_by_key(|slot| slot.slot);
    rename(&names, &mut conflicts);
    all.iter_mut().zip(&names).for_each(|(exposure, name)| exposure.slot = *name);
    all.sort_by_key(|exposure: &Exposure| exposure.slot);
    risks.iter_mut().zip(&names).for_each(|(risk, name)| risk.slot = *name);
    risks.sort_by_key(|risk: &Risk| risk.slot);
    let mut score = found.score;
    score.exposure = exposure(catalogue, slots, &enrolled);
    let mut aims = objective(&score);
    aims.blocked_open += twice;
    Ok(Report {
        slots: keyed,
        lost: lost(catalogue, slots)?,
        conflicts,
        exposure: all,
        risks,
        objective: aims,
        gap: objective(&gap(&score, &found.bound.unwrap_or(score))),
        proved: found.bound.is_none(),
        as_boxed,
    })
}

/// Adds the cards that lines keep, and other lines block in another form; how many
/// blocked ones are new.
fn open_in_two_forms(
    problem: &Problem<'_>,
    slots: &[Slot],
    cards: Vec<(Vec<usize>, Vec<usize>)>,
    conflicts: &mut Vec<Conflict>,
) -> u128 {
    if cards.is_empty() {
        return 0;
    }
    let rows = problem.roster.iter().enumerate();
    let rows: HashMap<usize, u32> = rows.map(|(at, row)| (row.line, at as u32)).collect();
    let opens = conflicts.iter().filter(|one| one.kind == ConflictKind::BlockedOpens);
    let told: HashSet<CardRef> = opens.flat_map(|one| one.cards.iter().copied()).collect();
    let mut new = 0;
    for (kept, blocked) in cards {
        let number = rows.get(&kept[0]).and_then(|row| {
            let slot = &slots[slot_of(problem, slots, Owner::row(*row))?];
            let bits = problem.roster[*row as usize].card.bits()?;
            let width = slot.shape.card.digits;
            Some(format!("{:0>width$}", slot.shape.card.number(bits.wide())))
        });
        // A kept card without a slot opens nothing.
        let Some(number) = number else { continue };
        let ((shut, is), (open, _)) = (said(&blocked), said(&kept));
        let what_to_do = format!(
            "{shut} {is} blocked and {open} kept, and they are one card, whose serial number \
             readers send in two ways: find out which holds, and correct the other's state"
        );
        let others = blocked.iter().filter(|line| !told.contains(&CardRef::Line(**line)));
        new += others.count() as u128;
        let mut cards: Vec<CardRef> = kept.into_iter().chain(blocked).map(CardRef::Line).collect();
        cards.sort_unstable();
        conflicts.push(Conflict {
            kind: ConflictKind::BlockedOpens,
            panel_number: Some(number),
            slots: None,
            cards,
            what_to_do,
        });
    }
    new
}

/// Blocked cards that would open once a boxed card of their number is handed out.
fn as_boxed(problem: &Problem<'_>, slots: &[Slot], entries: &[BlockedEntry]) -> Vec<String> {
    let alone = entries.iter().filter(|entry| entry.kept.is_empty() && !entry.boxed.is_empty());
    let caution = alone.map(|entry| {
        let home = entry.boxed.iter().find_map(|owner| slot_of(problem, slots, *owner));
        let digits = home.map_or(1, |slot| slots[slot].shape.card.digits);
        let rows = entry.blocked.iter().filter_map(|owner| owner.which().ok());
        let lines: Vec<usize> = rows.flat_map(|row| problem.lines(row)).collect();
        let (blocked, is) = said(&lines);
        format!(
            "{blocked} {is} blocked, and would open as the boxed card of panel number \
             {:0>digits$}: do not hand that card out",
            entry.number,
        )
    });
    caution.collect()
}

/// "line 4" and "is", "lines 4 and 7" and "are".
fn said(lines: &[usize]) -> (String, &'static str) {
    let list: Vec<String> = lines.iter().map(usize::to_string).collect();
    let (word, is) = if lines.len() == 1 { ("line", "is") } else { ("lines", "are") };
    (format!("{word} {}", list.join(" and ")), is)
}

/// All numbers of a plan's slots, in their order.
fn gather(
    catalogue: &mut Catalogue<'_, '_>,
    slots: &[Slot],
) -> Result<(Vec<Single>, Regions, Values), PlanError> {
    let mut all = Pieces::default();
    // Where digits are cut, values tell whether the cut made numbers equal.
    if slots.iter().any(|slot| slot.shape.card.cut != Cut::None) {
        catalogue.start_recording();
    }
    for pieces in pieces_of(catalogue, slots)? {
        all.append(pieces);
    }
    all.singles.sort();
    let recorded = catalogue.take_recorded();
    Ok((all.singles, Regions::new(all.spans, all.sets)?, recorded))
}

/// The conflicts of slots that are keyed already. Where the roster has grown
/// since, a slot admits the site codes it was keyed with.
pub(crate) fn conflicts_of(
    catalogue: &mut Catalogue<'_, '_>,
    table: &Table,
    keyed: &[PlanSlot],
) -> Result<Vec<Conflict>, PlanError> {
    let problem = catalogue.problem;
    let mut slots = Vec::new();
    // Slots of one length need not be neighbours in a plan written elsewhere.
    let mut keyed: Vec<&PlanSlot> = keyed.iter().collect();
    keyed.sort_by_key(|slot| slot.length);
    let mut names = Vec::new();
    for slot in keyed {
        let own =
            |(_, kind): &(usize, &Kind<'_>)| slot.layouts.iter().any(|id| id == kind.layout.id());
        let kinds: Vec<usize> =
            problem.kinds.iter().enumerate().filter(own).map(|(index, _)| index).collect();
        let Some(shape) = keyed_shape(slot, problem.panel, table) else { continue };
        let mut sites = slot.sites.clone();
        sites.sort_unstable();
        let sites = (!sites.is_empty()).then(|| Rc::new(sites));
        slots.push(Slot { kinds, shape, sites, place: None });
        names.push(slot.slot);
    }
    let (singles, regions, recorded) = gather(catalogue, &slots)?;
    let (found, blocked) = (entries(&singles, &regions), blocked_entries(&singles, &regions));
    let mut conflicts = conflicts(catalogue, &slots, found, blocked, recorded)?;
    rename(&names, &mut conflicts);
    Ok(conflicts)
}

/// The numbers of slots: those that were keyed in keep theirs where they can.
fn names(slots: &[Slot]) -> Vec<usize> {
    let mut names: Vec<Option<usize>> =
        slots.iter().map(|slot| slot.place.filter(|place| *place <= slots.len())).collect();
    let mut free = (1..=slots.len()).filter(|name| !names.contains(&Some(*name)));
    let free: Vec<usize> = free.by_ref().collect();
    let mut free = free.into_iter();
    names.iter_mut().map(|name| name.take().or_else(|| free.next()).unwrap_or(0)).collect()
}

/// Gives the slots of conflicts their numbers.
fn rename(names: &[usize], conflicts: &mut [Conflict]) {
    for slots in conflicts.iter_mut().filter_map(|conflict| conflict.slots.as_mut()) {
        for slot in slots.iter_mut() {
            *slot = names.get(*slot - 1).copied().unwrap_or(*slot);
        }
        slots.sort_unstable();
    }
}

/// Independent relations among a slot's checks.
fn rank(slot: &Slot) -> usize {
    let mut system = System::new();
    for check in &slot.shape.checks {
        system.add(*check);
    }
    system.rank()
}

/// How much better the best plan could be, aim by aim.
fn gap(score: &Score, bound: &Score) -> Score {
    let exposure = if bound.exposure < score.exposure {
        score.exposure.sub(bound.exposure)
    } else {
        Big::ZERO
    };
    Score {
        lost: score.lost.saturating_sub(bound.lost),
        in_conflict: score.in_conflict.saturating_sub(bound.in_conflict),
        blocked_open: score.blocked_open.saturating_sub(bound.blocked_open),
        renumbered: score.renumbered.saturating_sub(bound.renumbered),
        boxed_lost: score.boxed_lost.saturating_sub(bound.boxed_lost),
        boxed_in_conflict: score.boxed_in_conflict.saturating_sub(bound.boxed_in_conflict),
        exposure,
        slots: score.slots.saturating_sub(bound.slots),
    }
}

fn objective(score: &Score) -> Objective {
    Objective {
        lost: score.lost,
        in_conflict: score.in_conflict,
        blocked_open: score.blocked_open,
        renumbered: score.renumbered,
        boxed_lost: score.boxed_lost,
        boxed_in_conflict: score.boxed_in_conflict,
        exposure: chance(score.exposure),
        slots: score.slots,
    }
}

fn plan_slot(problem: &Problem<'_>, name: usize, slot: &Slot) -> PlanSlot {
    let run = |run: Run| PanelRun { start: run.start + problem.panel.first_bit, length: run.len };
    let ids = slot.kinds.iter().map(|kind| problem.kinds[*kind].layout.id().to_owned());
    let layouts: Vec<String> = ids.collect();
    PlanSlot {
        slot: name,
        name: layouts.join("+"),
        layouts,
        length: slot.shape.length,
        site: slot.shape.site.map(run),
        card: run(slot.shape.card.run),
        digits: slot.shape.card.digits,
        parity: slot.shape.parity,
        sites: slot.sites.as_ref().map_or(Vec::new(), |sites| sites.to_vec()),
    }
}

fn lost(catalogue: &mut Catalogue<'_, '_>, slots: &[Slot]) -> Result<Vec<Lost>, PlanError> {
    let problem = catalogue.problem;
    let mut lost = Vec::new();
    for (index, kind) in problem.kinds.iter().enumerate() {
        let own = slots.iter().find(|slot| slot.kinds.contains(&index));
        let cards = match own {
            Some(slot) => catalogue.home(index, &slot.shape)?.lost,
            None => kind.kept,
        };
        if cards > 0 {
            let refused = || slots.iter().find_map(|slot| too_large(problem, slot, kind));
            let why = match own {
                Some(slot) => too_large(problem, slot, kind),
                None => kind.barred.clone().or_else(refused),
            };
            let why = why.unwrap_or_else(|| "no slot left".to_owned());
            lost.push(Lost { layout: Some(kind.layout.id().to_owned()), cards, why });
        }
    }
    let unfit = problem.unfit.iter();
    lost.extend(unfit.map(|(why, cards)| Lost { layout: None, cards: *cards, why: why.clone() }));
    Ok(lost)
}

/// Why a slot does not take all numbers of a layout of its length.
fn too_large(problem: &Problem<'_>, slot: &Slot, kind: &Kind<'_>) -> Option<String> {
    let most = slot.shape.card.most.filter(|_| slot.shape.length == kind.layout.length())?;
    Some(match problem.panel.max_number {
        Some(number) if u128::from(number) == most => {
            format!("its panel number would exceed the panel's largest, {number}")
        }
        _ => {
            let digits = slot.shape.card.digits;
            format!("its number has more than {digits} digits, and the panel refuses those")
        }
    })
}

fn conflicts(
    catalogue: &mut Catalogue<'_, '_>,
    slots: &[Slot],
    mut found: Vec<Entry>,
    blocked: Vec<BlockedEntry>,
    recorded: Values,
) -> Result<Vec<Conflict>, PlanError> {
    let problem = catalogue.problem;
    let doubled = doubled(catalogue, slots)?;
    found.sort_by_key(|entry| (entry.key, entry.from, entry.to));
    let cut = slots.iter().any(|slot| slot.shape.card.cut != Cut::None);
    let mut advice = Advice::new(problem, slots);
    let mut out = Vec::with_capacity(found.len());
    for entry in found {
        let kind = entry.kind(|opener, key, number| match cut {
            true => values(catalogue, slots, &recorded, opener, (key, number)),
            false => vec![Big::from(number)],
        });
        let owners: BTreeSet<Owner> = entry.openers.iter().map(|opener| opener.owner).collect();
        // Those who are known by it first.
        let known = entry.openers.iter().filter(|opener| !opener.tag.foreign);
        let home = known.filter_map(|opener| slot_of(problem, slots, opener.owner)).next();
        let digits = home.map_or(1, |slot| slots[slot].shape.card.digits);
        let text = |number: u128| format!("{number:0>digits$}");
        let panel_number = match entry.from == entry.to {
            true => text(entry.from),
            false => format!("{}-{}", text(entry.from), text(entry.to)),
        };
        let what_to_do = advice.number_conflict(kind, &owners);
        let (cards, panel_number) = (references(problem, &owners), Some(panel_number));
        out.push(Conflict { kind, panel_number, slots: None, cards, what_to_do });
    }
    for entry in blocked.into_iter().filter(|entry| !entry.kept.is_empty()) {
        let home = entry.kept.iter().find_map(|owner| slot_of(problem, slots, *owner));
        let digits = home.map_or(1, |slot| slots[slot].shape.card.digits);
        let owners = entry.blocked.union(&entry.kept).copied().collect();
        out.push(Conflict {
            kind: ConflictKind::BlockedOpens,
            panel_number: Some(format!("{:0>digits$}", entry.number)),
            slots: None,
            cards: references(problem, &owners),
            what_to_do: advice.blocked_opens(&entry.blocked, &entry.kept),
        });
    }
    for (which, owners) in doubled {
        let numbers: Vec<usize> = which.iter().map(|slot| slot + 1).collect();
        let what_to_do = advice.two_slots(&numbers, &owners);
        out.push(Conflict {
            kind: ConflictKind::TwoSlots,
            panel_number: None,
            slots: Some(numbers),
            cards: references(problem, &owners),
            what_to_do,
        });
    }
    Ok(out)
}

/// Roster lines, then batches.
fn references(problem: &Problem<'_>, owners: &BTreeSet<Owner>) -> Vec<CardRef> {
    let mut cards: Vec<CardRef> = Vec::new();
    for owner in owners {
        match owner.which() {
            Ok(row) => cards.extend(problem.lines(row).map(CardRef::Line)),
            Err(batch) => cards.push(CardRef::Batch(BatchRef { batch: batch + 1 })),
        }
    }
    cards.sort_unstable();
    cards
}

/// The slot that holds a card's layout.
pub(crate) fn slot_of(problem: &Problem<'_>, slots: &[Slot], owner: Owner) -> Option<usize> {
    let kind = problem.kind_of(owner)?;
    slots.iter().position(|slot| slot.kinds.contains(&kind))
}

/// The run values by which a listed card opens an identity.
fn values(
    catalogue: &mut Catalogue<'_, '_>,
    slots: &[Slot],
    recorded: &Values,
    opener: &Opener,
    (key, number): (u32, u128),
) -> Vec<Big> {
    let problem = catalogue.problem;
    let row = match opener.owner.which() {
        Ok(row) => row,
        Err(_) => {
            let under = |key| recorded.get(&(opener.owner, key, number));
            let home = || under(OWN_SLOT).filter(|_| !opener.tag.foreign);
            let values = under(key).or_else(home);
            return values.map_or(Vec::new(), |values| values.iter().copied().collect());
        }
    };
    let RosterCard::Card { bits, .. } = &problem.roster[row as usize].card else {
        return Vec::new();
    };
    let home = slot_of(problem, slots, opener.owner);
    let mut values = Vec::new();
    for (ordinal, slot) in slots.iter().enumerate() {
        let word = bits.wide();
        if (home == Some(ordinal) || slot.admits(bits))
            && catalogue.key_in(ordinal, slot, word) == key
            && slot.shape.card.number(word) == number
        {
            values.push(slot.shape.card.run.value(word));
        }
    }
    values
}

/// Cards that two or more slots admit, by which.
fn doubled(
    catalogue: &mut Catalogue<'_, '_>,
    slots: &[Slot],
) -> Result<BTreeMap<Rc<[usize]>, BTreeSet<Owner>>, PlanError> {
    let problem = catalogue.problem;
    let mut doubled: BTreeMap<Rc<[usize]>, BTreeSet<Owner>> = BTreeMap::new();
    for (home, slot) in slots.iter().enumerate() {
        // Slots of other lengths admit none of its cards.
        let same_length = |other: &(usize, &Slot)| other.1.shape.length == slot.shape.length;
        let places: Vec<(usize, &Slot)> = slots.iter().enumerate().filter(same_length).collect();
        if places.len() < 2 {
            continue;
        }
        let class: Vec<Slot> = places.iter().map(|(_, slot)| (*slot).clone()).collect();
        let own = places.iter().position(|(at, _)| *at == home);
        for kind in &slot.kinds {
            let mut put = |owner: Owner, admits: &dyn Fn(usize, &Slot) -> bool| {
                let admitting = |i: &usize| own == Some(*i) || admits(*i, &class[*i]);
                let which: Rc<[usize]> =
                    (0..class.len()).filter(admitting).map(|i| places[i].0).collect();
                if which.len() > 1 {
                    doubled.entry(which).or_default().insert(owner);
                }
            };
            let card = slot.shape.card;
            let taken =
                |listed_card: &&ListedCard| card.takes(card.number(listed_card.bits.wide()));
            for listed_card in problem.kinds[*kind].listed_cards.iter().filter(taken) {
                put(Owner::row(listed_card.row), &|_, other| other.admits(&listed_card.bits));
            }
            for batch in &problem.kinds[*kind].batches {
                let owner = Owner::batch(batch.index);
                let Some(parts) = parts(catalogue, &class, own, batch)? else {
                    for (_, word) in listed(batch, "another slot admits some of its cards only")? {
                        let bits = Capture::from_wide(word, slot.shape.length);
                        if let Some(bits) = bits.ok().filter(|_| card.takes(card.number(word))) {
                            put(owner, &|_, other| other.admits(&bits));
                        }
                    }
                    continue;
                };
                for part in parts.into_iter().filter(|part| part.home) {
                    put(owner, &|at, _| part.admitted.contains(&at));
                }
            }
        }
    }
    Ok(doubled)
}
