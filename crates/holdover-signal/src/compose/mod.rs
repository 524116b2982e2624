//! Probe files from captures: the inverse of reading them, for tests and for
//! trying a panel's settings out. With faults, if wanted, each of them listed.

mod plan;
mod random;
mod write;

use std::io::Write;

use holdover::bits::Capture;
use serde::Serialize;

use crate::error::{SignalError, SignalErrorKind};
use crate::options::{GLITCH_US, Idle};
use crate::time::TimeUnit;

/// The form of a probe file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// A value-change dump.
    ValueChanges,
    /// A table with a row a change.
    CsvChanges,
    /// A table with a row a sample.
    CsvSamples,
}

/// How many captures are to have a fault, as shares from 0 to 1 that sum to 1
/// at most: a capture has one fault or none.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FaultShares {
    /// A narrow pulse on an idle line, between two bits.
    pub glitch: f64,
    /// A pulse left out, neither the first nor the last.
    pub lost: f64,
    /// The other line pulses together with a bit.
    pub both_low: f64,
    /// Several narrow spikes, between bits and in pulses.
    pub noise: f64,
}

/// Kinds of faults put in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// A narrow pulse; or, of noise, one spike.
    Glitch,
    /// A pulse left out.
    LostPulse,
    /// Both lines active at once.
    BothLow,
}

/// A fault put in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fault {
    /// What it is.
    pub kind: FaultKind,
    /// The reader's name.
    pub reader: String,
    /// Which of the reader's captures, from 1.
    pub capture: usize,
    /// The bit it is at or before, from 1, in the capture as it was given.
    pub position: usize,
    /// When, in µs.
    pub time_us: f64,
}

/// One reader's captures, and what its lines are called.
#[derive(Debug, Clone)]
pub struct Track<'a> {
    /// Its name, which a dump has as a scope and a table as a prefix; may be
    /// empty.
    pub reader: String,
    /// The name of D0.
    pub d0: String,
    /// The name of D1.
    pub d1: String,
    /// The captures, in order.
    pub captures: &'a [Capture],
}

impl<'a> Track<'a> {
    /// A reader with lines `D0` and `D1`.
    pub fn new(reader: impl Into<String>, captures: &'a [Capture]) -> Track<'a> {
        Track { reader: reader.into(), d0: "D0".to_owned(), d1: "D1".to_owned(), captures }
    }
}

/// How a probe file is to be made.
///
/// # Examples
/// ```
/// use holdover_signal::compose::{Compose, Track};
/// use holdover_signal::{Options, Probe};
/// let captures = ["01101".parse()?, "110".parse()?];
/// let mut file = Vec::new();
/// let faults = Compose::default().write(&[Track::new("door1", &captures)], &mut file)?;
/// assert!(faults.is_empty());
/// let mut back = Vec::new();
/// Probe::new(Options::default())?.read_from(&file[..], |read| back.push(read.bits))?;
/// assert_eq!(back, captures);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Compose {
    /// The form.
    pub form: Form,
    /// Width of a pulse, in µs.
    pub width_us: f64,
    /// From one pulse's beginning to the next one's, in µs.
    pub interval_us: f64,
    /// From the end of one capture to the beginning of the next, in µs; also
    /// before the first and after the last. Captures of a single bit are only
    /// told from those of two where this is 50 ms or more, or where there are
    /// longer captures among them; a file of nothing else is asked about.
    pub gap_us: f64,
    /// How far each width and interval may be off, either way, as a share of
    /// it; 0.1 is ±10 %.
    pub jitter: f64,
    /// Faults to put in.
    pub faults: FaultShares,
    /// What a reader will take for a glitch, in µs: narrow pulses stay below.
    pub glitch_us: f64,
    /// The level the lines rest at.
    pub idle: Idle,
    /// A dump's tick.
    pub timescale: (u64, TimeUnit),
    /// A table's unit of time.
    pub time_unit: TimeUnit,
    /// Samples a second, for [`Form::CsvSamples`].
    pub rate_hz: f64,
    /// Whether a table of samples has a time column; without, the reader must
    /// be told the rate.
    pub time_column: bool,
    /// Draws jitter and faults: one seed, one file.
    pub seed: u64,
}

impl Default for Compose {
    /// A dump with pulses of 50 µs every 2 ms, half a second between captures,
    /// no jitter and no faults (judgement, no source: well within the limits).
    fn default() -> Compose {
        Compose {
            form: Form::ValueChanges,
            width_us: 50.0,
            interval_us: 2000.0,
            gap_us: 500_000.0,
            jitter: 0.0,
            faults: FaultShares::default(),
            glitch_us: GLITCH_US,
            idle: Idle::High,
            timescale: (1, TimeUnit::Nanos),
            time_unit: TimeUnit::Seconds,
            rate_hz: 1e6,
            time_column: true,
            seed: 1,
        }
    }
}

