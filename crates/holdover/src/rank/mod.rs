//! Ranking: which layout, under which reading, explains a capture best, and
//! how sure that is.
//!
//! The evidence is the capture itself (its checks and digits), what is known
//! beforehand (site file, printed number), and the rest of the batch: site
//! codes that keep coming back, the wiring that the captures of one reader
//! share, and the proportions of the kinds of card.
//!
//! # The model
//! A batch's distinct captures are draws from a mixture. Within one length the
//! parts are
//!
//! - for each layout, *codes free* (site codes uniform), *codes repeating* (each
//!   code has a share of its own) and, with a site file, *on the site file*
//!   (uniform over the cards the site owns);
//! - "none of these": random bits, and unknown kinds that look like a layout's
//!   (`strange.rs`): codes that repeat in the same place, under none of the
//!   layout's checks, one, all but one, or their sum; where a layout checks
//!   nothing, what the captures have in common instead (`pattern.rs`).
//!
//! All are weighed against random bits of the same length, in bits. Proportions
//! start from [`model::NONE_SHARE`] and the layouts' weights and are settled by
//! expectation-maximisation: they are maximised, each part's pseudo-count
//! keeping it from vanishing. What a capture takes itself is left out wherever
//! it is weighed.
//!
//! Site codes are integrated. The share λ of one repeating code has the prior
//! Gamma(ε) of a Dirichlet process, ε = (the parts' shares) × 2^−bits of the
//! code. Instead of counting members leave-one-out and charging an opening cost,
//! λ is integrated out numerically over the captures that could be members, each
//! weighed against everything else that explains it. That is exact in λ, so two
//! captures that share a code by chance cannot prove each other: they are worth
//! what the integral says. On a simulated mix this is closer to the Bayes decoder
//! that knows the truth than counting is (`tests/rank_calibration.rs`).
//!
//! A code belongs to a place, not to a layout: all kinds, known and unknown, that
//! read their code there share its λ, and which of them it is of is settled by
//! the checks its captures meet. So a constant prefix earns "none of these" what
//! it earns a layout, and of a code whose captures pass by chance, one in two or
//! one in four, none is the layout's. Where instead whole codes fail, capture
//! after capture, the layout's other codes are suspect too (`fit.rs`, `suspect`).
//!
//! What is said once of a batch is decided once:
//! - the *wiring* of each reader (`trial.rs`), by the probability of all its
//!   captures under each state, one after the other; prior 2^−7 for swapped lines.
//!   Captures without a reader's name may come by several. Unknown kinds are
//!   weighed as captured in every state;
//! - *roles* (`roles.rs`): whether cards that two layouts explain alike carry a
//!   site code and a number, or one number, or some this and some that;
//! - *faults* (`faults.rs`): how many captures of a reader fail a check or lose a
//!   bit, and how many prints are not the card's number: a few, or all.
//!
//! A capture that fails its layout's checks, or is one bit too long or too short,
//! may be a known card's, harmed beyond telling (`fit/harm.rs`). That part is
//! neither a candidate nor "none of these".
//!
//! Where a probe file shows bits missing inside a capture, or too many, the
//! card's words with one or two of them mended are weighed too. No [`Reading`]
//! names that, so they are no candidates: the best stands beside them, as
//! [`Answer::mended`]. That the capture is harmed beyond mending is weighed with
//! them, as part of the other probability: a word must explain more than chance.
//!
//! Digits whose bit count nobody gave are weighed over all lengths (`digits.rs`).
//!
//! # What is easy to break
//! - A capture must not prove itself: wherever it is weighed, its own count is
//!   left out (`fit.rs`, `leave_one_out`; `share.rs`, the predictive share of the others).
//! - Shares of repeating codes are integrated out, not counted, or two chance
//!   captures lock in. Kinds that share a place share its λ: given one each they
//!   would all jump at once, and none would be left.
//! - Coarse codes are fitted first (`fit/codes.rs`, `stages`). All cards of one
//!   8-bit code pass for sixteen 12-bit codes as well; from an even start the
//!   sweeps stay there.
//! - The wiring is settled before the sweeps, from a sequence of predictions for
//!   each state (`trial.rs`). Sums of leave-one-out likelihoods are no likelihood.
//! - An answer depends on a capture's signature alone (`class.rs`): what a part of
//!   the model looks at must be in it, or be said of the batch as a whole.
//!
//! [`Reading`]: crate::decode::Reading

mod answer;
mod batch;
mod class;
mod digits;
mod evidence;
mod faults;
mod fit;
mod guess;
mod known;
mod mend;
pub mod model;
mod pattern;
mod roles;
mod seen;
mod share;
mod sketch;
mod strange;
mod trial;
mod word_set;

pub use answer::{Answer, Candidate, Evidence, Mended, Verdict, Why};
pub use batch::{Batch, Observation};
pub use class::{ClassIndex, Classifier, Teller};
pub use fit::{Fit, Wiring};
pub(crate) use known::print_numbers;
pub use known::{Doubt, Known};
pub use mend::Mend;
pub use seen::{Seen, SeenError};
pub use word_set::Column;
