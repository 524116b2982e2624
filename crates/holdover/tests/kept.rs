//! Answers as they were kept: nothing changes that nobody meant to change.
//!
//! These values come from the library itself, not from outside; what they say
//! is checked in the other tests. `HOLDOVER_BLESS=1 cargo test -p holdover
//! as_kept` keeps them anew: read the difference before it is committed.
//! All cards are invented.

use std::fmt::Write as _;
use std::path::Path;
use std::{env, fs};

use crate::cards::card;
use crate::learn_cards::{Drawn, Wanted, draw};
use crate::plan_brute::sites;
use crate::whole::some;
use fastrand::Rng;
use holdover::bits::Capture;
use holdover::decode::Decode;
use holdover::decode::serial::SerialNumber;
use holdover::layout::{Layout, Role, Table, Value, builtin};
use holdover::learn::{Options, Sample, learn};
use holdover::plan::{RosterRow, plan, serial_trouble};
use holdover::prove::prove;
use holdover::rank::{Answer, Batch, Doubt, Known, Observation};
use holdover::site::{CardBatch, Identity, KeptDigits, Panel, Site, State};
use serde_json::Value as Json;

/// Cases whose answer is kept in words; of the others a digest is.
const IN_WORDS: u64 = 20;

/// Compares every case's answer with the one kept in `tests/kept/NAME.txt`.
fn as_kept(name: &str, cases: u64, answer: impl Fn(u64) -> String) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/kept/{name}.txt"));
    let bless = env::var_os("HOLDOVER_BLESS").is_some();
    let run = if bless { cases } else { some(cases) };
    let answers: Vec<String> = (0..run).map(answer).collect();
    let kept = |(case, answer): (usize, &String)| match case as u64 {
        case @ ..IN_WORDS => format!("case {case}\n{answer}\n"),
        case => format!("case {case} {:016x}\n", digest(answer)),
    };
    let now: Vec<String> = answers.iter().enumerate().map(kept).collect();
    if bless {
        fs::write(&path, now.concat()).unwrap();
        return;
    }
    let before = fs::read_to_string(&path).unwrap();
    let before: Vec<&str> = before.split_inclusive("\ncase ").collect();
    // Each but the last has the next one's first word behind it.
    let mut all = now.concat();
    if run < cases {
        all += "case ";
    }
    let now: Vec<&str> = all.split_inclusive("\ncase ").collect();
    for (case, ((before, now), answer)) in before.iter().zip(&now).zip(&answers).enumerate() {
        assert!(before == now, "case {case}, kept:\n{before}\nnow:\n{now}\nin words:\n{answer}");
    }
    assert_eq!(before.len() as u64, cases, "cases kept");
}

/// FNV-1a with the 64-bit offset and prime (RFC 9923; from memory): the same on
/// every machine.
fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// As JSON, fractions to four digits: logarithms differ in the last of theirs
/// from one machine to another.
fn json(value: &impl serde::Serialize) -> String {
    fn rounded(value: &mut Json) {
        match value {
            Json::Number(n) if n.is_f64() => *value = format!("{:.3e}", n.as_f64().unwrap()).into(),
            Json::Array(parts) => parts.iter_mut().for_each(rounded),
            Json::Object(parts) => parts.values_mut().for_each(rounded),
            _ => {}
        }
    }
    let mut value = serde_json::to_value(value).unwrap();
    rounded(&mut value);
    value.to_string()
}

fn one_in(rng: &mut Rng, n: u8) -> bool {
    rng.u8(..n) == 0
}

fn flipped(capture: &Capture, at: usize) -> Capture {
    Capture::from_bits(capture.bits().enumerate().map(|(i, bit)| bit ^ (i == at))).unwrap()
}

/// A card with this site code and number, all else at random.
fn numbered(layout: &Layout, rng: &mut Rng, site: u128, number: u128) -> Option<Capture> {
    card(layout, |field| match field.role {
        Role::Site => site,
        Role::Card => number,
        _ => rng.u128(..),
    })
}

