//! What is wrong with a line, in words: what it is, what usually causes it,
//! and what to check.

use std::sync::Arc;

use serde::{Serialize, Serializer, ser::SerializeStruct};

/// Shortest and longest pulse, in µs: usual limits, common practice, no source.
pub const PULSE_WIDTH_US: [f64; 2] = [20.0, 100.0];

/// Shortest and longest spacing from one pulse to the next, in µs: usual limits,
/// common practice, no source.
pub const PULSE_INTERVAL_US: [f64; 2] = [200.0, 20_000.0];

/// Kinds of findings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum FindingKind {
    /// Pulses wider or narrower than the limits allow.
    PulseWidth,
    /// Pulses closer together or further apart than the limits allow.
    PulseInterval,
    /// One pulse far wider or narrower than the rest.
    UnevenPulse,
    /// Two pulses far closer together than the rest: one may be noise.
    ExtraPulse,
    /// A spacing of two or more intervals inside a capture.
    MissingPulse,
    /// Spacings that vary widely.
    Jitter,
    /// Both lines active at once.
    BothLow,
    /// A pulse, or a break in one, too narrow to be a bit.
    Glitch,
    /// A line active for far longer than a pulse.
    LineHeld,
    /// One line never pulses.
    SilentLine,
    /// The recording begins inside a capture.
    CutAtStart,
    /// The recording ends inside a capture.
    CutAtEnd,
    /// A fall from a level that was not known.
    UnsureEdge,
    /// Too few samples in a pulse to measure it.
    SlowSampling,
    /// More pulses without a gap than a capture holds.
    TooManyPulses,
    /// Pulses at one pace, too slow for a capture's, and no gap among them.
    NoGap,
    /// A line at a level that is neither low nor high.
    UnknownLevel,
}

impl FindingKind {
    /// Every kind.
    pub const ALL: [FindingKind; 17] = [
        FindingKind::PulseWidth,
        FindingKind::PulseInterval,
        FindingKind::UnevenPulse,
        FindingKind::ExtraPulse,
        FindingKind::MissingPulse,
        FindingKind::Jitter,
        FindingKind::BothLow,
        FindingKind::Glitch,
        FindingKind::LineHeld,
        FindingKind::SilentLine,
        FindingKind::CutAtStart,
        FindingKind::CutAtEnd,
        FindingKind::UnsureEdge,
        FindingKind::SlowSampling,
        FindingKind::TooManyPulses,
        FindingKind::NoGap,
        FindingKind::UnknownLevel,
    ];

