//! Rates of right and wrong answers in simulated buildings, each with its
//! 95 % interval (Wilson).
//!
//! `cargo test -p holdover --release --test all rates_of -- --ignored --nocapture`
//! prints the record; `RATES=10` draws ten times as many, `RATES_SEED=1` others,
//! `RATES_OF=Pair` and `RATES_SIZE=50` some; `RATES_SHOW=1` shows every answer.
//! What the model is tuned on is drawn by seeds from 1 on, the record by seed 0.

use std::env;

use fastrand::Rng;
use holdover::decode::Reading;
use holdover::layout::builtin;
use holdover::rank::{Answer, Batch, Candidate, Verdict};
use rayon::prelude::*;

use crate::buildings::{Faults, Kind, Numbers, Of, Read, number_of, reads, through};

/// Sizes of batches.
const SIZES: [usize; 8] = [1, 2, 5, 10, 20, 50, 200, 1000];

/// Bins of promised probability.
const BINS: usize = 20;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Departure {
    /// Known kinds, faults as the model expects.
    Usual,
    /// An unknown kind of a length the table knows, alone.
    Unknown,
    /// The same beside a known kind of that length.
    Beside,
    /// The two layouts of 34 bits.
    Pair,
    /// One reader, its lines swapped in one building of eight.
    Swapped,
    /// Four readers, two of them swapped, no column that tells.
    Unnamed,
    /// As many, with the column.
    Named,
    /// Flipped and lost bits in 15 of 100 captures.
    Faulty,
    /// Prints that are order numbers.
    Orders,
    /// A pulse too many inside one capture of ten.
    Doubled,
}

use Departure::*;

const ALL: [Departure; 10] =
    [Usual, Unknown, Beside, Pair, Swapped, Unnamed, Named, Faulty, Orders, Doubled];

const KNOWN: [&str; 5] = ["std26", "site34", "num34", "serial32", "serial56"];

fn known(rng: &mut Rng) -> Vec<(Kind, f64)> {
    let kinds = [1, 1, 2, 3][rng.usize(..4)];
    (0..kinds).map(|_| (Kind::known(&KNOWN, rng), 0.1 + rng.f64())).collect()
}

/// A kind of card of 34 bits: a site code and a number, or a number.
fn pair(rng: &mut Rng) -> Kind {
    let id = ["site34", "num34"][rng.usize(..2)];
    let numbers = Numbers::ALL[rng.usize(..3)];
    Kind::draw(Of::Known(builtin().layout(id).unwrap()), numbers, rng)
}

/// Captures by four readers, two of them swapped.
fn by_readers(mut all: Vec<Read>, named: bool, rng: &mut Rng) -> Vec<Read> {
    let each = all.len().div_ceil(4);
    let mut swapped = [true, true, false, false];
    rng.shuffle(&mut swapped);
    for (i, some) in all.chunks_mut(each.max(1)).enumerate() {
        let wiring = if swapped[i] { Reading::LinesSwapped } else { Reading::AsCaptured };
        through(some, if named { ["north", "east", "south", "west"][i] } else { "" }, wiring);
    }
    all
}

