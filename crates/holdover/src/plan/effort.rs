//! How much a search may do, and what it has done.

/// How much the search may do before it ends with the best plan so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub struct Effort {
    /// Up to so many layouts the search goes step by step; more are searched by
    /// options of each length.
    pub exact_layouts: usize,
    /// Work by options, in things looked at: a thousand million are some
    /// seconds.
    pub work: u64,
    /// Work step by step, in cards weighed, ranges for several: some million are
    /// a second.
    pub steps: u64,
}

impl Default for Effort {
    fn default() -> Effort {
        // Judgement, no source: about a minute.
        Effort { exact_layouts: EXACT_LAYOUTS, work: 60_000_000_000, steps: STEPS }
    }
}

/// Layouts that are searched step by step. Judgement, no source.
const EXACT_LAYOUTS: usize = 16;

/// Work of a search step by step. Judgement, no source: half a minute.
const STEPS: u64 = 300_000_000;

/// Work between two questions whether to go on. Judgement, no source: some
/// milliseconds.
const ASK_EACH: u64 = 2_000_000;

/// Counts work, and asks whether to go on.
pub(crate) struct Pace<'p> {
    pub effort: Effort,
    /// The time is the caller's.
    pub go_on: Option<&'p mut dyn FnMut() -> bool>,
    pub work: u64,
    asked: u64,
    pub most: u64,
    pub stopped: bool,
}

impl<'p> Pace<'p> {
    pub fn new(effort: Effort, go_on: Option<&'p mut dyn FnMut() -> bool>) -> Pace<'p> {
        Pace { effort, go_on, work: 0, asked: 0, most: u64::MAX, stopped: false }
    }

    /// Takes note of work; false where it is to end.
    pub fn spend(&mut self, work: u64) -> bool {
        self.work = self.work.saturating_add(work);
        if self.work - self.asked >= ASK_EACH {
            self.asked = self.work;
            self.stopped |= self.go_on.as_mut().is_some_and(|go_on| !go_on());
        }
        self.stopped |= self.work > self.most;
        !self.stopped
    }
}
