//! What a plan is weighed by, while it is looked for.

use super::big::Big;
use super::catalogue::Slot;

/// The objective, in the order it is weighed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(crate) struct Score {
    pub lost: u128,
    pub in_conflict: u128,
    pub blocked_open: u128,
    pub renumbered: u128,
    pub boxed_lost: u128,
    pub boxed_in_conflict: u128,
    /// In units of 2^-256.
    pub exposure: Big,
    pub slots: usize,
}

/// The best plan found.
pub(crate) struct Found {
    pub slots: Vec<Slot>,
    pub score: Score,
    /// No plan is better than this; `None` where the plan is the best.
    pub bound: Option<Score>,
}

/// The best plan so far.
pub(crate) type Best = Option<(Score, Vec<Slot>)>;
