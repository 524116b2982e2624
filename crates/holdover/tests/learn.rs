//! Learning, case by case: the ways a number can be printed and stored, dirty
//! piles, tables that ship, and input meant to break it.

use std::iter;

use fastrand::Rng;
use holdover::bits::{Capture, Span};
use holdover::decode::Decode;
use holdover::layout::{Check, Code, Field, Layout, LayoutSpec, Role, Value, builtin};
use holdover::learn::{Learnt, Options, Sample, Why, learn};

use crate::cards::card;

fn one(samples: &[Sample]) -> Learnt {
    let mut learnt = learn(samples, &Options::default());
    assert_eq!(learnt.len(), 1, "{learnt:?}");
    learnt.remove(0)
}

fn span(learnt: &Learnt, role: &str) -> Option<String> {
    learnt.fields.iter().find(|f| f.role.name() == role).map(|f| f.span.to_string())
}

fn could_be(learnt: &Learnt, role: &str) -> Vec<String> {
    let field = learnt.fields.iter().find(|f| f.role.name() == role);
    field.map_or(Vec::new(), |f| f.could_be.iter().map(Span::to_string).collect())
}

fn checks(learnt: &Learnt) -> Vec<String> {
    learnt.checks.iter().map(|found| found.check.to_string()).collect()
}

/// A layout with these fields and checks.
fn layout(length: usize, fields: &[(&str, &str, Code)], checks: &[Check]) -> Layout {
    let field = |(role, span, code): &(&str, &str, Code)| Field {
        code: *code,
        ..Field::binary(Role::new(role), span.parse().unwrap())
    };
    Layout::new(LayoutSpec {
        id: "truth".into(),
        title: String::new(),
        length,
        basis: "invented".into(),
        weight: 1.0,
        fields: fields.iter().map(field).collect(),
        checks: checks.to_vec(),
        unsettled: Vec::new(),
    })
    .unwrap()
}

fn parity(kind: &str, bit: usize, over: &str) -> Check {
    let bit = holdover::bits::Position::new(bit).unwrap();
    Check::Parity { odd: kind == "odd", bit, over: over.parse().unwrap() }
}

fn cards(
    layout: &Layout,
    site: u128,
    numbers: impl IntoIterator<Item = u128>,
    print: impl Fn(u128) -> String,
) -> Vec<Sample> {
    numbers
        .into_iter()
        .enumerate()
        .map(|(i, card)| {
            let has_site = layout.fields().iter().any(|f| f.role == Role::Site);
            let mut values = vec![("card", Value::Number(card))];
            if has_site {
                values.push(("site", Value::Number(site)));
            }
            let capture = layout.compose(values).unwrap();
            Sample { printed: Some(print(card)), ..Sample::new(i + 2, capture) }
        })
        .collect()
}

fn random(seed: u64, count: usize, below: u128) -> Vec<u128> {
    let mut rng = Rng::with_seed(seed);
    (0..count).map(|_| rng.u128(0..below)).collect()
}

fn std26() -> &'static Layout {
    builtin().layout("std26").unwrap()
}

