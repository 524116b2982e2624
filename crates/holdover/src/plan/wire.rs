//! Plans as JSON: exactly the keys other programs read, and what is read back
//! is checked.

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

use super::big::{Big, count};
use super::exposure::{Patterns, admitted_bits, chance};
use super::keyed::keyed_shape;
use super::problem::{check_panel, slots_of};
use super::shape::{digits_needed, parities};
use super::value::{Conflict, ConflictKind, Exposure, Lost, Objective, PanelRun, Plan, PlanSlot};
use crate::layout::{Layout, Table};
use crate::site::{CardBatch, Panel, State};

/// A batch as the site file writes it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Batch {
    layout: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    site: Option<Big>,
    cards: String,
    state: State,
}

impl From<&CardBatch> for Batch {
    fn from(batch: &CardBatch) -> Batch {
        Batch {
            layout: batch.layout.clone(),
            site: batch.site.map(Big::from),
            cards: format!("{}-{}", batch.first, batch.last),
            state: batch.state,
        }
    }
}

impl TryFrom<Batch> for CardBatch {
    type Error = String;

    fn try_from(batch: Batch) -> Result<CardBatch, String> {
        let number = |text: &str| text.parse::<u128>().ok();
        let ends = batch.cards.split_once('-').map(|(first, last)| (number(first), number(last)));
        let Some((Some(first), Some(last))) = ends else {
            return Err("a batch's cards are written \"4000-4999\"".to_owned());
        };
        let site = match batch.site {
            None => None,
            Some(site) => Some(site.small().ok_or("a batch's site code is over 128 bits")?),
        };
        Ok(CardBatch { layout: batch.layout, site, first, last, state: batch.state })
    }
}

#[derive(Serialize)]
struct Written<'a> {
    slots: &'a [PlanSlot],
    panel: &'a Panel,
    table: &'a [Layout],
    batches: Vec<Batch>,
    #[serde(with = "count")]
    kept: u128,
    #[serde(with = "count")]
    boxed: u128,
    #[serde(with = "count")]
    blocked: u128,
    lost: &'a [Lost],
    conflicts: &'a [Conflict],
    exposure: &'a [Exposure],
    objective: &'a Objective,
    gap: &'a Objective,
    cautions: &'a [String],
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Read {
    slots: Vec<PlanSlot>,
    panel: Panel,
    table: Vec<Layout>,
    batches: Vec<Batch>,
    #[serde(with = "count")]
    kept: u128,
    #[serde(with = "count")]
    boxed: u128,
    #[serde(with = "count")]
    blocked: u128,
    lost: Vec<Lost>,
    conflicts: Vec<Conflict>,
    exposure: Vec<Exposure>,
    objective: Objective,
    gap: Objective,
    cautions: Vec<String>,
}

