//! Numbers of which the last two digits alone are said.

use crate::layout::Value;

/// What stands for a hidden digit or bit.
pub const HIDDEN: char = '*';

/// What stands for what is printed on a card: its form would tell of the number,
/// and its digits, beside those of the number, of two more.
pub const HIDDEN_PRINT: &str = "***";

/// Digits that stay.
const KEPT: usize = 2;

/// A number with all but its last two digits hidden; padded first to `width`
/// digits, so that its size shows nothing either.
pub fn masked(value: &Value, width: usize) -> String {
    let text = format!("{:0>width$}", value.to_string());
    let hidden = text.chars().count().saturating_sub(KEPT);
    text.chars().enumerate().map(|(i, c)| if i < hidden { HIDDEN } else { c }).collect()
}

/// The end of a number of any size, as a panel shows it: "***21".
pub fn tail(number: &str) -> String {
    let digits: Vec<char> = number.chars().filter(char::is_ascii_digit).collect();
    let last: String = digits[digits.len().saturating_sub(KEPT)..].iter().collect();
    format!("{HIDDEN_PRINT}{last:0>KEPT$}")
}
