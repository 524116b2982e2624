//! What the fuzz targets do with an input: a function each, which returns
//! where all is well and panics where it is not. Fuzzers, the replay of kept
//! inputs and the run of millions share them.

#![forbid(unsafe_code)]

mod bytes;
pub mod kept;
pub mod mutate;
pub mod targets;
pub mod tool;

pub use bytes::Rng;

#[allow(missing_docs, reason = "the library's own tests, shared with them")]
#[path = "../../holdover/tests/learn_cards/mod.rs"]
mod learn_cards;
#[allow(missing_docs, dead_code, reason = "the library's own tests, shared with them")]
#[path = "../../holdover/tests/plan_brute/mod.rs"]
mod plan_brute;

/// What is done with an input.
pub type Target = fn(&[u8]);

/// Every target: its name, which is its program's, and what it does.
pub const TARGETS: &[(&str, Target)] = include!(concat!(env!("OUT_DIR"), "/targets.rs"));
