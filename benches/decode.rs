//! Decoding over columns, by number of layouts and of bits, beside other ways
//! to do the same work: which layouts' checks hold, and the numbers of those.
//! Only ratios within one run mean anything.

use std::hint::black_box;

use bitvec::field::BitField;
use bitvec::prelude::{BitVec, Msb0};
use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, BenchmarkId, Criterion, Throughput};
use criterion::{criterion_group, criterion_main};
use deku::prelude::*;
use fastrand::Rng;
use holdover::bits::{Capture, Position, Span, Wide};
use holdover::decode::{Bits, Decode, Decoder, Reading};
use holdover::layout::{Check, Field, Layout, LayoutSpec, Role, Table, Value, builtin};

/// Captures a column: what it takes and what comes of it stay in a cache.
const CAPTURES: usize = 1024;

fn run(from: usize, to: usize) -> Span {
    Span::run(from, to - from).unwrap()
}

/// An invented layout: an even check of the bits up to a place, an odd check
/// of the rest, a site code and a card number between them. No two numbers
/// below 1,000 give the same layout.
fn invented(length: usize, nth: usize) -> Layout {
    // As the 26-bit card's first, then the places and widths wander.
    let middle = 2 + (11 + 13 * nth) % (length - 4);
    // In long words the numbers lie across the end of the first 64 bits.
    let first = 1 + nth / (length - 4) % 3 + if length > 64 { 50 } else { 0 };
    let wide = 4 + (4 + nth) % 7;
    let last = (length - 1).min(first + wide + 32);
    let check =
        |odd, bit: usize, over| Check::Parity { odd, bit: Position::new(bit + 1).unwrap(), over };
    Layout::new(LayoutSpec {
        id: format!("l{nth}"),
        title: String::new(),
        length,
        basis: "invented".into(),
        weight: 1.0,
        unsettled: Vec::new(),
        fields: vec![
            Field::binary(Role::Site, run(first, first + wide)),
            Field::binary(Role::Card, run(first + wide, last)),
        ],
        checks: vec![
            check(false, 0, run(1, middle)),
            check(true, length - 1, run(middle, length - 1)),
        ],
    })
    .unwrap()
}

fn table(length: usize, layouts: usize) -> Table {
    Table::new((0..layouts).map(|nth| invented(length, nth))).unwrap()
}

/// Words of layouts in no order, random but for their checks: each holds for
/// its own layout and, of layouts with two checks, for every fourth other.
fn words(layouts: &[Layout]) -> Vec<Capture> {
    let mut rng = Rng::with_seed(26);
    let mut word = || {
        let layout = &layouts[rng.usize(..layouts.len())];
        let below = |span: &Span| 1u128 << span.len();
        let site = rng.u128(..below(layout.site_span().unwrap()));
        let card = rng.u128(..below(layout.card_span().unwrap()));
        let values = [("site", Value::Number(site)), ("card", Value::Number(card))];
        layout.compose(values).unwrap()
    };
    (0..CAPTURES).map(|_| word()).collect()
}

fn group<'c>(c: &'c mut Criterion, name: &str) -> BenchmarkGroup<'c, WallTime> {
    let mut group = c.benchmark_group(name);
    group.throughput(Throughput::Elements(CAPTURES as u64));
    group.sample_size(30);
    group.warm_up_time(std::time::Duration::from_millis(300));
    group.measurement_time(std::time::Duration::from_secs(1));
    group
}

/// Which layouts fit.
fn columns<B: Bits>(c: &mut BenchmarkGroup<'_, WallTime>, table: &Table, column: &[B]) {
    let length = table.layouts()[0].length();
    let decoder = Decoder::new(table, length, &[Reading::AsCaptured]);
    let mut fits = vec![0; column.len() * decoder.groups()];
    let size = format!("{}x{length}", decoder.views().len());
    c.bench_function(BenchmarkId::new("columns", &size), |b| {
        b.iter(|| {
            decoder.fits(black_box(column), &mut fits);
            black_box(&fits);
        });
    });
}

/// The 26-bit card's numbers, and filler; `deku` checks no parity.
#[derive(DekuRead)]
#[deku(endian = "big")]
struct Card26 {
    #[deku(bits = 1)]
    _even: u8,
    #[deku(bits = 8)]
    site: u8,
    #[deku(bits = 16)]
    card: u16,
    #[deku(bits = 1)]
    _odd: u8,
}

/// What comes of a column of cards under one layout.
#[derive(Debug, Default, PartialEq)]
struct Columns {
    fits: Vec<u64>,
    sites: Vec<u64>,
    cards: Vec<u64>,
}

