//! Digits without a bit count: cards drawn, printed as programs print them, and
//! the probabilities of what is answered held to how often it is right.
//!
//! Source of the reference: the simulation knows which card it printed, and of
//! which layout.

use crate::cards::card;
use fastrand::Rng;
use holdover::bits::{Capture, Digits};
use holdover::layout::{Layout, Role, builtin};
use holdover::rank::{Batch, Known, Verdict};
use rayon::prelude::*;

/// How a program prints.
#[derive(Debug, Clone, Copy)]
enum Print {
    Least,
    Nibble,
    Byte,
    Word,
    Decimal,
}

const PRINTS: [Print; 5] = [Print::Least, Print::Nibble, Print::Byte, Print::Word, Print::Decimal];

/// The digits of a card, by arithmetic on its bits as text.
fn print(capture: &Capture, how: Print, left: bool) -> String {
    let bits = capture.to_string();
    let to = match how {
        Print::Nibble => bits.len().next_multiple_of(4),
        Print::Byte => bits.len().next_multiple_of(8),
        Print::Word | Print::Least | Print::Decimal => bits.len().next_multiple_of(32),
    };
    let padded = if left { format!("{bits:0<to$}") } else { format!("{bits:0>to$}") };
    let digits: String = (0..to / 4)
        .map(|i| u8::from_str_radix(&padded[4 * i..4 * i + 4], 2).unwrap())
        .map(|digit| format!("{digit:X}"))
        .collect();
    let least = |digits: &str| match digits.trim_start_matches('0') {
        "" => "0".to_owned(),
        some => some.to_owned(),
    };
    match how {
        Print::Least => least(&digits),
        Print::Decimal => u128::from_str_radix(&digits, 16).unwrap().to_string(),
        _ => digits,
    }
}

/// What was printed: the layout, or none, and the capture.
type Truth = (Option<&'static Layout>, Capture);

/// A site of one or two layouts with a site code or two, or of unknown cards.
fn site(rng: &mut Rng, count: usize) -> Vec<Truth> {
    let mut lengths: Vec<usize> = builtin().layouts().iter().map(Layout::length).collect();
    lengths.sort_unstable();
    lengths.dedup();
    lengths.retain(|length| *length <= 82);
    let kinds: Vec<Option<&Layout>> = (0..=rng.usize(..2))
        .map(|_| {
            let length = lengths[rng.usize(..lengths.len())];
            let of: Vec<&Layout> =
                builtin().layouts().iter().filter(|l| l.length() == length).collect();
            (rng.u8(..10) > 0).then(|| of[rng.usize(..of.len())])
        })
        .collect();
    let mut unknown = 20 + rng.usize(..45);
    while lengths.contains(&unknown) {
        unknown = 20 + rng.usize(..45);
    }
    let code = rng.u128(..);
    (0..count)
        .map(|_| {
            let kind = kinds[rng.usize(..kinds.len())];
            let odd = rng.u8(..10) == 0;
            let any = rng.u128(..);
            let capture = match kind {
                None => Capture::from_bits((0..unknown).map(|_| rng.bool())),
                Some(layout) => Ok(card(layout, |field| {
                    let repeats = field.role == Role::Site && !odd;
                    let number = if repeats { code } else { any ^ rng.u128(..) };
                    number >> (128 - field.span.len())
                })
                .unwrap()),
            };
            (kind, capture.unwrap())
        })
        .collect()
}

/// Best probability and whether it was right; whether it was settled.
struct Told {
    sure: f64,
    right: bool,
    settled: bool,
}

fn told(seed: u64, count: usize) -> Vec<Told> {
    let rng = &mut Rng::with_seed(seed);
    let cards = site(rng, count);
    let how = PRINTS[rng.usize(..PRINTS.len())];
    let left = rng.u8(..8) == 0 && !matches!(how, Print::Least);
    let longest = cards.iter().map(|(_, capture)| capture.len()).max().unwrap();
    let how = if longest > 64 && matches!(how, Print::Decimal) { Print::Byte } else { how };
    let digits: Vec<Digits> = cards
        .iter()
        .map(|(_, capture)| {
            let text = print(capture, how, left);
            match how {
                Print::Decimal => Digits::decimal(&text).unwrap(),
                _ => Digits::hexadecimal(&text).unwrap(),
            }
        })
        .collect();
    let mut batch = Batch::new(builtin(), None);
    let known = Known::default();
    digits.iter().for_each(|digits| batch.see_digits("", digits, &known));
    let fit = batch.fit();
    let answers = digits.iter().map(|digits| fit.answer_digits("", digits, &known));
    let told: Vec<Told> = answers
        .zip(&cards)
        .map(|(answer, (layout, capture))| {
            let named: f64 = answer.candidates.iter().map(|c| c.probability).sum();
            let all = named + answer.none_probability + answer.other_probability;
            assert!((all - 1.0).abs() < 1e-6, "{all}");
            let best = answer.candidates.first();
            let known = best.filter(|best| best.probability > answer.none_probability);
            let right = match (known, layout) {
                // Two layouts of one length and the same checks are one answer here.
                (Some(best), Some(layout)) => {
                    best.word == *capture && best.layout.length() == layout.length()
                }
                (None, None) => true,
                _ => false,
            };
            let twins = |best: &holdover::rank::Candidate<'_>| -> f64 {
                let same = answer.candidates.iter().filter(|c| c.word == best.word);
                same.filter(|c| c.layout.length() == best.layout.length())
                    .map(|c| c.probability)
                    .sum()
            };
            let sure = known.map_or(answer.none_probability, twins);
            Told { sure, right, settled: answer.verdict == Verdict::Identified }
        })
        .collect();
    if std::env::var("DIGITS_SHOW").is_ok() {
        for ((answer, (layout, capture)), digits) in
            digits.iter().map(|d| fit.answer_digits("", d, &known)).zip(&cards).zip(&digits)
        {
            let best = answer.candidates.first();
            println!(
                "{how:?} {left} {} {capture} {digits:?} -> {:?} {:?} none {:.3}",
                layout.map_or("none", Layout::id),
                answer.verdict,
                best.map(|b| (b.layout.id(), b.probability, b.word == *capture)),
                answer.none_probability
            );
        }
    }
    told
}

