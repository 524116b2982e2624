//! The panel, simulated bit by bit from what was keyed into it.

use crate::bits::Capture;
use crate::layout::{Check, Layout};
use crate::plan::{Big, PanelRun, Plan, PlanSlot};
use crate::site::{Identity, KeptDigits};

/// What the panel makes of a capture in one slot.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Reading {
    /// The slot, from 1.
    pub slot: usize,
    /// What the panel knows a person by beside the number: the site code or
    /// the slot.
    pub key: Big,
    /// The number as the panel shows it.
    pub panel_number: String,
}

/// The simulated panel.
pub(super) struct Simulation<'p> {
    plan: &'p Plan,
    /// Each slot's layouts.
    layouts: Vec<Vec<&'p Layout>>,
}

impl<'p> Simulation<'p> {
    pub fn new(plan: &'p Plan) -> Simulation<'p> {
        let layouts = |slot: &PlanSlot| {
            slot.layouts.iter().filter_map(|id| plan.table().layout(id)).collect()
        };
        Simulation { plan, layouts: plan.slots().iter().map(layouts).collect() }
    }

    /// The slot that was made for a layout, from 1.
    pub fn slot_for(&self, id: &str) -> Option<usize> {
        let slots = self.plan.slots();
        slots.iter().find(|slot| slot.layouts.iter().any(|own| own == id)).map(|slot| slot.slot)
    }

    /// What a slot (from 1) makes of a capture.
    ///
    /// # Errors
    /// Why the slot refuses it.
    pub fn read(&self, slot: usize, bits: &Capture) -> Result<Reading, String> {
        let index = slot.saturating_sub(1);
        let Some(keyed) = self.plan.slots().get(index) else {
            return Err(format!("there is no slot {slot}"));
        };
        let refuse = |why: String| Err(format!("slot {slot}: {why}"));
        if bits.len() != keyed.length {
            return refuse(format!("expected {} bits, found {}", keyed.length, bits.len()));
        }
        if keyed.parity {
            // Layouts that share a slot with parity have the same checks.
            let checks = self.layouts[index].first().map_or(&[][..], |layout| layout.checks());
            if let Some(failed) = checks.iter().find(|check| !holds(check, bits)) {
                return refuse(format!("{failed} fails"));
            }
        }
        let code = keyed.site.map_or(Big::ZERO, |run| self.value(run, bits));
        if !keyed.sites.is_empty() && !keyed.sites.contains(&code) {
            return refuse(format!("site code {code} is not admitted"));
        }
        let key = match self.plan.panel().identity {
            Identity::Number => Big::ZERO,
            Identity::SiteAndNumber => code,
            Identity::SlotAndNumber => Big::from(slot as u128),
        };
        let panel_number = self.panel_number(keyed, bits);
        let digits = panel_number.trim_start_matches('0');
        if digits.len() > keyed.digits {
            let most = keyed.digits;
            return refuse(format!("the number {digits} has more than {most} digits"));
        }
        // A number of 20 digits or more is larger than any limit.
        let number = if digits.is_empty() { Ok(0) } else { digits.parse::<u64>() };
        if let Some(most) = self.plan.panel().max_number
            && number.map_or(true, |number| number > most)
        {
            return refuse(format!("the number {digits} exceeds the panel's largest, {most}"));
        }
        Ok(Reading { slot, key, panel_number })
    }

    /// The number of a run, bit by bit.
    fn value(&self, run: PanelRun, bits: &Capture) -> Big {
        let start = run.start.saturating_sub(self.plan.panel().first_bit);
        let run = bits.bits().skip(start).take(run.length);
        run.fold(Big::ZERO, |n, bit| n.shl(1).add(if bit { Big::ONE } else { Big::ZERO }))
    }

    /// The digits the panel shows, cut as it cuts them.
    fn panel_number(&self, slot: &PlanSlot, bits: &Capture) -> String {
        let largest = Big::power_of_two(slot.card.length).sub(Big::ONE).to_string();
        let width = largest.len();
        let digits = format!("{:0>width$}", self.value(slot.card, bits).to_string());
        match self.plan.panel().kept_digits {
            KeptDigits::High => digits.chars().take(slot.digits).collect(),
            // What is too long is refused as it is.
            KeptDigits::Refuse => {
                let surplus = digits.len() - digits.trim_start_matches('0').len();
                digits.chars().skip(surplus.min(width - slot.digits.min(width))).collect()
            }
            KeptDigits::Low => digits.chars().skip(width - slot.digits.min(width)).collect(),
        }
    }
}

/// Whether an even or odd check holds; others are not a panel's.
fn holds(check: &Check, bits: &Capture) -> bool {
    let Check::Parity { odd, bit, over } = check else { return true };
    let at = |offset: usize| bits.bit(offset).unwrap_or(false);
    let ones = over.offsets().filter(|offset| at(*offset)).count();
    (ones + usize::from(at(bit.offset()))) % 2 == usize::from(*odd)
}