fn building(departure: Departure, size: usize, rng: &mut Rng) -> Vec<Read> {
    let usual = Faults {
        flipped: 1.0 / 4096.0,
        lost: 1.0 / 1024.0,
        extra: 1.0 / 1024.0,
        ..Faults::default()
    };
    match departure {
        Usual => {
            let mut kinds = known(rng);
            // One card of ten is odd, as the model expects.
            let odd = Kind::unknown([26, 34][rng.usize(..2)], rng);
            kinds.push((odd, 0.1));
            reads(&kinds, size, &usual, rng)
        }
        Unknown => {
            let length = [26, 34, 32, 56][rng.usize(..4)];
            reads(&[(Kind::unknown(length, rng), 1.0)], size, &usual, rng)
        }
        Beside => {
            let layout = builtin().layout(["std26", "site34"][rng.usize(..2)]).unwrap();
            let known = Kind::draw(Of::Known(layout), Numbers::ALL[rng.usize(..3)], rng);
            let unknown = Kind::unknown(layout.length(), rng);
            reads(&[(known, 0.5), (unknown, 0.5)], size, &usual, rng)
        }
        Pair => reads(&[(pair(rng), 1.0)], size, &usual, rng),
        Swapped => {
            let swapped = rng.u8(..8) == 0;
            // Nothing tells of a number without checks that it is inverted.
            let ids = ["std26", "site34", "num34"];
            let kinds = (0..rng.usize(1..=2)).map(|_| (Kind::known(&ids, rng), 0.1 + rng.f64()));
            let kinds: Vec<(Kind, f64)> = kinds.collect();
            let mut all = reads(&kinds, size, &usual, rng);
            if swapped {
                through(&mut all, "", Reading::LinesSwapped);
            }
            all
        }
        Unnamed | Named => {
            let kinds = [(Kind::known(&["std26", "site34"], rng), 1.0)];
            let all = reads(&kinds, size, &usual, rng);
            by_readers(all, departure == Named, rng)
        }
        Faulty => {
            let faults = Faults { flipped: 0.08, lost: 0.07, ..usual };
            reads(&known(rng), size, &faults, rng)
        }
        Orders => {
            let faults =
                Faults { printed: true, order_numbers: rng.bool(), print_wrong: 0.1, ..usual };
            reads(&known(rng), size, &faults, rng)
        }
        Doubled => {
            let faults = Faults { doubled: 0.1, ..usual };
            reads(&[(Kind::known(&["std26", "site34"], rng), 1.0)], size, &faults, rng)
        }
    }
}

/// So many of so many.
#[derive(Debug, Clone, Copy, Default)]
pub struct Rate(f64, f64);

impl Rate {
    pub fn count(&mut self, hit: bool) {
        self.0 += f64::from(u8::from(hit));
        self.1 += 1.0;
    }

    pub fn add(&mut self, other: Rate) {
        self.0 += other.0;
        self.1 += other.1;
    }

    /// "12 of 345: 3.5 % (2.0 to 6.0)": Wilson's interval at 95 %.
    pub fn text(self) -> String {
        let Rate(hits, all) = self;
        if all == 0.0 {
            return "none".to_owned();
        }
        let z = 1.96f64;
        let (p, zz) = (hits / all, z * z / all);
        let middle = (p + zz / 2.0) / (1.0 + zz);
        let half = z * (p * (1.0 - p) / all + zz / (4.0 * all)).sqrt() / (1.0 + zz);
        let per_cent = |p: f64| 100.0 * p.clamp(0.0, 1.0);
        format!(
            "{hits} of {all}: {:.2} % ({:.2} to {:.2})",
            per_cent(p),
            per_cent(middle - half),
            per_cent(middle + half)
        )
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    /// Cards of unknown kinds identified; called swapped.
    unknown_identified: Rate,
    unknown_swapped: Rate,
    /// Whole cards of known kinds identified, and right.
    known_found: Rate,
    /// Of those identified, wrong; of those above 0.99, wrong.
    identified_wrong: Rate,
    sure_wrong: Rate,
    /// Of answers at 0.95 and above, and above 0.99, right.
    at_95: Rate,
    above_99: Rate,
    /// Swaps above 0.9999 that are wrong.
    swap_wrong: Rate,
    /// Harmed captures answered with another card.
    harmed_wrong: Rate,
    bins: [(f64, f64, f64); BINS],
}

impl Tally {
    fn add(&mut self, other: &Tally) {
        self.unknown_identified.add(other.unknown_identified);
        self.unknown_swapped.add(other.unknown_swapped);
        self.known_found.add(other.known_found);
        self.identified_wrong.add(other.identified_wrong);
        self.sure_wrong.add(other.sure_wrong);
        self.at_95.add(other.at_95);
        self.above_99.add(other.above_99);
        self.swap_wrong.add(other.swap_wrong);
        self.harmed_wrong.add(other.harmed_wrong);
        for (bin, other) in self.bins.iter_mut().zip(&other.bins) {
            *bin = (bin.0 + other.0, bin.1 + other.1, bin.2 + other.2);
        }
    }

