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
//! parts are "none of these" (random bits) and, for each layout, *codes free*
//! (site codes uniform), *codes repeating* (each code has a share of its own)
//! and, with a site file, *on the site file* (uniform over the cards the site
//! owns). Proportions start from [`model::NONE_SHARE`] and the layouts'
//! weights and are settled by expectation-maximisation.
//!
//! The share λ of one repeating code has the prior Gamma(ε) of a Dirichlet
//! process, ε = (the part's share) × 2^−bits of the code. Instead of counting
//! members leave-one-out and charging an opening cost, λ is integrated out
//! numerically over the captures that could be members, each weighed against
//! everything else that explains it. That is exact in λ, so two captures that
//! share a code by chance cannot prove each other: they are worth what the
//! integral says. On a simulated mix this is closer to the Bayes decoder that
//! knows the truth than counting is (`tests/calibration.rs`).
//!
//! Where a probe file shows bits missing inside a capture, or too many, the
//! card's words with one or two of them mended are weighed too. No [`Reading`]
//! names that, so they are no candidates: the best stands beside them, as
//! [`Answer::mended`]. That the capture is harmed beyond mending is weighed with
//! them, as part of the other probability: a word must explain more than chance.
//!
//! [`Reading`]: crate::decode::Reading
//!
//! Wiring is one state a reader, with prior 2^−7 for swapped lines; all its
//! captures speak for or against it together.

mod answer;
mod batch;
mod class;
mod distinct;
mod evidence;
mod fit;
mod known;
mod mend;
pub mod model;
mod share;
mod short;

pub use answer::{Answer, Candidate, Evidence, Mended, Verdict, Why};
pub use batch::{Batch, Sighting};
pub use class::{Signatures, Signer};
pub use fit::{Fit, Wiring};
pub(crate) use known::print_numbers;
pub use known::{Doubt, Known};
pub use mend::Mend;
pub use short::Column;
