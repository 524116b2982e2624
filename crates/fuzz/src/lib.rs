//! What the fuzz targets do with an input: a function each, which returns
//! where all is well and panics where it is not. Fuzzers, the replay of kept
//! inputs and the run of millions share them.
//!
//! Stable Rust and a C++ compiler, for the libFuzzer in `libfuzzer-sys`, do: `run`
//! asks LLVM for coverage with flags of stable `rustc`. A new target is a function
//! in `targets/` and a file of its name in `bin/`; the list is made of those
//! files. What the command line parses is run on a desk, and what comes out is
//! read back (`tool.rs`): an exit code of 0, 1 or 2, a word where it refuses, JSON
//! and CSV that parse and agree, plans that prove. The stages are drawn by the
//! fuzzer through the tests' own generators and held against their oracles. What
//! is found is mended, tested, and kept under `fixtures/crashes/`.
//!
//! A site's cards are never the fuzzer's choice in the target `learn`: *settled*
//! bounds chance, and an enemy's pile fits anything.

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
