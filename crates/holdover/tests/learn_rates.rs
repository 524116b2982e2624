//! Rates of right and wrong in what is learnt of simulated buildings, each with
//! its 95 % interval (Wilson).
//!
//! `cargo test -p holdover --release --test all rates_of_learning -- --ignored
//! --nocapture` prints the record, of seeds on which nothing was tuned;
//! `SEED=1000` draws others and `BUILDINGS=300` fewer of each. What is true of a
//! design is taken from cards drawn at random, by elimination; what a sample
//! settles, by trying every cover of a wide class on its rows.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::env;

use fastrand::Rng;
use holdover::bits::gf2::{Relation, System};
use holdover::bits::{Capture, Wide};
use holdover::layout::{Code, Role};
use holdover::learn::{FoundField, Learnt, Options, Sample, Why, learn, null_space};
use rayon::prelude::*;

use crate::buildings::{Design, Numbers};
use crate::rates::Rate;

/// What departs from one site, whole captures and plain prints.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Departure {
    /// One to eight sites, numbers alone printed.
    Plain,
    /// Three to eight site codes, an issue code, neither printed.
    Codes,
    /// "65-1234", misprints in up to 15 of 100.
    Misprints,
    /// Two bits in a hundred captures flipped, and misprints.
    Flips,
    /// Prints that are a rule of the number: 2n + 1, n + 1000, site times N and n.
    Rules,
    /// Site code and number printed without anything between.
    Joined,
}

use Departure::*;

const ALL: [Departure; 6] = [Plain, Codes, Misprints, Flips, Rules, Joined];

/// The first seed of those reported on.
const HELD_OUT: u64 = 500_000;

struct Pile {
    design: Design,
    samples: Vec<Sample>,
    words: Vec<Capture>,
    misprinted: BTreeSet<usize>,
    /// Lines, and which bit.
    flipped: BTreeMap<usize, usize>,
    /// The card number itself is printed, and so is the site code.
    plain: bool,
    sites: bool,
}

fn pile(departure: Departure, rng: &mut Rng) -> Pile {
    let length = [26, 26, 32, 34, 37, 40, 48][rng.usize(..7)];
    let design = Design::draw(length, rng);
    let low = |code: u128| code & ((1 << design.site_bits()) - 1);
    let count = match departure {
        Codes => rng.usize(3..=8),
        _ => [1, 1, 2, 3, 4, 8][rng.usize(..6)],
    };
    let wide = rng.bool();
    let draw = |rng: &mut Rng| low(if wide { rng.u128(..1 << 40) } else { rng.u128(1..1000) });
    let codes: Vec<(u128, u128)> = (0..count).map(|_| (draw(rng), rng.u128(..1 << 60))).collect();
    let issues = if departure == Codes { rng.u128(2..=4) } else { [1, 1, 1, 2, 3][rng.usize(..5)] };
    let numbers = Numbers::ALL[rng.usize(..3)];
    let size = rng.u128(50..3000);
    let rows = [12, 20, 30, 50, 100][rng.usize(..5)];
    let misprints = match departure {
        Misprints | Flips => [0.03, 0.1, 0.15][rng.usize(..3)],
        Joined => [0.0, 0.05][rng.usize(..2)],
        _ => 0.0,
    };
    let flips = if departure == Flips { 0.02 } else { 0.0 };
    let rule = rng.usize(..3);
    let sited = departure == Misprints || departure == Flips && rng.bool();
    let mut all = Pile {
        samples: Vec::new(),
        words: Vec::new(),
        misprinted: BTreeSet::new(),
        flipped: BTreeMap::new(),
        plain: departure != Rules,
        sites: sited,
        design,
    };
    for line in 2..rows + 2 {
        let (site, first) = codes[rng.usize(..count).min(rng.usize(..count))];
        let number = match numbers {
            Numbers::Boxes => first.wrapping_add(rng.u128(..size)),
            Numbers::Random => rng.u128(..1 << 60),
            Numbers::Small => rng.u128(1..100_000),
        };
        let (word, mut number) = all.design.card(site, number, rng.u128(..issues));
        if rng.f64() < misprints {
            number ^= 1 << rng.u32(..6);
            all.misprinted.insert(line);
        }
        let printed = match (departure, rule) {
            (Rules, 0) => (2 * number + 1).to_string(),
            (Rules, 1) => (number + 1000).to_string(),
            (Rules, _) => (site * 50_000 + number).to_string(),
            (Joined, _) => format!("{site}{number:0width$}", width = 4 + 3 * (length / 10)),
            _ if sited && rng.bool() => format!("{site}-{number}"),
            _ if sited => format!("{site:03}-{number:05}"),
            _ => number.to_string(),
        };
        let mut bits: Vec<bool> = word.bits().collect();
        if rng.f64() < flips {
            let at = rng.usize(..length);
            bits[at] = !bits[at];
            all.flipped.insert(line, at);
        }
        let capture = Capture::from_bits(bits).unwrap();
        all.words.push(capture);
        all.samples.push(Sample { printed: Some(printed), ..Sample::new(line, capture) });
    }
    all
}