/// A number as somebody may have printed it.
fn printed(way: u8, site: u128, number: u128) -> Option<String> {
    match way {
        0 => Some(format!("{number}")),
        1 => Some(format!("{site}-{number:05}")),
        2 => Some(format!("{site:03}{number:05}")),
        3 => Some(format!("{number:X}")),
        4 => Some(format!("{}", number + 100)),
        5 => Some(format!("no. {number:010} / {site}")),
        _ => None,
    }
}

/// A pile of cards: of a layout drawn or of one that ships, in a box's order or
/// in none, some of them misread, misprinted or of another kind.
fn pile(rng: &mut Rng) -> (Vec<Sample>, Options) {
    let mut samples: Vec<Sample> = Vec::new();
    let way = rng.u8(0..8);
    for kind in 0..=usize::from(one_in(rng, 5)) {
        let wanted = Wanted {
            checks: rng.usize(1..=2),
            filler: rng.bool(),
            covers_other_check: one_in(rng, 4),
        };
        let mut drawn = draw(rng, wanted);
        // A second kind of the same length, more often than chance would have it.
        if let Some(first) = samples.first().filter(|_| rng.bool()) {
            let same = |drawn: &Drawn| drawn.length == first.capture.len();
            drawn = (0..200).map(|_| draw(rng, wanted)).find(same).unwrap_or(drawn);
        }
        let ships = &builtin().layouts()[rng.usize(..builtin().layouts().len())];
        let is_drawn = rng.u8(0..3) > 0;
        let sites = if one_in(rng, 3) { 40 } else { 1 };
        let first_site = rng.u64(..1 << 6);
        let boxed = one_in(rng, 3);
        let first = rng.u64(..1 << 13);
        let count = if kind == 0 { rng.usize(1..60) } else { rng.usize(1..30) };
        let columns = one_in(rng, 6);
        for nth in 0..count {
            let site = u128::from(first_site) + rng.u128(..sites);
            let number = match boxed {
                true => u128::from(first) + nth as u128,
                false => rng.u128(..1 << 14),
            };
            let capture = match is_drawn {
                true => Capture::from_bits(
                    drawn.word(site as u64 & ((1 << drawn.site.len()) - 1), number as u64),
                )
                .ok(),
                false => numbered(ships, rng, site, number),
            };
            let Some(capture) = capture else { continue };
            let mut sample = Sample::new(samples.len() + 2, capture);
            match columns {
                true => {
                    sample.card = Some(number.to_string());
                    sample.site = Some(site.to_string());
                }
                false => sample.printed = printed(way, site, number),
            }
            samples.push(sample);
        }
    }
    if one_in(rng, 3) {
        for _ in 0..1 + samples.len() / 12 {
            let Some(at) = (!samples.is_empty()).then(|| rng.usize(..samples.len())) else { break };
            let sample = &mut samples[at];
            match rng.u8(0..4) {
                0 => sample.capture = sample.capture.complement(),
                1 | 2 => {
                    sample.capture = flipped(&sample.capture, rng.usize(..sample.capture.len()))
                }
                _ => {
                    if let Some(text) = sample.printed.as_mut().filter(|text| text.is_ascii()) {
                        let mut digits: Vec<char> = text.chars().collect();
                        let last = digits.len() - 1;
                        digits.swap(last, last.saturating_sub(1));
                        *text = digits.into_iter().collect();
                    }
                }
            }
        }
    }
    if one_in(rng, 4) {
        for _ in 0..rng.usize(1..4) {
            let Some(last) = samples.last() else { break };
            let Some(capture) = last.capture.without_first() else { break };
            samples.push(Sample { line: samples.len() + 2, capture, ..last.clone() });
        }
    }
    if one_in(rng, 12) {
        samples.iter_mut().for_each(|s| s.capture = s.capture.complement());
    }
    (samples, Options { in_order: rng.bool(), ..Options::default() })
}

