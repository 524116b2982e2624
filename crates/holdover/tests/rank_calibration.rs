//! Probabilities against a Bayes decoder that knows the truth of the mix.
//!
//! Source of the reference: Bayes' rule on the simulation's own parameters.

use std::collections::HashMap;

use crate::cards::card;
use fastrand::Rng;
use holdover::bits::Capture;
use holdover::layout::{Layout, Role, Table, Value, builtin};
use holdover::rank::{Batch, Observation};
use rayon::prelude::*;

/// One kind of card in a simulated batch.
struct Kind {
    id: &'static str,
    share: f64,
    /// Site codes and their shares; empty: every code alike.
    codes: Vec<(u128, f64)>,
}

struct Mix {
    table: Table,
    kinds: Vec<Kind>,
    length: usize,
    unknown: f64,
}

impl Mix {
    fn layout(&self, kind: &Kind) -> &Layout {
        self.table.layout(kind.id).unwrap()
    }

    fn draw(&self, rng: &mut Rng) -> (Option<usize>, Capture) {
        let mut at = rng.f64() - self.unknown;
        if at < 0.0 {
            let bits = (0..self.length).map(|_| rng.bool()).collect::<Vec<_>>();
            return (None, Capture::from_bits(bits).unwrap());
        }
        let last = self.kinds.len() - 1;
        let kind = self.kinds.iter().position(|k| {
            at -= k.share;
            at < 0.0
        });
        let kind = kind.unwrap_or(last);
        let (layout, of) = (self.layout(&self.kinds[kind]), &self.kinds[kind]);
        let capture = card(layout, |field| {
            if field.role == Role::Site && !of.codes.is_empty() {
                let mut at = rng.f64();
                let code = of.codes.iter().find(|(_, share)| {
                    at -= share;
                    at < 0.0
                });
                code.unwrap_or(&of.codes[0]).0
            } else {
                rng.u128(..) >> (128 - field.span.len())
            }
        });
        (Some(kind), capture.unwrap())
    }

    /// The truth's posterior: kinds, then "none".
    fn bayes(&self, capture: &Capture) -> Vec<f64> {
        let mut odds: Vec<f64> = self
            .kinds
            .iter()
            .map(|kind| {
                let layout = self.layout(kind);
                if !layout.admits(capture) {
                    return 0.0;
                }
                let rarity = (layout.rank() as f64).exp2();
                let code = match (layout.site_span(), kind.codes.is_empty()) {
                    (Some(span), false) => {
                        let code = span.number(capture);
                        let share = kind.codes.iter().find(|(c, _)| *c == code);
                        share.map_or(0.0, |(_, s)| s * (span.len() as f64).exp2())
                    }
                    _ => 1.0,
                };
                kind.share * rarity * code
            })
            .collect();
        odds.push(self.unknown);
        let all: f64 = odds.iter().sum();
        odds.iter().map(|o| o / all).collect()
    }
}

const BINS: usize = 20;

/// Answers given a probability in one twentieth of 0 to 1.
#[derive(Debug, Clone, Copy, Default)]
struct Bin {
    answers: f64,
    promised: f64,
    right: f64,
}

/// Expected calibration error: the mean of |promised − right| over answers.
fn calibration_error(bins: &[Bin]) -> f64 {
    let all: f64 = bins.iter().map(|bin| bin.answers).sum();
    bins.iter().map(|bin| (bin.promised - bin.right).abs()).sum::<f64>() / all
}

#[derive(Debug)]
struct Score {
    bins: [Bin; BINS],
    right: f64,
    bayes_right: f64,
    log_loss: f64,
    bayes_log_loss: f64,
}

fn score(mix: &Mix, captures: usize, seed: u64) -> Score {
    let mut rng = Rng::with_seed(seed);
    let drawn: Vec<_> = (0..captures).map(|_| mix.draw(&mut rng)).collect();
    let mut batch = Batch::new(&mix.table, None);
    let observations: Vec<Observation> = drawn.iter().map(|(_, c)| Observation::from(*c)).collect();
    observations.iter().for_each(|s| batch.see(s));
    let fit = batch.fit();
    let ids: HashMap<&str, usize> =
        mix.kinds.iter().enumerate().map(|(i, kind)| (kind.id, i)).collect();
    let none = mix.kinds.len();
    let (mut right, mut bayes_right, mut loss, mut bayes_loss) = (0.0, 0.0, 0.0, 0.0);
    let mut bins = [Bin::default(); BINS];
    for ((truth, capture), observation) in drawn.iter().zip(&observations) {
        let truth = truth.unwrap_or(none);
        let answer = fit.answer(observation);
        let mut ours = vec![0.0; none + 1];
        ours[none] = answer.none_probability;
        for candidate in &answer.candidates {
            if let Some(kind) = ids.get(candidate.layout.id()) {
                ours[*kind] += candidate.probability;
            }
        }
        let sum: f64 = answer.candidates.iter().map(|c| c.probability).sum();
        assert!((sum + answer.none_probability + answer.other_probability - 1.0).abs() < 1e-9);
        let bayes = mix.bayes(capture);
        let top = |p: &[f64]| (0..p.len()).fold(0, |best, i| if p[i] > p[best] { i } else { best });
        right += f64::from(u8::from(top(&ours) == truth));
        bayes_right += f64::from(u8::from(top(&bayes) == truth));
        loss -= ours[truth].max(1e-12).log2();
        bayes_loss -= bayes[truth].max(1e-12).log2();
        for (i, p) in ours.iter().enumerate() {
            let bin = &mut bins[((p * BINS as f64) as usize).min(BINS - 1)];
            bin.answers += 1.0;
            bin.promised += p;
            bin.right += f64::from(u8::from(i == truth));
        }
    }
    let n = captures as f64;
    Score {
        bins,
        right: right / n,
        bayes_right: bayes_right / n,
        log_loss: loss / n,
        bayes_log_loss: bayes_loss / n,
    }
}

