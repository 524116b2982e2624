//! Decoding and ranking, by number of captures.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use fastrand::Rng;
use holdover::bits::Capture;
use holdover::decode::Decode;
use holdover::layout::{Value, builtin};
use holdover::rank::{Batch, Sighting};

/// Cards of 26 bits with two site codes, in no order.
fn cards(count: usize) -> Vec<Capture> {
    let mut rng = Rng::with_seed(26);
    let layout = builtin().layout("std26").unwrap();
    let card = |rng: &mut Rng| {
        let site = if rng.bool() { 65 } else { 66 };
        let values = [("site", Value::Number(site)), ("card", Value::Number(rng.u128(..65536)))];
        layout.compose(&values).unwrap()
    };
    (0..count).map(|_| card(&mut rng)).collect()
}

fn decode(c: &mut Criterion) {
    let cards = cards(10_000);
    let mut group = c.benchmark_group("decode");
    group.throughput(Throughput::Elements(cards.len() as u64));
    let layout = builtin().layout("std26").unwrap();
    group.bench_function("one layout of 26 bits", |b| {
        b.iter(|| {
            let decodes = cards.iter().filter_map(|card| Decode::new(layout, *card));
            decodes.filter(|decode| black_box(decode).holds()).count()
        });
    });
    group.finish();
}

fn rank(c: &mut Criterion) {
    let mut group = c.benchmark_group("rank");
    group.sample_size(10);
    for count in [100, 1_000, 10_000] {
        let sightings: Vec<Sighting> = cards(count).into_iter().map(Sighting::from).collect();
        group.throughput(Throughput::Elements(count as u64));
        group.bench_with_input(BenchmarkId::from_parameter(count), &sightings, |b, sightings| {
            b.iter(|| {
                let mut batch = Batch::new(builtin(), None);
                sightings.iter().for_each(|sighting| batch.see(sighting));
                let fit = batch.fit();
                sightings.iter().map(|s| fit.answer(s).none_probability).sum::<f64>()
            });
        });
    }
    group.finish();
}

criterion_group!(benches, decode, rank);
criterion_main!(benches);
