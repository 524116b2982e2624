//! The other way out of a conflict: reissue a few cards, and the others keep
//! the number on their print.

use std::collections::BTreeSet;

use serde::Serialize;

use super::big::{Big, count};
use super::error::PlanError;
use super::roster::{RosterCard, RosterRow, RowState};
use super::shape::{CardRun, Run, Shape, digits_needed};
use super::value::{CardRef, ConflictKind, PanelRun, Plan, PlanSlot};
use super::{PlanOptions, plan_with};
use crate::layout::Layout;
use crate::site::Site;

/// Cards to reissue for the sake of the others' prints. Judgement, no source:
/// more new cards than these are an order, not an alternative.
const REISSUED_MOST: usize = 200;

/// What reissuing some cards would save.
///
/// As JSON `{"reissue":[7],"keep_print":999}`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alternative {
    /// Roster lines of the cards to reissue with other numbers.
    pub reissue: Vec<usize>,
    /// Kept cards that would have the number on their print as their panel
    /// number, and have not under the plan.
    #[serde(with = "count")]
    pub keep_print: u128,
    /// The plan without those cards.
    #[serde(skip)]
    pub plan: Plan,
}

impl Plan {
    /// A plan in which slots read card numbers alone, and the few cards that it
    /// would not tell apart are reissued: where more cards keep their print than
    /// need a new one, and nothing else gets worse.
    ///
    /// # Errors
    /// As [`plan`](super::plan).
    pub fn alternative(
        &self,
        site: &Site,
        roster: &[RosterRow],
    ) -> Result<Option<Alternative>, PlanError> {
        let by_card = self.by_card_numbers(roster);
        let runs = |plan: &Plan| plan.slots.iter().map(|slot| slot.card).collect::<Vec<_>>();
        if self.objective.renumbered == 0 || runs(&by_card) == runs(self) {
            return Ok(None);
        }
        let pinned = |rows: &[RosterRow]| {
            let options = PlanOptions { keep: Some(&by_card), ..PlanOptions::default() };
            plan_with(&self.table, site, rows, options)
        };
        let Some(reissue) = to_reissue(&pinned(roster)?) else { return Ok(None) };
        let rest: Vec<RosterRow> =
            roster.iter().filter(|row| !reissue.contains(&row.line)).cloned().collect();
        let plan = pinned(&rest)?;
        let (is, was) = (plan.objective(), &self.objective);
        let worse = is.lost > was.lost
            || is.in_conflict > was.in_conflict
            || is.blocked_open > was.blocked_open
            || is.boxed_lost > was.boxed_lost
            || is.boxed_in_conflict > was.boxed_in_conflict;
        let keep_print = was.renumbered.saturating_sub(is.renumbered);
        let keep_print = keep_print.saturating_sub(reissue.len() as u128);
        if worse || keep_print <= reissue.len() as u128 {
            return Ok(None);
        }
        Ok(Some(Alternative { reissue: reissue.into_iter().collect(), keep_print, plan }))
    }

    /// The same slots, each reading its layouts' card field alone where they
    /// have it in one place.
    fn by_card_numbers(&self, roster: &[RosterRow]) -> Plan {
        let by_card = |slot: &PlanSlot| self.slot_by_card(slot, roster).unwrap_or(slot.clone());
        let slots = self.slots.iter().map(by_card);
        Plan { slots: slots.collect(), ..self.clone() }
    }

    fn slot_by_card(&self, slot: &PlanSlot, roster: &[RosterRow]) -> Option<PlanSlot> {
        let layouts: Vec<&Layout> =
            slot.layouts.iter().filter_map(|id| self.table.layout(id)).collect();
        let field = |layout: &&Layout| layout.card_span().and_then(|span| Run::hull(span.mask()));
        let (first, rest) = layouts.split_first()?;
        let run = field(first)?;
        if rest.iter().any(|layout| field(layout) != Some(run)) {
            return None;
        }
        let card = CardRun::new(run, &self.panel)?;
        let shape = Shape::new(layouts.iter().copied(), card, &self.panel);
        let place =
            |run: Run| PanelRun { start: run.start + self.panel.first_bit, length: run.len };
        let listed = shape.site.filter(|_| self.panel.checks_site);
        let sites =
            listed.and_then(|run| self.code_of(&layouts, run, roster)).into_iter().collect();
        Some(PlanSlot {
            card: place(run),
            site: shape.site.map(place),
            sites,
            parity: slot.parity,
            digits: digits_needed(run.len).min(self.panel.max_digits),
            ..slot.clone()
        })
    }

    /// A site code of some layouts' cards, as a run reads it: enough to say that
    /// the slot has a list, which the planner makes whole.
    fn code_of(&self, layouts: &[&Layout], run: Run, roster: &[RosterRow]) -> Option<Big> {
        let own = |id: &str| layouts.iter().any(|layout| layout.id() == id);
        let listed = roster.iter().find_map(|row| match &row.card {
            RosterCard::Card { layout, bits, .. } if row.state != RowState::Blocked => {
                let layout = self.table.layouts().get(*layout)?;
                own(layout.id()).then_some(*bits)
            }
            _ => None,
        });
        let of_batch = || {
            let batch = self.batches.iter().find(|batch| own(&batch.layout))?;
            let code = batch.site.unwrap_or(0);
            let row =
                RosterRow::of_numbers(&self.table, 0, &batch.layout, code, batch.first).ok()?;
            row.card.bits().copied()
        };
        Some(run.value(listed.or_else(of_batch)?.wide()))
    }
}

/// The lines to reissue so that nothing is in a conflict; `None` where that is
/// not the way, or takes too many.
fn to_reissue(plan: &Plan) -> Option<BTreeSet<usize>> {
    let mut reissue = BTreeSet::new();
    for conflict in plan.conflicts() {
        if conflict.kind == ConflictKind::TwoSlots || conflict.kind == ConflictKind::RangeOverlap {
            return None;
        }
        let lines = conflict.cards.iter().filter_map(|card| match card {
            CardRef::Line(line) => Some(*line),
            CardRef::Batch(_) => None,
        });
        // A member of a batch keeps its number; of listed cards the first does.
        let batches = conflict.cards.iter().filter(|card| matches!(card, CardRef::Batch(_)));
        reissue.extend(lines.skip(usize::from(batches.count() == 0)));
        if reissue.len() > REISSUED_MOST {
            return None;
        }
    }
    (!reissue.is_empty()).then_some(reissue)
}
