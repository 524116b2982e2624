//! Recordings cut short, sampled too slowly, of lines that rest at no level,
//! and without any gap: none of them passes for clean.

mod common;

use common::recording::{Recording, Rest};
use common::{Draw, read};
use holdover::bits::Capture;
use holdover_signal::compose::Compose;
use holdover_signal::{CardRead, Finding, FindingKind, Options, Spread, Summary};

fn capture(draw: &mut Draw, len: usize) -> Capture {
    Capture::from_bits((0..len).map(|_| draw.next() >> 63 == 1)).unwrap()
}

/// One width and interval within the limits.
fn timing(draw: &mut Draw) -> Compose {
    let mut compose = Compose::default();
    compose.width_us = draw.log(20.0, 100.0);
    compose.interval_us = draw.log(250.0, 20_000.0);
    compose.gap_us = draw.log((3.0 * compose.interval_us).max(60_000.0), 2e6);
    compose.jitter = if draw.below(3) == 0 { 0.0 } else { 0.1 };
    compose.seed = draw.next();
    compose
}

/// The file in one of its forms.
fn file(recording: &Recording, form: u64) -> String {
    if form.is_multiple_of(2) { recording.dump(Rest::Driven) } else { recording.table() }
}

fn has(findings: &[Finding], kind: FindingKind) -> bool {
    findings.iter().any(|finding| finding.kind == kind)
}

/// Every finding, in captures and beside them.
fn complaints(reads: &[CardRead], summary: &Summary) -> Vec<Finding> {
    let inside = reads.iter().flat_map(|read| &read.findings);
    let beside = summary.readers.iter().flat_map(|reader| &reader.findings);
    inside.chain(beside).cloned().collect()
}

const BITS: usize = 26;

/// Cuts a recording of a few captures at instants all over its first or its
/// last one; how often it was cut inside.
fn cuts(draw: &mut Draw, count: usize, at_start: bool) -> usize {
    let compose = timing(draw);
    let captures: Vec<Capture> = (0..count).map(|_| capture(draw, BITS)).collect();
    let whole = Recording::of(&compose, &captures);
    let falls = whole.falls();
    let mine = if at_start { &falls[..BITS] } else { &falls[falls.len() - BITS..] };
    let (first, last) = (mine[0], mine[BITS - 1]);
    let interval = (last - first) / (BITS as i64 - 1);
    let mut inside = 0;
    // Eleven instants an interval, and on both sides of every fall: times are
    // rounded to a nanosecond.
    let steps = (-22..=11 * 28).map(|i| first + i * interval / 11);
    let edges = mine.iter().flat_map(|fall| [fall - 5, *fall, fall + 5]);
    for at in steps.chain(edges).filter(|at| (0..=whole.end).contains(at)) {
        let part = if at_start { whole.between(at, whole.end) } else { whole.between(0, at) };
        let (reads, summary) = read(&Options::default(), file(&part, draw.next()).as_bytes());
        let told = format!("{compose:?} {at} of {first} to {last}: {reads:?}");
        let left = part.falls().len() - BITS * (count - 1);
        let (kind, harmed, lead) = match at_start {
            true => (FindingKind::CutAtStart, reads.first(), first - at),
            false => (FindingKind::CutAtEnd, reads.last(), at - last),
        };
        if (1..BITS).contains(&left) {
            inside += 1;
            let place = if at_start { 1 } else { left + 1 };
            assert!(harmed.is_some_and(|read| has(&read.findings, kind)), "{told}");
            assert!(harmed.is_some_and(|read| read.unsure.missing.contains(&place)), "{told}");
        } else if left == BITS && lead as f64 > 1.35 * interval as f64 {
            // Jitter may make the next interval a fifth longer, and the median less.
            assert_eq!(complaints(&reads, &summary), [], "{told}");
        }
        // Captures that the cut does not touch stay clean.
        let others = reads.iter().filter(|read| read.bits.len() == BITS);
        let touched = |read: &CardRead| Some(read.number) == harmed.map(|read| read.number);
        assert!(
            others.filter(|read| !touched(read)).all(|read| read.findings.is_empty()),
            "{told}"
        );
    }
    inside
}

#[test]
fn a_capture_is_called_cut_wherever_it_is() {
    let mut draw = Draw::new(41);
    for at_start in [true, false] {
        for count in [1, 2, 5] {
            let inside: usize = (0..20).map(|_| cuts(&mut draw, count, at_start)).sum();
            assert!(inside > 5_000, "{inside}");
        }
    }
}

