//! From a logic probe's file to captures: the changes of D0 and D1 are framed
//! into bits, and the lines' health is told with them.
//!
//! ```text
//! bytes ──vcd, csv──▶ changes ──pair──▶ edges ──frame──▶ captures ──health──▶ reads
//! ```
//!
//! Reads value-change dumps (IEEE 1364-2005 clause 18) and tables of changes or
//! of samples, told apart by content ([`sniff`]), in constant memory
//! ([`Probe`]); and raw card data replies ([`raw_card_data`], IEC 60839-11-5).
//! [`compose`] is the inverse: probe files from captures, with faults if wanted.
//!
//! A falling edge on D0 is a 0, on D1 a 1. The limits pulses are held against
//! ([`PULSE_WIDTH_US`], [`PULSE_INTERVAL_US`]) are the usual ones: common
//! practice, no source.
//!
//! What the edges cannot show is not told here: a first or a last pulse lost
//! whole leaves a shorter capture and no trace. The bits are those seen;
//! [`Unsure`] says where one may be missing or may not be one, for a later stage
//! to weigh.
//!
//! The crate prints nothing, has no clock, and opens no file.

#![forbid(unsafe_code)]

mod behaviour;
mod card_data;
mod change;
pub mod compose;
mod csv;
mod error;
mod finding;
mod frame;
mod gap;
mod health;
mod histogram;
mod judge;
mod lines;
mod options;
mod pair;
mod period;
mod probe;
mod pulse;
mod read;
mod sniff;
mod stream;
mod summary;
mod time;
mod track;
pub mod vcd;

/// What a probe file may have at most.
pub mod limits {
    pub use crate::csv::COLUMNS;
    pub use crate::options::MOST_READERS;
    pub use crate::stream::LONGEST;
    pub use crate::vcd::REMEMBERED;
}

pub use card_data::{
    CardData, CardDataError, CardDataErrorKind, CardDataFormat, raw_card_data, to_raw_card_data,
};
pub use change::{Change, Level};
pub use error::{SignalError, SignalErrorKind};
pub use finding::{Finding, FindingKind, PULSE_INTERVAL_US, PULSE_WIDTH_US, Place};
pub use gap::GapBasis;
pub use histogram::{Bin, Histogram, Spread};
pub use options::{GLITCH_US, Idle, Options, PairChoice};
pub use probe::{Probe, Session};
pub use read::{CardRead, Line, Pulse, Unsure};
pub use sniff::{InputKind, sniff};
pub use summary::{Chosen, ReaderSummary, Summary};
pub use time::TimeUnit;
