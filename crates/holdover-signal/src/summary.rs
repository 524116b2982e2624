//! What a whole probe file tells: which lines were read and why, and how
//! healthy they are.

use std::fmt;

use serde::Serialize;

use crate::finding::{Finding, FindingKind};
use crate::gap::GapBasis;
use crate::histogram::{Histogram, Spread};
use crate::lines::Pairing;
use crate::options::Idle;
use crate::pair::Pair;
use crate::sniff::InputKind;
use crate::time::micros;

/// How the lines were chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Chosen {
    /// The caller named them.
    Caller,
    /// Their names say D0 and D1.
    Names,
    /// There are no others: a guess which is which.
    OnlyTwo,
    /// They pulse by turns and never at once: a guess.
    Behaviour,
}

impl Chosen {
    /// Whether it is a guess, so that the two may be swapped.
    pub fn is_guess(self) -> bool {
        matches!(self, Chosen::OnlyTwo | Chosen::Behaviour)
    }
}

impl fmt::Display for Chosen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Chosen::Caller => "the lines were named",
            Chosen::Names => "the lines' names say which is D0 and which is D1",
            Chosen::OnlyTwo => {
                "there are only two lines, and their names say nothing: the first was taken for D0"
            }
            Chosen::Behaviour => {
                "the names say nothing: lines that pulse by turns and never at once were taken for \
                 a pair, the first of them for D0"
            }
        })
    }
}

/// What a whole probe file tells.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// What kind of file it was.
    pub kind: InputKind,
    /// How the lines were chosen.
    pub chosen: Chosen,
    /// Each reader.
    pub readers: Vec<ReaderSummary>,
    /// The last time in the file, in µs.
    pub end_us: f64,
    /// What was taken for granted, in sentences without their full stop.
    pub notes: Vec<String>,
}

/// What the file tells of one reader.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReaderSummary {
    /// Its name.
    pub reader: String,
    /// The name of its D0.
    pub d0: String,
    /// The name of its D1.
    pub d1: String,
    /// The level both lines rest at.
    pub idle: Idle,
    /// The spacing that ends a capture, in µs; `None`: nothing was seen.
    pub gap_us: Option<f64>,
    /// How it was chosen.
    pub gap: Option<GapBasis>,
    /// Captures.
    pub captures: u64,
    /// Captures without a finding.
    pub clean: u64,
    /// Bits in them.
    pub bits: u64,
    /// How wide the pulses are.
    pub width: Option<Spread>,
    /// How far apart pulses begin within captures.
    pub interval: Option<Spread>,
    /// Time between samples, in µs, where it is known.
    pub sample_us: Option<f64>,
    /// How the widths are distributed.
    pub widths: Histogram,
    /// How the intervals are distributed.
    pub intervals: Histogram,
    /// How many findings of each kind there are, in captures and between.
    pub counts: Vec<(FindingKind, u64)>,
    /// Findings of the reader's own, the first thousand; those of a capture are
    /// with it.
    pub findings: Vec<Finding>,
}

impl ReaderSummary {
    pub(crate) fn of(pair: Pair, pairing: Pairing) -> ReaderSummary {
        let idle = pair.idle().unwrap_or(Idle::High);
        let gap = pair.framer.gap();
        let health = pair.framer.health;
        let counts = FindingKind::ALL.into_iter().zip(health.counts);
        let [d0, d1] = pairing.names;
        ReaderSummary {
            reader: pairing.reader,
            d0,
            d1,
            idle,
            gap_us: gap.map(|gap| micros(gap.at)),
            gap: gap.map(|gap| gap.basis),
            captures: health.captures,
            clean: health.clean,
            bits: health.bits,
            width: health.widths.spread(),
            interval: health.intervals.spread(),
            sample_us: health.sample_period().map(micros),
            widths: health.widths.histogram(),
            intervals: health.intervals.histogram(),
            counts: counts.filter(|(_, count)| *count > 0).collect(),
            findings: health.findings,
        }
    }

    /// How many findings of a kind there are.
    pub fn count(&self, kind: FindingKind) -> u64 {
        self.counts.iter().find(|(k, _)| *k == kind).map_or(0, |(_, count)| *count)
    }

    pub(crate) fn idle_note(&self) -> Option<String> {
        (self.idle == Idle::Low).then(|| {
            format!(
                "{}: the lines rest low and pulse high: they are inverted, and were read so",
                self.reader
            )
        })
    }
}
