//! Answers in words: what is worth saying of a capture beside its candidates, with
//! gaps where captures of a class differ, and hidden where numbers are secret.

mod cells;
mod gaps;
mod mask;
mod notes;
mod words;

pub use cells::{Cells, Text, masked_card, masked_probabilities, mended_is_best, part, sayable};
pub use gaps::{Gaps, Hole, unmarked};
pub use mask::{HIDDEN, HIDDEN_PRINT, masked, tail};
pub use notes::notes;
pub use words::{numbers, percent};
