//! Slots of an earlier plan, keyed in already: they stay as they are, and what
//! is new goes beside them.

use std::collections::BTreeSet;
use std::rc::Rc;

use super::big::Big;
use super::catalogue::{Catalogue, Slot};
use super::error::PlanError;
use super::keyed::keyed_shape;
use super::value::{NotKept, Plan, PlanSlot};
use crate::layout::Table;

/// The slots of an earlier plan that stay, with the cards that are theirs now,
/// and those that cannot.
pub(crate) fn keep(
    catalogue: &mut Catalogue<'_, '_>,
    table: &Table,
    earlier: &Plan,
) -> Result<(Vec<Slot>, Vec<NotKept>), PlanError> {
    let mut kept: Vec<Slot> = Vec::new();
    let mut refused = Vec::new();
    for keyed in earlier.slots() {
        match one(catalogue, table, earlier, keyed, &kept)? {
            Ok(slot) => kept.push(slot),
            Err(why) => refused.push(NotKept { slot: keyed.clone(), why }),
        }
    }
    Ok((kept, refused))
}

fn one(
    catalogue: &mut Catalogue<'_, '_>,
    table: &Table,
    earlier: &Plan,
    keyed: &PlanSlot,
    kept: &[Slot],
) -> Result<Result<Slot, String>, PlanError> {
    let problem = catalogue.problem;
    let (panel, before) = (problem.panel, earlier.panel());
    let refuse = |why: &str| Ok(Err(why.to_owned()));
    if panel.slots.is_none_or(|slots| kept.len() >= slots) {
        return refuse("the panel has no more slots");
    }
    if (panel.identity, panel.first_bit) != (before.identity, before.first_bit) {
        return refuse("the panel counts bits, or knows people, in another way");
    }
    if keyed.length > panel.max_length {
        return refuse("the panel reads no cards as long");
    }
    let changed = |id: &&String| table.layout(id) != earlier.table().layout(id);
    if let Some(id) = keyed.layouts.iter().find(changed) {
        return Ok(Err(format!("layout {id:?} is not what it was")));
    }
    if keyed.parity && !panel.checks_parity {
        return refuse("the panel checks no parity");
    }
    if !keyed.sites.is_empty() && !panel.checks_site {
        return refuse("the panel checks no site codes");
    }
    let was = keyed_shape(keyed, before, table);
    let Some(shape) = keyed_shape(keyed, panel, table) else {
        return refuse("the panel cannot read its card run");
    };
    if was.as_ref() != Some(&shape) || shape.card.digits != keyed.digits {
        return refuse("the panel keeps other digits of its numbers");
    }
    let place = kept.iter().find_map(|slot| slot.shape.site);
    if panel.one_site_place && shape.site.is_some() && place.is_some_and(|p| Some(p) != shape.site)
    {
        return refuse("the panel reads the site code in another place");
    }
    let own = |id: &String| problem.kinds.iter().position(|kind| kind.layout.id() == id);
    let mut kinds: Vec<usize> = keyed.layouts.iter().filter_map(own).collect();
    kinds.sort_unstable();
    if kinds.is_empty() {
        return refuse("it has no card any more");
    }
    let sites = match shape.site.filter(|_| !keyed.sites.is_empty()) {
        Some(run) => {
            let mut sites: BTreeSet<Big> = keyed.sites.iter().copied().collect();
            sites.extend(catalogue.codes_of(&kinds, run)?);
            Some(Rc::new(sites.into_iter().collect()))
        }
        None => None,
    };
    Ok(Ok(Slot { kinds, shape, sites, place: Some(keyed.slot) }))
}