fn layout(id: &str, site: &str, card: &str, checks: &[(&str, usize, &str)]) -> String {
    let mut text = format!(
        "[[layout]]\nid = \"{id}\"\nlength = 26\nbasis = \"invented for this test\"\n\
         [[layout.field]]\nrole = \"site\"\nspan = \"{site}\"\n\
         [[layout.field]]\nrole = \"card\"\nspan = \"{card}\"\n"
    );
    for (kind, bit, over) in checks {
        text += &format!("[[layout.check]]\nkind = \"{kind}\"\nbit = {bit}\nover = \"{over}\"\n");
    }
    text
}

fn codes(rng: &mut Rng, bits: u32, count: usize) -> Vec<(u128, f64)> {
    let weights: Vec<f64> = (1..=count).map(|i| 1.0 / i as f64).collect();
    let all: f64 = weights.iter().sum();
    let mut codes: Vec<u128> = Vec::new();
    while codes.len() < count {
        let code = u128::from(rng.u32(..1 << bits));
        if !codes.contains(&code) {
            codes.push(code);
        }
    }
    codes.into_iter().zip(weights).map(|(code, weight)| (code, weight / all)).collect()
}

/// Several layouts of 26 bits: other covers, kinds and field places; one
/// check or two; two with the same checks, one's codes finer than the other's.
fn mix(seed: u64) -> Mix {
    let mut rng = Rng::with_seed(seed);
    let text = [
        layout("a", "2-9", "10-25", &[("even", 1, "2-13"), ("odd", 26, "14-25")]),
        layout("b", "2-13", "14-25", &[("even", 1, "2-13"), ("odd", 26, "14-25")]),
        layout("c", "18-25", "2-17", &[("odd", 1, "2-25"), ("even", 26, "1-13")]),
        layout("d", "2-11", "1,12-25", &[("odd", 26, "1-25")]),
        layout("e", "2-7", "8-25", &[("even", 26, "2-25")]),
    ]
    .concat();
    let table = Table::from_toml(&text).unwrap();
    let mut kinds = vec![
        Kind { id: "a", share: rng.f64() + 0.1, codes: codes(&mut rng, 8, 3) },
        Kind { id: "b", share: rng.f64() + 0.1, codes: codes(&mut rng, 12, 12) },
        Kind { id: "c", share: rng.f64() * 0.3, codes: codes(&mut rng, 8, 2) },
        Kind { id: "d", share: rng.f64() * 0.3, codes: codes(&mut rng, 10, 1) },
        Kind { id: "e", share: rng.f64() * 0.4, codes: Vec::new() },
    ];
    let unknown = 0.02 + 0.2 * rng.f64();
    let all: f64 = kinds.iter().map(|kind| kind.share).sum::<f64>() / (1.0 - unknown);
    kinds.iter_mut().for_each(|kind| kind.share /= all);
    Mix { table, kinds, length: 26, unknown }
}

#[test]
fn answers_given_probability_p_are_right_with_frequency_p() {
    let scores: Vec<(u64, Score)> =
        (1..=4).into_par_iter().map(|seed| (seed, score(&mix(seed), 20_000, 100 + seed))).collect();
    for (seed, score) in scores {
        println!(
            "mix {seed}: calibration error {:.4}, right {:.4} of {:.4}, log loss {:.4} of {:.4}",
            calibration_error(&score.bins),
            score.right,
            score.bayes_right,
            score.log_loss,
            score.bayes_log_loss
        );
        assert!(calibration_error(&score.bins) <= 0.02, "{score:?}");
        assert!(score.bayes_right - score.right <= 0.005, "{score:?}");
        assert!(score.log_loss - score.bayes_log_loss <= 0.02, "{score:?}");
    }
}

