//! Why there is no answer.

use std::fmt;

/// Why there is no answer: what is wrong, where, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    said: String,
}

impl Refused {
    /// Refused, for what is said.
    pub fn new(said: impl Into<String>) -> Refused {
        Refused { said: said.into() }
    }

    /// The words of standard error, as the binary says them.
    pub fn said(&self) -> &str {
        &self.said
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.said.trim_end())
    }
}

impl std::error::Error for Refused {}
