//! What captures of a length have in common, where a layout checks nothing, as
//! a part of the mixture.

use std::collections::HashMap;

use super::super::batch::Batch;
use super::super::guess::Guess;
use super::super::model::LONG_SERIAL_BITS;
use super::super::pattern::{self, Pattern};
use crate::bits::{Capture, Wide};
use crate::decode::Reading;

impl Batch<'_> {
    /// What the captures of each length have in common where a layout checks
    /// nothing; `more` of them beside those that were seen.
    pub(super) fn patterns(&self, more: &[(u32, Capture)]) -> HashMap<usize, Common> {
        let mut patterns = HashMap::new();
        let mut sample: Option<Vec<Capture>> = None;
        for (length, strange) in self.strange_by_length.iter().enumerate() {
            let pattern = strange.iter().map(|kind| &self.kinds[*kind as usize]);
            let Some(kind) = pattern.clone().find(|kind| kind.is_pattern()) else { continue };
            let sample = sample.get_or_insert_with(|| self.few_distinct(pattern::LOOKED_AT, more));
            let of_length: Vec<Capture> =
                sample.iter().filter(|capture| capture.len() == length).copied().collect();
            let all = self.sketch.counts().iter().all(|count| *count <= pattern::LOOKED_AT);
            // Long serial numbers of one order end alike; their head is a code.
            let spared = match kind.layout.serial_field() {
                Some(field) if field.span.len() >= LONG_SERIAL_BITS => {
                    let last = field.span.part(field.span.len() - 8, 8);
                    last.map_or(Wide::ZERO, |last| last.mask())
                }
                _ => Wide::ZERO,
            };
            let pattern = Pattern::of(&of_length, spared, all);
            let unseen = Pattern::unseen(of_length.len().saturating_sub(1));
            patterns.insert(length, Common { pattern, unseen });
        }
        patterns
    }

    /// Up to so many distinct captures of each reader, and more, sorted, each once.
    fn few_distinct(&self, most: usize, more: &[(u32, Capture)]) -> Vec<Capture> {
        let seen = self.sketch.sample(most).into_iter().chain(more.iter().copied());
        let mut all: Vec<Capture> = seen.map(|(_, capture)| capture).collect();
        all.sort_unstable_by_key(|capture| (capture.len(), capture.wide()));
        all.dedup();
        all
    }
}

/// What the captures of a length have in common, if anything, and how likely an
/// unknown kind would not show it.
#[derive(Debug, Clone)]
pub(super) struct Common {
    pub(super) pattern: Option<Pattern>,
    pub(super) unseen: f64,
}

/// What the captures of a length have in common, as a guess in every state.
pub(super) fn guess_pattern(
    batch: &Batch<'_>,
    patterns: &HashMap<usize, Common>,
    capture: &Capture,
    live: [bool; 4],
    seen: bool,
    guesses: &mut Vec<Guess>,
) {
    let kinds = batch.strange_by_length[capture.len()].iter();
    let Some(kind) = kinds.copied().find(|kind| batch.kinds[*kind as usize].is_pattern()) else {
        return;
    };
    let likelihood = match patterns.get(&capture.len()) {
        // Half the unknown kinds hide what they have in common, at first.
        Some(Common { pattern: Some(pattern), unseen }) => {
            (pattern.likelihood(capture, seen) + unseen) / 2.0
        }
        // Random bits by another name, where few say so.
        Some(Common { unseen, .. }) => *unseen,
        None => 1.0,
    };
    for (reading, _) in Reading::WIRING.into_iter().zip(live).filter(|(_, live)| *live) {
        guesses.push(Guess::strange(kind, reading, *capture, likelihood));
    }
}
