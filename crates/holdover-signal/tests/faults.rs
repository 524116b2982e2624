//! Faults put into captures are each reported, in place, and no clean capture
//! is flagged.

mod common;

use common::{Draw, read, write};
use holdover_signal::compose::{Compose, FaultKind, Form};
use holdover_signal::{FindingKind, Idle, Options};

fn faulty(draw: &mut Draw, form: Form) -> (Compose, Options) {
    let mut compose = Compose::default();
    compose.form = form;
    compose.width_us = draw.log(20.0, 100.0);
    compose.interval_us = draw.log(250.0, 20_000.0);
    compose.gap_us = draw.log((5.0 * compose.interval_us).max(100_000.0), 2e6);
    compose.jitter = 0.1;
    compose.idle = if draw.below(4) == 0 { Idle::Low } else { Idle::High };
    compose.seed = draw.next();
    if form == Form::CsvSamples {
        compose.interval_us = draw.log(250.0, 500.0);
        compose.gap_us = 60_000.0;
        compose.rate_hz = 500_000.0;
        compose.time_column = false;
    }
    let mut options = Options::default();
    options.rate_hz = Some(compose.rate_hz);
    (compose, options)
}

fn check(compose: &Compose, options: &Options, draw: &mut Draw, count: usize, most: u64) -> usize {
    let captures = draw.captures(count, most);
    let (file, faults) = write(compose, &captures);
    let (reads, summary) = read(options, &file);
    assert_eq!(reads.len(), captures.len(), "{compose:?} {:?}", summary.readers[0].gap);
    for fault in &faults {
        let found = &reads[fault.capture - 1];
        let (kind, reach) = match fault.kind {
            FaultKind::Glitch => (FindingKind::Glitch, 4.0),
            FaultKind::LostPulse => (FindingKind::MissingPulse, 0.5 * compose.interval_us),
            FaultKind::BothLow => (FindingKind::BothLow, 4.0),
        };
        let hit = found.findings.iter().any(|f| {
            f.kind == kind
                && (f.place.time_us - fault.time_us).abs() <= reach
                && (f.place.position == Some(fault.position) || fault.kind == FaultKind::BothLow)
        });
        assert!(hit, "{fault:?} in {compose:?}: {:?} {:?}", found.findings, found.interval);
        if fault.kind == FaultKind::LostPulse {
            assert!(found.unsure.missing.contains(&fault.position));
        }
        if fault.kind == FaultKind::BothLow {
            assert!(found.unsure.suspect.contains(&fault.position));
        }
    }
    for (i, (read, given)) in reads.iter().zip(&captures).enumerate() {
        let mine: Vec<_> = faults.iter().filter(|f| f.capture == i + 1).collect();
        if mine.is_empty() {
            assert_eq!(read.findings, [], "{compose:?}");
        }
        let mut bits: Vec<bool> = given.bits().collect();
        for fault in &mine {
            match fault.kind {
                FaultKind::Glitch => {}
                FaultKind::LostPulse => drop(bits.remove(fault.position - 1)),
                FaultKind::BothLow => bits.insert(fault.position, !bits[fault.position - 1]),
            }
        }
        assert_eq!(read.bits.bits().collect::<Vec<_>>(), bits, "{mine:?}");
        // A glitch is not a fault of anything else.
        if mine.iter().all(|f| f.kind == FaultKind::Glitch) {
            assert_eq!(read.findings.len(), mine.len());
        }
    }
    faults.len()
}

#[test]
fn every_fault_is_reported_and_nothing_else() {
    let mut draw = Draw::new(11);
    for form in [Form::ValueChanges, Form::CsvChanges, Form::CsvSamples] {
        let mut put_in = 0;
        for _ in 0..if form == Form::CsvSamples { 4 } else { 60 } {
            let (mut compose, options) = faulty(&mut draw, form);
            compose.faults.lost = 0.15;
            compose.faults.glitch = 0.15;
            compose.faults.noise = 0.1;
            // Where a third of a pulse is no more than a glitch, both lines
            // cannot be shown low together.
            if compose.width_us > 25.0 {
                compose.faults.both_low = 0.15;
            }
            put_in += check(&compose, &options, &mut draw, 60, 255);
        }
        assert!(put_in > 60, "{form:?}: {put_in}");
    }
}

#[test]
fn short_captures_are_held_against_the_readers_other_ones() {
    let mut draw = Draw::new(12);
    for _ in 0..100 {
        let (mut compose, options) = faulty(&mut draw, Form::ValueChanges);
        compose.faults.lost = 0.1;
        check(&compose, &options, &mut draw, 100, 8);
    }
}

#[test]
fn clean_files_on_the_limits_are_not_flagged() {
    let mut draw = Draw::new(13);
    for (width, interval) in [(20.0, 200.0), (100.0, 200.0), (20.0, 20_000.0), (100.0, 20_000.0)] {
        for most in [3, 30, 256] {
            let (mut compose, options) = faulty(&mut draw, Form::ValueChanges);
            compose.width_us = width;
            compose.interval_us = interval;
            compose.gap_us = 200_000.0;
            common::must_come_back_clean(&compose, &options, &draw.captures(200, most));
        }
    }
}

#[test]
fn timing_out_of_range_is_called_out() {
    let mut draw = Draw::new(14);
    for (width, interval, kind) in [
        (15.0, 2_000.0, FindingKind::PulseWidth),
        (125.0, 2_000.0, FindingKind::PulseWidth),
        (50.0, 150.0, FindingKind::PulseInterval),
        (50.0, 26_000.0, FindingKind::PulseInterval),
    ] {
        let (mut compose, options) = faulty(&mut draw, Form::ValueChanges);
        compose.width_us = width;
        compose.interval_us = interval;
        compose.gap_us = 600_000.0;
        let captures = draw.captures(50, 64);
        let (file, _) = write(&compose, &captures);
        let (reads, summary) = read(&options, &file);
        assert_eq!(reads.iter().map(|r| r.bits).collect::<Vec<_>>(), captures);
        assert!(summary.readers[0].findings.iter().any(|f| f.kind == kind), "{kind}");
        let long = reads.iter().filter(|r| r.bits.len() > 30);
        assert!(long.into_iter().all(|r| r.findings.iter().any(|f| f.kind == kind)), "{kind}");
    }
}