#[test]
fn json_has_the_keys_in_their_order() {
    let learnt = one(&cards(std26(), 65, random(1, 24, 1 << 16), |n| n.to_string()));
    let json = serde_json::to_string(&learnt).unwrap();
    let order = [
        "{\"length\":26,\"samples\":24,\"fields\":[{\"role\":\"card\",\"span\":\"10-25\",\"settled\":true,\"could_be\":[\"10-25\"],",
        "\"code\":\"binary\",\"factor\":1,\"offset\":0}]",
        ",\"checks\":[{\"kind\":\"even\",\"bit\":1,\"over\":\"2-13\",\"settled\":false,\"undetermined\":\"2-9\"},",
        "{\"kind\":\"odd\",\"bit\":26,\"over\":\"14-25\",\"settled\":true,\"undetermined\":\"\"}],",
        "\"false_alarms_expected\":",
        ",\"misread\":[],\"next_sample\":\"one card of another site code would settle most: bits 2-9\",",
        "\"layout\":{\"id\":\"found26\",\"title\":\"26 bits, worked out from captures\",\"length\":26,\"basis\":\"worked out from captures\",\"field\":[{\"role\":\"card\",\"span\":\"10-25\"}],\"check\":[{\"kind\":\"even\",\"bit\":1,\"over\":\"2-13\",\"settled\":false,\"open\":\"2-9\"},{\"kind\":\"odd\",\"bit\":26,\"over\":\"14-25\"}]},",
        "\"reading\":\"as-captured\",\"notes\":[\"",
        "\"],\"left_out\":[],\"failure\":null}",
    ];
    let mut rest = &json[..];
    for part in order {
        let at = rest.find(part).unwrap_or_else(|| panic!("{part}\n in {json}"));
        rest = &rest[at + part.len()..];
    }
    assert!(rest.is_empty());
}

#[test]
fn prints_of_the_trade() {
    let numbers = random(2, 24, 1 << 16);
    let print: [(&str, &dyn Fn(u128) -> String); 8] = [
        ("plain", &|n| n.to_string()),
        ("leading zeros", &|n| format!("{n:05}")),
        ("site and dash", &|n| format!("65-{n}")),
        ("site and comma", &|n| format!("065,{n:05}")),
        ("site and slash, text around", &|n| format!("No 65/{n:05} B")),
        ("nothing between", &|n| format!("65{n:05}")),
        ("hexadecimal", &|n| format!("{n:04X}")),
        ("whole card and both parts", &|n| format!("{:010} 065,{n:05}", 65 * 65536 + n)),
    ];
    for (name, print) in print {
        let learnt = one(&cards(std26(), 65, numbers.clone(), print));
        assert_eq!(learnt.failure, None, "{name}");
        assert_eq!(span(&learnt, "card").as_deref(), Some("10-25"), "{name}: {learnt:?}");
        let told = !["plain", "leading zeros", "hexadecimal"].contains(&name);
        if told {
            assert_eq!(span(&learnt, "site").as_deref(), Some("2-9"), "{name}: {learnt:?}");
        }
        assert_eq!(checks(&learnt), ["even 1 over 2-13", "odd 26 over 14-25"], "{name}");
    }
    // The whole card as one number is one field.
    let learnt = one(&cards(std26(), 65, numbers, |n| format!("{:010}", 65 * 65536 + n)));
    assert!(could_be(&learnt, "card").contains(&"2-25".to_owned()), "{learnt:?}");
}

#[test]
fn columns_for_site_and_card() {
    let mut rng = Rng::with_seed(3);
    let samples: Vec<Sample> = (0..30)
        .map(|i| {
            let (site, card) = (rng.u128(0..256), rng.u128(0..65536));
            let values = [("site", Value::Number(site)), ("card", Value::Number(card))];
            let capture = std26().compose(values).unwrap();
            Sample {
                site: Some(site.to_string()),
                card: Some(format!("{card:05}")),
                ..Sample::new(i + 2, capture)
            }
        })
        .collect();
    let learnt = one(&samples);
    assert_eq!(span(&learnt, "site").as_deref(), Some("2-9"));
    assert_eq!(span(&learnt, "card").as_deref(), Some("10-25"));
    assert!(learnt.fields.iter().all(|f| f.settled), "{learnt:?}");
    assert!(learnt.checks.iter().all(|f| f.settled), "{learnt:?}");
    assert_eq!(learnt.next_sample, None);
    assert_eq!(learnt.layout.unwrap().site_span().unwrap().to_string(), "2-9");
}

