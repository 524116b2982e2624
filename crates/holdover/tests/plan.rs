//! Plans against the model written out the slow way.

#[allow(dead_code, reason = "each test uses a part of it")]
mod plan_brute;

use holdover::plan::plan;
use plan_brute::{best, cards, conflicts, conflicts_of, head, opening, simulate, sites, slots_of};

/// A plan is the best there is, and says of itself what the panel would do.
fn check(seed: u64, most_layouts: usize, most_cards: u128) -> usize {
    let (table, site, roster) = sites::site_with(seed, most_layouts, most_cards);
    let plan = plan(&table, &site, &roster).unwrap_or_else(|e| panic!("seed {seed}: {e}"));
    let (cards, unfit) = cards(&table, &site, &roster);
    let panel = &site.panel;
    let (wanted, weighed) = best(&table, panel, &cards, unfit);
    let objective = plan.objective();
    let head_of_plan = [
        objective.lost,
        objective.in_conflict,
        objective.renumbered,
        objective.boxed_lost,
        objective.boxed_in_conflict,
    ];
    let exposure = wanted.1 as f64 / (1u128 << 64) as f64;
    assert_eq!(
        (head_of_plan, objective.exposure, objective.slots),
        (wanted.0, exposure, wanted.2),
        "seed {seed}: {panel:?}"
    );
    assert_eq!(plan.kept(), cards.iter().filter(|card| !card.boxed).count() as u128 + unfit[0]);
    assert!(plan.gap().is_none());
    let lost: u128 = plan.lost().iter().map(|lost| lost.cards).sum();
    assert_eq!(lost, objective.lost, "seed {seed}");
    // What the plan says of its own slots.
    let slots = slots_of(&table, panel, &cards, &plan);
    let simulated = simulate(&slots, &cards, panel);
    let mut own = head(&simulated, &slots, &cards, panel);
    own[0] += unfit[0];
    own[3] += unfit[1];
    assert_eq!(own, head_of_plan, "seed {seed}");
    assert_eq!(conflicts_of(&plan), conflicts(&simulated, &cards), "seed {seed}: {panel:?}");
    for (exposure, (admitted, opening)) in
        plan.exposure().iter().zip(opening(&simulated, &slots, panel))
    {
        assert_eq!(exposure.admitted_patterns.small(), Some(admitted));
        assert_eq!(exposure.opening_patterns.small(), Some(opening), "seed {seed}");
        assert_eq!(exposure.stranger_opens, opening as f64 / admitted as f64);
    }
    weighed
}

#[test]
fn best_of_small_sites() {
    let weighed: usize = (0..3000).map(|seed| check(seed, 4, 12)).sum();
    assert!(weighed > 20_000, "{weighed}");
}

#[test]
fn best_of_sites_with_six_layouts() {
    let weighed: usize = (10_000..10_400).map(|seed| check(seed, 6, 12)).sum();
    assert!(weighed > 40_000, "{weighed}");
}

/// Batches that are cut into affine sets, card by card all the same.
#[test]
fn best_of_sites_with_long_batches() {
    let weighed: usize = (20_000..21_000).map(|seed| check(seed, 3, 128)).sum();
    assert!(weighed > 4_000, "{weighed}");
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