/// Mean probability claimed, share right, and how many answers.
type Rate = (f64, f64, f64);

/// How often answers of a probability are right, over many sites of a size:
/// mean claimed, share right, and how many.
fn rates(count: usize, sites: u64, first: u64) -> (Vec<Rate>, (f64, f64)) {
    let all: Vec<Told> =
        (first..first + sites).into_par_iter().flat_map(|seed| told(seed, count)).collect();
    let edges = [0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.01];
    let bins = edges.windows(2).map(|edge| {
        let of: Vec<&Told> =
            all.iter().filter(|told| (edge[0]..edge[1]).contains(&told.sure)).collect();
        let right = of.iter().filter(|told| told.right).count() as f64;
        let sure: f64 = of.iter().map(|told| told.sure).sum();
        let n = of.len() as f64;
        (sure / n.max(1.0), right / n.max(1.0), n)
    });
    let settled = all.iter().filter(|told| told.settled);
    let wrong = settled.clone().filter(|told| !told.right).count() as f64;
    (bins.collect(), (wrong, settled.count() as f64))
}

#[test]
fn digits_are_answered_with_honest_probabilities() {
    for (count, sites) in [(1, 600), (5, 100), (20, 20)] {
        let (bins, (wrong, settled)) = rates(count, sites, 90_000);
        let mut off = 0.0;
        let mut all = 0.0;
        for (sure, right, n) in bins {
            println!("{count:>3} cards: claimed {sure:.3}, right {right:.3} of {n}");
            off += n * (sure - right).abs();
            all += n;
        }
        println!(
            "{count:>3} cards: calibration error {:.3}; {wrong} of {settled} settled wrongly, of {all}",
            off / all
        );
        assert!(off / all < 0.1, "{count} cards: {}", off / all);
        assert!(wrong <= 0.03 * settled + 3.0, "{count}: {wrong} of {settled} settled wrongly");
    }
}
