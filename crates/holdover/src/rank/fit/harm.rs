//! Known cards whose captures are harmed beyond what any one layout explains.
//!
//! A capture that fails its layout's checks, or is one bit too long or too
//! short, may be a bad read of a known card as well as an unknown one. By its
//! code the fit may tell; where it carries none that comes back, how many of the
//! reader's captures are of that sort does, and the rest stays open: it is
//! neither a card of the table nor "none of these".

use super::super::guess::Guess;
use super::super::model::{FAULTS_MOST, FAULTS_PRIOR, HARM_KNOWN, HARMED_LEAST};
use super::Fit;
use crate::bits::Capture;

/// Captures of one reader.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Harm {
    all: f64,
    /// Of a length that no layout has, one bit from one that has.
    near: f64,
    /// Of a length with checks: all hold of some layout; of none.
    met: f64,
    failing: f64,
}

/// Whether the guess is at a whole capture whose checks hold.
fn holds(guess: &Guess) -> bool {
    let whole = guess.reading.bits_lost() == 0 && guess.mended.is_none();
    !guess.strange && !guess.fails && whole
}

impl Harm {
    /// Half of what looks harmed is, of so many captures beside this one; no
    /// more than a reader's faults come to.
    fn half(harmed: f64, of: f64) -> f64 {
        let others = (harmed - 1.0).max(0.0);
        let share = others / (of + FAULTS_PRIOR);
        if share > FAULTS_MOST { 0.0 } else { share / 2.0 }
    }
}

impl Fit<'_, '_> {
    pub(super) fn harm(&self) -> Vec<Harm> {
        let mut harm = vec![Harm::default(); self.wiring.len()];
        for (i, class) in self.classes.iter().enumerate() {
            let (length, count) = (class.capture.len(), class.count * class.weight);
            let of = &mut harm[class.reader as usize];
            of.all += count;
            if self.batch.is_near(length) {
                of.near += count;
            }
            let wiring = self.wiring[class.reader as usize].probability;
            let likely = |guess: &Guess| wiring[guess.wiring()] > 0.25;
            if self.has_checks(length) {
                let mut guesses = self.guesses[self.of_class[i].clone()].iter();
                match guesses.any(|guess| likely(guess) && holds(guess)) {
                    true => of.met += count,
                    false => of.failing += count,
                }
            }
        }
        harm
    }

    fn has_checks(&self, length: usize) -> bool {
        let kinds = &self.batch.by_length[length];
        kinds.iter().any(|kind| self.batch.kinds[*kind as usize].layout.rank() > 0)
    }

    /// The mixture's part for a capture of a known card that was harmed.
    pub(in super::super) fn harmed(
        &self,
        reader: Option<u32>,
        capture: &Capture,
        guesses: &[Guess],
    ) -> f64 {
        let length = capture.len();
        let share = |length: usize| -> f64 {
            let kinds = self.batch.by_length.get(length).into_iter().flatten();
            let shares = kinds.map(|kind| &self.shares[*kind as usize]);
            shares.map(|shares| shares.free + shares.owned + shares.repeating).sum()
        };
        let harm = reader.map_or_else(Harm::default, |reader| self.harm[reader as usize]);
        let (fails, slips, known) =
            reader.map_or((0.0, 0.0, 0.0), |reader| self.rates.learnt(reader));
        // Where many cards are known by their codes, those tell how bad the reader is.
        let open = HARM_KNOWN / (HARM_KNOWN + known);
        if self.batch.is_near(length) {
            let rate = slips.max(open * Harm::half(harm.near, harm.all).max(HARMED_LEAST));
            return rate / 2.0 * (share(length + 1) + share(length.saturating_sub(1)));
        }
        if !self.has_checks(length) || guesses.iter().any(holds) {
            return 0.0;
        }
        let rate = Harm::half(harm.failing, harm.met + harm.failing);
        fails.max(open * rate.max(HARMED_LEAST)) * share(length)
    }
}
