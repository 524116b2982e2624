//! Proving: before the old panel goes dark, that every kept card opens as
//! itself and only as itself, and that a table decodes what it decoded before.
//!
//! The panel is simulated here bit by bit, from what was keyed into it and
//! nothing else; what ranges open is worked out by the planner's sweep on the
//! same slots, and the ends of every range bit by bit again.

mod cases;
mod rows;
mod simulate;

pub use cases::{Case, CaseAnswer, CaseProof, prove_cases};
pub use rows::{Outcome, Proof, prove};
