//! Plans against the model written out the slow way.

use crate::plan_brute::checks::is_best;
use crate::plan_brute::{self, sites};

fn check(seed: u64, most_layouts: usize, most_cards: u128) -> usize {
    let (table, site, roster) = sites::site_with(seed, most_layouts, most_cards);
    is_best(&table, &site, &roster, &format!("seed {seed}"))
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

/// Batches whose members no linear map gives are listed card by card.
#[test]
fn best_of_sites_with_numbers_in_digits() {
    let best = |seed| {
        let (table, site, roster) = sites::site_of_digits(seed);
        is_best(&table, &site, &roster, &format!("digits, seed {seed}"))
    };
    let weighed: usize = (40_000..42_000).map(best).sum();
    assert!(weighed > 10_000, "{weighed}");
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
    let weighed: usize = (60_000..61_500).map(best).sum();
    assert!(weighed > 5_000 && forms > 100, "{weighed} {forms}");
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