#[test]
fn orders_and_codes() {
    let cases = [
        ("3-34", Code::Binary),
        ("34-3", Code::Binary),
        ("27-34,19-26,11-18,3-10", Code::Binary),
        ("10-3,18-11,26-19,34-27", Code::Binary),
        ("3-34", Code::Bcd4),
        ("3-37", Code::Bcd5),
    ];
    for (place, code) in cases {
        let truth = layout(40, &[("card", place, code)], &[]);
        let most = if code == Code::Binary { 1 << 32 } else { 9_999_999 };
        let learnt = one(&cards(&truth, 0, random(4, 24, most), |n| n.to_string()));
        let field = &learnt.fields[0];
        assert_eq!(field.code, code, "{place}");
        assert!(field.could_be.contains(&place.parse().unwrap()), "{place} {code:?}: {learnt:?}");
        assert_eq!(learnt.failure, None);
    }
}

#[test]
fn a_constant_offset_is_said() {
    let truth = layout(
        37,
        &[("site", "2-17", Code::Binary), ("card", "18-36", Code::Binary)],
        &[parity("even", 1, "2-19"), parity("odd", 37, "19-36")],
    );
    let learnt = one(&cards(&truth, 901, random(5, 24, 1 << 19), |n| (n + 100_000).to_string()));
    let card = &learnt.fields[0];
    assert_eq!(
        (card.span.to_string().as_str(), card.print.offset),
        ("18-36", 100_000),
        "{learnt:?}"
    );
    assert!(!card.settled);
    assert!(learnt.notes.iter().any(|note| note.contains("100000")), "{:?}", learnt.notes);
    assert_eq!(learnt.failure, None);
}

#[test]
fn another_site_card_tells_what_one_site_cannot() {
    let mut samples = cards(std26(), 65, random(6, 24, 1 << 16), |n| n.to_string());
    for (i, site) in
        [3u128, 250, 129, 84, 16, 77, 200, 33, 190, 7, 101, 222, 91, 45].into_iter().enumerate()
    {
        let more = cards(std26(), site, [1000 + 777 * i as u128], |n| n.to_string());
        samples.extend(more.into_iter().map(|s| Sample { line: 100 + i, ..s }));
    }
    let learnt = one(&samples);
    assert!(learnt.misread.is_empty(), "{:?}", learnt.misread);
    assert_eq!(checks(&learnt), ["even 1 over 2-13", "odd 26 over 14-25"]);
    assert!(learnt.checks.iter().all(|check| check.settled), "{learnt:?}");
}

#[test]
fn patterns_of_the_trade() {
    let field = [("card", "2-30", Code::Binary)];
    let cases: [(&str, Vec<Check>); 5] = [
        ("alternate", vec![parity("even", 1, "2,4,6,8,10,12,14,16,18,20,22,24,26,28,30")]),
        ("two of three", vec![parity("odd", 1, "2-3,5-6,8-9,11-12,14-15,17-18,20-21")]),
        ("two of three, other phase", vec![parity("odd", 31, "2,4-5,7-8,10-11,13-14,16-17")]),
        ("over everything else", vec![parity("even", 1, "2-13"), parity("odd", 31, "1-30")]),
        ("two runs", vec![parity("even", 31, "2-6,14-20")]),
    ];
    for (name, truth) in cases {
        let card = layout(31, &field, &truth);
        let learnt = one(&cards(&card, 0, random(7, 48, 1 << 29), |n| n.to_string()));
        // The same words are admitted, whatever the description.
        let found = learnt.layout.as_ref().unwrap();
        assert!(found.same_rules(&card), "{name}: {:?}", checks(&learnt));
        let settled = learnt.checks.iter().all(|check| check.settled);
        assert!(settled || learnt.never_varied.is_some(), "{name}: {learnt:?}");
    }
}

