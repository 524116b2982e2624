//! A change of one line's level: what every form of probe file comes down to.

/// A line's level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Level {
    /// 0
    Low,
    /// 1
    High,
    /// `z`: driven to neither.
    Released,
    /// `x`, or nothing written: neither is known.
    Unknown,
}

/// One change of one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Change {
    /// When, in ns from the file's zero.
    pub time_ns: i64,
    /// Which of the lines followed, from 0.
    pub line: usize,
    /// The level it changed to, or was given again.
    pub level: Level,
}

/// Where a scanner sends what it finds, in order of time.
pub(crate) trait Changes {
    /// A line's level at a time (ns).
    fn change(&mut self, at: i64, line: u16, level: Level);

    /// Recording stops: what the lines do next is not seen.
    fn off(&mut self, at: i64);

    /// Recording starts, or starts again.
    fn on(&mut self, at: i64);
}