    /// Expected calibration error of the likeliest answers.
    fn calibration_error(&self) -> f64 {
        let all: f64 = self.bins.iter().map(|bin| bin.0).sum();
        self.bins.iter().map(|bin| (bin.1 - bin.2).abs()).sum::<f64>() / all.max(1.0)
    }

    fn count(&mut self, read: &Read, answer: &Answer<'_>, swapped: f64) {
        let best = answer.candidates.first();
        let says = best.filter(|best| best.probability > answer.none_probability);
        let right = match (read.card.layout, says) {
            (None, None) => true,
            (Some(layout), Some(best)) => {
                let number = best.decode().card().and_then(|value| number_of(&value));
                // What a flipped bit made of a number, nothing tells.
                let flipped = read.flipped && best.word.len() == read.card.word.len();
                best.layout.id() == layout && (number == Some(read.card.number) || flipped)
            }
            _ => false,
        };
        let p = says.map_or(answer.none_probability, |best| best.probability);
        let identified = answer.verdict == Verdict::Identified;
        match read.card.layout {
            None => {
                self.unknown_identified.count(identified);
                let said = says.is_some_and(|best| best.reading == Reading::LinesSwapped);
                self.unknown_swapped.count(swapped > 0.5 || said);
            }
            Some(_) if !read.harmed => self.known_found.count(identified && right),
            Some(layout) if builtin().layout(layout).unwrap().rank() > 0 => {
                self.harmed_wrong.count(identified && !right);
            }
            Some(_) => {}
        }
        if identified {
            self.identified_wrong.count(!right);
            if p > 0.99 {
                self.sure_wrong.count(!right);
            }
        }
        if p >= 0.95 {
            self.at_95.count(right);
        }
        if p > 0.99 {
            self.above_99.count(right);
        }
        let bin = &mut self.bins[((p * BINS as f64) as usize).min(BINS - 1)];
        *bin = (bin.0 + 1.0, bin.1 + p, bin.2 + f64::from(u8::from(right)));
    }
}

/// The bits of each part of the evidence.
fn evidence(best: &Candidate<'_>) -> String {
    let parts = best.evidence.iter().map(|part| format!("{:?} {:.1}", part.why, part.bits));
    parts.collect::<Vec<_>>().join(", ")
}

fn one(departure: Departure, size: usize, seed: u64) -> Tally {
    let mut rng = Rng::with_seed(seed);
    let reads = building(departure, size, &mut rng);
    let mut batch = Batch::new(builtin(), None);
    reads.iter().for_each(|read| batch.see(&read.observation));
    let fit = batch.fit();
    let mut tally = Tally::default();
    let wirings = fit.wiring();
    let swapped_of = |name: &str| {
        let of = wirings.iter().find(|w| w.reader == name && !w.mixed);
        of.map_or(0.0, |w| w.probability[1])
    };
    for wiring in &wirings {
        let of = reads.iter().find(|read| read.observation.reader == wiring.reader).unwrap();
        if wiring.probability[1] > 0.9999 && !wiring.mixed && departure != Unnamed {
            tally.swap_wrong.count(of.wiring != Reading::LinesSwapped);
        }
    }
    if env::var_os("RATES_SHOW").is_some() {
        println!("{wirings:?}");
    }
    for read in &reads {
        let answer = fit.answer(&read.observation);
        if env::var_os("RATES_SHOW").is_some() {
            let best = answer.candidates.first();
            println!(
                "{departure:?} {size} {seed} {} {:?} harmed {}: {:?} {:?} {:?} {:.4} none {:.4} swapped {:.4} {}",
                read.observation.capture,
                read.card.layout,
                read.harmed,
                answer.verdict,
                best.map(|b| b.layout.id()),
                best.map(|b| b.reading),
                best.map_or(0.0, |b| b.probability),
                answer.none_probability,
                swapped_of(&read.observation.reader),
                best.map_or_else(String::new, evidence),
            );
        }
        tally.count(read, &answer, swapped_of(&read.observation.reader));
    }
    tally
}

fn tally(departure: Departure, size: usize, cards: usize) -> Tally {
    let batches = cards.div_ceil(size).max(8) as u64;
    let set = numbers("RATES_SEED").unwrap_or(0) as u64;
    let seed = |i: u64| set << 48 | (departure as u64) << 40 | (size as u64) << 20 | i;
    (0..batches).into_par_iter().map(|i| one(departure, size, seed(i))).reduce(
        Tally::default,
        |mut a, b| {
            a.add(&b);
            a
        },
    )
}

/// Milliseconds that a fit takes of so many distinct captures.
#[test]
#[ignore = "times are of one machine"]
fn times_of_large_batches() {
    let layout = builtin().layout("std26").unwrap();
    let mut rng = Rng::with_seed(5);
    for (name, site, count) in
        [("two codes", 2, 100_000), ("any codes", 256, 100_000), ("two codes", 2, 1_000_000)]
    {
        let column: Vec<u64> = (0..count)
            .map(|_| {
                let card = crate::cards::card(layout, |field| match field.role.name() {
                    "site" => rng.u128(..site),
                    _ => rng.u128(..),
                });
                card.unwrap().wide().0[0]
            })
            .collect();
        let lengths = vec![26; column.len()];
        let mut best = f64::MAX;
        for _ in 0..7 {
            let start = std::time::Instant::now();
            let mut batch = Batch::new(builtin(), None);
            batch.see_columns(
                "",
                &[holdover::rank::Column { lengths: &lengths, captures: &column }],
            );
            std::hint::black_box(batch.fit());
            best = best.min(start.elapsed().as_secs_f64() * 1e3);
        }
        println!("{name}, {count} captures: {best:.1} ms");
    }
}

fn numbers(name: &str) -> Option<usize> {
    env::var(name).ok()?.parse().ok()
}

#[test]
#[ignore = "minutes"]
fn rates_of_all_departures() {
    let times = numbers("RATES").unwrap_or(1);
    let only = env::var("RATES_OF").ok();
    let mut of_size = [Tally::default(); SIZES.len()];
    for departure in ALL {
        if only.as_ref().is_some_and(|only| *only != format!("{departure:?}")) {
            continue;
        }
        println!("\n## {departure:?}\n");
        println!(
            "| batch | found of known | unknown identified | identified wrong | above 0.99 wrong | right at 0.95 | right above 0.99 | swap above 0.9999 wrong | harmed: another card | calibration error |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
        );
        for (size, all) in SIZES.iter().zip(&mut of_size) {
            if numbers("RATES_SIZE").is_some_and(|only| only != *size) {
                continue;
            }
            // Fewer captures say nothing of four readers.
            if matches!(departure, Unnamed | Named) && *size < 20 {
                continue;
            }
            let tally = tally(departure, *size, 1000 * times);
            all.add(&tally);
            row(&size.to_string(), &tally);
            if tally.unknown_swapped.0 > 0.0 {
                println!("\nunknown called swapped: {}\n", tally.unknown_swapped.text());
            }
        }
    }
    println!("\n## All together\n");
    let mut sum = Tally::default();
    for (size, tally) in SIZES.iter().zip(&of_size) {
        row(&size.to_string(), tally);
        sum.add(tally);
    }
    row("all", &sum);
}

fn row(name: &str, tally: &Tally) {
    println!(
        "| {name} | {} | {} | {} | {} | {} | {} | {} | {} | {:.4} |",
        tally.known_found.text(),
        tally.unknown_identified.text(),
        tally.identified_wrong.text(),
        tally.sure_wrong.text(),
        tally.at_95.text(),
        tally.above_99.text(),
        tally.swap_wrong.text(),
        tally.harmed_wrong.text(),
        tally.calibration_error()
    );
}
