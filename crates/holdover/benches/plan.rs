//! Planning large rosters: cards and ranges against seconds and bytes.

use std::hint::black_box;
use std::sync::LazyLock;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use holdover::layout::{Layout, Table, builtin};
use holdover::plan::{RosterRow, plan};
use holdover::prove::prove;
use holdover::site::{CardBatch, Panel, Site, State};

/// The layouts that ship, and the two of 38 bits invented for the demo.
fn table() -> &'static Table {
    static TABLE: LazyLock<Table> = LazyLock::new(|| {
        let own = Table::from_toml(include_str!("../../../fixtures/mill/table.toml")).unwrap();
        let all: Vec<Layout> = builtin().layouts().iter().chain(own.layouts()).cloned().collect();
        Table::new(all).unwrap()
    });
    &TABLE
}

/// Cards of four kinds, most of the serial and 38-bit ones, some conflicting;
/// every eighth inside an issued range.
fn job(cards: usize, ranges: usize) -> (Site, Vec<RosterRow>) {
    let mut rng = fastrand::Rng::with_seed(26);
    let row = |i: usize, rng: &mut fastrand::Rng| {
        let (id, site, most) = match i % 8 {
            0 => ("std26", 60 + rng.u128(0..8), 1 << 16),
            1..4 => ("site38", 7, 1 << 19),
            4 | 5 => ("num34", 0, 1 << 32),
            _ => ("serial56", 0, 1 << 56),
        };
        RosterRow::of_numbers(table(), i + 2, id, site, rng.u128(0..most)).unwrap()
    };
    let roster = (0..cards).map(|i| row(i, &mut rng)).collect();
    let width = (1u128 << 34) / ranges.max(1) as u128;
    let batches = (0..ranges).map(|i| {
        let first = i as u128 * width;
        let last = first + rng.u128(0..width);
        let state = if i % 2 == 0 { State::Issued } else { State::Boxed };
        CardBatch { layout: "num38".into(), site: None, first, last, state }
    });
    let panel = Panel { slots: Some(8), ..Panel::default() };
    (Site { panel, batches: batches.collect(), ..Site::default() }, roster)
}

fn bench(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("plan");
    group.sample_size(10);
    for (cards, ranges) in [(10_000, 10), (100_000, 100), (1_000_000, 1_000)] {
        let (site, roster) = job(cards, ranges);
        group.throughput(Throughput::Elements(cards as u64));
        let id = BenchmarkId::from_parameter(format!("{cards} cards {ranges} ranges"));
        group.bench_with_input(id, &roster, |b, roster| {
            b.iter(|| plan(table(), &site, black_box(roster)).unwrap());
        });
    }
    group.finish();
    let mut group = criterion.benchmark_group("prove");
    group.sample_size(10);
    for cards in [10_000, 100_000] {
        let (site, roster) = job(cards, 100);
        let made = plan(table(), &site, &roster).unwrap();
        group.throughput(Throughput::Elements(cards as u64));
        group.bench_with_input(BenchmarkId::from_parameter(cards), &roster, |b, roster| {
            b.iter(|| prove(&made, black_box(roster)).unwrap());
        });
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