#[test]
fn learnt_as_kept() {
    as_kept("learn", 400, |seed| {
        let (samples, options) = pile(&mut Rng::with_seed(seed));
        let learnt = learn(&samples, &options);
        let mut text = format!("{} samples\n", samples.len());
        for learnt in learnt {
            let failure = learnt.failure.as_ref().map(ToString::to_string).unwrap_or_default();
            writeln!(text, "{} {failure}", json(&learnt)).unwrap();
            let (counters, still) = (&learnt.counters, &learnt.never_varied);
            writeln!(text, "{counters:?} {still:?} {:?}", learnt.misread).unwrap();
        }
        text
    });
}

/// A few layouts that ship, some of one length, or layouts drawn.
fn table(rng: &mut Rng) -> Table {
    match one_in(rng, 3) {
        true => sites::site(rng.u64(..), 6).0,
        false if rng.bool() => builtin().clone(),
        false => {
            let mut layouts = builtin().layouts().to_vec();
            layouts.retain(|_| rng.u8(0..3) > 0);
            Table::new(layouts).unwrap()
        }
    }
}

fn observations(rng: &mut Rng, table: &Table) -> (Option<Site>, Vec<Observation>) {
    let kinds: Vec<&Layout> = (0..rng.usize(1..=3))
        .map(|_| &table.layouts()[rng.usize(..table.layouts().len())])
        .collect();
    let sites: Vec<u128> = (0..rng.usize(1..=3)).map(|_| rng.u128(..1 << 12)).collect();
    let readers = ["", "gate", "yard"];
    let swapped = one_in(rng, 3).then(|| readers[rng.usize(..3)]);
    let backwards = one_in(rng, 6).then(|| readers[rng.usize(..3)]);
    let way = rng.u8(0..10);
    let mut seen = Vec::new();
    for _ in 0..rng.usize(1..80) {
        let kind = kinds[rng.usize(..kinds.len())];
        let site = sites[rng.usize(..sites.len())];
        let number = rng.u128(..1 << 14);
        let made = match one_in(rng, 8) {
            true => Capture::from_bits((0..kind.length()).map(|_| rng.bool())).ok(),
            false => numbered(kind, rng, site, number),
        };
        let Some(mut capture) = made else { continue };
        let reader = readers[rng.usize(..3)];
        if swapped == Some(reader) {
            capture = capture.complement();
        }
        if backwards == Some(reader) {
            capture = capture.reversed();
        }
        let mut known = Known::default();
        let length = capture.len();
        match rng.u8(0..14) {
            0 => capture = capture.without_first().unwrap_or(capture),
            1 => capture = capture.without_last().unwrap_or(capture),
            2 => {
                let at = rng.usize(..length);
                capture = capture.without_bit(at).unwrap_or(capture);
                known.doubt = Doubt { missing: vec![at + 1], ..Doubt::default() };
            }
            3 => {
                let at = rng.usize(..length);
                capture = flipped(&capture, at);
                known.doubt.suspect = vec![at + 1];
            }
            4 => known.doubt.somewhere = true,
            5 => known.printed = printed(way, site, number),
            6 => known.card = Some(number.to_string()),
            7 => known.site = Some(site.to_string()),
            _ => {}
        }
        seen.push(Observation { capture, reader: reader.into(), known });
    }
    let batch = |kind: &Layout, rng: &mut Rng| {
        let width = kind.card_span()?.len().min(14);
        let first = rng.u128(..1 << (width - 1));
        Some(CardBatch {
            layout: kind.id().to_owned(),
            site: kind.site_span().map(|span| sites[0] & (u128::MAX >> (128 - span.len()))),
            first,
            last: first + rng.u128(..1 << (width - 1)),
            state: if rng.bool() { State::Issued } else { State::Boxed },
        })
    };
    let batches: Vec<CardBatch> = batch(kinds[0], rng).into_iter().collect();
    let site = one_in(rng, 3).then(|| Site { batches, ..Site::default() });
    (site, seen)
}

