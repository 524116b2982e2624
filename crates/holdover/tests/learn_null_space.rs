//! The null space kept directly, held to plain Gaussian elimination and to the
//! frequency of full rank.

use holdover::bits::gf2::Relation;
use holdover::bits::{Capture, Wide};
use holdover::learn::{NullSpace, null_space};
use proptest::prelude::*;

/// Relations in reduced form by eliminating the rows: the textbook way.
fn eliminate(rows: &[Vec<bool>], length: usize) -> Vec<(Vec<bool>, bool)> {
    // Rows with a column of ones behind: an affine relation is a linear one.
    let mut matrix: Vec<Vec<bool>> = rows.iter().map(|row| [&row[..], &[true]].concat()).collect();
    let mut pivots = Vec::new();
    // Free variables should be as early as pivots of the relations are: the
    // columns are eliminated from the last.
    for column in (0..=length).rev() {
        let rank = pivots.len();
        let Some(found) = (rank..matrix.len()).find(|&row| matrix[row][column]) else { continue };
        matrix.swap(rank, found);
        let pivot = matrix[rank].clone();
        for (i, row) in matrix.iter_mut().enumerate() {
            if i != rank && row[column] {
                row.iter_mut().zip(&pivot).for_each(|(a, b)| *a ^= b);
            }
        }
        pivots.push(column);
    }
    let free = (0..length).filter(|column| !pivots.contains(column));
    free.map(|column| {
        let mut bits = vec![false; length];
        bits[column] = true;
        let mut constant = false;
        for (row, &pivot) in matrix.iter().zip(&pivots) {
            if row[column] {
                match pivot == length {
                    true => constant = true,
                    false => bits[pivot] = true,
                }
            }
        }
        (bits, constant)
    })
    .collect()
}

fn told(space: &NullSpace) -> Vec<(Vec<bool>, bool)> {
    let length = space.length();
    let relation = |r: &Relation| ((0..length).map(|at| r.bits.bit(at)).collect(), r.constant);
    space.relations().iter().map(relation).collect()
}

/// Rows of which the first few are free and the rest follow from them.
fn rows() -> impl Strategy<Value = (usize, Vec<Vec<bool>>)> {
    (1usize..=100, 0usize..=40).prop_flat_map(|(length, free)| {
        let base =
            proptest::collection::vec(proptest::collection::vec(any::<bool>(), length), 0..=free);
        let extracts =
            proptest::collection::vec(proptest::collection::vec(any::<bool>(), free), 1..300);
        let origin = proptest::collection::vec(any::<bool>(), length);
        let strange = proptest::option::weighted(0.3, (0usize..300, 0..length));
        (base, extracts, origin, strange).prop_map(move |(base, extracts, origin, strange)| {
            let mut rows: Vec<Vec<bool>> = extracts
                .iter()
                .map(|extract| {
                    let mut row = origin.clone();
                    for (basis, _) in base.iter().zip(extract).filter(|(_, picked)| **picked) {
                        row.iter_mut().zip(basis).for_each(|(a, b)| *a ^= b);
                    }
                    row
                })
                .collect();
            // One row off the rest, late enough to be met by the quick way.
            if let Some((row, at)) = strange {
                let row = row % rows.len();
                rows[row][at] ^= true;
            }
            (length, rows)
        })
    })
}

proptest! {
    #[test]
    fn same_as_elimination((length, rows) in rows()) {
        let captures: Vec<Capture> =
            rows.iter().map(|row| Capture::from_bits(row.iter().copied()).unwrap()).collect();
        let space = null_space(&captures);
        for relation in space.relations() {
            prop_assert!(captures.iter().all(|capture| relation.holds(capture.wide())));
        }
        prop_assert_eq!(told(&space), eliminate(&rows, length));
    }
}

/// xorshift64* (Vigna, "An experimental exploration of Marsaglia's xorshift
/// generators, scrambled", ACM Transactions on Mathematical Software 42(4),
/// 2016; from memory).
fn random(next: &mut u64) -> u64 {
    *next ^= *next >> 12;
    *next ^= *next << 25;
    *next ^= *next >> 27;
    next.wrapping_mul(0x2545_F491_4F6C_DD1D)
}

/// Rows of `length` bits, the first bit of each the highest.
fn packed(rows: &[u64], length: usize) -> NullSpace {
    let capture = |row: &u64| Capture::from_number(u128::from(row >> (64 - length)), length);
    null_space(&rows.iter().map(|row| capture(row).unwrap()).collect::<Vec<_>>())
}

#[test]
fn full_rank_is_as_frequent_as_the_product_formula_says() {
    // n random rows of n bits have full rank in ∏ (1 − 2^-i), i = 1..n, of all
    // cases: counted row by row, a row must miss what those before it span. The
    // first row is taken from the others, so 33 are drawn.
    let expected: f64 = (1..=32).map(|i| 1.0 - 0.5f64.powi(i)).product();
    let mut seed = 1;
    let draws = 20_000;
    let full = (0..draws).filter(|_| {
        let rows: Vec<u64> = (0..33).map(|_| random(&mut seed) << 32).collect();
        packed(&rows, 32).rank() == 32
    });
    let share = full.count() as f64 / draws as f64;
    let deviation = (expected * (1.0 - expected) / draws as f64).sqrt();
    assert!((share - expected).abs() < 5.0 * deviation, "{share}");
}

#[test]
fn a_million_rows_are_verified_to_the_last() {
    let mut seed = 2;
    let mask = 0x0000_FFFF_F000_0000u64;
    let even = |row: u64| row & !1 | u64::from((row & mask).count_ones() % 2 == 1);
    let mut rows: Vec<u64> = (0..1_000_000).map(|_| even(random(&mut seed))).collect();
    let space = packed(&rows, 64);
    assert_eq!(space.relations(), [Relation { bits: Wide([mask | 1, 0, 0, 0]), constant: false }]);
    let last = rows.len() - 1;
    rows[last] ^= 1;
    assert_eq!(packed(&rows, 64).relations(), []);
}

#[test]
fn nothing_seen_says_nothing() {
    assert_eq!(null_space(&[]).relations(), []);
    assert_eq!(packed(&[7], 64).relations().len(), 64);
}
