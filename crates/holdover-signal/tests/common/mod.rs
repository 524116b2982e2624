//! Random captures and timings, and reading files back; each test file uses
//! its part of it.
#![allow(dead_code, reason = "each test file is a crate of its own")]

pub mod recording;

use holdover::bits::Capture;
use holdover_signal::compose::{Compose, Fault, Track};
use holdover_signal::{CardRead, Options, Probe, Summary};

/// xorshift64* (Vigna, "An experimental exploration of Marsaglia's xorshift
/// generators, scrambled", ACM Transactions on Mathematical Software 42(4), 2016;
/// from memory): enough for drawing test cases.
pub struct Draw(u64);

impl Draw {
    pub fn new(seed: u64) -> Draw {
        Draw(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// From `low` to `high`, even in the logarithm; the ends now and then.
    pub fn log(&mut self, low: f64, high: f64) -> f64 {
        match self.next() % 8 {
            0 => low,
            1 => high,
            _ => low * (high / low).powf(self.unit()),
        }
    }

    pub fn below(&mut self, end: u64) -> u64 {
        (self.next() >> 8) % end
    }

    pub fn capture(&mut self, most: u64) -> Capture {
        let len = 1 + self.below(most);
        Capture::from_bits((0..len).map(|_| self.next() >> 63 == 1)).unwrap()
    }

    pub fn captures(&mut self, count: usize, most: u64) -> Vec<Capture> {
        (0..count).map(|_| self.capture(most)).collect()
    }
}

pub fn write(compose: &Compose, captures: &[Capture]) -> (Vec<u8>, Vec<Fault>) {
    let mut file = Vec::new();
    let faults = compose.write(&[Track::new("", captures)], &mut file).unwrap();
    (file, faults)
}

pub fn read(options: &Options, file: &[u8]) -> (Vec<CardRead>, Summary) {
    let mut reads = Vec::new();
    let summary =
        Probe::new(options.clone()).unwrap().read_from(file, |read| reads.push(read)).unwrap();
    (reads, summary)
}

/// Reads back what was written, which must be the captures, and flagless.
pub fn must_come_back_clean(compose: &Compose, options: &Options, captures: &[Capture]) {
    let (file, _) = write(compose, captures);
    let (reads, summary) = read(options, &file);
    let lengths: Vec<usize> = captures.iter().map(Capture::len).take(20).collect();
    assert_eq!(reads.len(), captures.len(), "{compose:?} {:?} {lengths:?}", summary.readers[0].gap);
    for (i, (read, capture)) in reads.iter().zip(captures).enumerate() {
        assert_eq!(read.bits, *capture, "capture {} of {compose:?}", i + 1);
        assert_eq!(read.number, i as u64 + 1);
        assert_eq!(read.findings, [], "capture {} of {compose:?} {lengths:?}", i + 1);
        assert!(read.unsure.is_empty());
    }
    // Wide samples and coarse ticks are called out for the reader as a whole.
    for finding in &summary.readers[0].findings {
        assert_eq!(finding.kind.name(), "slow-sampling", "{compose:?} {finding:?}");
    }
}