/// A check over the bits at prime numbers, and one over every third bit, which no
/// run and no usual pattern gives.
#[test]
fn what_no_usual_cover_gives_is_found_by_algebra() {
    let field = [("card", "2-30", Code::Binary)];
    let usual = parity("even", 1, "2-15");
    for over in ["2-3,5,7,11,13,17,19,23,29", "1-2,5,8,11,14,17,20,23,26,29"] {
        let card = layout(31, &field, &[usual.clone(), parity("odd", 31, over)]);
        let learnt = one(&cards(&card, 0, random(12, 60, 1 << 29), |n| n.to_string()));
        let found = learnt.layout.as_ref().unwrap();
        assert!(found.same_rules(&card), "{over}: {:?}", checks(&learnt));
        let said = |note: &String| note.contains(over) && note.contains("algebra alone");
        assert!(learnt.notes.iter().any(said), "{:?}", learnt.notes);
    }
}

/// A number whose bits stand in no order is read all the same.
#[test]
fn a_scattered_number_is_found_by_algebra() {
    let places = "9,2,16,5,11,3,14,7,18,4,10,6";
    let card = layout(20, &[("card", places, Code::Binary)], &[]);
    let learnt = one(&cards(&card, 0, random(13, 60, 1 << 12), |n| n.to_string()));
    assert_eq!((span(&learnt, "card").as_deref(), learnt.fields[0].settled), (Some(places), false));
    assert!(learnt.layout.is_some() && learnt.failure.is_none(), "{learnt:?}");
}

#[test]
fn row_and_column_parity() {
    // Four words of seven bits, each with its own parity bit, then a check word.
    let mut checks_of = Vec::new();
    for word in 0..4 {
        let first = 8 * word + 1;
        checks_of.push(parity("odd", first + 7, &format!("{first}-{}", first + 6)));
    }
    checks_of.push(Check::Lrc {
        group: 8,
        over: "1-32".parse().unwrap(),
        at: "33-40".parse().unwrap(),
    });
    let card = layout(40, &[("card", "1-7,9-15,17-23,25-31", Code::Binary)], &checks_of);
    let mut rng = Rng::with_seed(8);
    let samples: Vec<Sample> = (0..60)
        .map(|i| {
            let number = rng.u128(0..1 << 28);
            let capture = card.compose([("card", Value::Number(number))]).unwrap();
            // The last word alone is printed.
            Sample { printed: Some((number & 127).to_string()), ..Sample::new(i + 2, capture) }
        })
        .collect();
    let learnt = one(&samples);
    let found = checks(&learnt);
    assert!(found.contains(&"lrc at 33-40 of 8-bit words over 1-32".to_owned()), "{found:?}");
    assert_eq!(found.len(), 5, "{found:?}");
    assert_eq!(span(&learnt, "card").as_deref(), Some("25-31"));
}

#[test]
fn misread_cards_are_named_with_a_reason() {
    let mut samples =
        cards(std26(), 65, (0..40).map(|i| 1200 + 1597 * i % 64000), |n| n.to_string());
    let flip = |capture: Capture, at: usize| {
        Capture::from_bits(capture.bits().enumerate().map(|(i, bit)| bit ^ (i == at))).unwrap()
    };
    let transposed = {
        let mut digits: Vec<char> = samples[3].printed.clone().unwrap().chars().collect();
        digits.swap(0, 1);
        digits.into_iter().collect::<String>()
    };
    samples[3].printed = Some(transposed);
    samples[10].capture = samples[10].capture.complement();
    samples[20].capture = flip(samples[20].capture, 25);
    samples[30].capture = flip(samples[30].capture, 15);
    samples[35].capture = samples[35].capture.without_last().unwrap();
    let learnt = one(&samples);
    let why = |line: usize| learnt.misread.iter().find(|m| m.line == line).map(|m| &m.why);
    assert_eq!(learnt.misread.len(), 5, "{:?}", learnt.misread);
    assert!(matches!(why(5), Some(Why::PrintDiffers { transposed: true, .. })));
    assert_eq!(why(12), Some(&Why::LinesSwapped));
    assert!(matches!(why(22), Some(Why::ChecksFail { .. })), "{:?}", why(22));
    assert!(
        matches!(why(32), Some(Why::PrintDiffers { bit: Some(bit), .. }) if bit.from_one() == 16)
    );
    assert_eq!(why(37), Some(&Why::Length { bits: 25, expected: 26 }));
    assert_eq!(checks(&learnt), ["even 1 over 2-13", "odd 26 over 14-25"]);
    assert_eq!(learnt.good.len(), 35);
    for misread in &learnt.misread {
        assert!(!misread.why.to_string().is_empty());
    }
}

