//! Ranking whole batches, by number of distinct captures: how it grows.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use fastrand::Rng;
use holdover::bits::Capture;
use holdover::layout::{Value, builtin};
use holdover::rank::{Batch, Column, Observation};

/// As many distinct cards of 26 bits with two site codes, in no order.
fn cards(count: usize) -> Vec<Capture> {
    let layout = builtin().layout("std26").unwrap();
    let mut numbers: Vec<u128> = (0..2 << 16).collect();
    Rng::with_seed(26).shuffle(&mut numbers);
    let card = |n: &u128| {
        let values = [("site", Value::Number(65 + (n >> 16))), ("card", Value::Number(n & 0xffff))];
        layout.compose(values).unwrap()
    };
    numbers[..count].iter().map(card).collect()
}

fn rank(c: &mut Criterion) {
    let mut group = c.benchmark_group("rank");
    group.sample_size(10);
    for count in [100, 1_000, 10_000, 100_000] {
        let cards = cards(count);
        let column: Vec<u64> = cards.iter().map(|card| card.wide().0[0]).collect();
        let lengths = vec![26; count];
        group.throughput(Throughput::Elements(count as u64));
        // The fit, and each capture's class, whose answer it has.
        group.bench_function(BenchmarkId::new("columns", count), |b| {
            b.iter(|| {
                let mut batch = Batch::new(builtin(), None);
                let captures = black_box(&column);
                batch.see_columns("", &[Column { lengths: &lengths, captures }]);
                let fit = batch.fit();
                let classifier = fit.classifier("", 26).unwrap();
                assert!(classifier.has_keys());
                column.iter().fold(0, |all, capture| all ^ classifier.key(*capture))
            });
        });
        let observations: Vec<Observation> = cards.into_iter().map(Observation::from).collect();
        group.bench_function(BenchmarkId::new("an answer each", count), |b| {
            b.iter(|| {
                let mut batch = Batch::new(builtin(), None);
                black_box(&observations).iter().for_each(|observation| batch.see(observation));
                let fit = batch.fit();
                observations.iter().map(|s| fit.answer(s).none_probability).sum::<f64>()
            });
        });
    }
    group.finish();
}

criterion_group!(benches, rank);
criterion_main!(benches);
