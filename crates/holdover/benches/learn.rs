//! Learning a layout: the rows of a pile against seconds, and piles meant to
//! take long; beside each the null space of the same captures, which any way
//! of learning has to find.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use fastrand::Rng;
use holdover::bits::Capture;
use holdover::layout::{Value, builtin};
use holdover::learn::{Options, Sample, learn, null_space};

/// Cards of one site with their numbers printed on them.
fn cards(count: usize) -> Vec<Sample> {
    let mut rng = Rng::with_seed(26);
    let layout = builtin().layout("std26").unwrap();
    let card = |line| {
        let number = rng.u128(..1 << 16);
        let values = [("site", Value::Number(65)), ("card", Value::Number(number))];
        let capture = layout.compose(values).unwrap();
        Sample { printed: Some(number.to_string()), ..Sample::new(line, capture) }
    };
    (2..count + 2).map(card).collect()
}

/// Random bits of the longest length, each with what `print` says of it.
fn noise(count: usize, print: impl Fn(&mut Rng) -> String) -> Vec<Sample> {
    let mut rng = Rng::with_seed(27);
    let sample = |line| {
        let capture = Capture::from_bits((0..256).map(|_| rng.bool())).unwrap();
        Sample { printed: Some(print(&mut rng)), ..Sample::new(line, capture) }
    };
    (2..count + 2).map(sample).collect()
}

/// One card again and again, each time with another number.
fn contradictions(count: usize) -> Vec<Sample> {
    let one = cards(1).remove(0);
    (2..count + 2).map(|line| Sample { printed: Some(line.to_string()), ..one.clone() }).collect()
}

fn bench(criterion: &mut Criterion) {
    let digits = |rng: &mut Rng| (0..10_000).map(|_| rng.digit(10)).collect();
    for (name, piles) in [
        ("cards", [24, 1_000, 100_000].map(cards)),
        (
            "random bits, random numbers",
            [24, 300, 3_000].map(|n| noise(n, |r| r.u64(..).to_string())),
        ),
        ("random bits, ten thousand digits each", [24, 100, 300].map(|n| noise(n, digits))),
        ("one card of many numbers", [24, 1_000, 100_000].map(contradictions)),
    ] {
        let mut group = criterion.benchmark_group(name);
        group.sample_size(10);
        for pile in piles {
            let captures: Vec<Capture> = pile.iter().map(|sample| sample.capture).collect();
            group.throughput(Throughput::Elements(pile.len() as u64));
            group.bench_with_input(BenchmarkId::new("learn", pile.len()), &pile, |b, pile| {
                b.iter(|| learn(black_box(pile), &Options::default()));
            });
            group.bench_with_input(
                BenchmarkId::new("null space", pile.len()),
                &captures,
                |b, all| {
                    b.iter(|| null_space(black_box(all)));
                },
            );
        }
        group.finish();
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