/// One width, and spacings of whole intervals: nothing in the file tells that
/// it was sampled.
fn shows_nothing(summary: &Summary) -> bool {
    let reader = &summary.readers[0];
    let alike = |spread: Spread| spread.min_us == spread.max_us;
    reader.width.is_none_or(alike) && reader.interval.is_none_or(alike)
}

#[test]
fn slow_sampling_is_seen_whatever_the_form() {
    let mut draw = Draw::new(42);
    for rate in [5_000, 10_000, 20_000, 50_000] {
        let (mut told, mut all) = (0, 0);
        for _ in 0..60 {
            let mut compose = timing(&mut draw);
            compose.interval_us = draw.log(500.0, 10_000.0);
            compose.gap_us = 300_000.0;
            let captures: Vec<Capture> = (0..5).map(|_| capture(&mut draw, BITS)).collect();
            let period = 1_000_000_000 / rate;
            let phase = draw.below(period as u64) as i64;
            let slow = Recording::of(&compose, &captures).sampled(period, phase);
            // What the file says of its samples tells without a pulse.
            let (reads, summary) = read(&Options::default(), slow.samples(period).as_bytes());
            let findings = complaints(&reads, &summary);
            assert!(has(&findings, FindingKind::SlowSampling), "{rate} {compose:?}");
            for file in [slow.dump(Rest::Driven), slow.table()] {
                let (reads, summary) = read(&Options::default(), file.as_bytes());
                let findings = complaints(&reads, &summary);
                let hidden = shows_nothing(&summary);
                assert!(hidden || !findings.is_empty(), "{rate} {compose:?} {summary:?}");
                all += usize::from(!hidden);
                told += usize::from(!hidden && has(&findings, FindingKind::SlowSampling));
            }
        }
        // A few pulses seen of very many tell only that pulses are missing.
        let least = if rate < 10_000 { 0.8 } else { 0.95 };
        assert!(told as f64 >= least * all as f64, "{rate} S/s: {told} of {all}");
    }
}

#[test]
fn a_fast_probe_is_not_called_slow() {
    let mut draw = Draw::new(45);
    for rate in [1_000_000, 4_000_000] {
        for _ in 0..60 {
            let compose = timing(&mut draw);
            let captures: Vec<Capture> = (0..5).map(|_| capture(&mut draw, BITS)).collect();
            let period = 1_000_000_000 / rate;
            let fast = Recording::of(&compose, &captures).sampled(period, 0);
            let (reads, summary) = read(&Options::default(), fast.table().as_bytes());
            assert_eq!(complaints(&reads, &summary), [], "{compose:?}");
        }
    }
}

/// Whether reading a dump gives the captures, with no more said than must be.
fn rests(dump: &str, captures: &[Capture], rest: Rest) {
    let (reads, summary) = read(&Options::default(), dump.as_bytes());
    let bits: Vec<Capture> = reads.iter().map(|read| read.bits).collect();
    assert_eq!(bits, captures, "{summary:?}");
    assert!(reads.iter().all(|read| read.findings.is_empty() && read.unsure.is_empty()));
    let released = summary.notes.iter().any(|note| note.contains("nobody drives"));
    let complaint = has(&complaints(&reads, &summary), FindingKind::UnknownLevel);
    assert_eq!((released, complaint), (rest == Rest::Released, rest == Rest::Unknown));
}

#[test]
fn lines_may_rest_at_no_level() {
    let mut draw = Draw::new(43);
    for rest in [Rest::Released, Rest::Unknown] {
        for _ in 0..100 {
            let compose = timing(&mut draw);
            let len = 3 + draw.below(60) as usize;
            let count = 1 + draw.below(5) as usize;
            let captures: Vec<Capture> = (0..count).map(|_| capture(&mut draw, len)).collect();
            let dump = Recording::of(&compose, &captures).dump(rest);
            rests(&dump, &captures, rest);
            // Inverted, and without names among lines that do nothing.
            rests(&dump.replace("\n0", "\n1"), &captures, rest);
            let var = "$var wire 1 # a $end\n$var wire 1 ! b $end\n$var wire 1 \" c $end\n";
            let nameless = dump
                .replace("$var wire 1 ! D0 $end\n", var)
                .replace("$var wire 1 \" D1 $end\n", "");
            let both = captures.iter().any(|c| c.bits().any(|b| b) && c.bits().any(|b| !b));
            if both {
                rests(&nameless, &captures, rest);
            }
        }
    }
}

