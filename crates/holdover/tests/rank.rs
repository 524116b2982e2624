//! Ranking one capture at a time, and what it may be shortened to.
//!
//! Expected values are worked out by hand from the layouts; tables and numbers
//! are invented.

use std::collections::HashMap;

use crate::cards::card;
use fastrand::Rng;
use holdover::bits::Capture;
use holdover::decode::Reading;
use holdover::layout::{Layout, Role, Table, builtin};
use holdover::rank::{Answer, Batch, Doubt, Known, Mend, Observation, Verdict, model};
use holdover::site::Site;

fn capture(bits: &str) -> Capture {
    bits.parse().unwrap()
}

/// A table of invented layouts without checks: id, length, and role, span and
/// code of each field.
fn table(layouts: &[(&str, usize, &[[&str; 3]])]) -> Table {
    let mut text = String::new();
    for (id, length, fields) in layouts {
        text += &format!("[[layout]]\nid = \"{id}\"\nlength = {length}\nbasis = \"invented\"\n");
        for [role, span, code] in *fields {
            text += &format!(
                "[[layout.field]]\nrole = \"{role}\"\nspan = \"{span}\"\ncode = \"{code}\"\n"
            );
        }
    }
    Table::from_toml(&text).unwrap()
}

fn alone<'t>(table: &'t Table, observation: &Observation) -> Answer<'t> {
    let mut batch = Batch::new(table, None);
    batch.see(observation);
    batch.fit().answer(observation)
}

/// The 26-bit card of site 65, number 4321, its last bit inverted.
#[test]
fn the_nearest_misses_are_said_and_no_more() {
    let observation = Observation::from(capture("10100000100010000111000010"));
    let answer = alone(builtin(), &observation);
    assert_eq!(answer.verdict, Verdict::Unknown);
    let readings: Vec<Reading> = answer.candidates.iter().map(|c| c.reading).collect();
    assert_eq!(readings.len(), model::NEAR_MISSES, "{readings:?}");
    let mut chances = answer.candidates.iter().map(|c| c.probability);
    assert!(chances.clone().is_sorted_by(|a, b| a >= b) && chances.all(|p| p < 0.5));
}

/// The 26-bit card of site 65, number 4321, with a bit inside lost, or
/// one put in there: mending gives the card back. Beside one like it at an end
/// it is as good as that one lost or too many, and a reading says so.
#[test]
fn one_bit_in_doubt_is_mended_at_its_place() {
    let whole = "10100000100010000111000011";
    let must_come_back = |seen: Capture, doubt: Doubt, mend: Mend| {
        let known = Known { doubt, ..Known::default() };
        let observation = Observation { capture: seen, reader: String::new(), known };
        let answer = alone(builtin(), &observation);
        if answer.candidates.first().is_some_and(|best| best.word == capture(whole)) {
            assert!(mend.at == 2 || mend.at == 25, "{mend:?}");
            return;
        }
        let mended = answer.mended.expect("a bit is mended");
        assert_eq!((mended.first, mended.second), (mend, None));
        assert_eq!(mended.decode.word, capture(whole), "{mend:?}");
    };
    for at in 2..=25 {
        let lost = capture(&[&whole[..at - 1], &whole[at..]].concat());
        let doubt = Doubt { missing: vec![at], ..Doubt::default() };
        must_come_back(lost, doubt, Mend { at, put_in: true });
        let gained = capture(&[&whole[..at - 1], "1", &whole[at - 1..]].concat());
        let doubt = Doubt { suspect: vec![at], ..Doubt::default() };
        must_come_back(gained, doubt, Mend { at, put_in: false });
    }
}

/// The same bits twice, with other pulses in doubt each time, or none.
#[test]
fn one_capture_with_several_doubts_is_answered_each_time() {
    let bits = capture("101000001000100001110000110");
    let doubts: [&[usize]; 4] = [&[], &[5], &[5, 6], &[9, 10, 20]];
    let seen = doubts.map(|suspect| {
        let doubt = Doubt { suspect: suspect.to_vec(), ..Doubt::default() };
        let known = Known { doubt, ..Known::default() };
        Observation { capture: bits, reader: String::new(), known }
    });
    let mut batch = Batch::new(builtin(), None);
    seen.iter().for_each(|observation| batch.see(observation));
    let fit = batch.fit();
    for observation in &seen {
        let answer = fit.answer(observation);
        let listed: f64 = answer.candidates.iter().map(|c| c.probability).sum();
        let all = listed + answer.none_probability + answer.other_probability;
        assert!((all - 1.0).abs() < 1e-9, "{answer:?}");
    }
}