#[test]
fn a_reader_with_swapped_lines() {
    let mut samples = cards(std26(), 65, random(9, 24, 1 << 16), |n| n.to_string());
    for sample in &mut samples {
        sample.capture = sample.capture.complement();
    }
    let learnt = one(&samples);
    assert!(learnt.lines_swapped);
    assert_eq!(span(&learnt, "card").as_deref(), Some("10-25"));
    assert_eq!(learnt.failure, None);
}

#[test]
fn kinds_in_one_pile_are_told_apart() {
    let other = layout(26, &[("card", "2-21", Code::Binary)], &[parity("even", 26, "2-21")]);
    let mut samples = cards(std26(), 65, random(10, 30, 1 << 16), |n| n.to_string());
    samples.extend(cards(&other, 0, random(11, 24, 1 << 20), |n| n.to_string()));
    samples.extend(cards(builtin().layout("site34").unwrap(), 9, random(12, 24, 1 << 16), |n| {
        n.to_string()
    }));
    let mut rng = Rng::with_seed(13);
    rng.shuffle(&mut samples);
    for (i, sample) in samples.iter_mut().enumerate() {
        sample.line = i + 2;
    }
    let learnt = learn(&samples, &Options::default());
    let found: Vec<(String, Option<String>, usize)> = learnt
        .iter()
        .map(|l| (l.layout.as_ref().unwrap().id().to_owned(), span(l, "card"), l.samples))
        .collect();
    assert_eq!(
        found,
        [
            ("found26".to_owned(), Some("10-25".to_owned()), 30),
            ("found26-2".to_owned(), Some("2-21".to_owned()), 24),
            ("found34".to_owned(), Some("18-33".to_owned()), 24),
        ]
    );
    let named: usize = learnt.iter().map(|l| l.good.len() + l.misread.len()).sum();
    assert_eq!(named, samples.len());
}

/// Of the kinds of one length eight are told apart, as is promised; no sample
/// of a ninth is lost.
#[test]
fn eight_kinds_are_told_apart_and_no_more() {
    // A kind is seen where it has a quarter of what is left of the pile.
    let sizes = [12, 12, 12, 15, 21, 29, 41, 57, 80];
    let kind = |nth: usize| {
        let span = format!("{}-{}", 16 * nth + 1, 16 * nth + 16);
        let kind = layout(160, &[("card", &span, Code::Binary)], &[]);
        cards(&kind, 0, random(20 + nth as u64, sizes[nth], 1 << 16), |n| n.to_string())
    };
    for kinds in [7, 8, 9] {
        let mut samples: Vec<Sample> = (0..kinds).flat_map(kind).collect();
        samples.iter_mut().zip(2..).for_each(|(sample, line)| sample.line = line);
        let learnt = learn(&samples, &Options::default());
        assert_eq!(learnt.len(), kinds.min(8));
        let misread: usize = learnt.iter().map(|l| l.misread.len()).sum();
        assert_eq!(misread, 12 * (kinds - learnt.len()));
        let named: usize = learnt.iter().map(|l| l.good.len() + l.misread.len()).sum();
        assert_eq!(named, samples.len());
    }
}