/// Every relation that all cards of a design meet: of so many cards drawn at
/// random that one more by accident is out of the question. And the bits in them.
fn truth(design: &Design, rng: &mut Rng) -> (System, Wide) {
    let draw = || {
        let (site, number, issue) = (rng.u128(..1 << 60), rng.u128(..1 << 100), rng.u128(..16));
        design.card(site, number, issue).0
    };
    let cards: Vec<Capture> = std::iter::repeat_with(draw).take(200).collect();
    let mut system = System::new();
    let mut bits = Wide::ZERO;
    for relation in null_space(&cards).relations() {
        system.add(*relation);
        // A bit that is always the same tells no misreading from another site's card.
        if relation.bits.count_ones() > 1 {
            bits = bits | relation.bits;
        }
    }
    (system, bits)
}

fn implied(system: &System, relation: Relation) -> bool {
    let rest = system.reduce(relation);
    rest.bits.is_zero() && !rest.constant
}

fn mask(bits: impl IntoIterator<Item = usize>) -> Wide {
    let mut mask = Wide::ZERO;
    bits.into_iter().for_each(|at| mask.set(at, true));
    mask
}

/// The wide class of covers for `bit`: runs, alternate bits, two of three,
/// every third, everything, two runs between borders; each with and without
/// each other check bit.
fn wide(length: usize, bit: usize, checks: &[usize], borders: &BTreeSet<usize>) -> Vec<Wide> {
    let mut all: Vec<Wide> = Vec::new();
    for taken in ["1", "10", "110", "101", "011", "100"].map(str::as_bytes) {
        for first in 0..length {
            for end in first + 1..=length {
                all.push(mask((first..end).filter(|at| taken[(at - first) % taken.len()] == b'1')));
            }
        }
    }
    let borders: Vec<usize> = borders.iter().copied().collect();
    let pairs =
        borders.iter().enumerate().flat_map(|(i, a)| borders[i + 1..].iter().map(|b| (*a, *b)));
    let runs: Vec<(usize, usize)> = pairs.collect();
    for (a, b) in &runs {
        let second = runs.iter().filter(|(c, _)| c > b);
        all.extend(second.map(|(c, d)| mask((*a..*b).chain(*c..*d))));
    }
    for other in checks.iter().filter(|other| **other != bit) {
        for i in 0..all.len() {
            let mut toggled = all[i];
            toggled.set(*other, !toggled.bit(*other));
            all.push(toggled);
        }
    }
    all.iter_mut().for_each(|cover| cover.set(bit, false));
    let mut seen = HashSet::new();
    all.retain(|cover| !cover.is_zero() && seen.insert(*cover));
    all
}

/// Which parity checks of the design the good rows settle.
fn settleable(pile: &Pile, good: &[Capture]) -> Vec<Relation> {
    let parities = pile.design.parities();
    let Some(first) = good.first() else { return Vec::new() };
    let length = first.len();
    let fits = |bits: Wide| {
        let odd = (first.wide() & bits).parity();
        good.iter().all(|word| (word.wide() & bits).parity() == odd)
    };
    let at: Vec<usize> = parities.iter().map(|(at, _)| *at).collect();
    let mut borders = BTreeSet::from([0, length]);
    let card = pile.design.card_at();
    borders.extend([*card.iter().min().unwrap(), card.iter().max().unwrap() + 1]);
    if let [a, .., b] = pile.design.site_at() {
        borders.extend([*a, b + 1]);
    }
    at.iter().for_each(|at| borders.extend([*at, at + 1]));
    // Bits that take few values are tested by their distinct values.
    let distinct =
        |bits: Wide| good.iter().map(|word| word.wide() & bits).collect::<HashSet<_>>().len();
    let whole = |(at, over): &(usize, &[usize])| mask(over.iter().copied().chain([*at]));
    let mut left: Vec<(Wide, Vec<Wide>)> = Vec::new();
    for parity in &parities {
        let covers = wide(length, parity.0, &at, &borders);
        let bits = whole(parity);
        let enough = covers.len() as f64 * (1.0 - distinct(bits) as f64).exp2() < 1e-4;
        let varied = bits.offsets().all(|at| !fits(mask([at])));
        if !enough || !varied || !fits(bits) {
            continue;
        }
        let rivals = covers.into_iter().map(|cover| cover ^ mask([parity.0]) ^ bits);
        left.push((bits, rivals.filter(|apart| !apart.is_zero() && fits(*apart)).collect()));
    }
    loop {
        let before = left.len();
        let mut known = System::new();
        left.iter().for_each(|(bits, _)| {
            known.add(Relation { bits: *bits, constant: false });
        });
        left.retain(|(_, rivals)| {
            rivals.iter().all(|bits| implied(&known, Relation { bits: *bits, constant: false }))
        });
        if left.len() == before {
            break;
        }
    }
    let constant = |bits: Wide| (first.wide() & bits).parity();
    left.into_iter().map(|(bits, _)| Relation { bits, constant: constant(bits) }).collect()
}