/// Two layouts that read the same bits and check nothing: what tells them apart
/// is how often the table says that they are met.
#[test]
fn weights_are_odds_where_nothing_else_tells() {
    for weight in [0.01, 0.5, 1.0, 4.0, 1000.0] {
        let layout = |id: &str, weight: f64| {
            format!(
                "[[layout]]\nid = \"{id}\"\nlength = 40\nbasis = \"invented\"\nweight = {weight}\n\
                 [[layout.field]]\nrole = \"card\"\nspan = \"1-40\"\n"
            )
        };
        let table = layout("usual", 1.0) + &layout("other", weight);
        let table = Table::from_toml(&table).unwrap();
        let bits = "0110100110010110100101100110100110010110";
        let answer = alone(&table, &Observation::from(capture(bits)));
        let chance = |id| {
            let of = answer.candidates.iter().filter(|c| c.layout.id() == id);
            of.map(|c| c.probability).sum::<f64>()
        };
        let odds = chance("other") / chance("usual");
        assert!((odds / weight - 1.0).abs() < 0.02, "{weight}: {odds}");
    }
}

/// A site code of 54 bits that keeps coming back explains captures so much
/// better than all else that nothing else is left beside it, in 64-bit
/// floating point: the shares are shares nevertheless.
#[test]
fn long_codes_that_repeat_leave_shares_of_one() {
    let card = ["card", "1", "binary"];
    let table =
        table(&[("flag80", 80, &[card]), ("long80", 80, &[["site", "61-8", "binary"], card])]);
    let bits = |length: usize, ones: &[usize]| {
        Capture::from_bits((1..=length).map(|at| ones.contains(&at))).unwrap()
    };
    let mut seen: Vec<Observation> = Vec::new();
    for (reader, capture) in [
        ("", bits(79, &[])),
        ("stair", bits(79, &[])),
        ("gate", bits(80, &[80])),
        ("gate", bits(80, &[])),
        ("", bits(80, &(1..80).collect::<Vec<_>>())),
        ("stair", bits(80, &(2..80).collect::<Vec<_>>())),
        ("", bits(81, &[])),
        ("", bits(79, &[1])),
        ("", bits(211, &[1, 3, 5])),
    ] {
        seen.push(Observation { capture, reader: reader.into(), known: Known::default() });
    }
    let mut batch = Batch::new(&table, None);
    seen.iter().for_each(|observation| batch.see(observation));
    let fit = batch.fit();
    for observation in &seen {
        let answer = fit.answer(observation);
        let named: f64 = answer.candidates.iter().map(|c| c.probability).sum();
        let all = named + answer.none_probability + answer.other_probability;
        assert!((all - 1.0).abs() < 1e-9, "{all}: {answer:?}");
    }
}

/// Captures of one signature have the same answer but for their numbers: also
/// where the site's cards are listed by decimal digits.
#[test]
fn signatures_tell_apart_what_answers_do() {
    // Six decimal digits of four bits, and the same bits as one number.
    let site = ["site", "1-8", "binary"];
    let table = table(&[
        ("digits32", 32, &[site, ["card", "9-32", "bcd4"]]),
        ("binary32", 32, &[site, ["card", "9-32", "binary"]]),
    ]);
    // The bits between the site code and what of a reversed word is one.
    let seen: Vec<Capture> = (0..0x400u32)
        .map(|n| Capture::from_bits((0..32).map(|at| n << 8 >> (31 - at) & 1 == 1)).unwrap())
        .collect();
    // The same bits, 0x010000 to 0x019900, in two ways.
    for (listed, cards) in [("digits32", "10000-19900"), ("binary32", "65536-104704")] {
        let batches = format!(
            "[[batch]]\nlayout = \"{listed}\"\nsite = 0\ncards = \"{cards}\"\nstate = \"issued\"\n"
        );
        let site = Site::from_toml(&batches, &table).unwrap();
        let (class_index, _) = signatures_stand_for_answers(&table, Some(&site), &seen, usize::MAX);
        let most = if listed == "digits32" { seen.len() } else { seen.len() - 1 };
        assert!((2..=most).contains(&class_index), "{class_index} signatures");
    }
}

/// A card of a layout: a site code below a limit, all else at random.
fn drawn(layout: &Layout, rng: &mut Rng, sites: u128) -> Option<Capture> {
    card(layout, |field| rng.u128(..if field.role == Role::Site { sites } else { u128::MAX }))
}

