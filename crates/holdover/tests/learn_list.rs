//! The old system's list against captures whose rows are not known: found where it
//! is the cards', and never where it is not.
//!
//! Source of the reference: the simulation knows which number is whose. Departures:
//! cards that are not listed, cards of full boxes, constants, lists of other things.

use std::sync::Arc;

use fastrand::Rng;
use holdover::bits::Capture;
use holdover::learn::{ListColumn, match_list};
use rayon::prelude::*;

use crate::whole::some;

/// Where the numbers of cards come from.
#[derive(Debug, Clone, Copy)]
enum Stock {
    /// Anywhere.
    Spread,
    /// Boxes of a hundred, three in ten handed out.
    Boxes,
    /// One box from 1 on, all handed out.
    Full,
}

fn numbers(rng: &mut Rng, stock: Stock, count: usize) -> Vec<u128> {
    let boxes: Vec<u128> = (0..6).map(|_| rng.u128(0..650) * 100).collect();
    let mut all: Vec<u128> = Vec::new();
    while all.len() < count {
        let number = match stock {
            Stock::Spread => rng.u128(0..65_536),
            Stock::Boxes => boxes[rng.usize(..6)] + rng.u128(0..100),
            Stock::Full => all.len() as u128 + 1,
        };
        if !all.contains(&number) {
            all.push(number);
        }
    }
    rng.shuffle(&mut all);
    all
}

/// A card of 30 bits: a site code in bits 4-11, the number in bits 13-28, the
/// others as it comes.
fn card(rng: &mut Rng, number: u128) -> Capture {
    let noise = rng.u128(..) & 0x3804_0003;
    let word = noise | 33 << 19 | number << 2;
    Capture::from_bits((0..30).map(|at| word >> (29 - at) & 1 == 1)).unwrap()
}

fn column(numbers: impl IntoIterator<Item = u128>) -> ListColumn {
    ListColumn { name: Arc::from("number"), numbers: numbers.into_iter().map(Some).collect() }
}

/// Sites whose list holds the numbers and a constant: found, found wrongly.
fn found(stock: Stock, offset: u128, sites: u64) -> (u64, u64) {
    let tells = (0..sites).into_par_iter().map(|seed| {
        let rng = &mut Rng::with_seed(7_000 + seed);
        let all = numbers(rng, stock, 180);
        // One capture in ten is of a card the old system never had.
        let cards: Vec<Capture> = all[..24].iter().map(|n| card(rng, *n)).collect();
        let listed = all[2..].iter().map(|n| n + offset);
        let found = match_list(&cards, &[column(1..=178), column(listed)]);
        let Some(found) = found else { return (0, 0) };
        let rows = found.rows.iter().enumerate();
        let right = |(at, row): (usize, &Option<usize>)| row.is_none_or(|row| row + 2 == at);
        let right = found.column == 1 && rows.clone().all(right);
        (u64::from(right), u64::from(!right))
    });
    tells.reduce(|| (0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
}

/// Sites whose list is of other things: how many are taken for the cards'.
fn false_ones(cards: Stock, list: Stock, sites: u64) -> u64 {
    let told = (0..sites).into_par_iter().filter(|seed| {
        let rng = &mut Rng::with_seed(9_000 + seed);
        let captures: Vec<Capture> =
            numbers(rng, cards, 24).iter().map(|n| card(rng, *n)).collect();
        let columns = [column(1..=180), column(numbers(rng, list, 180))];
        match_list(&captures, &columns).is_some()
    });
    told.count() as u64
}

#[test]
fn a_list_of_the_cards_is_found() {
    for (stock, offset, least) in
        [(Stock::Spread, 0, 1.0), (Stock::Boxes, 0, 0.9), (Stock::Spread, 4_000_000, 0.9)]
    {
        let all = some(100);
        let (right, wrong) = found(stock, offset, all);
        println!("{stock:?} plus {offset}: {right} right, {wrong} wrong of {all}");
        assert_eq!(wrong, 0, "{stock:?} plus {offset}");
        assert!(right as f64 >= least * all as f64, "{stock:?} plus {offset}: {right} of {all}");
    }
}

/// Numbers from 1 on are everybody's: cards, people, rows. Nothing is claimed.
#[test]
fn a_list_of_other_things_is_not() {
    for cards in [Stock::Spread, Stock::Boxes, Stock::Full] {
        for list in [Stock::Spread, Stock::Boxes, Stock::Full] {
            if matches!((cards, list), (Stock::Full, Stock::Full)) {
                continue;
            }
            let all = some(60);
            let told = false_ones(cards, list, all);
            println!("cards {cards:?}, list {list:?}: {told} of {all}");
            assert_eq!(told, 0, "cards {cards:?}, list {list:?}");
        }
    }
    assert_eq!(found(Stock::Full, 0, some(60)), (0, 0));
}
