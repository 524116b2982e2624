//! Where there is no terminal there is no bar, and no clock to time it by.

/// How far a piece of work is: nobody sees it.
pub struct Progress;

impl Progress {
    /// Bytes done, of how many if that is known.
    pub fn of_bytes(_: &str, _: Option<u64>) -> Progress {
        Progress
    }

    /// Rows done, of how many.
    pub fn of_rows(_: &str, _: usize) -> Progress {
        Progress
    }

    /// So much more is done.
    pub fn add(&mut self, _: u64) {}
}

/// Prints something.
pub fn aside<T>(print: impl FnOnce() -> T) -> T {
    print()
}

/// Does work.
pub fn during<T>(_: &str, work: impl FnOnce() -> T) -> T {
    work()
}