#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    checks_false: Rate,
    fields_false: Rate,
    called: Rate,
    accused: Rate,
    misprints: Rate,
    flips: Rate,
    card_settled: Rate,
    card_listed: Rate,
    unsettled_false: Rate,
    proposed: Rate,
    proposed_false: Rate,
}

impl Tally {
    fn rates(&mut self) -> [(&'static str, &mut Rate); 11] {
        [
            ("settled checks false", &mut self.checks_false),
            ("settled fields false", &mut self.fields_false),
            ("checks settled of those the sample settles", &mut self.called),
            ("good rows accused", &mut self.accused),
            ("misprints named", &mut self.misprints),
            ("flips that show named", &mut self.flips),
            ("piles with the card number settled", &mut self.card_settled),
            ("piles with the card number listed", &mut self.card_listed),
            ("unsettled checks false", &mut self.unsettled_false),
            ("piles whose codes nobody printed are proposed", &mut self.proposed),
            ("proposed codes with bits of no code", &mut self.proposed_false),
        ]
    }

    fn add(&mut self, mut other: Tally) {
        let others = other.rates().map(|(_, rate)| *rate);
        self.rates().into_iter().zip(others).for_each(|((_, rate), other)| rate.add(other));
    }
}

fn places(field: &FoundField) -> Vec<usize> {
    field.span.offsets().collect()
}

fn judge(departure: Departure, seed: u64, show: bool) -> Tally {
    let mut rng = Rng::with_seed(seed);
    let pile = pile(departure, &mut rng);
    let (truth, shown) = truth(&pile.design, &mut rng);
    let shown = shown | mask(pile.design.card_at().iter().copied());
    let mut tally = Tally::default();
    let learnt = learn(&pile.samples, &Options { in_order: false, ..Options::default() });
    let mut named = BTreeSet::new();
    let mut settled = System::new();
    for kind in &learnt {
        let what = || format!("{departure:?} {seed}: {}", describe(kind, &pile));
        named.extend(kind.misread.iter().map(|misread| misread.line));
        for found in &kind.checks {
            let right = found.check.relations().iter().all(|r| implied(&truth, *r));
            let rate =
                if found.settled { &mut tally.checks_false } else { &mut tally.unsettled_false };
            rate.count(!right);
            if found.settled {
                found.check.relations().iter().for_each(|r| {
                    settled.add(*r);
                });
                if show && !right {
                    println!("false check {}\n  {}", found.check, what());
                }
            }
        }
        for field in kind.fields.iter().filter(|field| field.settled) {
            let (own, code) = match field.role {
                Role::Site => (pile.design.site_at(), Code::Binary),
                _ if pile.design.decimal() => (pile.design.card_at(), Code::Bcd4),
                _ => (pile.design.card_at(), Code::Binary),
            };
            let right = places(field) == own && field.code == code;
            tally.fields_false.count(!right);
            if show && !right {
                println!("false field {} {}\n  {}", field.role.name(), field.span, what());
            }
        }
    }
    let wrong = |line: &usize| pile.misprinted.contains(line) || pile.flipped.contains_key(line);
    for sample in &pile.samples {
        let line = sample.line;
        let is = named.contains(&line);
        if pile.misprinted.contains(&line) {
            tally.misprints.count(is);
            if show && !is {
                println!("misprint {line} {departure:?} {seed}: {}", describe(&learnt[0], &pile));
            }
        } else if let Some(at) = pile.flipped.get(&line) {
            if shown.bit(*at) {
                tally.flips.count(is);
                if show && !is {
                    println!(
                        "flip {} {departure:?} {seed}: {}",
                        at + 1,
                        describe(&learnt[0], &pile)
                    );
                }
            }
        } else {
            tally.accused.count(is);
            if show && is {
                let kind =
                    learnt.iter().find(|k| k.misread.iter().any(|m| m.line == line)).unwrap();
                let why: Vec<&Why> =
                    kind.misread.iter().filter(|m| m.line == line).map(|m| &m.why).collect();
                println!("accused {line} {why:?} {departure:?} {seed}: {}", describe(kind, &pile));
            }
        }
    }
    let good: Vec<Capture> = pile
        .samples
        .iter()
        .zip(&pile.words)
        .filter(|(s, _)| !wrong(&s.line))
        .map(|(_, w)| *w)
        .collect();
    for relation in settleable(&pile, &good) {
        let called = implied(&settled, relation);
        tally.called.count(called);
        if show && !called {
            let span = holdover::bits::Span::from_mask(relation.bits).unwrap();
            println!("not called {span} {departure:?} {seed}: {}", describe(&learnt[0], &pile));
        }
    }
    if !pile.sites && departure != Joined {
        judge_codes(&pile, &learnt, &mut tally, &|what, kind| {
            if show {
                println!("{what} {departure:?} {seed}: {}", describe(kind, &pile));
            }
        });
    }
    if pile.plain {
        let cards =
            || learnt.iter().flat_map(|kind| &kind.fields).filter(|field| field.role == Role::Card);
        let own = |field: &&FoundField| places(field) == pile.design.card_at();
        tally.card_settled.count(cards().any(|field| own(&field) && field.settled));
        let span =
            holdover::bits::Span::from_offsets(pile.design.card_at().iter().copied()).unwrap();
        tally.card_listed.count(cards().any(|field| field.could_be.contains(&span)));
    }
    tally
}

/// Whether the bits of site and issue codes that differ among the cards, and that
/// nobody printed, are proposed, and no others.
fn judge_codes(pile: &Pile, learnt: &[Learnt], tally: &mut Tally, say: &dyn Fn(&str, &Learnt)) {
    let [kind] = learnt else { return };
    if !kind.fields.iter().any(|field| field.role == Role::Card) {
        return;
    }
    let good = pile.samples.iter().zip(&pile.words);
    let good = good.filter(|(sample, _)| kind.good.contains(&sample.line));
    let words: Vec<Wide> = good.map(|(_, word)| word.wide()).collect();
    let varied = words.iter().fold(Wide::ZERO, |all, word| all | (*word ^ words[0]));
    let codes = mask(pile.design.site_at().iter().chain(pile.design.issue_at()).copied());
    let fields = kind.fields.iter().filter(|field| field.role != Role::Card);
    let found: Vec<Wide> = fields.map(|field| field.span.mask() & varied).collect();
    let all = found.iter().fold(Wide::ZERO, |all, field| all | *field);
    if !(codes & varied).is_zero() {
        let proposed = (codes & varied & !all).is_zero();
        tally.proposed.count(proposed);
        if !proposed {
            say("not proposed", kind);
        }
    }
    for field in found {
        let wrong = !(field & !codes).is_zero();
        tally.proposed_false.count(wrong);
        if wrong {
            say("proposed wrongly", kind);
        }
    }
}

fn describe(kind: &Learnt, pile: &Pile) -> String {
    let fields: Vec<String> = kind
        .fields
        .iter()
        .map(|f| format!("{} {} {:?} {}", f.role.name(), f.span, f.code, f.settled))
        .collect();
    let checks: Vec<String> = kind
        .checks
        .iter()
        .map(|f| {
            format!(
                "{} {} {}",
                f.check,
                f.settled,
                f.undetermined.as_ref().map_or(String::new(), |s| s.to_string())
            )
        })
        .collect();
    let prints: Vec<&str> =
        pile.samples.iter().take(4).map(|s| s.printed.as_deref().unwrap()).collect();
    format!(
        "{} of {} rows, {fields:?} {checks:?} alarms {:.1e}\n  {prints:?} {:?} sites printed {}\n  {:?}",
        kind.good.len(),
        kind.samples,
        kind.false_alarms_expected,
        pile.design,
        pile.sites,
        kind.notes
    )
}

fn number(name: &str, default: u64) -> u64 {
    env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

#[test]
#[ignore = "prints the record"]
fn rates_of_learning() {
    let (first, buildings) = (number("SEED", HELD_OUT), number("BUILDINGS", 1000));
    let show = env::var_os("LEARN_SHOW").is_some();
    let mut all = Tally::default();
    for departure in ALL {
        let seeds = (0..buildings).into_par_iter();
        let mut tally = seeds
            .map(|seed| judge(departure, first + 10 * seed + departure as u64, show))
            .reduce(Tally::default, |mut sum, tally| {
                sum.add(tally);
                sum
            });
        println!("{departure:?}, {buildings} buildings");
        tally.rates().into_iter().for_each(|(what, rate)| println!("  {what}: {}", rate.text()));
        all.add(tally);
    }
    println!("all");
    all.rates().into_iter().for_each(|(what, rate)| println!("  {what}: {}", rate.text()));
}
