//! Checks and fields that are not settled: left unchecked where no aim
//! suffers, and said aloud. A panel that checks what may be wrong refuses good
//! cards.

use super::catalogue::{Catalogue, Slot, sort_slots};
use super::error::PlanError;
use super::exposure::exposure;
use super::score::{Found, Score};
use super::shape::{Run, parities};
use super::slots::pieces_of;
use super::sweep::{Enrolled, count};
use super::value::PlanSlot;
use crate::layout::{Check, Layout, Part, PlaceIn, Table, Unsettled};
use crate::site::Panel;

/// Checks of one layout named in one caution before the rest is only counted.
/// Judgement, no source: what still fits a sentence.
const NAMED_MOST: usize = 3;

/// What is open about a layout's even and odd checks.
pub(crate) fn open_parities(layout: &Layout) -> impl Iterator<Item = &Unsettled> {
    layout.unsettled().iter().filter(|open| match open.part {
        PlaceIn::Check(index) => {
            matches!(layout.checks().get(index), Some(Check::Parity { .. }))
        }
        _ => false,
    })
}

/// Takes parity off each slot that would check what is not settled, where
/// that makes no aim worse. Without checks a slot admits more, so that only
/// the exposure can become less: a share of more patterns.
pub(crate) fn leave_out(
    catalogue: &mut Catalogue<'_, '_>,
    found: &mut Found,
) -> Result<(), PlanError> {
    let problem = catalogue.problem;
    let open = |kind: &usize| open_parities(problem.kinds[*kind].layout).next().is_some();
    sort_slots(&mut found.slots);
    let doubtful = |slot: &Slot| slot.shape.parity && slot.kinds.iter().any(open);
    let places: Vec<usize> =
        (0..found.slots.len()).filter(|at| doubtful(&found.slots[*at])).collect();
    if places.is_empty() {
        return Ok(());
    }
    let mut aims = aims_of(catalogue, &found.slots)?;
    for at in places {
        let mut slots = found.slots.clone();
        slots[at].shape.leave_parity_out();
        let without = aims_of(catalogue, &slots)?;
        if no_worse(&without, &aims) {
            (found.slots, aims) = (slots, without);
        }
    }
    Ok(())
}

/// What slots are weighed by. Cards without a slot are left out: whatever is
/// checked, they are as many.
fn aims_of(catalogue: &mut Catalogue<'_, '_>, slots: &[Slot]) -> Result<Score, PlanError> {
    let mut aims = Score { slots: slots.len(), ..Score::default() };
    let mut all = super::catalogue::Pieces::default();
    for pieces in pieces_of(catalogue, slots)? {
        aims.lost = aims.lost.saturating_add(pieces.lost);
        aims.in_conflict = aims.in_conflict.saturating_add(pieces.doubled_kept);
        aims.renumbered = aims.renumbered.saturating_add(pieces.renumbered);
        aims.boxed_lost = aims.boxed_lost.saturating_add(pieces.boxed_lost);
        aims.boxed_in_conflict = aims.boxed_in_conflict.saturating_add(pieces.doubled_boxed);
        all.append(pieces);
    }
    all.singles.sort();
    let regions = super::cells::Regions::new(all.spans, all.sets)?;
    let counts = count(&all.singles, &regions);
    aims.in_conflict = aims.in_conflict.saturating_add(counts.kept);
    aims.blocked_open = counts.blocked;
    aims.boxed_in_conflict = aims.boxed_in_conflict.saturating_add(counts.boxed);
    aims.exposure = exposure(catalogue, slots, &Enrolled::new(&all.singles, &regions));
    Ok(aims)
}

/// Whether every aim is met as well as before.
fn no_worse(now: &Score, before: &Score) -> bool {
    now.lost <= before.lost
        && now.in_conflict <= before.in_conflict
        && now.blocked_open <= before.blocked_open
        && now.renumbered <= before.renumbered
        && now.boxed_lost <= before.boxed_lost
        && now.boxed_in_conflict <= before.boxed_in_conflict
        && now.exposure <= before.exposure
}

/// Whether a slot of these layouts checks no parity because some of it is not
/// settled: they agree on what there is to check.
pub(crate) fn left_out(layouts: &[&Layout]) -> bool {
    let first = layouts.first().map(|layout| parities(layout)).unwrap_or_default();
    layouts.iter().any(|layout| open_parities(layout).next().is_some())
        && layouts.iter().all(|layout| parities(layout) == first)
}

/// What a slot rests on that is not settled, a sentence each.
pub(crate) fn cautions(table: &Table, panel: &Panel, slot: &PlanSlot) -> Vec<String> {
    let layouts: Vec<&Layout> = slot.layouts.iter().filter_map(|id| table.layout(id)).collect();
    let off = !slot.parity && panel.checks_parity && left_out(&layouts);
    let mut out = Vec::new();
    for layout in layouts {
        let parities: Vec<&Unsettled> = open_parities(layout).collect();
        if off && !parities.is_empty() {
            out.push(said(
                layout,
                slot,
                &parities,
                ", so parity is not checked: a misread card may \
                          come up as another number",
            ));
        } else if slot.parity && !parities.is_empty() {
            out.push(said(
                layout,
                slot,
                &parities,
                ": the panel may refuse cards that it should \
                          open",
            ));
        }
        let fields: Vec<&Unsettled> =
            layout.unsettled().iter().filter(|open| reads(layout, slot, panel, open)).collect();
        if !fields.is_empty() {
            out.push(said(
                layout,
                slot,
                &fields,
                ": other cards of this kind may come up as \
                          another number, or not at all",
            ));
        }
    }
    out
}

/// Whether a slot reads a field that is not settled, as site code or number.
fn reads(layout: &Layout, slot: &PlanSlot, panel: &Panel, open: &Unsettled) -> bool {
    let PlaceIn::Field(index) = open.part else { return false };
    let Some(field) = layout.fields().get(index) else { return false };
    let runs = [Some(slot.card), slot.site].into_iter().flatten();
    let bits = field.span.mask() | open.open.as_ref().map(|span| span.mask()).unwrap_or_default();
    (field.belongs_to(Part::Site) || field.belongs_to(Part::Card))
        && runs.into_iter().any(|run| {
            let start = run.start.saturating_sub(panel.first_bit);
            !(Run { start, len: run.length }.mask() & bits).is_zero()
        })
}

/// "slot 2: even 1 over 2-15 of found30 is not settled (…)…; read one card …".
fn said(layout: &Layout, slot: &PlanSlot, open: &[&Unsettled], what: &str) -> String {
    let (named, more) = open.split_at(open.len().min(NAMED_MOST));
    let mut names: Vec<String> = named
        .iter()
        .map(|open| match open.words() {
            Some(words) => format!("{} ({words})", layout.part_name(open.part)),
            None => layout.part_name(open.part),
        })
        .collect();
    if !more.is_empty() {
        names.push(format!("{} more checks", more.len()));
    }
    let is = if open.len() == 1 { "is" } else { "are" };
    let mut mends: Vec<String> = Vec::new();
    for mend in open.iter().map(|open| layout.settled_by(open)) {
        if mends.len() < NAMED_MOST && !mends.contains(&mend) {
            mends.push(mend);
        }
    }
    format!(
        "slot {}: of {}, {} {is} not settled{what}; {}",
        slot.slot,
        layout.id(),
        names.join(" and "),
        mends.join("; ")
    )
}
