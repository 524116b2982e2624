//! Captures written as probe files come back bit for bit, and none is flagged:
//! 10,000 a form, 1 to 256 bits, one width and interval a file within the
//! limits, ±10 % jitter.

mod common;

use common::{Draw, must_come_back_clean};
use holdover_signal::compose::{Compose, Form, Track};
use holdover_signal::{Idle, Options, TimeUnit};

/// Within the usual limits: common practice, no source.
fn timing(draw: &mut Draw, longest_interval: f64) -> Compose {
    let mut compose = Compose::default();
    compose.width_us = draw.log(20.0, 100.0);
    compose.interval_us = draw.log(200.0, longest_interval);
    // A capture ends with a pause no lost pulse can make.
    compose.gap_us = draw.log((3.0 * compose.interval_us).max(60_000.0), 2e6);
    compose.jitter = 0.1;
    compose.idle = if draw.below(4) == 0 { Idle::Low } else { Idle::High };
    compose.seed = draw.next();
    compose
}

#[test]
fn value_changes() {
    let mut draw = Draw::new(1);
    for _ in 0..100 {
        let mut compose = timing(&mut draw, 20_000.0);
        let scales = [
            (1, TimeUnit::Nanos),
            (10, TimeUnit::Nanos),
            (1, TimeUnit::Micros),
            (5, TimeUnit::Micros),
        ];
        compose.timescale = scales[draw.below(4) as usize];
        must_come_back_clean(&compose, &Options::default(), &draw.captures(100, 256));
    }
}

#[test]
fn tables_of_changes() {
    let mut draw = Draw::new(2);
    for _ in 0..100 {
        let mut compose = timing(&mut draw, 20_000.0);
        compose.form = Form::CsvChanges;
        let units = [TimeUnit::Seconds, TimeUnit::Millis, TimeUnit::Micros, TimeUnit::Nanos];
        compose.time_unit = units[draw.below(4) as usize];
        must_come_back_clean(&compose, &Options::default(), &draw.captures(100, 256));
    }
}

#[test]
fn tables_of_samples() {
    let mut draw = Draw::new(3);
    for file in 0..100 {
        // Sampled files are long: short intervals and gaps for most.
        let mut compose = timing(&mut draw, if file % 20 == 0 { 20_000.0 } else { 300.0 });
        compose.gap_us = 60_000.0_f64.max(3.0 * compose.interval_us);
        compose.form = Form::CsvSamples;
        compose.rate_hz = 1e6 / (compose.width_us / 4.0);
        compose.time_column = file % 10 == 0;
        compose.time_unit = [TimeUnit::Seconds, TimeUnit::Micros][draw.below(2) as usize];
        let mut options = Options::default();
        options.rate_hz = Some(compose.rate_hz);
        let most = if file % 20 == 0 { 16 } else { 256 };
        must_come_back_clean(&compose, &options, &draw.captures(100, most));
    }
}

#[test]
fn files_of_a_few_short_captures() {
    let mut draw = Draw::new(4);
    for _ in 0..4000 {
        let mut compose = timing(&mut draw, 20_000.0);
        compose.gap_us = compose.gap_us.max(100_000.0);
        let count = 1 + draw.below(4) as usize;
        let most = 1 + draw.below(5);
        must_come_back_clean(&compose, &Options::default(), &draw.captures(count, most));
    }
}

#[test]
fn several_readers_in_one_file() {
    let mut draw = Draw::new(5);
    for form in [Form::ValueChanges, Form::CsvChanges] {
        let captures: Vec<_> = (0..5).map(|_| draw.captures(50, 64)).collect();
        let tracks: Vec<Track> = captures
            .iter()
            .enumerate()
            .map(|(i, c)| Track::new(format!("door{}", i + 1), c))
            .collect();
        let mut compose = timing(&mut draw, 5_000.0);
        compose.form = form;
        compose.gap_us = 300_000.0;
        let mut file = Vec::new();
        compose.write(&tracks, &mut file).unwrap();
        let (reads, summary) = common::read(&Options::default(), &file);
        assert_eq!(summary.readers.len(), 5);
        for (i, captures) in captures.iter().enumerate() {
            let name = format!("door{}", i + 1);
            let mine: Vec<_> =
                reads.iter().filter(|r| *r.reader == *name).map(|r| r.bits).collect();
            assert_eq!(mine, *captures);
        }
        assert!(reads.iter().all(|r| r.findings.is_empty()));
    }
}