#[test]
fn without_a_print_a_counter_is_seen() {
    let mut samples = cards(std26(), 65, 4000..4100, |n| n.to_string());
    samples.iter_mut().for_each(|s| s.printed = None);
    let learnt = one(&samples);
    assert_eq!(learnt.counters[0].step, 1);
    let card = &learnt.fields[0];
    assert!(!card.settled);
    assert!(card.could_be.contains(&"10-25".parse().unwrap()), "{card:?}");
    assert!(learnt.checks.iter().all(|check| !check.settled), "{learnt:?}");
    // Without even that, nothing is guessed.
    let mut samples = cards(std26(), 65, random(14, 24, 1 << 16), |n| n.to_string());
    samples.iter_mut().for_each(|s| s.printed = None);
    let learnt = one(&samples);
    assert!(learnt.fields.is_empty() && learnt.layout.is_none());
    assert!(learnt.failure.is_some() && learnt.next_sample.is_some());
    assert_eq!(learnt.never_varied.as_ref().unwrap().to_string(), "2-9");
    assert!(learnt.checks.iter().all(|check| !check.settled), "{learnt:?}");
}

#[test]
fn the_tables_that_ship() {
    let mut rng = Rng::with_seed(15);
    for truth in builtin().layouts() {
        for count in [24, 100] {
            let samples: Vec<Sample> = (0..count)
                .map(|i| {
                    // A random UUID holds its version and variant, and keeps to them.
                    let random = |number: u128| match truth.id() {
                        "uuid128" => (number & !(1 << 79) & !(3 << 62)) | 2 << 62,
                        _ => number,
                    };
                    let capture = iter::repeat_with(|| card(truth, |_| random(rng.u128(..))))
                        .find_map(|card| card)
                        .unwrap();
                    let decode = Decode::new(truth, capture).unwrap();
                    Sample {
                        card: decode.card().map(|v| v.to_string()),
                        site: decode.site().map(|v| v.to_string()),
                        ..Sample::new(i + 2, capture)
                    }
                })
                .collect();
            let learnt = one(&samples);
            println!(
                "{} {count}: {:?} {:?} alarms {:.1e} {:?}",
                truth.id(),
                checks(&learnt),
                learnt
                    .fields
                    .iter()
                    .map(|f| format!("{}{} {}", f.role.name(), f.span, f.settled))
                    .collect::<Vec<_>>(),
                learnt.false_alarms_expected,
                learnt.failure
            );
            assert!(learnt.misread.is_empty(), "{}: {:?}", truth.id(), learnt.misread);
            for field in learnt.fields.iter().filter(|f| f.settled) {
                let right = match field.role {
                    Role::Site => truth.site_span(),
                    _ => truth.card_span(),
                };
                assert_eq!(Some(&field.span), right, "{}", truth.id());
            }
            for found in &learnt.checks {
                // Whatever is called a check holds for every card of the layout.
                let implied = found.check.relations().iter().all(|r| {
                    let rest = truth.system().reduce(*r);
                    rest.bits.is_zero() && !rest.constant
                });
                assert!(implied || !found.settled, "{}: {}", truth.id(), found.check);
                assert!(implied || found.undetermined.is_some(), "{}: {}", truth.id(), found.check);
            }
            if truth.fields().len() <= 2 {
                assert_eq!(
                    span(&learnt, "card"),
                    truth.card_span().map(Span::to_string),
                    "{}",
                    truth.id()
                );
                let expected =
                    truth.checks().iter().filter(|c| matches!(c, Check::Parity { .. })).count();
                assert_eq!(learnt.checks.len(), expected, "{}: {:?}", truth.id(), checks(&learnt));
            }
        }
    }
}

