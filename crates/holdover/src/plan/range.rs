//! Ranges of card numbers.

/// Numbers `first` to `last` of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Range {
    pub first: u128,
    pub last: u128,
}

impl Range {
    /// What is left without ranges inside it, which come ascending and apart.
    pub fn without(self, taken: &[Range]) -> Vec<Range> {
        let mut rest = Vec::new();
        let mut first = Some(self.first);
        for range in taken {
            let Some(from) = first else { break };
            if from < range.first {
                rest.push(Range { first: from, last: range.first - 1 });
            }
            first = range.last.checked_add(1);
        }
        if let Some(first) = first.filter(|first| *first <= self.last) {
            rest.push(Range { first, last: self.last });
        }
        rest
    }
}
