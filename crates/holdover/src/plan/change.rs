//! What differs between two plans.

use super::keyed::Opened;
use super::roster::{RosterCard, RosterRow};
use super::value::{Plan, PlanSlot};

/// The difference between two plans, for people who have keyed one already.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Changes {
    /// Slots to key anew.
    pub added: Vec<PlanSlot>,
    /// Slots to clear.
    pub removed: Vec<PlanSlot>,
    /// Slots that serve some of the same layouts with other settings: before
    /// and after. A slot that only moved to another place is one of them.
    pub changed: Vec<(PlanSlot, PlanSlot)>,
    /// Whether the panel's limits differ.
    pub panel: bool,
    /// Cards that come up as something else.
    pub renumbered: Vec<Renumbered>,
}

/// A card that comes up as something else.
#[derive(Debug, Clone, PartialEq)]
pub struct Renumbered {
    /// The roster line.
    pub line: usize,
    /// What it came up as; none where no slot read it.
    pub before: Vec<Opened>,
    /// What it comes up as.
    pub after: Vec<Opened>,
}

impl Changes {
    /// Whether there is no difference.
    pub fn is_empty(&self) -> bool {
        *self == Changes::default()
    }
}

impl Plan {
    /// What differs from an earlier plan, the roster's cards included.
    ///
    /// A panel number is compared as the panel shows it, with the slot and the
    /// site code where the panel knows people by them.
    pub fn changes_since(&self, before: &Plan, roster: &[RosterRow]) -> Changes {
        let mut changes = Changes { panel: self.panel != before.panel, ..Changes::default() };
        let mut old: Vec<&PlanSlot> = before.slots.iter().collect();
        for slot in &self.slots {
            let shared = |other: &PlanSlot| {
                other.layouts.iter().filter(|id| slot.layouts.contains(id)).count()
            };
            let near = old.iter().enumerate().filter(|(_, other)| shared(other) > 0);
            match near.max_by_key(|(i, other)| (shared(other), std::cmp::Reverse(*i))) {
                Some((i, _)) => {
                    let was = old.remove(i);
                    if was != slot {
                        changes.changed.push((was.clone(), slot.clone()));
                    }
                }
                None => changes.added.push(slot.clone()),
            }
        }
        changes.removed = old.into_iter().cloned().collect();
        let (earlier, later) = (before.reader(), self.reader());
        for row in roster {
            let RosterCard::Card { bits, .. } = &row.card else { continue };
            let known = |mut opened: Vec<Opened>, plan: &Plan| {
                let by_slot = plan.panel.identity == crate::site::Identity::SlotAndNumber;
                opened.iter_mut().filter(|_| !by_slot).for_each(|opened| opened.slot = 0);
                opened
            };
            let (was, is) = (earlier.opens(bits), later.opens(bits));
            if known(was.clone(), before) != known(is.clone(), self) {
                changes.renumbered.push(Renumbered { line: row.line, before: was, after: is });
            }
        }
        changes
    }
}