/// Two layouts with the same checks, one with site codes that repeat, one
/// whose numbers are spread evenly: whose the odd codes are, no capture tells,
/// but many of them are the second's.
#[test]
fn many_odd_codes_are_not_laid_to_a_layout_that_repeats() {
    let text = [
        layout("a", "2-7", "8-25", &[("even", 1, "2-13"), ("odd", 26, "14-25")]),
        layout("b", "2-17", "18-25", &[("even", 1, "2-13"), ("odd", 26, "14-25")]),
    ]
    .concat();
    let mut rng = Rng::with_seed(6);
    let kinds = vec![
        Kind { id: "a", share: 0.3, codes: codes(&mut rng, 6, 4) },
        Kind { id: "b", share: 0.6, codes: Vec::new() },
    ];
    let mix = Mix { table: Table::from_toml(&text).unwrap(), kinds, length: 26, unknown: 0.1 };
    let score = score(&mix, 20_000, 6);
    assert!(calibration_error(&score.bins) <= 0.02, "{score:?}");
    assert!(score.bayes_right - score.right <= 0.005, "{score:?}");
    assert!(score.log_loss - score.bayes_log_loss <= 0.02, "{score:?}");
}

/// Thirty captures tell little of the mix; what is said must still be true.
#[test]
fn small_batches_stay_honest() {
    let scores: Vec<Score> =
        (0..300).into_par_iter().map(|seed| score(&mix(seed), 30, 1000 + seed)).collect();
    let mut bins = [Bin::default(); BINS];
    for score in &scores {
        for (bin, more) in bins.iter_mut().zip(&score.bins) {
            bin.answers += more.answers;
            bin.promised += more.promised;
            bin.right += more.right;
        }
    }
    let error = calibration_error(&bins);
    println!("300 batches of 30: calibration error {error:.4}");
    // Judgement: the mixes are drawn without regard to the model's prior.
    assert!(error <= 0.03, "{error} {bins:?}");
}

/// Cards of 26 and 34 bits, one site code each, from one reader.
fn two_kinds(rng: &mut Rng, swapped: bool) -> Vec<Observation> {
    let (site26, site34) = (rng.u128(..256), rng.u128(..65536));
    let card = |rng: &mut Rng| {
        let (id, site) = if rng.bool() { ("std26", site26) } else { ("site34", site34) };
        let values = [("site", Value::Number(site)), ("card", Value::Number(rng.u128(..65536)))];
        let word = builtin().layout(id).unwrap().compose(values).unwrap();
        Observation::from(if swapped { word.complement() } else { word })
    };
    (0..20).map(|_| card(rng)).collect()
}

fn swapped_probability(observations: &[Observation]) -> f64 {
    let mut batch = Batch::new(builtin(), None);
    observations.iter().for_each(|s| batch.see(s));
    batch.fit().wiring()[0].probability[1]
}

#[test]
fn swapped_lines_are_named_and_never_invented() {
    let mut rng = Rng::with_seed(7);
    for _ in 0..200 {
        let observations = two_kinds(&mut rng, true);
        let probability = swapped_probability(&observations);
        assert!(probability > 0.99, "{probability}");
    }
    for _ in 0..1000 {
        let observations = two_kinds(&mut rng, false);
        let probability = swapped_probability(&observations);
        assert!(probability < 0.01, "{probability}");
    }
}

/// Each reader is judged for itself, by its own captures.
#[test]
fn one_swapped_reader_among_three_is_found() {
    let mut rng = Rng::with_seed(8);
    let mut batch = Batch::new(builtin(), None);
    for (reader, swapped) in [("yard", false), ("loft", true), ("lock", false)] {
        for mut observation in two_kinds(&mut rng, swapped) {
            observation.reader = reader.to_owned();
            batch.see(&observation);
        }
    }
    for wiring in batch.fit().wiring() {
        let swapped = wiring.probability[1];
        assert_eq!(swapped > 0.99, wiring.reader == "loft", "{wiring:?}");
        assert_eq!(swapped < 0.01, wiring.reader != "loft", "{wiring:?}");
    }
}

/// Rows in any order give the same answers, to the last bit.
#[test]
fn order_of_rows_does_not_matter() {
    let mut rng = Rng::with_seed(9);
    let mix = mix(5);
    let mut observations: Vec<Observation> =
        (0..500).map(|_| Observation::from(mix.draw(&mut rng).1)).collect();
    let answers = |observations: &[Observation], of: &[Observation]| {
        let mut batch = Batch::new(&mix.table, None);
        observations.iter().for_each(|s| batch.see(s));
        let fit = batch.fit();
        of.iter().map(|s| fit.answer(s).none_probability).collect::<Vec<_>>()
    };
    let of = observations.clone();
    let before = answers(&observations, &of);
    rng.shuffle(&mut observations);
    assert_eq!(before, answers(&observations, &of));
}
