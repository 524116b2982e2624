//! What may be said of a card whose number is hidden, in one place.
//!
//! Its length, its verdict, its layout and the last two digits of one number of
//! it, whatever the layout or the form it came in. Of a card that is proved, the
//! last two digits of the number expected and of the one that comes, so that it
//! shows where they differ. Everything else that is said of cards is a function
//! of their numbers: bits, site codes of single cards, prints, checks, what a
//! batch of them has in common. So it is left out, not crossed out here and
//! there; of probabilities it is told how sure one may be.

pub use holdover::say::{HIDDEN, HIDDEN_PRINT as PRINT, tail};

/// What stands for an advice that names cards by number and print.
pub const ADVICE: &str = "what to do is in the plan itself: it names cards and prints";

/// Cards from which on it is told what a kind has in common. Of fewer, whoever
/// holds one could work out another (judgement, no source).
pub const ENOUGH: usize = 10;

/// A probability or a share, as far as it is told.
pub fn percent(p: f64) -> &'static str {
    match p {
        p if p >= 0.95 => "95 % or more",
        p if p >= 0.5 => "50 % or more",
        _ => "under 50 %",
    }
}

/// Bits, all hidden.
pub fn bits(len: usize) -> String {
    HIDDEN.to_string().repeat(len)
}

#[cfg(test)]
mod tests {
    use holdover::layout::Value;
    use holdover::say::masked as number;

    use super::*;

    #[test]
    fn probabilities_are_told_in_steps() {
        assert_eq!(
            [0.951, 0.5, 0.4999].map(percent),
            ["95 % or more", "50 % or more", "under 50 %"]
        );
    }

    #[test]
    fn two_digits_stay() {
        assert_eq!(number(&Value::Number(4321), 5), "***21");
        assert_eq!(number(&Value::Number(7), 5), "***07");
        assert_eq!([tail("4904321"), tail("7"), tail("65 04805")], ["***21", "***07", "***05"]);
    }
}

/// How card numbers are shown, and what every sheet carries.
#[derive(Debug, Clone)]
pub struct Shown {
    /// Card numbers are hidden.
    pub mask: bool,
    /// What the sheets of one plan carry.
    pub mark: String,
}

impl Shown {
    /// A panel number, hidden where asked.
    pub fn number(&self, number: &str) -> String {
        if self.mask { tail(number) } else { number.to_owned() }
    }

    /// What to do about a conflict: it names numbers and prints.
    pub fn advice<'t>(&self, text: &'t str) -> &'t str {
        if self.mask { ADVICE } else { text }
    }

    /// What is printed on a card, hidden where asked.
    pub fn print<'t>(&self, printed: &'t str) -> &'t str {
        if self.mask && !printed.is_empty() { PRINT } else { printed }
    }
}