    /// The name that stays the same: `pulse-width`, `missing-pulse`, …
    pub fn name(self) -> &'static str {
        match self {
            FindingKind::PulseWidth => "pulse-width",
            FindingKind::PulseInterval => "pulse-interval",
            FindingKind::UnevenPulse => "uneven-pulse",
            FindingKind::ExtraPulse => "extra-pulse",
            FindingKind::MissingPulse => "missing-pulse",
            FindingKind::Jitter => "jitter",
            FindingKind::BothLow => "both-lines-low",
            FindingKind::Glitch => "glitch",
            FindingKind::LineHeld => "line-held",
            FindingKind::SilentLine => "silent-line",
            FindingKind::CutAtStart => "cut-at-start",
            FindingKind::CutAtEnd => "cut-at-end",
            FindingKind::UnsureEdge => "unsure-edge",
            FindingKind::SlowSampling => "slow-sampling",
            FindingKind::TooManyPulses => "too-many-pulses",
            FindingKind::NoGap => "no-gap",
            FindingKind::UnknownLevel => "unknown-level",
        }
    }

    /// What usually causes it (common practice, no source).
    pub fn cause(self) -> &'static str {
        match self {
            FindingKind::PulseWidth => {
                "usually a reader set to other timing, or a long cable whose capacitance and weak \
                 pull-up stretch the pulse"
            }
            FindingKind::PulseInterval => {
                "usually a reader set to other timing, or a converter between reader and panel \
                 that sends at its own pace"
            }
            FindingKind::UnevenPulse => {
                "usually noise beside a true pulse, or a supply that dips while the reader beeps"
            }
            FindingKind::ExtraPulse => {
                "usually noise from a lock or a motor on the same cable, or a second reader on the \
                 same lines"
            }
            FindingKind::MissingPulse => {
                "usually a loose terminal, a pulse too weak for the probe's threshold, or a probe \
                 that dropped samples"
            }
            FindingKind::Jitter => {
                "usually a reader busy with something else while it sends, or two readers on the \
                 same lines"
            }
            FindingKind::BothLow => {
                "usually crosstalk or a short between D0 and D1, a reader without a ground in \
                 common with the probe, or its supply failing"
            }
            FindingKind::Glitch => {
                "usually coupling from a neighbouring wire or a missing ground; contact bounce at \
                 the probe's clip looks the same"
            }
            FindingKind::LineHeld => {
                "usually a short to ground, a reader without power, or a pull-up that is missing"
            }
            FindingKind::SilentLine => {
                "usually a broken or unconnected data wire; the bits it would carry are lost"
            }
            FindingKind::CutAtStart => "the probe started while a card was being read",
            FindingKind::CutAtEnd => {
                "the probe stopped, or the file was cut, while a card was being read"
            }
            FindingKind::UnsureEdge => {
                "usually a level between low and high, or a recording that began there"
            }
            FindingKind::SlowSampling => "the probe's sample rate is set too low",
            FindingKind::TooManyPulses => {
                "usually noise on a line that floats, or a line that carries something else"
            }
            FindingKind::NoGap => {
                "usually a wrong sample rate or unit of time, or a line that carries something \
                 else; a reader this slow is rare"
            }
            FindingKind::UnknownLevel => {
                "usually a missing pull-up, a simulation without one, or a probe whose threshold \
                 does not fit the line"
            }
        }
    }

    /// What to check (common practice, no source).
    pub fn check(self) -> &'static str {
        match self {
            FindingKind::PulseWidth => {
                "check the reader's timing setting, the cable's length, and that the pull-ups are \
                 at the panel's end"
            }
            FindingKind::PulseInterval => "check the reader's timing setting and any converter",
            FindingKind::UnevenPulse => "check the reader's supply while it sends",
            FindingKind::ExtraPulse => {
                "check the shield and the ground, and read the same card again: the true bits \
                 repeat"
            }
            FindingKind::MissingPulse => {
                "check the terminals of both data wires and the probe's threshold, and read the \
                 same card again"
            }
            FindingKind::Jitter => "check that only one reader drives these lines",
            FindingKind::BothLow => {
                "check D0 against D1 for a short, and that reader, panel and probe share a ground"
            }
            FindingKind::Glitch => "check the ground, the shield, and the probe's clips",
            FindingKind::LineHeld => "check the reader's supply and measure the line at rest",
            FindingKind::SilentLine => "check that data wire from end to end",
            FindingKind::CutAtStart => "start the recording before the card is shown",
            FindingKind::CutAtEnd => "let the recording run for a second after the card",
            FindingKind::UnsureEdge => "check the probe's threshold and the line's levels",
            FindingKind::SlowSampling => "record again at the rate given",
            FindingKind::TooManyPulses => {
                "check that the probe is on D0 and D1, and that the lines are pulled up"
            }
            FindingKind::NoGap => {
                "check the rate and the unit of time; where they are right, give the spacing that \
                 ends a capture: a longer one makes one capture of all, a shorter one a capture of \
                 each pulse"
            }
            FindingKind::UnknownLevel => {
                "check the pull-ups at the panel's end and the probe's threshold"
            }
        }
    }
}

impl std::fmt::Display for FindingKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}

impl Serialize for FindingKind {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

/// Where a finding is.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The reader.
    pub reader: Arc<str>,
    /// The reader's capture, from 1; `None`: between captures, or all of them.
    pub capture: Option<u64>,
    /// The bit in the capture, from 1; where a bit is missing, the one after.
    pub position: Option<usize>,
    /// When, in µs from the file's zero.
    pub time_us: f64,
}

/// Something wrong with a line.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// What kind of thing.
    pub kind: FindingKind,
    /// Where.
    pub place: Place,
    /// What it is, with its measure: a sentence without its full stop.
    pub what: String,
}

impl Finding {
    /// What usually causes it.
    pub fn cause(&self) -> &'static str {
        self.kind.cause()
    }

    /// What to check.
    pub fn check(&self) -> &'static str {
        self.kind.check()
    }
}

impl Serialize for Finding {
    /// Keys `kind`, `reader`, `capture`, `position` (where they are known),
    /// `time_us`, `what`, `cause`, `check`.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let place = &self.place;
        let len = 6 + usize::from(place.capture.is_some()) + usize::from(place.position.is_some());
        let mut out = serializer.serialize_struct("Finding", len)?;
        out.serialize_field("kind", &self.kind)?;
        out.serialize_field("reader", &*place.reader)?;
        match place.capture {
            Some(capture) => out.serialize_field("capture", &capture)?,
            None => out.skip_field("capture")?,
        }
        match place.position {
            Some(position) => out.serialize_field("position", &position)?,
            None => out.skip_field("position")?,
        }
        out.serialize_field("time_us", &place.time_us)?;
        out.serialize_field("what", &self.what)?;
        out.serialize_field("cause", self.cause())?;
        out.serialize_field("check", self.check())?;
        out.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_kebab_and_distinct() {
        for (i, kind) in FindingKind::ALL.iter().enumerate() {
            assert!(kind.name().bytes().all(|b| b.is_ascii_lowercase() || b == b'-'));
            assert!(FindingKind::ALL[..i].iter().all(|k| k.name() != kind.name()));
            assert!(!kind.cause().ends_with('.') && !kind.check().ends_with('.'));
        }
    }
}