#[test]
fn input_meant_to_break_it() {
    let sound = |samples: Vec<Sample>| {
        let learnt = learn(&samples, &Options::default());
        for l in &learnt {
            serde_json::to_string(l).unwrap();
            assert!(l.fields.iter().all(|f| !f.settled) || l.layout.is_some());
        }
        let named: usize = learnt.iter().map(|l| l.good.len() + l.misread.len()).sum();
        assert_eq!(named, samples.len());
        learnt
    };
    assert!(sound(Vec::new()).is_empty());
    let mut rng = Rng::with_seed(16);
    let bits =
        |rng: &mut Rng, len: usize| Capture::from_bits((0..len).map(|_| rng.bool())).unwrap();
    for len in [1, 2, 26, 64, 65, 256] {
        for count in [1, 2, 3, 5, 24, 300] {
            let one = bits(&mut rng, len);
            // All alike; all random; contradictory prints; prints of 10,000 characters.
            sound((0..count).map(|i| Sample::new(i, one)).collect());
            sound((0..count).map(|i| Sample::new(i, bits(&mut rng, len))).collect());
            sound(
                (0..count)
                    .map(|i| Sample { printed: Some(i.to_string()), ..Sample::new(i, one) })
                    .collect(),
            );
            sound(
                (0..count)
                    .map(|i| Sample {
                        printed: Some("7 ".repeat(5000)),
                        ..Sample::new(i, bits(&mut rng, len))
                    })
                    .collect(),
            );
            sound(
                (0..count)
                    .map(|i| {
                        let noise: String =
                            (0..rng.usize(0..60)).map(|_| rng.char('\0'..'\u{3000}')).collect();
                        let digits: String =
                            (0..rng.usize(0..50)).map(|_| rng.char('0'..='f')).collect();
                        Sample {
                            printed: Some(noise.clone() + &digits),
                            site: Some(digits.clone()),
                            card: (i % 3 > 0).then_some(noise),
                            ..Sample::new(i, bits(&mut rng, len))
                        }
                    })
                    .collect(),
            );
            sound(
                (0..count)
                    .map(|i| Sample {
                        printed: Some("0".into()),
                        site: Some("0".into()),
                        ..Sample::new(i, Capture::from_number(0, len.min(128)).unwrap())
                    })
                    .collect(),
            );
        }
    }
    // Every length at once.
    sound(
        (1..=256)
            .map(|len| Sample {
                printed: Some(len.to_string()),
                ..Sample::new(len, bits(&mut rng, len))
            })
            .collect(),
    );
}

#[test]
fn many_rows() {
    let numbers = random(17, 100_000, 1 << 16);
    let samples = cards(std26(), 65, numbers, |n| n.to_string());
    let learnt = one(&samples);
    assert_eq!(checks(&learnt), ["even 1 over 2-13", "odd 26 over 14-25"]);
}

/// Piles of any size in which a share of the prints belongs to other cards:
/// the field is found, nothing else is called settled, and all rows with a
/// wrong print are named. A wrong span would have to agree by chance on 17
/// independent rows of 16 bits, chosen from a sample.
#[test]
fn wrong_prints_do_not_hide_the_field() {
    let mut rng = Rng::with_seed(31);
    for count in [100, 500, 2_000, 20_000, 100_000] {
        for percent in [0, 1, 5, 10, 30] {
            let numbers = random(count as u64 + percent, count, 1 << 16);
            let mut samples = cards(std26(), 65, numbers, |n| n.to_string());
            let mut wrong = 0;
            for sample in &mut samples {
                if rng.u64(..100) < percent {
                    let other = rng.u64(..1 << 16).to_string();
                    wrong += usize::from(sample.printed.as_ref() != Some(&other));
                    sample.printed = Some(other);
                }
            }
            let learnt = one(&samples);
            assert_eq!(span(&learnt, "card").as_deref(), Some("10-25"), "{count}, {percent} %");
            let prints =
                learnt.misread.iter().filter(|m| matches!(m.why, Why::PrintDiffers { .. }));
            let named = prints.count();
            assert_eq!(named, wrong, "{count}, {percent} %");
            assert!(
                learnt
                    .checks
                    .iter()
                    .all(|c| !c.settled || c.check.to_string() == "odd 26 over 14-25"),
                "{learnt:?}"
            );
        }
    }
}

