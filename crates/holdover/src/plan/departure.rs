//! Where a plan's slots are not what their layouts and the panel give: a plan
//! that was changed by hand.

use super::keyed::keyed_shape;
use super::shape::{CardRun, Run, Shape};
use super::unsettled::open_parities;
use super::value::{PanelRun, Plan, PlanSlot};
use crate::layout::Layout;

impl Plan {
    /// What the slots do otherwise than their layouts and the panel's limits
    /// give, as sentences; none for a plan as it was made.
    pub fn departures(&self) -> Vec<String> {
        self.slots.iter().flat_map(|slot| self.departures_of(slot)).collect()
    }

    /// Whether a slot (from 1) reads another run than one of its layouts'
    /// numbers.
    pub(crate) fn reads_astray(&self, slot: usize) -> bool {
        let slot = self.slots.get(slot.wrapping_sub(1));
        slot.is_some_and(|slot| !self.runs_of(slot).contains(&self.run(slot.card)))
    }

    fn departures_of(&self, slot: &PlanSlot) -> Vec<String> {
        let mut out = Vec::new();
        let number = slot.slot;
        let runs = self.runs_of(slot);
        if !runs.contains(&self.run(slot.card)) {
            let known: Vec<String> = runs.iter().map(|run| self.words(*run)).collect();
            out.push(format!(
                "slot {number} reads the card number at {}, and its layouts give {}",
                self.words(self.run(slot.card)),
                known.join(" or ")
            ));
        }
        let Some(card) = CardRun::new(self.run(slot.card), &self.panel) else { return out };
        let given = Shape::new(self.layouts_of(slot).into_iter(), card, &self.panel);
        let site = slot.site.map(|site| self.run(site));
        // Where all slots read it in one place, one may have to do without.
        let does_without = self.panel.one_site_place && site.is_none();
        if site != given.site && !does_without {
            let words = |run: Option<Run>| run.map_or("none".to_owned(), |run| self.words(run));
            out.push(format!(
                "slot {number} reads the site code at {}, and its layouts give {}",
                words(site),
                words(given.site)
            ));
        }
        let keyed = keyed_shape(slot, &self.panel, &self.table);
        let open = |layout: &&Layout| open_parities(layout).next().is_some();
        let left_out = !slot.parity && self.layouts_of(slot).iter().any(open);
        if !left_out && keyed.is_some_and(|keyed| keyed.checks != given.checks) {
            let what = if slot.parity { "parity that its cards do not share" } else { "no parity" };
            out.push(format!("slot {number} checks {what}"));
        }
        if site.is_some() && self.panel.checks_site && slot.sites.is_empty() {
            out.push(format!("slot {number} admits any site code, and the panel checks them"));
        }
        out
    }

    fn layouts_of(&self, slot: &PlanSlot) -> Vec<&Layout> {
        slot.layouts.iter().filter_map(|id| self.table.layout(id)).collect()
    }

    /// The runs a slot for these layouts may read.
    fn runs_of(&self, slot: &PlanSlot) -> Vec<Run> {
        let runs = CardRun::candidates(self.layouts_of(slot).into_iter(), &self.panel);
        runs.into_iter().map(|card| card.run).collect()
    }

    fn run(&self, run: PanelRun) -> Run {
        Run { start: run.start.saturating_sub(self.panel.first_bit), len: run.length }
    }

    /// A run as the panel counts.
    fn words(&self, run: Run) -> String {
        let start = run.start + self.panel.first_bit;
        format!("{start}-{}", start + run.len - 1)
    }
}