fn in_words(answer: &Answer<'_>) -> String {
    let mut text = answer.verdict.name().to_owned();
    for candidate in &answer.candidates {
        let decode = candidate.decode();
        let fields: Vec<String> = decode.fields().map(|(name, v)| format!("{name} {v}")).collect();
        let checks: Vec<bool> = decode.outcomes().map(|(_, holds)| holds).collect();
        write!(
            text,
            "; {} {} {:.4} {} {checks:?} {:?}",
            candidate.layout.id(),
            candidate.reading.name(),
            candidate.probability,
            fields.join(" "),
            candidate.restored
        )
        .unwrap();
        for part in &candidate.evidence {
            write!(text, ", {} {:.2} {}", part.why.name(), part.bits, part.words).unwrap();
        }
    }
    if let Some(mended) = &answer.mended {
        let layout = mended.decode.layout.id();
        write!(text, "; mended {layout}").unwrap();
        for mend in [Some(mended.first), mended.second].into_iter().flatten() {
            write!(text, " {} {}", mend.at, mend.put_in).unwrap();
        }
    }
    write!(text, "; none {:.4} other {:.4}", answer.none_probability, answer.other_probability)
        .unwrap();
    text
}

#[test]
fn ranked_as_kept() {
    as_kept("rank", 300, |seed| {
        let rng = &mut Rng::with_seed(seed);
        let table = table(rng);
        let (site, seen) = observations(rng, &table);
        let mut batch = Batch::new(&table, site.as_ref());
        if one_in(rng, 4) {
            batch.guess_lines("gate");
        }
        seen.iter().for_each(|observation| batch.see(observation));
        let fit = batch.fit();
        let mut text = format!("{} distinct, {} readers\n", batch.distinct(), batch.readers());
        for wiring in fit.wiring() {
            let [a, b, c, d] = wiring.probability;
            let reader = wiring.reader;
            writeln!(text, "{reader:?} {a:.4} {b:.4} {c:.4} {d:.4} {}", wiring.guessed).unwrap();
        }
        let most = if seed < IN_WORDS { 6 } else { seen.len() };
        for observation in &seen[..most.min(seen.len())] {
            writeln!(text, "{} {}", observation.capture, in_words(&fit.answer(observation)))
                .unwrap();
        }
        text
    });
}

#[test]
fn decoded_as_kept() {
    as_kept("decode", 60, |seed| {
        let rng = &mut Rng::with_seed(seed);
        let mut text = String::new();
        for layout in builtin().layouts() {
            let number = serial(rng);
            let Some(mut word) = numbered(layout, rng, number, number) else { continue };
            if one_in(rng, 4) {
                word = flipped(&word, rng.usize(..word.len()));
            }
            let decode = Decode::new(layout, word).unwrap();
            let fields: Vec<(&str, Value)> = decode.fields().collect();
            let outcomes: Vec<(&str, bool)> = decode.outcomes().collect();
            let fails = outcomes.iter().filter(|(_, holds)| !holds).map(|(check, _)| *check);
            let fails: Vec<&str> = fails.collect();
            let (id, checks) = (layout.id(), outcomes.len());
            writeln!(text, "{id} {fields:?}, {checks} checks, failing {fails:?}").unwrap();
            if let Some(serial) = SerialNumber::of(layout, &word) {
                let (number, other) = (serial.number(), serial.other_order());
                writeln!(text, "{:?} {number} {other} {:?}", serial.bytes(), serial.notes())
                    .unwrap();
            }
        }
        text
    });
}

/// Few numbers, and bytes that mean something.
fn serial(rng: &mut Rng) -> u128 {
    let byte = |rng: &mut Rng| match rng.u8(0..5) {
        0 => 0x88,
        1 => 0x08,
        _ => rng.u8(0..3),
    };
    (0..10).fold(0, |n, _| n << 8 | u128::from(byte(rng)))
}

