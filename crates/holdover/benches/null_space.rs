//! The null space of a sample against reading the sample once: the ratio is what
//! counts.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use holdover::bits::Capture;
use holdover::learn::null_space;

/// Rows of `length` bits, the first `checks` of them parities of others.
fn packed(count: usize, length: usize, checks: usize) -> Vec<u64> {
    let mut rng = fastrand::Rng::with_seed(26);
    let covers: Vec<u64> = (0..checks).map(|_| rng.u64(..) << (64 - length) >> checks).collect();
    let row = |rng: &mut fastrand::Rng| {
        let data = rng.u64(..) >> checks >> (64 - length) << (64 - length);
        covers.iter().enumerate().fold(data, |row, (i, cover)| {
            row | u64::from((data & cover).count_ones() & 1) << (63 - i)
        })
    };
    (0..count).map(|_| row(&mut rng)).collect()
}

fn bench(criterion: &mut Criterion) {
    for (count, length) in [(1_000_000, 64), (100_000, 26)] {
        let mut group = criterion.benchmark_group(format!("{count}x{length}"));
        group.throughput(Throughput::Elements(count as u64));
        let captures = |checks: usize| -> Vec<Capture> {
            let rows = packed(count, length, checks).into_iter();
            let number = |row: u64| u128::from(row >> (64 - length));
            rows.map(|row| Capture::from_number(number(row), length).unwrap()).collect()
        };
        for checks in [0, 1, 2, 4, 8] {
            let captures = captures(checks);
            group.bench_with_input(BenchmarkId::new("null space", checks), &captures, |b, all| {
                b.iter(|| null_space(black_box(all)));
            });
        }
        let captures = captures(2);
        group.bench_function("read captures", |b| {
            let fold = |all: u64, capture: &Capture| all ^ capture.wide().0[0];
            b.iter(|| black_box(&captures).iter().fold(0, fold));
        });
        if length == 64 {
            let text: String = captures.iter().map(|capture| format!("{capture}\n")).collect();
            group.sample_size(10);
            group.bench_function("read text", |b| {
                b.iter(|| {
                    black_box(&text).lines().filter_map(|l| l.parse::<Capture>().ok()).count()
                });
            });
        }
        group.finish();
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
