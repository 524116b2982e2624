//! Numbers and probabilities as people read them.

pub use holdover::say::{numbers, percent};