/// Intervals a gap must have to be told from lost pulses.
const SHORT_GAP: f64 = 4.0;

/// The same for a gap that is longer than any interval the limits allow, with a
/// lost pulse and jitter.
const LONG_GAP: f64 = 2.5;

/// From where on a gap is that long, in µs.
const LONG_GAP_US: f64 = 50_000.0;

impl Compose {
    /// Writes a probe file and returns the faults put in, in order of time for
    /// each reader.
    ///
    /// # Errors
    /// Options that cannot be met: pulses that would run together, a tick too
    /// long for them, a gap no one could tell; or the output failed.
    pub fn write(
        &self,
        tracks: &[Track<'_>],
        mut out: impl Write,
    ) -> Result<Vec<Fault>, SignalError> {
        let tick_us = self.checked(tracks)?;
        let players =
            tracks.iter().enumerate().map(|(i, t)| plan::Player::new(self, t, i, tick_us));
        write::write(self, tracks, players.collect(), tick_us, &mut out)
            .map_err(|e| SignalErrorKind::Io(e.to_string()).into())
    }

    /// A tick in µs, where all can be met.
    fn checked(&self, tracks: &[Track<'_>]) -> Result<f64, SignalError> {
        let bad = |option: &'static str, expected: String, found: f64| {
            Err(SignalErrorKind::BadOption { option, expected, found: found.to_string() }.into())
        };
        if !(0.0..=0.5).contains(&self.jitter) {
            return bad("jitter", "a share from 0 to 0.5".to_owned(), self.jitter);
        }
        // An hour, so that no sum of a file's times leaves what is held.
        if !(1.0..=3.6e9).contains(&self.interval_us) {
            return bad("interval", "1 to 3.6e9 µs".to_owned(), self.interval_us);
        }
        let room = self.interval_us * (1.0 - self.jitter);
        if !(self.width_us > 0.0 && self.width_us * (1.0 + self.jitter) < room) {
            return bad("pulse width", format!("less than {room:.1} µs"), self.width_us);
        }
        let intervals = if self.gap_us >= LONG_GAP_US { LONG_GAP } else { SHORT_GAP };
        let least_gap = intervals * self.interval_us;
        if !(least_gap..=3.6e9).contains(&self.gap_us) {
            let expected = format!("{least_gap:.0} µs or more, {intervals} intervals");
            return bad("gap", expected, self.gap_us);
        }
        let shares =
            [self.faults.glitch, self.faults.lost, self.faults.both_low, self.faults.noise];
        let sum: f64 = shares.iter().sum();
        if !(sum <= 1.0 && shares.iter().all(|s| *s >= 0.0)) {
            return bad("faults", "shares that sum to 1 at most".to_owned(), sum);
        }
        let tick_us = match self.form {
            Form::ValueChanges => {
                let (multiple, unit) = self.timescale;
                match crate::time::Scale::new(multiple, unit) {
                    // Ticks of less than a nanosecond would overrun in hours.
                    Some(scale) if scale.tick_us() >= 1e-3 => scale.tick_us(),
                    _ => return bad("timescale", "1 ns or more".to_owned(), multiple as f64),
                }
            }
            Form::CsvChanges => 1e-3,
            Form::CsvSamples if (1.0..=1e9).contains(&self.rate_hz) => 1e6 / self.rate_hz,
            Form::CsvSamples => return bad("sample rate", "1 to 1e9 Hz".to_owned(), self.rate_hz),
        };
        let narrow = self.width_us * (1.0 - self.jitter);
        let spikes = self.faults.glitch + self.faults.noise > 0.0;
        let most = if spikes { narrow.min(self.glitch_us) } else { narrow };
        // Anything shorter than a tick may fall between two of them.
        if tick_us > most || spikes && tick_us * 1.5 > self.glitch_us {
            return bad("tick or sample time", format!("{most:.2} µs or less"), tick_us);
        }
        if self.faults.both_low > 0.0 && 0.3 * self.width_us < self.glitch_us + tick_us {
            return bad(
                "pulse width",
                "wider, for both lines to be low at once".to_owned(),
                self.width_us,
            );
        }
        if tracks.is_empty() || tracks.len() > crate::options::MOST_READERS {
            return bad("readers", "1 to 64".to_owned(), tracks.len() as f64);
        }
        Ok(tick_us)
    }
}