/// One layout, the standard card of 26 bits: columns out of each.
fn one(c: &mut Criterion) {
    let layout = builtin().layout("std26").unwrap();
    let words = words(std::slice::from_ref(layout));
    let mut group = group(c, "one layout");

    let column: Vec<u64> = words.iter().map(|word| word.wide().0[0]).collect();
    let decoder = Decoder::new(builtin(), 26, &[Reading::AsCaptured]);
    assert_eq!(decoder.views().len(), 1, "one layout of 26 bits");
    let extract = |span: Option<&Span>| decoder.views()[0].extract(span.unwrap());
    let (site, card) = (extract(layout.site_span()), extract(layout.card_span()));
    let ours = |out: &mut Columns| {
        let column = black_box(&column);
        out.fits.resize(column.len(), 0);
        decoder.fits(column, &mut out.fits);
        site.numbers(column, &mut out.sites);
        card.numbers(column, &mut out.cards);
    };

    let vectors: Vec<BitVec<u8, Msb0>> =
        words.iter().map(|word| (0..26).map(|at| word.wide().bit(at)).collect()).collect();
    let bitvec = |out: &mut Columns| {
        out.fits.clear();
        out.sites.clear();
        out.cards.clear();
        for bits in black_box(&vectors) {
            let (front, back) = (bits[..13].count_ones(), bits[13..].count_ones());
            out.fits.push(u64::from(front % 2 == 0 && back % 2 == 1));
            out.sites.push(u64::from(bits[1..9].load_be::<u8>()));
            out.cards.push(u64::from(bits[9..25].load_be::<u16>()));
        }
    };

    let bytes: Vec<[u8; 4]> =
        column.iter().map(|word| ((word >> 32) as u32).to_be_bytes()).collect();
    let deku = |out: &mut Columns| {
        out.sites.clear();
        out.cards.clear();
        for bytes in black_box(&bytes) {
            let (_, read) = Card26::from_bytes((bytes, 0)).unwrap();
            out.sites.push(u64::from(read.site));
            out.cards.push(u64::from(read.card));
        }
    };

    type Way<'a> = (&'a str, &'a dyn Fn(&mut Columns));
    let ways: [Way<'_>; 3] =
        [("columns", &ours), ("bitvec", &bitvec), ("deku, fields alone", &deku)];
    let mut expected = Columns::default();
    ours(&mut expected);
    for (name, way) in ways {
        let mut out = Columns { fits: expected.fits.clone(), ..Columns::default() };
        way(&mut out);
        assert_eq!(out, expected, "{name} does the same work");
        group.bench_function(name, |b| {
            b.iter(|| {
                way(&mut out);
                black_box(&out);
            });
        });
    }

    group.bench_function("one capture at a time", |b| {
        b.iter(|| {
            let decodes = words.iter().filter_map(|word| Decode::new(layout, *word));
            decodes.filter(|decode| black_box(decode).holds()).count()
        });
    });
    group.finish();
}

/// A layout's checks as masks over a capture in the low bits of 128.
struct Masks {
    even: u128,
    odd: u128,
}

impl Masks {
    fn of(layout: &Layout) -> Masks {
        let low = |wide: Wide| (wide.0[0] >> (64 - layout.length())) as u128;
        let check = |check: &Check| match check {
            Check::Parity { bit, over, .. } => {
                low(over.mask()) | 1 << (layout.length() - bit.from_one())
            }
            _ => unreachable!("invented layouts have parity alone"),
        };
        Masks { even: check(&layout.checks()[0]), odd: check(&layout.checks()[1]) }
    }
}

/// Mask and popcount, a layout after the other.
fn popcount(c: &mut BenchmarkGroup<'_, WallTime>, table: &Table, column: &[u64]) {
    let length = table.layouts()[0].length();
    let masks: Vec<Masks> = table.layouts().iter().map(Masks::of).collect();
    let words: Vec<u128> = column.iter().map(|word| (word >> (64 - length)).into()).collect();
    let mut fits = vec![0u64; words.len()];
    let run = |fits: &mut [u64]| {
        for (word, fits) in black_box(&words).iter().zip(fits) {
            *fits = 0;
            for (nth, masks) in masks.iter().enumerate() {
                if (word & masks.even).count_ones() % 2 == 0
                    && (word & masks.odd).count_ones() % 2 == 1
                {
                    *fits |= 1 << nth;
                }
            }
        }
    };
    run(&mut fits);
    let decoder = Decoder::new(table, length, &[Reading::AsCaptured]);
    let mut own = fits.clone();
    decoder.fits(column, &mut own);
    assert!(own == fits, "the same work");
    c.bench_function(BenchmarkId::new("popcount", format!("{}x{length}", masks.len())), |b| {
        b.iter(|| {
            run(&mut fits);
            black_box(&fits);
        });
    });
}

fn decode(c: &mut Criterion) {
    let mut group = group(c, "decode");
    for length in [26, 37, 64, 200] {
        for layouts in [1, 8, 64] {
            let table = table(length, layouts);
            let words = words(table.layouts());
            if length > 64 {
                let column: Vec<Wide> = words.iter().map(|word| word.wide()).collect();
                columns(&mut group, &table, &column);
                continue;
            }
            let column: Vec<u64> = words.iter().map(|word| word.wide().0[0]).collect();
            columns(&mut group, &table, &column);
            popcount(&mut group, &table, &column);
        }
    }
    group.finish();
}

/// How the time grows with the layouts of one length.
fn growth(c: &mut Criterion) {
    let mut group = group(c, "layouts");
    for layouts in [1, 10, 100, 1000] {
        let table = table(64, layouts);
        let words = words(table.layouts());
        let column: Vec<u64> = words.iter().map(|word| word.wide().0[0]).collect();
        columns(&mut group, &table, &column);
    }
    group.finish();
}

criterion_group!(benches, one, decode, growth);
criterion_main!(benches);
