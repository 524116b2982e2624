//! What a caller may say about a probe file.

use serde::Serialize;

use crate::error::{SignalError, SignalErrorKind};
use crate::time::TimeUnit;

/// Pulses narrower than this are glitches, not bits, in µs: a quarter of the
/// shortest pulse the limits allow (judgement, no source).
pub const GLITCH_US: f64 = 5.0;

/// The most readers in one file (judgement, no source: twice the doors of a
/// large panel); bounds the lines followed.
pub const MOST_READERS: usize = 64;

/// Which level both lines rest at between pulses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Idle {
    /// High, pulses low: the usual wiring.
    High,
    /// Low, pulses high: the lines are inverted, as through an opto-isolator
    /// or a level shifter.
    Low,
}

/// Two lines named by the caller.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PairChoice {
    /// What to call the reader; `None`: `reader`, numbered where there are
    /// several.
    pub reader: Option<String>,
    /// D0: a name, its end after a dot, one bit of a vector (`top.bus[3]`), or
    /// a table's column number from 1.
    pub d0: String,
    /// D1, likewise.
    pub d1: String,
}

/// What a caller may say; the default says nothing.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Options {
    /// The pairs to read; empty: those the names or the lines' behaviour tell.
    pub pairs: Vec<PairChoice>,
    /// The spacing, in µs, that ends a capture; `None`: chosen from the data.
    pub gap_us: Option<f64>,
    /// Pulses narrower than this, in µs, are glitches.
    pub glitch_us: f64,
    /// Samples a second, for tables without a time.
    pub rate_hz: Option<f64>,
    /// The unit of a time column whose heading has none.
    pub time_unit: Option<TimeUnit>,
    /// The voltage between low and high; `None`: half of the highest seen.
    pub threshold_v: Option<f64>,
    /// The idle level; `None`: seen from the data.
    pub idle: Option<Idle>,
}

impl Default for Options {
    fn default() -> Options {
        Options {
            pairs: Vec::new(),
            gap_us: None,
            glitch_us: GLITCH_US,
            rate_hz: None,
            time_unit: None,
            threshold_v: None,
            idle: None,
        }
    }
}

impl Options {
    /// Refuses what cannot be.
    pub(crate) fn checked(self) -> Result<Options, SignalError> {
        let positive = |option, value: Option<f64>, least: f64, most: f64, unit: &str| match value {
            Some(value) if !(least..=most).contains(&value) => {
                Err(SignalError::from(SignalErrorKind::BadOption {
                    option,
                    expected: format!("{least} to {most} {unit}"),
                    found: value.to_string(),
                }))
            }
            _ => Ok(()),
        };
        // Wide enough for any line there is; a typing mistake in the unit is
        // caught (judgement, no source).
        positive("gap", self.gap_us, 10.0, 1e9, "µs")?;
        positive("glitch limit", Some(self.glitch_us), 0.0, 1e4, "µs")?;
        positive("sample rate", self.rate_hz, 1e-3, 1e12, "Hz")?;
        positive("threshold", self.threshold_v, -1e3, 1e3, "V")?;
        if self.pairs.len() > MOST_READERS {
            return Err(SignalErrorKind::BadOption {
                option: "pairs",
                expected: format!("up to {}", MOST_READERS),
                found: self.pairs.len().to_string(),
            }
            .into());
        }
        Ok(self)
    }
}