#[test]
fn serial_trouble_as_kept() {
    as_kept("serial", 60, |seed| {
        let rng = &mut Rng::with_seed(seed);
        let ids = ["serial32", "serial56", "serial80", "serial58"];
        let number = serial(rng);
        let rows = (0..rng.usize(1..40)).map(|i| {
            let id = ids[rng.usize(..4)];
            let bits = builtin().layout(id).unwrap().card_span().unwrap().len();
            let own = if one_in(rng, 3) { serial(rng) } else { number };
            let cut = match rng.u8(0..3) {
                0 => own >> (80 - bits),
                1 => (own >> (80 - bits)).swap_bytes() >> (128 - bits),
                _ => own,
            };
            let cut = cut & ((1 << bits) - 1);
            RosterRow::of_numbers(builtin(), i + 2, id, 0, cut).unwrap()
        });
        let rows: Vec<RosterRow> = rows.collect();
        let mut text = String::new();
        for trouble in serial_trouble(builtin(), &rows) {
            writeln!(text, "{trouble:?}").unwrap();
        }
        text
    });
}

/// A site of the layouts that ship, its batches as long as people buy them.
fn site_of_ranges(seed: u64) -> (Table, Site, Vec<RosterRow>) {
    let rng = &mut Rng::with_seed(seed);
    let ids = ["std26", "site34", "num34", "site34", "serial58", "serial32", "std26"];
    let identities = [Identity::Number, Identity::SiteAndNumber, Identity::SlotAndNumber];
    let panel = Panel {
        slots: Some(rng.usize(1..=5)),
        identity: identities[rng.usize(..3)],
        max_digits: rng.usize(4..=10),
        kept_digits: if rng.bool() { KeptDigits::Low } else { KeptDigits::High },
        checks_site: rng.bool(),
        checks_parity: rng.bool(),
        ..Panel::default()
    };
    let mut batches: Vec<CardBatch> = Vec::new();
    let mut roster = Vec::new();
    for nth in 0..rng.usize(1..7) {
        let layout = builtin().layout(ids[rng.usize(..ids.len())]).unwrap();
        let site = layout.site_span().map(|_| rng.u128(1..4));
        let first = rng.u128(..1 << 15);
        let last = first + rng.u128(..3000);
        let state = if rng.bool() { State::Issued } else { State::Boxed };
        let id = layout.id().to_owned();
        if batches.iter().all(|b| (&b.layout, b.site) != (&id, site)) {
            batches.push(CardBatch { layout: id, site, first, last, state });
        }
        for i in 0..rng.usize(..6) {
            let number = rng.u128(first..=last);
            let line = 10 * nth + i + 2;
            let site = site.unwrap_or(0);
            let mut row =
                RosterRow::of_numbers(builtin(), line, layout.id(), site, number).unwrap();
            row.printed = printed(rng.u8(0..7), site, number);
            roster.push(row);
        }
    }
    (builtin().clone(), Site { panel, batches, ..Site::default() }, roster)
}

#[test]
fn planned_as_kept() {
    as_kept("plan", 1000, |seed| {
        let most_cards = if seed % 4 == 0 { 300 } else { 12 };
        let (table, site, roster) = match seed % 3 {
            2 => site_of_ranges(seed),
            _ => sites::site_with(seed, 5, most_cards),
        };
        let made = plan(&table, &site, &roster).unwrap();
        let Json::Object(mut parts) = serde_json::to_value(&made).unwrap() else { unreachable!() };
        parts.remove("table");
        let mut text = format!("{}\n{:?}\n", json(&parts), made.risks());
        for block in made.worksheet() {
            writeln!(text, "{block:?}").unwrap();
        }
        let mut site_of_one = site.clone();
        site_of_one.panel.slots = Some(1);
        let other = plan(&table, &site_of_one, &roster).unwrap();
        let changes = made.changes_since(&other, &roster);
        writeln!(text, "{changes:?}").unwrap();
        if seed >= IN_WORDS {
            writeln!(text, "{:?}", made.enrolment(&roster, &site.batches).unwrap()).unwrap();
            writeln!(text, "{}", json(&prove(&made, &roster).unwrap())).unwrap();
        }
        text
    });
}
