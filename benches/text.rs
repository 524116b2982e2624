//! Bit text to columns: lines of `0` and `1`, as a probe prints them, beside the
//! plain way to read them. Only ratios within one run mean anything.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use fastrand::Rng;
use holdover::bits::BitColumns;

/// Lines of random captures, of the lengths in no order.
fn text(lengths: &[usize], lines: usize) -> String {
    let mut rng = Rng::with_seed(37);
    let mut text = String::new();
    for _ in 0..lines {
        let length = lengths[rng.usize(..lengths.len())];
        text.extend((0..length).map(|_| if rng.bool() { '1' } else { '0' }));
        text.push('\n');
    }
    text
}

/// Line by line, character by character; a line that is no capture has length 0.
fn lines_and_chars(text: &str, words: &mut Vec<u64>, lengths: &mut Vec<u8>) {
    words.clear();
    lengths.clear();
    for line in text.lines() {
        let (mut word, mut bits) = (0u64, 0usize);
        for char in line.chars() {
            match char {
                '0' if bits < 64 => {}
                '1' if bits < 64 => word |= 1 << (63 - bits),
                _ => {
                    (word, bits) = (0, 0);
                    break;
                }
            }
            bits += 1;
        }
        words.push(word);
        lengths.push(bits as u8);
    }
}

fn bit_text(c: &mut Criterion) {
    let mut group = c.benchmark_group("bit text");
    group.sample_size(20);
    let kinds: [(&str, &[usize]); 4] =
        [("26", &[26]), ("26 and 37", &[26, 37]), ("64", &[64]), ("4 to 64", &[4, 13, 26, 37, 64])];
    for (name, lengths) in kinds {
        // As much as stays in a cache.
        let text = text(lengths, 4_000);
        let (mut words, mut counts, mut plain) = (Vec::new(), Vec::new(), BitColumns::default());
        lines_and_chars(&text, &mut words, &mut counts);
        plain.read(text.as_bytes());
        assert!(plain.words == words && plain.lengths == counts, "the same work");
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_function(BenchmarkId::new("columns", name), |b| {
            b.iter(|| {
                plain.read(black_box(text.as_bytes()));
                black_box(&plain);
            });
        });
        group.bench_function(BenchmarkId::new("lines and chars", name), |b| {
            b.iter(|| {
                lines_and_chars(black_box(&text), &mut words, &mut counts);
                black_box((&words, &counts));
            });
        });
    }
    group.finish();
}

criterion_group!(benches, bit_text);
criterion_main!(benches);