/// Captures of one signature have one answer, and of one key one signature;
/// what a signature is said to fix, it fixes. How many signatures there are, and
/// how many numbers they fix.
fn signatures_stand_for_answers(
    table: &Table,
    site: Option<&Site>,
    captures: &[Capture],
    asked: usize,
) -> (usize, usize) {
    let mut batch = Batch::new(table, site);
    captures.iter().for_each(|capture| batch.see(&Observation::from(*capture)));
    let fit = batch.fit();
    let mut count = (0, 0);
    let mut lengths: Vec<usize> = captures.iter().map(Capture::len).collect();
    lengths.sort_unstable();
    lengths.dedup();
    for length in lengths {
        let classifier = fit.classifier("", length).unwrap();
        let mut by_signature: HashMap<Vec<u64>, _> = HashMap::new();
        let mut by_key: HashMap<u64, Vec<u64>> = HashMap::new();
        for capture in captures.iter().filter(|capture| capture.len() == length).take(asked) {
            let mut signature = vec![0; classifier.stride()];
            classifier.sign(capture.wide(), &mut signature);
            if classifier.has_keys() {
                let first = by_key
                    .entry(classifier.key(capture.wide().0[0]))
                    .or_insert_with(|| signature.clone());
                assert_eq!(*first, signature, "{capture}");
            }
            let answer = fit.answer(&Observation::from(*capture));
            let said: Vec<(&str, Reading, u64, Vec<u64>)> = (answer.candidates.iter())
                .map(|c| {
                    let parts = c.evidence.iter().map(|part| part.bits.to_bits()).collect();
                    (c.layout.id(), c.reading, c.probability.to_bits(), parts)
                })
                .collect();
            let rest = (answer.none_probability.to_bits(), answer.other_probability.to_bits());
            let mut fixed = Vec::new();
            for view in classifier.decoder().views() {
                let layout = classifier.decoder().layout(view);
                for span in [layout.site_span(), layout.card_span()].into_iter().flatten() {
                    let fixes = classifier.fixes(view, span, capture.wide());
                    fixed.push(fixes.then(|| view.extract(span).number(capture.wide())));
                }
            }
            let all = (said, rest, fixed);
            let first = by_signature.entry(signature).or_insert_with(|| all.clone());
            assert_eq!(*first, all, "{capture}");
        }
        count.0 += by_signature.len();
        count.1 += by_signature.values().flat_map(|(.., fixed)| fixed).flatten().count();
    }
    count
}

#[test]
fn signatures_of_small_batches_stand_for_answers() {
    let mut rng = Rng::with_seed(30);
    for _ in 0..30 {
        let kinds: Vec<&Layout> =
            (0..3).map(|_| &builtin().layouts()[rng.usize(..builtin().layouts().len())]).collect();
        let captures: Vec<Capture> =
            (0..300).filter_map(|i| drawn(kinds[i % 3], &mut rng, 3)).collect();
        let listed = kinds.iter().find(|kind| kind.site_span().is_some());
        let site = listed.filter(|_| rng.bool()).map(|kind| {
            let batches = format!(
                "[[batch]]\nlayout = \"{}\"\nsite = 1\ncards = \"0-900\"\nstate = \"issued\"\n",
                kind.id()
            );
            Site::from_toml(&batches, builtin()).unwrap()
        });
        signatures_stand_for_answers(builtin(), site.as_ref(), &captures, usize::MAX);
    }
}

/// So many that only a sample of them is weighed, since each has a code of its
/// own: short codes and long ones.
#[test]
fn signatures_of_large_batches_stand_for_answers() {
    let table = table(&[
        ("short40", 40, &[["site", "1-16", "binary"], ["card", "17-40", "binary"]]),
        ("long40", 40, &[["site", "1-24", "binary"], ["card", "25-40", "binary"]]),
        ("long70", 70, &[["site", "3-30", "binary"], ["card", "31-70", "binary"]]),
    ]);
    let mut rng = Rng::with_seed(31);
    let captures: Vec<Capture> = (0..60_000)
        .filter_map(|i| {
            let sites = if i % 2 == 0 { 1 << 20 } else { 9 };
            drawn(&table.layouts()[[0, 1, 2, 2][i % 4]], &mut rng, sites)
        })
        .collect();
    let (class_index, fixed) = signatures_stand_for_answers(&table, None, &captures, 3000);
    assert!((50..6000).contains(&class_index), "{class_index}");
    assert!(fixed > 0, "codes that the sample knows");
}

/// Cards of several readers, some printed: in whatever order the readers come,
/// every answer is the same to the last bit, although sums over readers are of
/// numbers that round.
#[test]
fn the_order_of_readers_changes_nothing() {
    let mut rng = Rng::with_seed(31);
    let layouts: Vec<&Layout> = builtin().layouts().iter().filter(|l| l.length() == 26).collect();
    for _ in 0..30 {
        let mut seen: Vec<Observation> = (0..rng.usize(3..12))
            .map(|i| {
                let layout = layouts[rng.usize(..layouts.len())];
                let bits = card(layout, |_| rng.u128(..)).unwrap();
                let mut observation = Observation::from(bits);
                observation.reader = format!("reader {}", i % 3);
                if rng.bool() {
                    observation.known.printed = Some(rng.u32(..100_000).to_string());
                }
                observation
            })
            .collect();
        let answers = |order: &[Observation], asked: &[Observation]| -> Vec<String> {
            let mut batch = Batch::new(builtin(), None);
            order.iter().for_each(|observation| batch.see(observation));
            let fit = batch.fit();
            asked.iter().map(|observation| format!("{:?}", fit.answer(observation))).collect()
        };
        let asked = seen.clone();
        let first = answers(&seen, &asked);
        seen.reverse();
        assert_eq!(answers(&seen, &asked), first);
        rng.shuffle(&mut seen);
        assert_eq!(answers(&seen, &asked), first);
    }
}
