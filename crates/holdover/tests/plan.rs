//! Plans against the model written out the slow way.

use crate::Rng;
use crate::plan_brute::checks::{is_best, proof_agrees};
use crate::plan_brute::{
    self, Card, Held, Slot, cards, conflicts, conflicts_of, head, opening, share, simulate, sites,
    slots_of,
};
use crate::whole::some;
use holdover::layout::{Check, Layout, LayoutSpec, PlaceIn, Table, Unsettled};
use holdover::plan::{Plan, RosterRow, plan};
use holdover::site::{Panel, Site};

fn check(seed: u64, most_layouts: usize, most_cards: u128) -> usize {
    let (table, site, roster) = sites::site_with(seed, most_layouts, most_cards);
    is_best(&table, &site, &roster, &format!("seed {seed}"))
}

#[test]
fn best_of_small_sites() {
    let weighed: usize = (0..some(3000)).map(|seed| check(seed, 4, 12)).sum();
    assert!(weighed as u64 > some(20_000), "{weighed}");
}

#[test]
fn best_of_sites_with_six_layouts() {
    let weighed: usize = (10_000..10_000 + some(400)).map(|seed| check(seed, 6, 12)).sum();
    assert!(weighed as u64 > some(40_000), "{weighed}");
}

/// Batches that are cut into affine sets, card by card all the same.
#[test]
fn best_of_sites_with_long_batches() {
    let weighed: usize = (20_000..20_000 + some(1000)).map(|seed| check(seed, 3, 128)).sum();
    assert!(weighed as u64 > some(4_000), "{weighed}");
}

/// Batches whose members no linear map gives are listed card by card.
#[test]
fn best_of_sites_with_numbers_in_digits() {
    let best = |seed| {
        let (table, site, roster) = sites::site_of_digits(seed);
        is_best(&table, &site, &roster, &format!("digits, seed {seed}"))
    };
    let weighed: usize = (40_000..40_000 + some(2000)).map(best).sum();
    assert!(weighed as u64 > some(10_000), "{weighed}");
}

/// The same layouts, of some of which an even or odd check is not settled.
fn unsettle(table: &Table, rng: &mut Rng) -> Table {
    let one = |layout: &Layout| {
        let parity = |i: &usize| matches!(layout.checks()[*i], Check::Parity { .. });
        let open = (0..layout.checks().len()).filter(parity).filter(|_| rng.bool());
        let unsettled = open.map(|i| Unsettled { part: PlaceIn::Check(i), open: None }).collect();
        Layout::new(LayoutSpec { unsettled, ..layout.spec().clone() }).unwrap()
    };
    Table::new(table.layouts().iter().map(one).collect::<Vec<_>>()).unwrap()
}

/// A plan's aims: what is counted, and the exposure.
fn aims(slots: &[Slot], cards: &[Card], panel: &Panel) -> [u128; 7] {
    let simulated = simulate(slots, cards, panel);
    let [a, b, c, d, e, f] = head(&simulated, slots, cards, panel);
    [a, b, c, d, e, f, share(&opening(&simulated, slots, panel, &mut Held::new()))]
}

/// What is not settled changes nothing but whether slots check parity, and no
/// aim for the worse; a slot that checks it all the same has to. The answer is
/// how many slots leave it out, and how many must not.
fn leaves_out(table: &Table, open: &Table, site: &Site, roster: &[RosterRow]) -> [usize; 2] {
    let (settled, made) = [table, open].map(|table| plan(table, site, roster).unwrap()).into();
    let bare = |plan: &Plan| {
        let slots = plan.slots().iter().cloned();
        slots.map(|slot| holdover::plan::PlanSlot { parity: false, ..slot }).collect::<Vec<_>>()
    };
    assert_eq!(bare(&settled), bare(&made));
    let panel = &site.panel;
    let (cards, _) = cards(open, site, roster);
    let slots = slots_of(open, panel, &cards, &made);
    assert_eq!(conflicts_of(&made), conflicts(&simulate(&slots, &cards, panel), &cards));
    let all = slots_of(table, panel, &cards, &settled);
    let (before, now) = (aims(&all, &cards, panel), aims(&slots, &cards, panel));
    assert!(before[..6] == now[..6] && now[6] <= before[6], "{before:?} {now:?}");
    let objective = made.objective();
    assert_eq!(objective.exposure, now[6] as f64 / (1u128 << 64) as f64);
    assert_eq!(settled.objective().in_conflict, objective.in_conflict);
    let mut counted = [0, 0];
    for (at, slot) in made.slots().iter().enumerate() {
        let doubt = slots[at].group.iter().any(|l| !open.layouts()[*l].unsettled().is_empty());
        assert!(doubt || slot.parity == settled.slots()[at].parity);
        let name = format!("slot {}: of ", slot.slot);
        let about =
            |caution: &&String| caution.starts_with(&name) && caution.contains(" not settled");
        let said = made.cautions().iter().any(|caution| about(&caution));
        assert_eq!(said, doubt && settled.slots()[at].parity, "{:#?}", made.cautions());
        if doubt && slot.parity {
            let mut without = slots.clone();
            without[at].checks.clear();
            let worse = aims(&without, &cards, panel);
            assert!((0..7).any(|aim| worse[aim] > now[aim]), "{worse:?} {now:?}");
        }
        if doubt && settled.slots()[at].parity {
            counted[usize::from(slot.parity)] += 1;
        }
    }
    counted
}

#[test]
fn what_is_not_settled_is_left_unchecked_where_the_aims_allow() {
    let mut counted = [0, 0];
    for seed in 50_000..50_000 + some(1000) {
        let (table, site, roster) = sites::site_with(seed, 4, 12);
        let open = unsettle(&table, &mut Rng::with_seed(seed));
        let more = leaves_out(&table, &open, &site, &roster);
        counted = [counted[0] + more[0], counted[1] + more[1]];
        proof_agrees(&open, &site, &roster, &format!("open, seed {seed}"));
    }
    assert!(counted[0] > some(200) as usize && counted[1] > some(10) as usize, "{counted:?}");
}

/// One card in two forms is no conflict with itself.
#[test]
fn best_of_sites_with_serial_numbers() {
    let mut forms = 0;
    let best = |seed| {
        let (table, site, roster) = sites::site_of_serials(seed);
        let (cards, _) = plan_brute::cards(&table, &site, &roster);
        forms += cards.iter().enumerate().filter(|(i, card)| card.form != *i).count();
        is_best(&table, &site, &roster, &format!("serial numbers, seed {seed}"))
    };
    let weighed: usize = (60_000..60_000 + some(1500)).map(best).sum();
    assert!(weighed as u64 > some(5_000) && forms as u64 > some(100), "{weighed} {forms}");
}

/// Run once in a while: minutes.
#[test]
#[ignore = "minutes"]
fn best_of_many_sites() {
    let small: usize = (100_000..160_000).map(|seed| check(seed, 4, 12)).sum();
    let long: usize = (300_000..310_000).map(|seed| check(seed, 3, 128)).sum();
    let large: usize = (200_000..204_000).map(|seed| check(seed, 6, 12)).sum();
    assert!(small + long + large > 1_000_000);
}
