//! Throughput on value changes, beside the crate `vcd` on the same bytes.
//!
//! Three of ours: the scanner alone, with two lines followed; the whole way
//! from bytes to reads; and a dump in which the two lines are few among many.

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use holdover::bits::Capture;
use holdover_signal::compose::{Compose, Track};
use holdover_signal::{Options, Probe, vcd as ours};
use vcd::Parser;

/// Bytes of value changes, the size the requirement names.
const SIZE: usize = 100 << 20;

/// Nothing but the two lines of one reader.
fn reader() -> Vec<u8> {
    let captures: Vec<Capture> = (0..4000u64)
        .map(|i| Capture::from_number(u128::from(i.wrapping_mul(0x9E37_79B9) & 0x3FF_FFFF), 26))
        .collect::<Result<_, _>>()
        .unwrap_or_default();
    let mut compose = Compose::default();
    compose.jitter = 0.1;
    let captures: Vec<Capture> = captures.iter().copied().cycle().take(SIZE / 800).collect();
    let mut file = Vec::with_capacity(SIZE + (SIZE >> 2));
    compose.write(&[Track::new("", &captures)], &mut file).unwrap_or_default();
    file.truncate(SIZE);
    let end = file.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
    file.truncate(end);
    file
}

/// The two lines among two hundred others, vectors too.
fn simulation() -> Vec<u8> {
    let mut text = String::from("$timescale 1 ns $end\n$scope module top $end\n");
    let id = |i: usize| {
        format!("{}{}", (b'!' + (i % 94) as u8) as char, (b'!' + (i / 94) as u8) as char)
    };
    text += "$var wire 1 ! D0 $end\n$var wire 1 \" D1 $end\n";
    for i in 0..200usize {
        let width = if i.is_multiple_of(4) { 32 } else { 1 };
        text += &format!("$var wire {width} {} s{i} $end\n", id(i));
    }
    text += "$upscope $end\n$enddefinitions $end\n#0\n1!\n1\"\n";
    let mut state = 7u64;
    let mut now = 0u64;
    let mut low = false;
    while text.len() < SIZE {
        now += 5_000;
        text += &format!("#{now}\n");
        for _ in 0..12 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let i = (state >> 33) as usize % 200;
            if i.is_multiple_of(4) {
                text += &format!("b{:b} {}\n", state >> 40, id(i));
            } else {
                text += &format!("{}{}\n", state >> 63, id(i));
            }
        }
        if now.is_multiple_of(2_000_000) || low {
            low = !low;
            text += if low { "0!\n" } else { "1!\n" };
        }
    }
    text.into_bytes()
}

fn crate_vcd(bytes: &[u8]) -> u64 {
    let mut parser = Parser::new(bytes);
    let header = parser.parse_header();
    black_box(&header);
    parser.map_while(Result::ok).fold(0, |n, command| {
        black_box(&command);
        n + 1
    })
}

fn scan(c: &mut Criterion) {
    for (name, bytes) in [("reader", reader()), ("simulation", simulation())] {
        let mut group = c.benchmark_group(name);
        group.throughput(Throughput::Bytes(bytes.len() as u64));
        group.sample_size(10).measurement_time(Duration::from_secs(4));
        group.warm_up_time(Duration::from_millis(500));
        group.bench_function("scan", |b| {
            b.iter(|| {
                let mut seen = 0u64;
                let names = ["D0", "D1"];
                let end = ours::scan(black_box(&bytes[..]), &names, |_| seen += 1);
                (end.is_ok(), seen)
            });
        });
        group.bench_function("bytes to reads", |b| {
            b.iter(|| {
                let mut reads = 0u64;
                let probe = Probe::new(Options::default());
                let summary =
                    probe.and_then(|p| p.read_from(black_box(&bytes[..]), |_| reads += 1));
                (summary.is_ok(), reads)
            });
        });
        group.bench_function("crate vcd", |b| b.iter(|| crate_vcd(black_box(&bytes))));
        group.finish();
    }
}

criterion_group!(benches, scan);
criterion_main!(benches);