impl Serialize for Plan {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Plan {
            slots, panel, table, lost, conflicts, exposure, objective, gap, cautions, ..
        } = self;
        let table = table.layouts();
        let (kept, boxed, blocked) = (self.kept, self.boxed, self.blocked);
        Written {
            slots,
            panel,
            table,
            batches: self.batches.iter().map(Batch::from).collect(),
            kept,
            boxed,
            blocked,
            lost,
            conflicts,
            exposure,
            objective,
            gap,
            cautions,
        }
        .serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Plan {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Plan, D::Error> {
        let read = Read::deserialize(deserializer)?;
        let Read {
            slots,
            panel,
            kept,
            boxed,
            blocked,
            lost,
            conflicts,
            mut exposure,
            mut objective,
            gap,
            cautions,
            ..
        } = read;
        let table = Table::new(read.table).map_err(D::Error::custom)?;
        check_panel(&panel).map_err(D::Error::custom)?;
        let most = slots_of(&panel).map_err(D::Error::custom)?;
        if slots.len() > most {
            return Err(D::Error::custom(format!(
                "{} slots, and the panel has {most}",
                slots.len()
            )));
        }
        let batches: Result<Vec<CardBatch>, String> =
            read.batches.into_iter().map(CardBatch::try_from).collect();
        let batches = batches.map_err(D::Error::custom)?;
        let mut served = Vec::new();
        for (i, slot) in slots.iter().enumerate() {
            let wrong = |what: String| D::Error::custom(format!("slot {}: {what}", i + 1));
            if slot.slot != i + 1 {
                return Err(wrong(format!("expected its number, found {}", slot.slot)));
            }
            check_slot(slot, &panel, &table).map_err(wrong)?;
            for id in &slot.layouts {
                if served.contains(id) {
                    return Err(wrong(format!("layout {id:?} has a slot already")));
                }
                served.push(id.clone());
            }
        }
        for conflict in &conflicts {
            let two = conflict.kind == ConflictKind::TwoSlots;
            if two != conflict.slots.is_some() || two == conflict.panel_number.is_some() {
                return Err(D::Error::custom(format!(
                    "a {} conflict has {}",
                    conflict.kind,
                    if two { "slots and no panel number" } else { "a panel number and no slots" }
                )));
            }
        }
        restore_shares(&slots, (&panel, &table), &mut exposure, &mut objective)
            .map_err(D::Error::custom)?;
        Ok(Plan {
            slots,
            panel,
            table,
            batches,
            kept,
            boxed,
            blocked,
            lost,
            conflicts,
            exposure,
            objective,
            cautions,
            risks: Vec::new(),
            gap,
            not_kept: Vec::new(),
        })
    }
}

/// Shares are what their patterns say, to the last bit, however their text
/// was rounded.
fn restore_shares(
    slots: &[PlanSlot],
    (panel, table): (&Panel, &Table),
    exposure: &mut [Exposure],
    objective: &mut Objective,
) -> Result<(), String> {
    if exposure.len() != slots.len() {
        return Err(format!("{} slots and {} exposures", slots.len(), exposure.len()));
    }
    let mut sum = Big::ZERO;
    for (slot, exposure) in slots.iter().zip(exposure) {
        let admitted_bits =
            keyed_shape(slot, panel, table).map_or(0, |shape| admitted_bits(&shape));
        let patterns = Patterns { admitted_bits, opening: exposure.opening_patterns };
        if exposure.slot != slot.slot || exposure.admitted_patterns != patterns.admitted() {
            let (slot, admitted) = (slot.slot, patterns.admitted());
            return Err(format!(
                "slot {slot} admits {admitted} patterns, and its exposure differs"
            ));
        }
        if exposure.opening_patterns > exposure.admitted_patterns {
            return Err(format!("slot {}: more patterns open than are admitted", slot.slot));
        }
        exposure.stranger_opens = patterns.chance();
        sum = sum.add(patterns.share());
    }
    objective.exposure = chance(sum);
    Ok(())
}

fn check_slot(slot: &PlanSlot, panel: &Panel, table: &Table) -> Result<(), String> {
    if slot.length > panel.max_length {
        return Err(format!("{} bits, and the panel reads {}", slot.length, panel.max_length));
    }
    if slot.layouts.is_empty() {
        return Err("no layout".to_owned());
    }
    for id in &slot.layouts {
        match table.layout(id) {
            None => return Err(format!("layout {id:?} is not in the plan's table")),
            Some(layout) if layout.length() != slot.length => {
                return Err(format!(
                    "{id:?} has {} bits, the slot {}",
                    layout.length(),
                    slot.length
                ));
            }
            Some(_) => {}
        }
    }
    let inside = |run: &PanelRun| {
        let end = run.start.checked_sub(panel.first_bit)?.checked_add(run.length)?;
        (run.length > 0 && end <= slot.length).then_some(())
    };
    for (name, run) in [("card", Some(&slot.card)), ("site", slot.site.as_ref())] {
        if run.is_some_and(|run| inside(run).is_none()) {
            return Err(format!("its {name} run leaves the {} bits", slot.length));
        }
    }
    let digits = digits_needed(slot.card.length).min(panel.max_digits);
    if slot.digits != digits {
        return Err(format!("expected {digits} digits, found {}", slot.digits));
    }
    if slot.parity && !panel.checks_parity {
        return Err("the panel checks no parity".to_owned());
    }
    if slot.parity
        && slot
            .layouts
            .iter()
            .filter_map(|id| table.layout(id))
            .all(|layout| parities(layout).is_empty())
    {
        return Err(
            "parity is to be checked, and its cards have none: the panel would refuse them all"
                .to_owned(),
        );
    }
    if slot.site.is_none() && !slot.sites.is_empty() {
        return Err("site codes to admit, and no site run".to_owned());
    }
    if slot.card.length > 128 && slot.digits > 38 {
        return Err("a run over 128 bits with over 38 digits is no panel's".to_owned());
    }
    Ok(())
}
