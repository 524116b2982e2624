//! What is worth saying of one capture beside its candidates.

use holdover::rank::Answer;
use holdover::say::{self, Gaps};
use holdover::site::Site;

use crate::input::Entry;

/// All notes on one capture.
///
/// With gaps, numbers of the capture come out as gaps.
pub fn of(
    entry: &Entry,
    answer: &Answer<'_>,
    site: Option<&Site>,
    gaps: Option<&Gaps<'_>>,
) -> Vec<String> {
    let counted = entry.digits.is_none();
    let assumed = [&entry.notes[..], &entry.unused].concat();
    say::notes(&entry.observation, &assumed, counted, answer, site, gaps)
}
