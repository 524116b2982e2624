//! Every word of the 26-bit card.
//!
//! Source of the counts: counting; two independent parity checks admit a
//! quarter of all words.

use crate::whole::whole;
use holdover::bits::Capture;
use holdover::decode::Decode;
use holdover::layout::{Value, builtin};
use rayon::prelude::*;

#[test]
fn all_words_of_the_26_bit_card() {
    let layout = builtin().layout("std26").unwrap();
    let covered = layout.rules().iter().fold(holdover::bits::Wide::ZERO, |all, r| all | r.bits());
    assert_eq!(covered.count_ones(), 26);
    // A prime, so that every bit varies.
    let step = if whole() { 1 } else { 7 };
    let admitted: u64 = (0..(1u32 << 26) / step)
        .into_par_iter()
        .map(|nth| nth * step)
        .map(|number| {
            let word = Capture::from_number(u128::from(number), 26).unwrap();
            if !layout.admits(&word) {
                return 0;
            }
            let decode = Decode { layout, word };
            let values: Vec<(&str, Value)> = decode.fields().collect();
            assert_eq!(layout.compose(values).unwrap(), word);
            // Every single-bit error in a covered bit is caught.
            for bit in 0..26 {
                let wrong = Capture::from_number(u128::from(number ^ 1 << bit), 26).unwrap();
                assert!(!layout.admits(&wrong), "{wrong}");
            }
            1
        })
        .sum();
    if step == 1 {
        assert_eq!(admitted, 1 << 24);
    }
}

/// Any text on parity codes: two errors under one check cancel. 156 of the
/// 325 pairs lie under the same one (2 × 13·12/2).
#[test]
fn two_bit_errors_missed_are_156_of_325() {
    let layout = builtin().layout("std26").unwrap();
    let word = layout.compose([("site", 65), ("card", 4321)]).unwrap().wide();
    let flipped = |a: usize, b: usize| {
        let mut wrong = word;
        wrong.set(a, !word.bit(a));
        wrong.set(b, !word.bit(b));
        Capture::from_wide(wrong, 26).unwrap()
    };
    let pairs = (0..26).flat_map(|a| (a + 1..26).map(move |b| (a, b)));
    let missed = pairs.clone().filter(|(a, b)| layout.admits(&flipped(*a, *b))).count();
    assert_eq!((missed, pairs.count()), (156, 325));
}

/// Composing and decoding give every built-in layout's values back, and one
/// flipped bit under a check is caught.
#[test]
fn every_built_in_layout_composes_and_decodes() {
    let mut rng = fastrand::Rng::with_seed(3);
    for layout in builtin().layouts() {
        for _ in 0..500 {
            let values: Vec<(&str, Value)> = layout
                .fields()
                .iter()
                .map(|field| {
                    let value = match field.digits() {
                        Some(digits) => {
                            Value::Digits((0..digits).map(|_| rng.digit(10)).collect::<String>())
                        }
                        None => Value::Number(rng.u128(..) >> (128 - field.span.len())),
                    };
                    (field.role.name(), value)
                })
                .collect();
            // One field of a UUID holds bits that its checks fix.
            let Ok(word) = layout.compose(values.clone()) else {
                assert_eq!(layout.id(), "uuid128");
                continue;
            };
            assert!(layout.admits(&word), "{}", layout.id());
            let decode = Decode { layout, word };
            assert_eq!(decode.fields().collect::<Vec<_>>(), values, "{}", layout.id());
            for rule in layout.rules() {
                let holdover::layout::Rule::Relations { .. } = rule else { continue };
                for offset in rule.bits().offsets() {
                    let mut wrong = word.wide();
                    wrong.set(offset, !wrong.bit(offset));
                    assert!(!rule.holds(wrong), "{}: {}", layout.id(), rule.name());
                }
            }
        }
    }
}