/// Piles in another order give the same answer, to the last bit of what is
/// reckoned: small and large, clean and dirty, of one kind and of several.
#[test]
fn the_order_of_the_rows_changes_nothing() {
    let mut rng = Rng::with_seed(33);
    let options = Options { in_order: false, ..Options::default() };
    let answer = |samples: &[Sample]| {
        let mut learnt = learn(samples, &options);
        for kind in &mut learnt {
            kind.good.sort_unstable();
            kind.misread.sort_by_key(|misread| misread.line);
        }
        format!("{learnt:?}")
    };
    let kind = |span: &str, count: usize| {
        let checks = [parity("even", 1, "2-20"), parity("odd", 40, "1-39")];
        let kind = layout(40, &[("card", span, Code::Binary)], &checks);
        cards(&kind, 0, random(count as u64, count, 1 << 14), |n| n.to_string())
    };
    for count in [2, 5, 20, 60, 400, 1_500, 6_000] {
        for percent in [0, 4, 30] {
            for others in [0, count / 3] {
                let mut samples = kind("3-16", count);
                samples.extend(kind("20-33", others));
                samples.extend_from_within(..count / 5);
                for (sample, line) in samples.iter_mut().zip(2..) {
                    sample.line = line;
                    if rng.u64(..100) < percent {
                        sample.printed = Some(rng.u64(..1 << 14).to_string());
                    }
                }
                let wanted = answer(&samples);
                for _ in 0..2 {
                    rng.shuffle(&mut samples);
                    assert_eq!(answer(&samples), wanted, "{count}, {percent} %, {others}");
                }
            }
        }
    }
}

/// Two kinds of one length, as many of each, in turn or one after the other.
#[test]
fn two_kinds_half_and_half_are_told_apart_in_piles_of_any_size() {
    for half in [20, 100, 1_000, 10_000, 50_000] {
        for in_turn in [false, true] {
            let kind = |span: &str, seed: u64| {
                let kind = layout(40, &[("card", span, Code::Binary)], &[]);
                cards(&kind, 0, random(seed + half as u64, half, 1 << 16), |n| n.to_string())
            };
            let (first, second) = (kind("3-18", 1), kind("21-36", 2));
            let mut samples: Vec<Sample> = match in_turn {
                true => first.into_iter().zip(second).flat_map(|(a, b)| [a, b]).collect(),
                false => first.into_iter().chain(second).collect(),
            };
            samples.iter_mut().zip(2..).for_each(|(sample, line)| sample.line = line);
            let learnt = learn(&samples, &Options::default());
            let spans: Vec<_> = learnt.iter().map(|l| could_be(l, "card").concat()).collect();
            assert_eq!(learnt.len(), 2, "{half}, {in_turn}");
            assert!(
                spans.iter().any(|s| s.contains("18")) && spans.iter().any(|s| s.contains("36")),
                "{spans:?}"
            );
        }
    }
}

/// Prints that have nothing to do with the bits: a field is found by accident
/// in one pile of a hundred at most, for each of the readings of a print.
#[test]
fn prints_of_other_cards_give_no_field() {
    let mut rng = Rng::with_seed(32);
    let (mut piles, mut found) = (0, 0);
    for count in [3, 4, 6, 8, 12, 16, 24, 50, 100, 300, 1_000] {
        for width in [2, 3, 4, 6, 8, 12, 16] {
            for _ in 0..10 {
                let numbers = random(rng.u64(..), count, 1 << 16);
                let mut samples = cards(std26(), 65, numbers, |n| n.to_string());
                for sample in &mut samples {
                    sample.printed = Some(rng.u64(..1 << width).to_string());
                }
                let learnt = learn(&samples, &Options::default());
                let field = |l: &Learnt| l.fields.iter().any(|field| field.role == Role::Card);
                piles += 1;
                found += usize::from(learnt.iter().any(field));
            }
        }
    }
    println!("{found} of {piles}");
    assert!(found * 100 <= piles, "{found} of {piles}");
}