#[test]
fn no_level_at_all_is_a_complaint() {
    let head = "$timescale 1 us $end\n$var wire 1 ! D0 $end\n$var wire 1 \" D1 $end\n\
                $enddefinitions $end\n";
    let pulses = |low: &str| -> String {
        let at = |i: u64| 50_000 + 2_000 * i;
        let one = |i| format!("#{}\n{low}!\n#{}\n1!\n", at(i), at(i) + 50);
        (0..20).map(one).collect()
    };
    for body in [
        "#0\nz!\nz\"\n#900000\n".to_owned(),
        "#0\nx!\nx\"\n#900000\n".to_owned(),
        "#0\nx!\n1\"\n#900000\n".to_owned(),
        // Pulses that go to no level.
        format!("#0\n1!\n1\"\n{}#900000\n", pulses("x")),
        format!("#0\n1!\n1\"\n{}#900000\n", pulses("z")),
        // A line that is lost on the way.
        format!("#0\n1!\n1\"\n{}#300000\nx!\n#900000\n", pulses("0")),
    ] {
        let (reads, summary) = read(&Options::default(), format!("{head}{body}").as_bytes());
        let findings = complaints(&reads, &summary);
        assert!(has(&findings, FindingKind::UnknownLevel), "{body} {findings:?}");
    }
    // At first, before the supply is on, it is none.
    let late = format!("{head}#0\nx!\nx\"\n#30000\n1!\n1\"\n{}#900000\n", pulses("0"));
    let (reads, summary) = read(&Options::default(), late.as_bytes());
    assert_eq!(complaints(&reads, &summary), []);
}

#[test]
fn pulses_without_any_gap_are_one_question() {
    let mut draw = Draw::new(44);
    for interval in [1e3, 20e3, 30e3, 45e3, 60e3, 95e3, 200e3, 1e6] {
        for len in [26, 156, 256, 6000] {
            let mut compose = Compose::default();
            compose.interval_us = interval;
            compose.gap_us = 4.0 * interval;
            compose.jitter = 0.1;
            compose.seed = draw.next();
            // Longer than a capture: end to end.
            let parts: Vec<Capture> =
                (0..len).step_by(200).map(|i| capture(&mut draw, (len - i).min(200))).collect();
            let recordings = parts.iter().map(|part| Recording::of(&compose, &[*part]));
            let recording = recordings.reduce(|all, next| all.then(&next)).unwrap();
            let (reads, summary) = read(&Options::default(), recording.table().as_bytes());
            let findings = complaints(&reads, &summary);
            let told = format!("{interval} {len} {findings:?}");
            if interval <= 20e3 {
                assert!(reads.len() == usize::from(len <= Capture::MAX_BITS), "{told}");
                assert_eq!(findings.is_empty(), len <= Capture::MAX_BITS, "{told}");
            } else if interval < 50e3 {
                assert!(reads.len() <= 1 && !findings.is_empty(), "{told}");
            } else {
                assert_eq!((reads.len(), findings.len()), (0, 1), "{told}");
                assert_eq!(findings[0].kind, FindingKind::NoGap);
                // The answer to the question.
                let mut options = Options::default();
                options.gap_us = Some(3.0 * interval);
                let answered = read(&options, recording.table().as_bytes()).0;
                assert_eq!(answered.len(), usize::from(len <= Capture::MAX_BITS), "{told}");
            }
        }
    }
}

/// Blips at one pace do not hide the cards that come later.
#[test]
fn cards_after_many_single_pulses_are_read() {
    let mut draw = Draw::new(46);
    let mut compose = Compose::default();
    compose.interval_us = 1e6;
    compose.gap_us = 4e6;
    let blips = Recording::of(&compose, &[capture(&mut draw, 200)]);
    compose.interval_us = 2e3;
    let cards: Vec<Capture> = (0..3).map(|_| capture(&mut draw, BITS)).collect();
    let recording = blips.then(&Recording::of(&compose, &cards));
    let (reads, summary) = read(&Options::default(), recording.table().as_bytes());
    assert_eq!(reads.iter().map(|read| read.bits).collect::<Vec<_>>(), cards);
    assert!(reads.iter().all(|read| read.findings.is_empty()));
    assert_eq!(summary.readers[0].count(FindingKind::NoGap), 1);
}
